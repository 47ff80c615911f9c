//! Values with their uncertainty, in the terms of JCGM 100:2008 (GUM).

use crate::quantity::Quantity;

/// A value with its uncertainty and where that comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimate<Q: Quantity> {
    /// Best estimate.
    pub value: Q,
    /// Standard uncertainty.
    pub standard_uncertainty: Q,
    /// Expanded uncertainty: coverage factor times standard uncertainty.
    pub expanded_uncertainty: Q,
    /// Coverage factor, from Student's t at the effective degrees of freedom.
    pub coverage_factor: f64,
    /// Coverage probability.
    pub coverage_probability: f64,
    /// Effective degrees of freedom (Welch-Satterthwaite); `None` is unlimited.
    pub degrees_of_freedom: Option<f64>,
    /// Where the uncertainty comes from.
    pub budget: Vec<Contribution<Q>>,
}

/// One line of an uncertainty budget.
#[derive(Debug, Clone, PartialEq)]
pub struct Contribution<Q: Quantity> {
    /// What contributes, in words.
    pub source: &'static str,
    /// How it was evaluated.
    pub evaluation: Evaluation,
    /// Sensitivity times input uncertainty, absolute value.
    pub standard_uncertainty: Q,
    /// Change of the result per change of the input, in coherent SI units of both.
    pub sensitivity: f64,
    /// Degrees of freedom of the input's uncertainty; `None` is unlimited.
    pub degrees_of_freedom: Option<f64>,
}

/// How an uncertainty was evaluated (GUM 4.2, 4.3).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Evaluation {
    /// From the scatter of the readings.
    TypeA,
    /// From limits, certificates, experience.
    TypeB,
}

/// A value or rule that was not given and was assumed instead.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Assumption {
    /// What was assumed about, as the request's field path where there is one.
    pub subject: &'static str,
    /// What was assumed, with value and unit.
    pub text: String,
    /// Where it comes from: a source, or "common practice, no source".
    pub source: &'static str,
}
