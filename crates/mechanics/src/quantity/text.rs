//! Text forms: `9.5 N/mm`, `54 lbf/in`, `-0.2mm`.

use std::fmt;
use std::str::FromStr;

use super::entered::Entered;
use super::table::{Unit, dimensions};
use super::typed::Quantity;

/// Why a text is no quantity.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TextError {
    /// Nothing there.
    Empty,
    /// A comma where the decimal point belongs; carries the text as it should read.
    DecimalComma(String),
    /// The number cannot be read.
    NoNumber(String),
    /// A number without a unit.
    UnitMissing {
        /// What was typed.
        text: String,
        /// The units that could follow.
        known: Vec<&'static str>,
    },
    /// A unit this dimension does not have.
    UnitUnknown {
        /// What was typed as the unit.
        unit: String,
        /// The dimension asked for.
        dimension: &'static str,
        /// The units it has.
        known: Vec<&'static str>,
    },
    /// NaN or infinite.
    NotFinite(String),
}

impl fmt::Display for TextError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => write!(f, "nothing entered; write a number and a unit, such as 9.5 N/mm"),
            Self::DecimalComma(hint) => write!(f, "the decimal sign is a point: write {hint}"),
            Self::NoNumber(text) => write!(
                f,
                "\"{text}\" does not begin with a number; write a number and a unit, such as 9.5 N/mm"
            ),
            Self::UnitMissing { text, known } => write!(f, "\"{text}\" has no unit; known: {}", known.join(", ")),
            Self::UnitUnknown { unit, dimension, known } => {
                write!(f, "\"{unit}\" is no unit of {dimension}; known: {}", known.join(", "))
            }
            Self::NotFinite(text) => write!(f, "\"{text}\" is not a finite number"),
        }
    }
}

impl std::error::Error for TextError {}

impl<U: Unit> FromStr for Entered<U> {
    type Err = TextError;

    fn from_str(text: &str) -> Result<Self, TextError> {
        let (value, unit) = split(text)?;
        let known = || U::ALL.iter().map(|unit| unit.row().symbol).collect::<Vec<_>>();
        if unit.is_empty() {
            return Err(TextError::UnitMissing {
                text: text.trim().to_owned(),
                known: known(),
            });
        }
        let unit = U::from_symbol(unit).ok_or_else(|| TextError::UnitUnknown {
            unit: unit.to_owned(),
            dimension: U::DIMENSION,
            known: known(),
        })?;
        Entered::new(value, unit).map_err(|_| TextError::NotFinite(text.trim().to_owned()))
    }
}

/// Reads a text such as `9.5 N/mm` as a quantity of the dimension of this name: the number, and the row of its unit.
///
/// # Errors
/// Any [`TextError`]. A unit that cannot stand on the wire is unknown here, as it is to [`Entered`].
pub fn read(dimension: &str, text: &str) -> Result<(f64, &'static super::UnitRow), TextError> {
    let dimension = dimensions().iter().find(|known| known.name == dimension);
    let rows = dimension
        .and_then(|known| known.rows.first().copied())
        .unwrap_or_default();
    let known = || rows.iter().map(|row| row.symbol).collect::<Vec<_>>();
    let (value, unit) = split(text)?;
    if unit.is_empty() {
        return Err(TextError::UnitMissing {
            text: text.trim().to_owned(),
            known: known(),
        });
    }
    let row = rows
        .iter()
        .find(|row| row.spells(unit))
        .ok_or_else(|| TextError::UnitUnknown {
            unit: unit.to_owned(),
            dimension: dimension.map_or("any dimension", |known| known.name),
            known: known(),
        })?;
    Ok((value, row))
}

/// Converts a text such as `550 lbf/in` into another unit of the same dimension, by its symbol.
///
/// # Errors
/// Any [`TextError`]; a unit of another dimension is unknown to the first one's.
pub fn convert(text: &str, to: &str) -> Result<f64, TextError> {
    let (value, unit) = split(text)?;
    let symbols =
        |rows: &[&'static [super::UnitRow]]| rows.iter().copied().flatten().map(|row| row.symbol).collect::<Vec<_>>();
    let dimension_of = |wanted: &str| {
        dimensions()
            .iter()
            .find(|dimension| dimension.spelled(wanted).is_some())
    };
    if unit.is_empty() {
        return Err(TextError::UnitMissing {
            text: text.trim().to_owned(),
            known: dimension_of(to).map(|d| symbols(d.rows)).unwrap_or_default(),
        });
    }
    // "K" is a temperature and a difference: the pair of units decides, not the first alone.
    let shared = dimensions()
        .iter()
        .find_map(|dimension| Some((dimension.spelled(unit)?, dimension.spelled(to)?)));
    match (shared, dimension_of(unit)) {
        (Some((from, into)), _) => Ok(into.of_si(from.to_si(value))),
        (None, Some(dimension)) => Err(TextError::UnitUnknown {
            unit: to.to_owned(),
            dimension: dimension.name,
            known: symbols(dimension.rows),
        }),
        (None, None) => {
            let known = dimensions()
                .iter()
                .flat_map(|dimension| symbols(dimension.rows))
                .collect();
            Err(TextError::UnitUnknown {
                unit: unit.to_owned(),
                dimension: "any dimension",
                known,
            })
        }
    }
}

/// `9.31 ± 0.06 N/mm` in a unit: the uncertainty to one figure, to two where it begins with 1 or 2, and the value to the same
/// place; without an uncertainty, the value to the unit's usual place. Not for units with an offset.
#[must_use]
pub fn with_uncertainty<Q: Quantity>(value: Q, expanded: Q, unit: Q::Unit) -> String {
    let row = unit.row();
    let (value, expanded) = (value.get(unit), expanded.get(unit));
    if expanded.is_nan() || expanded <= 0.0 {
        return format!("{value:.*} {}", row.decimals, row.symbol);
    }
    let place = expanded.log10().floor();
    let figures = if expanded < 3.0 * 10.0_f64.powf(place) {
        2.0
    } else {
        1.0
    };
    let decimals = (figures - 1.0 - place).clamp(0.0, 6.0) as usize;
    // A figure of the bench is never read further than a hundredth past the unit's usual place.
    let decimals = decimals.min(row.decimals + 2);
    format!("{value:.decimals$} ± {expanded:.decimals$} {}", row.symbol)
}

/// Splits number and unit. The number is finite.
fn split(text: &str) -> Result<(f64, &str), TextError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(TextError::Empty);
    }
    let lower = text.trim_start_matches(['+', '-']).to_ascii_lowercase();
    if lower.starts_with("nan") || lower.starts_with("inf") {
        return Err(TextError::NotFinite(text.to_owned()));
    }
    let end = number_end(text);
    let (number, rest) = text.split_at(end);
    if let Some(fraction) = rest.strip_prefix(',')
        && fraction.starts_with(|c: char| c.is_ascii_digit())
    {
        return Err(TextError::DecimalComma(format!("{number}.{fraction}")));
    }
    let value: f64 = number.parse().map_err(|_| TextError::NoNumber(text.to_owned()))?;
    if !value.is_finite() {
        return Err(TextError::NotFinite(text.to_owned()));
    }
    Ok((value, rest.trim()))
}

/// Where the leading decimal number ends, in bytes.
fn number_end(text: &str) -> usize {
    let bytes = text.as_bytes();
    let at = |index: usize| bytes.get(index).copied().unwrap_or(b' ');
    let digits_from = |mut index: usize| {
        while at(index).is_ascii_digit() {
            index += 1;
        }
        index
    };
    let mut end = digits_from(usize::from(matches!(at(0), b'+' | b'-')));
    if at(end) == b'.' {
        end = digits_from(end + 1);
    }
    // An exponent counts only with digits behind it.
    if matches!(at(end), b'e' | b'E') {
        let sign = usize::from(matches!(at(end + 1), b'+' | b'-'));
        let after = digits_from(end + 1 + sign);
        if after > end + 1 + sign {
            end = after;
        }
    }
    end
}

#[cfg(test)]
mod tests {
    use super::super::{LengthUnit, StiffnessUnit, TemperatureUnit};
    use super::*;

    #[test]
    fn text_reads_back_what_it_printed() {
        for text in ["9.5 N/mm", "0.95 kgf/mm", "54 lbf/in", "1e-3 N/m", "-2.25N/mm"] {
            let entered: Entered<StiffnessUnit> = text.parse().unwrap();
            assert_eq!(
                entered.to_string().parse::<Entered<StiffnessUnit>>().unwrap(),
                entered,
                "{text}"
            );
        }
        assert_eq!("0.1 mm".parse::<Entered<LengthUnit>>().unwrap().to_string(), "0.10 mm");
    }

    #[test]
    fn a_decimal_comma_is_refused_with_the_text_as_it_should_read() {
        let error = "9,5 N/mm".parse::<Entered<StiffnessUnit>>().unwrap_err();
        assert_eq!(error, TextError::DecimalComma("9.5 N/mm".to_owned()));
    }

    #[test]
    fn missing_and_unknown_units_list_the_known_ones() {
        let missing = "9.5".parse::<Entered<StiffnessUnit>>().unwrap_err().to_string();
        assert!(missing.contains("no unit") && missing.contains("lbf/in"), "{missing}");
        let unknown = "9.5 mm".parse::<Entered<StiffnessUnit>>().unwrap_err().to_string();
        assert!(
            unknown.contains("\"mm\" is no unit of Stiffness") && unknown.contains("N/mm"),
            "{unknown}"
        );
    }

    #[test]
    fn numbers_that_are_none_are_refused() {
        for text in ["NaN N/mm", "inf N/mm", "-infinity N/mm", "1e999 N/mm"] {
            assert!(
                matches!(text.parse::<Entered<StiffnessUnit>>(), Err(TextError::NotFinite(_))),
                "{text}"
            );
        }
        for text in ["N/mm", "--3 N/mm", "."] {
            assert!(
                matches!(text.parse::<Entered<StiffnessUnit>>(), Err(TextError::NoNumber(_))),
                "{text}"
            );
        }
    }

    #[test]
    fn a_temperature_keeps_its_zero() {
        let boiling: Entered<TemperatureUnit> = "212 degF".parse().unwrap();
        assert!((boiling.in_unit(TemperatureUnit::DegreeCelsius).value() - 100.0).abs() < 1e-9);
    }

    #[test]
    fn conversion_crosses_units_not_dimensions() {
        assert!((convert("10 kgf/cm2", "bar").unwrap() - 9.80665).abs() < 1e-12);
        assert!(convert("10 bar", "mm").is_err());
    }
}
