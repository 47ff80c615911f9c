//! The rate at a place of the curve, with its uncertainty; and the broken lines as they are answered.

use crate::estimate::{Contribution, Coverage, Estimate};
use crate::quantity::{Deflection, Load, Quantity, SpringRate};

use super::samples::Point;
use super::segments::Segments;
use super::shape::{Judged, information, searched_parameters};
use super::{BrokenLine, CurveFit, LocalRate, Request, budget};

/// Readings to either side of a local rate where none are asked for, as a share of all.
const SHARE: usize = 20;

/// The broken lines as answered, tare taken off.
pub(super) fn curve_fit(judged: &Judged, tare: f64, coverage: Coverage) -> CurveFit {
    let n = judged.count as f64;
    let rss = |k: usize| judged.lines.get(k).map(|line| line.rss);
    let ratio = rss(0)
        .zip(rss(1))
        .map(|(one, two)| (one - two) / 2.0 / (two / (n - 4.0)));
    CurveFit {
        lines: judged
            .lines
            .iter()
            .map(|line| broken_line(line, judged, tare, coverage))
            .collect(),
        chosen_segment_count: judged.chosen,
        break_f_ratio: ratio.filter(|ratio| ratio.is_finite()),
        point_count: judged.count,
        effective_point_count: judged.effective,
    }
}

/// One of them, its uncertainties widened for what neighbouring readings share.
pub(super) fn broken_line(line: &Segments, judged: &Judged, tare: f64, coverage: Coverage) -> BrokenLine {
    let n = judged.count as f64;
    let spread = (n / judged.effective).sqrt();
    let segments = line.rates.len();
    let dof = (judged.effective - 2.0 * segments as f64).max(1.0);
    BrokenLine {
        breaks: line
            .breaks
            .iter()
            .zip(&line.breaks_u)
            .map(|(at, u)| scattered::<Deflection>(*at, u * spread, dof, coverage))
            .collect(),
        loads: line.loads.iter().map(|load| Load::from_si(load - tare)).collect(),
        rates: line
            .rates
            .iter()
            .zip(&line.rates_u)
            .map(|(rate, u)| scattered::<SpringRate>(*rate, u * spread, dof, coverage))
            .collect(),
        residual_square_sum: line.rss,
        residual_standard_deviation: Load::from_si(line.scatter),
        information: information(line.rss, n, 2.0 * segments as f64),
        searched_information: information(line.rss, n, searched_parameters(segments)),
    }
}

/// A value whose uncertainty is the scatter's alone.
pub(super) fn scattered<Q: Quantity>(value: f64, u: f64, dof: f64, coverage: Coverage) -> Estimate<Q> {
    let rows = (u > 0.0 && u.is_finite()).then(|| Contribution::type_a("scatter about the line", u, 1.0, Some(dof)));
    Estimate::of_budget(value, rows.into_iter().collect(), coverage)
}

/// Rates where they are asked for: a line through the readings nearest to the place, `m` to either side.
///
/// `u(k) = sigma/sqrt(Sxx)`, for even spacing `sigma/(h sqrt(m(m + 1)(2m + 1)/3))`; from two neighbours alone
/// `sqrt(2) sigma/h`. Where a knee lies within, half of its step is added as a limit (rectangular): the line mixes both rates.
pub(super) fn rates(request: &Request, sorted: &[Point], judged: Option<&Judged>, span: (f64, f64)) -> Vec<LocalRate> {
    let asked = &request.curve;
    let coverage = budget::coverage(request);
    let noise = asked.load_noise.or(request.uncertainty.load_noise);
    let knees = judged.and_then(Judged::line);
    let usual = (sorted.len() / SHARE).clamp(2, 200);
    let half = asked.rate_half_count.unwrap_or(usual);
    let count = asked.rate_place_count.unwrap_or(0);
    let (low, high) = span;
    let spread = (0..count).map(|k| low + (high - low) * (k as f64 + 0.5) / count as f64);
    let places = asked.rate_at.iter().map(|place| place.si()).chain(spread);
    places
        .filter_map(|place| local(sorted, place, half, noise, knees, coverage))
        .collect()
}

fn local(
    sorted: &[Point],
    place: f64,
    half: usize,
    noise: Option<Load>,
    line: Option<&Segments>,
    coverage: Coverage,
) -> Option<LocalRate> {
    let after = sorted.partition_point(|p| p.s < place);
    let nearest = match (after.checked_sub(1).and_then(|k| sorted.get(k)), sorted.get(after)) {
        (Some(a), Some(b)) if place - a.s < b.s - place => after - 1,
        (_, Some(_)) => after,
        (_, None) => after.checked_sub(1)?,
    };
    let from = nearest
        .saturating_sub(half)
        .min(sorted.len().saturating_sub(2 * half + 1));
    let readings = sorted.get(from..(from + 2 * half + 1).min(sorted.len()))?;
    let n = readings.len() as f64;
    let (s, f) = readings.iter().fold((0.0, 0.0), |(s, f), p| (s + p.s / n, f + p.f / n));
    let sxx: f64 = readings.iter().map(|p| (p.s - s).powi(2)).sum();
    let slope = readings.iter().map(|p| (p.s - s) * (p.f - f)).sum::<f64>() / sxx;
    let rss: f64 = readings.iter().map(|p| (p.f - f - slope * (p.s - s)).powi(2)).sum();
    if !slope.is_finite() {
        return None;
    }
    let dof = (n - 2.0).max(1.0);
    let sigma = noise.map_or_else(|| (rss / dof).sqrt(), Quantity::si);
    let (low, high) = (readings.first()?.s, readings.last()?.s);
    let step: f64 = line.map_or(0.0, |line| {
        let rates = line.rates.iter().zip(line.rates.iter().skip(1));
        let within = line
            .breaks
            .iter()
            .zip(rates)
            .filter(|(at, _)| (low..=high).contains(*at));
        within.map(|(_, (before, after))| (after - before).abs()).sum()
    });
    let mut rows = Vec::new();
    let u = sigma / sxx.sqrt();
    if u > 0.0 {
        rows.push(match noise {
            Some(_) => Contribution::type_b("noise of the loads as stated", u, 1.0),
            None => Contribution::type_a("scatter of the readings around", u, 1.0, Some(dof)),
        });
    }
    if step > 0.0 {
        rows.push(Contribution::type_b(
            "a knee within the readings around",
            step / 2.0 / 3.0_f64.sqrt(),
            1.0,
        ));
    }
    let spacing = (high - low) / (n - 1.0);
    Some(LocalRate {
        deflection: Deflection::from_si(s),
        rate: Estimate::of_budget(slope, rows, coverage),
        two_point_standard_uncertainty: SpringRate::from_si(2.0_f64.sqrt() * sigma / spacing),
        point_count: readings.len(),
    })
}
