//! LoadAtLength: request in, reply out.

use mechanics::quantity::{FreeLength, Length, LengthUnit, Quantity, SpringRate, StiffnessUnit, UnitSystem};
use mechanics::spring::{LoadAtLength, SpringValues};

use super::estimates::{assumptions, energy_estimate, findings, force_estimate, length_estimate};
use super::{length_range, rate_range};
use crate::quantity::{Range, computed, number, optional, required, unit_system};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// What is asked beside the spring.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    /// The length it is held at.
    pub length: Option<Length>,
    /// Probability the expanded uncertainty covers.
    pub coverage_probability: Option<f64>,
    /// Units of computed values.
    pub units: UnitSystem,
}

/// Reads everything of a request but its spring.
pub fn options(message: &v1::LoadAtLengthRequest, violations: &mut Violations) -> Asked {
    Asked {
        length: required(message.length.as_ref(), length_range(), violations.at("length")),
        coverage_probability: number(
            message.coverage_probability,
            0.5,
            0.9999,
            violations.at("coverage_probability"),
        ),
        units: unit_system(message.reply_units, violations.at("reply_units")),
    }
}

/// The rate a record of the rack is marked with.
pub fn marked_rate(spring: &v1::Spring) -> Option<SpringRate> {
    let mut violations = Violations::new();
    optional(spring.marked_rate.as_ref(), rate_range(), violations.at("marked_rate"))
}

/// Free less solid length of a record of the rack, where both are known.
pub fn travel_to_solid(spring: &v1::Spring) -> Option<Length> {
    let mut violations = Violations::new();
    let mut length =
        |message: Option<&v1::Length>| -> Option<Length> { optional(message, length_range(), violations.at("spring")) };
    let (free, solid) = (
        length(spring.free_length.as_ref())?,
        length(spring.solid_length.as_ref())?,
    );
    Some(Length::from_si(free.si() - solid.si())).filter(|travel| travel.si() > 0.0)
}

/// Reads a spring by its values.
pub fn values(message: &v1::SpringValues, mut at: Scope<'_>) -> Option<SpringValues> {
    let rate = required::<SpringRate, _>(message.rate.as_ref(), rate_range(), at.at("rate"));
    let rate_standard = optional::<SpringRate, _>(
        message.rate_standard_uncertainty.as_ref(),
        Range::from_zero(10_000.0, StiffnessUnit::NewtonPerMillimeter),
        at.at("rate_standard_uncertainty"),
    );
    let free = required::<FreeLength, _>(message.free_length.as_ref(), length_range(), at.at("free_length"));
    let free_standard = optional::<FreeLength, _>(
        message.free_length_standard_uncertainty.as_ref(),
        Range::from_zero(2_000.0, LengthUnit::Millimeter),
        at.at("free_length_standard_uncertainty"),
    );
    let solid = optional::<Length, _>(message.solid_length.as_ref(), length_range(), at.at("solid_length"));
    let (rate, free) = (rate?, free?);
    if let Some(solid) = solid
        && solid.si() >= free.si()
    {
        at.at("solid_length").push(
            Reason::Conflict,
            format_args!(
                "solid length is {} mm; allowed below the free length, {} mm",
                solid.get(LengthUnit::Millimeter),
                free.get(LengthUnit::Millimeter)
            ),
        );
    }
    Some(SpringValues {
        rate,
        rate_standard_uncertainty: rate_standard.unwrap_or_else(|| SpringRate::from_si(0.0)),
        free_length: free,
        free_length_standard_uncertainty: free_standard.unwrap_or_else(|| FreeLength::from_si(0.0)),
        solid_length: solid,
    })
}

/// The reply.
pub fn response(at: &LoadAtLength, units: UnitSystem) -> v1::LoadAtLengthResponse {
    v1::LoadAtLengthResponse {
        load: Some(force_estimate(&at.load, units)),
        deflection: Some(length_estimate(&at.deflection, units)),
        energy: Some(energy_estimate(&at.energy, units)),
        rate: Some(computed(at.rate, units)),
        findings: findings(&at.findings),
        assumptions: assumptions(&at.assumptions),
        used: Vec::new(),
    }
}
