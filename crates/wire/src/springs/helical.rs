//! EvaluateHelical: request in, reply out.

use mechanics::quantity::{
    DensityUnit, ForceUnit, LengthUnit, PressureUnit, Quantity, StiffnessUnit, Stress, Temperature, TemperatureUnit,
};
use mechanics::spring::{
    Design, Ends, ForceCurve, GeometryUncertainty, Helical, HelicalPoint, HelicalSpring, Strength, WireMaterial,
};

use super::curve::listed;
use super::estimates::{assumptions, findings, stiffness_estimate};
use super::{coils, length_range};
use crate::quantity::{Range, computed, number, optional, required, unit_system};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// Places a calculation may be asked at.
pub const MOST_PLACES: usize = 200;

/// Deflections, strokes, travels from a stated zero.
pub fn places() -> Range<LengthUnit> {
    Range::from_zero(5_000.0, LengthUnit::Millimeter)
}

/// Loads on a spring.
pub fn loads() -> Range<ForceUnit> {
    Range::from_zero(1e6, ForceUnit::Newton)
}

fn stresses() -> Range<PressureUnit> {
    Range::above_zero(1e4, PressureUnit::Megapascal)
}

/// Elastic moduli.
pub fn moduli() -> Range<PressureUnit> {
    Range::above_zero(1e6, PressureUnit::Megapascal)
}

fn diameters() -> Range<LengthUnit> {
    Range::above_zero(1_000.0, LengthUnit::Millimeter)
}

/// Reads a request.
pub fn request(message: &v1::EvaluateHelicalRequest, violations: &mut Violations) -> Option<Helical> {
    let small = Range::from_zero(100.0, LengthUnit::Millimeter);
    let wire = required(
        message.wire_diameter.as_ref(),
        diameters(),
        violations.at("wire_diameter"),
    );
    let mean = required(
        message.mean_coil_diameter.as_ref(),
        diameters(),
        violations.at("mean_coil_diameter"),
    );
    let large_end_diameter = optional(
        message.large_end_diameter.as_ref(),
        diameters(),
        violations.at("large_end_diameter"),
    );
    let read = Helical {
        wire_diameter: wire.unwrap_or_else(|| Quantity::from_si(1.0)),
        mean_coil_diameter: mean.unwrap_or_else(|| Quantity::from_si(1.0)),
        large_end_diameter,
        active_coil_count: coils(message.active_coil_count, violations.at("active_coil_count")),
        total_coil_count: coils(message.total_coil_count, violations.at("total_coil_count")),
        ends: ends(message.ends, violations.at("ends")),
        free_length: optional(
            message.free_length.as_ref(),
            length_range(),
            violations.at("free_length"),
        ),
        pitch: optional(message.pitch.as_ref(), length_range(), violations.at("pitch")),
        coil_gaps: listed(&message.coil_gaps, small, MOST_PLACES, violations.at("coil_gaps")),
        shear_modulus: optional(message.shear_modulus.as_ref(), moduli(), violations.at("shear_modulus")),
        elastic_modulus: optional(
            message.elastic_modulus.as_ref(),
            moduli(),
            violations.at("elastic_modulus"),
        ),
        material: material(message.material, violations.at("material")),
        density: optional(
            message.density.as_ref(),
            Range::above_zero(30_000.0, DensityUnit::KilogramPerCubicMeter),
            violations.at("density"),
        ),
        seating_factor: number(message.seating_factor, 0.1, 2.0, violations.at("seating_factor")),
        temperature: optional::<Temperature, _>(
            message.temperature.as_ref(),
            Range::between(-60.0, 300.0, TemperatureUnit::DegreeCelsius),
            violations.at("temperature"),
        ),
        strength: message
            .strength
            .as_ref()
            .and_then(|given| strength(given, violations.at("strength"))),
        design: message
            .design
            .as_ref()
            .and_then(|given| design(given, violations.at("design"))),
        deflections: listed(
            &message.deflections,
            places(),
            MOST_PLACES,
            violations.at("deflections"),
        ),
        loads: listed(&message.loads, loads(), MOST_PLACES, violations.at("loads")),
        uncertainty: GeometryUncertainty {
            wire_diameter: optional(
                message.wire_diameter_standard_uncertainty.as_ref(),
                small,
                violations.at("wire_diameter_standard_uncertainty"),
            ),
            mean_coil_diameter: optional(
                message.mean_coil_diameter_standard_uncertainty.as_ref(),
                small,
                violations.at("mean_coil_diameter_standard_uncertainty"),
            ),
            active_coil_count: number(
                message.active_coil_standard_uncertainty_factor,
                0.0,
                100.0,
                violations.at("active_coil_standard_uncertainty_factor"),
            ),
            shear_modulus_ratio: number(
                message.shear_modulus_standard_uncertainty_ratio,
                0.0,
                0.5,
                violations.at("shear_modulus_standard_uncertainty_ratio"),
            ),
        },
        coverage_probability: number(
            message.coverage_probability,
            0.5,
            0.9999,
            violations.at("coverage_probability"),
        ),
        units: unit_system(message.reply_units, violations.at("reply_units")),
    };
    // Everything is read first: every fault is wanted.
    (wire.is_some() && mean.is_some()).then_some(read)
}

fn ends(value: i32, mut at: Scope<'_>) -> Option<Ends> {
    match v1::SpringEnds::try_from(value) {
        Ok(v1::SpringEnds::Unspecified) => None,
        Ok(v1::SpringEnds::Plain) => Some(Ends::Plain),
        Ok(v1::SpringEnds::PlainGround) => Some(Ends::PlainGround),
        Ok(v1::SpringEnds::Squared) => Some(Ends::Squared),
        Ok(v1::SpringEnds::SquaredGround) => Some(Ends::SquaredGround),
        Err(_) => {
            at.push(Reason::OutOfRange, format_args!("ends is {value}; allowed 0 to 4"));
            None
        }
    }
}

fn material(value: i32, mut at: Scope<'_>) -> Option<WireMaterial> {
    match v1::WireMaterial::try_from(value) {
        Ok(v1::WireMaterial::Unspecified) => None,
        Ok(v1::WireMaterial::PatentedDrawn) => Some(WireMaterial::PatentedDrawn),
        Ok(v1::WireMaterial::OilTempered) => Some(WireMaterial::OilTempered),
        Ok(v1::WireMaterial::Stainless) => Some(WireMaterial::Stainless),
        Ok(v1::WireMaterial::HotRolled) => Some(WireMaterial::HotRolled),
        Err(_) => {
            at.push(Reason::OutOfRange, format_args!("material is {value}; allowed 0 to 4"));
            None
        }
    }
}

/// A plain number that must be there.
pub fn needed(value: Option<f64>, low: f64, high: f64, mut at: Scope<'_>) -> Option<f64> {
    if value.is_none() {
        at.push(
            Reason::ValueMissing,
            format_args!("value is missing; allowed {low} to {high}"),
        );
    }
    number(value, low, high, at)
}

fn strength(message: &v1::WireStrength, mut at: Scope<'_>) -> Option<Strength> {
    let constant = required::<Stress, _>(message.tensile_constant.as_ref(), stresses(), at.at("tensile_constant"));
    let reference = required(
        message.reference_diameter.as_ref(),
        diameters(),
        at.at("reference_diameter"),
    );
    let exponent = needed(message.exponent, 0.0, 1.0, at.at("exponent"));
    let ratio = needed(message.shear_yield_ratio, 0.01, 1.0, at.at("shear_yield_ratio"));
    Some(Strength {
        tensile_constant: constant?,
        reference_diameter: reference?,
        exponent: exponent?,
        shear_yield_ratio: ratio?,
    })
}

fn design(message: &v1::HelicalDesign, mut at: Scope<'_>) -> Option<Design> {
    let load = required(
        message.load.as_ref(),
        Range::above_zero(1e6, ForceUnit::Newton),
        at.at("load"),
    );
    let deflection = required(message.deflection.as_ref(), length_range(), at.at("deflection"));
    let stress = required(message.permitted_stress.as_ref(), stresses(), at.at("permitted_stress"));
    let gap = optional(message.coil_gap.as_ref(), places(), at.at("coil_gap"));
    Some(Design {
        load: load?,
        deflection: deflection?,
        permitted_stress: stress?,
        coil_gap: gap.unwrap_or_else(|| Quantity::from_si(0.0)),
    })
}

/// The knots of a force curve.
pub fn knots(curve: &ForceCurve, units: mechanics::quantity::UnitSystem) -> Vec<v1::ForceKnot> {
    curve
        .points()
        .iter()
        .map(|point| v1::ForceKnot {
            deflection: Some(computed(point.deflection, units)),
            load: Some(computed(point.load, units)),
            rate_before: Some(computed(point.rate_before, units)),
            rate_after: Some(computed(point.rate_after, units)),
        })
        .collect()
}

/// Rates of springs of a calculation, 0 allowed.
pub fn rates() -> Range<StiffnessUnit> {
    Range::from_zero(10_000.0, StiffnessUnit::NewtonPerMillimeter)
}

/// The reply.
pub fn response(found: &HelicalSpring, units: mechanics::quantity::UnitSystem) -> v1::EvaluateHelicalResponse {
    v1::EvaluateHelicalResponse {
        rate: Some(stiffness_estimate(&found.rate, units)),
        shear_modulus: Some(computed(found.shear_modulus, units)),
        elastic_modulus: Some(computed(found.elastic_modulus, units)),
        index_ratio: found.index_ratio,
        wahl_factor: found.wahl_factor,
        bergstraesser_factor: found.bergstraesser_factor,
        active_coil_count: found.active_coil_count,
        total_coil_count: found.total_coil_count,
        free_length: found.free_length.map(|value| computed(value, units)),
        pitch: found.pitch.map(|value| computed(value, units)),
        solid_length: found.solid_length.map(|value| computed(value, units)),
        travel_to_solid: found.travel_to_solid.map(|value| computed(value, units)),
        solid_load: found.solid_load.map(|value| computed(value, units)),
        solid_stress: found.solid_stress.map(|value| computed(value, units)),
        active_mass: Some(computed(found.active_mass, units)),
        surge_frequency: Some(computed(found.surge_frequency, units)),
        surge_frequency_rounded: Some(computed(found.surge_frequency_rounded, units)),
        surge_frequency_one_free: Some(computed(found.surge_frequency_one_free, units)),
        stable_length: Some(computed(found.stable_length, units)),
        stable_length_rule: Some(computed(found.stable_length_rule, units)),
        buckling_deflection: found.buckling_deflection.map(|value| computed(value, units)),
        strength: found.strength.map(|strength| v1::StrengthFound {
            tensile_strength: Some(computed(strength.tensile_strength, units)),
            shear_yield_strength: Some(computed(strength.shear_yield_strength, units)),
            yield_load: Some(computed(strength.yield_load, units)),
            longest_free_length: strength.longest_free_length.map(|value| computed(value, units)),
            longest_pitch: strength.longest_pitch.map(|value| computed(value, units)),
        }),
        design: found.design.map(|design| v1::DesignFound {
            least_wire_diameter: Some(computed(design.least_wire_diameter, units)),
            wanted_active_coil_count: design.wanted_active_coil_count,
            deflection: Some(computed(design.deflection, units)),
            free_length: design.free_length.map(|value| computed(value, units)),
            pitch: design.pitch.map(|value| computed(value, units)),
        }),
        coil_rate: Some(computed(found.coil_rate, units)),
        knots: found
            .curve
            .as_ref()
            .map(|curve| knots(curve, units))
            .unwrap_or_default(),
        points: found.points.iter().map(|at| point(at, units)).collect(),
        findings: findings(&found.findings),
        assumptions: assumptions(&found.assumptions),
        used: Vec::new(),
    }
}

fn point(at: &HelicalPoint, units: mechanics::quantity::UnitSystem) -> v1::HelicalPoint {
    v1::HelicalPoint {
        deflection: Some(computed(at.deflection, units)),
        load: Some(computed(at.load, units)),
        rate_before: Some(computed(at.rate_before, units)),
        rate_after: Some(computed(at.rate_after, units)),
        length: at.length.map(|value| computed(value, units)),
        stress: Some(computed(at.stress, units)),
        wahl_stress: Some(computed(at.wahl_stress, units)),
        bergstraesser_stress: Some(computed(at.bergstraesser_stress, units)),
        energy: Some(computed(at.energy, units)),
    }
}
