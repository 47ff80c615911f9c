//! Assemblies that make sense.

use crate::quantity::{Deflection, ForceUnit, LengthUnit, Load, PressureUnit, Quantity, StiffnessUnit};

use super::super::SpringError;
use super::super::options::{not_negative, out_of_range, positive};
use super::{Assembly, DEEPEST, MOST_PARTS, MOST_TABLE, Part, PartKind};

pub(super) fn check(assembly: &Assembly) -> Result<(), SpringError> {
    let mm = LengthUnit::Millimeter;
    let mut count = 0;
    check_part(&assembly.part, 1, &mut count)?;
    assembly.preload.map_or(Ok(()), |p| not_negative("preload", p, mm))?;
    for s in assembly.deflections.iter().chain(&assembly.maximum_deflection) {
        not_negative("deflections", *s, mm)?;
    }
    for load in &assembly.loads {
        not_negative("loads", *load, ForceUnit::Newton)?;
    }
    Ok(())
}

pub(super) fn check_part(part: &Part, depth: usize, count: &mut usize) -> Result<(), SpringError> {
    let mm = LengthUnit::Millimeter;
    *count += 1;
    if depth > DEEPEST || *count > MOST_PARTS {
        return out_of_range("part", *count as f64, "parts", "at most 64 parts, nested 6 deep");
    }
    part.gap.map_or(Ok(()), |gap| not_negative("part.gap", gap, mm))?;
    match &part.kind {
        PartKind::Straight { rate, stop } => {
            positive("part.straight.rate", *rate, StiffnessUnit::NewtonPerMillimeter)?;
            stop.map_or(Ok(()), |stop| positive("part.straight.stop_travel", stop, mm))
        }
        PartKind::Wound {
            wire_diameter,
            mean_coil_diameter,
            active_coil_count,
            shear_modulus,
            stop,
        } => {
            positive("part.wound.wire_diameter", *wire_diameter, mm)?;
            positive("part.wound.mean_coil_diameter", *mean_coil_diameter, mm)?;
            positive("part.wound.shear_modulus", *shear_modulus, PressureUnit::Megapascal)?;
            if !(*active_coil_count > 0.0 && active_coil_count.is_finite()) {
                return out_of_range("part.wound.active_coil_count", *active_coil_count, "coils", "above 0");
            }
            stop.map_or(Ok(()), |stop| positive("part.wound.stop_travel", stop, mm))
        }
        PartKind::Table { deflections, loads } => check_table(deflections, loads),
        PartKind::Series(parts) | PartKind::Parallel(parts) => {
            if parts.is_empty() {
                return out_of_range("part", 0.0, "parts", "1 or more");
            }
            let beside = matches!(part.kind, PartKind::Parallel(_));
            if beside && parts.iter().all(|part| part.gap.is_some_and(|gap| gap.si() > 0.0)) {
                return out_of_range("part.gap", 1.0, "", "one part beside others without a gap");
            }
            parts.iter().try_for_each(|inner| check_part(inner, depth + 1, count))
        }
    }
}

pub(super) fn check_table(deflections: &[Deflection], loads: &[Load]) -> Result<(), SpringError> {
    if deflections.len() != loads.len() {
        return Err(SpringError::Mismatched {
            what: "part.table.loads",
            count: loads.len(),
            expected: deflections.len(),
        });
    }
    if !(2..=MOST_TABLE).contains(&loads.len()) {
        return out_of_range("part.table.loads", loads.len() as f64, "points", "2 to 512");
    }
    let rising = |values: &[f64]| values.windows(2).all(|pair| pair.first() < pair.last());
    let s: Vec<f64> = deflections.iter().map(|s| s.si()).collect();
    let f: Vec<f64> = loads.iter().map(|f| f.si()).collect();
    if !s.iter().chain(&f).all(|value| value.is_finite()) {
        return Err(SpringError::NotFinite {
            what: "part.table",
            index: None,
        });
    }
    if !rising(&s) {
        return out_of_range(
            "part.table.deflections",
            s.first().map_or(0.0, |s| s * 1e3),
            "mm",
            "strictly rising",
        );
    }
    if !rising(&f) || f.first().is_some_and(|first| *first < 0.0) {
        return out_of_range(
            "part.table.loads",
            f.first().copied().unwrap_or(0.0),
            "N",
            "strictly rising from 0 or more",
        );
    }
    Ok(())
}
