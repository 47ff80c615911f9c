//! Time as the store is given it.

use std::fmt;

/// A point in time: nanoseconds since 1970-01-01T00:00:00Z, leap seconds not counted. The store never reads a clock; the
/// caller says when it is. Reaches from 1677 to 2262.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Moment(i64);

/// Nanoseconds of a day of 24 h.
const DAY_NS: i64 = 86_400_000_000_000;

impl Moment {
    /// From nanoseconds since 1970-01-01T00:00:00Z.
    pub const fn from_nanos(nanos: i64) -> Self {
        Self(nanos)
    }

    /// Nanoseconds since 1970-01-01T00:00:00Z.
    pub const fn as_nanos(self) -> i64 {
        self.0
    }

    /// So many days of 24 h later; the end of the range where it would lie beyond.
    pub const fn plus_days(self, days: i64) -> Self {
        Self(self.0.saturating_add(days.saturating_mul(DAY_NS)))
    }
}

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ns", self.0)
    }
}
