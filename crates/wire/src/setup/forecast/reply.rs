//! The reply of ForecastLimits, and what of its ends the machine still has to say.

use mechanics::chassis::Suspension;
use mechanics::forecast::{CircuitPoint, CostStep, EndPoint, Forecast, ForecastEnd, Kind, Limit, Money, PacePoint};
use mechanics::judgement::{Circuit, ShaftSpeed, StrokeDirection};
use mechanics::quantity::{Quantity, STANDARD_GRAVITY, Stroke, Travel, UnitSystem, Velocity};

use super::{CircuitOptions, EndOptions};
use crate::quantity::computed;
use crate::setup::end_number;
use crate::setup::words::remedy_of;
use crate::springs::estimates::{assumptions, findings};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::Scope;

impl EndOptions {
    /// The end with what carries it and the adjusters of its unit; what the unit does not say is noted.
    pub fn on(&self, suspension: Suspension, unit: &v1::UnitValues, mut at: Scope<'_>) -> Option<ForecastEnd> {
        let path = suspension.path();
        // A fork's travel is read along its leg.
        let read = |length: f64| path.rake().map_or(length, |rake| length * rake.si().cos());
        let used = self.travel_used.map(|used| read(used.si()));
        let travel = path.travel().si();
        if let Some(used) = used.filter(|used| *used > travel * (1.0 + 1e-9)) {
            let text = format!(
                "travel_used is {:.1} mm at the wheel; allowed 0 to {:.1} mm",
                used * 1e3,
                travel * 1e3
            );
            at.at("travel_used").push(Reason::OutOfRange, text);
        }
        let mut circuits = Vec::new();
        for (index, circuit) in self.circuits.iter().enumerate() {
            circuits.extend(circuit.of(unit, at.at("circuits").index(index)));
        }
        Some(ForecastEnd {
            travel_used: used.map(|used| Travel::from_si(used.min(travel))),
            travel_used_uncertainty: self.travel_used_uncertainty,
            rate_uncertainty: self.rate_uncertainty,
            bind: self.bind.or_else(|| bind(unit)),
            circuits,
            can_be_revalved: super::super::judge::can_be_revalved(unit),
            tyre_rate: self.tyre_rate,
            wheel_damping: self.wheel_damping,
            suspension,
        })
    }
}

impl CircuitOptions {
    fn of(&self, unit: &v1::UnitValues, mut at: Scope<'_>) -> Option<mechanics::forecast::ForecastCircuit> {
        let sent = circuit_number(self.given.circuit);
        let row = unit.adjusters.iter().find(|row| row.circuit == sent);
        let mut circuit = self.given.clone();
        let Some(range) = self.range.or_else(|| row?.range_count) else {
            at.at("range_count").push(
                Reason::ValueMissing,
                "the range is required here or with the machine's adjusters",
            );
            return None;
        };
        if circuit.position > range {
            let text = format!("position_from_closed is {}; allowed 0 to {range}", circuit.position);
            at.at("position_from_closed").push(Reason::OutOfRange, text);
            return None;
        }
        circuit.range = range;
        if circuit.reach.is_empty() {
            let ratio = row
                .and_then(|row| row.closed_to_open_force_ratio)
                .filter(|ratio| *ratio >= 1.01);
            circuit.reach.extend(ratio.map(|ratio| (Velocity::from_si(1.0), ratio)));
        }
        Some(circuit)
    }
}

/// Axial travel at which the first spring of a unit binds; `None` where not all of one is known.
fn bind(unit: &v1::UnitValues) -> Option<Stroke> {
    let of = |leg: &v1::LegValues| {
        let length = |given: Option<&v1::Length>| crate::setup::length::<Stroke>(given).map(Quantity::si);
        let (free, solid) = (length(leg.free_length.as_ref())?, length(leg.solid_length.as_ref())?);
        Some(free - solid - length(leg.preload.as_ref())?)
    };
    let bind = unit.legs.iter().filter_map(of).min_by(f64::total_cmp)?;
    (bind >= 1e-3).then(|| Stroke::from_si(bind))
}

/// The reply, without records and drawing.
pub fn response(found: &Forecast, highest: f64, units: UnitSystem) -> v1::ForecastLimitsResponse {
    v1::ForecastLimitsResponse {
        limits: found.limits.iter().map(limit).collect(),
        steps: found.steps.iter().map(step).collect(),
        currency_code: String::new(),
        coverage_probability: 0.95,
        highest_pace_ratio: highest,
        braking_grip_pace_ratio: found.plateaus.braking_grip,
        rear_lift_pace_ratio: found.plateaus.rear_lift,
        cornering_grip_pace_ratio: found.plateaus.cornering_grip,
        points: found.points.iter().map(|one| point(one, units)).collect(),
        staircase_svg: String::new(),
        findings: findings(&found.findings),
        assumptions: assumptions(&found.assumptions),
        used: Vec::new(),
    }
}

fn limit(limit: &Limit) -> v1::LimitForecast {
    v1::LimitForecast {
        kind: kind(limit.kind) as i32,
        end: end_number(limit.end),
        circuit: limit.circuit.map_or(0, circuit_number),
        pace_ratio: limit.pace,
        lower_pace_ratio: limit.low,
        upper_pace_ratio: limit.high,
        remedy: remedy_of(limit.remedy) as i32,
        why: limit.why.clone(),
    }
}

fn kind(kind: Kind) -> v1::LimitKind {
    match kind {
        Kind::TravelUsed => v1::LimitKind::TravelUsed,
        Kind::Bind => v1::LimitKind::Bind,
        Kind::QuarterLeft => v1::LimitKind::QuarterLeft,
        Kind::RangeGone => v1::LimitKind::RangeGone,
        Kind::PortLimited => v1::LimitKind::PortLimited,
        Kind::TopOut => v1::LimitKind::TopOut,
    }
}

fn step(step: &CostStep) -> v1::CostStep {
    v1::CostStep {
        pace_ratio: step.pace,
        lower_pace_ratio: step.low,
        upper_pace_ratio: step.high,
        remedy: remedy_of(step.remedy) as i32,
        end: end_number(step.end),
        limit_index: i32::try_from(step.limit).unwrap_or(i32::MAX),
        label: step.label.clone().unwrap_or_default(),
        price: step.price.map(money),
        total: Some(money(step.total)),
    }
}

fn money(money: Money) -> v1::Money {
    v1::Money {
        units: i64::try_from(money.nanos / 1_000_000_000).ok(),
        nanos: i32::try_from(money.nanos % 1_000_000_000).unwrap_or(0),
    }
}

fn point(point: &PacePoint, units: UnitSystem) -> v1::MachineAtPace {
    v1::MachineAtPace {
        pace_ratio: point.pace,
        road_factor: point.road_factor,
        bump_bound_factor: point.bump_bound,
        deceleration_ratio: point.deceleration / STANDARD_GRAVITY,
        rear_lift_ratio: point.rear_lift / STANDARD_GRAVITY,
        lateral_ratio: point.lateral / STANDARD_GRAVITY,
        load_factor: point.load_factor,
        ends: point.ends.iter().map(|end| end_at(end, units)).collect(),
    }
}

fn end_at(end: &EndPoint, units: UnitSystem) -> v1::EndAtPace {
    let circuit = |circuit: &CircuitPoint| v1::CircuitAtPace {
        circuit: circuit_number(circuit.circuit),
        velocity_ratio: circuit.velocity_factor,
        damping_factor: circuit.damping_factor,
        share_left_ratio: circuit.share_left,
    };
    v1::EndAtPace {
        end: end_number(end.end),
        wheel_load: Some(computed(end.load, units)),
        steady_wheel_travel: Some(computed(end.steady, units)),
        used_wheel_travel: end.used.map(|used| computed(used, units)),
        used_ratio: end.used_ratio,
        rate_factor: end.rate_factor,
        circuits: end.circuits.iter().map(circuit).collect(),
    }
}

/// A circuit as it is sent.
pub fn circuit_number(circuit: Circuit) -> i32 {
    use v1::DampingCircuit as Sent;
    let sent = match (circuit.stroke, circuit.speed) {
        (StrokeDirection::Compression, None) => Sent::Compression,
        (StrokeDirection::Compression, Some(ShaftSpeed::Low)) => Sent::LowSpeedCompression,
        (StrokeDirection::Compression, Some(ShaftSpeed::High)) => Sent::HighSpeedCompression,
        (StrokeDirection::Rebound, None) => Sent::Rebound,
        (StrokeDirection::Rebound, Some(ShaftSpeed::Low)) => Sent::LowSpeedRebound,
        (StrokeDirection::Rebound, Some(ShaftSpeed::High)) => Sent::HighSpeedRebound,
    };
    sent as i32
}
