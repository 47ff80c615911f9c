//! A visit as found and as left, with its readings.

use wire::v1;

use super::super::bikes::{Bike, Done, Set, Visit};
use super::super::on_fork;
use super::super::ride::{self, Stand};
use super::{EXTENDED, Fitted, FittedEnd, length, machine_end, morning, request_id, unit};

/// A visit as found and as left.
pub(in super::super) fn setup(
    bike: &Bike,
    (index, visit): (usize, &Visit),
    (found, left): (&Fitted, &Fitted),
    (before, after): (i64, i64),
    rider: &str,
) -> v1::CreateSetupRequest {
    let state = |fitted: &Fitted, left: bool, revision: i64| v1::SetupState {
        front: Some(end(bike, (true, left), &fitted.front, (index, visit))),
        rear: Some(end(bike, (false, left), &fitted.rear, (index, visit))),
        machine_revision: Some(revision),
    };
    v1::CreateSetupRequest {
        setup: Some(v1::Setup {
            machine: format!("machines/{}", bike.id),
            rider: rider.to_owned(),
            visit: Some(v1::VisitValues {
                as_found: Some(state(found, false, before)),
                as_left: Some(state(left, true, after)),
                visit_time: morning(visit.day),
                distance: Some(v1::Length {
                    value: Some(visit.kilometers),
                    unit: v1::length::Unit::Kilometer.into(),
                }),
                riding: bike.riding.into(),
                pace_note: visit.pace_note.to_owned(),
                pace_ratio: Some(visit.pace),
                work: visit.done.iter().map(|done| work(bike, *done)).collect(),
                predictions: predictions(bike, visit, left),
                notes: "Invented; readings are simulated.".to_owned(),
            }),
            ..v1::Setup::default()
        }),
        setup_id: format!("{}-{}", bike.id, index + 1),
        request_id: request_id(),
    }
}

fn stand<'a>(bike: &'a Bike, (front, left): (bool, bool), fitted: &FittedEnd, set: &Set) -> Stand<'a> {
    let rates = unit(bike, front).rates;
    Stand {
        bike,
        front,
        rate: rates.get(fitted.spring).copied().unwrap_or_default(),
        preload: set.preload_left.filter(|_| left).unwrap_or(set.preload),
    }
}

pub(super) fn end(
    bike: &Bike,
    (front, left): (bool, bool),
    fitted: &FittedEnd,
    (index, visit): (usize, &Visit),
) -> v1::EndState {
    let set = if front { &visit.front } else { &visit.rear };
    let unit = unit(bike, front);
    let stand = stand(bike, (front, left), fitted, set);
    let at = if left && !set.left.is_empty() {
        set.left
    } else {
        set.found
    };
    let adjusters = unit.adjusters.iter().zip(at);
    // The compression that holds the end up: the only one, or the one at low shaft speed.
    let compression = adjusters.clone().find_map(|((circuit, range), at)| {
        use v1::DampingCircuit::{Compression, LowSpeedCompression};
        [Compression, LowSpeedCompression]
            .contains(circuit)
            .then_some(at / range)
    });
    // Sag is read again where something was done to it; travel only once it was ridden.
    let touched = set.preload_left.is_some()
        || visit
            .done
            .iter()
            .any(|done| matches!(done, Done::Springs(fork) if *fork == front));
    v1::EndState {
        preload: Some(length(stand.preload)),
        adjusters: adjusters
            .map(|((circuit, _), at)| v1::AdjusterSetting {
                circuit: (*circuit).into(),
                position_from_closed: Some(*at),
                ..v1::AdjusterSetting::default()
            })
            .collect(),
        sag: (!left || touched).then(|| readings(&stand, index + usize::from(left))),
        travel_used: (!left).then(|| length(stand.travel_used(visit.pace, compression.unwrap_or(0.5)))),
        ..v1::EndState::default()
    }
}

fn readings(stand: &Stand<'_>, visit: usize) -> v1::SagReadings {
    let [fork, axle] = EXTENDED;
    let extended = if stand.front { fork } else { axle };
    let band = stand.unit().friction_band;
    let (alone, total) = stand.sag();
    let pair = |(pressed, lifted): (f64, f64)| {
        Some(v1::SettledLength {
            pressed: Some(length(pressed)),
            lifted: Some(length(lifted)),
            unpaired: None,
        })
    };
    v1::SagReadings {
        extended: pair((extended, extended)),
        alone: pair(ride::settled(extended - alone, 0.8 * band, visit)),
        with_rider: pair(ride::settled(extended - total, band, visit + 3)),
        resolution: Some(length(0.5)),
        ..v1::SagReadings::default()
    }
}

fn work(bike: &Bike, done: Done) -> v1::WorkDone {
    let front = on_fork(done);
    let [_, other] = unit(bike, front).rates;
    let (remedy, text) = match done {
        Done::Oil(_) => (v1::Remedy::Service, "oil changed, level set".to_owned()),
        Done::Springs(_) => (v1::Remedy::Respring, format!("{other} N/mm fitted")),
        Done::Valving(_, text) => (v1::Remedy::Revalve, text.to_owned()),
    };
    v1::WorkDone {
        remedy: remedy.into(),
        end: machine_end(front),
        oil: matches!(done, Done::Oil(_)).then(|| v1::OilFill {
            grade: "invented 7.5".to_owned(),
            ..v1::OilFill::default()
        }),
        // Another spring asks for other rebound; compression goes on as it was.
        circuits: match (remedy, unit(bike, front).adjusters.first()) {
            (v1::Remedy::Respring, Some((circuit, _))) => vec![(*circuit).into()],
            _ => Vec::new(),
        },
        text,
        ..v1::WorkDone::default()
    }
}

/// What total sag was to be once springs were changed.
fn predictions(bike: &Bike, visit: &Visit, left: &Fitted) -> Vec<v1::Prediction> {
    let changed = visit.done.iter().filter_map(|done| match done {
        Done::Springs(front) => Some(*front),
        Done::Oil(_) | Done::Valving(..) => None,
    });
    let predicted = changed.map(|front| {
        let (fitted, set) = if front {
            (&left.front, &visit.front)
        } else {
            (&left.rear, &visit.rear)
        };
        let (_, total) = stand(bike, (front, true), fitted, set).sag();
        v1::Prediction {
            subject: v1::prediction::Subject::TotalSag.into(),
            end: machine_end(front),
            value: Some(length((2.0 * total).round() / 2.0)),
            standard_uncertainty: Some(length(1.0)),
            source: "spring chosen for the sag".to_owned(),
        }
    });
    predicted.collect()
}
