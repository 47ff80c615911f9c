//! Broken lines of several segments through readings, and how many segments they bear out.

use super::bind::{Sums, two_lines};
use super::least::least_squares;
use super::samples::Point;

/// The best continuous line of so many segments.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Segments {
    /// Where the segments meet, rising.
    pub(super) breaks: Vec<f64>,
    /// Standard uncertainties of those, from the scatter.
    pub(super) breaks_u: Vec<f64>,
    /// Loads at those.
    pub(super) loads: Vec<f64>,
    /// Slopes, one more than breaks.
    pub(super) rates: Vec<f64>,
    /// Standard uncertainties of the slopes.
    pub(super) rates_u: Vec<f64>,
    /// Residual square sum.
    pub(super) rss: f64,
    /// Residual standard deviation.
    pub(super) scatter: f64,
}

/// Fewest readings a segment stands on where it is claimed.
pub(super) const SIDE: usize = 4;
/// Fewest where it is only compared.
pub(super) const LEAST_SIDE: usize = 2;
/// Most segments that are tried.
pub(super) const MOST: usize = 4;
/// Places of the grid several breaks are started from.
const GRID: usize = 40;
/// Best starts that are polished.
const STARTS: usize = 4;

/// Readings in order of deflection, centred and scaled, with running sums: the sums of any stretch cost nothing.
struct Readings {
    x: Vec<f64>,
    y: Vec<f64>,
    sums: Vec<Sums>,
    center: (f64, f64),
    scale: (f64, f64),
    /// Fewest readings a segment stands on.
    side: usize,
}

impl Readings {
    fn of(points: &[Point], side: usize) -> Option<Self> {
        let n = points.len() as f64;
        let (s0, f0) = points.iter().fold((0.0, 0.0), |(s, f), p| (s + p.s / n, f + p.f / n));
        let far = |of: fn(&Point) -> f64, mean: f64| points.iter().map(|p| (of(p) - mean).abs()).fold(0.0, f64::max);
        let scale = (far(|p| p.s, s0), far(|p| p.f, f0));
        if !(scale.0 > 0.0 && scale.1 > 0.0) {
            return None;
        }
        let x: Vec<f64> = points.iter().map(|p| (p.s - s0) / scale.0).collect();
        let y: Vec<f64> = points.iter().map(|p| (p.f - f0) / scale.1).collect();
        let mut sums = Vec::with_capacity(points.len() + 1);
        let mut running = Sums::default();
        sums.push(running);
        for pair in x.iter().copied().zip(y.iter().copied()) {
            running = running.with(pair);
            sums.push(running);
        }
        Some(Self {
            x,
            y,
            sums,
            center: (s0, f0),
            scale,
            side,
        })
    }

    fn ends(&self) -> Option<(f64, f64)> {
        Some((*self.x.first()?, *self.x.last()?))
    }

    /// Sums of the readings from one index up to another.
    fn between(&self, from: usize, to: usize) -> Option<Sums> {
        Some(self.sums.get(to)?.less(self.sums.get(from)?))
    }

    /// Index bounds of the segments between breaks; `None` where one holds too few readings.
    fn cuts(&self, breaks: &[f64]) -> Option<Vec<(usize, usize)>> {
        let mut from = 0;
        let mut cuts = Vec::with_capacity(breaks.len() + 1);
        let ends = breaks.iter().map(|at| self.x.partition_point(|x| x < at));
        for (index, to) in ends.chain([self.x.len()]).enumerate() {
            let inner = index > 0 && index < breaks.len();
            // Where lines are only compared, two breaks may share an interval.
            let fewest = if inner && self.side == LEAST_SIDE { 0 } else { self.side };
            if to < from + fewest {
                return None;
            }
            cuts.push((from, to));
            from = to;
        }
        Some(cuts)
    }

    /// Residual square sum of the best broken line with these breaks: unknowns are the loads at ends and breaks, so the
    /// normal equations are tridiagonal.
    fn rss(&self, breaks: &[f64]) -> Option<f64> {
        let (low, high) = self.ends()?;
        let starts = std::iter::once(low).chain(breaks.iter().copied());
        let ends = breaks.iter().copied().chain([high]);
        let mut system = Tridiagonal::default();
        for ((from, to), (index_from, index_to)) in starts.zip(ends).zip(self.cuts(breaks)?) {
            let sums = self.between(index_from, index_to)?;
            let width = to - from;
            let t = (sums.x - sums.n * from) / width;
            let tt = (sums.xx - 2.0 * from * sums.x + sums.n * from * from) / (width * width);
            let ty = (sums.xy - from * sums.y) / width;
            system.add(sums.n - 2.0 * t + tt, t - tt, tt, sums.y - ty, ty);
        }
        let explained = system.solved()?;
        Some((self.sums.last()?.yy - explained).max(0.0)).filter(|rss| rss.is_finite())
    }

    /// Breaks where the lines through each segment alone intersect: a step towards the optimum, and the optimum itself
    /// where every intersection lies in the interval it was cut at.
    fn intersections(&self, breaks: &[f64]) -> Option<Vec<f64>> {
        let lines: Option<Vec<_>> = self
            .cuts(breaks)?
            .into_iter()
            .map(|(from, to)| self.between(from, to)?.line())
            .collect();
        let lines = lines?;
        let crossings = lines.iter().zip(lines.iter().skip(1));
        let crossings: Vec<f64> = crossings
            .map(|(a, b)| (a.intercept - b.intercept) / (b.slope - a.slope))
            .collect();
        let (low, high) = self.ends()?;
        let bounds = std::iter::once(low).chain(crossings.iter().copied());
        let rising = bounds
            .zip(crossings.iter().copied().chain([high]))
            .all(|(here, next)| here < next);
        rising.then_some(crossings)
    }

    /// Goes on from a start: intersections first, then ever smaller steps of each break.
    fn polished(&self, mut breaks: Vec<f64>, mut rss: f64) -> (Vec<f64>, f64) {
        let mut at = breaks.clone();
        for _ in 0..25 {
            let Some(next) = self.intersections(&at) else { break };
            let Some(found) = self.rss(&next) else { break };
            let still = next.iter().zip(&at).all(|(a, b)| (a - b).abs() < 1e-12);
            if found < rss {
                (breaks, rss) = (next.clone(), found);
            }
            at = next;
            if still {
                break;
            }
        }
        let mut step = 1.0 / GRID as f64;
        while step > 1e-7 {
            let mut better = false;
            for index in 0..breaks.len() {
                for way in [step, -step] {
                    let mut moved = breaks.clone();
                    if let Some(at) = moved.get_mut(index) {
                        *at += way;
                    }
                    if let Some(found) = self.rss(&moved).filter(|found| *found < rss) {
                        (breaks, rss, better) = (moved, found, true);
                    }
                }
            }
            if !better {
                step /= 2.0;
            }
        }
        (breaks, rss)
    }

    /// Places breaks are started at: readings, evenly by count.
    fn grid(&self) -> Vec<f64> {
        let n = self.x.len();
        let inner = n.saturating_sub(2 * self.side) + 1;
        let count = inner.min(GRID);
        let mut grid: Vec<f64> = (0..count)
            .filter_map(|k| self.x.get(self.side + k * inner / count).copied())
            .collect();
        grid.dedup();
        grid
    }

    /// The best of the starts, polished.
    fn best(&self, starts: impl Iterator<Item = Vec<f64>>) -> Option<Vec<f64>> {
        let mut tried: Vec<(Vec<f64>, f64)> = starts.filter_map(|at| self.rss(&at).map(|rss| (at, rss))).collect();
        tried.sort_by(|a, b| a.1.total_cmp(&b.1));
        let polished = tried.into_iter().take(STARTS).map(|(at, rss)| self.polished(at, rss));
        polished.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(breaks, _)| breaks)
    }

    /// The line with these breaks, from fresh residuals; uncertainties from the linearised model, each break's column being
    /// the step of the slope there.
    fn finished(&self, breaks: &[f64]) -> Option<Segments> {
        let hinge = |at: f64| self.x.iter().map(|x| (x - at).max(0.0)).collect::<Vec<f64>>();
        let mut columns = vec![vec![1.0; self.x.len()], self.x.clone()];
        columns.extend(breaks.iter().map(|at| hinge(*at)));
        let line = least_squares(&columns, &self.y)?;
        let (intercept, first) = (*line.coefficients.first()?, *line.coefficients.get(1)?);
        let steps = line.coefficients.get(2..)?;
        for (at, step) in breaks.iter().zip(steps) {
            columns.push(self.x.iter().map(|x| if x > at { -step } else { 0.0 }).collect());
        }
        let n = self.x.len() as f64;
        let scatter = (line.rss / (n - columns.len() as f64).max(1.0)).sqrt();
        let tangent = least_squares(&columns, &self.y);
        let variance = |of: &[usize]| {
            let covariance = tangent.as_ref().map(|fit| &fit.covariance);
            let sum = |rows: &Vec<Vec<f64>>| {
                let of_row = |row: &Vec<f64>| of.iter().filter_map(|k| row.get(*k)).sum::<f64>();
                of.iter().filter_map(|k| rows.get(*k)).map(of_row).sum::<f64>()
            };
            covariance.map_or(f64::INFINITY, sum).max(0.0).sqrt() * scatter
        };
        let count = breaks.len();
        let per = self.scale.1 / self.scale.0;
        let mut rates = vec![first * per];
        let mut slope = first;
        for step in steps {
            slope += step;
            rates.push(slope * per);
        }
        let rates_u = (0..=count).map(|k| variance(&(1..=k + 1).collect::<Vec<_>>()) * per);
        let load = |at: &f64| {
            let bent: f64 = breaks.iter().zip(steps).map(|(b, step)| step * (at - b).max(0.0)).sum();
            self.center.1 + self.scale.1 * (intercept + first * at + bent)
        };
        Some(Segments {
            breaks: breaks.iter().map(|at| self.center.0 + self.scale.0 * at).collect(),
            breaks_u: (0..count).map(|k| variance(&[2 + count + k]) * self.scale.0).collect(),
            loads: breaks.iter().map(load).collect(),
            rates,
            rates_u: rates_u.collect(),
            rss: line.rss * self.scale.1 * self.scale.1,
            scatter: scatter * self.scale.1,
        })
    }
}

/// Symmetric tridiagonal normal equations, built block by block.
#[derive(Default)]
struct Tridiagonal {
    diagonal: Vec<f64>,
    beside: Vec<f64>,
    right: Vec<f64>,
}

impl Tridiagonal {
    fn add(&mut self, first: f64, beside: f64, second: f64, right_first: f64, right_second: f64) {
        match (self.diagonal.last_mut(), self.right.last_mut()) {
            (Some(diagonal), Some(right)) => {
                *diagonal += first;
                *right += right_first;
            }
            _ => {
                self.diagonal.push(first);
                self.right.push(right_first);
            }
        }
        self.diagonal.push(second);
        self.right.push(right_second);
        self.beside.push(beside);
    }

    /// `r' A^-1 r` by Cholesky: what the solution explains of the square sum.
    fn solved(&self) -> Option<f64> {
        let mut explained = 0.0;
        let (mut factor, mut carried) = (0.0, 0.0);
        let besides = std::iter::once(0.0).chain(self.beside.iter().copied());
        for ((diagonal, right), beside) in self.diagonal.iter().zip(&self.right).zip(besides) {
            let lower: f64 = if factor > 0.0 { beside / factor } else { 0.0 };
            let pivot = diagonal - lower * lower;
            if pivot <= 0.0 || pivot.is_nan() {
                return None;
            }
            factor = pivot.sqrt();
            carried = (right - lower * carried) / factor;
            explained += carried * carried;
        }
        Some(explained)
    }
}

/// Whether every segment stands on so many readings.
pub(super) fn stands_on(line: &Segments, points: &[Point], side: usize) -> bool {
    let cuts: Vec<usize> = line
        .breaks
        .iter()
        .map(|at| points.partition_point(|p| p.s < *at))
        .collect();
    let starts = std::iter::once(0).chain(cuts.iter().copied());
    starts
        .zip(cuts.iter().copied().chain([points.len()]))
        .all(|(from, to)| to >= from + side)
}

/// The best broken lines of 1, 2, ... segments, as many as the readings bear. One break is the global optimum; more are
/// started from a dense grid and polished from several starts, so that a better place can be missed in principle.
pub(super) fn broken_lines(points: &[Point], most: usize, side: usize) -> Vec<Segments> {
    let mut found = Vec::new();
    let Some(readings) = Readings::of(points, side) else {
        return found;
    };
    let Some(straight) = readings.finished(&[]) else {
        return found;
    };
    found.push(straight);
    let grid = readings.grid();
    let mut before: Vec<f64> = Vec::new();
    for count in 2..=most.min(MOST) {
        if points.len() < count * side {
            break;
        }
        let breaks = match count {
            2 => two_lines(points, side).map(|broken| vec![(broken.at - readings.center.0) / readings.scale.0]),
            // One break more than the best so far, and for two the whole grid: the first break may be another one then.
            _ => {
                let with = |at: &f64| {
                    let mut breaks = before.clone();
                    breaks.push(*at);
                    breaks.sort_by(f64::total_cmp);
                    breaks
                };
                let more = readings.best(grid.iter().map(with));
                let pairs = grid.iter().enumerate().filter(|_| count == 3);
                let pairs = pairs.flat_map(|(k, a)| grid.iter().skip(k + 1).map(move |b| vec![*a, *b]));
                let rss = |breaks: &Vec<f64>| readings.rss(breaks).unwrap_or(f64::INFINITY);
                let both = more.into_iter().chain(readings.best(pairs));
                both.min_by(|a, b| rss(a).total_cmp(&rss(b)))
            }
        };
        let Some(fit) = breaks.as_ref().and_then(|breaks| readings.finished(breaks)) else {
            break;
        };
        found.push(fit);
        before = breaks.unwrap_or_default();
    }
    found
}
