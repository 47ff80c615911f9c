//! Curves of dampers and comparisons as tables; what is said beside them is printed like everything else.

use wire::v1;

use super::figures::per_cent;
use super::table::Table;
use super::typed::{Shown, shown};

/// Fields of a damper's reply that its table shows.
pub(super) const OF_DAMPER: &[&str] = &["points", "marks"];
/// Fields of a comparison that its tables show, or that are tables of many points.
pub(super) const OF_COMPARISON: &[&str] = &[
    "stack_differences",
    "stack_curve",
    "damper_differences",
    "damper_curve",
    "first_events",
    "second_events",
    "first_marks",
    "second_marks",
];

fn cell<Q: Shown>(quantity: Option<&Q>) -> String {
    shown(quantity).unwrap_or_default()
}

fn lines(heading: &str, table: &Table) -> String {
    let rows: Vec<String> = table.lines().map(|row| format!("  {}\n", row.trim_end())).collect();
    format!("{heading}\n{}", rows.concat())
}

/// Force against velocity, split by path, and the velocities that matter.
pub(crate) fn damper(reply: &v1::EvaluateDamperResponse) -> String {
    let mut table = Table::new([
        "velocity",
        "force",
        "hydraulic",
        "gas",
        "friction",
        "drop",
        "stack",
        "bleed",
        "leak",
        "",
    ]);
    for point in &reply.points {
        let split = point.piston.unwrap_or_default();
        table.row([
            cell(point.shaft_velocity.as_ref()),
            cell(point.force.as_ref()),
            cell(point.hydraulic_force.as_ref()),
            cell(point.gas_force.as_ref()),
            cell(point.friction_force.as_ref()),
            cell(split.drop.as_ref()),
            cell(split.valve.as_ref()),
            cell(split.bleed.as_ref()),
            cell(split.leak.as_ref()),
            (if point.cavitates { "cavitates" } else { "" }).to_owned(),
        ]);
    }
    let mut text = lines("force against velocity; flows through the piston", &table);
    text.push_str(&marks("what happens on the way", &reply.marks));
    text
}

fn marks(heading: &str, marks: &[v1::VelocityMark]) -> String {
    if marks.is_empty() {
        return String::new();
    }
    let mut table = Table::new(["velocity", "circuit", ""]);
    for mark in marks {
        let what = match mark.kind() {
            v1::velocity_mark::Kind::Opens => "the stack opens",
            v1::velocity_mark::Kind::Stage => "a further stage works",
            v1::velocity_mark::Kind::Stop => "the stop is reached",
            v1::velocity_mark::Kind::Unspecified => "",
        };
        table.row([cell(mark.shaft_velocity.as_ref()).as_str(), circuit(mark.place()), what]);
    }
    lines(heading, &table)
}

fn circuit(place: v1::CircuitPlace) -> &'static str {
    match place {
        v1::CircuitPlace::Compression => "compression",
        v1::CircuitPlace::Rebound => "rebound",
        v1::CircuitPlace::BaseCompression => "base, compression",
        v1::CircuitPlace::BaseRebound => "base, rebound",
        v1::CircuitPlace::Unspecified => "",
    }
}

/// The second of two against the first at low, middle and high.
pub(crate) fn comparison(reply: &v1::CompareStacksResponse) -> String {
    let mut text = String::new();
    if !reply.stack_differences.is_empty() {
        let mut table = Table::new(["pressure", "first opens", "second opens", "difference", "second is"]);
        for at in &reply.stack_differences {
            table.row([
                cell(at.pressure.as_ref()),
                cell(at.first_opening.as_ref()),
                cell(at.second_opening.as_ref()),
                cell(at.opening_difference.as_ref()),
                at.stiffness_ratio
                    .map(|ratio| changed(ratio, "stiffer", "softer"))
                    .unwrap_or_default(),
            ]);
        }
        text.push_str(&lines("the second stack against the first", &table));
        text.push_str(&events("what happens to the first", &reply.first_events));
        text.push_str(&events("what happens to the second", &reply.second_events));
    }
    if !reply.damper_differences.is_empty() {
        let mut table = Table::new(["velocity", "first", "second", "difference", "second is"]);
        for at in &reply.damper_differences {
            table.row([
                cell(at.shaft_velocity.as_ref()),
                cell(at.first_force.as_ref()),
                cell(at.second_force.as_ref()),
                cell(at.force_difference.as_ref()),
                at.force_ratio
                    .map(|ratio| changed(ratio, "more", "less"))
                    .unwrap_or_default(),
            ]);
        }
        text.push_str(&lines("the second damper against the first", &table));
        text.push_str(&marks("what happens to the first", &reply.first_marks));
        text.push_str(&marks("what happens to the second", &reply.second_marks));
    }
    text
}

/// `12 % stiffer`.
fn changed(ratio: f64, more: &str, less: &str) -> String {
    let share = ((ratio - 1.0) * 1000.0).round() / 1000.0;
    match share {
        share if share > 0.0 => format!("{} {more}", per_cent(share)),
        share if share < 0.0 => format!("{} {less}", per_cent(-share)),
        _ => "the same".to_owned(),
    }
}

fn events(heading: &str, events: &[v1::StackEvent]) -> String {
    if events.is_empty() {
        return String::new();
    }
    let mut table = Table::new(["pressure", "lift", ""]);
    for event in events {
        let what = match event.kind() {
            v1::stack_event::Kind::Cracks => "it leaves the seat all round",
            v1::stack_event::Kind::StageCloses => "a gap closes: the next stage works",
            v1::stack_event::Kind::StopReached => "the stop is reached",
            v1::stack_event::Kind::Unspecified => "",
        };
        table.row([
            cell(event.pressure.as_ref()).as_str(),
            &cell(event.edge_lift.as_ref()),
            what,
        ]);
    }
    lines(heading, &table)
}
