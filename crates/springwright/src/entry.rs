//! Puts what was typed into a request: one path, one text.

mod book;

use mechanics::quantity;
use prost_reflect::{DynamicMessage, EnumDescriptor, FieldDescriptor, Kind, MessageDescriptor, ReflectMessage, Value};

use crate::api;

/// Sets the field at a path such as `geometry.wire_diameter` from text. A list gets one more element.
pub(crate) fn enter(message: &mut DynamicMessage, path: &str, text: &str) -> Result<(), String> {
    let kind = message.descriptor();
    let (name, rest) = path
        .split_once('.')
        .map_or((path, None), |(name, rest)| (name, Some(rest)));
    let field = kind
        .get_field_by_name(name)
        .or_else(|| kind.get_field_by_json_name(name))
        .ok_or_else(|| unknown_field(&kind, name))?;
    if let Some(rest) = rest {
        let kind = field.kind();
        return match (message.get_field_mut(&field), kind) {
            (Value::Message(inner), _) => enter(inner, rest, text),
            // The last one of a list of messages, or its first.
            (Value::List(list), Kind::Message(of)) => {
                if list.is_empty() {
                    list.push(Value::Message(DynamicMessage::new(of)));
                }
                match list.last_mut() {
                    Some(Value::Message(inner)) => enter(inner, rest, text),
                    _ => Err(format!("{name} has no field {rest}")),
                }
            }
            _ => Err(format!("{name} is no message, so it has no field {rest}")),
        };
    }
    if let (Kind::Message(item), Value::List(list)) = (field.kind(), message.get_field_mut(&field)) {
        if is_layer(&item) {
            list.extend(layers(&item, text)?);
            return Ok(());
        }
        if is_point(&item) {
            list.extend(points(&item, text)?);
            return Ok(());
        }
    }
    let value = value(&field.kind(), text)?;
    match message.get_field_mut(&field) {
        Value::List(list) => list.push(value),
        slot => *slot = value,
    }
    Ok(())
}

fn unknown_field(kind: &MessageDescriptor, name: &str) -> String {
    let known: Vec<_> = kind.fields().map(|field| field.name().to_owned()).collect();
    format!("{} has no field {name}; known: {}", kind.name(), known.join(", "))
}

/// Whether a field of this kind can be typed as one text.
pub(crate) fn is_typable(field: &FieldDescriptor) -> bool {
    match field.kind() {
        Kind::Bytes => false,
        Kind::Message(message) => {
            api::is_quantity(&message)
                || message.full_name().starts_with("google.protobuf.")
                || is_grade(&message)
                || is_layer(&message)
                || book::is_typed(&message)
                || is_point(&message)
        }
        _ => true,
    }
}

fn is_grade(message: &MessageDescriptor) -> bool {
    message.name() == "ToleranceGrade"
}

fn is_layer(message: &MessageDescriptor) -> bool {
    message.name() == "ShimLayer"
}

fn is_point(message: &MessageDescriptor) -> bool {
    message.name() == "CalibrationPoint"
}

/// Points of a calibration from their text form, `0:0.2, 500:507.4`.
fn points(message: &MessageDescriptor, text: &str) -> Result<Vec<Value>, String> {
    let point = |pair: &str| {
        let form = || {
            format!(
                "\"{}\" is no point; write APPLIED:SHOWN, such as 500:507.4",
                pair.trim()
            )
        };
        let (applied, shown) = pair.split_once(':').ok_or_else(form)?;
        let mut point = DynamicMessage::new(message.clone());
        enter(&mut point, "applied", applied)?;
        enter(&mut point, "shown", shown)?;
        Ok(Value::Message(point))
    };
    text.split(',')
        .filter(|pair| !pair.trim().is_empty())
        .map(point)
        .collect()
}

/// Layers of a stack from its text form.
fn layers(message: &MessageDescriptor, text: &str) -> Result<Vec<Value>, String> {
    let layer = |typed: &wire::v1::ShimLayer| {
        let mut layer = DynamicMessage::new(message.clone());
        layer.transcode_from(typed).map_err(|error| error.to_string())?;
        Ok(Value::Message(layer))
    };
    wire::valving::stack::layers_of_text(text)?.iter().map(layer).collect()
}

fn value(kind: &Kind, text: &str) -> Result<Value, String> {
    let text = text.trim();
    let number = |wanted: &str| format!("\"{text}\" is not {wanted}");
    Ok(match kind {
        Kind::String => Value::String(text.to_owned()),
        Kind::Bool => Value::Bool(text.parse().map_err(|_| number("true or false"))?),
        Kind::Double => Value::F64(plain_number(text)?),
        Kind::Float => return Err(number("a field that can be typed; use --request")),
        Kind::Int32 | Kind::Sint32 | Kind::Sfixed32 => Value::I32(text.parse().map_err(|_| number("a whole number"))?),
        Kind::Int64 | Kind::Sint64 | Kind::Sfixed64 => Value::I64(text.parse().map_err(|_| number("a whole number"))?),
        Kind::Uint32 | Kind::Fixed32 => Value::U32(text.parse().map_err(|_| number("a whole number from 0"))?),
        Kind::Uint64 | Kind::Fixed64 => Value::U64(text.parse().map_err(|_| number("a whole number from 0"))?),
        Kind::Enum(names) => Value::EnumNumber(enum_number(names, text)?),
        Kind::Message(message) if api::is_quantity(message) => Value::Message(quantity(message, text)?),
        Kind::Message(message) if book::is_typed(message) => Value::Message(book::typed(message, text)?),
        Kind::Message(message) if is_grade(message) => Value::Message(grade(message, text)?),
        Kind::Message(message) if message.full_name().starts_with("google.protobuf.") => {
            Value::Message(well_known(message, text)?)
        }
        Kind::Message(message) => return Err(format!("{} has fields of its own; name one", message.name())),
        Kind::Bytes => return Err("bytes cannot be typed; use --request".to_owned()),
    })
}

/// A number without a unit: a share may be typed as per cent.
fn plain_number(text: &str) -> Result<f64, String> {
    let (digits, scale) = text
        .strip_suffix('%')
        .map_or((text, 1.0), |digits| (digits.trim_end(), 100.0));
    let number: f64 = digits
        .parse()
        .map_err(|_| format!("\"{text}\" is not a number without a unit"))?;
    if number.is_finite() {
        Ok(number / scale)
    } else {
        Err(format!("\"{text}\" is not a finite number"))
    }
}

/// A share such as `0.3`, or in per cent.
pub(crate) fn share(text: &str) -> Result<f64, String> {
    plain_number(text.trim())
}

fn quantity(message: &MessageDescriptor, text: &str) -> Result<DynamicMessage, String> {
    let (value, row) = quantity::read(message.name(), text).map_err(|fault| fault.to_string())?;
    let mut quantity = DynamicMessage::new(message.clone());
    let fields = message.get_field(1).zip(message.get_field(2));
    let (number, unit) = fields.ok_or_else(|| format!("{} is no quantity", message.name()))?;
    quantity.set_field(&number, Value::F64(value));
    quantity.set_field(&unit, Value::EnumNumber(row.number));
    Ok(quantity)
}

/// The prefix every value of an enum carries.
pub(crate) fn enum_prefix(names: &EnumDescriptor) -> String {
    api::kebab(names.name()).replace('-', "_").to_ascii_uppercase() + "_"
}

fn enum_number(names: &EnumDescriptor, text: &str) -> Result<i32, String> {
    // A unit may be written as its symbol.
    if let Some(of) = names.parent_message()
        && api::is_quantity(&of)
        && let Ok((_, row)) = quantity::read(of.name(), &format!("1 {text}"))
    {
        return Ok(row.number);
    }
    let prefix = enum_prefix(names);
    let wanted = text.replace(['-', ' '], "_").to_ascii_uppercase();
    let short = |name: &str| name.strip_prefix(&prefix).unwrap_or(name).to_owned();
    let found = names
        .values()
        .find(|value| value.name() == wanted || short(value.name()) == wanted);
    found.map(|value| value.number()).ok_or_else(|| {
        let known = names
            .values()
            .filter(|value| value.number() != 0)
            .map(|value| api::kebab(&short(value.name()).to_ascii_lowercase()));
        format!(
            "\"{text}\" is not known here; known: {}",
            known.collect::<Vec<_>>().join(", ")
        )
    })
}

/// `jis:2`, `din:1`, or a permitted share such as `5%`.
fn grade(message: &MessageDescriptor, text: &str) -> Result<DynamicMessage, String> {
    let mut grade = DynamicMessage::new(message.clone());
    let (system, number) = text.split_once(':').unwrap_or(("", text));
    let system = match system.to_ascii_lowercase().as_str() {
        "jis" => "SYSTEM_JIS_B_2704",
        "din" => "SYSTEM_DIN_2095",
        "" => {
            enter(&mut grade, "system", "SYSTEM_STATED_RATIO")?;
            enter(&mut grade, "rate_tolerance_ratio", number)
                .map_err(|_| format!("\"{text}\" is no grade; write jis:2, din:1, or a permitted share such as 5%"))?;
            return Ok(grade);
        }
        _ => {
            return Err(format!(
                "\"{system}\" is no system of grades; known: jis, din, or a permitted share such as 5%"
            ));
        }
    };
    enter(&mut grade, "system", system)?;
    enter(&mut grade, "grade", number)?;
    Ok(grade)
}

/// Moments, spans and masks in the text form their JSON has.
fn well_known(message: &MessageDescriptor, text: &str) -> Result<DynamicMessage, String> {
    // A day is its first moment.
    let json = serde_json::Value::String(match message.name() {
        "Timestamp" if text.len() == "2026-03-01".len() => format!("{text}T00:00:00Z"),
        _ => text.to_owned(),
    });
    DynamicMessage::deserialize(message.clone(), json).map_err(|_| {
        let form = match message.name() {
            "Timestamp" => "a moment such as 2026-03-01T08:30:00Z, or a day such as 2026-03-01",
            "Duration" => "a span such as 1.5s",
            "FieldMask" => "fields such as label,markedRate",
            other => other,
        };
        format!("\"{text}\" is not {form}")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn json(call: &str, entries: &[(&str, &str)]) -> Result<String, String> {
        let mut message = DynamicMessage::new(api::method(call).unwrap().input());
        for (path, text) in entries {
            enter(&mut message, path, text)?;
        }
        Ok(serde_json::to_string(&message).unwrap())
    }

    #[test]
    fn quantities_shares_and_grades_are_entered_as_typed() {
        let entries = [
            ("grade", "jis:2"),
            ("window.share.from_ratio", "25 %"),
            ("predict_at", "10 mm"),
            ("predict_at", "0.5in"),
        ];
        let json = json("SpringService/ReduceRun", &entries).unwrap();
        assert_eq!(
            json,
            r#"{"window":{"share":{"fromRatio":0.25}},"grade":{"system":"SYSTEM_JIS_B_2704","grade":2},"predictAt":[{"value":10.0,"unit":"UNIT_MILLIMETER"},{"value":0.5,"unit":"UNIT_INCH"}]}"#
        );
    }

    #[test]
    fn an_unknown_unit_lists_the_known_ones() {
        let words = json("SpringService/LoadAtLength", &[("values.rate", "9.5 mm")]).unwrap_err();
        assert!(
            words.contains("\"mm\" is no unit of Stiffness; known: N/mm, kgf/mm, lbf/in"),
            "{words}"
        );
    }

    #[test]
    fn a_unit_that_cannot_travel_is_refused_rather_than_converted() {
        assert!(json("SpringService/LoadAtLength", &[("length", "40 cm")]).is_err());
    }
}
