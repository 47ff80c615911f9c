//! What the remedies cost: cost against pace as a staircase.

use super::answer::{CostStep, Kind, Limit};
use super::request::{Money, Price};
use crate::chassis::End;
use crate::judgement::Action;

impl Kind {
    /// What removes it.
    ///
    /// All the travel, and bind: another spring. A quarter of the range and none: other valving, or another unit where the
    /// valving cannot be changed. Ports: another unit, as no stack does it. Top-out: preload and top-out spring are set.
    #[must_use]
    pub fn remedy(self, can_be_revalved: bool) -> Action {
        match self {
            Self::TravelUsed | Self::Bind => Action::Respring,
            Self::QuarterLeft | Self::RangeGone if can_be_revalved => Action::Revalve,
            Self::QuarterLeft | Self::RangeGone | Self::PortLimited => Action::Replace,
            Self::TopOut => Action::Set,
        }
    }
}

/// The price of a remedy at an end: a row for that end before a row for either, the first of several.
fn price(prices: &[Price], remedy: Action, end: End) -> Option<&Price> {
    let fitting = |wanted: Option<End>| {
        prices
            .iter()
            .find(|price| price.remedy == remedy && price.end == wanted)
    };
    fitting(Some(end)).or_else(|| fitting(None))
}

/// The staircase over limits in their order: every remedy is paid once for an end, at the first limit that asks for it.
pub(super) fn staircase(limits: &[Limit], prices: &[Price]) -> Vec<CostStep> {
    let mut steps: Vec<CostStep> = Vec::new();
    let mut total = Money::default();
    for (index, limit) in limits.iter().enumerate() {
        let remedy = limit.remedy;
        let bought = steps.iter().any(|step| step.remedy == remedy && step.end == limit.end);
        let Some(pace) = limit.pace.filter(|_| !bought && remedy != Action::Set) else {
            continue;
        };
        let found = price(prices, remedy, limit.end);
        if let Some(found) = found {
            total.nanos += found.amount.nanos;
        }
        steps.push(CostStep {
            limit: index,
            // What is due now is paid now.
            pace: pace.max(1.0),
            low: limit.low,
            high: limit.high,
            remedy,
            end: limit.end,
            label: found.map(|price| price.label.clone()),
            price: found.map(|price| price.amount),
            total,
        });
    }
    steps
}
