//! A damper as it is sent.

use mechanics::quantity::{AbsolutePressure, Angle};
use mechanics::quantity::{
    AngleUnit, Area, AreaUnit, Force, ForceUnit, GaugePressure, Length, LengthUnit, PressureDifference, PressureUnit,
    Quantity, Stress, Velocity, VelocityUnit, Volume, VolumeUnit,
};
use mechanics::valving::damper::{
    BLEED, BleedDesign, CURTAIN, CircuitDesign, DamperDesign, Gap, GasCharge, LiftDesign, LiftLaw, Needle, Orifice,
    ROUND_TRANSITION, Restriction, ShortTube, ValveDesign,
};

use super::stack;
use crate::names::Collection;
use crate::quantity::{Range, number, optional, required};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::Scope;

fn millimeters(low: f64, high: f64) -> Range<LengthUnit> {
    Range::between(low, high, LengthUnit::Millimeter)
}

/// Entrance and exit loss of the piston band's gap, in dynamic heads; our own, see the physics.
const GAP_LOSS: f64 = 1.5;

/// What a stack by its name comes to.
#[derive(Clone, Copy)]
enum Names {
    /// It must have been put in as values before.
    Values,
    /// It is kept; only the form of the name is checked.
    Kept,
}

/// Reads a damper; `None` with the faults noted. Stacks by name must have been put in as values before.
pub fn damper(message: &v1::Damper, at: Scope<'_>) -> Option<DamperDesign> {
    read(message, Names::Values, at)
}

/// Checks a damper that may name stacks of the drawer.
pub fn check(message: &v1::Damper, at: Scope<'_>) {
    read(message, Names::Kept, at);
}

fn read(message: &v1::Damper, names: Names, mut at: Scope<'_>) -> Option<DamperDesign> {
    let faults = at.count();
    let bore = required::<Length, _>(message.bore.as_ref(), millimeters(4.0, 100.0), at.at("bore"));
    let shaft = required::<Length, _>(
        message.shaft_diameter.as_ref(),
        millimeters(1.0, 100.0),
        at.at("shaft_diameter"),
    );
    let mut needed = |given: Option<&v1::DamperCircuit>, name: &str| match given {
        Some(given) => circuit(given, names, at.at(name)),
        None => {
            at.at(name)
                .push(Reason::ValueMissing, "the piston's paths are required");
            None
        }
    };
    let compression = needed(message.compression.as_ref(), "compression");
    let rebound = needed(message.rebound.as_ref(), "rebound");
    let base = message
        .base_compression
        .as_ref()
        .map(|given| circuit(given, names, at.at("base_compression")));
    let refill = message
        .base_rebound
        .as_ref()
        .map(|given| circuit(given, names, at.at("base_rebound")));
    let gas = gas(message.gas.as_ref(), at.at("gas"));
    let friction = optional(
        message.friction.as_ref(),
        Range::from_zero(5_000.0, ForceUnit::Newton),
        at.at("friction"),
    );
    let friction_velocity = optional(
        message.friction_velocity.as_ref(),
        Range::between(1e-6, 1.0, VelocityUnit::MeterPerSecond),
        at.at("friction_velocity"),
    );
    if let (Some(bore), Some(shaft)) = (bore, shaft)
        && shaft.si() >= bore.si()
    {
        at.at("shaft_diameter").push(
            Reason::Conflict,
            format_args!(
                "shaft is {} mm; allowed below the bore, {} mm",
                shaft.get(LengthUnit::Millimeter),
                bore.get(LengthUnit::Millimeter)
            ),
        );
    }
    if at.count() > faults {
        return None;
    }
    Some(DamperDesign {
        bore: bore?,
        shaft: shaft?,
        compression: compression?,
        rebound: rebound?,
        base_compression: base.flatten(),
        base_rebound: refill.flatten(),
        gas: gas?,
        friction: friction.unwrap_or_else(|| Force::from_si(0.0)),
        friction_velocity: friction_velocity.unwrap_or_else(|| Velocity::from_si(2e-3)),
    })
}

fn gas(given: Option<&v1::DamperGas>, mut at: Scope<'_>) -> Option<GasCharge> {
    let Some(given) = given else {
        at.push(Reason::ValueMissing, "the gas with its charge and volume is required");
        return None;
    };
    let charges = Range::between(0.0, 15.0, PressureUnit::Megapascal);
    let charge = required::<GaugePressure, _>(
        given.charge_gauge_pressure.as_ref(),
        charges,
        at.at("charge_gauge_pressure"),
    );
    let volumes = Range::between(0.1, 10_000.0, VolumeUnit::Milliliter);
    let volume = required::<Volume, _>(given.volume.as_ref(), volumes, at.at("volume"));
    let exponent = number(given.exponent_factor, 1.0, 1.67, at.at("exponent_factor"));
    Some(GasCharge {
        pressure: charge?.absolute(AbsolutePressure::standard_atmosphere()),
        volume: volume?,
        exponent: exponent.unwrap_or(1.3),
    })
}

fn circuit(given: &v1::DamperCircuit, names: Names, mut at: Scope<'_>) -> Option<CircuitDesign> {
    let faults = at.count();
    let valve = given.valve.as_ref().map(|given| valve(given, names, at.at("valve")));
    let bleed = given.bleed.as_ref().map(|given| bleed(given, at.at("bleed")));
    let leak = given.leak.as_ref().map(|given| leak(given, at.at("leak")));
    (at.count() == faults).then(|| CircuitDesign {
        valve: valve.flatten(),
        bleed: bleed.flatten(),
        leak: leak.flatten(),
    })
}

fn valve(given: &v1::StackValve, names: Names, mut at: Scope<'_>) -> Option<ValveDesign> {
    use v1::stack_valve::Source;
    let ports = given.ports.as_ref().map(|given| holes(given, at.at("ports")));
    let perimeter = optional(given.perimeter.as_ref(), millimeters(0.1, 1_000.0), at.at("perimeter"));
    let lift = match &given.source {
        None => {
            at.push(Reason::ValueMissing, "one of stack, values, straight is required");
            None
        }
        Some(Source::Values(values)) => stack::stack(values, at.at("values")).map(|s| LiftDesign::Stack(Box::new(s))),
        Some(Source::Straight(law)) => {
            if given.perimeter.is_none() {
                at.at("perimeter").push(
                    Reason::ValueMissing,
                    "a straight law needs the circumference it opens on",
                );
            }
            straight(law, at.at("straight"))
        }
        Some(Source::Stack(name)) => {
            match names {
                Names::Kept => drop(Collection::Stacks.revisable(name, at.at("stack"))),
                Names::Values => at
                    .at("stack")
                    .push(Reason::UnknownName, "a stack by its name is read from a record only"),
            }
            None
        }
    };
    let discharge = number(given.discharge_factor, 0.1, 1.0, at.at("discharge_factor"));
    let factor = number(given.stack_factor, 1e-3, 1e3, at.at("stack_factor"));
    Some(ValveDesign {
        port: ports.flatten().map(Restriction::ShortTube),
        perimeter,
        lift: lift?,
        discharge_factor: discharge.unwrap_or(CURTAIN),
        stack_factor: factor.unwrap_or(1.0),
    })
}

fn holes(given: &v1::Holes, mut at: Scope<'_>) -> Option<ShortTube> {
    let diameter = required(given.diameter.as_ref(), millimeters(0.05, 50.0), at.at("diameter"));
    let length = required(given.length.as_ref(), millimeters(0.1, 200.0), at.at("length"));
    let count = u32::try_from(given.count).ok().filter(|count| *count <= 64);
    if count.is_none() {
        at.at("count").push(
            Reason::OutOfRange,
            format_args!("count is {}; allowed 1 to 64", given.count),
        );
    }
    Some(ShortTube {
        diameter: diameter?,
        length: length?,
        count: count?.max(1),
    })
}

fn straight(given: &v1::StraightLift, mut at: Scope<'_>) -> Option<LiftDesign> {
    let pressures = Range::from_zero(200.0, PressureUnit::Megapascal);
    let crack = optional(given.cracking_pressure.as_ref(), pressures, at.at("cracking_pressure"));
    let above = Range::above_zero(1e6, PressureUnit::Megapascal);
    let pressure = required::<Stress, _>(given.pressure.as_ref(), above, at.at("pressure"));
    let openings = Range::above_zero(20.0, LengthUnit::Millimeter);
    let opening = required::<Length, _>(given.opening.as_ref(), openings, at.at("opening"));
    let most = optional(given.largest_opening.as_ref(), openings, at.at("largest_opening"));
    let crack = crack.unwrap_or_else(|| PressureDifference::from_si(0.0));
    Some(LiftDesign::Law(LiftLaw::straight(pressure?, opening?, crack, most)))
}

fn bleed(given: &v1::Bleed, mut at: Scope<'_>) -> Option<BleedDesign> {
    use v1::bleed::Kind;
    match &given.kind {
        None => {
            at.push(Reason::ValueMissing, "one of fixed, needle is required");
            None
        }
        Some(Kind::Fixed(given)) => orifice(given, at.at("fixed")).map(BleedDesign::Fixed),
        Some(Kind::Needle(given)) => needle(given, at.at("needle")),
    }
}

fn orifice(given: &v1::Orifice, mut at: Scope<'_>) -> Option<Orifice> {
    let areas = Range::from_zero(10_000.0, AreaUnit::SquareMillimeter);
    let area = required(given.area.as_ref(), areas, at.at("area"));
    let discharge = number(given.discharge_factor, 0.1, 1.0, at.at("discharge_factor"));
    let hydraulic = optional(
        given.hydraulic_diameter.as_ref(),
        millimeters(1e-3, 100.0),
        at.at("hydraulic_diameter"),
    );
    Some(Orifice {
        area: area?,
        discharge_factor: discharge.unwrap_or(BLEED),
        transition_factor: ROUND_TRANSITION,
        hydraulic_diameter: hydraulic,
    })
}

fn needle(given: &v1::BleedNeedle, mut at: Scope<'_>) -> Option<BleedDesign> {
    let seat = required(
        given.seat_diameter.as_ref(),
        millimeters(0.2, 20.0),
        at.at("seat_diameter"),
    );
    let angles = Range::between(1.0, 60.0, AngleUnit::Degree);
    let half_angle = required::<Angle, _>(given.half_angle.as_ref(), angles, at.at("half_angle"));
    let pitch = required(given.pitch.as_ref(), millimeters(0.05, 5.0), at.at("pitch"));
    let per_turn = number(given.clicks_per_turn, 1.0, 100.0, at.at("clicks_per_turn"));
    let mut clicks = |value: Option<f64>, name: &str, low: f64, high: f64| {
        if value.is_none() {
            at.at(name).push(
                Reason::ValueMissing,
                format_args!("clicks are required; allowed {low} to {high}"),
            );
        }
        number(value, low, high, at.at(name))
    };
    let range = clicks(given.click_range, "click_range", 0.1, 500.0);
    let position = clicks(
        given.clicks_from_closed,
        "clicks_from_closed",
        0.0,
        range.unwrap_or(500.0),
    );
    let closed = optional(
        given.closed_area.as_ref(),
        Range::from_zero(100.0, AreaUnit::SquareMillimeter),
        at.at("closed_area"),
    );
    let discharge = number(given.discharge_factor, 0.1, 1.0, at.at("discharge_factor"));
    Some(BleedDesign::Needle {
        needle: Needle {
            seat_diameter: seat?,
            half_angle: half_angle?,
            pitch: pitch?,
            clicks_per_turn: per_turn.unwrap_or(1.0),
            click_range: range?,
            closed_area: closed.unwrap_or_else(|| Area::from_si(0.0)),
            discharge_factor: discharge.unwrap_or(BLEED),
        },
        position: position?,
    })
}

fn leak(given: &v1::BandLeak, mut at: Scope<'_>) -> Option<Gap> {
    let diameter = required(given.diameter.as_ref(), millimeters(1.0, 100.0), at.at("diameter"));
    let clearance = required(given.clearance.as_ref(), millimeters(0.0, 1.0), at.at("clearance"));
    let length = required(given.length.as_ref(), millimeters(0.1, 200.0), at.at("length"));
    let eccentricity = number(given.eccentricity_ratio, 0.0, 1.0, at.at("eccentricity_ratio"));
    Some(Gap {
        diameter: diameter?,
        clearance: clearance?,
        length: length?,
        eccentricity_ratio: eccentricity.unwrap_or(0.0),
        loss_factor: GAP_LOSS,
    })
}
