//! Springs and stacks: what they are, drawn to scale where their records say how large they are.

use mechanics::quantity::LengthUnit;
use mechanics::quantity::Unit as _;
use wire::v1;
use wire::v1::stack_valve::Source;
use wire::violation::Violations;

use super::{BOTH, Gathered, Record, end_word, fact, filled, settings};
use crate::drawing;
use crate::page::words::entered_in;
use crate::sheet::content::{Fact, Part, Picture};

/// Units of both ends as they left, then their stacks. What is not drawn is told with what would show it.
pub(super) fn parts(gathered: &Gathered, not_known: &mut Vec<String>) -> Vec<Part> {
    let mut parts: Vec<Part> = BOTH
        .into_iter()
        .filter_map(|end| unit(gathered, end, not_known))
        .collect();
    for end in BOTH {
        parts.extend(stacks(gathered, end, not_known));
    }
    parts
}

fn unit(gathered: &Gathered, end: v1::MachineEnd, not_known: &mut Vec<String>) -> Option<Part> {
    let unit = gathered.unit(end, true)?;
    let word = end_word(end);
    let title = match unit.label.trim() {
        "" => word.to_owned(),
        label => format!("{word}: {label}"),
    };
    let mut facts: Vec<Fact> = fact("Travel", entered_in(unit.travel.as_ref(), gathered.units))
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
    }
    let picture = unit.legs.first().and_then(|leg| spring(gathered, leg, end, not_known));
    Some(Part { title, facts, picture })
}

fn leg_facts(gathered: &Gathered, leg: &v1::LegValues, place: &str) -> Vec<Fact> {
    let marked = leg.marking.as_ref().and_then(|marking| filled(&marking.text));
    let rows = [
        ("Spring", settings::rate(gathered, leg)),
        ("Spring, record", filled(&leg.spring)),
        ("Spring, mark", marked),
        ("Preload", entered_in(leg.preload.as_ref(), gathered.units)),
        ("Damper", filled(&leg.damper)),
    ];
    rows.into_iter()
        .filter_map(|(what, figure)| fact(&format!("{what}{place}"), figure))
        .collect()
}

/// The first leg's spring from its side.
fn spring(_: &Gathered, _: &v1::LegValues, _: v1::MachineEnd, _: &mut Vec<String>) -> Option<Picture> {
    None
}

/// Compression and rebound stack of an end, each once.
fn stacks(gathered: &Gathered, end: v1::MachineEnd, not_known: &mut Vec<String>) -> Vec<Part> {
    let legs = gathered.unit(end, true).map(|unit| unit.legs.as_slice());
    let mut parts: Vec<Part> = Vec::new();
    for leg in legs.unwrap_or_default() {
        for (stroke, named) in [("compression", &leg.compression_stack), ("rebound", &leg.rebound_stack)] {
            let title = format!("{} {stroke} stack", end_word(end));
            if parts.iter().any(|part| part.title.starts_with(&title)) {
                continue;
            }
            match stack(gathered, leg, stroke, named) {
                None => {}
                Some(Ok((name, stack))) => parts.extend(section(gathered, (&title, &name), &stack, not_known)),
                Some(Err(why)) => not_known.push(format!("{}, not drawn: {why}", title.to_lowercase())),
            }
        }
    }
    parts
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
    let label = match stack.label.trim() {
        "" => name.to_owned(),
        label => format!("{label} ({name})"),
    };
    Some(Part {
        title: format!("{title}: {label}"),
        facts: fact("From the piston outward", Some(shims)).into_iter().collect(),
        picture: Some(Picture {
            caption: String::new(),
            svg: drawn.into_string(),
            plot: false,
        }),
    })
}
