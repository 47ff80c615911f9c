//! From a measured slope to the rate of the spring: frame taken off, brought to 20 degC, uncertainties combined.

use crate::estimate::{Assumption, Contribution, Coverage, Estimate};
use crate::finding::{Code, Finding};
use crate::quantity::{FrameRate, Quantity, SpringRate, StiffnessUnit, Temperature, TemperatureUnit};

use super::load_curve::Share;
use super::words::Words;
use super::{CellClass, Frame, Request, SpringError};

/// A slope as measured [N/m], with the uncertainty of its scatter.
#[derive(Debug, Clone, Copy)]
pub(super) struct Measured {
    pub(super) slope: f64,
    pub(super) type_a: f64,
    pub(super) dof: Option<f64>,
    pub(super) source: &'static str,
    /// Contribution of the load's last digit where the scatter does not already hold it.
    pub(super) resolution_u: f64,
    /// Relative bias from noise of the deflections, zero or below.
    pub(super) dilution: f64,
    /// What the calibration of the loads contributes.
    pub(super) calibration: Option<Share>,
}

/// The rate with its budget.
pub(super) struct Budgeted {
    pub(super) rate: Estimate<SpringRate>,
    pub(super) frame_bias: Option<f64>,
    /// Factor that brings a rate to 20 degC.
    pub(super) warmth: f64,
}

/// Share of G lost a kelvin (EN 13906-1, from memory).
const TEMPERATURE_COEFFICIENT: f64 = 0.000_25;
/// Limit of that coefficient's error: the figure is given to a fifth (judged; no source).
const TEMPERATURE_COEFFICIENT_LIMIT: f64 = 0.000_05;
/// A frame that takes more than this share of the deflection is soft (common practice, no source).
const SOFT_FRAME: f64 = 0.1;

/// Coverage probability of the reply.
pub(super) fn coverage(request: &Request) -> Coverage {
    Coverage::of(request.uncertainty.coverage_probability)
}

impl CellClass {
    /// Limit of the load's error over the load (ISO 7500-1; classes 0.5 and 1 looked up, 2 and 3 from memory).
    #[must_use]
    pub fn load_scale_limit_ratio(self) -> f64 {
        match self {
            Self::Half => 0.005,
            Self::One => 0.01,
            Self::Two => 0.02,
            Self::Three => 0.03,
        }
    }

    /// How far the zero may move, over the capacity (ISO 7500-1, from memory).
    #[must_use]
    pub fn zero_limit_ratio(self) -> f64 {
        match self {
            Self::Half => 0.000_5,
            Self::One => 0.001,
            Self::Two => 0.002,
            Self::Three => 0.003,
        }
    }
}

/// The loads' last digit, in the loads that were applied.
pub(super) fn load_digit(request: &Request) -> f64 {
    match &request.calibration {
        Some(curve) => curve.digit(&request.uncertainty),
        None => request.uncertainty.load_resolution.map_or(0.0, Quantity::si),
    }
}

/// Limit of the load scale: stated, else the cell's class; a calibration takes the place of the class.
pub(super) fn load_scale_limit(request: &Request) -> Option<f64> {
    let stated = request.uncertainty.load_scale_limit_ratio;
    if request.calibration.is_some() {
        return stated;
    }
    stated.or_else(|| request.load_cell.class.map(CellClass::load_scale_limit_ratio))
}

impl Share {
    /// Its lines in a budget: of a value of this size, in whose terms the curve's share stands, passed on by `through`.
    pub(super) fn rows<Q: Quantity>(&self, value: f64, through: f64) -> Vec<Contribution<Q>> {
        let mut rows = Vec::new();
        if self.curve > 0.0 {
            // A calibration's scatter has few degrees of freedom, and they count (GUM G.4.2).
            rows.push(Contribution {
                degrees_of_freedom: Some(self.dof),
                ..Contribution::type_b(
                    "curve of the load calibration, coefficients with their covariance",
                    self.curve * through,
                    through,
                )
            });
        }
        if self.reference > 0.0 {
            rows.push(Contribution::type_b(
                "reference of the load calibration (relative)",
                self.reference * value * through,
                value * through,
            ));
        }
        rows
    }
}

/// Combines the budget (GUM 4.3.7: limits `a` become `a/sqrt 3`; 5.1.2). Scale errors are common to all readings: they do
/// not shrink with their number.
///
/// Frame: `k = 1/(1/k_m - 1/k_f)`, sensitivities `(k/k_m)^2` and `(k/k_f)^2`. Temperature: `k_20 = k/(1 - c (t - 20))`.
///
/// # Errors
/// [`SpringError::FrameTooSoft`] where the measured slope reaches the frame's.
pub(super) fn rate(
    request: &Request,
    measured: Measured,
    findings: &mut Vec<Finding>,
    assumptions: &mut Vec<Assumption>,
) -> Result<Budgeted, SpringError> {
    let slope = measured.slope;
    let (on_spring, sensitivity, frame_row, frame_bias) = off_frame(request, slope, findings, assumptions)?;
    let (warmth, warmth_row) = to_20_degrees(request, on_spring, assumptions);
    let through = sensitivity * warmth;
    let root3 = 3.0_f64.sqrt();
    let mut rows = Vec::new();
    if measured.type_a > 0.0 {
        rows.push(Contribution::type_a(
            measured.source,
            measured.type_a * through,
            through,
            measured.dof,
        ));
    }
    rows.extend(measured.calibration.iter().flat_map(|share| share.rows(slope, through)));
    let mut limit = |source, ratio: f64| {
        if ratio > 0.0 {
            rows.push(Contribution::type_b(
                source,
                slope * ratio / root3 * through,
                slope * through,
            ));
        }
    };
    let (load_scale, deflection_scale) = (
        load_scale_limit(request),
        request.uncertainty.deflection_scale_limit_ratio,
    );
    limit("load scale (relative)", load_scale.unwrap_or(0.0));
    limit("deflection scale (relative)", deflection_scale.unwrap_or(0.0));
    limit(
        "noise of the deflections flattening the slope (relative)",
        measured.dilution.abs(),
    );
    if measured.resolution_u > 0.0 {
        rows.push(Contribution::type_b(
            "resolution of the loads",
            measured.resolution_u * through,
            through,
        ));
    }
    if let Some((u, sensitivity)) = frame_row {
        rows.push(Contribution::type_b(
            "rate of the frame",
            u * warmth,
            sensitivity * warmth,
        ));
    }
    if let Some((u, sensitivity)) = warmth_row {
        rows.push(Contribution::type_b(
            "temperature coefficient of the shear modulus (1/K)",
            u,
            sensitivity,
        ));
    }
    if load_scale.is_none() && deflection_scale.is_none() && request.calibration.is_none() {
        findings.push(Finding::about(
            Code::ScalesUnknown,
            "uncertainty",
            "no limits are stated for the scales of load and deflection: the uncertainty holds the scatter, not what the \
             cell and the ruler are off by"
                .to_owned(),
        ));
    }
    if measured.dilution.abs() > 0.001 {
        findings.push(Finding::about(
            Code::Dilution,
            "uncertainty.deflection_noise",
            format!(
                "noise of the deflections flattens the slope by about {:.2} %: widen the window",
                100.0 * measured.dilution.abs()
            ),
        ));
    }
    Ok(Budgeted {
        rate: Estimate::of_budget(on_spring * warmth, rows, coverage(request)),
        frame_bias,
        warmth,
    })
}

type Row = Option<(f64, f64)>;

fn off_frame(
    request: &Request,
    slope: f64,
    findings: &mut Vec<Finding>,
    assumptions: &mut Vec<Assumption>,
) -> Result<(f64, f64, Row, Option<f64>), SpringError> {
    match &request.frame {
        Frame::Rigid => {
            assumptions.push(Assumption {
                subject: "frame",
                text: "the tester's frame is rigid".to_owned(),
                source: "common practice, no source",
            });
            Ok((slope, 1.0, None, None))
        }
        Frame::Curve { .. } => Ok((slope, 1.0, None, None)),
        Frame::Rate {
            rate,
            standard_uncertainty,
        } => {
            let frame = rate.si();
            if slope >= frame {
                return Err(SpringError::FrameTooSoft {
                    measured: SpringRate::from_si(slope),
                    frame: FrameRate::from_si(frame),
                });
            }
            let spring = 1.0 / (1.0 / slope - 1.0 / frame);
            if slope / frame > SOFT_FRAME {
                findings.push(Finding::about(
                    Code::FrameSoft,
                    "frame",
                    format!(
                        "the frame gives {:.1} % of the deflection measured; its uncertainty weighs {:.1} times on the rate",
                        100.0 * slope / frame,
                        (spring / frame).powi(2) * frame / slope
                    ),
                ));
            }
            let sensitivity = (spring / frame).powi(2);
            let row = (standard_uncertainty.si() > 0.0).then(|| (standard_uncertainty.si() * sensitivity, sensitivity));
            Ok((spring, (spring / slope).powi(2), row, Some(-slope / frame)))
        }
    }
}

fn to_20_degrees(request: &Request, rate: f64, assumptions: &mut Vec<Assumption>) -> (f64, Row) {
    let Some(temperature) = request.uncertainty.test_temperature else {
        return (1.0, None);
    };
    let over = temperature.si() - Temperature::new(20.0, TemperatureUnit::DegreeCelsius).si();
    let factor = 1.0 / (1.0 - TEMPERATURE_COEFFICIENT * over);
    let words = Words::new(request.units);
    assumptions.push(Assumption {
        subject: "uncertainty.test_temperature",
        text: format!(
            "the rate is brought from {} to 20 degC by -0.025 % a kelvin",
            words.temperature(temperature)
        ),
        source: "EN 13906-1, from memory",
    });
    let sensitivity = rate * factor * factor * over;
    let u = TEMPERATURE_COEFFICIENT_LIMIT / 3.0_f64.sqrt() * sensitivity;
    (factor, (u != 0.0).then_some((u, sensitivity)))
}

/// Reduces a rate measured elsewhere: frame, budget and temperature only.
pub(super) fn of_measured_rate(
    request: &Request,
    given: &super::MeasuredRate,
    findings: &mut Vec<Finding>,
    assumptions: &mut Vec<Assumption>,
) -> Result<Budgeted, SpringError> {
    let positive = given.rate.si() > 0.0 && given.rate.si().is_finite();
    if !positive {
        return Err(SpringError::OutOfRange {
            field: "measured_rate.rate",
            value: given.rate.get(StiffnessUnit::NewtonPerMillimeter),
            unit: "N/mm",
            allowed: "above 0",
        });
    }
    let measured = Measured {
        slope: given.rate.si(),
        type_a: given.standard_uncertainty.si(),
        dof: given.degrees_of_freedom,
        source: "scatter, as stated with the measured rate",
        resolution_u: 0.0,
        dilution: 0.0,
        calibration: None,
    };
    rate(request, measured, findings, assumptions)
}
