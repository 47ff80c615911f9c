//! Straight lines through points that are uncertain in both variables.

use crate::quantity::{Load, Quantity, SpringRate};

use super::line::{Group, Line};
use super::{BothErrorsLine, Request};

/// A point with the standard uncertainty of each of its values. Plain numbers: what is on the axes is not known here.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UncertainPoint {
    /// To the right.
    pub x: f64,
    /// Upwards.
    pub y: f64,
    /// Standard uncertainty of `x`, 0 or more.
    pub x_u: f64,
    /// Standard uncertainty of `y`, 0 or more.
    pub y_u: f64,
}

/// A line through such points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UncertainLine {
    /// Slope.
    pub slope: f64,
    /// Its standard uncertainty.
    pub slope_standard_uncertainty: f64,
    /// Height at 0.
    pub intercept: f64,
    /// Its standard uncertainty.
    pub intercept_standard_uncertainty: f64,
    /// Weighted square sum of the residuals over its degrees of freedom: near 1 where the stated uncertainties hold. The
    /// standard uncertainties are not multiplied by its root.
    pub misfit_ratio: f64,
}

/// Rounds of the slope; it settles in some ten.
const ROUNDS: usize = 500;
/// Change of the slope, over itself, at which it has settled.
const SETTLED: f64 = 1e-15;

/// The line with errors in both variables, which are independent of each other.
///
/// With `W = 1/(u_y^2 + b^2 u_x^2)`, `U` and `V` from the means weighted by `W`, and `beta = W (U u_y^2 + b V u_x^2)`:
/// `b = Sum W beta V / Sum W beta U`, repeated until it stands, `a = Y - b X`. The uncertainties are those of the adjusted
/// points, `x = X + beta`: `u(b)^2 = 1/Sum W (x - mean x)^2`, `u(a)^2 = 1/Sum W + (mean x)^2 u(b)^2`; published pairs from the
/// points as observed, or multiplied by the root of the misfit, are other definitions. Source: York, Evensen, Martinez, De
/// Basabe, Am. J. Phys. 72 (2004) 367. Where every point has the same two uncertainties this is Deming's line, and with equal
/// ones the orthogonal line. `None` below three points, where a point has no uncertainty at all, where all points have one `x`,
/// and where the slope does not settle.
/// Example: Pearson's points with York's weights give -0.480533 with 0.057985.
#[must_use]
pub fn fit_uncertain_points(points: &[UncertainPoint]) -> Option<UncertainLine> {
    let sure = |p: &UncertainPoint| p.x_u * p.x_u + p.y_u * p.y_u > 0.0 && (p.x + p.y).is_finite();
    if points.len() < 3 || !points.iter().all(sure) {
        return None;
    }
    let mut slope = unweighted(points)?;
    for _ in 0..ROUNDS {
        let round = Round::at(points, slope);
        let moved = (round.next - slope).abs();
        slope = round.next;
        if !slope.is_finite() {
            return None;
        }
        if moved <= SETTLED * slope.abs() {
            return Some(Round::at(points, slope).line(slope, points.len()));
        }
    }
    None
}

/// Ordinary slope, to begin with.
fn unweighted(points: &[UncertainPoint]) -> Option<f64> {
    let n = points.len() as f64;
    let (x, y) = points.iter().fold((0.0, 0.0), |(x, y), p| (x + p.x / n, y + p.y / n));
    let (xx, xy) = points.iter().fold((0.0, 0.0), |(xx, xy), p| {
        (xx + (p.x - x).powi(2), xy + (p.x - x) * (p.y - y))
    });
    Some(xy / xx).filter(|slope| slope.is_finite())
}

/// The sums at a slope.
struct Round {
    next: f64,
    weight: f64,
    mean: (f64, f64),
    /// Weighted mean of the adjusted `x`, and the square sum about it.
    adjusted: f64,
    spread: f64,
    misfit: f64,
}

impl Round {
    fn at(points: &[UncertainPoint], slope: f64) -> Self {
        let weigh = |p: &UncertainPoint| 1.0 / (p.y_u * p.y_u + (slope * p.x_u).powi(2));
        let weight: f64 = points.iter().map(weigh).sum();
        let mean = points.iter().fold((0.0, 0.0), |(x, y), p| {
            let share = weigh(p) / weight;
            (x + share * p.x, y + share * p.y)
        });
        let beta = |p: &UncertainPoint| {
            let (u, v) = (p.x - mean.0, p.y - mean.1);
            weigh(p) * (u * p.y_u * p.y_u + slope * v * p.x_u * p.x_u)
        };
        let (mut up, mut down, mut middle, mut misfit) = (0.0, 0.0, 0.0, 0.0);
        for p in points {
            let (w, b) = (weigh(p), beta(p));
            up += w * b * (p.y - mean.1);
            down += w * b * (p.x - mean.0);
            middle += w / weight * b;
            misfit += w * (p.y - mean.1 - slope * (p.x - mean.0)).powi(2);
        }
        Self {
            next: up / down,
            weight,
            mean,
            adjusted: mean.0 + middle,
            spread: points.iter().map(|p| weigh(p) * (beta(p) - middle).powi(2)).sum(),
            misfit,
        }
    }

    fn line(&self, slope: f64, count: usize) -> UncertainLine {
        let variance = 1.0 / self.spread;
        UncertainLine {
            slope,
            slope_standard_uncertainty: variance.sqrt(),
            intercept: self.mean.1 - slope * self.mean.0,
            intercept_standard_uncertainty: (1.0 / self.weight + self.adjusted.powi(2) * variance).sqrt(),
            misfit_ratio: self.misfit / (count as f64 - 2.0),
        }
    }
}

/// The window's line with errors in both variables, where the noise of both is stated: one slope common to every group of
/// readings, an intercept for each. With the square sums `ss`, `sf`, `ff` about the groups' means and `d = u_f^2/u_s^2`,
/// `b = (ff - d ss + sqrt((ff - d ss)^2 + 4 d sf^2))/(2 sf)` (Deming 1943, from memory); the uncertainty of the slope is York's for
/// equal weights, that of the mean line's height `sqrt(u_f^2 + b^2 u_s^2)` over the root of the readings at its centre.
pub(super) fn of_window(request: &Request, groups: &[Group], line: &Line, origin: f64) -> Option<BothErrorsLine> {
    let given = &request.uncertainty;
    let (s_u, f_u) = (given.deflection_noise?.si(), given.load_noise?.si());
    let sums = groups
        .iter()
        .map(moments)
        .fold((0.0, 0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1, a.2 + b.2));
    let slope = deming(sums, s_u * s_u, f_u * f_u).filter(|slope| slope.is_finite())?;
    let (ss, sf, ff) = sums;
    let w = 1.0 / (f_u * f_u + (slope * s_u).powi(2));
    // Adjusted deflections about their mean: beta = W (ds u_f^2 + b df u_s^2).
    let (own, other) = (w * f_u * f_u, w * slope * s_u * s_u);
    let spread = own * own * ss + 2.0 * own * other * sf + other * other * ff;
    let variance = 1.0 / (w * spread);
    let dof = line.count as f64 - groups.len() as f64 - 1.0;
    let away = line.center - origin;
    let height = 1.0 / (w * line.count as f64);
    Some(BothErrorsLine {
        slope: SpringRate::from_si(slope),
        slope_standard_uncertainty: SpringRate::from_si(variance.sqrt()),
        intercept: Load::from_si(line.level - slope * away),
        intercept_standard_uncertainty: Load::from_si((height + away * away * variance).sqrt()),
        misfit_ratio: (dof > 0.0).then(|| w * (ff - 2.0 * slope * sf + slope * slope * ss) / dof),
        slope_difference_ratio: slope / line.slope - 1.0,
    })
    .filter(|found| found.slope_standard_uncertainty.si().is_finite())
}

fn deming((ss, sf, ff): (f64, f64, f64), s_variance: f64, f_variance: f64) -> Option<f64> {
    if s_variance == 0.0 {
        return (f_variance > 0.0).then_some(sf / ss);
    }
    let d = f_variance / s_variance;
    let half = ff - d * ss;
    let root = half.hypot(2.0 * d.sqrt() * sf);
    // Whichever form does not take nearly equal numbers from one another.
    Some(if half >= 0.0 {
        (half + root) / (2.0 * sf)
    } else {
        2.0 * d * sf / (root - half)
    })
}

/// Square sums about the group's means: deflections, both, loads.
fn moments(group: &Group) -> (f64, f64, f64) {
    let n = group.points.len().max(1) as f64;
    let (s, f) = group.points.iter().fold((0.0, 0.0), |(s, f), p| (s + p.s, f + p.f));
    let (s, f) = (s / n, f / n);
    group.points.iter().fold((0.0, 0.0, 0.0), |(ss, sf, ff), p| {
        let (ds, df) = (p.s - s, p.f - f);
        (ss + ds * ds, sf + ds * df, ff + df * df)
    })
}
