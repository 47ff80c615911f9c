//! The curve for drawing, and the energies under it.

use crate::quantity::{Deflection, Load, Quantity};

use super::bench::{Bench, Settled};
use super::samples::Point;
use super::strokes::{Course, Stroke};
use super::{CURVE_POINTS, CurvePoint, ForceCurve, monotone, shape};

/// Readings in order of deflection, thinned to means of runs of equal count, tare taken off.
pub(super) fn thinned(sorted: &[Point], tare: f64) -> Vec<CurvePoint> {
    let n = sorted.len();
    let runs = n.min(CURVE_POINTS);
    (0..runs)
        .filter_map(|run| sorted.get(run * n / runs..(run + 1) * n / runs))
        .map(|run| {
            let count = run.len() as f64;
            let (s, f) = run.iter().fold((0.0, 0.0), |(s, f), p| (s + p.s, f + p.f));
            CurvePoint {
                deflection: Deflection::from_si(s / count),
                load: Load::from_si(f / count - tare),
            }
        })
        .collect()
}

/// Means the smooth curve goes through, and steps it is drawn in between them.
const MEANS: usize = 32;
const STEPS: usize = 4;

/// A smooth curve through readings in order of deflection that never falls, tare taken off: means, pooled where they fall,
/// with the monotone interpolation between them.
pub(super) fn smooth(sorted: &[Point], tare: f64) -> Vec<CurvePoint> {
    let table: Vec<(Deflection, Load)> = monotone::never_falling(&shape::thinned(sorted, MEANS))
        .into_iter()
        .map(|(s, f)| (Deflection::from_si(s), Load::from_si(f - tare)))
        .collect();
    let Some(curve) = ForceCurve::of_table(&table) else {
        return Vec::new();
    };
    let between = table.iter().zip(table.iter().skip(1)).flat_map(|((a, _), (b, _))| {
        let (a, b) = (a.si(), b.si());
        (0..STEPS).map(move |k| a + (b - a) * k as f64 / STEPS as f64)
    });
    between
        .chain(table.last().map(|(s, _)| s.si()))
        .filter_map(|s| curve.at(Deflection::from_si(s)))
        .map(|at| CurvePoint {
            deflection: at.deflection,
            load: at.load,
        })
        .collect()
}

/// Energy stored at the largest deflection of the deepest stroke, and energy its return does not give back, J: trapezoids in
/// the order taken, from contact. Where no contact is known, the spring up to its first load counts as straight,
/// `F^2/(2 k)`. `in_frame` is what a frame of one rate holds. The loss needs the return to come back to where the press began.
pub(super) fn energies(bench: &Bench<'_>, settled: &Settled, in_frame: f64) -> (Option<f64>, Option<f64>) {
    let Some(stroke) = bench.deepest().filter(|_| bench.strokes.ordered) else {
        return (None, None);
    };
    let from = settled.contact.unwrap_or(f64::NEG_INFINITY);
    let press = work(bench, stroke, Course::Press, from);
    let Some((pressed, first, _)) = press else {
        return (None, None);
    };
    let before = if settled.contact.is_some() {
        0.0
    } else {
        first.f.max(0.0).powi(2) / (2.0 * settled.line.slope)
    };
    let stored = pressed + before - in_frame;
    let back = work(bench, stroke, Course::Return, from);
    let travel = settled.travel.largest - first.s;
    let lost = back.and_then(|(given, _, last)| (last.s - first.s < 0.1 * travel).then_some(pressed + given));
    (Some(stored).filter(|e| e.is_finite() && *e >= 0.0), lost)
}

/// Work done on the spring along a branch beyond a deflection; its first and last reading there.
fn work(bench: &Bench<'_>, stroke: &Stroke, course: Course, from: f64) -> Option<(f64, Point, Point)> {
    let tare = bench.tare();
    let mut readings = bench
        .branch(stroke, course)
        .filter(|p| p.s >= from)
        .map(|p| Point { s: p.s, f: p.f - tare });
    let first = readings.next()?;
    let (sum, last) = readings.fold((0.0, first), |(sum, before), p| {
        (sum + f64::midpoint(before.f, p.f) * (p.s - before.s), p)
    });
    (last != first).then_some((sum, first, last))
}
