//! Coil bind, and which readings lie below it.

use crate::estimate::{Contribution, Coverage, Estimate};
use crate::quantity::{Deflection, Load, Quantity, SpringRate};

use super::bind::{Broken, SIDE, two_lines};
use super::samples::Point;
use super::{Knee, KneeKind};

/// Coils are closed where the rate is this many times the working rate (common practice, no source).
const BIND: f64 = 5.0;
/// Bind is looked for above this share of the travel: below, the end coils seat.
const ABOVE_SEATING: f64 = 0.3;
/// Shares of the travel between which the working coils alone carry (common practice, no source).
const SEATING: f64 = 0.2;
const SHORT_OF_BIND: f64 = 0.95;

/// Coil bind of a press in order of deflection: a knee that stands out of the scatter, after which the rate is more than
/// five times what it was. Three flat readings at the start of the search would make any rate a multiple of theirs.
pub(super) fn bind(sorted: &[Point], from: f64) -> Option<Broken> {
    let to = sorted.last()?.s;
    let upper = above(sorted, from + ABOVE_SEATING * (to - from));
    let binds = |broken: &Broken| broken.before > 0.0 && broken.after > BIND * broken.before;
    two_lines(upper, SIDE).filter(|broken| binds(broken) && stands_out(broken, upper.len()))
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

/// Readings between the seating of the end coils and coil bind; every one where every sample was asked for.
pub(super) fn working(sorted: &[Point], from: f64, bind: Option<f64>, every: bool) -> &[Point] {
    let Some(last) = sorted.last() else { return sorted };
    let to = bind.unwrap_or(last.s);
    let (low, high) = match (every, bind) {
        (true, None) => return sorted,
        (true, Some(_)) => (f64::NEG_INFINITY, to),
        (false, _) => (from + SEATING * (to - from), from + SHORT_OF_BIND * (to - from)),
    };
    let upper = above(sorted, low);
    upper.get(..upper.partition_point(|p| p.s < high)).unwrap_or_default()
}

fn above(sorted: &[Point], from: f64) -> &[Point] {
    sorted.get(sorted.partition_point(|p| p.s < from)..).unwrap_or_default()
}

/// Coil bind as it is answered, tare taken off.
pub(super) fn answer(broken: &Broken, tare: f64, coverage: Coverage) -> Knee {
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
        kind: KneeKind::Bind,
        deflection: Estimate::<Deflection>::of_budget(broken.at, rows, coverage),
        load: Load::from_si(broken.load - tare),
        rate_before: SpringRate::from_si(broken.before),
        rate_after: SpringRate::from_si(broken.after),
    }
}
