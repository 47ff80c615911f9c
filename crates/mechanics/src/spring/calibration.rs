//! Calibration of a load cell or a frame: a polynomial through what it shows, and back.

use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::estimate::Assumption;
use crate::finding::{Code, Finding};

use super::SpringError;
use super::least::least_squares;
use super::scaled::{Scaled, reach, scaled};

/// Points of a calibration. Both columns are plain numbers: what a cell shows may be volts, counts or a length.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// What was applied.
    pub applied: Vec<f64>,
    /// What was shown, one for each.
    pub shown: Vec<f64>,
    /// Degree, 1 to 5.
    pub degree: usize,
    /// Whether the curve must go through the origin.
    pub through_origin: bool,
    /// Readings whose applied value is wanted.
    pub readings: Vec<f64>,
    /// Largest applied value, for the lower limit in shares of it; `None`: the largest point.
    pub capacity: Option<f64>,
}

/// What a calibration says.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibrated {
    /// `shown = c0 + c1 applied + ...`; with a curve through the origin from c1 on.
    pub coefficients: Vec<f64>,
    /// Standard uncertainties of those.
    pub coefficient_uncertainties: Vec<f64>,
    /// Covariance of those, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// `sqrt(RSS/(n - terms))`.
    pub residual_standard_deviation: f64,
    /// Residual of each point.
    pub residuals: Vec<f64>,
    /// Share of the square sum explained: about the mean, through the origin about 0.
    pub explained_ratio: f64,
    /// Lower limit factor `2.4 s` of ASTM E74, in applied units.
    pub lower_limit_factor: f64,
    /// Smallest applied value of class AA, `2000 LLF`.
    pub class_aa_from: f64,
    /// Smallest applied value of class A, `400 LLF`.
    pub class_a_from: f64,
    /// Applied value of each reading asked for, with its standard uncertainty from scatter and curve.
    pub applied: Vec<(f64, f64)>,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// A polynomial fit of many variables or powers: coefficients, their standard uncertainties, residual standard deviation
/// and explained share. Columns are centred on their means and scaled where there is a free term, which keeps the digits
/// the normal equations on raw powers lose (NIST StRD sets, certified values). `None` where columns depend on one another.
#[must_use]
pub fn fit_columns(columns: &[Vec<f64>], response: &[f64], free_term: bool) -> Option<ColumnFit> {
    let n = response.len() as f64;
    let mean = |values: &[f64]| values.iter().sum::<f64>() / n;
    let centers: Vec<f64> = columns.iter().map(|c| if free_term { mean(c) } else { 0.0 }).collect();
    let centered: Vec<Vec<f64>> = columns
        .iter()
        .zip(&centers)
        .map(|(column, center)| column.iter().map(|x| x - center).collect())
        .collect();
    let middle = if free_term { mean(response) } else { 0.0 };
    let y: Vec<f64> = response.iter().map(|y| y - middle).collect();
    let fit = least_squares(&centered, &y)?;
    let terms = columns.len() + usize::from(free_term);
    let dof = response.len().checked_sub(terms)?;
    let variance = if dof > 0 { fit.rss / dof as f64 } else { 0.0 };
    let mut coefficients = fit.coefficients.clone();
    let mut covariance = fit.covariance.clone();
    if free_term {
        let dot = |row: &[f64]| row.iter().zip(&centers).map(|(c, center)| c * center).sum::<f64>();
        let free = middle - dot(&fit.coefficients);
        let beside: Vec<f64> = fit.covariance.iter().map(|row| -dot(row)).collect();
        let own = 1.0 / n - dot(&beside);
        coefficients.insert(0, free);
        covariance
            .iter_mut()
            .zip(&beside)
            .for_each(|(row, b)| row.insert(0, *b));
        covariance.insert(0, std::iter::once(own).chain(beside).collect());
    }
    covariance.iter_mut().flatten().for_each(|entry| *entry *= variance);
    let diagonal = covariance.iter().enumerate().filter_map(|(k, row)| row.get(k));
    let total: f64 = y.iter().map(|y| y * y).sum();
    Some(ColumnFit {
        standard_uncertainties: diagonal.map(|v| v.max(0.0).sqrt()).collect(),
        coefficients,
        covariance,
        residual_standard_deviation: variance.sqrt(),
        explained_ratio: if total > 0.0 { 1.0 - fit.rss / total } else { 1.0 },
    })
}

/// What [`fit_columns`] gives.
#[derive(Debug, Clone, PartialEq)]
pub struct ColumnFit {
    /// Coefficients, the free term first where there is one.
    pub coefficients: Vec<f64>,
    /// Their standard uncertainties.
    pub standard_uncertainties: Vec<f64>,
    /// Their covariance.
    pub covariance: Vec<Vec<f64>>,
    /// `sqrt(RSS/(n - terms))`.
    pub residual_standard_deviation: f64,
    /// Share of the square sum explained: about the mean with a free term, else about 0.
    pub explained_ratio: f64,
}

/// Fits a calibration and reads it backwards.
///
/// `shown = sum c_k applied^k` by least squares over centred and scaled values with orthogonal columns; `s^2 = RSS/(n - terms)`.
/// Backwards the curve is solved on the branch that was calibrated, by bisection. Lower limit factor `LLF = 2.4 s` over the
/// mean slope, class A from 400 LLF, class AA from 2000 LLF (ASTM E74, from memory).
/// Example: the Pontius set of NIST StRD.
///
/// # Errors
/// [`SpringError::Mismatched`], [`SpringError::TooFewPoints`], [`SpringError::NotFinite`], [`SpringError::OutOfRange`].
pub fn fit_calibration(calibration: &Calibration) -> Result<Calibrated, SpringError> {
    check(calibration)?;
    let scaled = scaled(calibration)?;
    let (coefficients, covariance) = scaled.unscaled();
    let residuals: Vec<f64> = calibration
        .applied
        .iter()
        .zip(&calibration.shown)
        .map(|(x, y)| y - scaled.at(*x))
        .collect();
    let mean = if calibration.through_origin {
        0.0
    } else {
        calibration.shown.iter().sum::<f64>() / calibration.shown.len() as f64
    };
    let total: f64 = calibration.shown.iter().map(|y| (y - mean).powi(2)).sum();
    let (low, high) = reach(&calibration.applied);
    let slope = (scaled.at(high) - scaled.at(low)) / (high - low);
    let factor = (2.4 * scaled.scatter / slope).abs();
    let capacity = calibration.capacity.unwrap_or(high.abs().max(low.abs()));
    let mut applied = Vec::with_capacity(calibration.readings.len());
    for reading in &calibration.readings {
        applied.push(scaled.back(*reading, low, high).ok_or(SpringError::OutOfRange {
            field: "readings",
            value: *reading,
            unit: "",
            allowed: "what the calibrated branch shows",
        })?);
    }
    let mut calibrated = Calibrated {
        coefficient_uncertainties: covariance
            .iter()
            .enumerate()
            .filter_map(|(k, row)| row.get(k).map(|v| v.max(0.0).sqrt()))
            .collect(),
        coefficients,
        covariance,
        residual_standard_deviation: scaled.scatter,
        residuals,
        explained_ratio: if total > 0.0 { 1.0 - scaled.fit.rss / total } else { 1.0 },
        lower_limit_factor: factor,
        class_aa_from: 2_000.0 * factor,
        class_a_from: 400.0 * factor,
        applied,
        findings: Vec::new(),
        assumptions: vec![Assumption {
            subject: "degree",
            text: "lower limit factor 2.4 s, class A from 400 and class AA from 2000 of it".to_owned(),
            source: "ASTM E74, from memory",
        }],
    };
    say(calibration, &scaled, capacity, &mut calibrated);
    Ok(calibrated)
}

fn say(calibration: &Calibration, scaled: &Scaled, capacity: f64, calibrated: &mut Calibrated) {
    let n = calibration.applied.len();
    let dof = n.saturating_sub(scaled.fit.coefficients.len());
    let mut find = |text: String| {
        calibrated
            .findings
            .push(Finding::about(Code::CalibrationWeak, "points", text))
    };
    if dof == 0 {
        find("as many coefficients as points: the scatter is not known".to_owned());
    } else if n < 30 {
        find(format!("{n} points; ASTM E74 asks for 30 (from memory)"));
    }
    if calibrated.class_a_from > capacity {
        let text = format!(
            "class A would begin at {:.4}, above the largest load",
            calibrated.class_a_from
        );
        calibrated
            .findings
            .push(Finding::about(Code::CalibrationWeak, "points", text));
    }
    // A highest term within its own scatter is not borne out.
    let last = calibrated
        .coefficients
        .last()
        .zip(calibrated.coefficient_uncertainties.last());
    if let (Some((c, u)), Ok(law)) = (last, StudentsT::new(0.0, 1.0, dof.max(1) as f64))
        && dof > 0
        && calibration.degree > 1
        && c.abs() < law.inverse_cdf(0.975) * u
    {
        let text = format!(
            "the term of degree {} lies within its uncertainty: a lower degree says as much",
            calibration.degree
        );
        calibrated
            .findings
            .push(Finding::about(Code::CalibrationWeak, "degree", text));
    }
}

/// Checks the points.
pub(super) fn check(calibration: &Calibration) -> Result<(), SpringError> {
    let n = calibration.applied.len();
    if calibration.shown.len() != n {
        return Err(SpringError::Mismatched {
            what: "points",
            count: calibration.shown.len(),
            expected: n,
        });
    }
    if !(1..=5).contains(&calibration.degree) {
        return Err(SpringError::OutOfRange {
            field: "degree",
            value: calibration.degree as f64,
            unit: "",
            allowed: "1 to 5",
        });
    }
    let needed = calibration.degree + usize::from(!calibration.through_origin);
    if n < needed {
        return Err(SpringError::TooFewPoints { count: n, needed });
    }
    let columns = [
        ("points.applied", &calibration.applied),
        ("points.shown", &calibration.shown),
    ];
    for (what, values) in columns {
        if let Some(index) = values.iter().position(|value| !value.is_finite()) {
            return Err(SpringError::NotFinite {
                what,
                index: Some(index),
            });
        }
    }
    let (low, high) = reach(&calibration.applied);
    if high > low {
        Ok(())
    } else {
        Err(SpringError::OutOfRange {
            field: "points.applied",
            value: low,
            unit: "",
            allowed: "two different values at least",
        })
    }
}
