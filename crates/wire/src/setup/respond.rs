//! EvaluateResponse: request in, reply out.

use mechanics::chassis::{DampingLaw, End, MOST_VELOCITIES, Responded, Road, TracePoint};
use mechanics::estimate::Assumption;
use mechanics::quantity::{
    DampingRate, DampingRateUnit, Force, ForceUnit, Length, LengthUnit, Mass, MassUnit, Quantity, STANDARD_GRAVITY,
    StiffnessUnit, Unit, UnitSystem, Velocity, VelocityUnit, WheelRate,
};

use crate::quantity::{Range, computed, optional, required, unit, unit_system};
use crate::springs::estimates::{assumptions, findings};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// Everything that is asked beside the machine.
#[derive(Debug, Clone)]
pub struct Options {
    /// Which end.
    pub end: Option<End>,
    /// Sprung mass with the rider.
    pub sprung: Option<Mass>,
    /// Unsprung mass.
    pub unsprung: Option<Mass>,
    /// The damper.
    pub damping: Option<DampingLaw>,
    /// The tyre.
    pub tyre_rate: Option<WheelRate>,
    /// Its damping.
    pub tyre_damping: DampingRate,
    /// What it meets.
    pub road: Option<Road>,
    /// Seconds followed.
    pub seconds: f64,
    /// Seconds to the next bump.
    pub next_bump: Option<f64>,
    /// Units of computed values.
    pub units: UnitSystem,
}

fn damping_rates() -> Range<DampingRateUnit> {
    Range::from_zero(1e6, DampingRateUnit::NewtonSecondPerMeter)
}

/// Reads everything but the machine.
pub fn options(message: &v1::EvaluateResponseRequest, violations: &mut Violations) -> Options {
    let sprung = Range::between(1.0, 2_000.0, MassUnit::Kilogram);
    let unsprung = Range::between(0.1, 500.0, MassUnit::Kilogram);
    let tyre = Range::between(1.0, 10_000.0, StiffnessUnit::NewtonPerMillimeter);
    Options {
        end: super::end(message.end, violations.at("end")),
        sprung: required(message.sprung_mass.as_ref(), sprung, violations.at("sprung_mass")),
        unsprung: optional(message.unsprung_mass.as_ref(), unsprung, violations.at("unsprung_mass")),
        damping: damping(message, violations),
        tyre_rate: optional(message.tyre_rate.as_ref(), tyre, violations.at("tyre_rate")),
        tyre_damping: optional(
            message.tyre_damping.as_ref(),
            damping_rates(),
            violations.at("tyre_damping"),
        )
        .unwrap_or_else(|| DampingRate::from_si(0.0)),
        road: road(message, violations),
        seconds: span(message.followed.as_ref(), 0.01, violations.at("followed")).unwrap_or(2.0),
        next_bump: span(message.next_bump.as_ref(), 0.0, violations.at("next_bump")),
        units: unit_system(message.reply_units, violations.at("reply_units")),
    }
}

/// A span from a least one up to 30 s, in seconds.
fn span(given: Option<&prost_types::Duration>, low: f64, mut at: Scope<'_>) -> Option<f64> {
    let given = given?;
    let seconds = given.seconds as f64 + f64::from(given.nanos) * 1e-9;
    if (low..=mechanics::chassis::LONGEST).contains(&seconds) {
        return Some(seconds);
    }
    at.push(
        Reason::OutOfRange,
        format_args!("span is {seconds} s; allowed {low} s to 30 s"),
    );
    None
}

fn damping(message: &v1::EvaluateResponseRequest, violations: &mut Violations) -> Option<DampingLaw> {
    use v1::evaluate_response_request::Damping as Sent;
    match &message.damping {
        None => {
            violations.push(
                "damping",
                Reason::ValueMissing,
                "one of wheel_damping, damper_table is required",
            );
            None
        }
        Some(Sent::WheelDamping(given)) => {
            let mut at = violations.at("wheel_damping");
            let compression = required(given.compression.as_ref(), damping_rates(), at.at("compression"));
            let rebound = required(given.rebound.as_ref(), damping_rates(), at.at("rebound"));
            Some(DampingLaw::AtWheel {
                compression: compression?,
                rebound: rebound?,
            })
        }
        Some(Sent::DamperTable(given)) => table(given, violations.at("damper_table")),
    }
}

fn table(given: &v1::DamperTable, mut at: Scope<'_>) -> Option<DampingLaw> {
    let velocity: Option<VelocityUnit> = unit(given.velocity_unit, at.at("velocity_unit"));
    let force: Option<ForceUnit> = unit(given.force_unit, at.at("force_unit"));
    let mut sound = true;
    for (name, values) in [("velocities", &given.velocities), ("forces", &given.forces)] {
        if let Some(index) = values.iter().position(|value| !value.is_finite()) {
            at.at(name).index(index).push(Reason::NotFinite, "value is not finite");
            sound = false;
        }
    }
    let count = given.velocities.len();
    if sound && !(2..=MOST_VELOCITIES).contains(&count) {
        let text = format_args!("{count} velocities; allowed 2 to {MOST_VELOCITIES}");
        at.at("velocities").push(Reason::WrongLength, text);
        sound = false;
    }
    if sound && given.forces.len() != count {
        let text = format_args!("{} forces; expected {count}, one for each velocity", given.forces.len());
        at.at("forces").push(Reason::WrongLength, text);
        sound = false;
    }
    let (velocity, force) = (velocity?, force?);
    if !sound {
        return None;
    }
    let pairs = given.velocities.iter().zip(&given.forces);
    let read: Vec<(Velocity, Force)> = pairs
        .map(|(v, f)| (Velocity::new(*v, velocity), Force::new(*f, force)))
        .collect();
    let neighbours = || read.iter().zip(read.iter().skip(1));
    if !neighbours().all(|(a, b)| a.0 < b.0) {
        at.at("velocities")
            .push(Reason::OutOfRange, "velocities must rise strictly");
        return None;
    }
    if !neighbours().all(|(a, b)| a.1 <= b.1) {
        at.at("forces")
            .push(Reason::OutOfRange, "forces must not fall as the velocity rises");
        return None;
    }
    Some(DampingLaw::AtDamper(read))
}

fn road(message: &v1::EvaluateResponseRequest, violations: &mut Violations) -> Option<Road> {
    use v1::evaluate_response_request::Road as Sent;
    let heights = Range::either_sign(500.0, LengthUnit::Millimeter);
    match &message.road {
        None => {
            violations.push("road", Reason::ValueMissing, "one of step, bump, load is required");
            None
        }
        Some(Sent::Step(given)) => {
            let height = required(given.height.as_ref(), heights, violations.at("step").at("height"));
            height.map(|height| Road::Step { height })
        }
        Some(Sent::Bump(given)) => {
            let mut at = violations.at("bump");
            let lengths = Range::between(10.0, 100_000.0, LengthUnit::Millimeter);
            let speeds = Range::between(0.1, 150.0, VelocityUnit::MeterPerSecond);
            let height = required(given.height.as_ref(), heights, at.at("height"));
            let length = required(given.length.as_ref(), lengths, at.at("length"));
            let speed = required(given.speed.as_ref(), speeds, at.at("speed"));
            Some(Road::Bump {
                height: height?,
                length: length?,
                speed: speed?,
            })
        }
        Some(Sent::Load(given)) => {
            let mut at = violations.at("load");
            let loads = Range::either_sign(50_000.0, ForceUnit::Newton);
            let load = required(given.wheel_load.as_ref(), loads, at.at("wheel_load"));
            let rise = span(given.rise.as_ref(), 0.0, at.at("rise"));
            Some(Road::Load {
                load: load?,
                rise_seconds: rise.unwrap_or(0.0),
            })
        }
    }
}

/// Where a field of the physics stands in the request.
pub fn field(physics: &str) -> String {
    let moved = [
        ("damping.table", "damper_table"),
        ("damping.", "wheel_damping."),
        ("road.load.load", "load.wheel_load"),
        ("road.", ""),
        ("seconds", "followed"),
    ];
    let found = moved
        .iter()
        .find_map(|(from, to)| Some((physics.strip_prefix(from)?, to)));
    found.map_or_else(|| physics.to_owned(), |(rest, to)| format!("{to}{rest}"))
}

fn time(seconds: f64) -> Option<prost_types::Duration> {
    std::time::Duration::try_from_secs_f64(seconds).ok()?.try_into().ok()
}

/// The reply.
pub fn response(
    found: &Responded,
    travel: Length,
    assumed: &[Assumption],
    units: UnitSystem,
) -> v1::EvaluateResponseResponse {
    v1::EvaluateResponseResponse {
        wheel_travel_before: Some(computed(found.start, units)),
        wheel_travel_after: Some(computed(found.end, units)),
        most_wheel_travel: Some(computed(found.most_travel, units)),
        most_time: time(found.most_seconds),
        least_wheel_travel: Some(computed(found.least_travel, units)),
        travel_used_ratio: found.most_travel.si() / travel.si(),
        body_peak: Some(computed(found.body_peak, units)),
        body_peak_time: time(found.body_peak_seconds),
        body_acceleration_ratio: found.body_acceleration / STANDARD_GRAVITY,
        kick_back_ratio: found.kick_back_ratio,
        settle_time: found.settle_seconds.and_then(time),
        settle_cycle_count: found.settle_cycles,
        compression_wheel_velocity: Some(computed(found.compression_velocity, units)),
        rebound_wheel_velocity: Some(computed(found.rebound_velocity, units)),
        stop_wheel_velocity: found.stop_velocity.map(|v| computed(v, units)),
        top_out_wheel_velocity: found.top_out_velocity.map(|v| computed(v, units)),
        airborne_time: time(found.airborne_seconds),
        packed_ratio: found.packed_ratio,
        body_frequency: Some(computed(found.frequencies.0, units)),
        wheel_frequency: Some(computed(found.frequencies.1, units)),
        trace: Some(trace(&found.trace, units)),
        step_error: Some(computed(found.step_error, units)),
        findings: findings(&found.findings),
        assumptions: assumptions(assumed),
        used: Vec::new(),
    }
}

fn trace(points: &[TracePoint], units: UnitSystem) -> v1::ResponseTrace {
    let (length, force) = (LengthUnit::of_system(units), ForceUnit::of_system(units));
    let each = |of: &dyn Fn(&TracePoint) -> f64| points.iter().map(of).collect();
    v1::ResponseTrace {
        seconds: each(&|point| point.seconds),
        length_unit: length.row().number,
        wheel_travels: each(&|point| point.travel.get(length)),
        body_heights: each(&|point| point.body.get(length)),
        wheel_heights: each(&|point| point.wheel.get(length)),
        force_unit: force.row().number,
        ground_loads: each(&|point| point.ground_load.get(force)),
    }
}
