//! Root of a rising function in a closed bracket.

/// Evaluations, at most: over twenty decades bisection alone needs some 120 for the last bit, and a step that does not
/// halve the one before the last is a bisection.
const MOST: usize = 600;

/// A place, and the function's value there.
pub(super) type Known = (f64, f64);

/// The root of a continuous function that does not fall, `f(low) <= 0 <= f(high)`, to the last bits.
pub(super) fn rising(f: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    let (at_low, at_high) = (f(low), f(high));
    between(f, (low, at_low), (high, at_high))
}

/// The same where the values at the ends are known.
///
/// Inverse quadratic interpolation or the secant, and bisection where those do not shrink the step (Brent, Algorithms for
/// Minimization without Derivatives, 1973, ch. 4): it cannot fail and cannot crawl.
pub(super) fn between(f: impl Fn(f64) -> f64, low: Known, high: Known) -> f64 {
    if low.1 >= 0.0 {
        return low.0;
    }
    if high.1 <= 0.0 {
        return high.0;
    }
    // The best place so far, the one before it, and the nearest one with a value of the other sign.
    let (mut best, mut last, mut other) = (high, low, low);
    let mut step = high.0 - low.0;
    let mut before = step;
    for _ in 0..MOST {
        if other.1.abs() < best.1.abs() {
            (last, best, other) = (best, other, best);
        }
        let least = 2.0 * f64::EPSILON * best.0.abs();
        let half = 0.5 * (other.0 - best.0);
        if half.abs() <= least || best.1 == 0.0 {
            return best.0;
        }
        let guess = if last.1.abs() > best.1.abs() {
            interpolated(best, last, other)
        } else {
            f64::NAN
        };
        // Within three quarters of the way to the other side, and at most half the step before the last.
        let fits = guess * half > 0.0 && guess.abs() < 1.5 * half.abs() && guess.abs() < 0.5 * before.abs();
        // What is left is a rounding of the place: the other side need not be brought near as well.
        if fits && guess.abs() <= least {
            return best.0;
        }
        (before, step) = if fits { (step, guess) } else { (half, half) };
        last = best;
        best.0 += if step.abs() > least { step } else { least.copysign(half) };
        best.1 = f(best.0);
        if (best.1 > 0.0) == (other.1 > 0.0) {
            other = last;
            step = best.0 - last.0;
            before = step;
        }
    }
    best.0
}

/// The step to where a parabola over the values, or a line if there are but two, is zero.
fn interpolated(best: Known, last: Known, other: Known) -> f64 {
    let way = other.0 - best.0;
    let s = best.1 / last.1;
    if last.0 == other.0 {
        return -s * way / (1.0 - s);
    }
    let (q, r) = (last.1 / other.1, best.1 / other.1);
    let p = s * (way * q * (q - r) - (best.0 - last.0) * (r - 1.0));
    -p / ((q - 1.0) * (r - 1.0) * (s - 1.0))
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
