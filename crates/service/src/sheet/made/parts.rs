//! Springs and stacks: what they are, drawn to scale where their records say how large they are.

use mechanics::chassis::End;
use mechanics::quantity::{Energy, EnergyUnit, LengthUnit, Quantity as _, StiffnessUnit, Unit as _, UnitSystem};
use wire::setup::unit;
use wire::v1;
use wire::v1::stack_valve::Source;
use wire::violation::Violations;

use super::{BOTH, Gathered, Record, end_word, fact, filled, plain, settings, short};
use crate::drawing::{self, Coil};
use crate::sheet::content::{Fact, Part, Picture};

/// Units of both ends as they left, then their stacks. What is not drawn is told with what would show it.
pub(super) fn parts(gathered: &Gathered, not_known: &mut Vec<String>) -> Vec<Part> {
    let mut parts: Vec<Part> = BOTH
        .into_iter()
        .filter_map(|end| fitted(gathered, end, not_known))
        .collect();
    for end in BOTH {
        parts.extend(stacks(gathered, end, not_known));
    }
    parts
}

fn fitted(gathered: &Gathered, end: v1::MachineEnd, not_known: &mut Vec<String>) -> Option<Part> {
    let unit = gathered.unit(end, true)?;
    let word = end_word(end);
    let title = match unit.label.trim() {
        "" => word.to_owned(),
        label => format!("{word}: {label}"),
    };
    let mut facts: Vec<Fact> = fact("Travel", short(unit.travel.as_ref(), gathered.units))
        .into_iter()
        .collect();
    let alike = unit.legs.windows(2).all(|legs| match legs {
        [first, second] => first == second,
        _ => true,
    });
    let shown = if alike { 1 } else { unit.legs.len() };
    for (index, leg) in unit.legs.iter().take(shown).enumerate() {
        let place = match (end, unit.legs.len(), index) {
            (v1::MachineEnd::Front, _, _) if alike => ", each leg",
            (v1::MachineEnd::Front, 2, 0) => ", left leg",
            (v1::MachineEnd::Front, 2, _) => ", right leg",
            _ => "",
        };
        facts.extend(leg_facts(gathered, leg, place));
        facts.extend(fact(
            &format!("Stored at full travel{place}"),
            energy(gathered, leg, end),
        ));
    }
    let picture = unit.legs.first().and_then(|leg| spring(gathered, leg, end, not_known));
    Some(Part {
        title,
        facts,
        picture,
        narrow: false,
    })
}

/// The spring with its record and mark, and the damper.
fn leg_facts(gathered: &Gathered, leg: &v1::LegValues, place: &str) -> Vec<Fact> {
    let marked = leg.marking.as_ref().and_then(|marking| filled(&marking.text));
    let besides = [filled(&leg.spring), marked.map(|text| format!("marked {text}"))];
    let besides: Vec<String> = besides.into_iter().flatten().collect();
    let spring = match (settings::rate(gathered, leg), besides.join(", ")) {
        (Some(rate), besides) if besides.is_empty() => Some(rate),
        (Some(rate), besides) => Some(format!("{rate} ({besides})")),
        (None, besides) => filled(&besides),
    };
    let rows = [("Spring", spring), ("Damper", filled(&leg.damper))];
    rows.into_iter()
        .filter_map(|(what, figure)| fact(&format!("{what}{place}"), figure))
        .collect()
}

/// The first leg's spring from its side.
fn spring(
    gathered: &Gathered,
    leg: &v1::LegValues,
    end: v1::MachineEnd,
    not_known: &mut Vec<String>,
) -> Option<Picture> {
    let what = format!("{} spring, not drawn", end_word(end).to_lowercase());
    let mut record = gathered.fitted.springs.iter();
    let entered = match record
        .find(|record| record.name == leg.spring)
        .map(|record| &record.found)
    {
        Some(Ok(spring)) => &spring.entered,
        Some(Err(why)) => {
            not_known.push(format!("{what}: {why}"));
            return None;
        }
        None => {
            not_known.push(format!(
                "{what}: a spring of the rack with its wire, coils and lengths would show it"
            ));
            return None;
        }
    };
    match sized(entered, leg) {
        Err(missing) => {
            not_known.push(format!("{what}: {} on its record would show it", missing.join(", ")));
            None
        }
        Ok(sizes) => {
            let id = if end == v1::MachineEnd::Front {
                "front-spring"
            } else {
                "rear-spring"
            };
            let drawn = Coil {
                id,
                free: sizes.free,
                wire: sizes.wire,
                outside: sizes.outside,
                active: sizes.active,
                total: sizes.total,
                lengths: lengths(gathered, leg, end, &sizes),
            }
            .drawn();
            if drawn.is_none() {
                not_known.push(format!("{what}: the sizes on its record contradict one another"));
            }
            let units = gathered.units;
            let assumed = if sizes.ends_assumed {
                ", two of them at the ends, assumed"
            } else {
                ""
            };
            Some(Picture {
                caption: format!(
                    "Unloaded, to scale: {} coils{assumed}, wire {}, {} outside, {} free",
                    sizes.total,
                    length(sizes.wire, units, 1),
                    length(sizes.outside, units, 1),
                    length(sizes.free, units, 0)
                ),
                svg: drawn?.into_string(),
                plot: false,
            })
        }
    }
}

/// Sizes of a spring, mm.
struct Sizes {
    free: f64,
    solid: Option<f64>,
    wire: f64,
    outside: f64,
    active: f64,
    total: f64,
    /// Whether one count of coils was taken from the other.
    ends_assumed: bool,
}

/// Coils at the ends that do not give, where only one count is known (common practice, no source).
const END_COILS: f64 = 2.0;

/// The sizes of a record, or which are missing.
fn sized(spring: &v1::Spring, leg: &v1::LegValues) -> Result<Sizes, Vec<&'static str>> {
    let free = millimeters(spring.free_length.as_ref()).or(millimeters(leg.free_length.as_ref()));
    let wire = millimeters(spring.wire_diameter.as_ref());
    let inside = millimeters(spring.inside_diameter.as_ref()).zip(wire);
    let outside = millimeters(spring.outside_diameter.as_ref()).or(inside.map(|(inside, wire)| inside + 2.0 * wire));
    let coils = match (spring.active_coil_count, spring.total_coil_count) {
        (Some(active), Some(total)) => Some((active, total, false)),
        (Some(active), None) => Some((active, active + END_COILS, true)),
        (None, Some(total)) => Some((total - END_COILS, total, true)),
        (None, None) => None,
    };
    if let (Some(free), Some(wire), Some(outside), Some((active, total, ends_assumed))) = (free, wire, outside, coils) {
        return Ok(Sizes {
            free,
            solid: millimeters(spring.solid_length.as_ref()).or(millimeters(leg.solid_length.as_ref())),
            wire,
            outside,
            active,
            total,
            ends_assumed,
        });
    }
    let named = [
        ("free length", free.is_none()),
        ("wire diameter", wire.is_none()),
        ("coil diameter", outside.is_none()),
        ("coils", coils.is_none()),
    ];
    Err(named
        .into_iter()
        .filter(|(_, missing)| *missing)
        .map(|(name, _)| name)
        .collect())
}

/// Lengths of the spring in its leg, mm, with their words.
fn lengths(gathered: &Gathered, leg: &v1::LegValues, end: v1::MachineEnd, sizes: &Sizes) -> Vec<(f64, String)> {
    let units = gathered.units;
    let mut lengths = Vec::new();
    if let Some(preload) = preload(gathered, leg, end) {
        lengths.push((sizes.free - preload, "fitted"));
    }
    if let Some(pressed) = pressed(gathered, leg, end) {
        lengths.push((sizes.free - pressed, "full travel"));
    }
    lengths.extend(sizes.solid.map(|solid| (solid, "solid")));
    let worded = lengths.into_iter().filter(|(at, _)| *at > 0.0);
    worded
        .map(|(at, word)| (at, format!("{word} {}", length(at, units, 0))))
        .collect()
}

/// How far a spring is pressed at full extension, mm.
fn preload(gathered: &Gathered, leg: &v1::LegValues, end: v1::MachineEnd) -> Option<f64> {
    let set = gathered.state(end, true).and_then(|state| state.preload.as_ref());
    millimeters(set.or(leg.preload.as_ref()))
}

/// How far a spring is pressed at full travel, mm.
fn pressed(gathered: &Gathered, leg: &v1::LegValues, end: v1::MachineEnd) -> Option<f64> {
    let which = match end {
        v1::MachineEnd::Front => End::Front,
        _ => End::Rear,
    };
    let mut ignored = Violations::new();
    let path = unit::model(gathered.machine(true), which, &[], 1.0, ignored.root()).path?;
    Some(preload(gathered, leg, end)? + path.axial_travel().get(LengthUnit::Millimeter))
}

/// What a spring stores at full travel, taken for a straight one: `k x^2/2`.
fn energy(gathered: &Gathered, leg: &v1::LegValues, end: v1::MachineEnd) -> Option<String> {
    let rate = settings::given_rate(gathered, leg)?;
    let rate = wire::quantity::stated(Some(rate))?
        .in_unit(StiffnessUnit::NewtonPerMillimeter)
        .value();
    let pressed = pressed(gathered, leg, end).filter(|pressed| *pressed > 0.0)?;
    let joules = rate * pressed * pressed / 2e3;
    let energy: v1::Energy = wire::quantity::computed(Energy::new(joules, EnergyUnit::Joule), gathered.units);
    let stated = wire::quantity::stated(Some(&energy))?;
    Some(format!("about {:.0} {}", stated.value(), stated.unit().row().symbol))
}

fn millimeters(given: Option<&v1::Length>) -> Option<f64> {
    let given = wire::quantity::stated(given)?;
    Some(given.in_unit(LengthUnit::Millimeter).value())
}

/// A length of so many millimetres in the units asked for, to so many places of a millimetre.
fn length(millimeters: f64, units: UnitSystem, places: usize) -> String {
    let unit = LengthUnit::of_system(units);
    let places = if unit == LengthUnit::Millimeter {
        places
    } else {
        places + 2
    };
    let value = mechanics::quantity::Length::new(millimeters, LengthUnit::Millimeter).get(unit);
    format!("{} {}", plain(&format!("{value:.places$}")), unit.row().symbol)
}

/// Compression and rebound stack of an end, each once; where they are the same one, drawn once for both.
fn stacks(gathered: &Gathered, end: v1::MachineEnd, not_known: &mut Vec<String>) -> Vec<Part> {
    let word = end_word(end);
    let legs = gathered.unit(end, true).map(|unit| unit.legs.as_slice());
    let mut found: Vec<(&str, String, v1::Stack)> = Vec::new();
    for leg in legs.unwrap_or_default() {
        for (stroke, named) in [("compression", &leg.compression_stack), ("rebound", &leg.rebound_stack)] {
            if found.iter().any(|(known, ..)| *known == stroke) {
                continue;
            }
            match stack(gathered, leg, stroke, named) {
                None => {}
                Some(Ok((name, stack))) => found.push((stroke, name, stack)),
                Some(Err(why)) => not_known.push(format!("{} {stroke} stack, not drawn: {why}", word.to_lowercase())),
            }
        }
    }
    let both = match found.as_slice() {
        [(_, first, one), (_, second, other)] => first == second && one == other,
        _ => false,
    };
    if both {
        found.truncate(1);
    }
    let parts = found.iter().filter_map(|(stroke, name, stack)| {
        let strokes = if both { "compression and rebound" } else { stroke };
        section(gathered, (&format!("{word} {strokes} stack"), name), stack, not_known)
    });
    parts.collect()
}

/// The stack of a stroke with its name: the leg's own, else that of its damper. `None`: nobody says which it is.
fn stack(
    gathered: &Gathered,
    leg: &v1::LegValues,
    stroke: &str,
    named: &str,
) -> Option<Result<(String, v1::Stack), String>> {
    let of_name = |name: &str| {
        let record = gathered.fitted.stacks.iter().find(|record| record.name == name)?;
        Some(record.found.clone().map(|stack| (name.to_owned(), stack)))
    };
    if !named.is_empty() {
        return of_name(named);
    }
    let damper = Record::of(&gathered.fitted.dampers, &leg.damper)?;
    let circuit = match stroke {
        "rebound" => damper.entered.rebound.as_ref(),
        _ => damper.entered.compression.as_ref(),
    };
    match circuit?.valve.as_ref()?.source.as_ref()? {
        Source::Stack(name) => of_name(name),
        Source::Values(values) => Some(Ok((leg.damper.clone(), values.clone()))),
        Source::Straight(_) => None,
    }
}

/// A stack with its section, flat.
fn section(
    gathered: &Gathered,
    (title, name): (&str, &str),
    stack: &v1::Stack,
    not_known: &mut Vec<String>,
) -> Option<Part> {
    let mut faults = Violations::new();
    let read = wire::valving::stack::stack(stack, faults.root());
    let Some(read) = read else {
        not_known.push(format!(
            "{}, not drawn: its record is not complete",
            title.to_lowercase()
        ));
        return None;
    };
    let id = title.to_lowercase().replace(' ', "-");
    let drawn = drawing::section(&drawing::Section {
        stack: &read,
        solved: None,
        units: gathered.units,
        id: &id,
        brief: true,
    });
    let shims = mechanics::valving::stack::text::write(&read.layers, LengthUnit::of_system(gathered.units));
    Some(Part {
        title: title.to_owned(),
        facts: fact(&format!("{name}, from the piston outward"), Some(shims))
            .into_iter()
            .collect(),
        picture: Some(Picture {
            caption: String::new(),
            svg: drawn.into_string(),
            plot: false,
        }),
        narrow: true,
    })
}
