//! CompareStacks: request in, reply out.

use mechanics::quantity::{Length, PressureDifference, PressureUnit, Quantity, UnitSystem, Velocity, VelocityUnit};
use mechanics::valving::compare::{ComparedDampers, ComparedStacks, DamperDifference, StackDifference};

use super::evaluate::marks;
use super::solve::events;
use crate::quantity::{Message, Range, computed, entered};
use crate::springs::estimates::{assumptions, findings};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::Scope;

/// Low, middle and high where none are given: MPa and m/s of the shaft; common practice, no source.
const PRESSURES: [f64; 3] = [0.1, 0.5, 2.0];
const VELOCITIES: [f64; 3] = [0.05, 0.25, 1.0];

/// Low, middle and high pressure.
pub fn pressures(given: &[v1::Pressure], at: Scope<'_>) -> Vec<PressureDifference> {
    let usual = PRESSURES.map(|p| PressureDifference::new(p, PressureUnit::Megapascal));
    rising(given, Range::above_zero(50.0, PressureUnit::Megapascal), &usual, at)
}

/// Low, middle and high velocity of the shaft.
pub fn velocities(given: &[v1::Velocity], at: Scope<'_>) -> Vec<Velocity> {
    let usual = VELOCITIES.map(Velocity::from_si);
    rising(given, Range::above_zero(20.0, VelocityUnit::MeterPerSecond), &usual, at)
}

fn rising<Q: Quantity, M: Message<Unit = Q::Unit>>(
    given: &[M],
    range: Range<Q::Unit>,
    usual: &[Q],
    mut at: Scope<'_>,
) -> Vec<Q> {
    if given.is_empty() {
        return usual.to_vec();
    }
    if given.len() != 3 {
        let text = format_args!("{} values; allowed low, middle and high, or none", given.len());
        at.push(Reason::WrongLength, text);
    }
    let read = |(index, one)| entered(one, range, at.index(index)).map(Q::of);
    let values: Vec<Q> = given.iter().take(3).enumerate().filter_map(read).collect();
    if values.iter().zip(values.iter().skip(1)).any(|(low, high)| low >= high) {
        at.push(Reason::OutOfRange, "low, middle and high must rise");
    }
    values
}

fn stack_difference(at: &StackDifference, units: UnitSystem) -> v1::StackDifference {
    v1::StackDifference {
        pressure: Some(computed(at.pressure, units)),
        first_opening: Some(computed(at.first, units)),
        second_opening: Some(computed(at.second, units)),
        opening_difference: Some(computed(Length::from_si(at.second.si() - at.first.si()), units)),
        stiffness_ratio: at.stiffness_ratio,
    }
}

fn damper_difference(at: &DamperDifference, units: UnitSystem) -> v1::DamperDifference {
    v1::DamperDifference {
        shaft_velocity: Some(computed(at.velocity, units)),
        first_force: Some(computed(at.first, units)),
        second_force: Some(computed(at.second, units)),
        force_difference: Some(computed(
            mechanics::quantity::Force::from_si(at.second.si() - at.first.si()),
            units,
        )),
        force_ratio: at.ratio,
    }
}

/// The reply for two stacks.
pub fn of_stacks(compared: &ComparedStacks, units: UnitSystem) -> v1::CompareStacksResponse {
    v1::CompareStacksResponse {
        stack_differences: compared.at.iter().map(|at| stack_difference(at, units)).collect(),
        stack_curve: compared.curve.iter().map(|at| stack_difference(at, units)).collect(),
        first_events: events(&compared.first_events, units),
        second_events: events(&compared.second_events, units),
        findings: findings(&compared.findings),
        assumptions: assumptions(&compared.assumptions),
        ..Default::default()
    }
}

/// The reply for two dampers: those at the velocities that were named, then the curve.
pub fn of_dampers(compared: &ComparedDampers, named: usize, units: UnitSystem) -> v1::CompareStacksResponse {
    let all = compared.curve.iter().map(|at| damper_difference(at, units));
    v1::CompareStacksResponse {
        damper_differences: all.clone().take(named).collect(),
        damper_curve: all.skip(named).collect(),
        first_marks: marks(&compared.first_marks, units),
        second_marks: marks(&compared.second_marks, units),
        findings: findings(&compared.findings),
        assumptions: assumptions(&compared.assumptions),
        ..Default::default()
    }
}
