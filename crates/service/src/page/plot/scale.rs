//! From values to places on the picture, with round figures on the axis.

use crate::drawing::round_step;

/// About so many steps between the ends of an axis.
const STEPS: f64 = 6.0;
/// Share of the axis below 0 that is left off it.
const TREMBLE: f64 = 0.02;

/// An axis laid over a stretch of the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scale {
    /// Value at the near end.
    pub(super) low: f64,
    /// Value at the far end.
    pub(super) high: f64,
    step: f64,
    /// Place of the near end.
    pub(super) near: f64,
    /// Place of the far end.
    pub(super) far: f64,
}

impl Scale {
    /// An axis that holds the values and 0, between two places.
    pub(super) fn over(values: impl Iterator<Item = f64>, near: f64, far: f64) -> Self {
        let (low, high) = values
            .filter(|value| value.is_finite())
            .fold((0.0_f64, 0.0_f64), |(low, high), value| {
                (low.min(value), high.max(value))
            });
        // What trembles about 0 is no reason for an axis below it; it is drawn a little beyond the end.
        let low = if -low < TREMBLE * high { 0.0 } else { low };
        // Without an extent any axis will do; one beyond the numbers' own range cannot be divided.
        let high = if high - low > 0.0 { high } else { low + 1.0 };
        let step = round_step((high / STEPS) - (low / STEPS));
        let (low, high) = ((low / step).floor() * step, (high / step).ceil() * step);
        Self {
            low,
            high,
            step,
            near,
            far,
        }
    }

    /// Where a value is.
    pub(super) fn place(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        self.near + share * (self.far - self.near)
    }

    /// The round figures, with their text.
    pub(super) fn ticks(&self) -> Vec<(f64, String)> {
        let count = ((self.high - self.low) / self.step).round() as usize;
        let decimals = (-self.step.log10().floor()).clamp(0.0, 12.0) as usize;
        (0..=count.min(20))
            .map(|index| {
                let value = self.low + self.step * index as f64;
                // No "-0": the nearest figure to nothing is 0.
                let value = if value.abs() < self.step / 2.0 { 0.0 } else { value };
                (value, format!("{value:.decimals$}"))
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_have_round_figures_around_the_values() {
        let scale = Scale::over([-1.4, 38.7].into_iter(), 0.0, 100.0);
        let texts: Vec<_> = scale.ticks().into_iter().map(|(_, text)| text).collect();
        assert_eq!(texts, ["-10", "0", "10", "20", "30", "40"]);
        assert_eq!(scale.place(scale.low), 0.0);
        assert_eq!(scale.place(scale.high), 100.0);
        // The noise of an empty cell.
        assert_eq!(Scale::over([-0.4, 38.7].into_iter(), 0.0, 100.0).low, 0.0);
        let small = Scale::over([0.31].into_iter(), 0.0, 1.0);
        assert_eq!(small.ticks().last().unwrap().1, "0.4");
    }

    #[test]
    fn any_values_give_an_axis() {
        for values in [
            vec![],
            vec![0.0],
            vec![f64::NAN, f64::INFINITY],
            vec![-3.0],
            vec![1e-300],
            vec![1e300, -1e300],
        ] {
            let scale = Scale::over(values.iter().copied(), 10.0, 20.0);
            assert!(scale.high > scale.low, "{values:?}");
            assert!((2..=21).contains(&scale.ticks().len()), "{values:?}");
            for value in values.iter().filter(|value| value.is_finite()) {
                assert!((10.0..=20.0).contains(&scale.place(*value)), "{values:?}");
            }
        }
    }
}
