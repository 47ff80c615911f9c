//! The records of an invented machine, as the API takes them.

use wire::v1;
use wire::v1::setup_side::Moment;

use super::bikes::{Bike, Done, Set, Unit, Visit};
use super::on_fork;
use super::ride::{self, Stand};

/// Fully extended lengths, mm: along the leg, and from axle to a mark above it.
const EXTENDED: [f64; 2] = [640.0, 560.0];
/// Shear modulus of spring steel, N/mm2, for coils that fit their rate.
const SHEAR: f64 = 81_370.0;

/// What is fitted at a moment.
#[derive(Clone, Copy, PartialEq)]
pub(super) struct Fitted {
    front: FittedEnd,
    rear: FittedEnd,
}

#[derive(Clone, Copy, PartialEq)]
struct FittedEnd {
    /// 0 as bought, 1 once changed.
    spring: usize,
    oil: &'static str,
}

impl Fitted {
    pub(super) fn as_bought(bike: &Bike) -> Self {
        let end = |unit: &Unit| FittedEnd {
            spring: 0,
            oil: unit.oil,
        };
        Self {
            front: end(&bike.front),
            rear: end(&bike.rear),
        }
    }

    pub(super) fn change(&mut self, done: Done, day: &'static str) {
        let end = if on_fork(done) { &mut self.front } else { &mut self.rear };
        match done {
            Done::Oil(_) => end.oil = day,
            Done::Springs(_) => end.spring = 1,
            Done::Valving(..) => end.oil = day,
        }
    }
}

fn request_id() -> String {
    uuid::Uuid::new_v4().to_string()
}

fn length(millimeters: f64) -> v1::Length {
    v1::Length {
        value: Some(millimeters),
        unit: v1::length::Unit::Millimeter.into(),
    }
}

fn mass(kilograms: f64) -> Option<v1::Mass> {
    Some(v1::Mass {
        value: Some(kilograms),
        unit: v1::mass::Unit::Kilogram.into(),
    })
}

fn rate(newtons_per_millimeter: f64) -> Option<v1::Stiffness> {
    Some(v1::Stiffness {
        value: Some(newtons_per_millimeter),
        unit: v1::stiffness::Unit::NewtonPerMillimeter.into(),
    })
}

/// Nine in the morning of a day.
fn morning(day: &str) -> Option<prost_types::Timestamp> {
    format!("{day}T09:00:00Z").parse().ok()
}

fn unit(bike: &Bike, front: bool) -> &Unit {
    if front { &bike.front } else { &bike.rear }
}

/// The name of an end's spring on the rack.
fn spring_id(bike: &Bike, front: bool, which: usize) -> String {
    let place = if front { "fork" } else { "shock" };
    let again = if which == 0 { "" } else { "-stiffer" };
    format!("{}-{place}{again}", bike.id)
}

/// Springs of the rack for a machine; those of the rate tester are there already.
pub(super) fn springs(bike: &Bike) -> Vec<v1::CreateSpringRequest> {
    let mut springs = Vec::new();
    for front in [true, false] {
        let unit = unit(bike, front);
        let [bought, other] = unit.rates;
        if unit.springs.is_empty() {
            springs.push(spring(bike, front, (0, bought)));
        }
        if bought != other {
            springs.push(spring(bike, front, (1, other)));
        }
    }
    springs
}

/// A spring whose coils fit its rate: `n = G d^4/(8 D^3 k)`.
fn spring(bike: &Bike, front: bool, (which, newtons): (usize, f64)) -> v1::CreateSpringRequest {
    let (wire, mean, free): (f64, f64, f64) = if front { (5.0, 32.0, 320.0) } else { (10.5, 58.0, 200.0) };
    let active = SHEAR * wire.powi(4) / (8.0 * mean.powi(3) * newtons);
    let active = (active * 100.0).round() / 100.0;
    let place = if front { "fork" } else { "shock" };
    v1::CreateSpringRequest {
        spring: Some(v1::Spring {
            label: format!("invented {place} spring, {newtons} N/mm"),
            marked_rate: rate(newtons),
            free_length: Some(length(free)),
            solid_length: Some(length((wire * (active + 1.5)).round())),
            wire_diameter: Some(length(wire)),
            outside_diameter: Some(length(mean + wire)),
            active_coil_count: Some(active),
            total_coil_count: Some(active + 2.0),
            notes: "Invented for the demo.".to_owned(),
            ..v1::Spring::default()
        }),
        spring_id: spring_id(bike, front, which),
        request_id: request_id(),
    }
}

pub(super) fn rider(bike: &Bike) -> v1::CreateRiderRequest {
    v1::CreateRiderRequest {
        rider: Some(v1::Rider {
            person_name: bike.rider.to_owned(),
            mass_with_gear: mass(bike.rider_mass),
            notes: "Invented for the demo.".to_owned(),
            ..v1::Rider::default()
        }),
        request_id: request_id(),
    }
}

fn values(bike: &Bike, fitted: &Fitted) -> v1::MachineValues {
    v1::MachineValues {
        label: bike.label.to_owned(),
        wheelbase: Some(length(bike.wheelbase)),
        gravity_ahead: Some(length(bike.gravity_ahead)),
        gravity_height: Some(length(bike.gravity_height)),
        rake: Some(v1::Angle {
            value: Some(bike.rake_degrees),
            unit: v1::angle::Unit::Degree.into(),
        }),
        front_unsprung_mass: mass(bike.front.unsprung),
        rear_unsprung_mass: mass(bike.rear.unsprung),
        mass: mass(bike.mass),
        front: Some(unit_values(bike, true, &fitted.front)),
        rear: Some(unit_values(bike, false, &fitted.rear)),
        ..v1::MachineValues::default()
    }
}

fn unit_values(bike: &Bike, front: bool, fitted: &FittedEnd) -> v1::UnitValues {
    let unit = unit(bike, front);
    let adjusters = unit.adjusters.iter().map(|(circuit, range)| v1::AdjusterRange {
        circuit: (*circuit).into(),
        unit: v1::AdjusterUnit::Clicks.into(),
        range_count: Some(*range),
        ..v1::AdjusterRange::default()
    });
    let legs = if front { 2 } else { 1 };
    v1::UnitValues {
        label: unit.label.to_owned(),
        travel: Some(length(unit.travel)),
        damper_type: unit.damper_type.into(),
        legs: (0..legs).map(|index| leg(bike, (front, index), fitted)).collect(),
        adjusters: adjusters.collect(),
        serviceability: unit.serviceability.into(),
        wear: unit.wear.iter().map(|wear| (*wear).into()).collect(),
        linkage: (!front).then_some(v1::unit_values::Linkage::MotionRatio(unit.ratio)),
        ..v1::UnitValues::default()
    }
}

fn leg(bike: &Bike, (front, index): (bool, usize), fitted: &FittedEnd) -> v1::LegValues {
    let unit = unit(bike, front);
    let of_tester = unit.springs.get(index).filter(|_| fitted.spring == 0);
    let spring = of_tester.map_or_else(
        || format!("springs/{}", spring_id(bike, front, fitted.spring)),
        |spring| (*spring).to_owned(),
    );
    let (least, most) = unit.preload_range;
    let first = bike
        .visits
        .first()
        .map(|visit| if front { &visit.front } else { &visit.rear });
    v1::LegValues {
        spring,
        preload: first.map(|set| length(set.preload)),
        least_preload: Some(length(least)),
        most_preload: Some(length(most)),
        oil: Some(oil(fitted.oil)),
        damper: unit.damper.to_owned(),
        ..v1::LegValues::default()
    }
}

fn oil(day: &str) -> v1::OilFill {
    v1::OilFill {
        grade: "invented 7.5".to_owned(),
        fill_time: morning(day),
        ..v1::OilFill::default()
    }
}

pub(super) fn machine(bike: &Bike, fitted: &Fitted, rider: &str) -> v1::CreateMachineRequest {
    v1::CreateMachineRequest {
        machine: Some(v1::Machine {
            values: Some(values(bike, fitted)),
            rider: rider.to_owned(),
            notes: "Invented for the demo.".to_owned(),
            ..v1::Machine::default()
        }),
        machine_id: bike.id.to_owned(),
        request_id: request_id(),
    }
}

/// The machine with what is fitted now.
pub(super) fn fitted_again(bike: &Bike, fitted: &Fitted) -> v1::UpdateMachineRequest {
    v1::UpdateMachineRequest {
        machine: Some(v1::Machine {
            name: format!("machines/{}", bike.id),
            values: Some(values(bike, fitted)),
            ..v1::Machine::default()
        }),
        update_mask: Some(prost_types::FieldMask {
            paths: vec!["values".to_owned()],
        }),
        request_id: request_id(),
    }
}

/// A visit as found and as left.
pub(super) fn setup(
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

fn end(bike: &Bike, (front, left): (bool, bool), fitted: &FittedEnd, (index, visit): (usize, &Visit)) -> v1::EndState {
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

fn machine_end(front: bool) -> i32 {
    if front {
        v1::MachineEnd::Front.into()
    } else {
        v1::MachineEnd::Rear.into()
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

/// A sheet of the last visit.
pub(super) fn sheet(bike: &Bike) -> v1::CreateJobSheetRequest {
    v1::CreateJobSheetRequest {
        job_sheet: Some(v1::JobSheet {
            setup: format!("setups/{}-{}", bike.id, bike.visits.len()),
            ..v1::JobSheet::default()
        }),
        job_sheet_id: bike.id.to_owned(),
        request_id: request_id(),
    }
}

pub(super) fn follow(bike: &Bike) -> v1::FollowMachineRequest {
    v1::FollowMachineRequest {
        source: Some(v1::follow_machine_request::Source::Machine(format!(
            "machines/{}",
            bike.id
        ))),
        ..v1::FollowMachineRequest::default()
    }
}

fn last(bike: &Bike) -> Option<&Visit> {
    bike.visits.last()
}

/// The last visit as found, with how hard it is braked.
pub(super) fn judge(bike: &Bike) -> v1::JudgeSetupRequest {
    v1::JudgeSetupRequest {
        source: Some(v1::judge_setup_request::Source::Setup(v1::SagOfSetup {
            name: format!("setups/{}-{}", bike.id, bike.visits.len()),
            moment: Moment::AsFound.into(),
        })),
        deceleration_ratio: last(bike).map(|visit| ride::deceleration(bike, visit.pace)),
        ..v1::JudgeSetupRequest::default()
    }
}

/// The machine as it was bought, ridden at the pace of the last visit.
pub(super) fn forecast(bike: &Bike) -> v1::ForecastLimitsRequest {
    let pace = last(bike).map_or(1.0, |visit| visit.pace);
    let end = |front: bool| {
        let visit = last(bike)?;
        let set = if front { &visit.front } else { &visit.rear };
        let bought = Fitted::as_bought(bike);
        let fitted = if front { &bought.front } else { &bought.rear };
        let found = self::end(bike, (front, false), fitted, (0, visit));
        let circuits = unit(bike, front).adjusters.iter().zip(set.found);
        Some(v1::ForecastEnd {
            travel_used: found.travel_used,
            circuits: circuits
                .map(|((circuit, _), at)| v1::ForecastCircuit {
                    circuit: (*circuit).into(),
                    position_from_closed: Some(*at),
                    ..v1::ForecastCircuit::default()
                })
                .collect(),
            ..v1::ForecastEnd::default()
        })
    };
    v1::ForecastLimitsRequest {
        source: Some(v1::forecast_limits_request::Source::Machine(format!(
            "machines/{}@1",
            bike.id
        ))),
        rider_mass_with_gear: mass(bike.rider_mass),
        riding: Some(v1::RidingNow {
            deceleration_ratio: Some(ride::deceleration(bike, pace)),
            lateral_ratio: Some(ride::lateral(bike, pace)),
            grip_factor: Some(1.1),
            ..v1::RidingNow::default()
        }),
        front: end(true),
        rear: end(false),
        prices: Some(prices(bike)),
        drawn: true,
        ..v1::ForecastLimitsRequest::default()
    }
}

/// The shop's prices.
pub(super) fn price_list() -> v1::UpdatePriceListRequest {
    let rows = [
        ("fork springs, fitted", v1::Remedy::Respring, true, 240),
        ("shock spring, fitted", v1::Remedy::Respring, false, 190),
        ("fork revalved", v1::Remedy::Revalve, true, 420),
        ("shock revalved", v1::Remedy::Revalve, false, 330),
        (REPLACED, v1::Remedy::Replace, false, 690),
    ];
    let row = |(label, remedy, front, units): (&str, v1::Remedy, bool, i64)| v1::PriceRow {
        label: label.to_owned(),
        remedy: remedy.into(),
        end: machine_end(front),
        price: Some(v1::Money {
            units: Some(units),
            nanos: 0,
        }),
        notes: "Invented for the demo.".to_owned(),
        ..v1::PriceRow::default()
    };
    v1::UpdatePriceListRequest {
        price_list: Some(v1::PriceList {
            currency_code: "EUR".to_owned(),
            rows: rows.into_iter().map(row).collect(),
            ..v1::PriceList::default()
        }),
        request_id: request_id(),
        ..v1::UpdatePriceListRequest::default()
    }
}

/// What another shock is called on the price list.
const REPLACED: &str = "another shock";

/// The prices for a machine: a shock that cannot be opened costs another one where valving is asked for.
fn prices(bike: &Bike) -> v1::PriceList {
    let mut list = price_list().price_list.unwrap_or_default();
    if bike.rear.serviceability == v1::Serviceability::Sealed {
        let valving = i32::from(v1::Remedy::Revalve);
        list.rows
            .retain(|row| row.end != machine_end(false) || row.remedy != valving);
        for row in list.rows.iter_mut().filter(|row| row.label == REPLACED) {
            row.remedy = valving;
        }
    }
    list
}
