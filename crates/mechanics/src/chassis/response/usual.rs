//! What is taken of tyre and stops where nobody knows it.

use crate::estimate::Assumption;
use crate::quantity::{Quantity, UnitSystem, WheelRate};
use crate::spring::words::Words;

/// Vertical rate of a tyre, N/m.
const TYRE: f64 = 170_000.0;
/// What an end gives at its stops, at the wheel, N/m.
const STOP: f64 = 500_000.0;

/// Vertical rate of a tyre (common practice, no source).
#[must_use]
pub fn usual_tyre_rate() -> WheelRate {
    WheelRate::from_si(TYRE)
}

/// What an end gives at its stops, at the wheel (common practice, no source).
#[must_use]
pub fn usual_stop_rate() -> WheelRate {
    WheelRate::from_si(STOP)
}

/// The same as assumptions of a reply: that of the stops, and that of the tyre where it is not known.
#[must_use]
pub fn assumed_rates(tyre: Option<WheelRate>, units: UnitSystem) -> Vec<Assumption> {
    let words = Words::new(units);
    let assumed = |subject, text| Assumption {
        subject,
        text,
        source: "common practice, no source",
    };
    let stops = format!("the ends of the travel give at {}", words.rate(STOP));
    let mut assumptions = vec![assumed("stops", stops)];
    if tyre.is_none() {
        assumptions.push(assumed("tyre_rate", format!("the tyre gives at {}", words.rate(TYRE))));
    }
    assumptions
}
