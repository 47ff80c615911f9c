//! The machine and its two ends: units, springs, oil and its age, adjusters.

use maud::{Markup, html};
use mechanics::chassis::End;
use mechanics::quantity::UnitSystem;
use wire::v1;

use super::history::ridden_words;
use super::kept::Kept;
use super::words::{ENDS, counted, damper_type, heading, serviceability, unit_of, wear};
use crate::page::words::{Origin, entered_in, moment, origin, row};

/// The first part of the view.
pub(super) fn shown(kept: &Kept, units: UnitSystem) -> Markup {
    let [machine, _] = &kept.fitted;
    html! {
        dl.figures {
            @if let Some(rider) = &kept.rider {
                @if !rider.person_name.is_empty() { div { dt { "Rider" } dd { bdi { (rider.person_name) } } } }
                (row("Rider with all gear", entered_in(rider.mass_with_gear.as_ref(), units), Origin::Entered))
            }
            (row("Machine without rider", entered_in(machine.mass.as_ref(), units), Origin::Entered))
            (row("Wheelbase", entered_in(machine.wheelbase.as_ref(), units), Origin::Entered))
            (row("Rake", entered_in(machine.rake.as_ref(), units), Origin::Entered))
            (row("Centre of gravity, ahead of the rear contact", entered_in(machine.gravity_ahead.as_ref(), units), Origin::Entered))
            (row("Height of the centre of gravity", entered_in(machine.gravity_height.as_ref(), units), Origin::Entered))
        }
        div.ends { @for end in ENDS { (one(machine, end, units)) } }
        @if !kept.machine.notes.is_empty() { p.written { bdi { (kept.machine.notes) } } }
    }
}

fn one(machine: &v1::MachineValues, end: End, units: UnitSystem) -> Markup {
    let Some(unit) = unit_of(machine, end) else {
        return html! { section { h3 { (heading(end)) } p { "Nothing is entered of this end." } } };
    };
    let said = |words: &str| (!words.is_empty()).then(|| words.to_owned());
    let seen: Vec<&str> = unit
        .wear
        .iter()
        .map(|seen| wear(*seen))
        .filter(|seen| !seen.is_empty())
        .collect();
    html! {
        section {
            h3 { (heading(end)) @if !unit.label.is_empty() { ": " bdi { (unit.label) } } }
            dl.figures {
                (row("Damper", said(damper_type(unit.damper_type)), Origin::Entered))
                (row(travel(end), entered_in(unit.travel.as_ref(), units), Origin::Entered))
                (row("Motion ratio", linkage(unit), Origin::Entered))
                (row("Opening it", said(serviceability(unit.serviceability)), Origin::Entered))
                (row("Wear", said(&seen.join(", ")), Origin::Entered))
            }
            @if !unit.wear_notes.is_empty() { p.written { bdi { (unit.wear_notes) } } }
            @for (index, leg) in unit.legs.iter().enumerate() { (of_leg(leg, leg_name(end, unit.legs.len(), index), units)) }
            (adjusters(unit))
        }
    }
}

fn travel(end: End) -> &'static str {
    match end {
        End::Front => "Travel along the leg",
        End::Rear => "Travel at the wheel",
    }
}

fn linkage(unit: &v1::UnitValues) -> Option<String> {
    match unit.linkage.as_ref()? {
        v1::unit_values::Linkage::MotionRatio(ratio) => Some(format!("{ratio:.3}")),
        v1::unit_values::Linkage::LinkageReadings(table) => Some(format!("from {} readings", table.travels.len())),
    }
}

fn leg_name(end: End, count: usize, index: usize) -> &'static str {
    match (end, count, index) {
        (End::Front, 2, 0) => "Left leg",
        (End::Front, 2, _) => "Right leg",
        (End::Front, ..) => "Both legs",
        (End::Rear, 2, 0) => "Left shock",
        (End::Rear, 2, _) => "Right shock",
        (End::Rear, ..) => "Shock",
    }
}

/// A spring with its preload, the oil and the valving of one leg.
fn of_leg(leg: &v1::LegValues, name: &str, units: UnitSystem) -> Markup {
    let preload = entered_in(leg.preload.as_ref(), units);
    let range = entered_in(leg.least_preload.as_ref(), units).zip(entered_in(leg.most_preload.as_ref(), units));
    let mark = leg
        .marking
        .as_ref()
        .map(|marking| marking.text.as_str())
        .unwrap_or_default();
    let links = [
        ("damper", &leg.damper),
        ("compression stack", &leg.compression_stack),
        ("rebound stack", &leg.rebound_stack),
    ];
    html! {
        p {
            b { (name) } ": spring "
            @if !leg.spring.is_empty() { a href={ "/" (pinless(&leg.spring)) } { (leg.spring) } }
            @else if let Some(rate) = entered_in(leg.spring_rate.as_ref(), units) { (rate) " " (origin(Origin::Entered)) }
            @else { "not known" }
            @if !mark.is_empty() { ", marked " bdi { (mark) } }
            @if let Some(preload) = &preload { "; preload " (preload) }
            @if let Some((least, most)) = &range { ", can be set from " (least) " to " (most) }
            @if let Some(oil) = &leg.oil { "; oil " (oil_words(oil, units)) }
            @for (what, name) in links { @if !name.is_empty() { "; " (what) " " (name) } }
            "."
        }
    }
}

/// A record's name without its revision: the page shows what it is now.
fn pinless(name: &str) -> &str {
    name.split('@').next().unwrap_or(name)
}

fn oil_words(oil: &v1::OilFill, units: UnitSystem) -> Markup {
    const DAY: i64 = 86_400;
    let age = oil.age.as_ref().map(|age| format!("{} days old", age.seconds / DAY));
    html! {
        @if oil.grade.is_empty() { "of a grade not known" } @else { bdi { (oil.grade) } }
        @if let Some(viscosity) = entered_in(oil.viscosity.as_ref(), units) { ", " (viscosity) }
        @if let Some(level) = entered_in(oil.level.as_ref(), units) { ", level " (level) }
        @if oil.fill_time.is_some() { ", filled in " (moment(oil.fill_time.as_ref())) }
        @else if let Some(age) = age { ", " (age) }
        @else { ", age not known" }
        @if let Some(distance) = ridden_words(oil.distance.as_ref(), units) { ", ridden " (distance) }
    }
}

fn adjusters(unit: &v1::UnitValues) -> Markup {
    let told = |range: &v1::AdjusterRange| {
        let count = range
            .range_count
            .map(|count| format!(" {count} {}", counted(range.unit)));
        format!(
            "{}{}",
            wire::setup::words::circuit(range.circuit),
            count.unwrap_or_else(|| " of a range not known".to_owned())
        )
    };
    let told: Vec<String> = unit.adjusters.iter().map(told).collect();
    html! {
        p {
            b { "Adjusters" } ": "
            @if told.is_empty() { "none entered" } @else { (told.join(", ")) }
            "."
        }
    }
}
