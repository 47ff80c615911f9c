//! What a curve is: straight, of several straight parts, or bending throughout; claimed only where noise cannot explain it.

use crate::estimate::coverage_factor;

use super::least::{Least, least_squares};
use super::samples::Point;
use super::segments::{LEAST_SIDE, MOST, SIDE, Segments, broken_lines, stands_on};

/// Above so many readings the curve is judged over means.
const MOST_POINTS: usize = 4_000;
/// Means it is judged over then.
const MEANS: usize = 2_000;
/// A step of the rate below this share is no knee.
const STEP: f64 = 0.03;
/// A part between two knees is longer than this share of the travel that was judged (common practice, no source).
const CORNER: f64 = 0.05;
/// What three standard deviations cover of a normal distribution.
const OF_THREE: f64 = 0.997_300_203_936_739_8;
/// Fewest readings a serial correlation is estimated from.
const READINGS_FOR_CORRELATION: f64 = 30.0;
/// Residuals below this share of the loads are rounding.
const ROUNDING: f64 = 1e-9;

/// A curve with the broken lines through it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Judged {
    /// The best broken lines of 1, 2, ... segments.
    pub(super) lines: Vec<Segments>,
    /// The line that is claimed: each of its segments stands on four readings at least.
    claimed: Option<Segments>,
    /// Segments the readings bear out, from 1.
    pub(super) chosen: usize,
    /// How likely what is claimed is among what was compared; `None` where the segments were given.
    pub(super) probability: Option<f64>,
    /// Whether a bent curve says as much with fewer parameters.
    pub(super) bent: Option<Bend>,
    /// Readings, or means of them, that were judged.
    pub(super) count: usize,
    /// Readings that count after the residuals' serial correlation.
    pub(super) effective: f64,
}

/// Which way a curve bends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Bend {
    /// The rate rises.
    Rising,
    /// The rate falls, or rises and falls.
    Other,
}

impl Judged {
    pub(super) fn line(&self) -> Option<&Segments> {
        self.claimed.as_ref()
    }
}

/// `n ln(RSS/n) + p ln n`.
pub(super) fn information(rss: f64, count: f64, parameters: f64) -> f64 {
    count * (rss / count).ln() + parameters * count.ln()
}

/// Parameters a broken line of so many segments counts for: its own 2K and K - 1 more, because its breaks were searched.
/// With 2K alone straight runs of 16 to 51 readings show a knee in 18 to 4 % of the cases.
pub(super) fn searched_parameters(segments: usize) -> f64 {
    3.0 * segments as f64 - 1.0
}

/// Judges readings in order of deflection. `forced` takes so many segments as given. `None` below eight readings.
pub(super) fn judge(sorted: &[Point], most: Option<usize>, forced: Option<usize>) -> Option<Judged> {
    if sorted.len() < 2 * SIDE {
        return None;
    }
    let means;
    let points = if sorted.len() > MOST_POINTS {
        means = thinned(sorted, MEANS);
        &means
    } else {
        sorted
    };
    let most = forced.or(most).unwrap_or(MOST - 1);
    let compared = broken_lines(points, most, LEAST_SIDE);
    let lines = if compared.iter().all(|line| stands_on(line, points, SIDE)) {
        compared.clone()
    } else {
        broken_lines(points, most, SIDE)
    };
    let n = points.len() as f64;
    let bends: Vec<Least> = [3, 4].into_iter().filter_map(|terms| bend(points, terms)).collect();
    let correlation = correlation(points, &lines, &bends);
    let effective = if n >= READINGS_FOR_CORRELATION && correlation > 1.96 / n.sqrt() {
        (n * (1.0 - correlation) / (1.0 + correlation)).max(2.0 * SIDE as f64)
    } else {
        n
    };
    let mean = points.iter().map(|p| p.f / n).sum::<f64>();
    let height = points.iter().map(|p| (p.f - mean).abs()).fold(0.0, f64::max);
    let floor = n * (ROUNDING * height).powi(2);
    // Information of the readings that count; what is only rounding is no gain.
    let score = |rss: f64, parameters: f64| information(rss.max(floor) * effective / n, effective, parameters);
    let scores = lines
        .iter()
        .enumerate()
        .map(|(k, line)| (k + 1, score(line.rss, searched_parameters(k + 1))));
    let mut ranked: Vec<(usize, f64)> = scores.collect();
    ranked.sort_by(|a, b| a.1.total_cmp(&b.1));
    let span = points.last()?.s - points.first()?.s;
    let sure = |segments: usize| {
        lines
            .get(segments - 1)
            .is_some_and(|line| every_step_stands_out(line, n, effective, span))
    };
    let (mut chosen, least) = ranked.iter().copied().find(|(k, _)| *k == 1 || sure(*k))?;
    let mut bent = None;
    let straight = lines.first()?.rss.max(floor);
    let mut compared_with: Vec<(Kind, f64)> = ranked
        .iter()
        .map(|(k, score)| {
            (
                Kind::of_segments((2..=*k).rev().find(|k| sure(*k)).unwrap_or(1)),
                *score,
            )
        })
        .collect();
    for (fit, terms) in bends.iter().zip([3.0_f64, 4.0]) {
        let stands_out = straight > floor && curvature_stands_out(fit, n, effective);
        let own = score(fit.rss, terms);
        if stands_out && own < least && bent.is_none() {
            bent = Some(direction(fit, points));
        }
        compared_with.push((if stands_out { Kind::Bent } else { Kind::Straight }, own));
    }
    let claimed = bent.map_or(Kind::of_segments(chosen), |_| Kind::Bent);
    let probability = forced.is_none().then(|| weight_of(claimed, &compared_with));
    if let Some(forced) = forced {
        chosen = forced.min(compared.len());
    }
    let from = if forced.is_some() { &compared } else { &lines };
    Some(Judged {
        claimed: from.get(chosen - 1).cloned(),
        lines: compared,
        chosen,
        probability,
        bent,
        count: points.len(),
        effective,
    })
}

/// What a curve is claimed to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Straight,
    TwoParts,
    /// Of more parts, or bending throughout.
    Bent,
}

impl Kind {
    fn of_segments(count: usize) -> Self {
        match count {
            0 | 1 => Self::Straight,
            2 => Self::TwoParts,
            _ => Self::Bent,
        }
    }
}

/// Share of one kind in the weights `exp(-I/2)` of all that were compared (Schwarz 1978, equal odds beforehand; from memory).
fn weight_of(kind: Kind, compared: &[(Kind, f64)]) -> f64 {
    let least = compared.iter().map(|(_, score)| *score).fold(f64::INFINITY, f64::min);
    let weight = |score: f64| (0.5 * (least - score)).exp();
    let all: f64 = compared.iter().map(|(_, score)| weight(*score)).sum();
    let own = compared.iter().filter(|(known, _)| *known == kind);
    own.map(|(_, score)| weight(*score)).sum::<f64>() / all
}

/// Whether each step of the rate exceeds three of its uncertainties (Student's quantile of as much probability) and 3 %.
fn every_step_stands_out(line: &Segments, n: f64, effective: f64, span: f64) -> bool {
    let dof = effective - 2.0 * line.rates.len() as f64;
    if dof < 1.0 || rounds_a_corner(line, span) {
        return false;
    }
    let sure = coverage_factor(OF_THREE, Some(dof)) * (n / effective).sqrt();
    let sides = line.rates.iter().zip(&line.rates_u);
    sides.clone().zip(sides.skip(1)).all(|((before, ub), (after, ua))| {
        let step = (after - before).abs();
        step > sure * ub.hypot(*ua) && step > STEP * before.abs()
    })
}

/// Whether a part between two others is so short that it is the rounding of one knee: coils do not close all at once.
fn rounds_a_corner(line: &Segments, span: f64) -> bool {
    let between = line.breaks.iter().zip(line.breaks.iter().skip(1));
    between.into_iter().any(|(from, to)| to - from < CORNER * span)
}

/// A polynomial of so many terms over the readings, deflections brought to -1 ... 1.
fn bend(points: &[Point], terms: usize) -> Option<Least> {
    let (low, high) = (points.first()?.s, points.last()?.s);
    let x: Vec<f64> = points.iter().map(|p| (2.0 * p.s - low - high) / (high - low)).collect();
    let columns: Vec<Vec<f64>> = (0..terms)
        .map(|k| x.iter().map(|x| x.powi(i32::try_from(k).unwrap_or(0))).collect())
        .collect();
    least_squares(&columns, &points.iter().map(|p| p.f).collect::<Vec<_>>())
}

/// Whether the highest term exceeds three of its uncertainties, and the rate changes by more than 3 % over the readings.
fn curvature_stands_out(fit: &Least, n: f64, effective: f64) -> bool {
    let terms = fit.coefficients.len();
    let dof = effective - terms as f64;
    if dof < 1.0 {
        return false;
    }
    let (Some(last), Some(variance)) = (
        fit.coefficients.last(),
        fit.covariance.last().and_then(|row| row.last()),
    ) else {
        return false;
    };
    let scatter = (fit.rss / (n - terms as f64).max(1.0)).sqrt() * (n / effective).sqrt();
    let (low, high) = rates(fit);
    last.abs() > coverage_factor(OF_THREE, Some(dof)) * scatter * variance.sqrt()
        && (high - low).abs() > STEP * low.abs()
}

/// Slope of the polynomial at both ends.
fn rates(fit: &Least) -> (f64, f64) {
    let at = |x: f64| {
        let terms = fit.coefficients.iter().enumerate().skip(1);
        terms
            .map(|(k, c)| k as f64 * c * x.powi(i32::try_from(k).unwrap_or(1) - 1))
            .sum::<f64>()
    };
    (at(-1.0), at(1.0))
}

fn direction(fit: &Least, points: &[Point]) -> Bend {
    let curvature = |x: f64| {
        let quadratic = fit.coefficients.get(2).copied().unwrap_or(0.0);
        2.0 * quadratic + 6.0 * fit.coefficients.get(3).copied().unwrap_or(0.0) * x
    };
    let (low, high) = rates(fit);
    // At the very ends a cubic may turn a little without meaning it.
    let rises = low > 0.0 && high > low && curvature(-0.5) >= 0.0 && curvature(0.5) >= 0.0;
    if rises && !points.is_empty() {
        Bend::Rising
    } else {
        Bend::Other
    }
}

/// Lag-1 correlation of the residuals, the smaller of what the richest line and the richest polynomial leave: what either
/// explains is shape, not noise.
fn correlation(points: &[Point], lines: &[Segments], bends: &[Least]) -> f64 {
    let of = |residuals: Vec<f64>| {
        let square: f64 = residuals.iter().map(|r| r * r).sum();
        let lagged: f64 = residuals.iter().zip(residuals.iter().skip(1)).map(|(a, b)| a * b).sum();
        if square > 0.0 { lagged / square } else { 0.0 }
    };
    let line = lines.last().map(|line| of(residuals_of_line(points, line)));
    let bend = bends.last().and_then(|fit| Some(of(residuals_of_bend(points, fit)?)));
    line.unwrap_or(0.0).min(bend.unwrap_or(f64::INFINITY))
}

fn residuals_of_line(points: &[Point], line: &Segments) -> Vec<f64> {
    let height = |p: &Point| {
        let first = line.rates.first().copied().unwrap_or(0.0);
        let steps = line.rates.iter().zip(line.rates.iter().skip(1)).map(|(a, b)| b - a);
        first * p.s
            + line
                .breaks
                .iter()
                .zip(steps)
                .map(|(at, step)| step * (p.s - at).max(0.0))
                .sum::<f64>()
    };
    let raw: Vec<f64> = points.iter().map(|p| p.f - height(p)).collect();
    let mean = raw.iter().sum::<f64>() / raw.len().max(1) as f64;
    raw.into_iter().map(|r| r - mean).collect()
}

fn residuals_of_bend(points: &[Point], fit: &Least) -> Option<Vec<f64>> {
    let (low, high) = (points.first()?.s, points.last()?.s);
    let at = |p: &Point| {
        let x = (2.0 * p.s - low - high) / (high - low);
        p.f - fit.coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
    };
    Some(points.iter().map(at).collect())
}

/// Means of runs of as equal a count as there can be.
pub(super) fn thinned(sorted: &[Point], runs: usize) -> Vec<Point> {
    let n = sorted.len();
    let runs = runs.min(n);
    (0..runs)
        .filter_map(|run| sorted.get(run * n / runs..(run + 1) * n / runs))
        .map(|run| {
            let count = run.len() as f64;
            let (s, f) = run.iter().fold((0.0, 0.0), |(s, f), p| (s + p.s, f + p.f));
            Point {
                s: s / count,
                f: f / count,
            }
        })
        .collect()
}
