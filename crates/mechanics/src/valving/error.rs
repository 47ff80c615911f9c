//! Why a stack or a damper has no answer.

use std::fmt;

/// Why no answer can be given. What is legal but unwelcome is answered, with a finding.
#[derive(Debug, Clone, PartialEq)]
pub enum ValvingError {
    /// A value that is no number.
    NotFinite {
        /// Which field, as a path of the request.
        field: String,
    },
    /// A value outside what makes sense.
    OutOfRange {
        /// Which field, as a path of the request.
        field: String,
        /// The value, in the unit named.
        value: f64,
        /// Unit of value and limits.
        unit: &'static str,
        /// What is allowed, in words.
        allowed: String,
    },
    /// No solution after so many steps.
    NotConverged {
        /// Which calculation, with the load it failed at.
        what: String,
        /// What is left, with its unit.
        residual: String,
        /// Steps taken.
        steps: usize,
    },
    /// A solution that fails its own check. It is never returned.
    NotVerified {
        /// Which check, with the load it failed at.
        what: String,
        /// By how much, with its unit and the limit.
        residual: String,
        /// Steps taken.
        steps: usize,
    },
    /// No open path for the oil.
    HydraulicLock {
        /// Where.
        what: String,
    },
}

impl ValvingError {
    /// The same error of a stack that is a part: its fields stand below `place`.
    pub(super) fn below(self, place: &str) -> Self {
        self.moved("stack.", place)
    }

    /// The same error of a damper that is a part.
    pub(super) fn within_part(self, place: &str) -> Self {
        self.moved("damper.", place)
    }

    fn moved(self, from: &str, place: &str) -> Self {
        let moved = |field: String| {
            field
                .strip_prefix(from)
                .map_or_else(|| field.clone(), |rest| format!("{place}.{rest}"))
        };
        match self {
            Self::NotFinite { field } => Self::NotFinite { field: moved(field) },
            Self::OutOfRange {
                field,
                value,
                unit,
                allowed,
            } => Self::OutOfRange {
                field: moved(field),
                value,
                unit,
                allowed,
            },
            Self::NotConverged { what, residual, steps } => Self::NotConverged {
                what: format!("{place}: {what}"),
                residual,
                steps,
            },
            Self::NotVerified { what, residual, steps } => Self::NotVerified {
                what: format!("{place}: {what}"),
                residual,
                steps,
            },
            lock @ Self::HydraulicLock { .. } => lock,
        }
    }

    pub(super) fn out_of_range(
        field: impl Into<String>,
        value: f64,
        unit: &'static str,
        allowed: impl Into<String>,
    ) -> Self {
        let field = field.into();
        if value.is_finite() {
            Self::OutOfRange {
                field,
                value,
                unit,
                allowed: allowed.into(),
            }
        } else {
            Self::NotFinite { field }
        }
    }
}

impl fmt::Display for ValvingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotFinite { field } => write!(f, "{field} is not a finite number"),
            Self::OutOfRange {
                field,
                value,
                unit,
                allowed,
            } => write!(f, "{field} is {value} {unit}; allowed: {allowed}"),
            Self::NotConverged { what, residual, steps } => {
                write!(f, "{what}: no solution after {steps} steps; {residual} is left")
            }
            Self::NotVerified { what, residual, steps } => {
                write!(
                    f,
                    "{what}: the solution after {steps} steps fails its check; {residual}"
                )
            }
            Self::HydraulicLock { what } => write!(f, "{what}: hydraulic lock, no path is open to the oil"),
        }
    }
}

impl std::error::Error for ValvingError {}

/// A value within its limits.
pub(super) fn within(field: &str, value: f64, low: f64, high: f64, unit: &'static str) -> Result<f64, ValvingError> {
    if (low..=high).contains(&value) {
        return Ok(value);
    }
    Err(ValvingError::out_of_range(
        field,
        value,
        unit,
        format!("{low} to {high}"),
    ))
}
