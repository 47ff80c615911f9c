//! Rates that single wild readings do not move.

use crate::estimate::coverage_factor;

use super::samples::Point;

/// Median of pairwise slopes with its interval, and the repeated median.
#[derive(Debug, Clone, Copy)]
pub(super) struct Robust {
    pub(super) slope: f64,
    pub(super) intercept: f64,
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) repeated: Option<f64>,
    pub(super) count: usize,
}

/// Most points all pairs are taken of; above, so many bins.
pub(super) const MOST_POINTS: usize = 2_000;

/// Theil (1950), Sen (1968): median `m` of the slopes of all pairs, intercept `median(F) - m median(s)`; interval from the
/// normal approximation of Kendall's S with ties taken off, ranks rounded half to even, as in Sen (1968) and in
/// `theilslopes` of scipy 1.17.1. Siegel (1982): median over the points of the median slope to all others.
///
/// Up to 2,000 points all pairs are taken. Above, the points in order of deflection are cut into 2,000 runs of equal count
/// (run `i` holds points `i n/2000` up to but without `(i+1) n/2000`, whole numbers rounded down), each is replaced by its
/// means, and the repeated median is left out. The points are sorted. `None` without two different deflections.
pub(super) fn robust(points: &mut [Point], probability: f64) -> Option<Robust> {
    // In place: of many readings a second copy is worth sparing.
    points.sort_unstable_by(|a, b| a.s.total_cmp(&b.s).then(a.f.total_cmp(&b.f)));
    let binned = points.len() > MOST_POINTS;
    let sorted = if binned { bins(points) } else { points.to_vec() };
    let mut ties_of: Vec<f64> = sorted.iter().map(|p| p.s).collect();
    let deflection_ties = ties(&ties_of);
    let middle_s = median(&mut ties_of);
    let mut loads: Vec<f64> = sorted.iter().map(|p| p.f).collect();
    loads.sort_unstable_by(f64::total_cmp);
    let load_ties = ties(&loads);
    let middle_f = median(&mut loads);
    let n = sorted.len() as f64;
    let pairs = pair_count(&sorted);
    if pairs == 0 {
        return None;
    }
    let variance = (n * (n - 1.0) * (2.0 * n + 5.0) - deflection_ties - load_ties) / 18.0;
    let half_width = coverage_factor(probability, None) * variance.max(0.0).sqrt();
    let middle = pairs as f64;
    let rank = |value: f64| value.round_ties_even().max(0.0) as usize;
    let high = rank((middle + half_width) / 2.0).min(pairs - 1);
    let low = (((middle - half_width) / 2.0).round_ties_even() - 1.0).max(0.0) as usize;
    let [low, below, above, high] = order_statistics(&sorted, [low, (pairs - 1) / 2, pairs / 2, high])?;
    let slope = f64::midpoint(below, above);
    Some(Robust {
        slope,
        intercept: middle_f - slope * middle_s,
        low,
        high,
        repeated: if binned { None } else { repeated_median(&sorted) },
        count: sorted.len(),
    })
}

/// The median, the mean of the middle two of an even number; 0 of nothing.
pub(super) fn median(values: &mut [f64]) -> f64 {
    let count = values.len();
    if count == 0 {
        return 0.0;
    }
    let (lower, upper, _) = values.select_nth_unstable_by(count / 2, f64::total_cmp);
    if count % 2 == 1 {
        *upper
    } else {
        f64::midpoint(lower.iter().copied().fold(f64::NEG_INFINITY, f64::max), *upper)
    }
}

fn bins(sorted: &[Point]) -> Vec<Point> {
    let n = sorted.len();
    (0..MOST_POINTS)
        .filter_map(|bin| sorted.get(bin * n / MOST_POINTS..(bin + 1) * n / MOST_POINTS))
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

/// `Sum k (k - 1)(2k + 5)` over groups of `k` equal values, of sorted values.
fn ties(sorted: &[f64]) -> f64 {
    sorted
        .chunk_by(|a, b| a == b)
        .map(|group| group.len() as f64)
        .map(|k| k * (k - 1.0) * (2.0 * k + 5.0))
        .sum()
}

/// Pairs of different deflection.
fn pair_count(sorted: &[Point]) -> usize {
    let n = sorted.len();
    let equal: usize = sorted
        .chunk_by(|a, b| a.s == b.s)
        .map(|g| g.len() * (g.len() - 1) / 2)
        .sum();
    n * n.saturating_sub(1) / 2 - equal
}

/// Pairs of which the slopes are simply gathered: 512 KiB.
const GATHERED: usize = 65_536;

/// Slopes of the given ranks, exactly, in little memory: a sample of the pairs brackets them, the slopes inside the bracket
/// are gathered, those below counted. A bracket that misses a rank is widened. The sample's pairs follow a fixed sequence:
/// the same input gives the same bits.
fn order_statistics<const N: usize>(sorted: &[Point], ranks: [usize; N]) -> Option<[f64; N]> {
    let pairs = pair_count(sorted);
    let few = pairs <= GATHERED;
    let sample = if few { Vec::new() } else { sampled(sorted) };
    let mut margin = if few { 1.0 } else { MARGIN };
    let (first, last) = (*ranks.iter().min()?, *ranks.iter().max()?);
    loop {
        let quantile = |share: f64| {
            sample
                .get((share * sample.len().saturating_sub(1) as f64) as usize)
                .copied()
        };
        let (low_share, high_share) = (
            first as f64 / pairs as f64 - margin,
            last as f64 / pairs as f64 + margin,
        );
        let bracket = Bracket {
            low: if low_share <= 0.0 {
                f64::NEG_INFINITY
            } else {
                quantile(low_share)?
            },
            high: if high_share >= 1.0 {
                f64::INFINITY
            } else {
                quantile(high_share)?
            },
        };
        let expected = (high_share.min(1.0) - low_share.max(0.0) + MARGIN) * pairs as f64;
        let (below, mut inside) = gather(sorted, bracket, expected as usize);
        if first >= below && last < below + inside.len() {
            return in_ranks(&mut inside, ranks, below);
        }
        margin *= 4.0;
    }
}

/// Some five standard deviations of a quantile of the sample.
const MARGIN: f64 = 0.02;

#[derive(Debug, Clone, Copy)]
struct Bracket {
    low: f64,
    high: f64,
}

/// Values of rising ranks; each selection leaves the rest above it.
fn in_ranks<const N: usize>(inside: &mut [f64], ranks: [usize; N], below: usize) -> Option<[f64; N]> {
    let mut answers = [0.0; N];
    let (mut rest, mut passed, mut last) = (inside, below, None);
    for (answer, rank) in answers.iter_mut().zip(ranks) {
        *answer = match last {
            Some((same, value)) if same == rank => value,
            _ => {
                let (_, value, above) = rest.select_nth_unstable_by(rank.checked_sub(passed)?, f64::total_cmp);
                let value = *value;
                (rest, passed, last) = (above, rank + 1, Some((rank, value)));
                value
            }
        };
    }
    Some(answers)
}

/// Slopes below a bracket counted, those within it gathered. One comparison, of the slope as computed, decides for both, so
/// that no pair is lost or counted twice; pairs that are clear of the bracket by far more than rounding need no division.
fn gather(sorted: &[Point], bracket: Bracket, expected: usize) -> (usize, Vec<f64>) {
    let deflections: Vec<f64> = sorted.iter().map(|p| p.s).collect();
    let loads: Vec<f64> = sorted.iter().map(|p| p.f).collect();
    let surely_below = bracket.low - bracket.low.abs() * CLEAR;
    let surely_above = bracket.high + bracket.high.abs() * CLEAR;
    let mut below = 0;
    let mut inside = Vec::with_capacity(expected);
    let mut unsure = [false; BLOCK];
    let mut level_end = 0;
    // Points of one deflection make no slope with each other: the others begin above their level.
    for level in sorted.chunk_by(|a, b| a.s == b.s) {
        level_end += level.len();
        let higher = deflections.get(level_end..).unwrap_or_default();
        let loads = loads.get(level_end..).unwrap_or_default();
        for a in level {
            for (s, f) in higher.chunks(BLOCK).zip(loads.chunks(BLOCK)) {
                let mut sure = 0;
                for ((unsure, s), f) in unsure.iter_mut().zip(s).zip(f) {
                    let (way, rise) = (s - a.s, f - a.f);
                    let lower = rise < surely_below * way;
                    sure += u32::from(lower);
                    *unsure = !lower & (rise <= surely_above * way);
                }
                below += sure as usize;
                for ((_, s), f) in unsure.iter().zip(s).zip(f).filter(|((unsure, _), _)| **unsure) {
                    let slope = (f - a.f) / (s - a.s);
                    below += usize::from(slope < bracket.low);
                    if slope >= bracket.low && slope <= bracket.high {
                        inside.push(slope);
                    }
                }
            }
        }
    }
    (below, inside)
}

const BLOCK: usize = 64;

/// Many times what rounding a slope and a product can make, relative.
const CLEAR: f64 = 64.0 * f64::EPSILON;

/// Slopes of some thousands of pairs, sorted.
fn sampled(sorted: &[Point]) -> Vec<f64> {
    let n = sorted.len();
    let mut state: u64 = 0x9e37_79b9_7f4a_7c15;
    let mut draw = || {
        // Knuth's MMIX multiplier: a fixed sequence, only to spread the pairs.
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize % n
    };
    let mut slopes: Vec<f64> = (0..8_192)
        .filter_map(|_| {
            let (a, b) = (sorted.get(draw())?, sorted.get(draw())?);
            let way = b.s - a.s;
            (way != 0.0).then(|| (b.f - a.f) / way)
        })
        .collect();
    slopes.sort_unstable_by(f64::total_cmp);
    slopes
}

fn repeated_median(sorted: &[Point]) -> Option<f64> {
    let mut slopes = Vec::with_capacity(sorted.len());
    let mut medians = Vec::with_capacity(sorted.len());
    let mut before = 0;
    // Points of one deflection make no slope and stand side by side: what is left are two plain runs.
    for level in sorted.chunk_by(|a, b| a.s == b.s) {
        let (lower, upper) = (
            sorted.get(..before).unwrap_or_default(),
            sorted.get(before + level.len()..).unwrap_or_default(),
        );
        before += level.len();
        for a in level {
            slopes.clear();
            slopes.extend(lower.iter().map(|b| (b.f - a.f) / (b.s - a.s)));
            slopes.extend(upper.iter().map(|b| (b.f - a.f) / (b.s - a.s)));
            if !slopes.is_empty() {
                medians.push(median(&mut slopes));
            }
        }
    }
    (!medians.is_empty()).then(|| median(&mut medians))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A wavy, scattered line with repeated deflections.
    fn points(count: usize) -> Vec<Point> {
        let at = |i: usize| {
            let x = (i / 2) as f64;
            let noise = ((i * 7_919) % 1_009) as f64 / 50.0;
            Point {
                s: x,
                f: 3.0 * x + noise,
            }
        };
        (0..count).map(at).collect()
    }

    #[test]
    fn ranks_from_a_bracket_are_those_of_all_slopes_sorted() {
        let points = points(700);
        let mut slopes: Vec<f64> = Vec::new();
        for (i, a) in points.iter().enumerate() {
            slopes.extend(
                points[i + 1..]
                    .iter()
                    .filter(|b| b.s > a.s)
                    .map(|b| (b.f - a.f) / (b.s - a.s)),
            );
        }
        slopes.sort_unstable_by(f64::total_cmp);
        assert!(slopes.len() > GATHERED && slopes.len() == pair_count(&points));
        let middle = slopes.len() / 2;
        let ranks = [middle - 3_000, middle - 1, middle, middle + 3_000];
        assert_eq!(
            order_statistics(&points, ranks).unwrap(),
            ranks.map(|rank| slopes[rank])
        );
        let wide = [0, 0, middle, slopes.len() - 1];
        assert_eq!(order_statistics(&points, wide).unwrap(), wide.map(|rank| slopes[rank]));
    }

    #[test]
    fn one_deflection_has_no_robust_rate() {
        let mut points = [Point { s: 1.0, f: 2.0 }; 9];
        assert!(robust(&mut points, 0.95).is_none());
    }
}
