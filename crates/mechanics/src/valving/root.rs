//! Root of a rising function in a closed bracket.

/// Evaluations, at most: over twenty decades bisection alone needs some 120 for the last bit, and one step in three bisects.
const MOST: usize = 600;

/// The root of a continuous function that does not fall, `f(low) <= 0 <= f(high)`, to the last bits.
///
/// Regula falsi that halves the value at the end that stays (Illinois; Dowell and Jarratt, 1971), with a bisection
/// whenever the bracket has not halved in three steps: it cannot fail and cannot crawl.
pub(super) fn rising(f: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    let (mut low, mut high) = (low, high);
    let (mut at_low, mut at_high) = (f(low), f(high));
    if at_low >= 0.0 {
        return low;
    }
    if at_high <= 0.0 {
        return high;
    }
    let mut width = high - low;
    let mut side = 0_i8;
    for round in 1..=MOST {
        let middle = f64::midpoint(low, high);
        if high - low <= 4.0 * f64::EPSILON * high.abs().max(low.abs()) || middle <= low || middle >= high {
            return middle;
        }
        let line = low - at_low * (high - low) / (at_high - at_low);
        let slow = round % 3 == 0 && high - low > 0.5 * width;
        if round % 3 == 0 {
            width = high - low;
        }
        let next = if slow || !(line > low && line < high) {
            middle
        } else {
            line
        };
        let value = f(next);
        if value > 0.0 {
            (high, at_high) = (next, value);
            if side == 1 {
                at_low *= 0.5;
            }
            side = 1;
        } else if value < 0.0 {
            (low, at_low) = (next, value);
            if side == -1 {
                at_high *= 0.5;
            }
            side = -1;
        } else {
            return next;
        }
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod tests {
    use super::rising;

    #[test]
    fn roots_are_found_to_the_last_bits_over_twenty_decades() {
        for root in [1e-14, 1e-7, 0.3, 1.0, 7e5] {
            for power in [0.5, 1.0, 3.0] {
                let found = rising(|x: f64| x.powf(power) - f64::powf(root, power), 0.0, 1e6);
                assert!((found / root - 1.0).abs() < 1e-12, "{root} {power} {found}");
            }
        }
        // A step has no zero: the place of the step is the answer.
        assert!((rising(|x| if x < 0.7 { -1.0 } else { 2.0 }, 0.0, 1.0) - 0.7).abs() < 1e-12);
    }
}
