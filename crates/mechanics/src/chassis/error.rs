//! Why the chassis has no answer.

use std::fmt;

use crate::quantity::{Quantity, Unit as _};
use crate::spring::SpringError;

/// Why no answer can be given. What is legal but unwelcome is answered, with a finding.
#[derive(Debug, Clone, PartialEq)]
pub enum ChassisError {
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
    /// Two values that contradict each other beyond their uncertainty.
    Contradiction {
        /// The field that is more likely at fault.
        field: String,
        /// Both values and what is odd about them.
        what: String,
    },
    /// The readings do not determine what is asked for.
    NotDetermined {
        /// Which field, as a path of the request.
        field: String,
        /// Why, and what would settle it.
        why: String,
    },
    /// No solution to the tolerance after so many steps.
    NotConverged {
        /// Which calculation.
        what: String,
        /// What is left, with its unit.
        residual: String,
        /// Steps taken.
        steps: usize,
    },
}

impl ChassisError {
    /// The same error of a part of a larger request: its fields stand below `place`.
    #[must_use]
    pub fn below(self, place: &str) -> Self {
        let moved = |field: String| {
            if field.is_empty() {
                place.to_owned()
            } else {
                format!("{place}.{field}")
            }
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
            Self::Contradiction { field, what } => Self::Contradiction {
                field: moved(field),
                what,
            },
            Self::NotDetermined { field, why } => Self::NotDetermined {
                field: moved(field),
                why,
            },
            other @ Self::NotConverged { .. } => other,
        }
    }

    pub(crate) fn out_of_range(
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

impl From<SpringError> for ChassisError {
    fn from(error: SpringError) -> Self {
        match error {
            SpringError::OutOfRange {
                field,
                value,
                unit,
                allowed,
            } => Self::out_of_range(field, value, unit, allowed),
            SpringError::NotFinite { what, .. } => Self::NotFinite { field: what.to_owned() },
            other => Self::Contradiction {
                field: String::new(),
                what: other.to_string(),
            },
        }
    }
}

impl fmt::Display for ChassisError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotFinite { field } => write!(f, "{field} is not a finite number"),
            Self::OutOfRange {
                field,
                value,
                unit,
                allowed,
            } => write!(f, "{field} is {value} {unit}; allowed: {allowed}"),
            Self::Contradiction { what, .. } => f.write_str(what),
            Self::NotDetermined { why, .. } => write!(f, "not determined: {why}"),
            Self::NotConverged { what, residual, steps } => {
                write!(f, "{what}: no solution after {steps} steps; {residual} is left")
            }
        }
    }
}

impl std::error::Error for ChassisError {}

/// A value within its limits, both allowed; limits in the unit.
pub(super) fn within<Q: Quantity>(
    field: &str,
    value: Q,
    (low, high): (f64, f64),
    unit: Q::Unit,
) -> Result<f64, ChassisError> {
    let symbol = unit.row().symbol;
    let given = value.get(unit);
    if (low..=high).contains(&given) {
        return Ok(value.si());
    }
    let allowed = format!("{low} to {high} {symbol}");
    Err(ChassisError::out_of_range(field, given, symbol, allowed))
}

/// A bare number within its limits.
pub(super) fn number_within(field: &str, value: f64, low: f64, high: f64) -> Result<f64, ChassisError> {
    if (low..=high).contains(&value) {
        return Ok(value);
    }
    Err(ChassisError::out_of_range(field, value, "", format!("{low} to {high}")))
}
