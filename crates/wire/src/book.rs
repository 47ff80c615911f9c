//! Checks of the book: riders, machines, visits, job sheets, rules, prices. Records are kept as they were entered; every
//! fault of a request is noted at its own field.

pub mod compare;
pub mod follow;
pub mod machine;
pub mod sag;
pub mod tables;
pub mod visit;

use mechanics::quantity::{LengthUnit, MassUnit};

use crate::names::Collection;
use crate::quantity::Range;
use crate::records::{LONG_TEXT, SHORT_TEXT, check, moment, text};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::Scope;

/// Checks a rider as entered.
pub fn rider(rider: &v1::Rider, mut at: Scope<'_>) {
    text(&rider.person_name, SHORT_TEXT, at.at("person_name"));
    text(&rider.contact, SHORT_TEXT, at.at("contact"));
    let person = Range::above_zero(500.0, MassUnit::Kilogram);
    check(rider.mass_with_gear.as_ref(), person, at.at("mass_with_gear"));
    check(
        rider.passenger_mass_with_gear.as_ref(),
        person,
        at.at("passenger_mass_with_gear"),
    );
    text(&rider.notes, LONG_TEXT, at.at("notes"));
}

/// Checks a machine as entered.
pub fn machine(machine: &v1::Machine, mut at: Scope<'_>) {
    if let Some(values) = &machine.values {
        machine::machine_values(values, at.at("values"));
    }
    named(Collection::Riders, &machine.rider, at.at("rider"));
    text(&machine.notes, LONG_TEXT, at.at("notes"));
}

/// Checks a setup as entered; its machine is required where the whole record is given.
pub fn setup(setup: &v1::Setup, whole: bool, mut at: Scope<'_>) {
    if whole || !setup.machine.is_empty() {
        Collection::Machines.id(&setup.machine, at.at("machine"));
    }
    named(Collection::Riders, &setup.rider, at.at("rider"));
    if let Some(visit) = &setup.visit {
        visit::visit_values(visit, at.at("visit"));
    }
}

/// Checks a job sheet as entered; its setup is required where the whole record is given.
pub fn job_sheet(sheet: &v1::JobSheet, whole: bool, mut at: Scope<'_>) {
    if whole || !sheet.setup.is_empty() {
        Collection::Setups.revisable(&sheet.setup, at.at("setup"));
    }
    moment(sheet.sheet_time.as_ref(), at.at("sheet_time"));
    text(&sheet.media_type, SHORT_TEXT, at.at("media_type"));
    text(&sheet.notes, LONG_TEXT, at.at("notes"));
}

/// Checks an optional name of another record.
fn named(collection: Collection, name: &str, at: Scope<'_>) {
    if !name.is_empty() {
        collection.id(name, at);
    }
}

/// The same where a revision may follow.
fn revisable(collection: Collection, name: &str, at: Scope<'_>) {
    if !name.is_empty() {
        collection.revisable(name, at);
    }
}

/// Checks a number of an enumeration whose values stand without holes; `None` where it is none, or is unspecified.
pub(crate) fn known<E: TryFrom<i32> + Default + PartialEq>(number: i32, at: Scope<'_>) -> Option<E> {
    E::try_from(number)
        .map_err(|_| out_of_range(number, at))
        .ok()
        .filter(|value| *value != E::default())
}

/// The same where a value must be stated.
pub(crate) fn required<E: TryFrom<i32> + Default + PartialEq>(number: i32, what: &str, mut at: Scope<'_>) -> Option<E> {
    let value = known(number, at.here());
    if value.is_none() && number == 0 {
        at.push(Reason::ValueMissing, format_args!("{what} is required"));
    }
    value
}

fn out_of_range(number: i32, mut at: Scope<'_>) {
    at.push(
        Reason::OutOfRange,
        format_args!("value is {number}; allowed are the numbers the API names"),
    );
}

/// Checks an end that must be the front or the rear.
fn front_or_rear(number: i32, mut at: Scope<'_>) {
    if required::<v1::MachineEnd>(number, "an end, front or rear,", at.here()) == Some(v1::MachineEnd::Either) {
        at.push(Reason::OutOfRange, "either is no place; allowed front or rear");
    }
}

/// Checks how many elements a list has.
pub(crate) fn at_most(count: usize, limit: usize, mut at: Scope<'_>) -> bool {
    let fits = count <= limit;
    if !fits {
        at.push(
            Reason::WrongLength,
            format_args!("{count} elements; allowed 0 to {limit}"),
        );
    }
    fits
}

/// Checks an age.
fn age(age: Option<&prost_types::Duration>, mut at: Scope<'_>) {
    const CENTURY: i64 = 3_155_760_000;
    let Some(age) = age else { return };
    if !(0..=CENTURY).contains(&age.seconds) || !(0..1_000_000_000).contains(&age.nanos) {
        at.push(
            Reason::OutOfRange,
            format_args!("age is {} s and {} ns; allowed 0 to 100 years", age.seconds, age.nanos),
        );
    }
}

/// Lengths along a unit.
fn millimeters(high: f64) -> Range<LengthUnit> {
    Range::above_zero(high, LengthUnit::Millimeter)
}

/// The same with zero.
fn millimeters_from_zero(high: f64) -> Range<LengthUnit> {
    Range::from_zero(high, LengthUnit::Millimeter)
}

/// The same of either sign.
fn millimeters_either(high: f64) -> Range<LengthUnit> {
    Range::either_sign(high, LengthUnit::Millimeter)
}

/// Distances ridden.
fn kilometers(high: f64) -> Range<LengthUnit> {
    Range::from_zero(high, LengthUnit::Kilometer)
}
