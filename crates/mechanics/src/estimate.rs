//! Values with their uncertainty, in the terms of JCGM 100:2008 (GUM).

use statrs::distribution::{Continuous, ContinuousCDF, Normal, StudentsT};

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

/// How much an expanded uncertainty shall cover.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Coverage {
    /// This probability, by the quantile at the effective degrees of freedom.
    Stated(f64),
    /// Student's quantile at 0.95 where the scatter of the readings dominates, else a factor of 2 (GUM 6.3.3, G.6.6).
    Usual,
}

impl Coverage {
    /// What was asked for, or what is usual.
    pub(crate) fn of(asked: Option<f64>) -> Self {
        asked.map_or(Self::Usual, Self::Stated)
    }

    /// The probability, where an interval comes from scatter alone.
    pub(crate) fn probability(self) -> f64 {
        match self {
            Self::Stated(probability) => probability,
            Self::Usual => USUAL,
        }
    }
}

/// The usual coverage probability.
const USUAL: f64 = 0.95;
/// What two standard deviations cover of a normal distribution.
const OF_TWO: f64 = 0.954_499_736_103_641_6;

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

impl<Q: Quantity> Contribution<Q> {
    /// From the scatter of readings.
    pub(crate) fn type_a(source: &'static str, standard: f64, sensitivity: f64, dof: Option<f64>) -> Self {
        Self {
            source,
            evaluation: Evaluation::TypeA,
            standard_uncertainty: Q::from_si(standard.abs()),
            sensitivity,
            degrees_of_freedom: dof,
        }
    }

    /// From limits or certificates, taken with unlimited degrees of freedom.
    pub(crate) fn type_b(source: &'static str, standard: f64, sensitivity: f64) -> Self {
        Self {
            source,
            evaluation: Evaluation::TypeB,
            standard_uncertainty: Q::from_si(standard.abs()),
            sensitivity,
            degrees_of_freedom: None,
        }
    }
}

impl<Q: Quantity> Estimate<Q> {
    /// Combines a budget of uncorrelated contributions in quadrature (GUM 5.1.2), with the effective degrees of freedom
    /// `u^4 / Sum(u_i^4 / nu_i)` (Welch-Satterthwaite, GUM G.4.1) and the two-sided coverage factor at them.
    /// Source: JCGM 100:2008. A budget without contributions gives an uncertainty of 0.
    pub(crate) fn of_budget(value: f64, budget: Vec<Contribution<Q>>, coverage: Coverage) -> Self {
        let squares = |row: &Contribution<Q>| row.standard_uncertainty.si().powi(2);
        // The sum of nothing is -0.0, which no reader should meet.
        let variance = budget.iter().map(squares).sum::<f64>() + 0.0;
        let scatter: f64 = budget
            .iter()
            .filter(|row| row.evaluation == Evaluation::TypeA)
            .map(squares)
            .sum();
        let weighted: f64 = budget
            .iter()
            .filter_map(|row| Some(row.standard_uncertainty.si().powi(4) / row.degrees_of_freedom?))
            .sum();
        let effective = (weighted > 0.0).then(|| variance * variance / weighted);
        let degrees_of_freedom = effective.filter(|effective| *effective < UNLIMITED);
        let (coverage_probability, coverage_factor) = match coverage {
            Coverage::Stated(probability) => (probability, coverage_factor(probability, degrees_of_freedom)),
            Coverage::Usual if scatter > variance / 2.0 => (USUAL, coverage_factor(USUAL, degrees_of_freedom)),
            Coverage::Usual => (OF_TWO, 2.0),
        };
        let standard = variance.sqrt();
        Self {
            value: Q::from_si(value),
            standard_uncertainty: Q::from_si(standard),
            expanded_uncertainty: Q::from_si(coverage_factor * standard),
            coverage_factor,
            coverage_probability,
            degrees_of_freedom,
            budget,
        }
    }
}

/// Two-sided coverage factor: the quantile of Student's t at `(1 + p)/2`, of the normal distribution where the degrees of
/// freedom are unlimited (GUM G.3). The library's quantile is polished with Newton steps on its distribution function.
pub(crate) fn coverage_factor(probability: f64, degrees_of_freedom: Option<f64>) -> f64 {
    let wanted = f64::midpoint(1.0, probability);
    let normal = || Normal::new(0.0, 1.0).map_or(2.0, |law| polished(&law, wanted));
    match degrees_of_freedom {
        Some(dof) if dof < UNLIMITED => {
            StudentsT::new(0.0, 1.0, dof).map_or_else(|_| normal(), |law| polished(&law, wanted))
        }
        Some(_) | None => normal(),
    }
}

/// Probability below `x` of Student's t, or of the normal distribution where the degrees of freedom are unlimited.
pub(crate) fn probability_below(x: f64, degrees_of_freedom: Option<f64>) -> f64 {
    let normal = || Normal::new(0.0, 1.0).map_or(0.5, |law| law.cdf(x));
    match degrees_of_freedom {
        Some(dof) if dof < UNLIMITED => StudentsT::new(0.0, 1.0, dof).map_or_else(|_| normal(), |law| law.cdf(x)),
        Some(_) | None => normal(),
    }
}

/// Degrees of freedom above which t and the normal distribution agree to more digits than any bench has.
const UNLIMITED: f64 = 1e6;

fn polished<L: ContinuousCDF<f64, f64> + Continuous<f64, f64>>(law: &L, wanted: f64) -> f64 {
    let mut quantile = law.inverse_cdf(wanted);
    for _ in 0..4 {
        // The upper tail keeps its digits where the distribution function is close to 1.
        let step = (law.sf(quantile) - (1.0 - wanted)) / law.pdf(quantile);
        if !step.is_finite() {
            break;
        }
        quantile += step;
    }
    quantile
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_are_those_of_the_tables() {
        // Student's t, 7 and 1 degrees of freedom at 0.95: scipy 1.17.1 and tan(0.475 pi); normal at 0.95.
        assert!((coverage_factor(0.95, Some(7.0)) - 2.364_624_251_592_784).abs() < 1e-10);
        assert!((coverage_factor(0.95, Some(1.0)) - (0.475 * std::f64::consts::PI).tan()).abs() < 1e-9);
        // The library's error function is good to about ten figures.
        assert!((coverage_factor(0.95, None) - 1.959_963_984_540_054).abs() < 1e-9);
        assert!((coverage_factor(0.95, Some(9e5)) - coverage_factor(0.95, None)).abs() < 1e-5);
    }
}
