//! FitCalibration: request in, reply out.

use mechanics::spring::{Calibrated, Calibration};

use super::estimates::{assumptions, findings};
use crate::quantity::{number, unit_system};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::valving::solve::whole;
use crate::violation::{Scope, Violations};

/// Points of a calibration.
const MOST_POINTS: usize = 10_000;
/// Readings turned back at once.
const MOST_READINGS: usize = 1_000;

/// Largest plain number of a calibration.
const LARGEST: f64 = 1e15;

/// Reads a request.
pub fn request(message: &v1::FitCalibrationRequest, violations: &mut Violations) -> Option<Calibration> {
    unit_system(message.reply_units, violations.at("reply_units"));
    let degree = whole(message.degree, 1, 5, violations.at("degree"));
    for (name, count, most) in [
        ("points", message.points.len(), MOST_POINTS),
        ("readings", message.readings.len(), MOST_READINGS),
    ] {
        if count > most {
            violations.push(
                name,
                Reason::WrongLength,
                format_args!("{count} values; allowed 0 to {most}"),
            );
            return None;
        }
    }
    let (applied, shown) = points(&message.points, violations.at("points"));
    for (index, reading) in message.readings.iter().enumerate() {
        if !reading.is_finite() {
            violations
                .at("readings")
                .index(index)
                .push(Reason::NotFinite, "value is not finite");
        }
    }
    number(message.capacity, 0.0, LARGEST, violations.at("capacity"));
    let needed = degree.unwrap_or(1) + usize::from(!message.through_origin);
    if message.points.len() < needed {
        violations.push(
            "points",
            Reason::WrongLength,
            format_args!(
                "{} points; allowed {needed} to {MOST_POINTS} for this degree",
                message.points.len()
            ),
        );
    }
    Some(Calibration {
        applied,
        shown,
        degree: degree.unwrap_or(1),
        through_origin: message.through_origin,
        readings: message.readings.clone(),
        capacity: message.capacity,
    })
}

/// Reads points: applied values, and those shown.
pub(crate) fn points(points: &[v1::CalibrationPoint], mut at: Scope<'_>) -> (Vec<f64>, Vec<f64>) {
    let (mut applied, mut shown) = (Vec::with_capacity(points.len()), Vec::with_capacity(points.len()));
    for (index, point) in points.iter().enumerate() {
        for (name, value, values) in [
            ("applied", point.applied, &mut applied),
            ("shown", point.shown, &mut shown),
        ] {
            match value {
                Some(value) if value.abs() <= LARGEST => values.push(value),
                other => {
                    let reason = match other {
                        None => Reason::ValueMissing,
                        Some(value) if value.is_finite() => Reason::OutOfRange,
                        Some(_) => Reason::NotFinite,
                    };
                    at.index(index).at(name).push(
                        reason,
                        format_args!("{name} needs a value; allowed -{LARGEST} to {LARGEST}"),
                    );
                }
            }
        }
    }
    (applied, shown)
}

/// The reply.
pub fn response(asked: &Calibration, found: &Calibrated) -> v1::FitCalibrationResponse {
    let first = i32::from(asked.through_origin);
    let coefficients = found
        .coefficients
        .iter()
        .zip(&found.coefficient_uncertainties)
        .zip(first..);
    v1::FitCalibrationResponse {
        coefficients: coefficients
            .map(|((value, u), power)| v1::CalibrationCoefficient {
                power,
                value: *value,
                standard_uncertainty: *u,
            })
            .collect(),
        covariance: found
            .covariance
            .iter()
            .map(|row| v1::CovarianceRow { entries: row.clone() })
            .collect(),
        residual_standard_deviation: found.residual_standard_deviation,
        residuals: found.residuals.clone(),
        explained_ratio: found.explained_ratio,
        lower_limit_factor: found.lower_limit_factor,
        class_a_from: found.class_a_from,
        class_aa_from: found.class_aa_from,
        readings: asked
            .readings
            .iter()
            .zip(&found.applied)
            .map(|(shown, (applied, u))| v1::CalibratedReading {
                shown: *shown,
                applied: *applied,
                standard_uncertainty: *u,
            })
            .collect(),
        findings: findings(&found.findings),
        assumptions: assumptions(&found.assumptions),
        used: Vec::new(),
    }
}
