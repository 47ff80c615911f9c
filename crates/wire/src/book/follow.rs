//! A machine's visits as they are followed: shares left in, trends out.

use mechanics::follow::{ShareAt, Trend, TrendState};
use mechanics::quantity::{Length, LengthUnit, Quantity as _, UnitSystem};

use super::at_most;
use super::machine::adjusters;
use super::sag::length;
use super::visit::visit_values;
use crate::quantity::{Message as _, number, unit_system};
use crate::records::{SHORT_TEXT, text};
use crate::setup::words;
use crate::v1;
use crate::violation::Violations;

/// Visits of one machine that are followed.
pub const MAX_VISITS: usize = 1_000;

/// What a request says beside its visits.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    /// Share at which an adjuster is near its limit; `None`: the rule table's.
    pub limit: Option<f64>,
    /// Probability the interval of a slope covers.
    pub coverage: f64,
    /// Units of the reply.
    pub units: UnitSystem,
}

/// Checks a request; what is named is not looked at here.
pub fn asked(request: &v1::FollowMachineRequest, violations: &mut Violations) -> Asked {
    if let Some(v1::follow_machine_request::Source::Visits(visits)) = &request.source {
        let mut at = violations.at("visits");
        if at_most(visits.visits.len(), MAX_VISITS, at.at("visits")) {
            for (index, followed) in visits.visits.iter().enumerate() {
                let mut at = at.at("visits");
                let mut at = at.index(index);
                text(&followed.label, SHORT_TEXT, at.at("label"));
                adjusters(&followed.front_adjusters, at.at("front_adjusters"));
                adjusters(&followed.rear_adjusters, at.at("rear_adjusters"));
                if let Some(visit) = &followed.visit {
                    visit_values(visit, at.at("visit"));
                }
            }
        }
    }
    let coverage = number(
        request.coverage_probability,
        0.5,
        0.9999,
        violations.at("coverage_probability"),
    );
    Asked {
        limit: number(request.limit_ratio, 0.01, 0.99, violations.at("limit_ratio")),
        coverage: coverage.unwrap_or(0.95),
        units: unit_system(request.reply_units, violations.at("reply_units")),
    }
}

/// One adjuster of a machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// Front or rear.
    pub end: v1::MachineEnd,
    /// The circuit's number.
    pub circuit: i32,
    /// The leg, where it is one of two.
    pub leg: Option<i32>,
}

impl Place {
    /// Whether work done touches it.
    fn is_touched(&self, work: &v1::WorkDone) -> bool {
        use v1::DampingCircuit as Circuit;
        use v1::Remedy::{Replace, Respring, Revalve, Service};
        if work.end != self.end as i32 || work.leg.zip(self.leg).is_some_and(|(work, leg)| work != leg) {
            return false;
        }
        if work.circuits.is_empty() {
            return [Service, Respring, Revalve, Replace]
                .iter()
                .any(|remedy| *remedy as i32 == work.remedy);
        }
        // An adjuster for all speeds, and one for some of them, act on one circuit.
        let direction = |circuit: i32| match Circuit::try_from(circuit) {
            Ok(Circuit::Compression | Circuit::LowSpeedCompression | Circuit::HighSpeedCompression) => 1,
            Ok(Circuit::Rebound | Circuit::LowSpeedRebound | Circuit::HighSpeedRebound) => 2,
            Ok(Circuit::Unspecified) | Err(_) => 0,
        };
        let whole = [Circuit::Compression as i32, Circuit::Rebound as i32];
        work.circuits.iter().any(|circuit| {
            *circuit == self.circuit
                || (direction(*circuit) == direction(self.circuit)
                    && (whole.contains(circuit) || whole.contains(&self.circuit)))
        })
    }

    /// In words.
    pub fn words(&self) -> String {
        let end = words::end(self.end as i32);
        let leg = match self.leg {
            Some(1) => " left",
            Some(_) => " right",
            None => "",
        };
        format!("{end}{leg} {}", words::circuit(self.circuit))
    }
}

/// A visit that is followed: its label, itself, and the ranges of its adjusters, as found and as left.
#[derive(Debug, Clone)]
pub struct Followed<'a> {
    /// How it is called in the reply.
    pub label: String,
    /// The visit.
    pub visit: &'a v1::VisitValues,
    /// Ranges front and rear, as found.
    pub found: [&'a [v1::AdjusterRange]; 2],
    /// The same as left.
    pub left: [&'a [v1::AdjusterRange]; 2],
}

const ENDS: [v1::MachineEnd; 2] = [v1::MachineEnd::Front, v1::MachineEnd::Rear];

/// Every adjuster that has a share at some visit, front first.
pub fn places(visits: &[Followed<'_>]) -> Vec<Place> {
    let mut places: Vec<Place> = Vec::new();
    for (end, index) in ENDS.into_iter().zip(0..) {
        for followed in visits {
            let states = [
                (followed.visit.as_found.as_ref(), followed.found),
                (followed.visit.as_left.as_ref(), followed.left),
            ];
            for (state, ranges) in states {
                let settings = state.and_then(|state| end_of(state, end)).map(|state| &state.adjusters);
                for setting in settings.into_iter().flatten() {
                    let place = Place {
                        end,
                        circuit: setting.circuit,
                        leg: setting.leg,
                    };
                    let ranges = ranges.get(index).copied().unwrap_or_default();
                    if !places.contains(&place) && share(state, ranges, place).is_some() {
                        places.push(place);
                    }
                }
            }
        }
    }
    places.sort_by_key(|place| (place.end as i32, place.circuit, place.leg));
    places
}

fn end_of(state: &v1::SetupState, end: v1::MachineEnd) -> Option<&v1::EndState> {
    match end {
        v1::MachineEnd::Front => state.front.as_ref(),
        _ => state.rear.as_ref(),
    }
}

/// Position over range, where both are known and counted alike.
fn share(state: Option<&v1::SetupState>, ranges: &[v1::AdjusterRange], place: Place) -> Option<f64> {
    let setting = end_of(state?, place.end)?
        .adjusters
        .iter()
        .find(|setting| (setting.circuit, setting.leg) == (place.circuit, place.leg))?;
    let range = ranges.iter().find(|range| {
        range.circuit == place.circuit && (range.leg == place.leg || range.leg.is_none() || place.leg.is_none())
    })?;
    let alike = setting.unit == 0 || setting.unit == range.unit;
    let share = setting.position_from_closed? / range.range_count?;
    // Beyond its range something was miscounted: no share.
    (alike && share <= 1.0 + 1e-9).then_some(share)
}

/// The points of one adjuster, and those that count.
pub fn points(visits: &[Followed<'_>], place: Place) -> (Vec<v1::SharePoint>, Vec<ShareAt>) {
    let index = usize::from(place.end != v1::MachineEnd::Front);
    let (mut told, mut counted) = (Vec::new(), Vec::new());
    for followed in visits {
        let visit = followed.visit;
        let of = |state: Option<&v1::SetupState>, ranges: [&[v1::AdjusterRange]; 2]| {
            share(state, ranges.get(index).copied().unwrap_or_default(), place)
        };
        let found = of(visit.as_found.as_ref(), followed.found);
        let left = of(visit.as_left.as_ref(), followed.left);
        let touched = visit.work.iter().any(|work| place.is_touched(work));
        let distance = length(visit.distance.as_ref());
        let point = |share: f64| v1::SharePoint {
            visit: followed.label.clone(),
            visit_time: visit.visit_time,
            distance: visit.distance,
            share_ratio: share,
            before_change: false,
        };
        let count = |share: f64| distance.map(|distance| ShareAt { distance, share });
        if let Some(share) = found {
            told.push(point(share));
            counted.extend(count(share));
        }
        if touched {
            told.iter_mut().for_each(|point| point.before_change = true);
            counted.clear();
        }
        if let Some(share) = left.filter(|left| touched || found != Some(*left)) {
            told.push(point(share));
            counted.extend(count(share));
        }
    }
    (told, counted)
}

/// A trend as it is told.
pub fn trend(place: Place, points: Vec<v1::SharePoint>, trend: &Trend, asked: Asked, limit: f64) -> v1::ShareTrend {
    use v1::share_trend::State;
    let per = match asked.units {
        UnitSystem::Metric => 1_000.0,
        UnitSystem::Inch => 1_000.0 * Length::new(1.0, LengthUnit::Mile).get(LengthUnit::Kilometer),
    };
    let state = match trend.state {
        TrendState::TooFew => State::TooFew,
        TrendState::None => State::NoTrend,
        TrendState::Closing => State::Closing,
        TrendState::Opening => State::Opening,
    };
    let without = points
        .iter()
        .filter(|point| !point.before_change && point.distance.is_none())
        .count();
    v1::ShareTrend {
        end: place.end as i32,
        circuit: place.circuit,
        leg: place.leg,
        text: words(place, trend, (asked.units, per), (limit, without)),
        points,
        state: state as i32,
        point_count: i32::try_from(trend.count).unwrap_or(i32::MAX),
        slope_ratio: trend.slope_per_kilometer.map(|slope| slope * per),
        slope_lower_ratio: trend.interval_per_kilometer.map(|(low, _)| low * per),
        slope_upper_ratio: trend.interval_per_kilometer.map(|(_, high)| high * per),
        intercept_ratio: trend.intercept,
        order_probability: trend.order_probability,
        limit_distance: trend.limit_distance.map(|distance| ridden(distance, asked.units)),
        limit_ratio: limit,
    }
}

/// A distance in the units distances are ridden in.
fn ridden(distance: Length, units: UnitSystem) -> v1::Length {
    let unit = ridden_unit(units);
    v1::Length::from_parts(distance.get(unit), mechanics::quantity::Unit::row(unit).number)
}

fn ridden_unit(units: UnitSystem) -> LengthUnit {
    match units {
        UnitSystem::Metric => LengthUnit::Kilometer,
        UnitSystem::Inch => LengthUnit::Mile,
    }
}

fn words(place: Place, trend: &Trend, (units, per): (UnitSystem, f64), (limit, without): (f64, usize)) -> String {
    let place = place.words();
    let symbol = mechanics::quantity::Unit::row(ridden_unit(units)).symbol;
    let slope = trend.slope_per_kilometer.map_or(0.0, |slope| slope * per);
    let mut said = match trend.state {
        TrendState::TooFew => format!(
            "{place}: too few to show a trend, {} of at least {} points since the last change",
            trend.count,
            mechanics::follow::FEWEST_POINTS
        ),
        TrendState::None => format!("{place}: no trend in {} points", trend.count),
        TrendState::Closing | TrendState::Opening => {
            let way = if trend.state == TrendState::Closing {
                "closed"
            } else {
                "open"
            };
            format!(
                "{place}: moves towards {way}, {:.1} % of its range each 1,000 {symbol}",
                slope.abs() * 100.0
            )
        }
    };
    if let Some(distance) = trend.limit_distance {
        said.push_str(&format!(
            "; if it goes on so, it reaches {:.0} % of its range at about {:.0} {symbol}",
            limit * 100.0,
            distance.get(ridden_unit(units))
        ));
    } else if trend.state == TrendState::Closing {
        said.push_str(&format!("; it is at {:.0} % of its range or less", limit * 100.0));
    }
    if without > 0 {
        said.push_str(&format!("; {without} without a distance do not count"));
    }
    said
}
