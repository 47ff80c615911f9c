//! Checks of springs on the rack, and the conversions between the spring calculations and their messages.

pub mod assembly;
pub mod calibration;
pub mod curve;
pub mod estimates;
pub mod gas;
pub mod helical;
pub mod length;
pub mod pair;
pub mod reduce;
pub mod wheel;

use mechanics::quantity::{LengthUnit, StiffnessUnit};

use crate::names::Collection;
use crate::quantity::{Range, number};
use crate::records::{LONG_TEXT, SHORT_TEXT, check, text};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::Scope;

/// The rates a bench spring can have.
pub fn rate_range() -> Range<StiffnessUnit> {
    Range::above_zero(10_000.0, StiffnessUnit::NewtonPerMillimeter)
}

/// The lengths a bench spring can have.
pub fn length_range() -> Range<LengthUnit> {
    Range::above_zero(2_000.0, LengthUnit::Millimeter)
}

/// Checks a spring as entered. Names of other records are checked for their form only.
pub fn spring(spring: &v1::Spring, mut at: Scope<'_>) {
    text(&spring.label, SHORT_TEXT, at.at("label"));
    check(spring.marked_rate.as_ref(), rate_range(), at.at("marked_rate"));
    text(&spring.marking_text, SHORT_TEXT, at.at("marking_text"));
    if let Some(grade) = &spring.grade {
        tolerance_grade(grade, at.at("grade"));
    }
    check(spring.free_length.as_ref(), length_range(), at.at("free_length"));
    check(spring.solid_length.as_ref(), length_range(), at.at("solid_length"));
    check(
        spring.wire_diameter.as_ref(),
        Range::above_zero(100.0, LengthUnit::Millimeter),
        at.at("wire_diameter"),
    );
    let coil = Range::above_zero(1_000.0, LengthUnit::Millimeter);
    check(spring.outside_diameter.as_ref(), coil, at.at("outside_diameter"));
    check(spring.inside_diameter.as_ref(), coil, at.at("inside_diameter"));
    coils(spring.active_coil_count, at.at("active_coil_count"));
    coils(spring.total_coil_count, at.at("total_coil_count"));
    text(&spring.rack_place, SHORT_TEXT, at.at("rack_place"));
    text(&spring.notes, LONG_TEXT, at.at("notes"));
    if !spring.pair_spring.is_empty() {
        Collection::Springs.id(&spring.pair_spring, at.at("pair_spring"));
    }
    if !spring.tested_run.is_empty() {
        Collection::Runs.id(&spring.tested_run, at.at("tested_run"));
    }
}

/// Checks a tolerance grade as entered.
pub fn tolerance_grade(grade: &v1::ToleranceGrade, mut at: Scope<'_>) {
    use v1::tolerance_grade::System;
    match System::try_from(grade.system) {
        Ok(System::Unspecified) => {}
        Ok(System::JisB2704 | System::Din2095) => {
            if !(1..=3).contains(&grade.grade) {
                at.at("grade").push(
                    Reason::OutOfRange,
                    format_args!("grade is {}; allowed 1 to 3", grade.grade),
                );
            }
        }
        Ok(System::StatedRatio) => match grade.rate_tolerance_ratio {
            None => at.at("rate_tolerance_ratio").push(
                Reason::ValueMissing,
                "a stated tolerance needs its ratio; allowed above 0, below 1",
            ),
            Some(ratio) if !ratio.is_finite() => at.at("rate_tolerance_ratio").push(
                Reason::NotFinite,
                format_args!("value is {ratio}; allowed above 0, below 1"),
            ),
            Some(ratio) if ratio <= 0.0 || ratio >= 1.0 => {
                at.at("rate_tolerance_ratio").push(
                    Reason::OutOfRange,
                    format_args!("value is {ratio}; allowed above 0, below 1"),
                );
            }
            Some(_) => {}
        },
        Err(_) => at.at("system").push(
            Reason::OutOfRange,
            format_args!("system is {}; allowed 0 to 3", grade.system),
        ),
    }
}

/// A count of coils.
pub fn coils(value: Option<f64>, at: Scope<'_>) -> Option<f64> {
    // Broken coils are counted; a hundredth is below any spring.
    number(value, 0.01, 1_000.0, at)
}

/// What a request to reduce leaves out and the spring's record says: marking, tolerance, geometry.
pub fn record_defaults(request: &mut v1::ReduceRunRequest, spring: &v1::Spring) {
    if request.marking.is_none() && (spring.marked_rate.is_some() || !spring.marking_text.is_empty()) {
        request.marking = Some(v1::Marking {
            rate: spring.marked_rate,
            text: spring.marking_text.clone(),
            free_length: spring.free_length,
            load: None,
        });
    }
    request.grade = request.grade.or(spring.grade);
    if request.geometry.is_none() {
        request.geometry = Some(v1::SpringGeometry {
            wire_diameter: spring.wire_diameter,
            mean_coil_diameter: mean_coil_diameter(spring),
            active_coil_count: spring.active_coil_count,
            index_ratio: None,
            free_length: spring.free_length,
            solid_length: spring.solid_length,
            shear_modulus: None,
        });
    }
}

/// Outside diameter less wire, or inside diameter plus wire.
fn mean_coil_diameter(spring: &v1::Spring) -> Option<v1::Length> {
    use mechanics::quantity::{Length, Quantity, UnitSystem};
    let read = |message: Option<v1::Length>| {
        let mut ignored = crate::violation::Violations::new();
        crate::quantity::optional::<Length, _>(message.as_ref(), length_range(), ignored.root()).map(Quantity::si)
    };
    let wire = read(spring.wire_diameter)?;
    let mean = read(spring.outside_diameter)
        .map(|outside| outside - wire)
        .or(read(spring.inside_diameter).map(|inside| inside + wire))?;
    (mean > 0.0).then(|| crate::quantity::computed(Length::from_si(mean), UnitSystem::Metric))
}
