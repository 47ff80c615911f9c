//! Load of a straight spring at a length.

use crate::estimate::{Assumption, Contribution, Coverage, Estimate};
use crate::finding::{Code, Finding};
use crate::quantity::{Deflection, Energy, FreeLength, Length, LengthUnit, Load, Quantity, SpringRate, StiffnessUnit};

use super::SpringError;
use super::options::{not_negative, positive};

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

/// Energy from which on a spring is called dangerous, J (common practice, no source).
pub(super) const HURTS: f64 = 20.0;

/// Load, deflection and energy of a straight spring held at a length.
///
/// `s = L0 - L`, `F = k s`, `E = k s^2/2`; `u^2(F) = s^2 u^2(k) + k^2 u^2(L0)`, `u^2(E) = (s^2/2)^2 u^2(k) + (k s)^2 u^2(L0)`
/// (JCGM 100:2008, 5.1.2). Longer than free: 0, with a finding. Below solid: the straight line's value, with a finding.
/// Example: 9.5 N/mm, 260 mm free, held at 240 mm: 190 N, 1.9 J.
///
/// # Errors
/// [`SpringError::OutOfRange`] or [`SpringError::NotFinite`] for values that make no spring.
pub fn load_at_length(
    values: &SpringValues,
    length: Length,
    coverage_probability: Option<f64>,
) -> Result<LoadAtLength, SpringError> {
    check(values, length, coverage_probability)?;
    let coverage = Coverage::of(coverage_probability);
    let mut findings = Vec::new();
    let mut assumptions = vec![Assumption {
        subject: "values",
        text: "the spring is straight from free length on".to_owned(),
        source: "common practice, no source",
    }];
    if coverage_probability.is_none() {
        assumptions.push(Assumption {
            subject: "coverage_probability",
            text: "a coverage factor of 2".to_owned(),
            source: "JCGM 100:2008, 6.3.3",
        });
    }
    let rate = values.rate.si();
    let pressed = values.free_length.si() - length.si();
    let millimeters = |si: f64| format!("{:.2} mm", si * 1e3);
    if pressed < 0.0 {
        findings.push(Finding::about(
            Code::Loose,
            "length",
            format!("{} longer than free: the spring is loose", millimeters(-pressed)),
        ));
    }
    if let Some(solid) = values.solid_length
        && length.si() < solid.si()
    {
        let text = format!(
            "{} is below the solid length {}",
            millimeters(length.si()),
            millimeters(solid.si())
        );
        findings.push(Finding::about(Code::BelowSolid, "length", text));
    }
    let s = pressed.max(0.0);
    let energy = rate * s * s / 2.0;
    if energy > HURTS {
        let text = format!("held at {} the spring stores {energy:.0} J", millimeters(length.si()));
        findings.push(Finding::about(Code::StoredEnergy, "length", text));
    }
    let (u_rate, u_free) = (
        values.rate_standard_uncertainty.si(),
        if pressed < 0.0 {
            0.0
        } else {
            values.free_length_standard_uncertainty.si()
        },
    );
    Ok(LoadAtLength {
        load: estimate(rate * s, [(s, u_rate), (rate, u_free)], coverage),
        deflection: estimate(s, [(0.0, u_rate), (1.0, u_free)], coverage),
        energy: estimate(energy, [(s * s / 2.0, u_rate), (rate * s, u_free)], coverage),
        rate: values.rate,
        findings,
        assumptions,
    })
}

/// Sensitivity and standard uncertainty of rate and free length.
fn estimate<Q: Quantity>(value: f64, inputs: [(f64, f64); 2], coverage: Coverage) -> Estimate<Q> {
    let rows = ["rate", "free length"].into_iter().zip(inputs);
    let rows = rows.filter(|(_, (sensitivity, u))| sensitivity * u > 0.0);
    let rows = rows.map(|(source, (sensitivity, u))| Contribution::type_b(source, sensitivity * u, sensitivity));
    Estimate::of_budget(value, rows.collect(), coverage)
}

fn check(values: &SpringValues, length: Length, coverage: Option<f64>) -> Result<(), SpringError> {
    let (mm, rate_unit) = (LengthUnit::Millimeter, StiffnessUnit::NewtonPerMillimeter);
    positive("values.rate", values.rate, rate_unit)?;
    not_negative(
        "values.rate_standard_uncertainty",
        values.rate_standard_uncertainty,
        rate_unit,
    )?;
    positive("values.free_length", values.free_length, mm)?;
    not_negative(
        "values.free_length_standard_uncertainty",
        values.free_length_standard_uncertainty,
        mm,
    )?;
    positive("length", length, mm)?;
    if let Some(solid) = values.solid_length {
        positive("values.solid_length", solid, mm)?;
        if solid.si() >= values.free_length.si() {
            return Err(SpringError::OutOfRange {
                field: "values.solid_length",
                value: solid.get(mm),
                unit: "mm",
                allowed: "below the free length",
            });
        }
    }
    match coverage {
        Some(p) if !(0.5..=0.9999).contains(&p) => Err(SpringError::OutOfRange {
            field: "coverage_probability",
            value: p,
            unit: "",
            allowed: "0.5 to 0.9999",
        }),
        Some(_) | None => Ok(()),
    }
}
