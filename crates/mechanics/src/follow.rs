//! Following a machine from visit to visit: what an adjuster's share left does with the distance ridden, and whether what was
//! predicted came true.
//!
//! Few points, rounded to whole clicks, now and then a wild one: a robust line with an exact interval, and a plain refusal to
//! see a trend where there is none.

mod kendall;

use crate::estimate::{Contribution, Coverage, Estimate};
use crate::quantity::{Length, LengthUnit, Quantity};

/// Points from which on a trend is looked for: three points in perfect order come by chance once in three times, five once in
/// sixty.
pub const FEWEST_POINTS: usize = 5;

/// The share left of one adjuster at one visit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShareAt {
    /// Distance ridden by then.
    pub distance: Length,
    /// Position over range, counted from closed: 0 to 1.
    pub share: f64,
}

/// What a trend is judged by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrendRules {
    /// Share at which an adjuster is near its limit.
    pub limit: f64,
    /// Probability the interval of the slope covers.
    pub coverage: f64,
}

/// What can be said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TrendState {
    /// Too few points to show a trend.
    TooFew,
    /// The interval of the slope holds zero.
    None,
    /// Towards closed.
    Closing,
    /// Towards open.
    Opening,
}

/// A robust line through shares against distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// What can be said.
    pub state: TrendState,
    /// Points taken, each at its own distance.
    pub count: usize,
    /// Median of the pairwise slopes, share for each kilometre; none of fewer than two points.
    pub slope_per_kilometer: Option<f64>,
    /// Interval of the slope; none where so few points cannot give the coverage.
    pub interval_per_kilometer: Option<(f64, f64)>,
    /// Median of the shares less slope times median of the distances.
    pub intercept: Option<f64>,
    /// Probability of an order at least as strong without a trend, two-sided.
    pub order_probability: Option<f64>,
    /// Distance at which the line reaches the limit: of a share that closes and is not there yet.
    pub limit_distance: Option<Length>,
}

/// Share left against distance: the median `m` of the slopes `(y_j - y_i)/(x_j - x_i)` of all pairs (Theil 1950, Sen 1968),
/// intercept `median(y) - m median(x)`, and the interval of `m` from the exact null distribution of Kendall's S (its
/// recursion: Kendall, Rank Correlation Methods, from memory; above 100 points the normal approximation). Equal shares count
/// for neither direction, which makes the interval wider, never narrower. Of points at one distance the last one counts.
///
/// A trend is told from five points on, and only where the interval excludes zero. Valid for shares between 0 and 1; the line
/// says nothing of what happens beyond the last point but how things went so far.
#[must_use]
pub fn share_trend(points: &[ShareAt], rules: TrendRules) -> Trend {
    let points = at_own_distance(points);
    let count = points.len();
    let mut slopes = pairwise_slopes(&points);
    slopes.sort_by(f64::total_cmp);
    let Some(slope) = median(&slopes) else {
        return Trend {
            state: TrendState::TooFew,
            count,
            slope_per_kilometer: None,
            interval_per_kilometer: None,
            intercept: None,
            order_probability: None,
            limit_distance: None,
        };
    };
    let interval = kendall::least_rank(count, 1.0 - rules.coverage).and_then(|rank| {
        let low = slopes.get(rank.checked_sub(1)?)?;
        let high = slopes.get(slopes.len().checked_sub(rank)?)?;
        Some((*low, *high))
    });
    let state = match interval {
        _ if count < FEWEST_POINTS => TrendState::TooFew,
        None => TrendState::TooFew,
        Some((_, high)) if high < 0.0 => TrendState::Closing,
        Some((low, _)) if low > 0.0 => TrendState::Opening,
        Some(_) => TrendState::None,
    };
    let sorted = |of: fn(&(f64, f64)) -> f64| {
        let mut values: Vec<f64> = points.iter().map(of).collect();
        values.sort_by(f64::total_cmp);
        median(&values)
    };
    let intercept = sorted(|point| point.1)
        .zip(sorted(|point| point.0))
        .map(|(y, x)| y - slope * x);
    let rising = slopes.iter().filter(|slope| **slope > 0.0).count();
    let falling = slopes.iter().filter(|slope| **slope < 0.0).count();
    Trend {
        state,
        count,
        slope_per_kilometer: Some(slope),
        interval_per_kilometer: interval,
        intercept,
        order_probability: Some(kendall::two_sided(count, rising.abs_diff(falling))),
        limit_distance: (state == TrendState::Closing)
            .then(|| limit_distance(&points, slope, intercept, rules.limit))
            .flatten(),
    }
}

/// Where the line meets the limit, if that still lies ahead.
fn limit_distance(points: &[(f64, f64)], slope: f64, intercept: Option<f64>, limit: f64) -> Option<Length> {
    let (last, share) = points.last()?;
    let reached = (limit - intercept?) / slope;
    (*share > limit && reached > *last).then(|| Length::new(reached, LengthUnit::Kilometer))
}

/// Kilometres and shares in order of distance; of one distance the last point given.
fn at_own_distance(points: &[ShareAt]) -> Vec<(f64, f64)> {
    let mut sorted: Vec<(f64, f64)> = points
        .iter()
        .map(|point| (point.distance.get(LengthUnit::Kilometer), point.share))
        .collect();
    // Stable: the order in which they were given stands within one distance.
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    sorted.reverse();
    sorted.dedup_by(|a, b| a.0 == b.0);
    sorted.reverse();
    sorted
}

fn pairwise_slopes(points: &[(f64, f64)]) -> Vec<f64> {
    let pairs = points.iter().enumerate().flat_map(|(index, first)| {
        let later = points.iter().skip(index + 1);
        later.map(move |second| (second.1 - first.1) / (second.0 - first.0))
    });
    pairs.collect()
}

/// The median of sorted values.
fn median(sorted: &[f64]) -> Option<f64> {
    let middle = sorted.len() / 2;
    let upper = sorted.get(middle)?;
    match sorted.len() % 2 {
        1 => Some(*upper),
        _ => Some(f64::midpoint(*sorted.get(middle - 1)?, *upper)),
    }
}

/// What was measured after the work, against what was predicted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PredictionMet {
    /// Measured less predicted.
    pub difference: Length,
    /// Its standard uncertainty: both, in squares.
    pub standard_uncertainty: Length,
    /// Whether it is more than two of those.
    pub differs: bool,
}

/// Compares a measurement with its prediction: they differ where `|difference| > 2 sqrt(u1^2 + u2^2)`.
#[must_use]
pub fn prediction_met(predicted: (Length, Length), measured: (Length, Length)) -> PredictionMet {
    let difference = measured.0.si() - predicted.0.si();
    let u = measured.1.si().hypot(predicted.1.si());
    PredictionMet {
        difference: Length::from_si(difference),
        standard_uncertainty: Length::from_si(u),
        differs: difference.abs() > 2.0 * u,
    }
}

/// Travel used as an o-ring, a tie or a marker on the shaft shows it: read to 1 mm to either side, rectangular (common practice,
/// no source).
#[must_use]
pub fn travel_reading(length: Length) -> Estimate<Length> {
    let row = Contribution::type_b("reading of the marker", READ_TO / 3.0_f64.sqrt(), 1.0);
    Estimate::of_budget(length.si(), vec![row], Coverage::of(None))
}

/// How far to either side a marker is read, m.
const READ_TO: f64 = 1e-3;
