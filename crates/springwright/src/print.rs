//! Replies as a person reads them: aligned, with units, findings last.

mod calibration;
mod figures;
mod forecast;
mod judged;
mod plot;
mod report;
mod said;
mod setup;
mod springs;
mod table;
mod typed;
mod valving;

use prost_reflect::{DynamicMessage, FieldDescriptor, Kind, ReflectMessage, Value};

use crate::api;
use crate::entry::enum_prefix;

pub(crate) use figures::{Exactness, clean};
pub(crate) use plot::{has_plot, plotted};
pub(crate) use report::reduced;
pub(crate) use said::findings;
pub(crate) use springs::pair;
pub(crate) use valving::{comparison, damper};

/// The share of values of a long list that is not printed one by one.
const LISTED: usize = 8;

/// A reply as text, each line ended.
pub(crate) fn reply(message: &DynamicMessage) -> String {
    let kind = message.descriptor();
    if kind.name() == "ReduceRunResponse"
        && let Ok(reduced) = message.transcode_to()
    {
        return report::reduced(&reduced);
    }
    if kind.name() == "FitCalibrationResponse"
        && let Ok(fitted) = message.transcode_to()
    {
        return calibration::fitted(&fitted);
    }
    if let Some(report) = reported(message) {
        return report;
    }
    let mut page = Page::of(message);
    let rest = match tabled(message) {
        Some((table, shown)) => {
            page.text = table;
            without(message, shown)
        }
        None if kind.name() == "ReadSagResponse" => setup::without_budgets(message),
        None => message.clone(),
    };
    page.message(&rest, 0);
    if page.text.is_empty() {
        page.text.push_str("nothing\n");
    }
    page.text
}

/// The replies that have tables of their own, with the fields those show.
fn tabled(message: &DynamicMessage) -> Option<(String, &'static [&'static str])> {
    Some(match message.descriptor().name() {
        "EvaluateDamperResponse" => (valving::damper(&message.transcode_to().ok()?), valving::OF_DAMPER),
        "CompareStacksResponse" => (
            valving::comparison(&message.transcode_to().ok()?),
            valving::OF_COMPARISON,
        ),
        "ForecastLimitsResponse" => (forecast::limits(&message.transcode_to().ok()?), forecast::SHOWN),
        "ChooseSpringResponse" => (setup::chosen(&message.transcode_to().ok()?), setup::RANKED),
        _ => return None,
    })
}

/// A reply without some of its fields.
fn without(message: &DynamicMessage, shown: &[&str]) -> DynamicMessage {
    let mut rest = message.clone();
    for name in shown {
        rest.clear_field_by_name(name);
    }
    rest
}

/// The replies that have a report of their own.
fn reported(message: &DynamicMessage) -> Option<String> {
    match message.descriptor().name() {
        "JudgeSetupResponse" => Some(judged::judged(&message.transcode_to().ok()?)),
        "JudgePairResponse" => Some(springs::pair(&message.transcode_to().ok()?)),
        "EvaluateAssemblyResponse" => Some(springs::assembly(&message.transcode_to().ok()?)),
        "EvaluateGasSpringResponse" => springs::gas(&message.transcode_to().ok()?),
        "ComputeWheelRateResponse" => Some(springs::wheel(&message.transcode_to().ok()?)),
        _ => None,
    }
}

/// Whether a reply is the verdict that the part is not what it should be.
pub(crate) fn refuses(message: &DynamicMessage) -> bool {
    if message.descriptor().name() == "JudgePairResponse" {
        let verdict = message
            .get_field_by_name("verdict")
            .and_then(|value| value.as_enum_number());
        return verdict == Some(wire::v1::PairVerdict::NotMatched as i32);
    }
    let Some(Value::Message(verdict)) = message
        .get_field_by_name("marking_verdict")
        .map(|value| value.into_owned())
    else {
        return false;
    };
    verdict
        .get_field_by_name("decision")
        .and_then(|value| value.as_enum_number())
        == Some(wire::v1::marking_verdict::Decision::Refused as i32)
}

/// Fields of a record that say nothing in a list of records.
const BOOKKEEPING: [&str; 5] = ["uid", "etag", "create_time", "update_time", "purge_time"];

/// A text being written.
struct Page {
    text: String,
    exactness: Exactness,
}

impl Page {
    /// Records are printed to the last digit as entered; computed values as far as anybody reads them.
    fn of(message: &DynamicMessage) -> Self {
        let computed = message.descriptor().get_field_by_name("findings").is_some();
        Self {
            text: String::new(),
            exactness: if computed {
                Exactness::Computed
            } else {
                Exactness::Entered
            },
        }
    }

    fn line(&mut self, indent: usize, text: &str) {
        self.text.push_str(&"  ".repeat(indent));
        self.text.push_str(text.trim_end());
        self.text.push('\n');
    }

    fn message(&mut self, message: &DynamicMessage, indent: usize) {
        if message.descriptor().name() == "LiveReading" {
            // Nobody entered these; the records around them keep every digit.
            let around = std::mem::replace(&mut self.exactness, Exactness::Computed);
            self.fields(message, indent);
            self.exactness = around;
        } else {
            self.fields(message, indent);
        }
    }

    fn fields(&mut self, message: &DynamicMessage, indent: usize) {
        let fields: Vec<_> = message.fields().collect();
        let (said, shown): (Vec<_>, Vec<_>) = fields
            .into_iter()
            .partition(|(field, _)| matches!(field.name(), "findings" | "assumptions" | "used"));
        self.rows(&shown, indent);
        for (field, value) in &shown {
            self.nested(field, value, indent);
        }
        for name in ["assumptions", "used", "findings"] {
            for (_, value) in said.iter().filter(|(field, _)| field.name() == name) {
                self.said(name, value, indent);
            }
        }
    }

    /// The fields that fit on a line, labels aligned.
    fn rows(&mut self, fields: &[(FieldDescriptor, &Value)], indent: usize) {
        let rows: Vec<_> = fields
            .iter()
            .filter_map(|(field, value)| Some((label(field.name()), cell(field, value, self.exactness)?)))
            .collect();
        let width = rows.iter().map(|(label, _)| label.chars().count()).max().unwrap_or(0);
        for (label, text) in rows {
            self.line(indent, &format!("{label:width$}  {text}"));
        }
    }

    /// What does not fit on a line: messages under their name, lists as tables.
    fn nested(&mut self, field: &FieldDescriptor, value: &Value, indent: usize) {
        if let Some((_, budget)) = figures::estimate_budget(value) {
            self.budget(
                &format!("{}: where its uncertainty comes from", label(field.name())),
                &budget,
                indent,
            );
            return;
        }
        if cell(field, value, self.exactness).is_some() {
            return;
        }
        match value {
            Value::Message(inner) => {
                self.line(indent, &label(field.name()));
                self.message(inner, indent + 1);
            }
            Value::List(items) => self.list(field, items, indent),
            _ => {}
        }
    }

    fn list(&mut self, field: &FieldDescriptor, items: &[Value], indent: usize) {
        let messages: Vec<_> = items.iter().filter_map(Value::as_message).collect();
        let Some(first) = messages.first() else { return };
        let record = api::is_record(&first.descriptor());
        let exactness = self.exactness;
        let flat = |message: &&DynamicMessage| {
            message
                .fields()
                .all(|(field, value)| cell(&field, value, exactness).is_some())
        };
        self.line(indent, &format!("{} ({})", label(field.name()), messages.len()));
        if record || messages.iter().all(flat) {
            let table = self.table(&messages, record);
            for row in table.lines() {
                self.line(indent + 1, &row);
            }
            return;
        }
        for (index, message) in messages.iter().enumerate() {
            self.line(indent + 1, &format!("{}.", index + 1));
            self.message(message, indent + 2);
        }
    }

    fn table(&self, messages: &[&DynamicMessage], record: bool) -> table::Table {
        let mut columns: Vec<FieldDescriptor> = Vec::new();
        for (field, _) in messages.iter().flat_map(|message| message.fields()) {
            let wanted = !record || !BOOKKEEPING.contains(&field.name());
            if wanted && !columns.iter().any(|known| known.number() == field.number()) {
                columns.push(field);
            }
        }
        columns.sort_by_key(FieldDescriptor::number);
        let cell_of = |message: &DynamicMessage, field: &FieldDescriptor| {
            if message.has_field(field) {
                cell(field, &message.get_field(field), self.exactness)
            } else {
                Some(String::new())
            }
        };
        columns.retain(|field| messages.iter().all(|message| cell_of(message, field).is_some()));
        let mut table = table::Table::new(columns.iter().map(|field| label(field.name())));
        for message in messages {
            table.row(columns.iter().map(|field| cell_of(message, field).unwrap_or_default()));
        }
        table
    }

    fn budget(&mut self, heading: &str, lines: &[DynamicMessage], indent: usize) {
        self.line(indent, heading);
        let table = self.table(&lines.iter().collect::<Vec<_>>(), false);
        for row in table.lines() {
            self.line(indent + 1, &row);
        }
    }

    fn said(&mut self, name: &str, value: &Value, indent: usize) {
        let messages = value.as_list().unwrap_or_default().iter().filter_map(Value::as_message);
        match name {
            "findings" => {
                let findings: Vec<wire::v1::Finding> =
                    messages.filter_map(|message| message.transcode_to().ok()).collect();
                self.text.push_str(&said::findings(&findings));
            }
            "assumptions" => {
                let assumptions: Vec<wire::v1::Assumption> =
                    messages.filter_map(|message| message.transcode_to().ok()).collect();
                self.text.push_str(&said::assumptions(&assumptions));
            }
            _ => {
                let names: Vec<_> = messages.filter_map(|message| text_of(message, "name")).collect();
                self.line(indent, &format!("read: {}", names.join(", ")));
            }
        }
    }
}

fn text_of(message: &DynamicMessage, name: &str) -> Option<String> {
    message.get_field_by_name(name)?.as_str().map(clean)
}

/// `marked_rate` as `marked rate`.
fn label(name: &str) -> String {
    name.replace('_', " ")
}

/// A value that fits on a line; none where it does not.
fn cell(field: &FieldDescriptor, value: &Value, exactness: Exactness) -> Option<String> {
    match value {
        Value::List(items) => list_cell(field, items, exactness),
        Value::Map(_) => None,
        value => single(&field.kind(), value, exactness),
    }
}

fn single(kind: &Kind, value: &Value, exactness: Exactness) -> Option<String> {
    Some(match value {
        Value::String(text) => clean(text),
        Value::Bool(yes) => (if *yes { "yes" } else { "no" }).to_owned(),
        Value::Bytes(bytes) => bytes.iter().map(|byte| format!("{byte:02x}")).collect(),
        Value::EnumNumber(number) => enumerated(kind, *number),
        Value::F64(number) => figures::number(*number, 0, exactness),
        Value::Message(message) => return figures::of_message(message, exactness),
        Value::I32(number) => number.to_string(),
        Value::I64(number) => number.to_string(),
        Value::U32(number) => number.to_string(),
        Value::U64(number) => number.to_string(),
        _ => return None,
    })
}

fn enumerated(kind: &Kind, number: i32) -> String {
    let Kind::Enum(names) = kind else {
        return number.to_string();
    };
    let dimension = names
        .parent_message()
        .map(|parent| parent.name().to_owned())
        .unwrap_or_default();
    if let Some(row) = figures::unit(&dimension, number) {
        return row.symbol.to_owned();
    }
    let Some(value) = names.get_value(number) else {
        return format!("{number} (unknown here)");
    };
    let name = value.name();
    name.strip_prefix(&enum_prefix(names))
        .unwrap_or(name)
        .to_ascii_lowercase()
        .replace('_', " ")
}

fn list_cell(field: &FieldDescriptor, items: &[Value], exactness: Exactness) -> Option<String> {
    let kind = field.kind();
    if items.len() > LISTED {
        return long_list(&kind, items, exactness);
    }
    let plain = |value: &Value| match value {
        // A lone quantity reads well in a row; anything larger is a table.
        Value::Message(message) => figures::is_lone(message),
        _ => true,
    };
    if !items.iter().all(plain) {
        return None;
    }
    let cells: Option<Vec<_>> = items.iter().map(|value| single(&kind, value, exactness)).collect();
    cells.map(|cells| cells.join(", "))
}

/// A long list of numbers by its count and range.
fn long_list(kind: &Kind, items: &[Value], exactness: Exactness) -> Option<String> {
    if let Some(points) = figures::points(items) {
        return Some(points);
    }
    let numbers: Option<Vec<f64>> = items
        .iter()
        .map(|value| match value {
            Value::F64(number) => Some(*number),
            Value::I64(number) => Some(*number as f64),
            Value::I32(number) => Some(f64::from(*number)),
            _ => None,
        })
        .collect();
    if let Some(numbers) = numbers {
        let (low, high) = figures::range(numbers.iter().copied());
        let (low, high) = (
            figures::number(low, 0, Exactness::Computed),
            figures::number(high, 0, Exactness::Computed),
        );
        return Some(format!("{} values, {low} to {high}", items.len()));
    }
    if matches!(kind, Kind::Message(_)) {
        return None;
    }
    let cells: Option<Vec<_>> = items.iter().map(|value| single(kind, value, exactness)).collect();
    cells.map(|cells| cells.join(", "))
}

#[cfg(test)]
mod tests;
