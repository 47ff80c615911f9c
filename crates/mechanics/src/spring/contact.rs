//! The no-load level, and where the platen meets the spring.

use std::ops::Range;

use crate::quantity::{Load, Quantity};

use super::samples::Point;
use super::strokes::Strokes;
use super::{SpringError, Tare};

/// What the cell shows without load.
#[derive(Debug, Clone, Copy)]
pub(super) struct NoLoad {
    pub(super) level: f64,
    /// Standard deviation of the readings; `None` where the level was given.
    pub(super) noise: Option<f64>,
    /// Readings it was taken from.
    pub(super) count: usize,
    /// Deflection at which the approach ended; `None` where none was seen.
    pub(super) approach_end: Option<f64>,
}

impl NoLoad {
    /// Standard uncertainty of the level.
    pub(super) fn u(&self) -> f64 {
        self.noise
            .map_or(0.0, |noise| noise / (self.count.max(1) as f64).sqrt())
    }
}

/// Finds the no-load level by the rule; `None` where no tare is taken off.
///
/// # Errors
/// [`SpringError::NoContact`] where a level is known and no load stands out of it.
pub(super) fn no_load(rule: Tare, points: &[Point], strokes: &Strokes) -> Result<Option<NoLoad>, SpringError> {
    let mut found = match rule {
        Tare::None => return Ok(None),
        Tare::Automatic => match first_press(strokes).and_then(|press| from_approach(points, press)) {
            Some(found) => found,
            None => return Ok(None),
        },
        Tare::Level(load) => NoLoad {
            level: load.si(),
            noise: None,
            count: 0,
            approach_end: None,
        },
        Tare::LeadingSamples(count) => {
            let count = count.min(points.len());
            let (level, noise) = level_and_noise(points.iter().take(count).map(|p| p.f));
            NoLoad {
                level,
                noise: Some(noise),
                count,
                approach_end: None,
            }
        }
    };
    let largest = points.iter().map(|p| p.f).fold(f64::NEG_INFINITY, f64::max);
    let noise = found.noise.unwrap_or(0.0);
    if largest - found.level <= STANDS_OUT * noise || largest <= found.level {
        return Err(SpringError::NoContact {
            tare: Load::from_si(found.level),
            noise: Load::from_si(noise),
            largest: Load::from_si(largest),
        });
    }
    if found.approach_end.is_none() && strokes.ordered {
        let out = (STANDS_OUT * noise).max(LEADING_RISE * (largest - found.level));
        found.approach_end = first_press(strokes).and_then(|press| {
            let end = leading(points, &press, found.level + out);
            (end > 0).then(|| points.get(press.start + end - 1).map(|p| p.s))?
        });
    }
    Ok(Some(found))
}

/// A load this many standard deviations above the level stands out of it.
const STANDS_OUT: f64 = 5.0;
/// Share of the load range below which a reading may belong to the approach.
const LEADING_RISE: f64 = 0.02;
/// Share of the travel an approach takes up at least: twice what a straight spring would need for that rise.
const LEADING_TRAVEL: f64 = 0.04;
/// Readings an approach holds at least.
const LEADING_COUNT: usize = 4;

fn first_press(strokes: &Strokes) -> Option<Range<usize>> {
    if !strokes.ordered {
        return None;
    }
    strokes.strokes.iter().find_map(|stroke| stroke.press.first().cloned())
}

/// Reads the level off the approach: the leading readings of the first press, flat while the platen moves. A platen at rest
/// says nothing of the load being zero, so the readings must cover twice the travel the rise would need on a straight spring.
fn from_approach(points: &[Point], press: Range<usize>) -> Option<NoLoad> {
    let within = || points.iter().skip(press.start).take(press.len());
    let lead = median(within().take(5).map(|p| p.f));
    let (low, high) = within().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), p| (l.min(p.s), h.max(p.s)));
    let largest = within().map(|p| p.f).fold(f64::NEG_INFINITY, f64::max);
    let end = leading(points, &press, lead + LEADING_RISE * (largest - lead));
    if end == press.len() {
        return None;
    }
    let first = within().next()?.s;
    let reached = within().take(end).map(|p| p.s).fold(first, f64::max);
    if end < LEADING_COUNT || reached - first < LEADING_TRAVEL * (high - low) {
        return None;
    }
    // The nearer half of the approach gives noise and level; the rest joins it until it stands out.
    let (level, noise) = level_and_noise(within().take((end / 2).max(LEADING_COUNT)).map(|p| p.f));
    let flat = leading(points, &press, level + STANDS_OUT.min(4.0) * noise).clamp(LEADING_COUNT, end);
    let kept = if flat > 20 { flat - flat / 10 } else { flat };
    let (level, noise) = level_and_noise(within().take(kept).map(|p| p.f));
    Some(NoLoad {
        level,
        noise: Some(noise),
        count: kept,
        approach_end: within().nth(flat - 1).map(|p| p.s),
    })
}

/// Readings before the load goes above a level and stays there for three readings.
fn leading(points: &[Point], press: &Range<usize>, above: f64) -> usize {
    let mut over = 0;
    for (index, p) in points.iter().skip(press.start).take(press.len()).enumerate() {
        over = if p.f > above { over + 1 } else { 0 };
        if over == 3 {
            return index + 1 - over;
        }
    }
    press.len() - over
}

/// How far the no-load level moved: the mean of the readings after the last return, clear of the spring again.
pub(super) fn drift(points: &[Point], strokes: &Strokes, no_load: &NoLoad, contact: f64) -> Option<f64> {
    let end = no_load.approach_end?.min(contact);
    let (low, high) = super::strokes::reach(points);
    let clear = end - 0.1 * (end - low).max(0.0) - 0.005 * (high - low);
    let back = strokes.strokes.last()?.back.last()?.clone();
    let after: Vec<f64> = points
        .iter()
        .skip(back.start)
        .take(back.len())
        .filter(|p| p.s < clear)
        .map(|p| p.f)
        .collect();
    (after.len() >= LEADING_COUNT).then(|| level_and_noise(after.into_iter()).0 - no_load.level)
}

fn level_and_noise(loads: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    let (count, sum) = loads.clone().fold((0.0, 0.0), |(n, sum), f| (n + 1.0, sum + f));
    let level = sum / f64::max(count, 1.0);
    let square: f64 = loads.map(|f| (f - level).powi(2)).sum();
    let noise = if count > 1.0 {
        (square / (count - 1.0)).sqrt()
    } else {
        0.0
    };
    (level, noise)
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    super::robust::median(&mut values)
}
