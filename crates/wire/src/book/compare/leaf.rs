//! The stated things of a setup: one text, number or quantity at each path.

use std::collections::BTreeMap;
use std::fmt;

use mechanics::quantity::{UnitRow, dimensions};
use prost_reflect::{DynamicMessage, FieldDescriptor, Kind, ReflectMessage, Value};

/// Something that is stated.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Leaf {
    /// A quantity with the row of its unit.
    Quantity(f64, &'static UnitRow),
    /// A number, with what it counts.
    Number(f64, &'static str),
    /// Anything in words.
    Text(String),
}

impl Leaf {
    /// Whether both say the same; a quantity may be entered in two units.
    pub(super) fn is_like(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Quantity(a, unit), Self::Quantity(b, other)) => {
                let (a, b) = (unit.to_si(*a), other.to_si(*b));
                // Less than rounding to the unit of the other can do.
                (a - b).abs() <= 1e-12 * a.abs().max(b.abs())
            }
            _ => self == other,
        }
    }

    /// What a number counts.
    pub(super) fn counted_in(&self) -> Option<&'static str> {
        match self {
            Self::Number(_, unit) => Some(unit),
            _ => None,
        }
    }

    /// Says what a number counts that says nothing itself.
    pub(super) fn count_in(&mut self, unit: &'static str) {
        if let Self::Number(_, own) = self
            && own.is_empty()
        {
            *own = unit;
        }
    }

    /// Other less this one, in the other's unit.
    pub(super) fn step_to(&self, other: &Self) -> Option<(f64, String)> {
        match (self, other) {
            (Self::Quantity(a, unit), Self::Quantity(b, wanted)) => {
                let before = if unit == wanted {
                    *a
                } else {
                    wanted.of_si(unit.to_si(*a))
                };
                Some((short(b - before), wanted.symbol.to_owned()))
            }
            (Self::Number(a, _), Self::Number(b, unit)) => Some((short(b - a), (*unit).to_owned())),
            _ => None,
        }
    }
}

/// Without what subtracting two decimal numbers leaves behind.
fn short(value: f64) -> f64 {
    format!("{value:.11e}").parse().unwrap_or(value)
}

impl fmt::Display for Leaf {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Quantity(value, unit) => write!(f, "{value} {}", unit.symbol),
            Self::Number(value, "") => write!(f, "{value}"),
            Self::Number(value, unit) => write!(f, "{value} {unit}"),
            Self::Text(text) => f.write_str(text),
        }
    }
}

/// Gathers what is stated in a message under its path.
pub(super) fn walk(message: &DynamicMessage, path: &str, found: &mut BTreeMap<String, Leaf>) {
    for (field, value) in message.fields() {
        let here = match path {
            "" => field.name().to_owned(),
            _ => format!("{path}.{}", field.name()),
        };
        match value {
            Value::List(list) => walk_list(&field, list, &here, found),
            Value::Message(inner) => walk_message(inner, &here, found),
            other => {
                if let Some(leaf) = plain(&field, other) {
                    found.insert(here, leaf);
                }
            }
        }
    }
}

fn walk_message(message: &DynamicMessage, path: &str, found: &mut BTreeMap<String, Leaf>) {
    if let Some(leaf) = quantity(message).or_else(|| well_known(message)) {
        found.insert(path.to_owned(), leaf);
    } else {
        walk(message, path, found);
    }
}

fn walk_list(field: &FieldDescriptor, list: &[Value], path: &str, found: &mut BTreeMap<String, Leaf>) {
    for (index, item) in list.iter().enumerate() {
        match item {
            // An adjuster is known by its circuit, wherever it stands.
            Value::Message(inner) if is_adjuster(inner) => adjuster(inner, path, found),
            Value::Message(inner) => walk_message(inner, &format!("{path}[{index}]"), found),
            _ => break,
        }
    }
    if !matches!(list.first(), Some(Value::Message(_)) | None) {
        let texts: Vec<String> = list
            .iter()
            .filter_map(|item| plain(field, item))
            .map(|leaf| leaf.to_string())
            .collect();
        found.insert(path.to_owned(), Leaf::Text(texts.join(", ")));
    }
}

fn is_adjuster(message: &DynamicMessage) -> bool {
    matches!(message.descriptor().name(), "AdjusterRange" | "AdjusterSetting")
}

fn adjuster(message: &DynamicMessage, path: &str, found: &mut BTreeMap<String, Leaf>) {
    let number = |name: &str| match message.get_field_by_name(name).as_deref() {
        Some(Value::EnumNumber(number) | Value::I32(number)) => Some(*number),
        _ => None,
    };
    let stated = |name: &str| match (
        message.has_field_by_name(name),
        message.get_field_by_name(name).as_deref(),
    ) {
        (true, Some(Value::F64(value))) => Some(*value),
        _ => None,
    };
    let unit = match number("unit") {
        Some(1) => "clicks",
        Some(2) => "turns",
        _ => "",
    };
    let circuit = number("circuit").unwrap_or(0);
    let leg = match message.has_field_by_name("leg") {
        true => format!(".{}", number("leg").unwrap_or(0)),
        false => String::new(),
    };
    let here = format!("{path}[{circuit}{leg}]");
    for (name, unit) in [
        ("position_from_closed", unit),
        ("range_count", unit),
        ("closed_to_open_force_ratio", ""),
    ] {
        if let Some(value) = stated(name) {
            found.insert(format!("{here}.{name}"), Leaf::Number(value, unit));
        }
    }
}

fn quantity(message: &DynamicMessage) -> Option<Leaf> {
    let name = message.descriptor().name().to_owned();
    let dimension = dimensions().iter().find(|dimension| dimension.name == name)?;
    let value = message.get_field_by_name("value")?.as_f64()?;
    let number = message.get_field_by_name("unit")?.as_enum_number()?;
    let row = dimension
        .rows
        .iter()
        .copied()
        .flatten()
        .find(|row| row.number == number && number != 0)?;
    Some(Leaf::Quantity(value, row))
}

/// Moments and ages, as whole seconds are told.
fn well_known(message: &DynamicMessage) -> Option<Leaf> {
    let seconds = message.get_field_by_name("seconds")?.as_i64()?;
    match message.descriptor().full_name() {
        "google.protobuf.Timestamp" => {
            let stamp = prost_types::Timestamp { seconds, nanos: 0 };
            Some(Leaf::Text(stamp.to_string()))
        }
        "google.protobuf.Duration" => {
            const DAY: f64 = 86_400.0;
            Some(Leaf::Number(seconds as f64 / DAY, "days"))
        }
        _ => None,
    }
}

fn plain(field: &FieldDescriptor, value: &Value) -> Option<Leaf> {
    Some(match value {
        Value::F64(number) => Leaf::Number(*number, ""),
        Value::I32(number) => Leaf::Number(f64::from(*number), ""),
        Value::I64(number) => Leaf::Number(*number as f64, ""),
        Value::Bool(flag) => Leaf::Text(if *flag { "yes" } else { "no" }.to_owned()),
        Value::String(text) => Leaf::Text(text.clone()),
        Value::EnumNumber(number) => Leaf::Text(enum_words(field, *number)?),
        _ => return None,
    })
}

/// `DAMPER_TYPE_SINGLE_TUBE` as "single tube".
fn enum_words(field: &FieldDescriptor, number: i32) -> Option<String> {
    let Kind::Enum(names) = field.kind() else { return None };
    let value = names.get_value(number)?;
    let all: Vec<String> = names.values().map(|value| value.name().to_owned()).collect();
    // The prefix is what the name of the unspecified value begins with.
    let prefix = all
        .iter()
        .find_map(|name| name.strip_suffix("UNSPECIFIED"))
        .unwrap_or_default();
    let bare = value.name().strip_prefix(prefix).unwrap_or(value.name());
    Some(bare.to_lowercase().replace('_', " "))
}
