//! Checks of a machine and its units.

use mechanics::quantity::{AngleUnit, Entered, KinematicViscosityUnit, LengthUnit, MassUnit, PressureUnit, VolumeUnit};

use super::{age, at_most, kilometers, known, millimeters, millimeters_either, millimeters_from_zero, moment};
use super::{required, revisable};
use crate::names::Collection;
use crate::quantity::{Range, entered, number, unit};
use crate::records::{LONG_TEXT, SHORT_TEXT, bench_temperature, check, finite, text};
use crate::springs::{length_range, rate_range, reduce};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::Scope;

/// Adjusters of a unit: six circuits on each leg.
pub const MAX_ADJUSTERS: usize = 12;
/// Points of a linkage that are kept.
const MAX_LINKAGE: usize = 512;
/// Things seen of wear.
const MAX_WEAR: usize = 8;

/// Checks a machine's values.
pub fn machine_values(values: &v1::MachineValues, mut at: Scope<'_>) {
    text(&values.label, SHORT_TEXT, at.at("label"));
    let wheelbase = Range::between(500.0, 3_000.0, LengthUnit::Millimeter);
    let wheelbase = values
        .wheelbase
        .as_ref()
        .and_then(|length| entered(length, wheelbase, at.at("wheelbase")));
    let ahead = values
        .gravity_ahead
        .as_ref()
        .and_then(|length| entered(length, millimeters(3_000.0), at.at("gravity_ahead")));
    not_below(
        ahead,
        wheelbase,
        ("gravity_ahead", "the wheelbase"),
        at.at("gravity_ahead"),
    );
    check(
        values.gravity_height.as_ref(),
        millimeters(2_000.0),
        at.at("gravity_height"),
    );
    check(
        values.rake.as_ref(),
        Range::between(0.0, 68.0, AngleUnit::Degree),
        at.at("rake"),
    );
    let unsprung = Range::above_zero(200.0, MassUnit::Kilogram);
    check(
        values.front_unsprung_mass.as_ref(),
        unsprung,
        at.at("front_unsprung_mass"),
    );
    check(
        values.rear_unsprung_mass.as_ref(),
        unsprung,
        at.at("rear_unsprung_mass"),
    );
    check(
        values.mass.as_ref(),
        Range::above_zero(1_000.0, MassUnit::Kilogram),
        at.at("mass"),
    );
    number(values.fuel_ratio, 0.0, 1.0, at.at("fuel_ratio"));
    text(&values.front_tyre, SHORT_TEXT, at.at("front_tyre"));
    text(&values.rear_tyre, SHORT_TEXT, at.at("rear_tyre"));
    for (name, unit) in [("front", &values.front), ("rear", &values.rear)] {
        if let Some(unit) = unit {
            unit_values(unit, at.at(name));
        }
    }
}

/// Checks a fitted unit.
pub fn unit_values(unit: &v1::UnitValues, mut at: Scope<'_>) {
    text(&unit.label, SHORT_TEXT, at.at("label"));
    check(unit.travel.as_ref(), millimeters(1_000.0), at.at("travel"));
    known::<v1::DamperType>(unit.damper_type, at.at("damper_type"));
    if at_most(unit.legs.len(), 2, at.at("legs")) {
        for (index, leg) in unit.legs.iter().enumerate() {
            leg_values(leg, at.at("legs").index(index));
        }
    }
    adjusters(&unit.adjusters, at.at("adjusters"));
    known::<v1::Serviceability>(unit.serviceability, at.at("serviceability"));
    if at_most(unit.wear.len(), MAX_WEAR, at.at("wear")) {
        for (index, wear) in unit.wear.iter().enumerate() {
            required::<v1::Wear>(*wear, "what was seen", at.at("wear").index(index));
        }
    }
    text(&unit.wear_notes, LONG_TEXT, at.at("wear_notes"));
    linkage(unit, &mut at);
    check(unit.shock_length.as_ref(), millimeters(1_000.0), at.at("shock_length"));
    check(
        unit.fork_height.as_ref(),
        millimeters_either(200.0),
        at.at("fork_height"),
    );
}

fn linkage(unit: &v1::UnitValues, at: &mut Scope<'_>) {
    use v1::unit_values::Linkage;
    match &unit.linkage {
        Some(Linkage::MotionRatio(ratio)) => {
            number(Some(*ratio), 0.001, 5.0, at.at("motion_ratio"));
        }
        Some(Linkage::LinkageReadings(table)) => linkage_table(table, at.at("linkage_readings")),
        None => {}
    }
    number(
        unit.motion_ratio_standard_uncertainty,
        0.0,
        1.0,
        at.at("motion_ratio_standard_uncertainty"),
    );
    if unit.motion_ratio_standard_uncertainty.is_some() && !matches!(unit.linkage, Some(Linkage::MotionRatio(_))) {
        at.at("motion_ratio_standard_uncertainty")
            .push(Reason::Conflict, "an uncertainty needs its motion_ratio");
    }
}

fn linkage_table(table: &v1::LinkageTable, mut at: Scope<'_>) {
    unit::<LengthUnit>(table.unit, at.at("unit"));
    let count = table.travels.len();
    if !(3..=MAX_LINKAGE).contains(&count) {
        at.at("travels").push(
            Reason::WrongLength,
            format_args!("{count} travels; allowed 3 to {MAX_LINKAGE}"),
        );
    }
    if table.compressions.len() != count {
        at.at("compressions").push(
            Reason::WrongLength,
            format_args!("{} compressions for {count} travels", table.compressions.len()),
        );
    }
    finite(&table.travels, at.at("travels"));
    finite(&table.compressions, at.at("compressions"));
    if let Some(degree) = table.degree.filter(|degree| !(1..=7).contains(degree)) {
        at.at("degree")
            .push(Reason::OutOfRange, format_args!("value is {degree}; allowed 1 to 7"));
    }
}

/// Checks the ranges of a unit's adjusters.
pub fn adjusters(adjusters: &[v1::AdjusterRange], mut at: Scope<'_>) {
    if !at_most(adjusters.len(), MAX_ADJUSTERS, at.here()) {
        return;
    }
    for (index, adjuster) in adjusters.iter().enumerate() {
        let mut at = at.index(index);
        required::<v1::DampingCircuit>(adjuster.circuit, "a circuit", at.at("circuit"));
        leg(adjuster.leg, at.at("leg"));
        let unit = known::<v1::AdjusterUnit>(adjuster.unit, at.at("unit"));
        number(adjuster.range_count, 0.01, 1_000.0, at.at("range_count"));
        if adjuster.range_count.is_some() && unit.is_none() && adjuster.unit == 0 {
            at.at("unit")
                .push(Reason::UnitMissing, "a range needs its unit, clicks or turns");
        }
        number(
            adjuster.closed_to_open_force_ratio,
            1.0,
            100.0,
            at.at("closed_to_open_force_ratio"),
        );
    }
    once(
        adjusters.iter().map(|adjuster| (adjuster.circuit, adjuster.leg)),
        at.here(),
    );
}

/// Each circuit once per leg; one that speaks of both legs speaks of each.
pub(super) fn once(places: impl Iterator<Item = (i32, Option<i32>)>, mut at: Scope<'_>) {
    let mut seen: Vec<(i32, Option<i32>)> = Vec::new();
    for (index, (circuit, leg)) in places.enumerate() {
        let again = seen
            .iter()
            .any(|(other, on)| *other == circuit && (*on == leg || on.is_none() || leg.is_none()));
        if again && circuit != 0 {
            at.index(index)
                .push(Reason::Conflict, "the circuit of this leg stands here more than once");
        }
        seen.push((circuit, leg));
    }
}

/// Checks which leg is meant.
pub(super) fn leg(leg: Option<i32>, mut at: Scope<'_>) {
    if let Some(leg) = leg.filter(|leg| !(1..=2).contains(leg)) {
        at.push(
            Reason::OutOfRange,
            format_args!("leg is {leg}; allowed 1 (left) and 2 (right)"),
        );
    }
}

/// Checks a leg or a shock.
pub fn leg_values(leg: &v1::LegValues, mut at: Scope<'_>) {
    revisable(Collection::Springs, &leg.spring, at.at("spring"));
    check(leg.spring_rate.as_ref(), rate_range(), at.at("spring_rate"));
    if !leg.spring.is_empty() && leg.spring_rate.is_some() {
        at.at("spring_rate").push(
            Reason::Conflict,
            "a spring that is named has its rate; allowed the name or the rate",
        );
    }
    reduce::marking(leg.marking.as_ref(), at.at("marking"));
    preload(leg, &mut at);
    check(
        leg.spacer_length.as_ref(),
        millimeters_from_zero(1_000.0),
        at.at("spacer_length"),
    );
    lengths_of_spring(leg, &mut at);
    if let Some(oil) = &leg.oil {
        oil_fill(oil, at.at("oil"));
    }
    charge(leg, &mut at);
    for (name, stop) in [("top_out", &leg.top_out), ("bump_stop", &leg.bump_stop)] {
        if let Some(stop) = stop {
            let mut at = at.at(name);
            check(stop.length.as_ref(), millimeters(500.0), at.at("length"));
            check(stop.rate.as_ref(), rate_range(), at.at("rate"));
        }
    }
    if let Some(helper) = &leg.helper {
        let mut at = at.at("helper");
        check(helper.rate.as_ref(), rate_range(), at.at("rate"));
        check(helper.travel.as_ref(), millimeters(500.0), at.at("travel"));
    }
    chambers(leg, &mut at);
    known::<v1::DampingSide>(leg.damping_side, at.at("damping_side"));
    revisable(Collection::Dampers, &leg.damper, at.at("damper"));
    revisable(Collection::Stacks, &leg.compression_stack, at.at("compression_stack"));
    revisable(Collection::Stacks, &leg.rebound_stack, at.at("rebound_stack"));
}

fn preload(leg: &v1::LegValues, at: &mut Scope<'_>) {
    let range = millimeters_either(500.0);
    check(leg.preload.as_ref(), range, at.at("preload"));
    let mut bound = |length: &Option<v1::Length>, name: &str| {
        length.as_ref().and_then(|length| entered(length, range, at.at(name)))
    };
    let least = bound(&leg.least_preload, "least_preload");
    let most = bound(&leg.most_preload, "most_preload");
    if let Some((least, most)) = least.zip(most)
        && least.in_unit(most.unit()).value() > most.value()
    {
        at.at("most_preload").push(
            Reason::OutOfRange,
            format_args!("most_preload is {most}; allowed from least_preload, {least}, upwards"),
        );
    }
}

fn lengths_of_spring(leg: &v1::LegValues, at: &mut Scope<'_>) {
    let free = leg
        .free_length
        .as_ref()
        .and_then(|length| entered(length, length_range(), at.at("free_length")));
    let solid = leg
        .solid_length
        .as_ref()
        .and_then(|length| entered(length, length_range(), at.at("solid_length")));
    not_below(solid, free, ("solid_length", "the free length"), at.at("solid_length"));
}

/// Checks that a length is under another.
fn not_below(
    length: Option<Entered<LengthUnit>>,
    limit: Option<Entered<LengthUnit>>,
    (name, limit_name): (&str, &str),
    mut at: Scope<'_>,
) {
    if let Some((length, limit)) = length.zip(limit)
        && length.in_unit(limit.unit()).value() >= limit.value()
    {
        at.push(
            Reason::OutOfRange,
            format_args!("{name} is {length}; allowed below {limit_name}, {limit}"),
        );
    }
}

/// Checks an oil.
pub fn oil_fill(oil: &v1::OilFill, mut at: Scope<'_>) {
    text(&oil.grade, SHORT_TEXT, at.at("grade"));
    check(
        oil.viscosity.as_ref(),
        Range::above_zero(10_000.0, KinematicViscosityUnit::SquareMillimeterPerSecond),
        at.at("viscosity"),
    );
    check(
        oil.viscosity_temperature.as_ref(),
        bench_temperature(),
        at.at("viscosity_temperature"),
    );
    check(oil.level.as_ref(), millimeters_from_zero(1_000.0), at.at("level"));
    known::<v1::OilLevelMeasure>(oil.level_measure, at.at("level_measure"));
    check(
        oil.volume.as_ref(),
        Range::above_zero(10_000.0, VolumeUnit::Milliliter),
        at.at("volume"),
    );
    moment(oil.fill_time.as_ref(), at.at("fill_time"));
    age(oil.age.as_ref(), at.at("age"));
    if oil.fill_time.is_some() && oil.age.is_some() {
        at.at("age").push(
            Reason::Conflict,
            "the day it was filled in says its age; allowed fill_time or age",
        );
    }
    check(oil.distance.as_ref(), kilometers(1e6), at.at("distance"));
}

fn charge(leg: &v1::LegValues, at: &mut Scope<'_>) {
    use v1::leg_values::Charge;
    const MOST: f64 = 50.0;
    match &leg.charge {
        Some(Charge::ChargeGaugePressure(pressure)) => check(
            Some(pressure),
            Range::from_zero(MOST, PressureUnit::Megapascal),
            at.at("charge_gauge_pressure"),
        ),
        Some(Charge::ChargeAbsolutePressure(pressure)) => check(
            Some(pressure),
            Range::above_zero(MOST, PressureUnit::Megapascal),
            at.at("charge_absolute_pressure"),
        ),
        None => {}
    }
}

fn chambers(leg: &v1::LegValues, at: &mut Scope<'_>) {
    let size = millimeters(1_000.0);
    if let Some(air) = &leg.air_chamber {
        let mut at = at.at("air_chamber");
        check(air.seal_diameter.as_ref(), size, at.at("seal_diameter"));
        check(air.bore_diameter.as_ref(), size, at.at("bore_diameter"));
        check(air.air_gap.as_ref(), length_range(), at.at("air_gap"));
        check(air.travel.as_ref(), length_range(), at.at("travel"));
        let steel = Range::from_zero(1e5, VolumeUnit::Milliliter);
        check(air.spring_volume.as_ref(), steel, at.at("spring_volume"));
    }
    if let Some(gas) = &leg.gas_chamber {
        let mut at = at.at("gas_chamber");
        check(gas.rod_diameter.as_ref(), size, at.at("rod_diameter"));
        let volume = Range::above_zero(1e5, VolumeUnit::Milliliter);
        check(gas.gas_volume.as_ref(), volume, at.at("gas_volume"));
    }
}
