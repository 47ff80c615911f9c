//! A spring that was measured, as a part of an assembly.

use crate::quantity::{Deflection, Length, Load, Quantity};

use super::super::{CurvePoint, Reduced, Shape};
use super::{MOST_TABLE, PartKind};

impl Reduced {
    /// The spring as a part of an assembly: straight by its rate, closed after `stop`; where one rate does not describe it, by its
    /// smooth curve from contact as far as it was pressed, the frame's give taken off as it was off the rate.
    #[must_use]
    pub fn as_part(&self, stop: Option<Length>) -> PartKind {
        let bent = matches!(self.shape, Shape::DualRate | Shape::Progressive);
        let curve = bent.then(|| self.risen()).filter(|points| points.len() > 1);
        match curve {
            Some(points) => PartKind::Table {
                deflections: points.iter().map(|(s, _)| Deflection::from_si(*s)).collect(),
                loads: points.iter().map(|(_, f)| Load::from_si(*f)).collect(),
            },
            None => PartKind::Straight {
                rate: self.rate.value,
                stop,
            },
        }
    }

    /// Points of the smooth curve from contact on, each above the one before.
    fn risen(&self) -> Vec<(f64, f64)> {
        let from = self
            .contact
            .as_ref()
            .map_or(0.0, |contact| contact.deflection.value.si());
        // Slope and rate differ by what was taken off for the frame: that of every load, as a deflection.
        let give = self
            .fit
            .map_or(0.0, |fit| fit.slope.si().recip() - self.rate.value.si().recip());
        let mut risen = vec![(0.0, 0.0)];
        let place = |point: &CurvePoint| {
            let load = point.load.si();
            (point.deflection.si() - from - give * load, load)
        };
        for (s, f) in self.curve.smooth.iter().map(place) {
            let above = risen.last().is_none_or(|(s0, f0)| s > s0 + LEAST && f > f0 + LEAST);
            if above && risen.len() < MOST_TABLE {
                risen.push((s, f));
            }
        }
        risen
    }
}

/// Metres and newtons by which a point is above the one before: less is rounding.
const LEAST: f64 = 1e-9;
