//! Press against return: transitions after reversals left out, friction as half the gap.

use crate::estimate::{Contribution, Coverage, Estimate};
use crate::quantity::{Force, Load, Quantity, SpringRate};

use super::Friction;
use super::line::{Group, Line, branch_slope, fit, pooled_slope};
use super::samples::Point;
use super::strokes::Course;

/// Leading readings further from their branch than this share of the gap belong to the transition (common practice, no
/// source).
const TRANSITION: f64 = 0.1;
/// Fewest readings a transition is looked for in.
const READINGS: usize = 6;

/// Drops the leading readings of every branch that follows a reversal, while they lie more than a tenth of the gap (and more
/// than three residual deviations) off the branch's own later line, on the side of the branch they come from. Gives back
/// how many were dropped.
pub(super) fn leave_out_transitions(groups: &mut [Group]) -> usize {
    let counts: Vec<usize> = groups
        .iter()
        .enumerate()
        .map(|(index, _)| transition(groups, index))
        .collect();
    for (group, count) in groups.iter_mut().zip(&counts) {
        group.points.drain(..count.min(&group.points.len()));
    }
    counts.iter().sum()
}

fn transition(groups: &[Group], index: usize) -> usize {
    let Some((group, earlier)) = groups.get(index).zip(groups.get(..index)) else {
        return 0;
    };
    let Some(other) = earlier.iter().rev().find(|other| other.course != group.course) else {
        return 0;
    };
    let count = group.points.len();
    if count < READINGS {
        return 0;
    }
    let line_of = |points: &[Point]| {
        fit(&[Group {
            points: points.to_vec(),
            ..*group
        }])
    };
    let Some((own, before)) = group
        .points
        .get(count / 3..)
        .and_then(line_of)
        .zip(line_of(&other.points))
    else {
        return 0;
    };
    let side = match group.course {
        Course::Return => 1.0,
        Course::Press => -1.0,
    };
    let gap = side * (before.at(own.center) - own.at(own.center));
    if gap <= 0.0 {
        return 0;
    }
    let threshold = (TRANSITION * gap).max(3.0 * own.scatter);
    let off = |p: &&Point| side * (p.f - own.at(p.s)) > threshold;
    group.points.iter().take_while(off).count()
}

/// Friction of a line over both branches; `None` where one is missing.
pub(super) fn friction(groups: &[Group], line: &Line, origin: f64, tare: f64, coverage: Coverage) -> Option<Friction> {
    let (half_gap, u) = line.half_gap?;
    let of = |course| branch_slope(groups, course).map(SpringRate::from_si);
    let rows = if u > 0.0 {
        vec![Contribution::type_a(
            "scatter about the two lines",
            u,
            1.0,
            Some(line.dof.max(1.0)),
        )]
    } else {
        Vec::new()
    };
    Some(Friction {
        force: Estimate::<Force>::of_budget(half_gap, rows, coverage),
        rate: SpringRate::from_si(line.slope),
        mean_intercept: Load::from_si(line.at(origin) - tare),
        press_rate: of(Course::Press)?,
        return_rate: of(Course::Return)?,
        pooled_rate: SpringRate::from_si(pooled_slope(groups)?),
    })
}
