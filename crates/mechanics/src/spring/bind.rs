//! Coil bind and other knees: the best pair of lines that meet.

use std::ops::RangeInclusive;

use super::samples::Point;

/// The best continuous pair of lines.
#[derive(Debug, Clone, Copy)]
pub(super) struct Broken {
    /// Where they meet.
    pub(super) at: f64,
    /// Standard uncertainty of that, from the scatter.
    pub(super) at_u: f64,
    /// Load there.
    pub(super) load: f64,
    pub(super) before: f64,
    pub(super) after: f64,
    /// Standard uncertainties of both slopes.
    pub(super) slopes_u: (f64, f64),
    /// Residual square sums of the pair and of one line through everything.
    pub(super) rss: f64,
    pub(super) straight_rss: f64,
}

/// Fewest readings on either side of coil bind; a rate needs a third to show its scatter.
pub(super) const SIDE: usize = 3;

/// Fits two lines that meet to readings in order of deflection: the global least-squares optimum, found exactly.
///
/// For every interval between neighbours the two separate lines are intersected; where the intersection lies inside, it is
/// the optimum of that interval, else its ends are tried with the break held there. Running sums make it O(n). Method:
/// Hudson (1966), from memory. `side` readings stand on either side at least; `None` below twice as many.
pub(super) fn two_lines(points: &[Point], side: usize) -> Option<Broken> {
    let total = points.len();
    if total < 2 * side {
        return None;
    }
    let n = total as f64;
    let (s0, f0) = points.iter().fold((0.0, 0.0), |(s, f), p| (s + p.s / n, f + p.f / n));
    let scale = points.iter().map(|p| (p.s - s0).abs()).fold(0.0, f64::max);
    let height = points.iter().map(|p| (p.f - f0).abs()).fold(0.0, f64::max);
    if !(scale > 0.0 && height > 0.0) {
        return None;
    }
    let at = |p: &Point| ((p.s - s0) / scale, (p.f - f0) / height);
    let all = points.iter().map(at).fold(Sums::default(), Sums::with);
    let mut left = Sums::default();
    let mut best: Option<(f64, f64, usize)> = None;
    for (index, pair) in points.windows(2).enumerate() {
        let [here, next] = pair else { continue };
        left = left.with(at(here));
        let count = index + 1;
        if count < side || total - count < side {
            continue;
        }
        let right = all.less(&left);
        let (from, to) = (at(here).0, at(next).0);
        let least = best.map_or(f64::INFINITY, |(least, _, _)| least);
        if let Some((rss, tau)) = best_of(&left, &right, from..=to, least)
            && rss < least
        {
            best = Some((rss, tau, count));
        }
    }
    let (_, tau, count) = best?;
    let broken = finish(points, count, tau, |p| at(p))?;
    Some(Broken {
        at: s0 + scale * broken.at,
        at_u: scale * broken.at_u,
        load: f0 + height * broken.load,
        before: broken.before * height / scale,
        after: broken.after * height / scale,
        slopes_u: (broken.slopes_u.0 * height / scale, broken.slopes_u.1 * height / scale),
        rss: broken.rss * height * height,
        straight_rss: all.line()?.rss * height * height,
    })
}

/// Sums of readings.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sums {
    pub(super) n: f64,
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) xx: f64,
    pub(super) xy: f64,
    pub(super) yy: f64,
}

/// One line through readings.
pub(super) struct Fitted {
    pub(super) slope: f64,
    pub(super) intercept: f64,
    pub(super) rss: f64,
    spread: f64,
}

impl Sums {
    pub(super) fn with(self, (x, y): (f64, f64)) -> Self {
        Self {
            n: self.n + 1.0,
            x: self.x + x,
            y: self.y + y,
            xx: self.xx + x * x,
            xy: self.xy + x * y,
            yy: self.yy + y * y,
        }
    }

    pub(super) fn less(&self, other: &Self) -> Self {
        Self {
            n: self.n - other.n,
            x: self.x - other.x,
            y: self.y - other.y,
            xx: self.xx - other.xx,
            xy: self.xy - other.xy,
            yy: self.yy - other.yy,
        }
    }

    pub(super) fn line(&self) -> Option<Fitted> {
        let spread = self.xx - self.x * self.x / self.n;
        let slope = (self.xy - self.x * self.y / self.n) / spread;
        let rss = self.yy - self.y * self.y / self.n - slope * (self.xy - self.x * self.y / self.n);
        (slope.is_finite() && spread > 0.0).then_some(Fitted {
            slope,
            intercept: (self.y - slope * self.x) / self.n,
            rss: rss.max(0.0),
            spread,
        })
    }
}

/// Residual square sum and place of the best break of one interval; `None` where it cannot beat the least so far. Its end is
/// the next interval's start, where the same pair of lines is tried: a reading on the break belongs to either line.
fn best_of(left: &Sums, right: &Sums, interval: RangeInclusive<f64>, least: f64) -> Option<(f64, f64)> {
    let (a, b) = left.line().zip(right.line())?;
    // Lines that need not meet always fit at least as well as lines that must.
    if a.rss + b.rss >= least {
        return None;
    }
    let tau = (a.intercept - b.intercept) / (b.slope - a.slope);
    if interval.contains(&tau) {
        Some((a.rss + b.rss, tau))
    } else {
        held_at(left, right, *interval.start())
    }
}

/// Both lines meeting at a given place: least squares of `c + p min(0, x - tau) + q max(0, x - tau)`.
fn held_at(left: &Sums, right: &Sums, tau: f64) -> Option<(f64, f64)> {
    let about = |sums: &Sums| Sums {
        n: sums.n,
        x: sums.x - sums.n * tau,
        y: sums.y,
        xx: sums.xx - 2.0 * tau * sums.x + sums.n * tau * tau,
        xy: sums.xy - tau * sums.y,
        yy: sums.yy,
    };
    let (l, r) = (about(left), about(right));
    // The slopes are eliminated from the normal equations; the load at the break remains.
    let level =
        ((l.y + r.y) - l.x * l.xy / l.xx - r.x * r.xy / r.xx) / ((l.n + r.n) - l.x * l.x / l.xx - r.x * r.x / r.xx);
    let (p, q) = ((l.xy - level * l.x) / l.xx, (r.xy - level * r.x) / r.xx);
    let rss = (l.yy + r.yy) - level * (l.y + r.y) - p * l.xy - q * r.xy;
    rss.is_finite().then_some((rss.max(0.0), tau))
}

/// Slopes and uncertainties of the chosen pair, from fresh centred sums.
fn finish(points: &[Point], count: usize, tau: f64, at: impl Fn(&Point) -> (f64, f64)) -> Option<Broken> {
    let side = |skip: usize, take: usize| {
        points
            .iter()
            .skip(skip)
            .take(take)
            .map(&at)
            .map(|(x, y)| (x - tau, y))
            .fold(Sums::default(), Sums::with)
    };
    let (l, r) = (side(0, count), side(count, points.len() - count));
    let (a, b) = (l.line()?, r.line()?);
    let crossing = (a.intercept - b.intercept) / (b.slope - a.slope);
    // The meeting point is taken afresh where it is free; where it was held, it stays.
    let free = crossing.is_finite() && crossing.abs() < 1e-6;
    let shift = if free { crossing } else { 0.0 };
    let n = l.n + r.n;
    let rss = a.rss + b.rss;
    let scatter = (rss / (n - 4.0).max(1.0)).sqrt();
    let (ua, ub) = (scatter / a.spread.sqrt(), scatter / b.spread.sqrt());
    let end = |sums: &Sums, u: f64| (scatter / sums.n.sqrt()).hypot(u * sums.x / sums.n);
    Some(Broken {
        at: tau + shift,
        at_u: end(&l, ua).hypot(end(&r, ub)) / (b.slope - a.slope).abs(),
        load: a.intercept + a.slope * shift,
        before: a.slope,
        after: b.slope,
        slopes_u: (ua, ub),
        rss,
        straight_rss: 0.0,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Residual square sum of the best pair of lines that meet at `tau`, by the normal equations.
    fn residue(points: &[Point], tau: f64) -> f64 {
        let rows: Vec<[f64; 4]> = points
            .iter()
            .map(|p| [1.0, (p.s - tau).min(0.0), (p.s - tau).max(0.0), p.f])
            .collect();
        let mut m = [[0.0; 4]; 3];
        for row in &rows {
            for i in 0..3 {
                for j in 0..4 {
                    m[i][j] += row[i] * row[j];
                }
            }
        }
        for i in 0..3 {
            for k in 0..3 {
                if k != i {
                    let factor = m[k][i] / m[i][i];
                    let pivot = m[i];
                    m[k].iter_mut().zip(pivot).for_each(|(m, pivot)| *m -= factor * pivot);
                }
            }
        }
        let c: Vec<f64> = (0..3).map(|i| m[i][3] / m[i][i]).collect();
        rows.iter()
            .map(|r| (r[3] - c[0] * r[0] - c[1] * r[1] - c[2] * r[2]).powi(2))
            .sum()
    }

    #[test]
    fn no_other_break_fits_better() {
        for (wave, knee) in [(0.3, 20.0), (4.0, 12.5), (9.0, 27.0), (40.0, 18.0)] {
            let points: Vec<Point> = (0..41)
                .map(f64::from)
                .map(|s| Point {
                    s,
                    f: 5.0 * s + 6.0 * (s - knee).max(0.0) + wave * (2.3 * s + 0.1 * s * s).sin(),
                })
                .collect();
            let found = two_lines(&points, SIDE).unwrap();
            let least = residue(&points, found.at);
            // Three readings on either side bound the search.
            let others = (2_000..=38_000).map(|i| residue(&points, f64::from(i) / 1_000.0));
            let best = others.fold(f64::INFINITY, f64::min);
            assert!(
                least <= best * (1.0 + 1e-9),
                "wave {wave}: {least} at {}, {best}",
                found.at
            );
        }
    }
}
