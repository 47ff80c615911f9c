//! Values as somebody entered them.

use std::fmt;

use super::table::Unit;

/// A value in the unit it was entered in. Value and unit are kept exactly; printing gives the shortest digits that
/// return the value, padded to the decimals usual for the unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Entered<U: Unit> {
    value: f64,
    unit: U,
}

/// A value that is not a number a bench could have read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Faulty {
    /// NaN or infinite.
    NotFinite(f64),
}

impl fmt::Display for Faulty {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotFinite(value) => write!(f, "{value} is not a finite number"),
        }
    }
}

impl std::error::Error for Faulty {}

impl<U: Unit> Entered<U> {
    /// Takes any finite value.
    ///
    /// # Errors
    /// [`Faulty::NotFinite`] for NaN and the infinities.
    pub fn new(value: f64, unit: U) -> Result<Self, Faulty> {
        if value.is_finite() {
            Ok(Self { value, unit })
        } else {
            Err(Faulty::NotFinite(value))
        }
    }

    /// The number in its own unit.
    #[must_use]
    pub fn value(self) -> f64 {
        self.value
    }

    /// The unit it was entered in.
    #[must_use]
    pub fn unit(self) -> U {
        self.unit
    }

    /// The number in the coherent SI unit.
    #[must_use]
    pub(crate) fn si(self) -> f64 {
        self.unit.row().to_si(self.value)
    }

    /// The same quantity in another unit.
    #[must_use]
    pub fn in_unit(self, unit: U) -> Self {
        // The same unit must give back the same bits, which a trip through SI does not promise.
        if unit == self.unit {
            self
        } else {
            Self {
                value: unit.row().of_si(self.si()),
                unit,
            }
        }
    }
}

impl<U: Unit> fmt::Display for Entered<U> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let row = self.unit.row();
        if let Some(precision) = f.precision() {
            return write!(f, "{:.precision$} {}", self.value, row.symbol);
        }
        let shortest = self.value.to_string();
        let decimals = shortest.split_once('.').map_or(0, |(_, fraction)| fraction.len());
        write!(f, "{:.*} {}", decimals.max(row.decimals), self.value, row.symbol)
    }
}
