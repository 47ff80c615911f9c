//! How what the machine meets grows with the pace.

use crate::quantity::STANDARD_GRAVITY;

/// What rms suspension velocity and travel on a random road are multiplied by: `p^((w-1)/2)`.
///
/// `w` is the waviness of the road's one-sided spectrum `G n^-w`; 2 in the spectrum form of ISO 8608. Derived for a linear
/// suspension. Example: p = 1.2, w = 2: 1.0954.
#[must_use]
pub fn road_factor(pace: f64, waviness: f64) -> f64 {
    pace.powf((waviness - 1.0) / 2.0)
}

/// Deceleration in m/s2 of a stop in the same distance: `a_1 p^2`, up to grip and to the lift of the rear wheel.
#[must_use]
pub fn deceleration_at(pace: f64, now: f64, grip: f64, rear_lift: f64) -> f64 {
    (now * pace * pace).min(grip * STANDARD_GRAVITY).min(rear_lift)
}

/// Lateral acceleration in m/s2 on the same line: `a_1 p^2`, up to grip.
#[must_use]
pub fn lateral_at(pace: f64, now: f64, grip: f64) -> f64 {
    (now * pace * pace).min(grip * STANDARD_GRAVITY)
}

/// Braking and cornering at once, in m/s2: both grow with `p^2`, then stay on the friction circle in the same proportion.
pub(super) fn together_at(pace: f64, (braking, lateral): (f64, f64), grip: f64) -> (f64, f64) {
    let grown = pace * pace;
    let most = grip * STANDARD_GRAVITY;
    let whole = braking.hypot(lateral) * grown;
    let held = if whole > most { most / whole } else { 1.0 };
    (braking * grown * held, lateral * grown * held)
}

/// What the damping must be multiplied by so that the damping ratio stays, for a damper of `F ~ v^alpha`:
/// `q^(1 - alpha) sqrt(k_2/k_1)`, `q` the ratio of the shaft's velocities.
///
/// Example: q = 1.2, alpha = 0.67, the same spring: 1.0620.
#[must_use]
pub fn damping_factor(velocity_ratio: f64, exponent: f64, rate_ratio: f64) -> f64 {
    velocity_ratio.powf(1.0 - exponent) * rate_ratio.sqrt()
}

/// Share of an adjuster's range left after the damping was multiplied: `x - ln(factor)/ln(r)`, from
/// `F(x) = F_open r^(1-x)`. Below 0 it cannot be had.
#[must_use]
pub fn share_left(share: f64, factor: f64, closed_to_open: f64) -> f64 {
    share - factor.ln() / closed_to_open.ln()
}
