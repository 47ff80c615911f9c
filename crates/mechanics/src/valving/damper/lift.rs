//! How far a stack opens against the pressure over it.

use crate::quantity::{Length, PressureDifference, Quantity, Stress};
use crate::valving::root;
use crate::valving::stack::{EventKind, Solved};

/// A law of opening, which never falls and is 0 at no pressure.
#[derive(Debug, Clone, PartialEq)]
pub struct LiftLaw {
    kind: Kind,
    /// Pressures are those of the law times this.
    scale: f64,
}

#[derive(Debug, Clone, PartialEq)]
enum Kind {
    /// From cracking on straight, up to a stop. Pa/m, Pa, m.
    Straight { stiffness: f64, crack: f64, most: f64 },
    /// Pressures rising, Pa; openings not falling, m; slopes of a monotone cubic. Kinks rise as well.
    Table { knots: Vec<Knot>, kinks: Vec<f64> },
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Knot {
    pressure: f64,
    opening: f64,
    slope: f64,
}

impl LiftLaw {
    /// Straight: `y = (p - p_crack)/k` up to a stop. `stiffness` is the pressure that opens by `per`.
    #[must_use]
    pub fn straight(stiffness: Stress, per: Length, crack: PressureDifference, most: Option<Length>) -> Self {
        Self {
            kind: Kind::Straight {
                stiffness: stiffness.si() / per.si(),
                crack: crack.si(),
                most: most.map_or(f64::INFINITY, Quantity::si),
            },
            scale: 1.0,
        }
    }

    /// From a solved stack: a monotone cubic (Fritsch and Carlson, 1980) through its openings, in pieces between its
    /// events, where the law has a kink. Beyond the highest pressure it goes on straight.
    #[must_use]
    pub fn of_stack(solved: &Solved) -> Self {
        let mut points: Vec<(f64, f64)> = solved
            .points
            .iter()
            .map(|p| (p.pressure.si(), p.opening.si()))
            .collect();
        points.push((0.0, 0.0));
        let cracks = solved.events.iter().filter(|event| event.kind == EventKind::Cracks);
        points.extend(cracks.map(|event| (event.pressure.si(), 0.0)));
        let mut kinks: Vec<f64> = solved.events.iter().map(|event| event.pressure.si()).collect();
        kinks.sort_by(f64::total_cmp);
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        points.dedup_by(|a, b| a.0 == b.0);
        // Rounding of the solutions must not make an opening fall.
        let mut most = 0.0_f64;
        for (_, opening) in &mut points {
            most = most.max(*opening);
            *opening = most;
        }
        Self {
            kind: Kind::Table {
                knots: monotone(&points),
                kinks,
            },
            scale: 1.0,
        }
    }

    /// The same law with every pressure, also the cracking pressure, times a factor.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        Self {
            kind: self.kind.clone(),
            scale: self.scale * factor,
        }
    }

    /// Highest pressure the law was computed for; `None`: it has no end.
    #[must_use]
    pub fn end(&self) -> Option<PressureDifference> {
        match &self.kind {
            Kind::Straight { .. } => None,
            Kind::Table { knots, .. } => knots
                .last()
                .map(|knot| PressureDifference::from_si(knot.pressure * self.scale)),
        }
    }

    /// Opening at a pressure.
    #[must_use]
    pub fn opening(&self, pressure: PressureDifference) -> Length {
        Length::from_si(self.at(pressure.si()))
    }

    /// Least pressure of an opening above 0; `None` where the law does not reach it within its end.
    #[must_use]
    pub fn pressure_for(&self, opening: Length) -> Option<PressureDifference> {
        let end = self.end()?.si();
        let wanted = opening.si();
        if !(wanted > 0.0) || self.at(end) < wanted {
            return None;
        }
        Some(PressureDifference::from_si(root::rising(
            |p| self.at(p) - wanted,
            0.0,
            end,
        )))
    }

    /// Opening at a pressure, m and Pa.
    fn at(&self, pressure: f64) -> f64 {
        self.with_slope(pressure).0
    }

    /// Opening at a pressure and its derivative, m and Pa.
    pub(super) fn with_slope(&self, pressure: f64) -> (f64, f64) {
        let p = pressure / self.scale;
        if !(p > 0.0) {
            return (0.0, 0.0);
        }
        let (opening, slope) = match &self.kind {
            Kind::Straight { stiffness, crack, most } => {
                let free = (p - crack) / stiffness;
                if !(stiffness.is_finite() && free > 0.0) {
                    (0.0, 0.0)
                } else if free < *most {
                    (free, 1.0 / stiffness)
                } else {
                    (*most, 0.0)
                }
            }
            Kind::Table { knots, .. } => table(knots, p),
        };
        (opening, slope / self.scale)
    }

    /// Pressures at which the law has a kink, Pa, rising.
    pub(super) fn kinks(&self) -> impl Iterator<Item = f64> {
        let (straight, table) = match &self.kind {
            Kind::Straight { stiffness, crack, most } => ([*crack, crack + stiffness * most], [].as_slice()),
            Kind::Table { kinks, .. } => ([0.0; 2], kinks.as_slice()),
        };
        let own = straight.into_iter().chain(table.iter().copied());
        own.map(|p| p * self.scale).filter(|p| p.is_finite() && *p > 0.0)
    }

    /// Pressure it opens at; 0 where it opens at once.
    #[must_use]
    pub fn crack(&self) -> PressureDifference {
        let p = match &self.kind {
            Kind::Straight { crack, .. } => *crack,
            Kind::Table { knots, kinks } => {
                let closed = knots
                    .iter()
                    .take_while(|knot| knot.opening <= 0.0)
                    .last()
                    .map_or(0.0, |knot| knot.pressure);
                kinks
                    .iter()
                    .copied()
                    .find(|kink| *kink >= closed && closed > 0.0)
                    .unwrap_or(closed)
            }
        };
        PressureDifference::from_si(p * self.scale)
    }
}

/// Opening and its derivative.
fn table(knots: &[Knot], p: f64) -> (f64, f64) {
    let after = knots.partition_point(|knot| knot.pressure <= p);
    let (Some(from), to) = (
        after.checked_sub(1).and_then(|index| knots.get(index)),
        knots.get(after),
    ) else {
        return (0.0, 0.0);
    };
    let Some(to) = to else {
        return (from.opening + from.slope * (p - from.pressure), from.slope);
    };
    let h = to.pressure - from.pressure;
    let s = (p - from.pressure) / h;
    let (s2, s3) = (s * s, s * s * s);
    let opening = (1.0 - 3.0 * s2 + 2.0 * s3) * from.opening
        + h * (s - 2.0 * s2 + s3) * from.slope
        + (3.0 * s2 - 2.0 * s3) * to.opening
        + h * (s3 - s2) * to.slope;
    let slope = 6.0 * (s - s2) * (to.opening - from.opening) / h
        + (1.0 - 4.0 * s + 3.0 * s2) * from.slope
        + (3.0 * s2 - 2.0 * s) * to.slope;
    (opening, slope)
}

/// Slopes that keep a cubic monotone between knots.
fn monotone(points: &[(f64, f64)]) -> Vec<Knot> {
    let secants: Vec<(f64, f64)> = points
        .iter()
        .zip(points.iter().skip(1))
        .map(|((p, y), (q, z))| (q - p, (z - y) / (q - p)))
        .collect();
    let slope = |index: usize| {
        let before = index.checked_sub(1).and_then(|k| secants.get(k));
        match (before, secants.get(index)) {
            (Some((h, d)), Some((k, e))) if *d > 0.0 && *e > 0.0 => {
                // Weighted harmonic mean: never above three times the smaller secant.
                let (w, v) = (2.0 * k + h, k + 2.0 * h);
                (w + v) / (w / d + v / e)
            }
            (Some(_), Some(_)) => 0.0,
            (None, Some((_, d))) | (Some((_, d)), None) => *d,
            (None, None) => 0.0,
        }
    };
    let knot = |(index, (pressure, opening)): (usize, &(f64, f64))| Knot {
        pressure: *pressure,
        opening: *opening,
        slope: slope(index),
    };
    points.iter().enumerate().map(knot).collect()
}
