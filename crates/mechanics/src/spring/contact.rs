//! The no-load level, and where the platen meets the spring.

use std::ops::Range;

use crate::quantity::{Load, Quantity};

use super::samples::Point;
use super::shape::Judged;
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

/// How a curve of more than one rate begins: the window's line does not lead back to where it was met.
#[derive(Debug, Clone, Copy)]
pub(super) struct Beginning {
    /// A place of the first straight part, and its load and rate.
    place: (f64, f64),
    rate: f64,
    rate_u: f64,
    /// Middle of that part, where its height is best known.
    middle: f64,
    /// Of a curve that bends throughout, which no line of its own leads back: where the first readings after the approach lead,
    /// and half the way they are led.
    first: Option<(f64, f64)>,
}

impl Beginning {
    /// Of a press that was judged; `None` where one line tells all.
    pub(super) fn of(judged: &Judged, from: f64, no_load: &NoLoad, press: &[Point]) -> Option<Self> {
        let line = match judged.bent {
            Some(_) => judged.lines.last()?,
            None => judged.line()?,
        };
        let (at, load) = line.breaks.first().zip(line.loads.first())?;
        let (rate, rate_u) = line.rates.first().zip(line.rates_u.first())?;
        let spread = (judged.count as f64 / judged.effective).sqrt();
        (*rate > 0.0).then_some(Self {
            place: (*at, *load),
            rate: *rate,
            rate_u: rate_u * spread,
            middle: f64::midpoint(from, *at),
            first: judged.bent.and_then(|_| first_readings(press, no_load)),
        })
    }

    /// Where the first part, less the friction of the press, meets the no-load level; or where the approach was seen to end.
    pub(super) fn meets(&self, level: f64, friction: f64) -> f64 {
        let led_back = self.led_back(level, friction);
        self.first.map_or(led_back, |(at, _)| at)
    }

    fn led_back(&self, level: f64, friction: f64) -> f64 {
        self.place.0 - (self.place.1 - friction - level) / self.rate
    }

    /// Standard uncertainty: of the rate over the way back; where the curve bends, half that way as a limit.
    pub(super) fn u(&self, level: f64, friction: f64) -> (&'static str, f64) {
        match self.first {
            Some((_, limit)) => (
                "first readings of a bending curve, led back to the no-load level",
                limit / 3.0_f64.sqrt(),
            ),
            None => (
                "rate of the first part, led back to the no-load level",
                self.rate_u * (self.middle - self.led_back(level, friction)).abs() / self.rate,
            ),
        }
    }

    /// Its rate, by which a load is a deflection.
    pub(super) fn rate(&self) -> f64 {
        self.rate
    }
}

/// Share of the press after the approach whose readings are led back.
const FIRST: f64 = 0.05;

/// Where the line through the first readings after the approach meets the no-load level, and half the way it is led there.
fn first_readings(press: &[Point], no_load: &NoLoad) -> Option<(f64, f64)> {
    let seen = no_load.approach_end?;
    let end = seen + FIRST * (press.last()?.s - seen);
    let from = press.partition_point(|p| p.s < seen);
    let readings = press.get(from..press.partition_point(|p| p.s <= end))?;
    let n = readings.len() as f64;
    let (s, f) = readings.iter().fold((0.0, 0.0), |(s, f), p| (s + p.s / n, f + p.f / n));
    let (ss, sf) = readings.iter().fold((0.0, 0.0), |(ss, sf), p| {
        (ss + (p.s - s).powi(2), sf + (p.s - s) * (p.f - f))
    });
    let at = s - (f - no_load.level) * ss / sf;
    (at.is_finite() && at <= s).then_some((at, 0.5 * (seen - at).abs()))
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
/// Share of the travel at which the load is still the spring's, coils open.
const BELOW_BIND: f64 = 0.7;
/// Share of the load range below which a reading may belong to the approach.
const LEADING_RISE: f64 = 0.02;
/// Share of the load range that stands out even of readings without noise: the last digit may flicker.
const LEAST_RISE: f64 = 5e-4;
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
    // Not the largest load: coil bind can make that many times what the spring's rate would.
    let far = within().skip_while(|p| p.s < low + BELOW_BIND * (high - low));
    let range = median(far.take(5).map(|p| p.f)) - lead;
    let end = leading(points, &press, lead + LEADING_RISE * range);
    if end == press.len() {
        return None;
    }
    let first = within().next()?.s;
    let reached = within().take(end).map(|p| p.s).fold(first, f64::max);
    if end < LEADING_COUNT || reached - first < LEADING_TRAVEL * (high - low) {
        return None;
    }
    // The nearer half of the approach gives level and noise, by medians: with few readings it may hold loaded
    // ones. The rest joins until it stands out.
    let mut near: Vec<f64> = within().take((end / 2).max(LEADING_COUNT)).map(|p| p.f).collect();
    let level = super::robust::median(&mut near);
    near.iter_mut().for_each(|load| *load = (*load - level).abs());
    let noise = 1.4826 * super::robust::median(&mut near);
    let rise = (STANDS_OUT.min(4.0) * noise).max(LEAST_RISE * range);
    let flat = leading(points, &press, level + rise).min(end);
    if flat < LEADING_COUNT {
        return None;
    }
    // The load rises for a while before it stands out.
    let kept = if flat > 20 { flat - 3 * flat / 10 } else { flat };
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
