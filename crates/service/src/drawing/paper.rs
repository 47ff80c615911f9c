//! From millimetres to places on the paper, and numbers as places.

/// Left end of the radii: the axis of the shaft.
pub(super) const AXIS: f64 = 58.0;
/// Room for the largest radius.
pub(super) const ACROSS: f64 = 282.0;
/// Heights can be drawn so many times as large as radii.
const FACTORS: [f64; 13] = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 30.0, 40.0];
/// Least height of the thinnest shim.
const THINNEST: f64 = 9.0;
/// Largest height of the stack.
const TALLEST: f64 = 420.0;

/// The scale of a section.
#[derive(Debug, Clone, Copy)]
pub(super) struct Paper {
    /// Units of the picture to a millimetre of radius.
    across: f64,
    /// Heights are drawn so many times as large as radii.
    pub(super) factor: f64,
    /// Where height 0 is.
    pub(super) ground: f64,
}

impl Paper {
    /// A scale for these sizes in mm: largest radius, thinnest shim, height of everything.
    pub(super) fn fitting(radius: f64, thinnest: f64, height: f64) -> Self {
        let across = ACROSS / radius;
        let fits = |factor: &&f64| height * across * **factor <= TALLEST;
        let wanted = FACTORS.iter().find(|factor| thinnest * across * **factor >= THINNEST);
        let wanted = wanted.copied().unwrap_or(40.0);
        let largest = FACTORS.iter().rev().find(fits).copied().unwrap_or(1.0);
        Self {
            across,
            factor: wanted.min(largest),
            ground: 0.0,
        }
    }

    /// Where a radius is.
    pub(super) fn x(&self, radius: f64) -> f64 {
        AXIS + radius * self.across
    }

    /// Where a height above the piston's face is.
    pub(super) fn y(&self, height: f64) -> f64 {
        self.ground - self.up(height)
    }

    /// How long a height is on the paper.
    pub(super) fn up(&self, height: f64) -> f64 {
        height * self.across * self.factor
    }
}

/// A place to a hundredth: a printer shows no more.
pub(super) fn at(place: f64) -> String {
    let text = format!("{place:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Places as the points of a polygon or line.
pub(super) fn points(places: impl IntoIterator<Item = (f64, f64)>) -> String {
    let each = places.into_iter().map(|(x, y)| format!("{},{}", at(x), at(y)));
    each.collect::<Vec<_>>().join(" ")
}

/// The next of 1, 2, 5 times a power of ten that is not smaller.
pub(crate) fn round_step(rough: f64) -> f64 {
    let power = 10.0_f64.powf(rough.log10().floor());
    let share = rough / power;
    let round = [1.0, 2.0, 5.0].into_iter().find(|round| share <= round + 1e-9);
    round.unwrap_or(10.0) * power
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thin_shims_are_drawn_thicker_and_tall_stacks_are_not() {
        // 282/15 units to a millimetre: 0.15 mm needs four times its height to be seen.
        assert_eq!(Paper::fitting(15.0, 0.15, 1.0).factor, 4.0);
        assert_eq!(Paper::fitting(15.0, 0.6, 1.0).factor, 1.0);
        assert_eq!(Paper::fitting(15.0, 0.05, 20.0).factor, 1.0);
        let paper = Paper::fitting(15.0, 0.15, 1.0);
        assert_eq!((paper.x(0.0), paper.x(15.0)), (AXIS, AXIS + ACROSS));
        assert!((paper.up(1.0) - 4.0 * (paper.x(1.0) - paper.x(0.0))).abs() < 1e-9);
    }

    #[test]
    fn places_are_short() {
        assert_eq!(
            (at(12.0), at(0.125), at(-0.5)),
            ("12".into(), "0.12".into(), "-0.5".into())
        );
    }
}
