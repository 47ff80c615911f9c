//! How a second stack or damper differs from a first.

use super::ValvingError;
use super::damper::{Evaluation, LiftLaw, Mark, evaluate};
use super::stack::{self, Event, Method, Request, SWEEP_RINGS, Stack};
use crate::estimate::Assumption;
use crate::finding::Finding;
use crate::quantity::{Force, Length, PressureDifference, PressureUnit, Quantity, Velocity};

/// Points of the curve of two stacks.
const CURVE: u32 = 40;
/// How far the second stack is solved for the opening of the first, over the high pressure.
const REACH: f64 = 4.0;

/// Two stacks at one pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StackDifference {
    /// Pressure over the face shim.
    pub pressure: PressureDifference,
    /// Opening of the first.
    pub first: Length,
    /// Opening of the second.
    pub second: Length,
    /// Pressure the second needs for the opening of the first, over the pressure; `None`: the first is closed, or the
    /// second needs more than four times the high pressure.
    pub stiffness_ratio: Option<f64>,
}

/// Two stacks.
#[derive(Debug, Clone, PartialEq)]
pub struct ComparedStacks {
    /// At the pressures asked for.
    pub at: Vec<StackDifference>,
    /// Up to the highest of them.
    pub curve: Vec<StackDifference>,
    /// What happens to the first up to there.
    pub first_events: Vec<Event>,
    /// What happens to the second.
    pub second_events: Vec<Event>,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// Compares two stacks at pressures.
///
/// # Errors
/// [`ValvingError`] of either stack; fields of the first stand below `first`, of the second below `second`.
pub fn stacks(first: &Stack, second: &Stack, at: &[PressureDifference]) -> Result<ComparedStacks, ValvingError> {
    let highest = at.iter().map(|p| p.si()).fold(0.0, f64::max);
    if !(highest > 0.0) {
        return Err(ValvingError::out_of_range(
            "pressures",
            highest / 1e6,
            "MPa",
            "the highest above 0",
        ));
    }
    let curve: Vec<PressureDifference> = (0..=CURVE)
        .map(|k| PressureDifference::from_si(highest * f64::from(k) / f64::from(CURVE)))
        .collect();
    let solve = |stack: &Stack, reach: f64| {
        let mut pressures: Vec<PressureDifference> = curve.iter().chain(at).copied().collect();
        let beyond =
            (1..=10).map(|k| PressureDifference::from_si(highest * (1.0 + (reach - 1.0) * f64::from(k) / 10.0)));
        pressures.extend(beyond.filter(|_| reach > 1.0));
        pressures.retain(|p| p.get(PressureUnit::Megapascal) <= 200.0);
        stack::solve(&Request {
            stack: stack.clone(),
            pressures,
            method: Method::LargeDeflection,
            ring_count: Some(SWEEP_RINGS),
        })
    };
    let one = solve(first, 1.0).map_err(|error| error.below("first"))?;
    let mut two = solve(second, REACH).map_err(|error| error.below("second"))?;
    let (law, other) = (LiftLaw::of_stack(&one), LiftLaw::of_stack(&two));
    let difference = |p: &PressureDifference| {
        let (first, second) = (law.opening(*p), other.opening(*p));
        StackDifference {
            pressure: *p,
            first,
            second,
            stiffness_ratio: other
                .pressure_for(first)
                .map(|needed| needed.si() / p.si())
                .filter(|ratio| ratio.is_finite()),
        }
    };
    two.events.retain(|event| event.pressure.si() <= highest);
    let mut findings = one.findings;
    // The second was solved beyond what was asked for; what it finds there is none of the question.
    let again = stack::solve(&Request {
        stack: second.clone(),
        pressures: vec![PressureDifference::from_si(highest)],
        method: Method::LargeDeflection,
        ring_count: Some(SWEEP_RINGS),
    })
    .map_err(|error| error.below("second"))?;
    findings.extend(again.findings);
    Ok(ComparedStacks {
        at: at.iter().map(difference).collect(),
        curve: curve.iter().map(difference).collect(),
        first_events: one.events,
        second_events: two.events,
        findings,
        assumptions: one.assumptions,
    })
}

/// Two dampers at one velocity: hydraulic and friction force.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DamperDifference {
    /// Velocity of the shaft.
    pub velocity: Velocity,
    /// Force of the first.
    pub first: Force,
    /// Force of the second.
    pub second: Force,
    /// Second over first; `None` at rest.
    pub ratio: Option<f64>,
}

/// Two dampers.
#[derive(Debug, Clone, PartialEq)]
pub struct ComparedDampers {
    /// At the velocities of both evaluations.
    pub curve: Vec<DamperDifference>,
    /// Velocities that matter for the first.
    pub first_marks: Vec<Mark>,
    /// Velocities that matter for the second.
    pub second_marks: Vec<Mark>,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// Compares two dampers at the velocities of the first evaluation, which the second must share.
///
/// # Errors
/// [`ValvingError`] of either; fields stand below `first` or `second`.
pub fn dampers(first: &Evaluation, second: &Evaluation) -> Result<ComparedDampers, ValvingError> {
    let one = evaluate(first).map_err(|error| error.within_part("first"))?;
    let two = evaluate(second).map_err(|error| error.within_part("second"))?;
    let pairs = one.points.iter().zip(&two.points);
    let curve = pairs.map(|(a, b)| {
        let damping = |state: &super::damper::DamperState| state.hydraulic_force.si() + state.friction_force.si();
        let (f, g) = (damping(&a.state), damping(&b.state));
        DamperDifference {
            velocity: a.velocity,
            first: Force::from_si(f),
            second: Force::from_si(g),
            ratio: Some(g / f).filter(|ratio| ratio.is_finite()),
        }
    });
    Ok(ComparedDampers {
        curve: curve.collect(),
        first_marks: one.marks,
        second_marks: two.marks,
        findings: one.findings.into_iter().chain(two.findings).collect(),
        assumptions: one.assumptions,
    })
}
