//! The records of an invented machine, as the API takes them.

mod asked;
mod visit;

use wire::v1;

use super::bikes::{Bike, Done, Unit};
use super::on_fork;
pub(super) use asked::{follow, forecast, judge, price_list};
pub(super) use visit::setup;

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

fn machine_end(front: bool) -> i32 {
    if front {
        v1::MachineEnd::Front.into()
    } else {
        v1::MachineEnd::Rear.into()
    }
}
