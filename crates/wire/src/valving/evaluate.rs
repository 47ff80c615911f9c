//! EvaluateDamper: request in, reply out.

use mechanics::quantity::{
    AbsolutePressure, AngleUnit, DampingRate, Force, ForceUnit, Frequency, LengthUnit, Load, Mass, MassUnit,
    PressureDifference, PressureUnit, Quantity, STANDARD_ATMOSPHERE, SpringRate, StiffnessUnit, Stroke, Temperature,
    TemperatureUnit, UnitSystem, Velocity, VelocityUnit,
};
use mechanics::valving::damper::{
    AdjusterEffect, AtWheel, CurvePoint, Evaluated, MOST_VELOCITIES, Mark, MarkKind, Place, Split, Wheel, WheelDamping,
};
use mechanics::valving::ride::Linkage;

use super::oil::{state, temperatures};
use super::solve::whole;
use crate::quantity::{Range, computed, entered, number, optional, required, unit_system};
use crate::springs::estimates::{assumptions, findings};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// Points of each stroke where none are asked for.
const USUAL_POINTS: u32 = 24;

/// What is asked beside damper and oil.
#[derive(Debug, Clone)]
pub struct Asked {
    /// Temperature of the oil.
    pub temperature: Temperature,
    /// Stroke from full extension.
    pub stroke: Stroke,
    /// Velocities.
    pub velocities: Vec<Velocity>,
    /// Pressure no side may fall below.
    pub lowest_pressure: AbsolutePressure,
    /// Velocity clicks are stated at.
    pub reference_velocity: Velocity,
    /// What it is joined to.
    pub wheel: Option<Wheel>,
    /// Units of computed values.
    pub units: UnitSystem,
}

fn speeds() -> Range<VelocityUnit> {
    Range::above_zero(20.0, VelocityUnit::MeterPerSecond)
}

/// The temperature of the oil; 40 degC where none is given.
pub fn temperature(given: Option<&v1::Temperature>, at: Scope<'_>) -> Temperature {
    optional(given, temperatures(), at).unwrap_or_else(|| Temperature::new(40.0, TemperatureUnit::DegreeCelsius))
}

/// Reads everything of a request but damper and oil.
pub fn options(message: &v1::EvaluateDamperRequest, violations: &mut Violations) -> Asked {
    let strokes = Range::from_zero(1_000.0, LengthUnit::Millimeter);
    let lowest = Range::from_zero(20.0, PressureUnit::Megapascal);
    Asked {
        temperature: temperature(message.temperature.as_ref(), violations.at("temperature")),
        stroke: optional(message.shaft_stroke.as_ref(), strokes, violations.at("shaft_stroke"))
            .unwrap_or_else(|| Stroke::from_si(0.0)),
        velocities: velocities(message, violations),
        lowest_pressure: optional(
            message.lowest_absolute_pressure.as_ref(),
            lowest,
            violations.at("lowest_absolute_pressure"),
        )
        .unwrap_or_else(|| AbsolutePressure::from_si(1e5)),
        reference_velocity: optional(
            message.reference_shaft_velocity.as_ref(),
            speeds(),
            violations.at("reference_shaft_velocity"),
        )
        .unwrap_or_else(|| Velocity::from_si(0.05)),
        wheel: message
            .wheel
            .as_ref()
            .and_then(|given| wheel(given, violations.at("wheel"))),
        units: unit_system(message.reply_units, violations.at("reply_units")),
    }
}

/// Velocities through rest, from a largest one in rebound to that in compression. Closer together where they are slow:
/// the curve bends most there.
pub fn through_rest(largest: Velocity, each: u32) -> Vec<Velocity> {
    let share = |k: u32| (f64::from(k) / f64::from(each)).powf(1.5);
    let compression = (1..=each).map(|k| largest.si() * share(k));
    let rebound = (1..=each).rev().map(|k| -largest.si() * share(k));
    rebound.chain([0.0]).chain(compression).map(Velocity::from_si).collect()
}

/// Points of each stroke.
pub fn each_stroke(count: Option<i32>, at: Scope<'_>) -> u32 {
    let count = whole(count, 1, (MOST_VELOCITIES - 1) / 2, at);
    count
        .and_then(|count| u32::try_from(count).ok())
        .unwrap_or(USUAL_POINTS)
}

fn velocities(message: &v1::EvaluateDamperRequest, violations: &mut Violations) -> Vec<Velocity> {
    let largest = optional(
        message.max_shaft_velocity.as_ref(),
        speeds(),
        violations.at("max_shaft_velocity"),
    );
    let each = each_stroke(message.point_count, violations.at("point_count"));
    let given = &message.shaft_velocities;
    match (given.is_empty(), &message.max_shaft_velocity) {
        (true, None) => {
            let text = "one of shaft_velocities, max_shaft_velocity is required";
            violations.push("shaft_velocities", Reason::ValueMissing, text);
            Vec::new()
        }
        (false, Some(_)) => {
            let text = "give shaft_velocities or max_shaft_velocity, not both";
            violations.push("max_shaft_velocity", Reason::Conflict, text);
            Vec::new()
        }
        (true, Some(_)) => largest.map(|largest| through_rest(largest, each)).unwrap_or_default(),
        (false, None) if given.len() > MOST_VELOCITIES => {
            let text = format_args!("{} velocities; allowed at most {MOST_VELOCITIES}", given.len());
            violations.push("shaft_velocities", Reason::OutOfRange, text);
            Vec::new()
        }
        (false, None) => {
            let range = Range::either_sign(20.0, VelocityUnit::MeterPerSecond);
            let mut at = violations.at("shaft_velocities");
            let read = |(index, given)| entered(given, range, at.index(index)).map(Velocity::of);
            given.iter().enumerate().filter_map(read).collect()
        }
    }
}

fn wheel(given: &v1::DamperWheel, mut at: Scope<'_>) -> Option<Wheel> {
    use v1::damper_wheel::Linkage as Sent;
    let change = number(
        given.motion_ratio_change_per_meter,
        -50.0,
        50.0,
        at.at("motion_ratio_change_per_meter"),
    );
    let linkage = match &given.linkage {
        None => {
            at.push(Reason::ValueMissing, "one of motion_ratio, rake is required");
            None
        }
        Some(Sent::MotionRatio(ratio)) => {
            number(Some(*ratio), 0.05, 5.0, at.at("motion_ratio")).map(|motion_ratio| Linkage::Ratio {
                motion_ratio,
                change_per_meter: change.unwrap_or(0.0),
            })
        }
        Some(Sent::Rake(rake)) => required(Some(rake), Range::between(0.0, 45.0, AngleUnit::Degree), at.at("rake"))
            .map(|rake| Linkage::Fork { rake }),
    };
    let rates = Range::between(0.1, 5_000.0, StiffnessUnit::NewtonPerMillimeter);
    let masses = Range::between(1.0, 2_000.0, MassUnit::Kilogram);
    let rate = required::<SpringRate, _>(given.spring_rate.as_ref(), rates, at.at("spring_rate"));
    let loads = Range::from_zero(1e5, ForceUnit::Newton);
    let load = optional::<Load, _>(given.spring_load.as_ref(), loads, at.at("spring_load"));
    let mass = required::<Mass, _>(given.mass.as_ref(), masses, at.at("mass"));
    let peak = optional::<Velocity, _>(
        given.peak_wheel_velocity.as_ref(),
        speeds(),
        at.at("peak_wheel_velocity"),
    );
    let new_rate = optional(given.new_spring_rate.as_ref(), rates, at.at("new_spring_rate"));
    let new_mass = optional(given.new_mass.as_ref(), masses, at.at("new_mass"));
    let count = u32::try_from(given.damper_count).ok().filter(|count| *count <= 4);
    if count.is_none() {
        let text = format_args!("damper_count is {}; allowed 1 to 4", given.damper_count);
        at.at("damper_count").push(Reason::OutOfRange, text);
    }
    Some(Wheel {
        linkage: linkage?,
        spring_rate: rate?,
        spring_load: load.unwrap_or_else(|| Load::from_si(0.0)),
        mass: mass?,
        damper_count: count?.max(1),
        peak_velocity: peak.unwrap_or_else(|| Velocity::from_si(0.2)),
        new_spring_rate: new_rate,
        new_mass,
    })
}

/// The reply.
pub fn response(evaluated: &Evaluated, asked: &Asked) -> v1::EvaluateDamperResponse {
    let units = asked.units;
    let gauge = |p: AbsolutePressure| PressureDifference::from_si(p.si() - STANDARD_ATMOSPHERE);
    v1::EvaluateDamperResponse {
        points: evaluated.points.iter().map(|at| point(at, units)).collect(),
        marks: marks(&evaluated.marks, units),
        oil: Some(state(&evaluated.oil, asked.temperature, units)),
        least_charge_gauge_pressure: Some(computed(gauge(evaluated.least_charge), units)),
        cavitation_margin: Some(computed(
            PressureDifference::from_si(evaluated.cavitation_margin),
            units,
        )),
        adjusters: evaluated.adjusters.iter().map(|at| adjuster(at, units)).collect(),
        wheel: evaluated.wheel.as_ref().map(|at| at_wheel(at, units)),
        findings: findings(&evaluated.findings),
        assumptions: assumptions(&evaluated.assumptions),
        used: Vec::new(),
    }
}

fn split(split: &Split, units: UnitSystem) -> v1::FlowSplit {
    v1::FlowSplit {
        drop: Some(computed(split.drop, units)),
        curtain_drop: Some(computed(split.curtain_drop, units)),
        valve: Some(computed(split.valve, units)),
        bleed: Some(computed(split.bleed, units)),
        leak: Some(computed(split.leak, units)),
        opening: Some(computed(split.opening, units)),
    }
}

fn point(point: &CurvePoint, units: UnitSystem) -> v1::DamperPoint {
    let at = &point.state;
    let force = |force: Force| Some(computed(force, units));
    v1::DamperPoint {
        shaft_velocity: Some(computed(point.velocity, units)),
        force: force(at.force),
        hydraulic_force: force(at.hydraulic_force),
        piston_force: force(at.piston_force),
        base_force: force(at.base_force),
        gas_force: force(at.gas_force),
        friction_force: force(at.friction_force),
        piston: Some(split(&at.piston, units)),
        base: at.base.as_ref().map(|base| split(base, units)),
        gas_absolute_pressure: Some(computed(at.gas_pressure, units)),
        compression_side_absolute_pressure: Some(computed(at.compression_pressure, units)),
        rebound_side_absolute_pressure: Some(computed(at.rebound_pressure, units)),
        local_exponent_factor: point.exponent,
        cavitates: point.cavitates,
    }
}

fn place(place: Place) -> i32 {
    let place = match place {
        Place::Compression => v1::CircuitPlace::Compression,
        Place::Rebound => v1::CircuitPlace::Rebound,
        Place::BaseCompression => v1::CircuitPlace::BaseCompression,
        Place::BaseRebound => v1::CircuitPlace::BaseRebound,
    };
    place as i32
}

/// Velocities that matter.
pub fn marks(marks: &[Mark], units: UnitSystem) -> Vec<v1::VelocityMark> {
    use v1::velocity_mark::Kind;
    let mark = |mark: &Mark| v1::VelocityMark {
        kind: match mark.kind {
            MarkKind::Opens => Kind::Opens,
            MarkKind::Stage => Kind::Stage,
            MarkKind::Stop => Kind::Stop,
        } as i32,
        place: place(mark.place),
        shaft_velocity: Some(computed(mark.velocity, units)),
    };
    marks.iter().map(mark).collect()
}

fn adjuster(effect: &AdjusterEffect, units: UnitSystem) -> v1::AdjusterEffect {
    v1::AdjusterEffect {
        place: place(effect.place),
        clicks_from_closed: effect.position,
        range_ratio: effect.position / effect.range,
        force_per_click: Some(computed(effect.force_per_click, units)),
        force: Some(computed(effect.recentred.force, units)),
        force_at_middle: Some(computed(effect.recentred.force_there, units)),
        damping_factor: effect.recentred.force_ratio,
        stack_factor: effect.recentred.stack_factor,
    }
}

fn at_wheel(at: &AtWheel, units: UnitSystem) -> v1::AtWheel {
    let damping = |at: &WheelDamping| v1::WheelDamping {
        wheel_rate: Some(computed::<DampingRate, _>(at.rate, units)),
        damping_ratio: at.ratio,
        overshoot_ratio: at.overshoot,
        settle_time: at.settle_seconds.and_then(span),
    };
    v1::AtWheel {
        motion_ratio: at.motion_ratio,
        wheel_rate: Some(computed(at.rate, units)),
        natural_frequency: Some(computed(Frequency::from_si(at.frequency), units)),
        compression: Some(damping(&at.compression)),
        rebound: Some(damping(&at.rebound)),
        both: Some(damping(&at.both)),
        respring_damping_factor: at.respring_factor,
    }
}

/// Seconds as a span; none where they are beyond any ride.
fn span(seconds: f64) -> Option<prost_types::Duration> {
    std::time::Duration::try_from_secs_f64(seconds).ok()?.try_into().ok()
}
