//! ReduceRun: request in, reply out.

use mechanics::quantity::{
    Deflection, ForceUnit, FrameRate, FreeLength, Length, LengthUnit, Load, PressureUnit, Quantity, SpringRate,
    StiffnessUnit, UnitSystem,
};
use mechanics::spring::{
    CellClass, Decision, Frame, Geometry, Grade, GradeNumber, KneeKind, LoadCell, Marking, MarkingVerdict,
    MeasuredRate, Reduced, Request, Samples, Shape, ShareWindow, Source, StrokeRule, Tare, UncertaintyInputs, Window,
    WindowBase,
};

use super::estimates::{assumptions, findings, force_estimate, length_estimate, stiffness_estimate};
use super::{coils, curve, length_range, rate_range, tolerance_grade};
use crate::quantity::{Range, computed, entered, number, optional, required, unit, unit_system};
use crate::records::{
    bench_temperature, count, finite, load_cell as check_load_cell, tester_frame as check_frame, text,
};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// Samples a request may carry.
pub const MAX_SAMPLES: usize = 250_000;
/// Deflections a load may be asked at.
pub const MAX_PREDICTIONS: usize = 100;

/// Deflections a tester can show.
pub fn deflection_range() -> Range<LengthUnit> {
    Range::either_sign(5_000.0, LengthUnit::Millimeter)
}

fn load_range() -> Range<ForceUnit> {
    Range::either_sign(1e6, ForceUnit::Newton)
}

/// What is asked of a run or of values, beside the source.
#[derive(Debug)]
pub struct Asked {
    /// The request with everything but samples of a run.
    pub request: Request,
    /// Units of computed values.
    pub units: UnitSystem,
}

/// Reads everything of a request but its source.
pub fn options(message: &v1::ReduceRunRequest, source: Source, violations: &mut Violations) -> Asked {
    let units = unit_system(message.reply_units, violations.at("reply_units"));
    let mut request = Request::new(source);
    request.units = units;
    request.tare = tare(message.tare.as_ref(), violations.at("tare"));
    request.frame = frame(message.frame.as_ref(), violations.at("frame"));
    request.window = window(message.window.as_ref(), violations.at("window"));
    request.marking = marking(message.marking.as_ref(), violations.at("marking"));
    request.grade = message
        .grade
        .as_ref()
        .and_then(|message| grade(message, violations.at("grade")));
    request.uncertainty = uncertainty(message.uncertainty.as_ref(), violations.at("uncertainty"));
    request.geometry = geometry(message.geometry.as_ref(), violations.at("geometry"));
    request.load_cell = load_cell(message.load_cell.as_ref(), violations.at("load_cell"));
    request.strokes = strokes(message.strokes.as_ref(), violations.at("strokes"));
    request.platen_gap = optional(
        message.platen_gap.as_ref(),
        Range::above_zero(5_000.0, LengthUnit::Millimeter),
        violations.at("platen_gap"),
    );
    request.reference_deflection = optional(
        message.reference_deflection.as_ref(),
        deflection_range(),
        violations.at("reference_deflection"),
    );
    request.curve = curve::inputs(message.curve.as_ref(), violations.at("curve"));
    if message.predict_at.len() > MAX_PREDICTIONS {
        violations.push(
            "predict_at",
            Reason::WrongLength,
            format_args!(
                "{} deflections; allowed 0 to {MAX_PREDICTIONS}",
                message.predict_at.len()
            ),
        );
    }
    for (index, at) in message.predict_at.iter().take(MAX_PREDICTIONS).enumerate() {
        request.predict_at.extend(optional::<Deflection, _>(
            Some(at),
            deflection_range(),
            violations.at("predict_at").index(index),
        ));
    }
    Asked { request, units }
}

/// Reads samples sent with a request.
pub fn samples(message: &v1::Samples, mut at: Scope<'_>) -> Samples {
    let deflection_unit = unit::<LengthUnit>(message.deflection_unit, at.at("deflection_unit"));
    let load_unit = unit::<ForceUnit>(message.load_unit, at.at("load_unit"));
    let count = message.deflections.len();
    if count > MAX_SAMPLES {
        at.at("deflections").push(
            Reason::WrongLength,
            format_args!("{count} deflections; allowed 1 to {MAX_SAMPLES}"),
        );
        return Samples::default();
    }
    if count == 0 {
        at.at("deflections").push(Reason::ValueMissing, "no deflections");
    }
    if message.loads.len() != count {
        at.at("loads").push(
            Reason::WrongLength,
            format_args!("{} loads for {count} deflections", message.loads.len()),
        );
    }
    if !message.elapsed_ns.is_empty() && message.elapsed_ns.len() != count {
        at.at("elapsed_ns").push(
            Reason::WrongLength,
            format_args!(
                "{} times for {count} deflections; allowed none or one for each",
                message.elapsed_ns.len()
            ),
        );
    }
    let before = at.count();
    finite(&message.deflections, at.at("deflections"));
    finite(&message.loads, at.at("loads"));
    let segment_starts = segment_starts(&message.segment_starts, count, at.at("segment_starts"));
    let (Some(deflection_unit), Some(load_unit)) = (deflection_unit, load_unit) else {
        return Samples::default();
    };
    if at.count() == before {
        within(
            &message.deflections,
            deflection_range(),
            deflection_unit,
            at.at("deflections"),
        );
        within(&message.loads, load_range(), load_unit, at.at("loads"));
    }
    Samples {
        deflections: message
            .deflections
            .iter()
            .map(|value| Deflection::new(*value, deflection_unit))
            .collect(),
        loads: message.loads.iter().map(|value| Load::new(*value, load_unit)).collect(),
        elapsed_ns: message.elapsed_ns.clone(),
        segment_starts,
    }
}

fn within<U: mechanics::quantity::Unit>(values: &[f64], range: Range<U>, unit: U, mut at: Scope<'_>) {
    for (index, value) in values.iter().enumerate() {
        if mechanics::quantity::Entered::new(*value, unit).is_ok_and(|value| !range.holds(value)) {
            at.index(index).push(
                Reason::OutOfRange,
                format_args!("value is {value} {}; allowed {range}", unit.row().symbol),
            );
        }
    }
}

fn segment_starts(starts: &[i32], count: usize, mut at: Scope<'_>) -> Vec<usize> {
    let mut read = Vec::with_capacity(starts.len().min(count));
    let mut last = 0;
    for (index, start) in starts.iter().enumerate() {
        match usize::try_from(*start) {
            Ok(start) if start > last && start < count => {
                last = start;
                read.push(start);
            }
            _ => at.index(index).push(
                Reason::OutOfRange,
                format_args!(
                    "value is {start}; allowed rising, {} to {}",
                    last + 1,
                    count.saturating_sub(1)
                ),
            ),
        }
    }
    read
}

/// Reads a rate measured elsewhere.
pub fn measured_rate(message: &v1::MeasuredRate, mut at: Scope<'_>) -> Option<MeasuredRate> {
    let rate = required::<SpringRate, _>(message.rate.as_ref(), rate_range(), at.at("rate"));
    let standard = optional::<SpringRate, _>(
        message.standard_uncertainty.as_ref(),
        Range::from_zero(10_000.0, StiffnessUnit::NewtonPerMillimeter),
        at.at("standard_uncertainty"),
    );
    let degrees_of_freedom = number(message.degrees_of_freedom, 1.0, 1e12, at.at("degrees_of_freedom"));
    Some(MeasuredRate {
        rate: rate?,
        standard_uncertainty: standard.unwrap_or_else(|| SpringRate::from_si(0.0)),
        degrees_of_freedom,
    })
}

fn tare(message: Option<&v1::Tare>, mut at: Scope<'_>) -> Tare {
    use v1::tare::Level;
    match message.and_then(|tare| tare.level.as_ref()) {
        None | Some(Level::None(false)) => Tare::Automatic,
        Some(Level::None(true)) => Tare::None,
        Some(Level::Load(load)) => {
            optional(Some(load), load_range(), at.at("load")).map_or(Tare::Automatic, Tare::Level)
        }
        Some(Level::LeadingSampleCount(samples)) => {
            let limit = i32::try_from(MAX_SAMPLES).unwrap_or(i32::MAX);
            if !(1..=limit).contains(samples) {
                at.at("leading_sample_count").push(
                    Reason::OutOfRange,
                    format_args!("value is {samples}; allowed 1 to {limit}"),
                );
            }
            Tare::LeadingSamples(usize::try_from(*samples).unwrap_or(1))
        }
    }
}

/// Reads a frame.
pub fn frame(message: Option<&v1::TesterFrame>, mut at: Scope<'_>) -> Frame {
    use v1::tester_frame::Give;
    let Some(message) = message else { return Frame::Rigid };
    let before = at.count();
    check_frame(message, at.here());
    if at.count() != before {
        return Frame::Rigid;
    }
    match &message.give {
        None => Frame::Rigid,
        Some(Give::Stiffness(stiffness)) => {
            let range = Range::from_zero(1e7, StiffnessUnit::NewtonPerMillimeter);
            let rate = optional::<FrameRate, _>(stiffness.rate.as_ref(), range, at.at("rate"));
            let standard = optional::<FrameRate, _>(
                stiffness.standard_uncertainty.as_ref(),
                range,
                at.at("standard_uncertainty"),
            );
            rate.map_or(Frame::Rigid, |rate| Frame::Rate {
                rate,
                standard_uncertainty: standard.unwrap_or_else(|| FrameRate::from_si(0.0)),
            })
        }
        Some(Give::Curve(curve)) => {
            let load_unit = unit::<ForceUnit>(curve.load_unit, at.at("load_unit"));
            let give_unit = unit::<LengthUnit>(curve.give_unit, at.at("give_unit"));
            match (load_unit, give_unit) {
                (Some(load_unit), Some(give_unit)) => Frame::Curve {
                    loads: curve.loads.iter().map(|value| Load::new(*value, load_unit)).collect(),
                    gives: curve
                        .gives
                        .iter()
                        .map(|value| Deflection::new(*value, give_unit))
                        .collect(),
                },
                _ => Frame::Rigid,
            }
        }
    }
}

fn window(message: Option<&v1::Window>, mut at: Scope<'_>) -> Window {
    use v1::window::Bounds;
    match message.and_then(|window| window.bounds.as_ref()) {
        None | Some(Bounds::AllSamples(false)) => Window::default(),
        Some(Bounds::AllSamples(true)) => Window::AllSamples,
        Some(Bounds::Share(share)) => Window::Share(share_window(share, at.at("share"))),
        Some(Bounds::Deflections(bounds)) => {
            let mut at = at.at("deflections");
            let from = required::<Deflection, _>(bounds.from.as_ref(), deflection_range(), at.at("from"));
            let to = required::<Deflection, _>(bounds.to.as_ref(), deflection_range(), at.at("to"));
            let (Some(from), Some(to)) = (from, to) else {
                return Window::default();
            };
            if to <= from {
                at.at("to").push(
                    Reason::Conflict,
                    format_args!(
                        "to is {} mm; allowed above from, {} mm",
                        to.get(LengthUnit::Millimeter),
                        from.get(LengthUnit::Millimeter)
                    ),
                );
            }
            Window::Deflections { from, to }
        }
    }
}

fn share_window(share: &v1::ShareWindow, mut at: Scope<'_>) -> ShareWindow {
    use v1::share_window::Base;
    let default = ShareWindow::default();
    let from_ratio = number(share.from_ratio, 0.0, 1.0, at.at("from_ratio")).unwrap_or(default.from_ratio);
    let to_ratio = number(share.to_ratio, 0.0, 1.0, at.at("to_ratio")).unwrap_or(default.to_ratio);
    if to_ratio <= from_ratio {
        at.at("to_ratio").push(
            Reason::Conflict,
            format_args!("to_ratio is {to_ratio}; allowed above from_ratio, {from_ratio}, to 1"),
        );
    }
    let travel = optional::<Deflection, _>(
        share.total_travel.as_ref(),
        Range::above_zero(5_000.0, LengthUnit::Millimeter),
        at.at("total_travel"),
    );
    let base = match (travel, Base::try_from(share.base)) {
        (Some(travel), _) => WindowBase::Travel(travel),
        (None, Ok(Base::Unspecified)) => WindowBase::Automatic,
        (None, Ok(Base::FreeToSolid)) => WindowBase::FreeToSolid,
        (None, Ok(Base::TestTravel)) => WindowBase::TestTravel,
        (None, Err(_)) => {
            at.at("base").push(
                Reason::OutOfRange,
                format_args!("base is {}; allowed 0 to 2", share.base),
            );
            WindowBase::Automatic
        }
    };
    ShareWindow {
        from_ratio,
        to_ratio,
        base,
    }
}

/// Reads a marking.
pub fn marking(message: Option<&v1::Marking>, mut at: Scope<'_>) -> Marking {
    let Some(message) = message else {
        return Marking::default();
    };
    text(&message.text, crate::records::SHORT_TEXT, at.at("text"));
    Marking {
        rate: message
            .rate
            .as_ref()
            .and_then(|rate| entered(rate, rate_range(), at.at("rate"))),
        text: message.text.clone(),
        free_length: optional::<FreeLength, _>(message.free_length.as_ref(), length_range(), at.at("free_length")),
        load: optional(
            message.load.as_ref(),
            Range::from_zero(1e6, ForceUnit::Newton),
            at.at("load"),
        ),
    }
}

/// Reads a tolerance grade; none where none is named.
pub fn grade(message: &v1::ToleranceGrade, mut at: Scope<'_>) -> Option<Grade> {
    use v1::tolerance_grade::System;
    tolerance_grade(message, at.here());
    match System::try_from(message.system).ok()? {
        System::Unspecified => None,
        System::JisB2704 => GradeNumber::from_number(message.grade).map(Grade::JisB2704),
        System::Din2095 => GradeNumber::from_number(message.grade).map(Grade::Din2095),
        System::StatedRatio => message.rate_tolerance_ratio.map(Grade::StatedRatio),
    }
}

fn uncertainty(message: Option<&v1::UncertaintyInputs>, mut at: Scope<'_>) -> UncertaintyInputs {
    let Some(message) = message else {
        return UncertaintyInputs::default();
    };
    let small_length = Range::from_zero(100.0, LengthUnit::Millimeter);
    UncertaintyInputs {
        coverage_probability: number(message.coverage_probability, 0.5, 0.9999, at.at("coverage_probability")),
        load_scale_limit_ratio: number(
            message.load_scale_limit_ratio,
            0.0,
            0.5,
            at.at("load_scale_limit_ratio"),
        ),
        deflection_scale_limit_ratio: number(
            message.deflection_scale_limit_ratio,
            0.0,
            0.5,
            at.at("deflection_scale_limit_ratio"),
        ),
        deflection_noise: optional(
            message.deflection_noise.as_ref(),
            small_length,
            at.at("deflection_noise"),
        ),
        load_noise: optional(
            message.load_noise.as_ref(),
            Range::from_zero(1e5, ForceUnit::Newton),
            at.at("load_noise"),
        ),
        load_resolution: optional(
            message.load_resolution.as_ref(),
            Range::from_zero(1e5, ForceUnit::Newton),
            at.at("load_resolution"),
        ),
        deflection_resolution: optional(
            message.deflection_resolution.as_ref(),
            small_length,
            at.at("deflection_resolution"),
        ),
        test_temperature: optional(
            message.test_temperature.as_ref(),
            bench_temperature(),
            at.at("test_temperature"),
        ),
    }
}

/// Reads a geometry.
pub fn geometry(message: Option<&v1::SpringGeometry>, mut at: Scope<'_>) -> Geometry {
    let Some(message) = message else {
        return Geometry::default();
    };
    let free_length = optional::<FreeLength, _>(message.free_length.as_ref(), length_range(), at.at("free_length"));
    let solid_length = optional::<Length, _>(message.solid_length.as_ref(), length_range(), at.at("solid_length"));
    if let (Some(free), Some(solid)) = (free_length, solid_length)
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
    Geometry {
        wire_diameter: optional(
            message.wire_diameter.as_ref(),
            Range::above_zero(100.0, LengthUnit::Millimeter),
            at.at("wire_diameter"),
        ),
        mean_coil_diameter: optional(
            message.mean_coil_diameter.as_ref(),
            Range::above_zero(1_000.0, LengthUnit::Millimeter),
            at.at("mean_coil_diameter"),
        ),
        active_coil_count: coils(message.active_coil_count, at.at("active_coil_count")),
        index_ratio: number(message.index_ratio, 1.0, 100.0, at.at("index_ratio")),
        free_length,
        solid_length,
        shear_modulus: optional(
            message.shear_modulus.as_ref(),
            Range::above_zero(1e6, PressureUnit::Megapascal),
            at.at("shear_modulus"),
        ),
    }
}

/// Reads a load cell.
pub fn load_cell(message: Option<&v1::LoadCell>, mut at: Scope<'_>) -> LoadCell {
    use v1::load_cell::Class;
    let Some(message) = message else {
        return LoadCell::default();
    };
    let before = at.count();
    check_load_cell(message, at.here());
    if at.count() != before {
        return LoadCell::default();
    }
    let class = match Class::try_from(message.class) {
        Ok(Class::Half) => Some(CellClass::Half),
        Ok(Class::Class1) => Some(CellClass::One),
        Ok(Class::Class2) => Some(CellClass::Two),
        Ok(Class::Class3) => Some(CellClass::Three),
        Ok(Class::Unspecified) | Err(_) => None,
    };
    LoadCell {
        class,
        capacity: optional(
            message.capacity.as_ref(),
            Range::above_zero(1e6, ForceUnit::Newton),
            at.at("capacity"),
        ),
    }
}

fn strokes(message: Option<&v1::StrokeRule>, mut at: Scope<'_>) -> StrokeRule {
    let Some(message) = message else {
        return StrokeRule::default();
    };
    if let Some(presets) = message.preset_stroke_count {
        count(presets, 100, at.at("preset_stroke_count"));
    }
    StrokeRule {
        preset_stroke_count: message
            .preset_stroke_count
            .and_then(|count| usize::try_from(count).ok()),
        reversal_discard: optional(
            message.reversal_discard.as_ref(),
            Range::from_zero(5_000.0, LengthUnit::Millimeter),
            at.at("reversal_discard"),
        ),
    }
}

/// The reply.
pub fn response(reduced: &Reduced, units: UnitSystem) -> v1::ReduceRunResponse {
    v1::ReduceRunResponse {
        rate: Some(stiffness_estimate(&reduced.rate, units)),
        two_point_rate: reduced.two_point_rate.map(|rate| computed(rate, units)),
        robust_rate: reduced.robust_rate.map(|robust| v1::RobustRate {
            value: Some(computed(robust.value, units)),
            intercept: Some(computed(robust.intercept, units)),
            lower: Some(computed(robust.lower, units)),
            upper: Some(computed(robust.upper, units)),
            repeated_median: robust.repeated_median.map(|rate| computed(rate, units)),
            point_count: wide(robust.point_count),
        }),
        contact: reduced.contact.as_ref().map(|contact| v1::Contact {
            deflection: Some(length_estimate(&contact.deflection, units)),
            tare: Some(computed(contact.tare, units)),
            tare_noise: contact.tare_noise.map(|noise| computed(noise, units)),
            tare_drift: contact.tare_drift.map(|drift| computed(drift, units)),
        }),
        free_length: reduced
            .free_length
            .as_ref()
            .map(|length| length_estimate(length, units)),
        solid_length: reduced
            .solid_length
            .as_ref()
            .map(|length| length_estimate(length, units)),
        friction: reduced.friction.as_ref().map(|friction| v1::Friction {
            force: Some(force_estimate(&friction.force, units)),
            rate: Some(computed(friction.rate, units)),
            mean_intercept: Some(computed(friction.mean_intercept, units)),
            press_rate: Some(computed(friction.press_rate, units)),
            return_rate: Some(computed(friction.return_rate, units)),
            pooled_rate: Some(computed(friction.pooled_rate, units)),
        }),
        knees: reduced
            .knees
            .iter()
            .map(|knee| v1::Knee {
                kind: match knee.kind {
                    KneeKind::Bind => v1::knee::Kind::Bind,
                    KneeKind::RateChange => v1::knee::Kind::RateChange,
                } as i32,
                deflection: Some(length_estimate(&knee.deflection, units)),
                load: Some(computed(knee.load, units)),
                rate_before: Some(computed(knee.rate_before, units)),
                rate_after: Some(computed(knee.rate_after, units)),
            })
            .collect(),
        shape: match reduced.shape {
            Shape::Straight => v1::SpringShape::Straight,
            Shape::StraightToBind => v1::SpringShape::StraightToBind,
            Shape::DualRate => v1::SpringShape::DualRate,
            Shape::Progressive => v1::SpringShape::Progressive,
            Shape::Undetermined => v1::SpringShape::Undetermined,
        } as i32,
        shape_probability_ratio: reduced.shape_probability,
        curve: Some(curve::drawn(&reduced.curve, units)),
        curve_fit: reduced.curve_fit.as_ref().map(|fit| curve::fit(fit, units)),
        local_rates: curve::local_rates(&reduced.local_rates, units),
        marking_verdict: reduced
            .marking_verdict
            .as_ref()
            .map(|verdict| marking_verdict(verdict, units)),
        fit: reduced.fit.map(|fit| v1::FittedLine {
            slope: Some(computed(fit.slope, units)),
            slope_standard_uncertainty: Some(computed(fit.slope_standard_uncertainty, units)),
            intercept: Some(computed(fit.intercept, units)),
            intercept_standard_uncertainty: Some(computed(fit.intercept_standard_uncertainty, units)),
            correlation_factor: fit.correlation_factor,
            residual_standard_deviation: Some(computed(fit.residual_standard_deviation, units)),
            point_count: wide(fit.point_count),
            effective_point_count: fit.effective_point_count,
            degrees_of_freedom: fit.degrees_of_freedom,
            zero_load_deflection: Some(computed(fit.zero_load_deflection, units)),
            explained_ratio: fit.explained_ratio,
        }),
        both_errors: reduced.both_errors.map(|line| v1::BothErrorsLine {
            slope: Some(computed(line.slope, units)),
            slope_standard_uncertainty: Some(computed(line.slope_standard_uncertainty, units)),
            intercept: Some(computed(line.intercept, units)),
            intercept_standard_uncertainty: Some(computed(line.intercept_standard_uncertainty, units)),
            misfit_ratio: line.misfit_ratio,
            slope_difference_ratio: line.slope_difference_ratio,
        }),
        window: reduced.window.as_ref().map(|window| v1::AppliedWindow {
            from: Some(computed(window.from, units)),
            to: Some(computed(window.to, units)),
            base: window.base.clone(),
            point_count: wide(window.point_count),
        }),
        strokes: reduced
            .strokes
            .iter()
            .map(|stroke| v1::Stroke {
                number: i32::try_from(stroke.number).unwrap_or(i32::MAX),
                preset: stroke.preset,
                rate: stroke.rate.map(|rate| computed(rate, units)),
                maximum_deflection: Some(computed(stroke.maximum_deflection, units)),
                maximum_load: Some(computed(stroke.maximum_load, units)),
            })
            .collect(),
        stored_energy: reduced.stored_energy.map(|value| computed(value, units)),
        lost_energy: reduced.lost_energy.map(|value| computed(value, units)),
        maximum_deflection: reduced.maximum_deflection.map(|value| computed(value, units)),
        maximum_load: reduced.maximum_load.map(|value| computed(value, units)),
        dilution_ratio: reduced.dilution_ratio,
        predicted_loads: reduced
            .predicted_loads
            .iter()
            .map(|load| force_estimate(load, units))
            .collect(),
        frame_bias_ratio: reduced.frame_bias_ratio,
        findings: findings(&reduced.findings),
        assumptions: assumptions(&reduced.assumptions),
        used: Vec::new(),
    }
}

fn marking_verdict(verdict: &MarkingVerdict, units: UnitSystem) -> v1::MarkingVerdict {
    v1::MarkingVerdict {
        decision: match verdict.decision {
            None => v1::marking_verdict::Decision::Unspecified,
            Some(Decision::Accepted) => v1::marking_verdict::Decision::Accepted,
            Some(Decision::Refused) => v1::marking_verdict::Decision::Refused,
            Some(Decision::CannotTell) => v1::marking_verdict::Decision::CannotTell,
        } as i32,
        marked_rate: verdict.marked_rate.map(as_entered),
        marking_text: verdict.marking_text.clone(),
        readings: verdict
            .readings
            .iter()
            .map(|reading| v1::MarkReading {
                rate: Some(as_entered(reading.rate)),
                difference_ratio: reading.difference_ratio,
                chosen: reading.chosen,
            })
            .collect(),
        difference_ratio: verdict.difference_ratio,
        difference_expanded_uncertainty_ratio: verdict.difference_expanded_uncertainty_ratio,
        rate_tolerance_ratio: verdict.rate_tolerance_ratio,
        lower_limit: verdict.lower_limit.map(|rate| computed(rate, units)),
        upper_limit: verdict.upper_limit.map(|rate| computed(rate, units)),
        conformance_probability: verdict.conformance_probability,
        load_tolerance_ratio: verdict.load_tolerance_ratio,
        free_length_tolerance: verdict.free_length_tolerance.map(|length| computed(length, units)),
        load_tolerance: verdict.load_tolerance.map(|force| computed(force, units)),
        rule: verdict.rule.clone(),
        words: verdict.words.clone(),
        din_load_factor: verdict.din_load_factor,
        din_coil_factor: verdict.din_coil_factor,
    }
}

/// A rate as it was entered.
fn as_entered(rate: mechanics::quantity::Entered<StiffnessUnit>) -> v1::Stiffness {
    use mechanics::quantity::Unit;
    v1::Stiffness {
        value: Some(rate.value()),
        unit: rate.unit().row().number,
    }
}

pub(super) fn wide(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}
