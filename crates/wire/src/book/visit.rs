//! Checks of a visit: how a machine was set as found and as left.

use mechanics::quantity::{AngleUnit, MassUnit, PressureUnit};

use super::machine::{MAX_ADJUSTERS, leg, oil_fill, once};
use super::{at_most, front_or_rear, kilometers, known, millimeters, millimeters_either, millimeters_from_zero};
use super::{moment, required};
use crate::quantity::{Range, number};
use crate::records::{LONG_TEXT, SHORT_TEXT, check, text};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::Scope;

/// Pieces of work, and predictions, of one visit.
const MAX_NOTED: usize = 40;

/// Checks a visit.
pub fn visit_values(visit: &v1::VisitValues, mut at: Scope<'_>) {
    for (name, state) in [("as_found", &visit.as_found), ("as_left", &visit.as_left)] {
        if let Some(state) = state {
            setup_state(state, at.at(name));
        }
    }
    moment(visit.visit_time.as_ref(), at.at("visit_time"));
    check(visit.distance.as_ref(), kilometers(1e7), at.at("distance"));
    known::<v1::Riding>(visit.riding, at.at("riding"));
    text(&visit.pace_note, LONG_TEXT, at.at("pace_note"));
    number(visit.pace_ratio, 0.1, 10.0, at.at("pace_ratio"));
    if at_most(visit.work.len(), MAX_NOTED, at.at("work")) {
        for (index, work) in visit.work.iter().enumerate() {
            work_done(work, at.at("work").index(index));
        }
    }
    if at_most(visit.predictions.len(), MAX_NOTED, at.at("predictions")) {
        for (index, prediction) in visit.predictions.iter().enumerate() {
            self::prediction(prediction, at.at("predictions").index(index));
        }
    }
    text(&visit.notes, LONG_TEXT, at.at("notes"));
}

/// Checks how a machine stands.
pub fn setup_state(state: &v1::SetupState, mut at: Scope<'_>) {
    for (name, end) in [("front", &state.front), ("rear", &state.rear)] {
        if let Some(end) = end {
            end_state(end, at.at(name));
        }
    }
    if let Some(revision) = state.machine_revision.filter(|revision| *revision < 1) {
        at.at("machine_revision").push(
            Reason::OutOfRange,
            format_args!("value is {revision}; allowed 1 and more"),
        );
    }
}

fn end_state(end: &v1::EndState, mut at: Scope<'_>) {
    let preload = millimeters_either(500.0);
    check(end.preload.as_ref(), preload, at.at("preload"));
    if !matches!(end.leg_preloads.len(), 0 | 2) {
        at.at("leg_preloads").push(
            Reason::WrongLength,
            format_args!("{} elements; allowed none or 2, left and right", end.leg_preloads.len()),
        );
    }
    for (index, length) in end.leg_preloads.iter().take(2).enumerate() {
        check(Some(length), preload, at.at("leg_preloads").index(index));
    }
    if end.preload.is_some() && !end.leg_preloads.is_empty() {
        at.at("leg_preloads")
            .push(Reason::Conflict, "allowed one preload for all legs, or one for each");
    }
    adjusters(&end.adjusters, at.at("adjusters"));
    check(
        end.tyre_gauge_pressure.as_ref(),
        Range::above_zero(2.0, PressureUnit::Megapascal),
        at.at("tyre_gauge_pressure"),
    );
    if let Some(sag) = &end.sag {
        sag_readings(sag, at.at("sag"));
    }
    check(
        end.travel_used.as_ref(),
        millimeters_from_zero(1_000.0),
        at.at("travel_used"),
    );
    known::<v1::Riding>(end.travel_riding, at.at("travel_riding"));
    if at_most(end.oils.len(), 2, at.at("oils")) {
        for (index, oil) in end.oils.iter().enumerate() {
            oil_fill(oil, at.at("oils").index(index));
        }
    }
    check(
        end.fork_height.as_ref(),
        millimeters_either(200.0),
        at.at("fork_height"),
    );
    text(&end.complaint, LONG_TEXT, at.at("complaint"));
}

fn adjusters(settings: &[v1::AdjusterSetting], mut at: Scope<'_>) {
    if !at_most(settings.len(), MAX_ADJUSTERS, at.here()) {
        return;
    }
    for (index, setting) in settings.iter().enumerate() {
        let mut at = at.index(index);
        required::<v1::DampingCircuit>(setting.circuit, "a circuit", at.at("circuit"));
        leg(setting.leg, at.at("leg"));
        known::<v1::AdjusterUnit>(setting.unit, at.at("unit"));
        if setting.position_from_closed.is_none() {
            at.at("position_from_closed").push(
                Reason::ValueMissing,
                "a position is required; allowed 0 to 1,000 from closed",
            );
        }
        number(
            setting.position_from_closed,
            0.0,
            1_000.0,
            at.at("position_from_closed"),
        );
    }
    once(settings.iter().map(|setting| (setting.circuit, setting.leg)), at.here());
}

/// Checks the readings sag is taken from.
pub fn sag_readings(sag: &v1::SagReadings, mut at: Scope<'_>) {
    for (name, length) in [
        ("extended", &sag.extended),
        ("alone", &sag.alone),
        ("with_rider", &sag.with_rider),
    ] {
        if let Some(length) = length {
            // An extended length has no two sides.
            let once = sag.unpaired_allowed || name == "extended";
            settled_length(length, once, at.at(name));
        }
    }
    check(
        sag.resolution.as_ref(),
        millimeters_from_zero(10.0),
        at.at("resolution"),
    );
    check(sag.handling.as_ref(), millimeters_from_zero(20.0), at.at("handling"));
    check(
        sag.tape_slant.as_ref(),
        Range::between(0.0, 60.0, AngleUnit::Degree),
        at.at("tape_slant"),
    );
    let load = Range::from_zero(1_000.0, MassUnit::Kilogram);
    check(sag.mass_alone.as_ref(), load, at.at("mass_alone"));
    check(sag.mass_with_rider.as_ref(), load, at.at("mass_with_rider"));
    check(
        sag.mass_standard_uncertainty.as_ref(),
        Range::from_zero(100.0, MassUnit::Kilogram),
        at.at("mass_standard_uncertainty"),
    );
}

fn settled_length(length: &v1::SettledLength, unpaired_allowed: bool, mut at: Scope<'_>) {
    let range = millimeters(5_000.0);
    check(length.pressed.as_ref(), range, at.at("pressed"));
    check(length.lifted.as_ref(), range, at.at("lifted"));
    check(length.unpaired.as_ref(), range, at.at("unpaired"));
    if length.unpaired.is_some() && !unpaired_allowed {
        at.at("unpaired").push(
            Reason::Conflict,
            "a length read once is taken only with unpaired_allowed; allowed pressed and lifted",
        );
    }
    if length.unpaired.is_some() && (length.pressed.is_some() || length.lifted.is_some()) {
        at.at("unpaired")
            .push(Reason::Conflict, "allowed one reading, or pressed and lifted");
    }
}

fn work_done(work: &v1::WorkDone, mut at: Scope<'_>) {
    required::<v1::Remedy>(work.remedy, "what was done", at.at("remedy"));
    front_or_rear(work.end, at.at("end"));
    if at_most(work.circuits.len(), 6, at.at("circuits")) {
        for (index, circuit) in work.circuits.iter().enumerate() {
            required::<v1::DampingCircuit>(*circuit, "a circuit", at.at("circuits").index(index));
        }
    }
    leg(work.leg, at.at("leg"));
    if let Some(oil) = &work.oil {
        oil_fill(oil, at.at("oil"));
    }
    text(&work.text, LONG_TEXT, at.at("text"));
}

fn prediction(prediction: &v1::Prediction, mut at: Scope<'_>) {
    required::<v1::prediction::Subject>(prediction.subject, "what is predicted", at.at("subject"));
    front_or_rear(prediction.end, at.at("end"));
    let value = Range::between(-100.0, 1_000.0, mechanics::quantity::LengthUnit::Millimeter);
    match &prediction.value {
        Some(length) => check(Some(length), value, at.at("value")),
        None => at.at("value").push(
            Reason::ValueMissing,
            format_args!("a prediction needs its length; allowed {value}"),
        ),
    }
    check(
        prediction.standard_uncertainty.as_ref(),
        millimeters_from_zero(500.0),
        at.at("standard_uncertainty"),
    );
    text(&prediction.source, SHORT_TEXT, at.at("source"));
}
