//! How load and travel of parts together follow from one another.

use crate::quantity::{Deflection, Length, Load, Quantity, SpringRate};

use super::super::force::{ForceCurve, ForcePoint};
use super::super::helical;
use super::{Part, PartKind};

/// A rising polyline from (0, 0), in metres and newtons, and how it goes on.
#[derive(Debug, Clone)]
pub(super) struct Law {
    pub(super) knots: Vec<(f64, f64)>,
    /// Rate after the last knot; `None`: closed.
    pub(super) tail: Option<f64>,
}

/// Steps a table's interval is cut into where it meets other springs.
pub(super) const FINE: usize = 64;

impl Law {
    pub(super) fn end(&self) -> (f64, f64) {
        self.knots.last().copied().unwrap_or((0.0, 0.0))
    }

    /// Load at a travel; `None` past closing.
    pub(super) fn load(&self, s: f64) -> Option<f64> {
        let index = self.knots.partition_point(|knot| knot.0 < s);
        match (
            index.checked_sub(1).and_then(|k| self.knots.get(k)),
            self.knots.get(index),
        ) {
            (_, Some(next)) if next.0 == s => Some(next.1),
            (Some(a), Some(b)) => Some(a.1 + (s - a.0) * (b.1 - a.1) / (b.0 - a.0)),
            (None, Some(first)) => Some(first.1),
            (Some(last), None) => self
                .tail
                .map(|rate| last.1 + rate * (s - last.0))
                .or((s <= last.0 * (1.0 + 1e-12)).then_some(last.1)),
            (None, None) => self.tail.map(|rate| rate * s),
        }
    }

    /// Travel under a load; a closed part stays where it closed.
    pub(super) fn travel(&self, load: f64) -> f64 {
        let index = self.knots.partition_point(|knot| knot.1 < load);
        match (
            index.checked_sub(1).and_then(|k| self.knots.get(k)),
            self.knots.get(index),
        ) {
            (_, Some(next)) if next.1 == load => next.0,
            (Some(a), Some(b)) => a.0 + (load - a.1) * (b.0 - a.0) / (b.1 - a.1),
            (None, Some(first)) => first.0,
            (Some(last), None) => self.tail.map_or(last.0, |rate| last.0 + (load - last.1) / rate),
            (None, None) => 0.0,
        }
    }

    pub(super) fn series(parts: &[Self]) -> Self {
        let mut loads: Vec<f64> = parts
            .iter()
            .flat_map(|part| part.knots.iter().map(|knot| knot.1))
            .collect();
        sort_apart(&mut loads);
        let at = |load: &f64| (parts.iter().map(|part| part.travel(*load)).sum(), *load);
        let compliance: f64 = parts.iter().filter_map(|part| part.tail).map(|rate| 1.0 / rate).sum();
        Self {
            knots: loads.iter().map(at).collect(),
            tail: (compliance > 0.0).then(|| 1.0 / compliance),
        }
    }

    pub(super) fn parallel(parts: &[(Self, f64)]) -> Self {
        let closed = parts
            .iter()
            .filter(|(part, _)| part.tail.is_none())
            .map(|(part, gap)| part.end().0 + gap)
            .fold(f64::INFINITY, f64::min);
        let mut travels: Vec<f64> = parts
            .iter()
            .flat_map(|(part, gap)| part.knots.iter().map(move |knot| knot.0 + gap))
            .filter(|s| *s <= closed)
            .collect();
        sort_apart(&mut travels);
        let load = |s: f64| {
            let each = parts.iter().filter(|(_, gap)| s > *gap);
            each.filter_map(|(part, gap)| part.load(s - gap)).sum::<f64>()
        };
        let rates = parts.iter().filter_map(|(part, _)| part.tail);
        Self {
            knots: travels.iter().map(|s| (*s, load(*s))).collect(),
            tail: closed.is_infinite().then(|| rates.sum()),
        }
    }
}

/// Sorted, without neighbours that differ by rounding only.
pub(super) fn sort_apart(values: &mut Vec<f64>) {
    values.sort_by(f64::total_cmp);
    values.dedup_by(|b, a| (*b - *a).abs() <= 1e-12 * b.abs());
}

/// Straight pieces as the points of a force curve.
pub(in crate::spring) fn joined(knots: &[(f64, f64)]) -> Vec<ForcePoint> {
    let rate = |a: Option<&(f64, f64)>, b: Option<&(f64, f64)>| a.zip(b).map(|(a, b)| (b.1 - a.1) / (b.0 - a.0));
    let point = |(index, knot): (usize, &(f64, f64))| {
        let before = rate(index.checked_sub(1).and_then(|k| knots.get(k)), Some(knot));
        let after = rate(Some(knot), knots.get(index + 1));
        let rate = |own: Option<f64>, other: Option<f64>| SpringRate::from_si(own.or(other).unwrap_or(0.0));
        ForcePoint {
            deflection: Deflection::from_si(knot.0),
            load: Load::from_si(knot.1),
            rate_before: rate(before, after),
            rate_after: rate(after, before),
        }
    };
    knots.iter().enumerate().map(point).collect()
}

/// A straight spring up to a travel.
pub(in crate::spring) fn straight_curve(rate: f64, travel: f64) -> Option<ForceCurve> {
    ForceCurve::new(joined(&[(0.0, 0.0), (travel, rate * travel)]))
}

pub(super) fn law(part: &Part) -> Law {
    let straight = |k: f64, stop: Option<Length>| match stop.map(Quantity::si) {
        Some(stop) => Law {
            knots: vec![(0.0, 0.0), (stop, k * stop)],
            tail: None,
        },
        None => Law {
            knots: vec![(0.0, 0.0)],
            tail: Some(k),
        },
    };
    match &part.kind {
        PartKind::Straight { rate, stop } => straight(rate.si(), *stop),
        PartKind::Wound { stop, .. } => straight(wound_rate(&part.kind).unwrap_or(0.0), *stop),
        PartKind::Table { .. } => {
            let curve = table(&part.kind);
            let curve = curve.as_ref();
            let pairs = curve.map(ForceCurve::points).unwrap_or_default();
            let fine = pairs.iter().zip(pairs.iter().skip(1)).flat_map(|(a, b)| {
                let (a, b) = (a.deflection.si(), b.deflection.si());
                (0..FINE).map(move |k| a + (b - a) * k as f64 / FINE as f64)
            });
            let places = fine.chain(pairs.last().map(|p| p.deflection.si()));
            let knots = places.filter_map(|s| Some((s, curve?.at(Deflection::from_si(s))?.load.si())));
            Law {
                knots: knots.collect(),
                tail: None,
            }
        }
        PartKind::Series(parts) => Law::series(&parts.iter().map(law).collect::<Vec<_>>()),
        PartKind::Parallel(parts) => {
            let laws = parts.iter().map(|part| (law(part), part.gap.map_or(0.0, Quantity::si)));
            Law::parallel(&laws.collect::<Vec<_>>())
        }
    }
}

pub(super) fn wound_rate(kind: &PartKind) -> Option<f64> {
    match kind {
        PartKind::Wound {
            wire_diameter,
            mean_coil_diameter,
            active_coil_count,
            shear_modulus,
            ..
        } => {
            let coil = mean_coil_diameter.si();
            Some(helical::rate(
                shear_modulus.si(),
                wire_diameter.si(),
                coil,
                coil,
                *active_coil_count,
            ))
        }
        _ => None,
    }
}

pub(super) fn table(kind: &PartKind) -> Option<ForceCurve> {
    match kind {
        PartKind::Table { deflections, loads } => ForceCurve::of_table(
            &deflections
                .iter()
                .copied()
                .zip(loads.iter().copied())
                .collect::<Vec<_>>(),
        ),
        _ => None,
    }
}
