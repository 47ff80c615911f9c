//! The calibration of a load channel, applied to readings: from the load shown to the load applied, with its uncertainty.

use crate::finding::{Code, Finding};
use crate::quantity::{ForceUnit, Load, Quantity};

use super::bench::{Said, Settled};
use super::line::slope_through;
use super::samples::Point;
use super::scaled::{Scaled, reach, scaled};
use super::words::Words;
use super::{Calibration, SpringError, UncertaintyInputs, calibration};

/// Points of the calibration of a load channel.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadCalibration {
    /// Loads applied by the reference.
    pub applied: Vec<Load>,
    /// Loads shown, one for each.
    pub shown: Vec<Load>,
    /// Degree of the polynomial, 1 to 5.
    pub degree: usize,
    /// Whether the curve goes through the origin.
    pub through_origin: bool,
    /// Standard uncertainty of the reference over the load, 0 or more: common to all points.
    pub reference_standard_uncertainty_ratio: f64,
}

/// The curve of a calibration: `shown = p(applied)`, rising over its range, beyond it carried on straight.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadCurve {
    scaled: Scaled,
    /// Coefficients from the power 0 on, over the scaled load.
    powers: Vec<f64>,
    /// Calibrated range, in newtons and scaled.
    range: (f64, f64),
    ends: (f64, f64),
    /// What is shown at its ends.
    shown: (f64, f64),
    dof: usize,
    reference: f64,
}

/// Places at which the slope is tried: a polynomial of degree 5 turns round at most four times.
const PLACES: usize = 1_000;
/// Share of the range that loads may lie beyond it before it is said: noise and a last digit (judged, no source).
const BEYOND: f64 = 0.002;

/// What a calibration contributes to a value.
#[derive(Debug, Clone, Copy)]
pub(super) struct Share {
    /// Standard uncertainty from the covariance of the curve's coefficients.
    pub(super) curve: f64,
    /// Degrees of freedom of the calibration's scatter.
    pub(super) dof: f64,
    /// Relative standard uncertainty of the reference.
    pub(super) reference: f64,
}

impl LoadCurve {
    /// Fits the curve, least squares as in [`fit_calibration`](super::fit_calibration).
    ///
    /// # Errors
    /// As there; [`SpringError::OutOfRange`] where the curve does not rise over the whole range, so that a load shown would not
    /// tell which was applied.
    pub fn fit(calibration: &LoadCalibration) -> Result<Self, SpringError> {
        let plain = Calibration {
            applied: calibration.applied.iter().map(|load| load.si()).collect(),
            shown: calibration.shown.iter().map(|load| load.si()).collect(),
            degree: calibration.degree,
            through_origin: calibration.through_origin,
            readings: Vec::new(),
            capacity: None,
        };
        calibration::check(&plain)?;
        let scaled = scaled(&plain)?;
        let (low, high) = reach(&plain.applied);
        // A curve through the origin is known there.
        let (low, high) = match calibration.through_origin {
            true => (low.min(0.0), high.max(0.0)),
            false => (low, high),
        };
        let powers: Vec<f64> = std::iter::repeat_n(0.0, usize::from(scaled.through_origin))
            .chain(scaled.fit.coefficients.iter().copied())
            .collect();
        let ends = (
            (low - scaled.center) / scaled.scale,
            (high - scaled.center) / scaled.scale,
        );
        let mut curve = Self {
            dof: plain.applied.len().saturating_sub(scaled.fit.coefficients.len()),
            scaled,
            powers,
            range: (low, high),
            ends,
            shown: (0.0, 0.0),
            reference: calibration.reference_standard_uncertainty_ratio,
        };
        let places = (0..=PLACES).map(|place| ends.0 + (ends.1 - ends.0) * place as f64 / PLACES as f64);
        if let Some(turn) = places.into_iter().find(|t| !(curve.value_and_slope(*t).1 > 0.0)) {
            return Err(SpringError::OutOfRange {
                field: "points",
                value: Load::from_si(curve.load(turn)).get(ForceUnit::Newton),
                unit: "N, where the curve falls",
                allowed: "a curve that rises from the lowest load to the highest",
            });
        }
        curve.shown = (curve.value_and_slope(ends.0).0, curve.value_and_slope(ends.1).0);
        Ok(curve)
    }

    /// The load applied where so much is shown.
    ///
    /// `p(applied) = shown` by Newton's steps kept between bounds; beyond the range along the tangent at its end.
    #[must_use]
    pub fn applied(&self, shown: Load) -> Load {
        Load::from_si(self.back(shown.si()))
    }

    /// Standard uncertainty of a load that was turned back, from the covariance of the coefficients and the reference
    /// (JCGM 100:2008, 5.2.2): the reading's own scatter is not in it.
    #[must_use]
    pub fn standard_uncertainty(&self, applied: Load) -> Load {
        let load = applied.si();
        let gradient: Vec<f64> = (0..self.terms()).map(|term| self.gradient(load, term)).collect();
        Load::from_si(self.propagated(&gradient).hypot(self.reference * load))
    }

    fn load(&self, t: f64) -> f64 {
        self.scaled.center + self.scaled.scale * t
    }

    fn terms(&self) -> usize {
        self.scaled.fit.coefficients.len()
    }

    fn value_and_slope(&self, t: f64) -> (f64, f64) {
        self.powers
            .iter()
            .rev()
            .fold((0.0, 0.0), |(value, slope), coefficient| {
                (value * t + coefficient, slope * t + value)
            })
    }

    fn back(&self, shown: f64) -> f64 {
        let straight = |end: f64| {
            let (value, slope) = self.value_and_slope(end);
            self.load(end + (shown - value) / slope)
        };
        if shown <= self.shown.0 {
            return straight(self.ends.0);
        }
        if shown >= self.shown.1 {
            return straight(self.ends.1);
        }
        let (mut low, mut high) = self.ends;
        let mut t = low + (high - low) * (shown - self.shown.0) / (self.shown.1 - self.shown.0);
        for _ in 0..100 {
            let (value, slope) = self.value_and_slope(t);
            if value > shown {
                high = t;
            } else {
                low = t;
            }
            let step = t - (value - shown) / slope;
            let next = if step >= low && step <= high {
                step
            } else {
                f64::midpoint(low, high)
            };
            let still = (next - t).abs() <= 2.0 * f64::EPSILON * t.abs().max(1.0);
            t = next;
            if still {
                break;
            }
        }
        self.load(t)
    }

    /// Change of the applied load with a coefficient, the load shown held: `-t^k/p'(t)`, carried on straight beyond the ends.
    fn gradient(&self, load: f64, term: usize) -> f64 {
        let t = (load - self.scaled.center) / self.scaled.scale;
        let at = t.clamp(self.ends.0, self.ends.1);
        let power = i32::try_from(term + usize::from(self.scaled.through_origin)).unwrap_or(0);
        let (_, slope) = self.value_and_slope(at);
        let beyond = if power > 0 && t != at {
            (t - at) * f64::from(power) * at.powi(power - 1)
        } else {
            0.0
        };
        -self.scaled.scale * (at.powi(power) + beyond) / slope
    }

    fn propagated(&self, gradient: &[f64]) -> f64 {
        let of_row = |row: &Vec<f64>| row.iter().zip(gradient).map(|(c, d)| c * d).sum::<f64>();
        let square: f64 = self
            .scaled
            .fit
            .covariance
            .iter()
            .zip(gradient)
            .map(|(row, d)| d * of_row(row))
            .sum();
        self.scaled.scatter * square.max(0.0).sqrt()
    }

    /// Load applied a load shown, over the whole range.
    fn gain(&self) -> f64 {
        (self.range.1 - self.range.0) / (self.shown.1 - self.shown.0)
    }

    /// Turns readings back.
    pub(super) fn correct(&self, points: &mut [Point]) {
        points.iter_mut().for_each(|point| point.f = self.back(point.f));
    }

    /// What is said of the loads' last digit, in applied loads.
    pub(super) fn digit(&self, given: &UncertaintyInputs) -> f64 {
        given.load_resolution.map_or(0.0, Quantity::si) * self.gain()
    }

    /// What the calibration contributes to the slope of a line: the coefficients' errors move all readings together, so the
    /// gradient is itself the slope of `-t^k/p'(t)` over the deflections.
    pub(super) fn of_slope(&self, settled: &Settled) -> Share {
        let gradient: Vec<f64> = (0..self.terms())
            .map(|term| slope_through(&settled.groups, |point| self.gradient(point.f, term)))
            .collect();
        Share {
            curve: self.propagated(&gradient),
            dof: self.dof as f64,
            reference: self.reference,
        }
    }

    /// What it contributes to a load above the no-load level.
    pub(super) fn of_load(&self, load: f64, tare: f64) -> Share {
        let gradient: Vec<f64> = (0..self.terms())
            .map(|term| self.gradient(load, term) - self.gradient(tare, term))
            .collect();
        Share {
            curve: self.propagated(&gradient),
            dof: self.dof as f64,
            reference: self.reference,
        }
    }

    /// Says how far the calibration carries the readings.
    pub(super) fn say(&self, points: &[Point], settled: &Settled, words: Words, said: &mut Said) {
        let margin = BEYOND * (self.range.1 - self.range.0);
        let above = points.iter().filter(|p| p.f > self.range.1 + margin).count();
        let window = || settled.groups.iter().flat_map(|group| &group.points);
        let below = window().filter(|p| p.f < self.range.0 - margin).count();
        if above + below > 0 {
            let text = format!(
                "{above} loads lie above the calibrated range and {below} of the window below it, {} to {}; the curve was carried \
                 on straight",
                words.force(self.range.0),
                words.force(self.range.1)
            );
            said.find(Code::BeyondCalibration, "tester", text);
        }
        if self.dof == 0 {
            said.findings.push(Finding::about(
                Code::CalibrationWeak,
                "tester",
                "the calibration has as many coefficients as points: its scatter is not known, and not in the uncertainty".to_owned(),
            ));
        }
        said.assume(
            "tester",
            "loads and tare are read back through the curve of the load calibration, and its uncertainty takes the place of the \
             cell's class"
                .to_owned(),
            "JCGM 100:2008, 5.2.2, with the covariance of the coefficients",
        );
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn of(applied: &[f64], degree: usize, through_origin: bool, show: impl Fn(f64) -> f64) -> LoadCurve {
        LoadCurve::fit(&LoadCalibration {
            applied: applied.iter().copied().map(Load::from_si).collect(),
            shown: applied.iter().map(|load| Load::from_si(show(*load))).collect(),
            degree,
            through_origin,
            reference_standard_uncertainty_ratio: 0.0,
        })
        .unwrap()
    }

    fn steps(count: u32, high: f64) -> Vec<f64> {
        (0..=count).map(|k| high * f64::from(k) / f64::from(count)).collect()
    }

    proptest! {
        #[test]
        fn what_is_shown_leads_back_to_what_was_applied(
            gain in 0.5f64..2.0, zero in -50f64..50.0, bend in -0.2f64..0.2, at in -0.1f64..1.1
        ) {
            let show = |load: f64| zero + gain * load * (1.0 + bend * load / 2_000.0);
            let curve = of(&steps(10, 2_000.0), 2, false, show);
            let load = (2_000.0 * at).clamp(0.0, 2_000.0);
            prop_assert!((curve.back(show(load)) - load).abs() < 1e-6);
            // Beyond, straight on: no jump and no turn.
            let (inside, end, beyond) = (curve.back(show(1_990.0)), curve.back(curve.shown.1), curve.back(curve.shown.1 + 10.0));
            prop_assert!(inside < end && end < beyond && (end - 2_000.0).abs() < 1e-6);
        }
    }

    #[test]
    fn a_curve_that_falls_is_refused() {
        let fault = LoadCurve::fit(&LoadCalibration {
            applied: steps(4, 100.0).into_iter().map(Load::from_si).collect(),
            shown: [0.0, 40.0, 60.0, 55.0, 30.0].into_iter().map(Load::from_si).collect(),
            degree: 2,
            through_origin: false,
            reference_standard_uncertainty_ratio: 0.0,
        });
        assert!(
            matches!(fault, Err(SpringError::OutOfRange { field: "points", .. })),
            "{fault:?}"
        );
    }
}
