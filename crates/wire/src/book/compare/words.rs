//! The trade's words for the fields of a setup.

use crate::setup::words;
use crate::v1::MachineEnd;

/// What a field is called, and whose end it is.
pub(super) fn label(field: &str) -> (String, MachineEnd) {
    let mut end = MachineEnd::Unspecified;
    let mut parts: Vec<String> = Vec::new();
    let mut last = String::new();
    for step in field.split('.').skip(1) {
        let (name, index) = match step.split_once('[') {
            Some((name, index)) => (name, index.strip_suffix(']').or(Some(index))),
            None => (step, None),
        };
        match (name, index) {
            ("front", None) => {
                end = MachineEnd::Front;
                parts.push("front".to_owned());
            }
            ("rear", None) => {
                end = MachineEnd::Rear;
                parts.push("rear".to_owned());
            }
            ("legs" | "leg_preloads" | "oils", Some(index)) => {
                parts.push(leg(index, end).to_owned());
                if name != "legs" {
                    last = words(name);
                }
            }
            ("adjusters", Some(circuit)) => {
                parts.push(words::circuit(circuit.parse().unwrap_or(0)).to_owned());
            }
            // The leg of an adjuster stands behind its circuit.
            (leg, None) if leg.ends_with(']') => {
                let right = leg.starts_with('2');
                parts.push(if right { "(right leg)" } else { "(left leg)" }.to_owned());
            }
            (name, _) => {
                if !last.is_empty() {
                    parts.push(std::mem::take(&mut last));
                }
                last = words(name);
            }
        }
    }
    parts.push(last);
    parts.retain(|part| !part.is_empty());
    (parts.join(" "), end)
}

/// Which leg of a fork, seated; a single shock needs no word.
fn leg(index: &str, end: MachineEnd) -> &'static str {
    match (end, index) {
        (MachineEnd::Front, "0") => "left leg",
        (MachineEnd::Front, _) => "right leg",
        (_, "0") => "shock",
        _ => "second shock",
    }
}

fn words(name: &str) -> String {
    match name {
        "position_from_closed" => "from closed",
        "range_count" => "range",
        "closed_to_open_force_ratio" => "force closed over open",
        "leg_preloads" => "preload",
        "tyre_gauge_pressure" => "tyre pressure",
        "charge_gauge_pressure" => "air or gas pressure over the surrounding air",
        "charge_absolute_pressure" => "air or gas pressure, absolute",
        "sag" => "sag reading",
        "alone" => "machine alone",
        "with_rider" => "with the rider",
        "extended" => "fully extended",
        "mass_alone" => "mass on the wheel, machine alone",
        "mass_with_rider" => "mass on the wheel with the rider",
        "oils" | "oil" => "oil",
        "level_measure" => "level measured with the leg",
        "fork_height" => "fork tubes above the upper clamp",
        "gravity_ahead" => "centre of gravity ahead of the rear contact",
        "gravity_height" => "centre of gravity above the ground",
        "linkage_readings" => "linkage readings",
        "values" => "",
        other => return other.replace('_', " "),
    }
    .to_owned()
}

/// A change in words.
pub(super) fn change(field: &str, amount: f64, unit: &str) -> String {
    let unit = match (unit, amount.abs() == 1.0) {
        ("clicks", true) => "click",
        ("turns", true) => "turn",
        ("days", true) => "day",
        (unit, _) => unit,
    };
    let way = match (field.ends_with("position_from_closed"), amount > 0.0) {
        (true, true) => "further open",
        (true, false) => "further closed",
        (false, true) => "more",
        (false, false) => "less",
    };
    let space = if unit.is_empty() { "" } else { " " };
    // Six figures are more than anybody reads.
    let shown: f64 = format!("{:.5e}", amount.abs()).parse().unwrap_or(amount);
    format!("{shown}{space}{unit} {way}")
}
