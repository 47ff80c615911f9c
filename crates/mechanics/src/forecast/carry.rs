//! What an end carries against its wheel travel, tabled once so that a forecast can ask for it thousands of times.

use crate::chassis::Suspension;
use crate::quantity::{Quantity, Travel};

/// Pieces of the travel; between its kinks a straight spring is met exactly, a linkage to some micrometres.
const PIECES: u32 = 256;

/// Vertical load at the wheel against wheel travel, SI. Where the load falls with the travel the largest so far stands: an
/// end passes such a place without stopping.
#[derive(Debug, Clone)]
pub(super) struct Carry {
    travels: Vec<f64>,
    loads: Vec<f64>,
}

impl Carry {
    pub(super) fn of(suspension: &Suspension) -> Self {
        let travel = suspension.path().travel().si();
        let even = (0..=PIECES).map(|piece| travel * f64::from(piece) / f64::from(PIECES));
        let mut travels: Vec<f64> = even.chain(suspension.kinks().into_iter().map(Quantity::si)).collect();
        travels.sort_by(f64::total_cmp);
        let mut most = f64::NEG_INFINITY;
        let load = |z: &f64| {
            most = most.max(suspension.at(Travel::from_si(*z)).wheel_force.si());
            most
        };
        let loads = travels.iter().map(load).collect();
        Self { travels, loads }
    }

    /// What it carries fully extended.
    pub(super) fn extended(&self) -> f64 {
        self.loads.first().copied().unwrap_or(0.0)
    }

    /// Where it rests under a load: the first place that carries it, 0 where it is topped out, the whole travel where
    /// nothing carries it.
    pub(super) fn rest(&self, load: f64) -> f64 {
        let after = self.loads.partition_point(|carried| *carried < load);
        between(&self.loads, &self.travels, after, load)
    }

    /// What it carries at a travel.
    pub(super) fn at(&self, travel: f64) -> f64 {
        let after = self.travels.partition_point(|z| *z < travel);
        between(&self.travels, &self.loads, after, travel)
    }
}

/// Straight between the entries before and at `after`; the ends stand for what lies beyond them.
fn between(xs: &[f64], ys: &[f64], after: usize, x: f64) -> f64 {
    let entry = |index: usize| Some((*xs.get(index)?, *ys.get(index)?));
    let Some((x1, y1)) = entry(after) else {
        return ys.last().copied().unwrap_or(0.0);
    };
    match after.checked_sub(1).and_then(entry) {
        Some((x0, y0)) if x1 > x0 => y0 + (y1 - y0) * (x - x0) / (x1 - x0),
        _ => y1,
    }
}
