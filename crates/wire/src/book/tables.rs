//! Checks of the shop's prices and rules, and the rules as they are told.

use std::time::Duration;

use mechanics::judgement::{Ends, InForce, OwnRule, RuleTable, TableError, Threshold};
use mechanics::quantity::{AngleUnit, LengthUnit, Quantity, StiffnessUnit, UnitSystem};

use super::{age, at_most, known, required};
use crate::quantity::{Range, computed, entered, number};
use crate::records::{LONG_TEXT, SHORT_TEXT, text};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::v1::rule::Threshold as Sent;
use crate::violation::{Scope, Violations};

/// Rows of a table.
pub const MAX_ROWS: usize = 200;

/// Checks prices as entered; the currency is required where the whole record is given.
pub fn price_list(list: &v1::PriceList, whole: bool, mut at: Scope<'_>) {
    let code = list.currency_code.as_bytes();
    let good = code.len() == 3 && code.iter().all(u8::is_ascii_uppercase);
    if code.is_empty() && whole && !list.rows.is_empty() {
        at.at("currency_code")
            .push(Reason::ValueMissing, "prices need their currency, a code of ISO 4217");
    } else if !code.is_empty() && !good {
        let shown: String = list.currency_code.chars().take(20).collect();
        at.at("currency_code").push(
            Reason::OutOfRange,
            format_args!("\"{shown}\" is no currency; allowed three capital letters of ISO 4217"),
        );
    }
    if !at_most(list.rows.len(), MAX_ROWS, at.at("rows")) {
        return;
    }
    for (index, row) in list.rows.iter().enumerate() {
        price_row(row, at.at("rows").index(index));
        let again = list.rows.iter().take(index).any(|other| other.label == row.label);
        if again && !row.label.is_empty() {
            at.at("rows")
                .index(index)
                .at("label")
                .push(Reason::Conflict, "the label stands here more than once");
        }
    }
}

fn price_row(row: &v1::PriceRow, mut at: Scope<'_>) {
    if row.label.is_empty() {
        at.at("label").push(Reason::ValueMissing, "a price needs its label");
    }
    text(&row.label, SHORT_TEXT, at.at("label"));
    required::<v1::Remedy>(row.remedy, "what is done", at.at("remedy"));
    required::<v1::MachineEnd>(row.end, "an end, front, rear or either,", at.at("end"));
    money(row.price.as_ref(), at.at("price"));
    known::<v1::DamperType>(row.damper_type, at.at("damper_type"));
    text(&row.notes, LONG_TEXT, at.at("notes"));
}

fn money(money: Option<&v1::Money>, mut at: Scope<'_>) {
    const MOST: i64 = 1_000_000_000;
    let Some(money) = money else {
        at.push(Reason::ValueMissing, "a price is required");
        return;
    };
    match money.units {
        None => at
            .at("units")
            .push(Reason::ValueMissing, "whole units of the currency are required"),
        Some(units) if !(0..=MOST).contains(&units) => at.at("units").push(
            Reason::OutOfRange,
            format_args!("units is {units}; allowed 0 to {MOST}"),
        ),
        Some(_) => {}
    }
    if !(0..1_000_000_000).contains(&money.nanos) {
        at.at("nanos").push(
            Reason::OutOfRange,
            format_args!("nanos is {}; allowed 0 to 999,999,999", money.nanos),
        );
    }
}

/// Checks the shop's own rules; every one is held against the shipped ones.
pub fn rule_table(table: &v1::RuleTable, mut at: Scope<'_>) {
    if !at_most(table.overrides.len(), MAX_ROWS, at.at("overrides")) {
        return;
    }
    let read =
        |(index, rule): (usize, &v1::Rule)| own_rule(rule, at.at("overrides").index(index)).map(|own| (index, own));
    let own: Vec<(usize, OwnRule)> = table.overrides.iter().enumerate().filter_map(read).collect();
    let (places, rules): (Vec<usize>, Vec<OwnRule>) = own.into_iter().unzip();
    // The revision counts in the version only.
    let Err(refused) = RuleTable::with(&rules, 0) else {
        return;
    };
    for error in refused {
        let Some(index) = places.get(error.index()) else {
            continue;
        };
        let mut at = at.at("overrides");
        let mut row = at.index(*index);
        match &error {
            TableError::UnknownRule { .. } => row.at("id").push(Reason::UnknownName, &error),
            TableError::EndMissing { .. } => row.at("end").push(Reason::ValueMissing, &error),
            TableError::OtherEnd { .. } => row.at("end").push(Reason::OutOfRange, &error),
            TableError::WrongUnit { .. } => row.at("threshold").push(Reason::Conflict, &error),
            TableError::OutOfRange { .. } => {
                let field = field_of(table.overrides.get(*index));
                row.at(field).push(Reason::OutOfRange, &error);
            }
            TableError::Twice { .. } | TableError::Crossed { .. } => row.push(Reason::Conflict, &error),
        }
    }
}

/// The field a threshold stands in, down to its number.
fn field_of(rule: Option<&v1::Rule>) -> &'static str {
    match rule.and_then(|rule| rule.threshold.as_ref()) {
        Some(Sent::Length(_)) => "length.value",
        Some(Sent::Ratio(_)) => "ratio",
        Some(Sent::Stiffness(_)) => "stiffness.value",
        Some(Sent::Angle(_)) => "angle.value",
        Some(Sent::StepCount(_)) => "step_count",
        Some(Sent::Age(_)) => "age",
        None => "threshold",
    }
}

/// A shop's own row, its end and number checked for themselves.
fn own_rule(rule: &v1::Rule, mut at: Scope<'_>) -> Option<OwnRule> {
    text(&rule.tests, SHORT_TEXT, at.at("tests"));
    text(&rule.text, LONG_TEXT, at.at("text"));
    if rule.id.is_empty() {
        at.at("id").push(Reason::ValueMissing, "a row needs the id of its rule");
    }
    text(&rule.id, SHORT_TEXT, at.at("id"));
    let ends = required::<v1::MachineEnd>(rule.end, "an end, front, rear or either,", at.at("end"));
    let threshold = threshold(rule, &mut at);
    (!rule.id.is_empty() && rule.id.len() <= SHORT_TEXT).then_some(())?;
    Some(OwnRule {
        id: rule.id.clone(),
        ends: Some(ends_of(ends?)),
        threshold: threshold?,
    })
}

fn threshold(rule: &v1::Rule, at: &mut Scope<'_>) -> Option<Threshold> {
    // As wide as anybody could mean; what a rule takes is narrower and its own.
    const MOST: f64 = 1e6;
    Some(match &rule.threshold {
        None => {
            at.at("threshold")
                .push(Reason::ValueMissing, "a row needs its threshold");
            return None;
        }
        Some(Sent::Length(length)) => {
            let range = Range::from_zero(MOST, LengthUnit::Millimeter);
            Threshold::Length(Quantity::of(entered(length, range, at.at("length"))?))
        }
        Some(Sent::Stiffness(rate)) => {
            let range = Range::from_zero(MOST, StiffnessUnit::NewtonPerMillimeter);
            Threshold::Rate(Quantity::of(entered(rate, range, at.at("stiffness"))?))
        }
        Some(Sent::Angle(angle)) => {
            let range = Range::between(0.0, 360.0, AngleUnit::Degree);
            Threshold::Angle(Quantity::of(entered(angle, range, at.at("angle"))?))
        }
        Some(Sent::Ratio(ratio)) => Threshold::Ratio(number(Some(*ratio), 0.0, MOST, at.at("ratio"))?),
        Some(Sent::StepCount(steps)) => Threshold::Steps(number(Some(*steps), 0.0, MOST, at.at("step_count"))?),
        Some(Sent::Age(given)) => {
            age(Some(given), at.at("age"));
            let seconds = u64::try_from(given.seconds).ok()?;
            Threshold::Age(Duration::new(seconds, u32::try_from(given.nanos).ok()?))
        }
    })
}

fn ends_of(end: v1::MachineEnd) -> Ends {
    match end {
        v1::MachineEnd::Front => Ends::Front,
        v1::MachineEnd::Rear => Ends::Rear,
        v1::MachineEnd::Either | v1::MachineEnd::Unspecified => Ends::Either,
    }
}

/// The rules in force under rows that were checked before.
///
/// # Errors
/// Rows that a newer set of shipped rules no longer takes.
pub fn in_force(overrides: &[v1::Rule], revision: u64) -> Result<RuleTable, Vec<TableError>> {
    let mut ignored = Violations::new();
    let own: Vec<OwnRule> = overrides
        .iter()
        .filter_map(|rule| own_rule(rule, ignored.root()))
        .collect();
    RuleTable::with(&own, revision)
}

/// Rows as they are told: a shop's own words stand where it wrote some.
pub fn rules(table: &RuleTable, overrides: &[v1::Rule]) -> Vec<v1::Rule> {
    let words = |id: &str, end: v1::MachineEnd| {
        let own = overrides.iter().find(|rule| rule.id == id && rule.end == end as i32);
        own.map_or(("", ""), |rule| (rule.tests.as_str(), rule.text.as_str()))
    };
    let row = |row: InForce| {
        let end = match row.ends {
            Ends::Front => v1::MachineEnd::Front,
            Ends::Rear => v1::MachineEnd::Rear,
            Ends::Either => v1::MachineEnd::Either,
        };
        let (tests, text) = words(row.rule.id.text(), end);
        let or = |own: &str, shipped: &str| if own.is_empty() { shipped } else { own }.to_owned();
        v1::Rule {
            id: row.rule.id.text().to_owned(),
            end: end as i32,
            tests: or(tests, row.rule.tests),
            threshold: Some(threshold_of(row.threshold)),
            text: or(text, row.rule.text),
            source: if row.own { "" } else { row.rule.source }.to_owned(),
        }
    };
    table.rows().into_iter().map(row).collect()
}

fn threshold_of(threshold: Threshold) -> Sent {
    match threshold {
        Threshold::Ratio(ratio) => Sent::Ratio(ratio),
        Threshold::Steps(steps) => Sent::StepCount(steps),
        Threshold::Length(length) => Sent::Length(computed(length, UnitSystem::Metric)),
        Threshold::Angle(angle) => Sent::Angle(computed(angle, UnitSystem::Metric)),
        Threshold::Rate(rate) => Sent::Stiffness(computed(rate, UnitSystem::Metric)),
        Threshold::Age(age) => Sent::Age(prost_types::Duration {
            seconds: i64::try_from(age.as_secs()).unwrap_or(i64::MAX),
            nanos: i32::try_from(age.subsec_nanos()).unwrap_or(0),
        }),
    }
}
