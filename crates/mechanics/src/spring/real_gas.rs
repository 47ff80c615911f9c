//! Nitrogen and air as real gases, from their reference equations for the Helmholtz energy.
//!
//! Nitrogen: Span, Lemmon, Jacobsen, Wagner and Yokozeki (2000), J. Phys. Chem. Ref. Data 29. Air as one fluid: Lemmon,
//! Jacobsen, Penoncello and Friend (2000), J. Phys. Chem. Ref. Data 29. Coefficients as in the public tables of CoolProp.
//! `p = rho R T (1 + delta a_delta)`, `s/R = tau (a0_tau + a_tau) - a0 - a`, with `delta = rho/rho_r`, `tau = T_r/T`.

/// A term `n delta^d tau^t exp(-delta^l)`, without the exponential where `l` is 0.
type Power = (f64, f64, f64, f64);
/// A term `n delta^d tau^t exp(-eta (delta - 1)^2 - beta (tau - gamma)^2)`: n, d, t, eta, beta, gamma.
type Gauss = (f64, f64, f64, f64, f64, f64);

/// Energy of the ideal gas without `ln delta`, its first derivative times `tau`, its second times `tau^2`.
type Ideal = fn(f64) -> (f64, f64, f64);

/// A fluid.
pub(super) struct Fluid {
    temperature: f64,
    density: f64,
    power: &'static [Power],
    gauss: &'static [Gauss],
    ideal: Ideal,
}

/// Gas constant of both equations, J/(mol K).
const R: f64 = 8.314_51;

/// A state; density in mol/m3, entropy over the gas constant.
#[derive(Debug, Clone, Copy)]
pub(super) struct State {
    pub(super) temperature: f64,
    pub(super) density: f64,
    pub(super) pressure: f64,
    pub(super) entropy: f64,
    pub(super) compressibility: f64,
    /// `-(V/p) dp/dV` at one temperature.
    pub(super) slow_exponent: f64,
    /// The same at one entropy: `rho c^2/p`.
    pub(super) fast_exponent: f64,
}

/// The residual energy and its derivatives, each times its powers of `delta` and `tau`.
#[derive(Default)]
struct Residual {
    a: f64,
    d: f64,
    dd: f64,
    t: f64,
    tt: f64,
    dt: f64,
}

impl Residual {
    fn add(&mut self, value: f64, by_d: f64, by_dd: f64, by_t: f64, by_tt: f64) {
        self.a += value;
        self.d += value * by_d;
        self.dd += value * by_dd;
        self.t += value * by_t;
        self.tt += value * by_tt;
        self.dt += value * by_d * by_t;
    }
}

impl Fluid {
    fn residual(&self, delta: f64, tau: f64) -> Residual {
        let mut sum = Residual::default();
        for &(n, d, t, l) in self.power {
            let e = if l > 0.0 { delta.powf(l) } else { 0.0 };
            let value = n * delta.powf(d) * tau.powf(t) * (-e).exp();
            let by_d = d - l * e;
            sum.add(value, by_d, by_d * (by_d - 1.0) - l * l * e, t, t * (t - 1.0));
        }
        for &(n, d, t, eta, beta, gamma) in self.gauss {
            let off = -eta * (delta - 1.0).powi(2) - beta * (tau - gamma).powi(2);
            let value = n * delta.powf(d) * tau.powf(t) * off.exp();
            let by_d = d - 2.0 * eta * delta * (delta - 1.0);
            let by_t = t - 2.0 * beta * tau * (tau - gamma);
            let by_dd = by_d * by_d - d - 2.0 * eta * delta * delta;
            sum.add(value, by_d, by_dd, by_t, by_t * by_t - t - 2.0 * beta * tau * tau);
        }
        sum
    }

    pub(super) fn at_density(&self, temperature: f64, density: f64) -> State {
        let (delta, tau) = (density / self.density, self.temperature / temperature);
        let r = self.residual(delta, tau);
        let (ideal, ideal_t, ideal_tt) = (self.ideal)(tau);
        let compressibility = 1.0 + r.d;
        let slow = 1.0 + 2.0 * r.d + r.dd;
        let mixed = 1.0 + r.d - r.dt;
        let fast = slow - mixed * mixed / (ideal_tt + r.tt);
        State {
            temperature,
            density,
            pressure: density * R * temperature * compressibility,
            entropy: ideal_t + r.t - (ideal + delta.ln()) - r.a,
            compressibility,
            slow_exponent: slow / compressibility,
            fast_exponent: fast / compressibility,
        }
    }

    /// By Newton steps from the ideal gas; `None` where they do not settle.
    pub(super) fn at_pressure(&self, temperature: f64, pressure: f64) -> Option<State> {
        let mut density = pressure / (R * temperature);
        for _ in 0..60 {
            let state = self.at_density(temperature, density);
            let step = (pressure - state.pressure) / (state.slow_exponent * state.pressure / density);
            // A dense gas is approached from below.
            density += step.clamp(-0.5 * density, 0.5 * density);
            if step.abs() <= 1e-14 * density {
                return Some(self.at_density(temperature, density));
            }
        }
        let state = self.at_density(temperature, density);
        ((state.pressure / pressure - 1.0).abs() < 1e-10).then_some(state)
    }

    /// The state of an entropy and a density, by Newton steps in the temperature: `d(s/R)/d(ln T) = cv/R`.
    pub(super) fn at_entropy(&self, entropy: f64, density: f64, near: f64) -> Option<State> {
        let mut temperature = near;
        for _ in 0..60 {
            let state = self.at_density(temperature, density);
            let tau = self.temperature / temperature;
            let heat = -((self.ideal)(tau).2 + self.residual(density / self.density, tau).tt);
            let step = (entropy - state.entropy) / heat;
            temperature *= step.clamp(-0.3, 0.3).exp();
            if step.abs() <= 1e-14 {
                break;
            }
        }
        let state = self.at_density(temperature, density);
        let settled = (state.entropy - entropy).abs() < 1e-9 && (100.0..=2_000.0).contains(&temperature);
        settled.then_some(state)
    }

    /// Second and third virial coefficient, m3/mol and m6/mol2: the limits of the residual energy's derivatives for an
    /// empty room.
    pub(super) fn virial(&self, temperature: f64) -> (f64, f64) {
        let tau = self.temperature / temperature;
        let (mut second, mut third) = (0.0, 0.0);
        for &(n, d, t, l) in self.power {
            let value = n * tau.powf(t);
            if d == 1.0 {
                second += value;
                // The exponential's first term.
                third += if l == 1.0 { -2.0 * value } else { 0.0 };
            } else if d == 2.0 {
                third += 2.0 * value;
            }
        }
        for &(n, d, t, eta, beta, gamma) in self.gauss {
            let value = n * tau.powf(t) * (-eta - beta * (tau - gamma).powi(2)).exp();
            if d == 1.0 {
                second += value;
                third += 4.0 * eta * value;
            } else if d == 2.0 {
                third += 2.0 * value;
            }
        }
        (second / self.density, third / (self.density * self.density))
    }
}

/// `p/(rho R T)` by `1 + B rho + C rho^2`.
pub(super) fn virial_compressibility((b, c): (f64, f64), temperature: f64, pressure: f64) -> f64 {
    // The coefficients may be anybody's: the gas constant is the exact one of the SI.
    let ideal = pressure / (8.314_462_618_153_24 * temperature);
    let mut density = ideal;
    for _ in 0..80 {
        let off = density * (1.0 + b * density + c * density * density) - ideal;
        let slope = 1.0 + 2.0 * b * density + 3.0 * c * density * density;
        density -= off / slope;
    }
    ideal / density
}

/// `sum n tau^t` with its derivatives.
fn powers(terms: &[(f64, f64)], tau: f64, sum: &mut (f64, f64, f64)) {
    for (n, t) in terms {
        let value = n * tau.powf(*t);
        sum.0 += value;
        sum.1 += t * value;
        sum.2 += t * (t - 1.0) * value;
    }
}

/// `n ln(1 - exp(-theta tau))` with its derivatives (Planck and Einstein).
fn oscillating(n: f64, theta: f64, tau: f64, sum: &mut (f64, f64, f64)) {
    let x = theta * tau;
    sum.0 += n * (-(-x).exp()).ln_1p();
    sum.1 += n * x / x.exp_m1();
    sum.2 -= n * x * x * x.exp() / x.exp_m1().powi(2);
}

fn logarithmic(n: f64, tau: f64, sum: &mut (f64, f64, f64)) {
    sum.0 += n * tau.ln();
    sum.1 += n;
    sum.2 -= n;
}

fn nitrogen(tau: f64) -> (f64, f64, f64) {
    let mut sum = (0.0, 0.0, 0.0);
    let terms = [
        (-12.769_527_08, 0.0),
        (-0.007_841_63, 1.0),
        (-0.000_193_481_9, -1.0),
        (-1.247_742e-5, -2.0),
        (6.678_326e-8, -3.0),
    ];
    powers(&terms, tau, &mut sum);
    logarithmic(2.5, tau, &mut sum);
    oscillating(1.012_941, 26.657_88, tau, &mut sum);
    sum
}

fn air(tau: f64) -> (f64, f64, f64) {
    let mut sum = (0.0, 0.0, 0.0);
    let terms = [
        (6.057_194e-8, -3.0),
        (-2.102_747_69e-5, -2.0),
        (-0.000_158_860_716, -1.0),
        (-13.841_928_076, 0.0),
        (17.275_266_575, 1.0),
        (-0.000_195_363_42, 1.5),
    ];
    powers(&terms, tau, &mut sum);
    logarithmic(2.490_888_032, tau, &mut sum);
    oscillating(0.791_309_509, 25.363_65, tau, &mut sum);
    oscillating(0.212_236_768, 16.907_41, tau, &mut sum);
    // `n ln(2/3 + exp(theta tau))`, the exponential taken out so that it stays small.
    let (n, theta) = (-0.197_938_904, 87.312_79);
    let x = theta * tau;
    let e = 2.0 / 3.0 * (-x).exp();
    sum.0 += n * (x + e.ln_1p());
    sum.1 += n * x / (1.0 + e);
    sum.2 += n * x * x * e / (1.0 + e).powi(2);
    sum
}

pub(super) static NITROGEN: Fluid = Fluid {
    temperature: 126.192,
    density: 11_183.901_464_580_62,
    power: &[
        (0.924_803_575_275, 1.0, 0.25, 0.0),
        (-0.492_448_489_428, 1.0, 0.875, 0.0),
        (0.661_883_336_938, 2.0, 0.5, 0.0),
        (-1.929_026_492_01, 2.0, 0.875, 0.0),
        (-0.062_246_930_962_9, 3.0, 0.375, 0.0),
        (0.349_943_957_581, 3.0, 0.75, 0.0),
        (0.564_857_472_498, 1.0, 0.5, 1.0),
        (-1.617_200_059_87, 1.0, 0.75, 1.0),
        (-0.481_395_031_883, 1.0, 2.0, 1.0),
        (0.421_150_636_384, 3.0, 1.25, 1.0),
        (-0.016_196_223_082_5, 3.0, 3.5, 1.0),
        (0.172_100_994_165, 4.0, 1.0, 1.0),
        (0.007_354_489_249_33, 6.0, 0.5, 1.0),
        (0.016_807_730_547_9, 6.0, 3.0, 1.0),
        (-0.001_076_266_641_79, 7.0, 0.0, 1.0),
        (-0.013_731_808_851_3, 7.0, 2.75, 1.0),
        (0.000_635_466_899_859, 8.0, 0.75, 1.0),
        (0.003_044_322_794_19, 8.0, 2.5, 1.0),
        (-0.043_576_233_604_5, 1.0, 4.0, 2.0),
        (-0.072_317_488_931_6, 2.0, 6.0, 2.0),
        (0.038_964_431_527_2, 3.0, 6.0, 2.0),
        (-0.021_220_136_391, 4.0, 3.0, 2.0),
        (0.004_088_229_815_09, 5.0, 3.0, 2.0),
        (-5.519_900_179_84e-5, 8.0, 6.0, 2.0),
        (-0.046_201_671_647_9, 4.0, 16.0, 3.0),
        (-0.003_003_117_160_11, 5.0, 11.0, 3.0),
        (0.036_882_589_120_8, 5.0, 15.0, 3.0),
        (-0.002_558_568_462_2, 8.0, 12.0, 3.0),
        (0.008_969_152_645_58, 3.0, 12.0, 4.0),
        (-0.004_415_133_703_5, 5.0, 7.0, 4.0),
        (0.001_337_229_248_58, 6.0, 4.0, 4.0),
        (0.000_264_832_491_957, 9.0, 16.0, 4.0),
    ],
    gauss: &[
        (19.668_819_401_5, 1.0, 0.0, 20.0, 325.0, 1.16),
        (-20.911_560_073, 1.0, 1.0, 20.0, 325.0, 1.16),
        (0.016_778_830_698_9, 3.0, 2.0, 15.0, 300.0, 1.13),
        (2_627.675_662_74, 2.0, 3.0, 25.0, 275.0, 1.25),
    ],
    ideal: nitrogen,
};

pub(super) static AIR: Fluid = Fluid {
    temperature: 132.631_2,
    density: 10_447.7,
    power: &[
        (0.118_160_747_229, 1.0, 0.0, 0.0),
        (0.713_116_392_079, 1.0, 0.33, 0.0),
        (-1.618_241_920_67, 1.0, 1.01, 0.0),
        (0.071_414_017_897_1, 2.0, 0.0, 0.0),
        (-0.086_542_139_664_6, 3.0, 0.0, 0.0),
        (0.134_211_176_704, 3.0, 0.15, 0.0),
        (0.011_262_670_421_8, 4.0, 0.0, 0.0),
        (-0.042_053_322_884_2, 4.0, 0.2, 0.0),
        (0.034_900_843_198_2, 4.0, 0.35, 0.0),
        (0.000_164_957_183_186, 6.0, 1.35, 0.0),
        (-0.101_365_037_912, 1.0, 1.6, 1.0),
        (-0.173_813_690_97, 3.0, 0.8, 1.0),
        (-0.047_210_318_373_1, 5.0, 0.95, 1.0),
        (-0.012_252_355_425_3, 6.0, 1.25, 1.0),
        (-0.146_629_609_713, 1.0, 3.6, 2.0),
        (-0.031_605_587_982_1, 3.0, 6.0, 2.0),
        (0.000_233_594_806_142, 11.0, 3.25, 2.0),
        (0.014_828_789_197_8, 1.0, 3.5, 3.0),
        (-0.009_387_828_846_67, 3.0, 15.0, 3.0),
    ],
    gauss: &[],
    ideal: air,
};
