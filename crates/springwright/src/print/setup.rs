//! Springs that may be chosen as a table, and what is said of each.

use std::fmt::Write as _;

use prost_reflect::{DynamicMessage, ReflectMessage as _, Value};
use wire::v1;

use super::figures::{self, Exactness};
use super::said;
use super::table::Table;
use super::typed::{Shown, shown};

/// Fields of a choice that its table shows.
pub(super) const RANKED: &[&str] = &["ranked"];

fn cell<Q: Shown>(quantity: Option<&Q>) -> String {
    shown(quantity).unwrap_or_default()
}

fn number(value: f64) -> String {
    figures::number(value, 0, Exactness::Computed)
}

/// The candidates, the nearest first; then why some do not do, and what is said of all or of one.
pub(super) fn chosen(reply: &v1::ChooseSpringResponse) -> String {
    let mut table = Table::new([
        "spring",
        "rate",
        "known",
        "preload",
        "static sag",
        "total sag",
        "static share",
        "travel left",
        "bind margin",
        "distance",
        "",
    ]);
    for one in &reply.ranked {
        let verdict = match (one.fits, one.ties_with_best) {
            (false, _) => "does not do",
            (true, true) => "as good as the first",
            (true, false) => "",
        };
        table.row([
            name(one),
            cell(one.rate.as_ref()),
            (if one.measured { "measured" } else { "marked" }).to_owned(),
            cell(one.preload.as_ref()),
            cell(one.static_sag.as_ref()),
            cell(one.total_sag.as_ref()),
            number(one.static_ratio),
            cell(one.travel_case_left.as_ref()),
            cell(one.bind_margin.as_ref()),
            number(one.distance_factor),
            verdict.to_owned(),
        ]);
    }
    let mut text: String = table.lines().map(|row| format!("{}\n", row.trim_end())).collect();
    for one in &reply.ranked {
        for rejection in &one.rejections {
            let _ = writeln!(text, "{}: {}", name(one), rejection.text);
        }
    }
    text.push_str(&of_springs(reply));
    text
}

/// Findings of single springs, each once; with the spring's name where not every one has it.
fn of_springs(reply: &v1::ChooseSpringResponse) -> String {
    let mut told: Vec<v1::Finding> = Vec::new();
    for one in &reply.ranked {
        for finding in &one.findings {
            let everywhere = reply.ranked.iter().all(|other| other.findings.contains(finding));
            let mut finding = finding.clone();
            if !everywhere {
                finding.message = format!("{}: {}", name(one), finding.message);
            }
            if !told.contains(&finding) {
                told.push(finding);
            }
        }
    }
    said::findings(&told)
}

fn name(one: &v1::RankedSpring) -> String {
    let labels: Vec<&str> = one
        .labels
        .iter()
        .map(String::as_str)
        .filter(|label| !label.is_empty())
        .collect();
    if labels.is_empty() {
        let places: Vec<String> = one.candidate_indexes.iter().map(|place| format!("#{place}")).collect();
        return places.join(" with ");
    }
    labels.join(" with ")
}

/// A reply on sag without the budgets of its lengths: they are all of the same two rows.
pub(super) fn without_budgets(message: &DynamicMessage) -> DynamicMessage {
    let mut rest = message.clone();
    for field in message.descriptor().fields().filter(|field| message.has_field(field)) {
        if let Value::Message(inner) = rest.get_field_mut(&field)
            && inner.descriptor().name() == "LengthEstimate"
        {
            inner.clear_field_by_name("budget");
        }
    }
    rest
}
