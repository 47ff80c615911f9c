//! The rate a person watches while the spring is pressed: constant work a sample, no promise of accuracy.

use crate::quantity::{Deflection, Load, Quantity, SpringRate};

/// Movement over which earlier samples fade to 1/e, metres: a few millimetres follow a knee and still quiet the noise.
const FADE: f64 = 4e-3;
/// Spread of the deflections below which no slope is shown, metres.
const LEAST_SPREAD: f64 = 0.2e-3;

/// Least squares over the latest movement, earlier samples fading exponentially with the way travelled since.
///
/// With weights `w_i = exp(-d_i / L)`, `d_i` the way travelled since sample `i`, the slope is
/// `Sum w (s - s_m)(F - F_m) / Sum w (s - s_m)^2`; means and sums are carried from sample to sample, centred (the
/// weighted form of Welford's recurrence, from memory; checked against the direct sum in the tests).
#[derive(Debug, Clone, Default)]
pub struct LiveRate {
    weight: f64,
    mean_deflection: f64,
    mean_load: f64,
    spread: f64,
    covariance: f64,
    last: Option<f64>,
}

impl LiveRate {
    /// Nothing seen yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a sample in.
    pub fn push(&mut self, deflection: Deflection, load: Load) {
        let (s, force) = (deflection.si(), load.si());
        if !s.is_finite() || !force.is_finite() {
            return;
        }
        let way = self.last.map_or(0.0, |last| (s - last).abs());
        self.last = Some(s);
        let fade = (-way / FADE).exp();
        self.weight *= fade;
        self.spread *= fade;
        self.covariance *= fade;
        self.weight += 1.0;
        let (ds, df) = (s - self.mean_deflection, force - self.mean_load);
        self.mean_deflection += ds / self.weight;
        self.mean_load += df / self.weight;
        self.spread += ds * (s - self.mean_deflection);
        self.covariance += ds * (force - self.mean_load);
    }

    /// The slope now; nothing while too little has moved.
    #[must_use]
    pub fn rate(&self) -> Option<SpringRate> {
        let standard = (self.spread / self.weight.max(1.0)).sqrt();
        (standard > LEAST_SPREAD).then(|| SpringRate::from_si(self.covariance / self.spread))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{ForceUnit, LengthUnit, StiffnessUnit};

    fn press(samples: impl Iterator<Item = (f64, f64)>) -> LiveRate {
        let mut live = LiveRate::new();
        for (s, f) in samples {
            live.push(
                Deflection::new(s, LengthUnit::Millimeter),
                Load::new(f, ForceUnit::Newton),
            );
        }
        live
    }

    #[test]
    fn a_straight_spring_shows_its_rate() {
        let live = press((0..200).map(|i| f64::from(i) * 0.25).map(|s| (s, 12.0 + 9.5 * s)));
        assert!((live.rate().unwrap().get(StiffnessUnit::NewtonPerMillimeter) - 9.5).abs() < 1e-9);
    }

    #[test]
    fn it_follows_a_knee_and_shows_nothing_at_rest() {
        let knee = |s: f64| if s < 30.0 { 8.0 * s } else { 240.0 + 14.0 * (s - 30.0) };
        let live = press((0..600).map(|i| f64::from(i) * 0.1).map(|s| (s, knee(s))));
        assert!((live.rate().unwrap().get(StiffnessUnit::NewtonPerMillimeter) - 14.0).abs() < 0.05);
        assert!(press((0..100).map(|_| (5.0, 1.0))).rate().is_none());
    }

    #[test]
    fn the_recurrence_is_the_weighted_sum() {
        let data: Vec<(f64, f64)> = (0..80)
            .map(f64::from)
            .map(|i| (0.3 * i, 9.0 * 0.3 * i + (i * 1.7).sin()))
            .collect();
        let last = data.last().unwrap().0;
        let weight = |s: f64| (-(last - s) / 4.0).exp();
        let total: f64 = data.iter().map(|(s, _)| weight(*s)).sum();
        let (ms, mf) = data.iter().fold((0.0, 0.0), |(a, b), (s, f)| {
            (a + weight(*s) * s / total, b + weight(*s) * f / total)
        });
        let slope = data.iter().map(|(s, f)| weight(*s) * (s - ms) * (f - mf)).sum::<f64>()
            / data.iter().map(|(s, _)| weight(*s) * (s - ms).powi(2)).sum::<f64>();
        let live = press(data.into_iter())
            .rate()
            .unwrap()
            .get(StiffnessUnit::NewtonPerMillimeter);
        assert!((live / slope - 1.0).abs() < 1e-9, "{live} {slope}");
    }
}
