//! Readings, checked and laid out for computing.

use crate::quantity::Quantity;

use super::{Frame, Samples, SpringError};

/// Deflection [m] and load [N] of a reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Point {
    pub(super) s: f64,
    pub(super) f: f64,
}

/// Readings in the order taken, all finite, time never going back within a segment.
pub(super) fn checked(samples: &Samples) -> Result<Vec<Point>, SpringError> {
    let count = samples.deflections.len();
    paired("samples.loads", samples.loads.len(), count)?;
    if !samples.elapsed_ns.is_empty() {
        paired("samples.elapsed_ns", samples.elapsed_ns.len(), count)?;
    }
    let mut before = 0;
    for &start in &samples.segment_starts {
        if start <= before || start >= count {
            return Err(SpringError::Mismatched {
                what: "samples.segment_starts",
                count: start,
                expected: count.saturating_sub(1),
            });
        }
        before = start;
    }
    time_runs_on(samples)?;
    let mut points = Vec::with_capacity(count);
    for (index, (deflection, load)) in samples.deflections.iter().zip(&samples.loads).enumerate() {
        let point = Point {
            s: deflection.si(),
            f: load.si(),
        };
        let not_finite = |what| SpringError::NotFinite {
            what,
            index: Some(index),
        };
        // Beyond these no tester reads, and squares and sums stay finite below them.
        if point.s.is_nan() || point.s.abs() > LARGEST_DEFLECTION {
            return Err(not_finite("samples.deflections"));
        }
        if point.f.is_nan() || point.f.abs() > LARGEST_LOAD {
            return Err(not_finite("samples.loads"));
        }
        points.push(point);
    }
    Ok(points)
}

/// A thousand kilometres: nothing a tester moves, far below where squares overflow.
const LARGEST_DEFLECTION: f64 = 1e6;
/// More than any press has.
const LARGEST_LOAD: f64 = 1e12;

fn paired(what: &'static str, count: usize, expected: usize) -> Result<(), SpringError> {
    if count == expected {
        Ok(())
    } else {
        Err(SpringError::Mismatched { what, count, expected })
    }
}

fn time_runs_on(samples: &Samples) -> Result<(), SpringError> {
    let mut starts = samples.segment_starts.iter().copied().peekable();
    for (index, pair) in samples.elapsed_ns.windows(2).enumerate() {
        let next = index + 1;
        if starts.next_if_eq(&next).is_some() {
            continue;
        }
        if let &[earlier, later] = pair
            && later < earlier
        {
            return Err(SpringError::TimeBackwards {
                index: next,
                step_ns: earlier.saturating_sub(later),
            });
        }
    }
    Ok(())
}

/// Takes a measured frame curve's give off every deflection; `tare` is what the cell shows without load. Between the
/// curve's points the give is interpolated linearly, beyond them the end slopes are carried on.
/// Gives back how many readings lay above the curve.
pub(super) fn take_off_frame(points: &mut [Point], frame: &Frame, tare: f64) -> usize {
    let Frame::Curve { loads, gives } = frame else {
        return 0;
    };
    let curve: Vec<Point> = loads
        .iter()
        .zip(gives)
        .map(|(load, give)| Point {
            s: give.si(),
            f: load.si(),
        })
        .collect();
    let last = curve.last().map_or(f64::INFINITY, |p| p.f);
    let mut beyond = 0;
    for point in points {
        let load = point.f - tare;
        beyond += usize::from(load > last);
        point.s -= give(&curve, load);
    }
    beyond
}

fn give(curve: &[Point], load: f64) -> f64 {
    let after = curve.partition_point(|p| p.f < load).clamp(1, curve.len().max(2) - 1);
    match (curve.get(after - 1), curve.get(after)) {
        (Some(low), Some(high)) => low.s + (load - low.f) * (high.s - low.s) / (high.f - low.f),
        _ => 0.0,
    }
}
