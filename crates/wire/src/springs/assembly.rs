//! EvaluateAssembly: request in, reply out.

use mechanics::quantity::{Deflection, Length, LengthUnit, Load, Quantity, SpringRate, UnitSystem};
use mechanics::spring::{Assembly, AssemblyFound, AssemblyPoint, DEEPEST, MOST_TABLE, Part, PartKind, Share};

use super::curve::listed;
use super::estimates::{assumptions, findings};
use super::helical::{MOST_PLACES, knots, loads, moduli, needed, places};
use super::{coils, length_range, rate_range};
use crate::names::{Collection, Name};
use crate::quantity::{Range, computed, optional, required, unit, unit_system};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// What springs of the rack are as parts, by their names.
pub type Known = std::collections::HashMap<String, PartKind>;

/// Names of the springs of the rack a request holds; one that is none is noted where it stands, and one that comes often is
/// named once.
pub fn named(message: &v1::EvaluateAssemblyRequest, violations: &mut Violations) -> Vec<(String, Name)> {
    let mut found = Vec::new();
    if let Some(part) = &message.part {
        names(part, 1, violations.at("part"), &mut found);
    }
    found
}

fn names(message: &v1::AssemblyPart, depth: usize, mut at: Scope<'_>, found: &mut Vec<(String, Name)>) {
    use v1::assembly_part::Kind;
    let (segment, group) = match &message.kind {
        Some(Kind::Spring(text)) => {
            let name = Collection::Springs.revisable(text, at.at("spring"));
            if let Some(name) = name.filter(|_| found.iter().all(|(known, _)| known != text)) {
                found.push((text.clone(), name));
            }
            return;
        }
        Some(Kind::Series(group)) => ("series", group),
        Some(Kind::Parallel(group)) => ("parallel", group),
        _ => return,
    };
    // Deeper ones are refused as they are read.
    if depth <= DEEPEST {
        let mut outer = at.at(segment);
        let mut parts = outer.at("parts");
        for (index, inner) in group.parts.iter().enumerate() {
            names(inner, depth + 1, parts.index(index), found);
        }
    }
}

/// Reads a request; springs of the rack are those that are known, and one that is not stands for any other.
pub fn request(message: &v1::EvaluateAssemblyRequest, known: &Known, violations: &mut Violations) -> Option<Assembly> {
    let part = match &message.part {
        None => {
            violations.push("part", Reason::ValueMissing, "part is required");
            None
        }
        Some(given) => part(given, known, 1, violations.at("part")),
    };
    let read = Assembly {
        preload: optional(message.preload.as_ref(), places(), violations.at("preload")),
        deflections: listed(
            &message.deflections,
            places(),
            MOST_PLACES,
            violations.at("deflections"),
        ),
        loads: listed(&message.loads, loads(), MOST_PLACES, violations.at("loads")),
        maximum_deflection: optional(
            message.maximum_deflection.as_ref(),
            places(),
            violations.at("maximum_deflection"),
        ),
        units: unit_system(message.reply_units, violations.at("reply_units")),
        part: part?,
    };
    Some(read)
}

fn part(message: &v1::AssemblyPart, known: &Known, depth: usize, mut at: Scope<'_>) -> Option<Part> {
    use v1::assembly_part::Kind;
    if depth > DEEPEST {
        at.push(
            Reason::OutOfRange,
            format_args!("nested {depth} deep; allowed {DEEPEST}"),
        );
        return None;
    }
    crate::records::text(&message.label, crate::records::SHORT_TEXT, at.at("label"));
    let gap = optional::<Length, _>(message.gap.as_ref(), places(), at.at("gap"));
    let kind = match &message.kind {
        None => {
            at.push(
                Reason::ValueMissing,
                "one of straight, wound, table, series, parallel, spring is required",
            );
            None
        }
        Some(Kind::Straight(given)) => straight(given, at.at("straight")),
        Some(Kind::Wound(given)) => wound(given, at.at("wound")),
        Some(Kind::Table(given)) => table(given, at.at("table")),
        Some(Kind::Spring(name)) => known.get(name).cloned().or(Some(PartKind::Straight {
            rate: SpringRate::from_si(1.0),
            stop: None,
        })),
        Some(Kind::Series(given)) => group(given, known, depth, at.at("series")).map(PartKind::Series),
        Some(Kind::Parallel(given)) => group(given, known, depth, at.at("parallel")).map(PartKind::Parallel),
    };
    Some(Part {
        label: message.label.clone(),
        kind: kind?,
        gap,
    })
}

fn group(message: &v1::PartGroup, known: &Known, depth: usize, mut at: Scope<'_>) -> Option<Vec<Part>> {
    let mut parts = at.at("parts");
    if message.parts.is_empty() {
        parts.push(Reason::WrongLength, "no parts; allowed 1 or more");
        return None;
    }
    let before = parts.count();
    let read = message.parts.iter().enumerate();
    let read: Vec<Part> = read
        .filter_map(|(index, given)| part(given, known, depth + 1, parts.index(index)))
        .collect();
    (parts.count() == before && read.len() == message.parts.len()).then_some(read)
}

fn straight(message: &v1::StraightPart, mut at: Scope<'_>) -> Option<PartKind> {
    let rate = required(message.rate.as_ref(), rate_range(), at.at("rate"));
    let stop = optional(message.stop_travel.as_ref(), length_range(), at.at("stop_travel"));
    Some(PartKind::Straight { rate: rate?, stop })
}

fn wound(message: &v1::WoundPart, mut at: Scope<'_>) -> Option<PartKind> {
    let sizes = Range::above_zero(1_000.0, LengthUnit::Millimeter);
    let wire = required(message.wire_diameter.as_ref(), sizes, at.at("wire_diameter"));
    let mean = required(message.mean_coil_diameter.as_ref(), sizes, at.at("mean_coil_diameter"));
    let modulus = required(message.shear_modulus.as_ref(), moduli(), at.at("shear_modulus"));
    let stop = optional(message.stop_travel.as_ref(), length_range(), at.at("stop_travel"));
    let count = needed(message.active_coil_count, 0.01, 1_000.0, at.at("active_coil_count"));
    let count = coils(count, at.at("active_coil_count"));
    Some(PartKind::Wound {
        wire_diameter: wire?,
        mean_coil_diameter: mean?,
        active_coil_count: count?,
        shear_modulus: modulus?,
        stop,
    })
}

pub(crate) fn table(message: &v1::TablePart, mut at: Scope<'_>) -> Option<PartKind> {
    let length = unit(message.deflection_unit, at.at("deflection_unit"));
    let force = unit(message.load_unit, at.at("load_unit"));
    for (name, values) in [("deflections", &message.deflections), ("loads", &message.loads)] {
        if let Some(index) = values.iter().position(|value| !value.is_finite()) {
            at.at(name).index(index).push(Reason::NotFinite, "value is not finite");
            return None;
        }
    }
    let count = message.deflections.len();
    if !(2..=MOST_TABLE).contains(&count) {
        at.at("deflections").push(
            Reason::WrongLength,
            format_args!("{count} deflections; allowed 2 to {MOST_TABLE}"),
        );
        return None;
    }
    if message.loads.len() != count {
        at.at("loads").push(
            Reason::WrongLength,
            format_args!(
                "{} loads; expected {count}, one for each deflection",
                message.loads.len()
            ),
        );
        return None;
    }
    let (length, force) = (length?, force?);
    Some(PartKind::Table {
        deflections: message
            .deflections
            .iter()
            .map(|s| Deflection::new(*s, length))
            .collect(),
        loads: message.loads.iter().map(|f| Load::new(*f, force)).collect(),
    })
}

/// The reply.
pub fn response(found: &AssemblyFound, units: UnitSystem) -> v1::EvaluateAssemblyResponse {
    v1::EvaluateAssemblyResponse {
        knots: knots(&found.curve, units),
        preload_force: Some(computed(found.preload_force, units)),
        initial_rate: Some(computed(found.initial_rate, units)),
        travel_to_solid: found.travel_to_solid.map(|value| computed(value, units)),
        stops: found
            .stops
            .iter()
            .map(|stop| v1::StopEvent {
                part: stop.part.clone(),
                load: Some(computed(stop.load, units)),
                deflection: Some(computed(stop.deflection, units)),
            })
            .collect(),
        points: found.points.iter().map(|at| point(at, units)).collect(),
        findings: findings(&found.findings),
        assumptions: assumptions(&found.assumptions),
        used: Vec::new(),
    }
}

fn point(at: &AssemblyPoint, units: UnitSystem) -> v1::AssemblyPoint {
    let share = |share: &Share| v1::PartShare {
        part: share.part.clone(),
        deflection: Some(computed(share.deflection, units)),
        load: Some(computed(share.load, units)),
        wahl_stress: share.wahl_stress.map(|value| computed(value, units)),
    };
    v1::AssemblyPoint {
        deflection: Some(computed(at.deflection, units)),
        load: Some(computed(at.load, units)),
        rate_before: Some(computed(at.rate_before, units)),
        rate_after: Some(computed(at.rate_after, units)),
        energy: Some(computed(at.energy, units)),
        shares: at.shares.iter().map(share).collect(),
    }
}
