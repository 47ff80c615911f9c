//! Straight lines through groups of readings: one slope, one intercept a group.

use super::samples::Point;
use super::strokes::Course;

/// Readings one line goes through: one press or return of one stroke, within one segment.
#[derive(Debug, Clone)]
pub(super) struct Group {
    pub(super) course: Course,
    pub(super) points: Vec<Point>,
}

/// Least squares with one slope common to every group and a free intercept for each (analysis of covariance; with one
/// group, ordinary least squares).
///
/// `b = Sum Sxy_g / Sum Sxx_g`, `u(b) = s_r / sqrt(Sum Sxx_g)`, `s_r^2 = RSS/(n - G - 1)`: for one group JCGM 100:2008, H.3.
/// The mean line passes through `(center, level)`; level and slope are uncorrelated there, so that at any `x`
/// `u^2 = u^2(level) + (x - center)^2 u^2(b)`, which is the full covariance of intercept and slope.
#[derive(Debug, Clone, Copy)]
pub(super) struct Line {
    pub(super) slope: f64,
    pub(super) slope_u: f64,
    pub(super) center: f64,
    pub(super) level: f64,
    pub(super) level_u: f64,
    pub(super) scatter: f64,
    pub(super) count: usize,
    pub(super) effective: f64,
    pub(super) dof: f64,
    /// Sum of squared deflections about the groups' means.
    pub(super) spread: f64,
    pub(super) explained: f64,
    /// Half the mean height of the presses above the returns, with its standard uncertainty.
    pub(super) half_gap: Option<(f64, f64)>,
}

impl Line {
    pub(super) fn at(&self, s: f64) -> f64 {
        self.level + self.slope * (s - self.center)
    }

    pub(super) fn u_at(&self, s: f64) -> f64 {
        self.level_u.hypot((s - self.center) * self.slope_u)
    }

    /// Correlation of slope and intercept, the intercept taken at `origin`.
    pub(super) fn correlation(&self, origin: f64) -> f64 {
        let u = self.u_at(origin);
        if u > 0.0 {
            -(self.center - origin) * self.slope_u / u
        } else {
            0.0
        }
    }
}

/// Slope of anything read with the points, through the same groups as the line: `Sum (s - mean) h / Sum (s - mean)^2`.
pub(super) fn slope_through(groups: &[Group], of: impl Fn(&Point) -> f64) -> f64 {
    let (mut above, mut below) = (0.0, 0.0);
    for group in groups {
        let mean = group.points.iter().map(|p| p.s).sum::<f64>() / group.points.len().max(1) as f64;
        for point in &group.points {
            above += (point.s - mean) * of(point);
            below += (point.s - mean).powi(2);
        }
    }
    if below > 0.0 { above / below } else { 0.0 }
}

/// Sums of a group about its means.
struct Sums {
    course: Course,
    n: f64,
    s: f64,
    f: f64,
    ss: f64,
    sf: f64,
    ff: f64,
}

impl Sums {
    // Two passes: the means first, so that no digits are lost on readings far from 0.
    fn of(group: &Group) -> Option<Self> {
        let n = group.points.len() as f64;
        if group.points.is_empty() {
            return None;
        }
        let (s, f) = group.points.iter().fold((0.0, 0.0), |(s, f), p| (s + p.s, f + p.f));
        let (s, f) = (s / n, f / n);
        let mut sums = Self {
            course: group.course,
            n,
            s,
            f,
            ss: 0.0,
            sf: 0.0,
            ff: 0.0,
        };
        for p in &group.points {
            let (ds, df) = (p.s - s, p.f - f);
            sums.ss += ds * ds;
            sums.sf += ds * df;
            sums.ff += df * df;
        }
        Some(sums)
    }
}

/// The line; `None` without two different deflections in a group. Every reading counts for itself.
pub(super) fn fit(groups: &[Group]) -> Option<Line> {
    line(groups, |_, n| n)
}

/// The line through readings taken one after another: what neighbours share counts once.
pub(super) fn fit_in_sequence(groups: &[Group]) -> Option<Line> {
    line(groups, |slope, n| effective_count(groups, slope, n))
}

fn line(groups: &[Group], effective: impl Fn(f64, f64) -> f64) -> Option<Line> {
    let sums: Vec<Sums> = groups.iter().filter_map(Sums::of).collect();
    let total = |term: fn(&Sums) -> f64| sums.iter().map(term).sum::<f64>();
    let (n, spread) = (total(|g| g.n), total(|g| g.ss));
    let slope = total(|g| g.sf) / spread;
    if !slope.is_finite() {
        return None;
    }
    // Rounding of equal deflections is no movement.
    let size = sums.iter().map(|g| g.s.abs()).fold(0.0, f64::max);
    if spread <= n * (size * f64::EPSILON * 4.0).powi(2) {
        return None;
    }
    let rss = residual_square_sum(groups, slope);
    let dof = (n - sums.len() as f64 - 1.0).max(0.0);
    let effective = effective(slope, n);
    let scatter = if dof > 0.0 { (rss / dof).sqrt() } else { 0.0 };
    let inflation = (n / effective).sqrt();
    let slope_u = scatter * inflation / spread.sqrt();
    let side = |course| side(&sums, course);
    let (center, level, share, half_gap) = match (side(Course::Press), side(Course::Return)) {
        (Some(press), Some(back)) => {
            let gap = (press.level - back.level) - slope * (press.center - back.center);
            let u =
                (scatter * inflation * (press.share + back.share).sqrt()).hypot((press.center - back.center) * slope_u);
            (
                f64::midpoint(press.center, back.center),
                f64::midpoint(press.level, back.level),
                0.25 * (press.share + back.share),
                Some((gap / 2.0, u / 2.0)),
            )
        }
        (Some(one), None) | (None, Some(one)) => (one.center, one.level, one.share, None),
        (None, None) => return None,
    };
    let explained = total(|g| g.ff);
    Some(Line {
        slope,
        slope_u,
        center,
        level,
        level_u: scatter * inflation * share.sqrt(),
        scatter,
        count: groups.iter().map(|g| g.points.len()).sum(),
        effective,
        dof: if effective < n {
            (effective - sums.len() as f64 - 1.0).max(1.0)
        } else {
            dof
        },
        spread,
        explained: if explained > 0.0 { 1.0 - rss / explained } else { 1.0 },
        half_gap,
    })
}

/// Slope of one branch alone.
pub(super) fn branch_slope(groups: &[Group], course: Course) -> Option<f64> {
    let of_course = groups
        .iter()
        .filter(|group| group.course == course)
        .filter_map(Sums::of);
    let (covariance, spread) = of_course.fold((0.0, 0.0), |(sf, ss), sums| (sf + sums.sf, ss + sums.ss));
    Some(covariance / spread).filter(|slope| slope.is_finite())
}

/// Slope of one line with one intercept through every group.
pub(super) fn pooled_slope(groups: &[Group]) -> Option<f64> {
    let sums: Vec<Sums> = groups.iter().filter_map(Sums::of).collect();
    let n: f64 = sums.iter().map(|g| g.n).sum();
    let (s, f) = sums
        .iter()
        .fold((0.0, 0.0), |(s, f), g| (s + g.n * g.s / n, f + g.n * g.f / n));
    let (covariance, spread) = sums.iter().fold((0.0, 0.0), |(sf, ss), g| {
        (
            sf + g.sf + g.n * (g.s - s) * (g.f - f),
            ss + g.ss + g.n * (g.s - s).powi(2),
        )
    });
    Some(covariance / spread).filter(|slope| slope.is_finite())
}

struct Side {
    center: f64,
    level: f64,
    /// Variance of the level over that of one reading.
    share: f64,
}

fn side(sums: &[Sums], course: Course) -> Option<Side> {
    let of_course = || sums.iter().filter(move |g| g.course == course);
    let n: f64 = of_course().map(|g| g.n).sum();
    (n > 0.0).then(|| Side {
        center: of_course().map(|g| g.n * g.s).sum::<f64>() / n,
        level: of_course().map(|g| g.n * g.f).sum::<f64>() / n,
        share: 1.0 / n,
    })
}

fn residual_square_sum(groups: &[Group], slope: f64) -> f64 {
    groups
        .iter()
        .flat_map(|group| residuals(group, slope))
        .map(|r| r * r)
        .sum()
}

/// Residuals of a group about its own intercept, in the order taken.
fn residuals(group: &Group, slope: f64) -> impl Iterator<Item = f64> + '_ {
    let n = group.points.len().max(1) as f64;
    let (s, f) = group.points.iter().fold((0.0, 0.0), |(s, f), p| (s + p.s, f + p.f));
    let (s, f) = (s / n, f / n);
    group.points.iter().map(move |p| (p.f - f) - slope * (p.s - s))
}

/// Residuals below this share of the load are rounding, which says nothing of the readings.
const ROUNDING: f64 = 1e-13;
/// Fewest readings a serial correlation is estimated from.
const READINGS_FOR_CORRELATION: f64 = 30.0;

/// Readings that count: `n (1 - r)/(1 + r)` with the residuals' lag-1 correlation `r`, where `r` is significantly above
/// zero (`r > 1.96/sqrt n`) and there are at least 30 readings; else `n`. First-order autoregressive noise is assumed;
/// from memory (variance of a mean of such noise).
fn effective_count(groups: &[Group], slope: f64, n: f64) -> f64 {
    if n < READINGS_FOR_CORRELATION {
        return n;
    }
    let (mut lagged, mut square) = (0.0, 0.0);
    for group in groups {
        let mut before = None;
        for r in residuals(group, slope) {
            lagged += before.map_or(0.0, |b: f64| b * r);
            square += r * r;
            before = Some(r);
        }
    }
    let level = groups
        .iter()
        .flat_map(|g| &g.points)
        .map(|p| p.f.abs())
        .fold(0.0, f64::max);
    if square <= n * (ROUNDING * level).powi(2) {
        return n;
    }
    let correlation = lagged / square;
    if correlation > 1.96 / n.sqrt() {
        (n * (1.0 - correlation) / (1.0 + correlation)).max(groups.len() as f64 + 2.0)
    } else {
        n
    }
}
