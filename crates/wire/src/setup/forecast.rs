//! ForecastLimits: the request but for its machine; the reply stands in [`reply`].

pub mod reply;

use mechanics::chassis::End;
use mechanics::estimate::Assumption;
use mechanics::forecast::{
    Bump, Damping, ForecastCircuit, MOST_CIRCUITS, MOST_PACES, Money, Price, Riding, Road, Sureness,
};
use mechanics::judgement::{Action, Circuit, ShaftSpeed, StrokeDirection};
use mechanics::quantity::{
    DampingRate, DampingRateUnit, Force, ForceUnit, Length, LengthUnit, Mass, MassUnit, Quantity, STANDARD_GRAVITY,
    StiffnessUnit, Stroke, UnitSystem, Velocity, VelocityUnit, WheelRate,
};

use crate::quantity::{Range, number, optional, required, unit_system};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// Source of what the trade knows.
const PRACTICE: &str = "common practice, no source";
/// Points of a curve and of an adjuster's reach.
const MOST_POINTS: usize = 64;
/// Exponent of a stack that lifts evenly, and its standard uncertainty: 2/3, less with preload (derived).
const STACK: (f64, f64) = (0.67, 0.1);
/// Grip of a dry road where none is given (common practice, no source).
const GRIP: f64 = 1.0;

/// Everything that is asked beside the machine.
#[derive(Debug, Clone)]
pub struct Options {
    /// Rider with gear.
    pub rider: Option<Mass>,
    /// Mass on the front wheel with the rider.
    pub front_mass: Option<Mass>,
    /// How it is ridden.
    pub riding: Option<Riding>,
    /// Where.
    pub road: Road,
    /// The ends, front and rear.
    pub ends: Vec<(End, EndOptions)>,
    /// How sure the rest is.
    pub sureness: Sureness,
    /// The highest pace.
    pub highest_pace: f64,
    /// Paces asked for.
    pub paces: Vec<f64>,
    /// Units of computed values.
    pub units: UnitSystem,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// What is asked of one end, without what carries it.
#[derive(Debug, Clone)]
pub struct EndOptions {
    /// Travel used, as read.
    pub travel_used: Option<Length>,
    /// Its standard uncertainty.
    pub travel_used_uncertainty: Length,
    /// Of what carries it, relative.
    pub rate_uncertainty: f64,
    /// Axial travel at bind.
    pub bind: Option<Stroke>,
    /// Adjusters; ranges and ratios may still be the machine's.
    pub circuits: Vec<CircuitOptions>,
    /// The tyre.
    pub tyre_rate: Option<WheelRate>,
    /// Damping at the wheel.
    pub wheel_damping: Option<DampingRate>,
}

/// One adjuster as it was sent.
#[derive(Debug, Clone)]
pub struct CircuitOptions {
    given: ForecastCircuit,
    range: Option<f64>,
}

/// Reads everything but the machine.
pub fn options(message: &v1::ForecastLimitsRequest, violations: &mut Violations) -> Options {
    let masses = Range::between(1.0, 1_000.0, MassUnit::Kilogram);
    let riders = Range::above_zero(500.0, MassUnit::Kilogram);
    let mut assumptions = Vec::new();
    let riding = match &message.riding {
        Some(given) => riding(given, violations.at("riding"), &mut assumptions),
        None => {
            violations.push("riding", Reason::ValueMissing, "how it is ridden now is required");
            None
        }
    };
    if let Some(list) = &message.prices {
        if message.shop_prices {
            violations.push("prices", Reason::Conflict, "not with shop_prices");
        }
        crate::book::tables::price_list(list, true, violations.at("prices"));
    }
    let highest = number(
        message.highest_pace_ratio,
        1.01,
        3.0,
        violations.at("highest_pace_ratio"),
    );
    Options {
        rider: required(
            message.rider_mass_with_gear.as_ref(),
            riders,
            violations.at("rider_mass_with_gear"),
        ),
        front_mass: optional(
            message.front_mass_with_rider.as_ref(),
            masses,
            violations.at("front_mass_with_rider"),
        ),
        riding,
        road: Road {
            waviness: number(message.waviness_factor, 1.0, 4.0, violations.at("waviness_factor")).unwrap_or(2.0),
            bump: message
                .bump
                .as_ref()
                .and_then(|given| bump(given, violations.at("bump"))),
        },
        ends: ends(message, violations, &mut assumptions),
        sureness: sureness(&message.uncertainty.unwrap_or_default(), violations.at("uncertainty")),
        highest_pace: highest.unwrap_or(1.5),
        paces: paces(&message.pace_ratios, violations),
        units: unit_system(message.reply_units, violations.at("reply_units")),
        assumptions,
    }
}

fn ends(
    message: &v1::ForecastLimitsRequest,
    violations: &mut Violations,
    assumptions: &mut Vec<Assumption>,
) -> Vec<(End, EndOptions)> {
    if message.front.is_none() && message.rear.is_none() {
        violations.push("front", Reason::ValueMissing, "one of front, rear is required");
    }
    let given = [(End::Front, &message.front), (End::Rear, &message.rear)];
    let read = given.into_iter().filter_map(|(end, given)| {
        let options = end_options(end, given.as_ref()?, violations.at(end.word()), assumptions);
        Some((end, options))
    });
    read.collect()
}

fn paces(given: &[f64], violations: &mut Violations) -> Vec<f64> {
    if given.len() > MOST_PACES {
        let text = format!("{} paces; allowed at most {MOST_PACES}", given.len());
        violations.push("pace_ratios", Reason::WrongLength, text);
        return Vec::new();
    }
    let mut at = violations.at("pace_ratios");
    let read = given
        .iter()
        .enumerate()
        .filter_map(|(index, pace)| number(Some(*pace), 0.3, 3.0, at.index(index)));
    read.collect()
}

fn riding(given: &v1::RidingNow, mut at: Scope<'_>, assumptions: &mut Vec<Assumption>) -> Option<Riding> {
    let mut needed = |value: Option<f64>, name: &'static str| {
        if value.is_none() {
            at.at(name)
                .push(Reason::ValueMissing, "a ratio to standard gravity is required");
        }
        number(value, 0.0, 2.0, at.at(name)).map(|ratio| ratio * STANDARD_GRAVITY)
    };
    let deceleration = needed(given.deceleration_ratio, "deceleration_ratio");
    let lateral = needed(given.lateral_ratio, "lateral_ratio");
    let share = number(given.front_braking_ratio, 0.0, 1.0, at.at("front_braking_ratio"));
    let grip = number(given.grip_factor, 0.05, 3.0, at.at("grip_factor"));
    if given.grip_factor.is_none() {
        assumptions.push(assumed(
            "riding.grip_factor",
            format!("the grip of tyre and road is {GRIP}"),
        ));
    }
    let mut part = |value: Option<f64>, name: &'static str| {
        number(value, 0.0, 2.0, at.at(name)).map(|ratio| ratio * STANDARD_GRAVITY)
    };
    let together = (
        part(given.together_deceleration_ratio, "together_deceleration_ratio"),
        part(given.together_lateral_ratio, "together_lateral_ratio"),
    );
    if given.together_deceleration_ratio.is_some() != given.together_lateral_ratio.is_some() {
        let name = match given.together_lateral_ratio {
            None => "together_lateral_ratio",
            Some(_) => "together_deceleration_ratio",
        };
        at.at(name).push(Reason::ValueMissing, "braking in a corner needs both");
    }
    Some(Riding {
        deceleration: deceleration?,
        front_share: share.unwrap_or(1.0),
        lateral: lateral?,
        together: together.0.zip(together.1),
        grip: grip.unwrap_or(GRIP),
    })
}

fn bump(given: &v1::ForecastBump, mut at: Scope<'_>) -> Option<Bump> {
    let mm = LengthUnit::Millimeter;
    let speeds = Range::between(0.1, 120.0, VelocityUnit::MeterPerSecond);
    let height = required(given.height.as_ref(), Range::between(0.1, 500.0, mm), at.at("height"));
    let length = required(
        given.length.as_ref(),
        Range::between(10.0, 20_000.0, mm),
        at.at("length"),
    );
    let speed = required(given.speed.as_ref(), speeds, at.at("speed"));
    Some(Bump {
        height: height?,
        length: length?,
        speed: speed?,
    })
}

fn sureness(given: &v1::ForecastUncertainty, mut at: Scope<'_>) -> Sureness {
    let lengths = || Range::from_zero(200.0, LengthUnit::Millimeter);
    let millimeters = |value: f64| Length::new(value, LengthUnit::Millimeter);
    let mut ratio =
        |value: Option<f64>, name: &'static str, usual: f64| number(value, 0.0, 0.5, at.at(name)).unwrap_or(usual);
    let accelerations = ratio(given.acceleration_ratio, "acceleration_ratio", 0.05);
    let grip = ratio(given.grip_factor, "grip_factor", 0.05);
    let waviness = ratio(given.waviness_factor, "waviness_factor", 0.2);
    let height = optional(given.gravity_height.as_ref(), lengths(), at.at("gravity_height"));
    let ahead = optional(given.gravity_ahead.as_ref(), lengths(), at.at("gravity_ahead"));
    Sureness {
        accelerations,
        grip,
        waviness,
        height: height.unwrap_or_else(|| millimeters(20.0)),
        ahead: ahead.unwrap_or_else(|| millimeters(10.0)),
    }
}

fn end_options(end: End, given: &v1::ForecastEnd, mut at: Scope<'_>, assumptions: &mut Vec<Assumption>) -> EndOptions {
    let mm = LengthUnit::Millimeter;
    let used = optional(
        given.travel_used.as_ref(),
        Range::from_zero(1_000.0, mm),
        at.at("travel_used"),
    );
    let spread = optional(
        given.travel_used_standard_uncertainty.as_ref(),
        Range::from_zero(50.0, mm),
        at.at("travel_used_standard_uncertainty"),
    );
    let rate = number(
        given.rate_standard_uncertainty_ratio,
        0.0,
        0.5,
        at.at("rate_standard_uncertainty_ratio"),
    );
    let bind: Option<Length> = optional(
        given.bind_axial_travel.as_ref(),
        Range::between(1.0, 1_000.0, mm),
        at.at("bind_axial_travel"),
    );
    let tyres = Range::between(10.0, 2_000.0, StiffnessUnit::NewtonPerMillimeter);
    let damping = Range::between(1.0, 100_000.0, DampingRateUnit::NewtonSecondPerMeter);
    let tyre_rate = optional(given.tyre_rate.as_ref(), tyres, at.at("tyre_rate"));
    let wheel_damping = optional(given.wheel_damping.as_ref(), damping, at.at("wheel_damping"));
    let mut circuits = Vec::new();
    if given.circuits.len() > MOST_CIRCUITS {
        let text = format!("{} adjusters; allowed at most {MOST_CIRCUITS}", given.circuits.len());
        at.at("circuits").push(Reason::WrongLength, text);
    } else {
        let mut list = at.at("circuits");
        for (index, circuit) in given.circuits.iter().enumerate() {
            let again = given
                .circuits
                .iter()
                .take(index)
                .any(|other| other.circuit == circuit.circuit);
            if again && circuit.circuit != 0 {
                list.index(index)
                    .at("circuit")
                    .push(Reason::Conflict, "it stands in the list twice");
            }
            circuits.extend(circuit_options(end, circuit, list.index(index), assumptions));
        }
    }
    EndOptions {
        travel_used: used,
        travel_used_uncertainty: spread.unwrap_or_else(|| Length::new(2.0, mm)),
        rate_uncertainty: rate.unwrap_or(0.03),
        bind: bind.map(|bind| Stroke::from_si(bind.si())),
        circuits,
        tyre_rate,
        wheel_damping,
    }
}

fn circuit_options(
    end: End,
    given: &v1::ForecastCircuit,
    mut at: Scope<'_>,
    assumptions: &mut Vec<Assumption>,
) -> Option<CircuitOptions> {
    let circuit = circuit(given.circuit, at.at("circuit"));
    let range = number(given.range_count, 0.1, 1_000.0, at.at("range_count"));
    let most = range.unwrap_or(1_000.0);
    if given.position_from_closed.is_none() {
        at.at("position_from_closed")
            .push(Reason::ValueMissing, "a position from closed is required");
    }
    let position = number(given.position_from_closed, 0.0, most, at.at("position_from_closed"));
    let spread = number(
        given.position_standard_uncertainty,
        0.0,
        most,
        at.at("position_standard_uncertainty"),
    );
    let reach = reach(&given.reaches, at.at("reaches"));
    let velocities = |high: f64| Range::between(0.001, high, VelocityUnit::MeterPerSecond);
    let velocity = optional(given.shaft_velocity.as_ref(), velocities(10.0), at.at("shaft_velocity"));
    let ports = optional(
        given.port_limited_from.as_ref(),
        velocities(20.0),
        at.at("port_limited_from"),
    );
    let (damping, assumed_exponent) = damping(given, &mut at);
    let circuit = circuit?;
    if assumed_exponent {
        let text = format!(
            "{} {}: force grows with v^{} (a stack that lifts evenly)",
            end.word(),
            circuit.word(),
            STACK.0
        );
        assumptions.push(Assumption {
            subject: "circuits.force_exponent_factor",
            text,
            source: "derived: a linear lift gives 2/3",
        });
    }
    Some(CircuitOptions {
        range,
        given: ForecastCircuit {
            circuit,
            position: position?,
            range: range.unwrap_or_default(),
            position_uncertainty: spread,
            reach,
            damping: damping?,
            velocity,
            port_limited_from: ports,
            bump_rules: given.bump_rules,
        },
    })
}

/// The damper, and whether its exponent was assumed.
fn damping(given: &v1::ForecastCircuit, at: &mut Scope<'_>) -> (Option<Damping>, bool) {
    let exponent = number(given.force_exponent_factor, 0.1, 3.0, at.at("force_exponent_factor"));
    let spread = number(
        given.force_exponent_standard_uncertainty,
        0.0,
        1.0,
        at.at("force_exponent_standard_uncertainty"),
    );
    if given.curve.is_empty() {
        let assumed = given.force_exponent_factor.is_none();
        let usual = if assumed { STACK.1 } else { 0.0 };
        let power = Damping::Power {
            exponent: exponent.unwrap_or(STACK.0),
            standard_uncertainty: spread.unwrap_or(usual),
        };
        return (Some(power), assumed);
    }
    if given.force_exponent_factor.is_some() {
        at.at("force_exponent_factor")
            .push(Reason::Conflict, "not with a curve");
    }
    if !(2..=MOST_POINTS).contains(&given.curve.len()) {
        let text = format!("{} points; allowed 2 to {MOST_POINTS}", given.curve.len());
        at.at("curve").push(Reason::WrongLength, text);
    }
    let velocities = Range::above_zero(20.0, VelocityUnit::MeterPerSecond);
    let forces = Range::above_zero(100_000.0, ForceUnit::Newton);
    let mut list = at.at("curve");
    let mut points: Vec<(Velocity, Force)> = Vec::new();
    for (index, point) in given.curve.iter().take(MOST_POINTS).enumerate() {
        let mut one = list.index(index);
        let v: Option<Velocity> = required(point.shaft_velocity.as_ref(), velocities, one.at("shaft_velocity"));
        let f: Option<Force> = required(point.force.as_ref(), forces, one.at("force"));
        let Some((v, f)) = v.zip(f) else { continue };
        if points.last().is_some_and(|(before, _)| !(v > *before)) {
            one.at("shaft_velocity")
                .push(Reason::Conflict, "not above the one before");
        }
        if points.last().is_some_and(|(_, before)| !(f > *before)) {
            one.at("force").push(Reason::Conflict, "not above the one before");
        }
        points.push((v, f));
    }
    (Some(Damping::Curve(points)), false)
}

fn reach(given: &[v1::AdjusterReach], mut at: Scope<'_>) -> Vec<(Velocity, f64)> {
    if given.len() > MOST_POINTS {
        let text = format!("{} entries; allowed at most {MOST_POINTS}", given.len());
        at.push(Reason::WrongLength, text);
        return Vec::new();
    }
    let velocities = Range::above_zero(20.0, VelocityUnit::MeterPerSecond);
    let mut rows: Vec<(Velocity, f64)> = Vec::new();
    for (index, row) in given.iter().enumerate() {
        let mut one = at.index(index);
        let v: Option<Velocity> = required(row.shaft_velocity.as_ref(), velocities, one.at("shaft_velocity"));
        if row.closed_to_open_force_ratio.is_none() {
            one.at("closed_to_open_force_ratio")
                .push(Reason::ValueMissing, "a ratio is required");
        }
        let ratio = number(
            row.closed_to_open_force_ratio,
            1.01,
            100.0,
            one.at("closed_to_open_force_ratio"),
        );
        if v.zip(rows.last()).is_some_and(|(v, (before, _))| !(v > *before)) {
            one.at("shaft_velocity")
                .push(Reason::Conflict, "not above the one before");
        }
        rows.extend(v.zip(ratio));
    }
    rows
}

/// Reads a circuit.
pub fn circuit(sent: i32, mut at: Scope<'_>) -> Option<Circuit> {
    use v1::DampingCircuit as Sent;
    let circuit = |stroke, speed| Some(Circuit { stroke, speed });
    let (compression, rebound) = (StrokeDirection::Compression, StrokeDirection::Rebound);
    match Sent::try_from(sent) {
        Ok(Sent::Compression) => circuit(compression, None),
        Ok(Sent::LowSpeedCompression) => circuit(compression, Some(ShaftSpeed::Low)),
        Ok(Sent::HighSpeedCompression) => circuit(compression, Some(ShaftSpeed::High)),
        Ok(Sent::Rebound) => circuit(rebound, None),
        Ok(Sent::LowSpeedRebound) => circuit(rebound, Some(ShaftSpeed::Low)),
        Ok(Sent::HighSpeedRebound) => circuit(rebound, Some(ShaftSpeed::High)),
        Ok(Sent::Unspecified) => {
            at.push(Reason::ValueMissing, "a circuit is required");
            None
        }
        Err(_) => {
            at.push(Reason::OutOfRange, format_args!("circuit is {sent}; allowed 1 to 6"));
            None
        }
    }
}

/// Prices whose rows were checked.
pub fn prices(list: &v1::PriceList) -> Vec<Price> {
    let row = |row: &v1::PriceRow| {
        let money = row.price.as_ref()?;
        Some(Price {
            label: row.label.clone(),
            remedy: action(row.remedy)?,
            end: super::end(row.end, Violations::new().root()),
            amount: Money {
                nanos: i128::from(money.units.unwrap_or_default()) * 1_000_000_000 + i128::from(money.nanos),
            },
        })
    };
    list.rows.iter().filter_map(row).collect()
}

fn action(sent: i32) -> Option<Action> {
    match v1::Remedy::try_from(sent).ok()? {
        v1::Remedy::Unspecified => None,
        v1::Remedy::Leave => Some(Action::Leave),
        v1::Remedy::Set => Some(Action::Set),
        v1::Remedy::Service => Some(Action::Service),
        v1::Remedy::Respring => Some(Action::Respring),
        v1::Remedy::Revalve => Some(Action::Revalve),
        v1::Remedy::Replace => Some(Action::Replace),
    }
}

fn assumed(subject: &'static str, text: String) -> Assumption {
    Assumption {
        subject,
        text,
        source: PRACTICE,
    }
}
