//! Figures with their units: entered ones to the last digit, estimates to what their uncertainty allows.

use mechanics::quantity::{UnitRow, dimensions};
use prost_reflect::{DynamicMessage, ReflectMessage, Value};

use crate::api;

/// How far a figure is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Exactness {
    /// The shortest digits that give the value back.
    Entered,
    /// As far as anybody reads: five significant digits.
    Computed,
}

/// Significant digits of a computed figure that comes without an uncertainty.
const SIGNIFICANT: i32 = 5;

/// Text without control characters: what somebody typed as a label must not steer the terminal.
pub(crate) fn clean(text: &str) -> String {
    let shown = |letter: char| {
        if letter.is_control() && letter != '\n' {
            '\u{fffd}'
        } else {
            letter
        }
    };
    text.chars().map(shown).collect()
}

/// The row of a unit by its dimension's name.
pub(super) fn unit(dimension: &str, number: i32) -> Option<&'static UnitRow> {
    let dimension = dimensions().iter().find(|known| known.name == dimension)?;
    dimension
        .rows
        .iter()
        .copied()
        .flatten()
        .find(|row| row.number == number && number != 0)
}

/// A number with at least so many decimals.
pub(super) fn number(value: f64, decimals: usize, exactness: Exactness) -> String {
    // A computed nothing has no sign.
    let value = if exactness == Exactness::Computed {
        value + 0.0
    } else {
        value
    };
    let shortest = value.to_string();
    let digits = shortest.split_once('.').map_or(0, |(_, fraction)| fraction.len());
    if exactness == Exactness::Entered || !value.is_finite() || value == 0.0 {
        return format!("{value:.*}", digits.max(decimals));
    }
    if !(1e-6..1e12).contains(&value.abs()) {
        return format!("{value:.4e}");
    }
    let kept = (SIGNIFICANT - 1 - magnitude(value)).max(0);
    let room = usize::try_from(kept).unwrap_or(0);
    let kept = room.min(digits);
    let rounded = format!("{value:.kept$}");
    let trimmed = if rounded.contains('.') {
        rounded.trim_end_matches('0').trim_end_matches('.')
    } else {
        &rounded
    };
    let shown = trimmed.split_once('.').map_or(0, |(_, fraction)| fraction.len());
    format!("{value:.*}", shown.max(decimals.min(room)))
}

/// The power of ten of a number's first digit.
fn magnitude(value: f64) -> i32 {
    // The exponent as printed is exact; a logarithm is not at the powers of ten.
    let printed = format!("{:e}", value.abs());
    printed
        .split_once('e')
        .and_then(|(_, exponent)| exponent.parse().ok())
        .unwrap_or(0)
}

/// A value in a unit of a dimension.
pub(super) fn quantity(dimension: &str, value: Option<f64>, number_of_unit: i32, exactness: Exactness) -> String {
    match (value, unit(dimension, number_of_unit)) {
        (Some(value), Some(row)) => format!("{} {}", number(value, row.decimals, exactness), row.symbol),
        (Some(value), None) => format!("{value} (unit {number_of_unit} unknown here)"),
        (None, _) => "left out".to_owned(),
    }
}

/// An estimate as its parts.
#[derive(Debug, Clone, Copy)]
pub(super) struct Estimate<'a> {
    pub(super) dimension: &'a str,
    pub(super) unit: i32,
    pub(super) value: f64,
    pub(super) expanded: f64,
    pub(super) factor: f64,
    pub(super) probability: f64,
}

impl Estimate<'_> {
    /// `9.31 ± 0.06 N/mm`, rounded to two significant digits of the uncertainty (JCGM 100:2008, 7.2.6).
    pub(super) fn short(&self) -> String {
        let symbol = unit(self.dimension, self.unit).map_or("", |row| row.symbol);
        if self.expanded <= 0.0 || !self.expanded.is_finite() {
            return quantity(self.dimension, Some(self.value), self.unit, Exactness::Computed);
        }
        let (value, expanded) = self.rounded();
        format!("{value} ± {expanded} {symbol}")
    }

    /// The value alone, rounded as its uncertainty allows.
    pub(super) fn rounded(&self) -> (String, String) {
        // Rounding may carry into one digit more: 0.0996 becomes 0.10, not 0.100.
        let two_digits = format!("{:.1e}", self.expanded).parse().unwrap_or(self.expanded);
        let decimals = 1 - magnitude(two_digits);
        if let Ok(decimals) = usize::try_from(decimals) {
            let decimals = decimals.min(12);
            return (
                format!("{:.decimals$}", self.value),
                format!("{:.decimals$}", self.expanded),
            );
        }
        let step = 10f64.powi(-decimals);
        let whole = |value: f64| format!("{:.0}", (value / step).round() * step);
        (whole(self.value), whole(self.expanded))
    }

    /// With coverage.
    pub(super) fn full(&self) -> String {
        let short = self.short();
        if self.expanded <= 0.0 || !self.expanded.is_finite() {
            return short;
        }
        format!("{short} ({}, k = {:.2})", per_cent(self.probability), self.factor)
    }
}

/// A share as per cent in the fewest digits, at most four.
pub(super) fn per_cent(share: f64) -> String {
    let text = format!("{:.4}", share * 100.0);
    format!("{} %", text.trim_end_matches('0').trim_end_matches('.'))
}

/// A message that fits on a line: a quantity, an estimate, a moment, a span, a mask, a grade.
pub(super) fn of_message(message: &DynamicMessage, exactness: Exactness) -> Option<String> {
    let kind = message.descriptor();
    if api::is_quantity(&kind) {
        let (value, unit) = parts(message);
        return Some(quantity(kind.name(), value, unit, exactness));
    }
    if kind.full_name().starts_with("google.protobuf.") {
        let json = serde_json::to_value(message).ok()?;
        return json.as_str().map(clean);
    }
    if kind.name() == "LoadCurve" {
        return curve(message);
    }
    with_estimate(message, |estimate| estimate.full())
}

/// Whether a message reads well among others in a row.
pub(super) fn is_lone(message: &DynamicMessage) -> bool {
    api::is_quantity(&message.descriptor())
}

fn parts(message: &DynamicMessage) -> (Option<f64>, i32) {
    let value = message
        .get_field_by_number(1)
        .filter(|_| message.has_field_by_number(1));
    let unit = message.get_field_by_number(2).and_then(|unit| unit.as_enum_number());
    (value.and_then(|value| value.as_f64()), unit.unwrap_or(0))
}

fn with_estimate<T>(message: &DynamicMessage, then: impl FnOnce(Estimate<'_>) -> T) -> Option<T> {
    let kind = message.descriptor();
    let dimension = kind.name().strip_suffix("Estimate")?;
    let part = |name: &str| match message.get_field_by_name(name)?.into_owned() {
        Value::Message(quantity) => Some(parts(&quantity)),
        _ => None,
    };
    let plain = |name: &str| {
        message
            .get_field_by_name(name)
            .and_then(|value| value.as_f64())
            .unwrap_or(0.0)
    };
    let (value, unit) = part("value")?;
    let expanded = part("expanded_uncertainty")
        .filter(|(_, other)| *other == unit)
        .and_then(|(value, _)| value);
    Some(then(Estimate {
        dimension,
        unit,
        value: value?,
        expanded: expanded.unwrap_or(0.0),
        factor: plain("coverage_factor"),
        probability: plain("coverage_probability"),
    }))
}

/// The budget of an estimate that has one.
pub(super) fn estimate_budget(value: &Value) -> Option<(String, Vec<DynamicMessage>)> {
    let message = value.as_message()?;
    let text = with_estimate(message, |estimate| estimate.full())?;
    let budget = message.get_field_by_name("budget")?;
    let lines: Vec<_> = budget
        .as_list()?
        .iter()
        .filter_map(Value::as_message)
        .cloned()
        .collect();
    if lines.is_empty() { None } else { Some((text, lines)) }
}

/// Least and greatest.
pub(super) fn range(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    })
}

/// Points of a curve by count and range; none where the list holds something else.
pub(super) fn points(items: &[Value]) -> Option<String> {
    let points: Option<Vec<_>> = items.iter().map(|item| point(item.as_message()?)).collect();
    let points = points?;
    let shown = |(low, high): (f64, f64)| {
        format!(
            "{} to {}",
            number(low, 0, Exactness::Computed),
            number(high, 0, Exactness::Computed)
        )
    };
    let deflections = shown(range(points.iter().map(|point| point.0)));
    let loads = shown(range(points.iter().map(|point| point.1)));
    Some(format!(
        "{} points, deflection {deflections}, load {loads}",
        points.len()
    ))
}

fn point(message: &DynamicMessage) -> Option<(f64, f64)> {
    if message.descriptor().name() != "CurvePoint" {
        return None;
    }
    let coordinate = |number| message.get_field_by_number(number).and_then(|value| value.as_f64());
    coordinate(1).zip(coordinate(2))
}

fn curve(message: &DynamicMessage) -> Option<String> {
    let curve: wire::v1::LoadCurve = message.transcode_to().ok()?;
    Some(curve_words(&curve))
}

/// A curve by its branches' counts and ranges.
pub(super) fn curve_words(curve: &wire::v1::LoadCurve) -> String {
    let branches = [("press", &curve.press), ("return", &curve.returning)];
    let words = branches
        .into_iter()
        .filter(|(_, points)| !points.is_empty())
        .map(|(name, points)| {
            let shown = |dimension, unit, (low, high): (f64, f64)| {
                let symbol = self::unit(dimension, unit).map_or("", |row| row.symbol);
                format!(
                    "{} to {} {symbol}",
                    number(low, 0, Exactness::Computed),
                    number(high, 0, Exactness::Computed)
                )
            };
            let deflections = shown(
                "Length",
                curve.deflection_unit,
                range(points.iter().map(|point| point.deflection)),
            );
            let loads = shown("Force", curve.load_unit, range(points.iter().map(|point| point.load)));
            format!("{name} {} points, {deflections}, {loads}", points.len())
        });
    let words: Vec<_> = words.collect();
    if words.is_empty() {
        "no points".to_owned()
    } else {
        words.join("; ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(value: f64, expanded: f64) -> String {
        Estimate {
            dimension: "Stiffness",
            unit: 1,
            value,
            expanded,
            factor: 2.0,
            probability: 0.95,
        }
        .full()
    }

    #[test]
    fn an_estimate_stops_at_the_second_digit_of_its_uncertainty() {
        assert_eq!(estimate(9.312_345, 0.061_23), "9.312 ± 0.061 N/mm (95 %, k = 2.00)");
        assert_eq!(estimate(9.312_345, 0.099_6), "9.31 ± 0.10 N/mm (95 %, k = 2.00)");
        assert_eq!(estimate(12_345.0, 678.0), "12350 ± 680 N/mm (95 %, k = 2.00)");
        assert_eq!(estimate(9.5, 0.0), "9.50 N/mm");
    }

    #[test]
    fn entered_figures_keep_every_digit_and_computed_ones_five() {
        assert_eq!(number(9.123_456_789, 2, Exactness::Entered), "9.123456789");
        assert_eq!(number(9.123_456_789, 2, Exactness::Computed), "9.1235");
        assert_eq!(number(9.5, 2, Exactness::Computed), "9.50");
        assert_eq!(number(123_456.7, 2, Exactness::Computed), "123457");
        assert_eq!(number(0.1, 2, Exactness::Entered), "0.10");
    }

    #[test]
    fn what_steers_a_terminal_is_not_printed() {
        assert_eq!(clean("a\u{1b}[31mb"), "a\u{fffd}[31mb");
    }
}
