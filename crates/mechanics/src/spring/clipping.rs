//! Loads that stand at their end.

use crate::finding::Code;
use crate::quantity::{Load, Quantity};

use super::bench::{Bench, Said};
use super::samples::Point;
use super::strokes::reach;
use super::window::Cut;
use super::words::Words;
use super::{Request, SpringError, budget};

/// At this share of its capacity a cell is at its end.
const END: f64 = 0.999;
/// A plateau holds so many readings at least.
const PLATEAU_READINGS: usize = 4;
/// A plateau covers this share of the travel at least; a dwell covers none.
const PLATEAU_TRAVEL: f64 = 0.03;

/// The load from which on readings are clipped; `None` where none are.
pub(super) fn level(request: &Request, points: &[Point], said: &mut Said) -> Option<f64> {
    let words = Words::new(request.units);
    let largest = points.iter().map(|p| p.f).fold(f64::NEG_INFINITY, f64::max);
    let level = match request.load_cell.capacity.map(Quantity::si) {
        Some(capacity) => {
            if largest > capacity {
                let text = format!("{} on a cell of {}", words.force(largest), words.force(capacity));
                said.find(Code::OverCapacity, "load_cell.capacity", text);
            }
            (largest >= END * capacity).then_some(END * capacity)?
        }
        None => plateau(request, points, largest)?,
    };
    let count = points.iter().filter(|p| p.f >= level).count();
    let text = format!(
        "{count} loads stand at {}: clipped, left out of the line",
        words.force(largest)
    );
    said.find(Code::LoadClipped, "samples.loads", text);
    Some(level)
}

/// A plateau at the largest load: readings that stay there while the platen moves, more of them than any other load repeats.
fn plateau(request: &Request, points: &[Point], largest: f64) -> Option<f64> {
    let smallest = points.iter().map(|p| p.f).fold(f64::INFINITY, f64::min);
    let digit = budget::load_digit(request);
    let level = largest - f64::max(0.5 * digit, 1e-9 * (largest - smallest));
    let at_end: Vec<Point> = points.iter().filter(|p| p.f >= level).copied().collect();
    let (low, high) = reach(points);
    let (from, to) = reach(&at_end);
    if at_end.len() < PLATEAU_READINGS || to - from < PLATEAU_TRAVEL * (high - low) {
        return None;
    }
    let mut others: Vec<f64> = points.iter().map(|p| p.f).filter(|f| *f < level).collect();
    others.sort_unstable_by(f64::total_cmp);
    let distinct = others.chunk_by(|a, b| a == b).count().max(1);
    // Coarse digits repeat every load; a clipped one repeats the last.
    (at_end.len() > 3 * others.len() / distinct).then_some(level)
}

/// Refuses a window most of which is clipped.
pub(super) fn refuse(bench: &Bench<'_>, cut: &Cut, kept: usize) -> Result<(), SpringError> {
    let Some(level) = bench.clip else {
        return Ok(());
    };
    let within = |p: &&Point| p.s >= cut.from && p.s <= cut.to && bench.clipped(p);
    let counted = bench.counted().flat_map(|(_, stroke)| bench.readings(stroke));
    let count = counted.filter(within).count();
    if count > kept {
        return Err(SpringError::Clipped {
            level: Load::from_si(level),
            count,
            of: count + kept,
        });
    }
    Ok(())
}
