//! What the columns of a source hold: `elapsed:us,deflection:mm,load:N`.

use std::fmt;
use std::str::FromStr;

use mechanics::quantity::{ForceUnit, LengthUnit, PressureUnit, TemperatureUnit, Unit};
use wire::v1;
use wire::v1::column::Quantity;

/// Most columns a line may have: as many as a run can hold, the clock, and as many again to leave out.
const COLUMNS_MAX: usize = 33;
/// Most columns a run can hold.
const RECORDED_MAX: usize = 16;

/// Unit of the tester's clock. It stands on no wire: a block counts nanoseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ClockUnit {
    /// s
    Second,
    /// ms
    Millisecond,
    /// us
    Microsecond,
    /// ns
    Nanosecond,
}

impl ClockUnit {
    const SYMBOLS: &'static str = "s, ms, us, ns";

    fn spelled(text: &str) -> Option<Self> {
        match text {
            "s" => Some(Self::Second),
            "ms" => Some(Self::Millisecond),
            "us" | "µs" => Some(Self::Microsecond),
            "ns" => Some(Self::Nanosecond),
            _ => None,
        }
    }

    /// Nanoseconds in one.
    pub(crate) fn nanoseconds(self) -> f64 {
        match self {
            Self::Second => 1e9,
            Self::Millisecond => 1e6,
            Self::Microsecond => 1e3,
            Self::Nanosecond => 1.0,
        }
    }
}

/// What one field of a line is.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Field {
    /// Left out.
    Skipped,
    /// The tester's clock.
    Elapsed(ClockUnit),
    /// A column of the run.
    Value(v1::Column),
}

/// The declared columns, in the line's order.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Columns {
    fields: Vec<Field>,
    text: String,
}

/// What is wrong with a declaration.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum ColumnsError {
    /// A column without a unit.
    UnitMissing {
        /// The column.
        column: String,
        /// The units it could have.
        known: String,
    },
    /// A unit that does not fit the column.
    UnitUnknown {
        /// The column.
        column: String,
        /// What was written.
        unit: String,
        /// The units it could have.
        known: String,
    },
    /// No such column.
    ColumnUnknown(String),
    /// Two clocks.
    ElapsedTwice,
    /// Neither a load nor a force: nothing to reduce.
    NoLoad,
    /// More columns than a line or a run can have.
    TooMany,
}

impl fmt::Display for ColumnsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnitMissing { column, known } => {
                write!(
                    f,
                    "column \"{column}\" has no unit; write {column}:UNIT; known: {known}"
                )
            }
            Self::UnitUnknown { column, unit, known } => {
                write!(f, "\"{unit}\" is no unit of column \"{column}\"; known: {known}")
            }
            Self::ColumnUnknown(column) => write!(
                f,
                "no column \"{column}\"; known: elapsed, deflection, load, position, force, temperature, pressure, and - to leave one out"
            ),
            Self::ElapsedTwice => write!(f, "elapsed stands twice; a tester has one clock"),
            Self::NoLoad => write!(f, "neither load nor force among the columns"),
            Self::TooMany => write!(f, "more than {RECORDED_MAX} columns to record, or {COLUMNS_MAX} in all"),
        }
    }
}

impl std::error::Error for ColumnsError {}

impl Columns {
    /// The fields of a line.
    pub(crate) fn fields(&self) -> &[Field] {
        &self.fields
    }

    /// The columns of the run.
    pub(crate) fn recorded(&self) -> Vec<v1::Column> {
        let recorded = |field: &Field| match field {
            Field::Value(column) => Some(*column),
            Field::Skipped | Field::Elapsed(_) => None,
        };
        self.fields.iter().filter_map(recorded).collect()
    }

    /// Whether a quantity is among them.
    pub(crate) fn hold(&self, quantity: Quantity) -> bool {
        self.recorded().iter().any(|column| column.quantity() == quantity)
    }

    /// The name of a field, for complaints.
    pub(crate) fn name(&self, field: usize) -> &str {
        let declared = self.text.split(',').nth(field).unwrap_or("?");
        declared.split(':').next().unwrap_or(declared).trim()
    }
}

impl fmt::Display for Columns {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl FromStr for Columns {
    type Err = ColumnsError;

    fn from_str(text: &str) -> Result<Self, ColumnsError> {
        let fields = text.split(',').map(field).collect::<Result<Vec<_>, _>>()?;
        let clocks = fields.iter().filter(|field| matches!(field, Field::Elapsed(_))).count();
        if clocks > 1 {
            return Err(ColumnsError::ElapsedTwice);
        }
        let columns = Self {
            fields,
            text: text.trim().to_owned(),
        };
        if columns.fields.len() > COLUMNS_MAX || columns.recorded().len() > RECORDED_MAX {
            return Err(ColumnsError::TooMany);
        }
        if !columns.hold(Quantity::Load) && !columns.hold(Quantity::Force) {
            return Err(ColumnsError::NoLoad);
        }
        Ok(columns)
    }
}

fn field(text: &str) -> Result<Field, ColumnsError> {
    let text = text.trim();
    if text == "-" {
        return Ok(Field::Skipped);
    }
    let (name, unit) = match text.split_once(':') {
        Some((name, unit)) => (name.trim(), unit.trim()),
        None => (text, ""),
    };
    let value = |quantity: Quantity, unit: v1::column::Unit| {
        Field::Value(v1::Column {
            quantity: quantity.into(),
            unit: Some(unit),
        })
    };
    let length = |quantity| {
        Ok(value(
            quantity,
            v1::column::Unit::Length(number::<LengthUnit>(name, unit)?),
        ))
    };
    let force = |quantity| {
        Ok(value(
            quantity,
            v1::column::Unit::Force(number::<ForceUnit>(name, unit)?),
        ))
    };
    match name {
        "elapsed" => match ClockUnit::spelled(unit) {
            Some(unit) => Ok(Field::Elapsed(unit)),
            None => Err(fault(name, unit, ClockUnit::SYMBOLS.to_owned())),
        },
        "deflection" => length(Quantity::Deflection),
        "position" => length(Quantity::Position),
        "load" => force(Quantity::Load),
        "force" => force(Quantity::Force),
        "temperature" => Ok(value(
            Quantity::Temperature,
            v1::column::Unit::Temperature(number::<TemperatureUnit>(name, unit)?),
        )),
        "pressure" => Ok(value(
            Quantity::Pressure,
            v1::column::Unit::Pressure(number::<PressureUnit>(name, unit)?),
        )),
        _ => Err(ColumnsError::ColumnUnknown(name.to_owned())),
    }
}

fn number<U: Unit>(column: &str, unit: &str) -> Result<i32, ColumnsError> {
    let known = || {
        U::ALL
            .iter()
            .map(|unit| unit.row().symbol)
            .collect::<Vec<_>>()
            .join(", ")
    };
    U::from_symbol(unit)
        .map(|unit| unit.row().number)
        .ok_or_else(|| fault(column, unit, known()))
}

fn fault(column: &str, unit: &str, known: String) -> ColumnsError {
    let column = column.to_owned();
    if unit.is_empty() {
        ColumnsError::UnitMissing { column, known }
    } else {
        let unit = unit.to_owned();
        ColumnsError::UnitUnknown { column, unit, known }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_declaration_becomes_the_runs_columns_in_order() {
        let columns: Columns = "elapsed:us, -, deflection:in, load:kgf".parse().unwrap();
        assert_eq!(columns.fields().len(), 4);
        let recorded = columns.recorded();
        assert_eq!(
            recorded[0].unit,
            Some(v1::column::Unit::Length(v1::length::Unit::Inch.into()))
        );
        assert_eq!(
            recorded[1].unit,
            Some(v1::column::Unit::Force(v1::force::Unit::KilogramForce.into()))
        );
        assert_eq!(columns.name(3), "load");
    }

    #[test]
    fn a_column_without_its_unit_is_refused_and_told_the_known_ones() {
        let fault = |text: &str| text.parse::<Columns>().unwrap_err().to_string();
        assert_eq!(
            fault("load"),
            "column \"load\" has no unit; write load:UNIT; known: N, kgf, lbf"
        );
        assert_eq!(
            fault("load:mm"),
            "\"mm\" is no unit of column \"load\"; known: N, kgf, lbf"
        );
        assert_eq!(
            fault("elapsed,load:N"),
            "column \"elapsed\" has no unit; write elapsed:UNIT; known: s, ms, us, ns"
        );
        assert_eq!(fault("deflection:mm"), "neither load nor force among the columns");
        assert!(fault("lode:N").starts_with("no column \"lode\""));
    }
}
