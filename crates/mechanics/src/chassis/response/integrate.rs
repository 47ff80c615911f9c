//! Fixed steps of the classical Runge-Kutta method of order 4.

/// One step of `y' = f(t, y)` from `t` over `h`.
pub(super) fn step<const N: usize>(f: &impl Fn(f64, &[f64; N]) -> [f64; N], t: f64, y: &[f64; N], h: f64) -> [f64; N] {
    let moved = |slope: &[f64; N], by: f64| {
        let mut next = *y;
        next.iter_mut()
            .zip(slope)
            .for_each(|(value, slope)| *value += by * slope);
        next
    };
    let k1 = f(t, y);
    let k2 = f(t + h / 2.0, &moved(&k1, h / 2.0));
    let k3 = f(t + h / 2.0, &moved(&k2, h / 2.0));
    let k4 = f(t + h, &moved(&k3, h));
    let mut next = *y;
    for ((((value, a), b), c), d) in next.iter_mut().zip(&k1).zip(&k2).zip(&k3).zip(&k4) {
        *value += h / 6.0 * (a + 2.0 * b + 2.0 * c + d);
    }
    next
}

#[cfg(test)]
mod tests {
    use super::step;

    const ZETA: f64 = 0.2;
    const W: f64 = 12.0;
    const START: [f64; 2] = [0.05, -0.1];

    /// Free damped oscillation, closed form: `exp(-zeta w t)(x0 cos(wd t) + (v0 + zeta w x0)/wd sin(wd t))`.
    fn exact(t: f64) -> f64 {
        let d = W * (1.0 - ZETA * ZETA).sqrt();
        let [x, v] = START;
        (-ZETA * W * t).exp() * (x * (d * t).cos() + (v + ZETA * W * x) / d * (d * t).sin())
    }

    /// Largest error along the first second.
    fn error(steps: u32) -> f64 {
        let f = |_: f64, y: &[f64; 2]| [y[1], -W * W * y[0] - 2.0 * ZETA * W * y[1]];
        let h = 1.0 / f64::from(steps);
        let mut y = START;
        let mut largest: f64 = 0.0;
        for k in 0..steps {
            y = step(&f, f64::from(k) * h, &y, h);
            largest = largest.max((y[0] - exact(f64::from(k + 1) * h)).abs());
        }
        largest
    }

    #[test]
    fn decay_is_met_and_the_error_falls_with_the_fourth_power() {
        assert!((exact(1.0) - 0.003_019_727_018_740_857_7).abs() < 1e-15);
        assert!(error(1_000) < 1e-9);
        let order = (error(100) / error(200)).log2();
        assert!((order - 4.0).abs() < 0.1, "{order}");
    }
}
