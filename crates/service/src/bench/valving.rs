//! The calculations on valving.

use mechanics::quantity::{LengthUnit, Unit};
use mechanics::valving::ValvingError;
use mechanics::valving::stack::{self, Request, Stack};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::solve_stack_request::Source;
use wire::valving::{solve, stack as sent};
use wire::violation::{Violation, Violations};

use super::{Bench, checked};
use crate::error::{Basis, ServiceError};

impl Bench {
    /// What a stack does under pressure.
    pub fn solve_stack(&self, request: v1::SolveStackRequest) -> Result<v1::SolveStackResponse, ServiceError> {
        let mut violations = Violations::new();
        let asked = solve::options(&request, &mut violations);
        let stack: Option<Stack> = match &request.source {
            None => {
                violations.push("source", Reason::ValueMissing, "one of stack, values is required");
                None
            }
            Some(Source::Values(values)) => sent::stack(values, violations.at("values")),
            Some(Source::Stack(name)) => return Err(ServiceError::NotFound { name: name.clone() }),
        };
        let stack = checked(violations, stack)?;
        let text = stack::text::write(&stack.layers, LengthUnit::of_system(asked.units));
        let solved = stack::solve(&Request {
            stack,
            pressures: asked.pressures,
            method: asked.method,
            ring_count: asked.ring_count,
        })
        .map_err(|error| refused(error, Basis::Sent, "values"))?;
        Ok(v1::SolveStackResponse {
            text,
            ..solve::response(&solved, asked.units)
        })
    }
}

/// What an error of the physics means: a field at fault, or a solution that was not found or not believed.
pub(super) fn refused(error: ValvingError, basis: Basis, place: &str) -> ServiceError {
    let description = error.to_string();
    match error {
        ValvingError::OutOfRange { field, .. } | ValvingError::NotFinite { field } if basis == Basis::Sent => {
            let field = field
                .strip_prefix("stack.")
                .map_or_else(|| field.clone(), |rest| format!("{place}.{rest}"));
            ServiceError::InvalidFields(vec![Violation {
                field,
                reason: Reason::OutOfRange,
                description,
            }])
        }
        ValvingError::NotConverged { steps, .. } | ValvingError::NotVerified { steps, .. } => {
            ServiceError::NotConverged {
                basis,
                residual: description,
                iterations: u64::try_from(steps).unwrap_or(u64::MAX),
            }
        }
        _ => ServiceError::NotReducible {
            basis,
            cause: description,
        },
    }
}
