//! Checks of testers as entered, and what their calibrations mean.

use mechanics::quantity::{ForceUnit, LengthUnit, Load, Quantity};
use mechanics::spring::{LoadCalibration, LoadCurve};

use crate::quantity::{Range, number, unit};
use crate::records::{LONG_TEXT, SHORT_TEXT, check, load_cell, moment, tester_frame, text};
use crate::springs::calibration::points;
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::valving::solve::whole;
use crate::violation::{Scope, Violations};

/// Points of a calibration that is kept.
const MOST_POINTS: usize = 1_000;

/// Checks a tester as entered.
pub fn tester(tester: &v1::Tester, mut at: Scope<'_>) {
    text(&tester.label, SHORT_TEXT, at.at("label"));
    if let Some(calibration) = &tester.calibration {
        load_curve(calibration, at.at("calibration"));
    }
    if let Some(frame) = &tester.frame {
        tester_frame(frame, at.at("frame"));
    }
    if let Some(cell) = &tester.load_cell {
        load_cell(cell, at.at("load_cell"));
    }
    check(
        tester.load_resolution.as_ref(),
        Range::from_zero(1e5, ForceUnit::Newton),
        at.at("load_resolution"),
    );
    check(
        tester.deflection_resolution.as_ref(),
        Range::from_zero(100.0, LengthUnit::Millimeter),
        at.at("deflection_resolution"),
    );
    number(
        tester.deflection_scale_limit_ratio,
        0.0,
        0.5,
        at.at("deflection_scale_limit_ratio"),
    );
    text(&tester.instrument, SHORT_TEXT, at.at("instrument"));
    text(&tester.notes, LONG_TEXT, at.at("notes"));
}

/// Reads a calibration and fits its curve; every fault is noted.
pub fn load_curve(message: &v1::LoadCalibration, mut at: Scope<'_>) -> Option<LoadCurve> {
    let before = at.count();
    let applied_unit = unit::<ForceUnit>(message.applied_unit, at.at("applied_unit"));
    let shown_unit = unit::<ForceUnit>(message.shown_unit, at.at("shown_unit"));
    let degree = whole(message.degree, 1, 5, at.at("degree")).unwrap_or(1);
    let reference = number(
        message.reference_standard_uncertainty_ratio,
        0.0,
        0.5,
        at.at("reference_standard_uncertainty_ratio"),
    );
    text(&message.certificate, SHORT_TEXT, at.at("certificate"));
    times(message, &mut at);
    let needed = degree + usize::from(!message.through_origin);
    let count = message.points.len();
    if !(needed..=MOST_POINTS).contains(&count) {
        at.at("points").push(
            Reason::WrongLength,
            format_args!("{count} points; allowed {needed} to {MOST_POINTS} for this degree"),
        );
    }
    let kept = message.points.get(..count.min(MOST_POINTS)).unwrap_or_default();
    let (applied, shown) = points(kept, at.at("points"));
    if at.count() != before {
        return None;
    }
    let loads = |values: &[f64], unit: ForceUnit| values.iter().map(|value| Load::new(*value, unit)).collect();
    let fitted = LoadCurve::fit(&LoadCalibration {
        applied: loads(&applied, applied_unit?),
        shown: loads(&shown, shown_unit?),
        degree,
        through_origin: message.through_origin,
        reference_standard_uncertainty_ratio: reference.unwrap_or(0.0),
    });
    fitted
        .map_err(|fault| at.at("points").push(Reason::Conflict, fault))
        .ok()
}

fn times(message: &v1::LoadCalibration, at: &mut Scope<'_>) {
    let done = message.calibrate_time.as_ref();
    if done.is_none() {
        at.at("calibrate_time").push(
            Reason::ValueMissing,
            "when the calibration was done is required: a run takes the one that was in force",
        );
    }
    let done = moment(done, at.at("calibrate_time"));
    let due = message.due_time.as_ref();
    let due = moment(due, at.at("due_time"));
    if let (Some(done), Some(due)) = (done, due)
        && due <= done
    {
        at.at("due_time")
            .push(Reason::Conflict, "due_time is not after calibrate_time");
    }
}

/// What a request to reduce leaves out and the tester's record says: frame, cell, last digits, deflection scale.
pub fn record_defaults(request: &mut v1::ReduceRunRequest, tester: &v1::Tester) {
    if request.frame.is_none() {
        request.frame.clone_from(&tester.frame);
    }
    request.load_cell = request.load_cell.or(tester.load_cell);
    let uncertainty = request.uncertainty.get_or_insert_default();
    uncertainty.load_resolution = uncertainty.load_resolution.or(tester.load_resolution);
    uncertainty.deflection_resolution = uncertainty.deflection_resolution.or(tester.deflection_resolution);
    uncertainty.deflection_scale_limit_ratio = uncertainty
        .deflection_scale_limit_ratio
        .or(tester.deflection_scale_limit_ratio);
}

/// The curve of a calibration that was checked before.
pub fn kept_curve(message: &v1::LoadCalibration) -> Option<LoadCurve> {
    load_curve(message, Violations::new().root())
}
