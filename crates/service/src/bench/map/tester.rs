//! Testers in both languages, with the frames and cells that runs have too.

use store::record as disk;
use store::{Saved, TesterBody};
use wire::names::Collection;
use wire::v1;

use super::{given, kept, stamped, wall_clock, wall_clock_of};

/// A tester as it is kept.
pub fn tester_body(tester: &v1::Tester) -> TesterBody {
    TesterBody {
        label: tester.label.clone(),
        calibration: tester.calibration.as_ref().map(calibration),
        frame: tester.frame.as_ref().map(frame),
        load_cell: tester.load_cell.as_ref().map(cell),
        load_resolution: kept(&tester.load_resolution),
        deflection_resolution: kept(&tester.deflection_resolution),
        deflection_scale_limit_ratio: tester.deflection_scale_limit_ratio,
        instrument: tester.instrument.clone(),
        notes: tester.notes.clone(),
    }
}

/// A tester as it is told.
pub fn tester(saved: &Saved<TesterBody>) -> v1::Tester {
    let body = &saved.body;
    let entered = v1::Tester {
        label: body.label.clone(),
        calibration: body.calibration.as_ref().map(calibration_of),
        frame: body.frame.as_ref().map(frame_of),
        load_cell: body.load_cell.as_ref().map(cell_of),
        load_resolution: given(&body.load_resolution),
        deflection_resolution: given(&body.deflection_resolution),
        deflection_scale_limit_ratio: body.deflection_scale_limit_ratio,
        instrument: body.instrument.clone(),
        notes: body.notes.clone(),
        ..Default::default()
    };
    let name = Collection::Testers.name(saved.id.as_str());
    stamped!(entered, name, saved, [delete_time, purge_time])
}

fn calibration(entered: &v1::LoadCalibration) -> disk::LoadCalibration {
    let points = &entered.points;
    disk::LoadCalibration {
        applied_unit: entered.applied_unit,
        shown_unit: entered.shown_unit,
        applied: points.iter().filter_map(|point| point.applied).collect(),
        shown: points.iter().filter_map(|point| point.shown).collect(),
        degree: entered.degree,
        through_origin: entered.through_origin,
        calibrate_time: entered.calibrate_time.as_ref().map(wall_clock),
        due_time: entered.due_time.as_ref().map(wall_clock),
        certificate: entered.certificate.clone(),
        reference_standard_uncertainty_ratio: entered.reference_standard_uncertainty_ratio,
    }
}

fn calibration_of(kept: &disk::LoadCalibration) -> v1::LoadCalibration {
    let point = |(applied, shown): (&f64, &f64)| v1::CalibrationPoint {
        applied: Some(*applied),
        shown: Some(*shown),
    };
    v1::LoadCalibration {
        applied_unit: kept.applied_unit,
        shown_unit: kept.shown_unit,
        points: kept.applied.iter().zip(&kept.shown).map(point).collect(),
        degree: kept.degree,
        through_origin: kept.through_origin,
        calibrate_time: kept.calibrate_time.as_ref().map(wall_clock_of),
        due_time: kept.due_time.as_ref().map(wall_clock_of),
        certificate: kept.certificate.clone(),
        reference_standard_uncertainty_ratio: kept.reference_standard_uncertainty_ratio,
    }
}

/// A frame as it is kept.
pub(super) fn frame(frame: &v1::TesterFrame) -> disk::TesterFrame {
    use v1::tester_frame::Give;
    disk::TesterFrame {
        give: frame.give.as_ref().map(|give| match give {
            Give::Stiffness(stiffness) => disk::tester_frame::Give::Stiffness(disk::FrameStiffness {
                rate: kept(&stiffness.rate),
                standard_uncertainty: kept(&stiffness.standard_uncertainty),
            }),
            Give::Curve(curve) => disk::tester_frame::Give::Curve(disk::FrameCurve {
                load_unit: curve.load_unit,
                loads: curve.loads.clone(),
                give_unit: curve.give_unit,
                gives: curve.gives.clone(),
            }),
        }),
    }
}

/// A frame as it is told.
pub(super) fn frame_of(frame: &disk::TesterFrame) -> v1::TesterFrame {
    use disk::tester_frame::Give;
    v1::TesterFrame {
        give: frame.give.as_ref().map(|give| match give {
            Give::Stiffness(stiffness) => v1::tester_frame::Give::Stiffness(v1::FrameStiffness {
                rate: given(&stiffness.rate),
                standard_uncertainty: given(&stiffness.standard_uncertainty),
            }),
            Give::Curve(curve) => v1::tester_frame::Give::Curve(v1::FrameCurve {
                load_unit: curve.load_unit,
                loads: curve.loads.clone(),
                give_unit: curve.give_unit,
                gives: curve.gives.clone(),
            }),
        }),
    }
}

/// A load cell as it is kept.
pub(super) fn cell(cell: &v1::LoadCell) -> disk::LoadCell {
    disk::LoadCell {
        class: cell.class,
        capacity: kept(&cell.capacity),
    }
}

/// A load cell as it is told.
pub(super) fn cell_of(cell: &disk::LoadCell) -> v1::LoadCell {
    v1::LoadCell {
        class: cell.class,
        capacity: given(&cell.capacity),
    }
}
