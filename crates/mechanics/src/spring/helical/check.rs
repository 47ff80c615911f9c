//! Springs that make sense.

use crate::quantity::{LengthUnit, PressureUnit, Quantity};

use super::super::SpringError;
use super::super::options::{not_negative, positive};
use super::Helical;
use super::geometry::moduli;

pub(super) fn check(spring: &Helical) -> Result<(), SpringError> {
    let mm = LengthUnit::Millimeter;
    positive("wire_diameter", spring.wire_diameter, mm)?;
    positive("mean_coil_diameter", spring.mean_coil_diameter, mm)?;
    let lengths = [
        ("large_end_diameter", spring.large_end_diameter),
        ("pitch", spring.pitch),
    ];
    for (field, length) in lengths {
        length.map_or(Ok(()), |length| positive(field, length, mm))?;
    }
    spring
        .free_length
        .map_or(Ok(()), |free| positive("free_length", free, mm))?;
    let mpa = PressureUnit::Megapascal;
    spring
        .shear_modulus
        .map_or(Ok(()), |g| positive("shear_modulus", g, mpa))?;
    spring
        .elastic_modulus
        .map_or(Ok(()), |e| positive("elastic_modulus", e, mpa))?;
    let refused = |field, value, unit, allowed| {
        Err(SpringError::OutOfRange {
            field,
            value,
            unit,
            allowed,
        })
    };
    if spring.mean_coil_diameter.si() <= spring.wire_diameter.si() {
        return refused(
            "mean_coil_diameter",
            spring.mean_coil_diameter.get(mm),
            "mm",
            "above the wire diameter",
        );
    }
    for gap in &spring.coil_gaps {
        not_negative("coil_gaps", *gap, mm)?;
    }
    if !spring.coil_gaps.is_empty() && !spring.coil_gaps.iter().any(|gap| gap.si() > 0.0) {
        return refused("coil_gaps", 0.0, "mm", "at least one above 0");
    }
    for deflection in &spring.deflections {
        not_negative("deflections", *deflection, mm)?;
    }
    for load in &spring.loads {
        not_negative("loads", *load, crate::quantity::ForceUnit::Newton)?;
    }
    let (g, e) = moduli(spring, &mut Vec::new());
    if g >= e {
        return refused("shear_modulus", g * 1e-6, "MPa", "below Young's modulus");
    }
    if let Some(nu) = spring.seating_factor.filter(|nu| !(0.1..=2.0).contains(nu)) {
        return refused("seating_factor", nu, "", "0.1 to 2");
    }
    Ok(())
}
