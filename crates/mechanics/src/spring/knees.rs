//! Which knees a curve has: coil bind, and changes of the rate below it.

use crate::estimate::{Contribution, Coverage, Estimate};
use crate::quantity::{Deflection, Load, Quantity, SpringRate};

use super::bind::{Broken, two_lines};
use super::samples::Point;
use super::{Knee, KneeKind};

/// Coils are closed where the rate is this many times the working rate (common practice, no source).
const BIND: f64 = 5.0;
/// Bind is looked for above this share of the travel: below, the end coils seat.
const ABOVE_SEATING: f64 = 0.3;
/// A step of the rate below this share is no knee.
const STEP: f64 = 0.03;
/// Fewest readings on either side a change of rate is believed from.
const READINGS: usize = 8;

/// Coil bind of a press in order of deflection: a knee that stands out of the scatter, after which the rate is more than
/// five times what it was. Three flat readings at the start of the search would make any rate a multiple of theirs.
pub(super) fn bind(sorted: &[Point], from: f64) -> Option<Broken> {
    let to = sorted.last()?.s;
    let upper = above(sorted, from + ABOVE_SEATING * (to - from));
    let binds = |broken: &Broken| broken.before > 0.0 && broken.after > BIND * broken.before;
    two_lines(upper).filter(|broken| binds(broken) && stands_out(broken, upper.len()))
}

/// Whether a knee is more than scatter: the step of the rate must exceed three of its uncertainties, and the pair of lines
/// must win by BIC with three parameters for the further segment (a searched break counts more than its own parameter).
/// Residuals of rounding are no scatter.
fn stands_out(broken: &Broken, count: usize) -> bool {
    let n = count as f64;
    let step = broken.after - broken.before;
    let sure = step.abs() > 3.0 * broken.slopes_u.0.hypot(broken.slopes_u.1);
    let gain = n * (broken.straight_rss / broken.rss).ln() - 3.0 * n.ln();
    let rounding = broken.straight_rss <= n * (1e-12 * broken.load).powi(2);
    sure && !rounding && (gain > 0.0 || broken.rss == 0.0)
}

/// A change of the rate below coil bind: a knee that stands out of the scatter, with a step of more than 3 %.
pub(super) fn rate_change(sorted: &[Point], from: f64, bind: Option<f64>) -> Option<Broken> {
    let to = bind.unwrap_or(sorted.last()?.s);
    let middle = above(sorted, from + 0.2 * (to - from));
    let middle = middle.get(..middle.partition_point(|p| p.s < from + 0.95 * (to - from)))?;
    if middle.len() < 2 * READINGS {
        return None;
    }
    let broken = two_lines(middle)?;
    let large = (broken.after - broken.before).abs() > STEP * broken.before.abs();
    (large && stands_out(&broken, middle.len())).then_some(broken)
}

fn above(sorted: &[Point], from: f64) -> &[Point] {
    sorted.get(sorted.partition_point(|p| p.s < from)..).unwrap_or_default()
}

/// The knee as it is answered, tare taken off.
pub(super) fn answer(kind: KneeKind, broken: &Broken, tare: f64, coverage: Coverage) -> Knee {
    let rows = if broken.at_u > 0.0 && broken.at_u.is_finite() {
        vec![Contribution::type_a(
            "scatter about the two lines",
            broken.at_u,
            1.0,
            None,
        )]
    } else {
        Vec::new()
    };
    Knee {
        kind,
        deflection: Estimate::<Deflection>::of_budget(broken.at, rows, coverage),
        load: Load::from_si(broken.load - tare),
        rate_before: SpringRate::from_si(broken.before),
        rate_after: SpringRate::from_si(broken.after),
    }
}
