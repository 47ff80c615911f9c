//! Radii of the rings.

/// Two breakpoints closer than this share of an element are one: a shorter element loses digits as the cube of its length.
const MERGED: f64 = 1.0 / 60.0;
/// Elements between two neighbouring breakpoints, at least, so that two rings lie inside or at the ends of each.
const BETWEEN: usize = 2;

/// Rings from the clamp to the largest edge: every breakpoint is one, and about `count` of them fill the widest span.
///
/// A contact force at an edge is finite, so that an edge that is no ring is wrong by a whole element; error falls with
/// the element length to the power 2 to 2.5.
pub(super) fn rings(clamp: f64, breakpoints: &[f64], count: usize) -> Vec<f64> {
    let mut points: Vec<f64> = breakpoints.iter().copied().filter(|r| *r > clamp).collect();
    points.sort_by(f64::total_cmp);
    let outer = points.last().copied().unwrap_or(clamp);
    let step = (outer - clamp) / count.max(1) as f64;
    let mut ends = vec![clamp];
    for point in points {
        match ends.last_mut() {
            // The outer one of two that merge stays, unless it is the clamp: the largest edge is always exact.
            Some(last) if point - *last < MERGED * step => {
                if *last > clamp {
                    *last = point;
                }
            }
            _ => ends.push(point),
        }
    }
    let mut rings = vec![clamp];
    for (from, to) in ends.iter().zip(ends.iter().skip(1)) {
        let fit = ((to - from) / step).round();
        // Bounded: the widths add up to `count` steps.
        let parts = (fit as usize).max(if to - from < 0.25 * step { 1 } else { BETWEEN });
        rings.extend((1..=parts).map(|part| {
            if part == parts {
                *to
            } else {
                from + (to - from) * part as f64 / parts as f64
            }
        }));
    }
    rings
}

/// The ring nearest to a radius.
pub(super) fn nearest(rings: &[f64], radius: f64) -> usize {
    let far = |r: &f64| (r - radius).abs();
    rings
        .iter()
        .enumerate()
        .min_by(|(_, a), (_, b)| far(a).total_cmp(&far(b)))
        .map_or(0, |(index, _)| index)
}
