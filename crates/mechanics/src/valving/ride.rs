//! Damping at the wheel.
//!
//! `MR` is damper travel over vertical wheel travel, of a fork `1/cos(rake)`.
//!
//! ```text
//! k_w = k MR^2 + F dMR/dz,   c_w = c MR^2,   zeta = c_w/(2 sqrt(k_w m)),   w_n = sqrt(k_w/m)
//! overshoot exp(-pi zeta/sqrt(1 - zeta^2)),   after a new spring c2 = c1 sqrt(k2 m2/(k1 m1))
//! energy over a sine of peak speed V: c_eq = (1/(pi V)) int_0^2pi F(V sin th) sin th dth
//! ```
//!
//! Virtual work and the linear oscillator (textbook; fork: Cossalter, Motorcycle Dynamics, from memory).

use std::f64::consts::PI;

use super::ValvingError;
use super::error::within;
use super::gauss::GAUSS;
use super::root;
use crate::quantity::{Angle, AngleUnit, DampingRate, Load, Mass, Quantity, SpringRate, WheelRate};

/// How a damper is joined to the wheel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Linkage {
    /// Damper travel over vertical wheel travel, with its change over wheel travel, 1/m.
    Ratio {
        /// The ratio.
        motion_ratio: f64,
        /// How it changes.
        change_per_meter: f64,
    },
    /// A telescopic fork by its rake.
    Fork {
        /// Angle of the legs from the vertical, 0 to 45 degrees.
        rake: Angle,
    },
}

impl Linkage {
    /// Damper travel over vertical wheel travel.
    ///
    /// # Errors
    /// [`ValvingError::OutOfRange`].
    pub fn motion_ratio(&self) -> Result<f64, ValvingError> {
        match self {
            Self::Ratio { motion_ratio, .. } => within("wheel.motion_ratio", *motion_ratio, 0.05, 5.0, ""),
            Self::Fork { rake } => {
                within("wheel.rake", rake.get(AngleUnit::Degree), 0.0, 45.0, "deg")?;
                Ok(1.0 / rake.si().cos())
            }
        }
    }

    /// Wheel rate of a spring at the damper under a load.
    ///
    /// # Errors
    /// [`ValvingError::OutOfRange`].
    pub fn wheel_rate(&self, rate: SpringRate, load: Load) -> Result<WheelRate, ValvingError> {
        let ratio = self.motion_ratio()?;
        let change = match self {
            Self::Ratio { change_per_meter, .. } => {
                within("wheel.motion_ratio_change", *change_per_meter, -50.0, 50.0, "1/m")?
            }
            Self::Fork { .. } => 0.0,
        };
        Ok(WheelRate::from_si(rate.si() * ratio * ratio + load.si() * change))
    }
}

/// Mass and spring at the wheel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Oscillator {
    /// Wheel rate, above 0.
    pub rate: WheelRate,
    /// Sprung mass on this end.
    pub mass: Mass,
}

impl Oscillator {
    /// Natural angular frequency, rad/s.
    #[must_use]
    pub fn angular_frequency(&self) -> f64 {
        (self.rate.si() / self.mass.si()).sqrt()
    }

    /// Damping rate at the wheel that is just critical.
    #[must_use]
    pub fn critical(&self) -> DampingRate {
        DampingRate::from_si(2.0 * (self.rate.si() * self.mass.si()).sqrt())
    }

    /// Damping ratio of a rate at the wheel.
    #[must_use]
    pub fn ratio(&self, damping: DampingRate) -> f64 {
        damping.si() / self.critical().si()
    }
}

/// Share of a step by which it overshoots.
#[must_use]
pub fn overshoot(damping_ratio: f64) -> f64 {
    if damping_ratio >= 1.0 {
        0.0
    } else {
        (-PI * damping_ratio / (1.0 - damping_ratio * damping_ratio).sqrt()).exp()
    }
}

/// Damping ratio of an overshoot, above 0 and below 1.
#[must_use]
pub fn ratio_of_overshoot(overshoot: f64) -> f64 {
    let log = -overshoot.ln();
    log / PI.hypot(log)
}

/// Damping ratio of a logarithmic decrement over `cycles`.
#[must_use]
pub fn ratio_of_decrement(decrement: f64, cycles: f64) -> f64 {
    let each = decrement / cycles;
    each / (2.0 * PI).hypot(each)
}

/// Distance of the unit step from its end, at `w_n t`.
fn left(zeta: f64, wt: f64) -> f64 {
    let discriminant = 1.0 - zeta * zeta;
    if discriminant.abs() < 1e-9 {
        (-wt).exp() * (1.0 + wt)
    } else if discriminant > 0.0 {
        let d = discriminant.sqrt();
        (-zeta * wt).exp() * ((d * wt).cos() + zeta / d * (d * wt).sin())
    } else {
        let r = (-discriminant).sqrt();
        // -zeta + r as a quotient: it is a small difference of large numbers at a high ratio.
        let (slow, fast) = (-1.0 / (zeta + r), -zeta - r);
        (slow * (fast * wt).exp() - fast * (slow * wt).exp()) / (slow - fast)
    }
}

/// `w_n t` after which the step stays within a band about its end: the last leaving, not the rule `4/zeta`.
/// `None` without damping.
#[must_use]
pub fn settled_at(damping_ratio: f64, band: f64) -> Option<f64> {
    let zeta = damping_ratio;
    if !(zeta > 0.0 && band > 0.0 && band < 1.0) {
        return None;
    }
    let inside = |wt: f64| band - left(zeta, wt).abs();
    if zeta >= 1.0 {
        let mut high = 1.0;
        while inside(high) < 0.0 {
            high *= 2.0;
        }
        return Some(root::rising(inside, 0.0, high));
    }
    // Extremes stand at multiples of pi over the damped frequency; the last one outside the band is left for good after it.
    let d = (1.0 - zeta * zeta).sqrt();
    let last = (-band.ln() / zeta * d / PI).floor();
    Some(root::rising(inside, last * PI / d, (last + 1.0) * PI / d))
}

/// Damping that keeps the ratio after spring and mass changed, over the one before.
#[must_use]
pub fn factor_for_spring((old_rate, new_rate): (WheelRate, WheelRate), (old_mass, new_mass): (Mass, Mass)) -> f64 {
    (new_rate.si() * new_mass.si() / (old_rate.si() * old_mass.si())).sqrt()
}

/// Pieces of each stroke, of four Gauss points: the law has a corner at rest, so that no piece goes over it.
const PIECES: u32 = 32;

/// Energy-equivalent damping rate of a force law over a sine of that peak speed, both strokes; forces signed like the
/// velocity.
///
/// # Errors
/// What the law gives.
pub fn equivalent(
    peak: crate::quantity::Velocity,
    mut force: impl FnMut(crate::quantity::Velocity) -> Result<crate::quantity::Force, ValvingError>,
) -> Result<DampingRate, ValvingError> {
    let step = PI / f64::from(PIECES);
    let mut sum = 0.0;
    for piece in 0..2 * PIECES {
        for (x, part) in GAUSS {
            let sine = ((f64::from(piece) + x) * step).sin();
            sum += part * step * force(Quantity::from_si(peak.si() * sine))?.si() * sine;
        }
    }
    Ok(DampingRate::from_si(sum / (PI * peak.si())))
}
