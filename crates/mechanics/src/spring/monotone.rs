//! Curves that rise where their points rise: interpolation without overshoot, and smoothing by pooling.

use super::samples::Point;

/// Slopes at the points of a monotone cubic: the weighted harmonic mean of the neighbouring chords (Fritsch and Butland
/// 1984), three-point ends kept from overshooting, as in SLATEC and scipy. Deflections must rise strictly.
///
/// `1/m = (w1/d1 + w2/d2)/(w1 + w2)`, `w1 = 2 h2 + h1`, `w2 = h2 + 2 h1`, 0 where the chords differ in sign.
pub(super) fn slopes(points: &[(f64, f64)]) -> Vec<f64> {
    let chords: Vec<(f64, f64)> = points
        .iter()
        .zip(points.iter().skip(1))
        .map(|(a, b)| (b.0 - a.0, (b.1 - a.1) / (b.0 - a.0)))
        .collect();
    let (Some(&first), Some(&last)) = (chords.first(), chords.last()) else {
        return vec![0.0; points.len()];
    };
    let mut slopes = Vec::with_capacity(points.len());
    slopes.push(chords.get(1).map_or(first.1, |next| end(first, *next)));
    for ((h1, d1), (h2, d2)) in chords.iter().copied().zip(chords.iter().copied().skip(1)) {
        let (w1, w2) = (2.0 * h2 + h1, h2 + 2.0 * h1);
        slopes.push(if d1 * d2 > 0.0 {
            (w1 + w2) / (w1 / d1 + w2 / d2)
        } else {
            0.0
        });
    }
    let before = chords.len().checked_sub(2).and_then(|k| chords.get(k));
    slopes.push(before.map_or(last.1, |before| end(last, *before)));
    slopes
}

fn end((h0, d0): (f64, f64), (h1, d1): (f64, f64)) -> f64 {
    let slope = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
    if slope * d0 <= 0.0 {
        0.0
    } else if d0 * d1 <= 0.0 && slope.abs() > 3.0 * d0.abs() {
        3.0 * d0
    } else {
        slope
    }
}

/// The nearest curve that never falls: neighbours that fall are replaced by their mean (pool adjacent violators; Barlow
/// and others 1972, from memory).
pub(super) fn never_falling(points: &[Point]) -> Vec<(f64, f64)> {
    let mut pools: Vec<(f64, f64, f64)> = Vec::with_capacity(points.len());
    for p in points {
        let mut pool = (p.s, p.f, 1.0);
        while let Some(before) = pools.last().copied().filter(|before| before.1 >= pool.1) {
            let count = before.2 + pool.2;
            pool = (
                (before.0 * before.2 + pool.0 * pool.2) / count,
                (before.1 * before.2 + pool.1 * pool.2) / count,
                count,
            );
            pools.pop();
        }
        pools.push(pool);
    }
    let mut rising: Vec<(f64, f64)> = Vec::with_capacity(pools.len());
    for (s, f, _) in pools {
        if rising.last().is_none_or(|before| s > before.0) {
            rising.push((s, f));
        }
    }
    rising
}
