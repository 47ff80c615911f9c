//! As found and as left, line by line.

use mechanics::quantity::UnitSystem;
use wire::v1;

use super::{BOTH, Gathered, Record, filled, short};
use crate::page::words::{computed, estimated};
use crate::sheet::content::Setting;

/// The four places of a row: front as found and left, rear as found and left.
fn row(what: &str, figure: impl Fn(v1::MachineEnd, bool) -> Option<String>) -> Option<Setting> {
    let [front, rear] = BOTH.map(|end| [false, true].map(|left| figure(end, left).unwrap_or_default()));
    let ([front_found, front_left], [rear_found, rear_left]) = (front, rear);
    let setting = Setting {
        what: what.to_owned(),
        front_found,
        front_left,
        rear_found,
        rear_left,
    };
    setting
        .figures()
        .iter()
        .any(|figure| !figure.is_empty())
        .then_some(setting)
}

/// Readings and settings that anything is known of.
pub(super) fn settings(gathered: &Gathered) -> Vec<Setting> {
    let units = gathered.units;
    let sag = |of: fn(&v1::ReadSagResponse) -> Option<&v1::LengthEstimate>| {
        move |end: v1::MachineEnd, left: bool| estimated(of(gathered.sag(end, left)?))
    };
    let state_of = |of: fn(&v1::EndState) -> Option<&v1::Length>| {
        move |end: v1::MachineEnd, left: bool| short(of(gathered.state(end, left)?), units)
    };
    let mut rows = vec![
        row("Static sag", sag(|sag| sag.static_sag.as_ref())),
        row("Total sag", sag(|sag| sag.total_sag.as_ref())),
        row("Rider’s share", sag(|sag| sag.riders_share.as_ref())),
        row("Spring", |end, left| {
            gathered.state(end, left)?;
            spring(gathered, end, left)
        }),
        row("Preload", |end, left| preload(gathered.state(end, left)?, units)),
    ];
    for (circuit, name) in CIRCUITS {
        rows.push(row(name, |end, left| {
            adjuster(gathered.state(end, left)?, gathered.unit(end, left), *circuit)
        }));
    }
    rows.push(row("Travel used", state_of(|state| state.travel_used.as_ref())));
    rows.push(row("Tyre pressure", |end, left| {
        short(gathered.state(end, left)?.tyre_gauge_pressure.as_ref(), units)
    }));
    rows.push(row(
        "Fork tubes above the clamp",
        state_of(|state| state.fork_height.as_ref()),
    ));
    rows.push(row("Oil", |end, left| {
        let oils = gathered
            .state(end, left)?
            .oils
            .iter()
            .filter_map(|oil| filled(&oil.grade));
        let oils: Vec<String> = oils.collect();
        (!oils.is_empty()).then(|| oils.join(", "))
    }));
    rows.into_iter().flatten().collect()
}

/// Circuits with the head of their line.
pub(super) const CIRCUITS: &[(v1::DampingCircuit, &str)] = &[
    (v1::DampingCircuit::Rebound, "Rebound, from closed"),
    (v1::DampingCircuit::LowSpeedRebound, "Low-speed rebound, from closed"),
    (v1::DampingCircuit::HighSpeedRebound, "High-speed rebound, from closed"),
    (v1::DampingCircuit::Compression, "Compression, from closed"),
    (
        v1::DampingCircuit::LowSpeedCompression,
        "Low-speed compression, from closed",
    ),
    (
        v1::DampingCircuit::HighSpeedCompression,
        "High-speed compression, from closed",
    ),
];

/// Preload, for each leg where they differ.
fn preload(state: &v1::EndState, units: UnitSystem) -> Option<String> {
    let each = state.leg_preloads.iter().filter_map(|one| short(Some(one), units));
    let each: Vec<String> = each.collect();
    if each.is_empty() {
        short(state.preload.as_ref(), units)
    } else {
        Some(each.join(", "))
    }
}

/// The rates of the fitted springs: one figure where all are alike.
fn spring(gathered: &Gathered, end: v1::MachineEnd, left: bool) -> Option<String> {
    let legs = &gathered.unit(end, left)?.legs;
    let each: Vec<String> = legs.iter().filter_map(|leg| bare_rate(gathered, leg)).collect();
    match each.split_first() {
        Some((first, others)) if others.iter().all(|other| other == first) => Some(first.clone()),
        _ => (!each.is_empty()).then(|| with_unit_once(&each)),
    }
}

/// `8.98, 8.62 N/mm` of figures in one unit, else each with its own.
fn with_unit_once(figures: &[String]) -> String {
    let parted: Option<Vec<(&str, &str)>> = figures.iter().map(|figure| figure.split_once(' ')).collect();
    match parted.as_deref() {
        Some([(first, unit), others @ ..]) if others.iter().all(|(_, other)| other == unit) => {
            let numbers = others.iter().map(|(number, _)| *number);
            let numbers: Vec<&str> = std::iter::once(*first).chain(numbers).collect();
            format!("{} {unit}", numbers.join(", "))
        }
        _ => figures.join(", "),
    }
}

/// The rate of a leg's spring alone, in words.
fn bare_rate(gathered: &Gathered, leg: &v1::LegValues) -> Option<String> {
    let measured = measured(gathered, leg);
    // A measured figure is as exact as the bench, an entered one as it was entered.
    measured
        .and_then(|rate| computed(Some(rate)))
        .or_else(|| short(given_rate(gathered, leg), gathered.units))
}

/// The rate the tester found.
fn measured<'a>(gathered: &'a Gathered, leg: &v1::LegValues) -> Option<&'a v1::Stiffness> {
    let spring = Record::of(&gathered.fitted.springs, &leg.spring)?;
    spring.tested.as_ref()?.rate.as_ref()?.value.as_ref()
}

/// The rate of a leg's spring: measured, else of its record, else of the machine.
pub(super) fn given_rate<'a>(gathered: &'a Gathered, leg: &'a v1::LegValues) -> Option<&'a v1::Stiffness> {
    match Record::of(&gathered.fitted.springs, &leg.spring) {
        Some(spring) => measured(gathered, leg).or(spring.entered.marked_rate.as_ref()),
        None => {
            let marked = leg.marking.as_ref().and_then(|marking| marking.rate.as_ref());
            leg.spring_rate.as_ref().or(marked)
        }
    }
}

/// The rate of a leg's spring, with where it comes from.
pub(super) fn rate(gathered: &Gathered, leg: &v1::LegValues) -> Option<String> {
    let units = gathered.units;
    let marked = |rate: Option<&v1::Stiffness>| short(rate, units).map(|rate| format!("{rate}, marked"));
    if let Some(spring) = Record::of(&gathered.fitted.springs, &leg.spring) {
        let tested = spring
            .tested
            .as_ref()
            .and_then(|tested| estimated(tested.rate.as_ref()));
        return tested
            .map(|rate| format!("{rate}, measured"))
            .or_else(|| marked(spring.entered.marked_rate.as_ref()));
    }
    short(leg.spring_rate.as_ref(), units)
        .or_else(|| marked(leg.marking.as_ref().and_then(|marking| marking.rate.as_ref())))
}

/// `5 of 24 clicks`, for each leg where they differ.
fn adjuster(state: &v1::EndState, unit: Option<&v1::UnitValues>, circuit: v1::DampingCircuit) -> Option<String> {
    let ranges = unit.map(|unit| unit.adjusters.as_slice()).unwrap_or_default();
    let settings = state
        .adjusters
        .iter()
        .filter(|setting| setting.circuit == circuit as i32);
    let said = settings.filter_map(|setting| {
        let range = ranges
            .iter()
            .find(|range| range.circuit == setting.circuit && range.leg == setting.leg);
        let unit = if setting.unit == 0 {
            range.map_or(0, |range| range.unit)
        } else {
            setting.unit
        };
        let word = match v1::AdjusterUnit::try_from(unit) {
            Ok(v1::AdjusterUnit::Turns) => "turns",
            Ok(v1::AdjusterUnit::Clicks | v1::AdjusterUnit::Unspecified) | Err(_) => "clicks",
        };
        let position = setting.position_from_closed?;
        Some(match range.and_then(|range| range.range_count) {
            Some(range) => format!("{position} of {range} {word}"),
            None => format!("{position} {word}"),
        })
    });
    let said: Vec<String> = said.collect();
    (!said.is_empty()).then(|| said.join(", "))
}
