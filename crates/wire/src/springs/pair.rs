//! JudgePair: reply out; its members are read as ReduceRun reads its request.

use mechanics::quantity::UnitSystem;
use mechanics::spring::{Pair, PairJudged, PairPlace, PairVerdict};

use super::estimates::{assumptions, findings, stiffness_estimate};
use crate::quantity::{computed, number, unit_system};
use crate::v1;
use crate::violation::Violations;

/// What is asked beside the springs.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    /// Largest difference of a matched pair.
    pub limit_ratio: Option<f64>,
    /// Probability from which on it is called one.
    pub decision_probability: Option<f64>,
    /// Units of computed values.
    pub units: UnitSystem,
}

/// Reads everything of a request but its springs.
pub fn options(message: &v1::JudgePairRequest, violations: &mut Violations) -> Asked {
    Asked {
        limit_ratio: number(message.limit_ratio, 1e-6, 0.999_999, violations.at("limit_ratio")),
        decision_probability: number(
            message.decision_probability,
            0.5,
            0.9999,
            violations.at("decision_probability"),
        ),
        units: unit_system(message.reply_units, violations.at("reply_units")),
    }
}

/// The reply.
pub fn response(pair: &Pair<'_>, judged: &PairJudged, units: UnitSystem) -> v1::JudgePairResponse {
    let place = |place: &PairPlace| v1::PairPlace {
        deflection: Some(computed(place.deflection, units)),
        difference_ratio: place.difference,
        standard_uncertainty_ratio: place.difference_standard_uncertainty,
        expanded_uncertainty_ratio: place.difference_expanded_uncertainty,
    };
    v1::JudgePairResponse {
        difference: Some(v1::PairDifference {
            rate_ratio: judged.difference,
            rate_standard_uncertainty_ratio: judged.difference_standard_uncertainty,
            rate_expanded_uncertainty_ratio: judged.difference_expanded_uncertainty,
            budget: judged
                .budget
                .iter()
                .map(|(source, u)| v1::PairContribution {
                    source: (*source).to_owned(),
                    standard_uncertainty_ratio: *u,
                })
                .collect(),
            places: judged.curve.iter().map(place).collect(),
            largest: judged.largest_curve_difference.as_ref().map(place),
        }),
        match_probability_ratio: judged.match_probability,
        verdict: match judged.verdict {
            PairVerdict::Matched => v1::PairVerdict::Matched,
            PairVerdict::NotMatched => v1::PairVerdict::NotMatched,
            PairVerdict::CannotTell => v1::PairVerdict::CannotTell,
        } as i32,
        first_rate: Some(stiffness_estimate(&pair.first.rate, units)),
        second_rate: Some(stiffness_estimate(&pair.second.rate, units)),
        limit_ratio: judged.limit_ratio,
        findings: findings(&judged.findings),
        assumptions: assumptions(&judged.assumptions),
        used: Vec::new(),
    }
}
