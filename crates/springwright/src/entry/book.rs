//! What is typed of a machine and of a visit: `rebound 24 clicks`, `588/592 mm`.

use prost_reflect::{DynamicMessage, MessageDescriptor};

use super::enter;

/// Whether a message of the book has a text form.
pub(super) fn is_typed(message: &MessageDescriptor) -> bool {
    matches!(message.name(), "AdjusterRange" | "AdjusterSetting" | "SettledLength")
}

/// The message a text stands for.
pub(super) fn typed(message: &MessageDescriptor, text: &str) -> Result<DynamicMessage, String> {
    match message.name() {
        "SettledLength" => settled(message, text),
        "AdjusterRange" => adjuster(message, text, "range_count"),
        _ => adjuster(message, text, "position_from_closed"),
    }
}

/// `CIRCUIT COUNT UNIT`, and `left` or `right` where a leg has its own.
fn adjuster(message: &MessageDescriptor, text: &str, count: &str) -> Result<DynamicMessage, String> {
    let form = || {
        format!(
            "\"{text}\" is no adjuster; write its circuit, a count and clicks or turns, such as \"rebound 12 clicks\" or \
             \"low-speed compression 1.5 turns left\""
        )
    };
    let words: Vec<&str> = text.split_whitespace().collect();
    let at = words
        .iter()
        .position(|word| word.starts_with(|letter: char| letter.is_ascii_digit() || matches!(letter, '-' | '.')))
        .filter(|at| *at > 0)
        .ok_or_else(form)?;
    let (circuit, rest) = words.split_at_checked(at).ok_or_else(form)?;
    let (number, unit, leg) = match rest {
        [number, unit] => (number, unit, None),
        [number, unit, "left"] => (number, unit, Some("1")),
        [number, unit, "right"] => (number, unit, Some("2")),
        _ => return Err(form()),
    };
    let mut adjuster = DynamicMessage::new(message.clone());
    enter(&mut adjuster, "circuit", &circuit.join("-"))?;
    enter(&mut adjuster, count, number)?;
    let unit = match unit.strip_suffix('s').unwrap_or(unit) {
        "click" => "clicks",
        "turn" => "turns",
        _ => return Err(form()),
    };
    enter(&mut adjuster, "unit", unit)?;
    if let Some(leg) = leg {
        enter(&mut adjuster, "leg", leg)?;
    }
    Ok(adjuster)
}

/// `PRESSED/LIFTED UNIT`, or one reading with its unit.
fn settled(message: &MessageDescriptor, text: &str) -> Result<DynamicMessage, String> {
    let mut length = DynamicMessage::new(message.clone());
    let Some((pressed, lifted)) = text.split_once('/') else {
        enter(&mut length, "unpaired", text)?;
        return Ok(length);
    };
    let lifted = lifted.trim();
    let unit: String = lifted
        .chars()
        .skip_while(|letter| !letter.is_alphabetic() && *letter != '"')
        .collect();
    let pressed = pressed.trim();
    let own_unit = pressed.contains(|letter: char| letter.is_alphabetic() || letter == '"');
    let pressed = if own_unit {
        pressed.to_owned()
    } else {
        format!("{pressed} {unit}")
    };
    enter(&mut length, "pressed", &pressed)?;
    enter(&mut length, "lifted", lifted)?;
    Ok(length)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::api;

    fn json(name: &str, text: &str) -> Result<String, String> {
        let message = api::pool()
            .unwrap()
            .get_message_by_name(&format!("{}.{name}", api::PACKAGE))
            .unwrap();
        typed(&message, text).map(|message| serde_json::to_string(&message).unwrap())
    }

    #[test]
    fn adjusters_and_settled_lengths_are_read_as_typed() {
        assert_eq!(
            json("AdjusterSetting", "low-speed compression 1.5 turns left").unwrap(),
            r#"{"circuit":"DAMPING_CIRCUIT_LOW_SPEED_COMPRESSION","leg":1,"unit":"ADJUSTER_UNIT_TURNS","positionFromClosed":1.5}"#
        );
        assert_eq!(
            json("AdjusterRange", "rebound 24 clicks").unwrap(),
            r#"{"circuit":"DAMPING_CIRCUIT_REBOUND","unit":"ADJUSTER_UNIT_CLICKS","rangeCount":24.0}"#
        );
        assert_eq!(
            json("SettledLength", "588/592 mm").unwrap(),
            r#"{"pressed":{"value":588.0,"unit":"UNIT_MILLIMETER"},"lifted":{"value":592.0,"unit":"UNIT_MILLIMETER"}}"#
        );
        for (name, text) in [
            ("AdjusterSetting", "rebound"),
            ("AdjusterSetting", "12 clicks"),
            ("AdjusterSetting", "rebound 12"),
            ("AdjusterSetting", "rebound 12 rounds"),
            ("AdjusterSetting", "damping 12 clicks"),
            ("SettledLength", "588/592"),
            ("SettledLength", "long"),
        ] {
            assert!(json(name, text).is_err(), "{name} {text}");
        }
    }
}
