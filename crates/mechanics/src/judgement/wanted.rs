//! The total sag that is wanted.

use super::rows::RuleId;
use super::table::{Ends, RuleTable};
use crate::quantity::{Length, Quantity, Travel};

/// A total sag that is wanted, with the rules it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SagWanted {
    /// Least.
    pub least: Length,
    /// Most.
    pub most: Length,
    /// The rows of least and most.
    pub rules: [RuleId; 2],
}

impl RuleTable {
    /// Total sag wanted of an end: millimetres for a road machine with usual travel, else a share of the travel. `None`: off the
    /// road with a travel that is not known. Common practice, no source.
    #[must_use]
    pub fn sag_wanted(&self, end: Ends, travel: Option<Travel>, off_road: bool) -> Option<SagWanted> {
        let number = |id: RuleId| self.threshold(id, end).number();
        let travel = travel.map(Quantity::si);
        let usual = 1e-3 * number(RuleId::SagClassTravelLow)..=1e-3 * number(RuleId::SagClassTravelHigh);
        match travel {
            Some(travel) if off_road || !usual.contains(&travel) => Some(SagWanted {
                least: Length::from_si(number(RuleId::TotalShareLow) * travel),
                most: Length::from_si(number(RuleId::TotalShareHigh) * travel),
                rules: [RuleId::TotalShareLow, RuleId::TotalShareHigh],
            }),
            None if off_road => None,
            Some(_) | None => Some(SagWanted {
                least: Length::from_si(1e-3 * number(RuleId::TotalSagLow)),
                most: Length::from_si(1e-3 * number(RuleId::TotalSagHigh)),
                rules: [RuleId::TotalSagLow, RuleId::TotalSagHigh],
            }),
        }
    }
}
