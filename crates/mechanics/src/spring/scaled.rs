//! A polynomial over applied values, fitted so that no digits are lost, and read backwards.

use super::least::{Least, least_squares};
use super::{Calibration, SpringError};

/// Applied values over which a polynomial is fitted, brought to -1 ... 1.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Scaled {
    pub(super) center: f64,
    pub(super) scale: f64,
    pub(super) fit: Least,
    pub(super) through_origin: bool,
    pub(super) scatter: f64,
}

/// Lowest and highest.
pub(super) fn reach(values: &[f64]) -> (f64, f64) {
    values
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)))
}

/// Fits the polynomial of a calibration.
///
/// # Errors
/// [`SpringError::OutOfRange`] where the applied values do not bear the degree.
pub(super) fn scaled(calibration: &Calibration) -> Result<Scaled, SpringError> {
    let (low, high) = reach(&calibration.applied);
    let (center, scale) = if calibration.through_origin {
        (0.0, low.abs().max(high.abs()))
    } else {
        (f64::midpoint(low, high), (high - low) / 2.0)
    };
    let column = |k: usize| {
        let power = i32::try_from(k).unwrap_or(0);
        calibration
            .applied
            .iter()
            .map(|x| ((x - center) / scale).powi(power))
            .collect::<Vec<_>>()
    };
    let columns: Vec<Vec<f64>> = (usize::from(calibration.through_origin)..=calibration.degree)
        .map(column)
        .collect();
    let fit = least_squares(&columns, &calibration.shown).ok_or(SpringError::OutOfRange {
        field: "degree",
        value: calibration.degree as f64,
        unit: "",
        allowed: "fewer than the different applied values",
    })?;
    let dof = calibration.applied.len().saturating_sub(columns.len());
    let scatter = if dof > 0 { (fit.rss / dof as f64).sqrt() } else { 0.0 };
    Ok(Scaled {
        center,
        scale,
        fit,
        through_origin: calibration.through_origin,
        scatter,
    })
}

impl Scaled {
    fn row(&self, x: f64) -> Vec<f64> {
        let t = (x - self.center) / self.scale;
        let first = i32::from(self.through_origin);
        let count = i32::try_from(self.fit.coefficients.len()).unwrap_or(0);
        (first..first + count).map(|k| t.powi(k)).collect()
    }

    /// What is shown at an applied value.
    pub(super) fn at(&self, x: f64) -> f64 {
        self.row(x).iter().zip(&self.fit.coefficients).map(|(p, c)| p * c).sum()
    }

    /// Coefficients over the applied values themselves, with their covariance: both by the binomial series of
    /// `((x - center)/scale)^k`.
    pub(super) fn unscaled(&self) -> (Vec<f64>, Vec<Vec<f64>>) {
        let first = usize::from(self.through_origin);
        let count = self.fit.coefficients.len();
        // Row j: what each scaled coefficient gives to the power j of x.
        let mut power = vec![0.0; count + first];
        if let Some(one) = power.first_mut() {
            *one = 1.0;
        }
        let mut series = Vec::with_capacity(count + first);
        for _ in 0..count + first {
            series.push(power.clone());
            let mut next: Vec<f64> = power.iter().map(|p| -self.center * p / self.scale).collect();
            next.iter_mut()
                .skip(1)
                .zip(&power)
                .for_each(|(n, p)| *n += p / self.scale);
            power = next;
        }
        let used = || series.iter().skip(first);
        let row = |j: usize| used().filter_map(|s| s.get(j).copied()).collect::<Vec<f64>>();
        let rows: Vec<Vec<f64>> = (first..count + first).map(row).collect();
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let coefficients = rows.iter().map(|row| dot(row, &self.fit.coefficients)).collect();
        let variance = self.scatter * self.scatter;
        let entry = |a: &[f64], b: &[f64]| {
            let inner = self.fit.covariance.iter().map(|row| dot(row, b)).collect::<Vec<_>>();
            variance * dot(a, &inner)
        };
        let covariance = rows
            .iter()
            .map(|a| rows.iter().map(|b| entry(a, b)).collect())
            .collect();
        (coefficients, covariance)
    }

    /// The applied value of a reading, on the calibrated branch and a twentieth beyond, with its standard uncertainty.
    pub(super) fn back(&self, reading: f64, low: f64, high: f64) -> Option<(f64, f64)> {
        let margin = 0.05 * (high - low);
        let (mut a, mut b) = (low - margin, high + margin);
        let rising = self.at(b) > self.at(a);
        let below = |x: f64| (self.at(x) < reading) == rising;
        if !below(a) || below(b) {
            return None;
        }
        for _ in 0..200 {
            let middle = f64::midpoint(a, b);
            if middle <= a || middle >= b {
                break;
            }
            if below(middle) {
                a = middle;
            } else {
                b = middle;
            }
        }
        let x = f64::midpoint(a, b);
        let step = 1e-6 * (high - low);
        let slope = (self.at(x + step) - self.at(x - step)) / (2.0 * step);
        let row = self.row(x);
        let rows = self.fit.covariance.iter().zip(&row);
        let of_row = |covariances: &Vec<f64>| covariances.iter().zip(&row).map(|(c, r)| c * r).sum::<f64>();
        let curve: f64 = rows.map(|(covariances, r)| r * of_row(covariances)).sum();
        let u = self.scatter * (1.0 + curve.max(0.0)).sqrt() / slope.abs();
        Some((x, u)).filter(|(x, u)| x.is_finite() && u.is_finite())
    }
}
