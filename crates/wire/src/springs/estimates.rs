//! What every calculation's reply has: estimates, findings, assumptions.

use mechanics::estimate::{Assumption, Estimate, Evaluation};
use mechanics::finding::{Finding, Severity};
use mechanics::quantity::{EnergyUnit, ForceUnit, LengthUnit, Quantity, StiffnessUnit, UnitSystem};

use crate::quantity::computed;
use crate::v1;

macro_rules! estimates {
    ($($function:ident: $unit:ident, $message:ident, $contribution:ident;)*) => {$(
        /// An estimate in the units asked for.
        pub fn $function<Q: Quantity<Unit = $unit>>(estimate: &Estimate<Q>, units: UnitSystem) -> v1::$message {
            v1::$message {
                value: Some(computed(estimate.value, units)),
                standard_uncertainty: Some(computed(estimate.standard_uncertainty, units)),
                expanded_uncertainty: Some(computed(estimate.expanded_uncertainty, units)),
                coverage_factor: estimate.coverage_factor,
                coverage_probability: estimate.coverage_probability,
                degrees_of_freedom: estimate.degrees_of_freedom,
                budget: estimate.budget.iter().map(|row| v1::$contribution {
                    source: row.source.to_owned(),
                    r#type: match row.evaluation {
                        Evaluation::TypeA => v1::EvaluationType::A,
                        Evaluation::TypeB => v1::EvaluationType::B,
                    } as i32,
                    standard_uncertainty: Some(computed(row.standard_uncertainty, units)),
                    sensitivity: row.sensitivity,
                }).collect(),
            }
        }
    )*};
}

estimates! {
    stiffness_estimate: StiffnessUnit, StiffnessEstimate, StiffnessContribution;
    length_estimate: LengthUnit, LengthEstimate, LengthContribution;
    force_estimate: ForceUnit, ForceEstimate, ForceContribution;
    energy_estimate: EnergyUnit, EnergyEstimate, EnergyContribution;
}

/// Findings in the API's form.
pub fn findings(findings: &[Finding]) -> Vec<v1::Finding> {
    let message = |finding: &Finding| v1::Finding {
        code: finding.code.text().to_owned(),
        severity: match finding.severity() {
            Severity::Note => v1::Severity::Note,
            Severity::Warning => v1::Severity::Warning,
            Severity::Hazard => v1::Severity::Hazard,
        } as i32,
        message: finding.message.clone(),
        caution: finding.caution().to_owned(),
        field: finding.field.to_owned(),
    };
    findings.iter().map(message).collect()
}

/// Assumptions in the API's form.
pub fn assumptions(assumptions: &[Assumption]) -> Vec<v1::Assumption> {
    let message = |assumption: &Assumption| v1::Assumption {
        subject: assumption.subject.to_owned(),
        text: assumption.text.clone(),
        source: assumption.source.to_owned(),
    };
    assumptions.iter().map(message).collect()
}
