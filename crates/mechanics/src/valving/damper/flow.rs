//! Restrictions: flow from pressure and pressure from flow, each explicit, smooth and rising, also at zero.

use std::f64::consts::PI;

use crate::quantity::{Area, FlowRate, Length, PressureDifference, Quantity};
use crate::valving::oil::OilAt;
use crate::valving::root;

/// Discharge coefficient of a sharp edge, `pi/(pi + 2)`. Merritt, Hydraulic Control Systems, 1967.
pub const SHARP_EDGE: f64 = PI / (PI + 2.0);
/// Transition Reynolds number of a round hole, `(0.611/0.2)^2`. Merritt.
pub const ROUND_TRANSITION: f64 = (SHARP_EDGE / 0.2) * (SHARP_EDGE / 0.2);
/// Transition Reynolds number of a slit, `(0.611/0.157)^2`. Merritt.
pub const SLIT_TRANSITION: f64 = (SHARP_EDGE / 0.157) * (SHARP_EDGE / 0.157);

/// Discharge coefficient at a Reynolds number: `Cd = Cd_inf / sqrt(1 + Re_t/Re)`, which goes over from `delta sqrt(Re)` to a
/// constant. Form after Borutzky, Barnard and Thoma, 2002; constants Merritt.
#[must_use]
pub fn discharge_factor(reynolds: f64, turbulent: f64, transition: f64) -> f64 {
    if reynolds > 0.0 {
        turbulent * (reynolds / (reynolds + transition)).sqrt()
    } else {
        0.0
    }
}

/// Loss factor of a short tube at `x = Re d/L`: `2.28 + 64/x` below, `1.5 + 13.74/sqrt(x)` above (Merritt, as quoted by Rabie,
/// Fluid Power Engineering, 2.40 and 2.41). The printed pair jumps by 3 % at 50 and never meets; it is blended where it is
/// closest, at 86.8, which moves it by less than 0.2 % away from 50 to 150.
#[must_use]
pub fn short_tube_factor(x: f64) -> f64 {
    let (laminar, turbulent) = (2.28 + 64.0 / x, 1.5 + 13.74 / x.sqrt());
    turbulent + (laminar - turbulent) / (1.0 + (x / 86.8).powi(3))
}

/// An orifice: `dp = rho/(2 Cd^2) (u^2 + u nu Re_t/Dh)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Orifice {
    /// Open area; 0: closed.
    pub area: Area,
    /// Discharge coefficient at high flow.
    pub discharge_factor: f64,
    /// Reynolds number of the change from laminar to turbulent.
    pub transition_factor: f64,
    /// Hydraulic diameter; `None`: of a round hole.
    pub hydraulic_diameter: Option<Length>,
}

/// Round holes with a length: dp = K rho u^2/2 with [`short_tube_factor`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShortTube {
    /// Diameter of one hole.
    pub diameter: Length,
    /// Length.
    pub length: Length,
    /// How many side by side.
    pub count: u32,
}

/// The gap at the piston band: laminar flow in a narrow annulus with an entrance and exit loss,
/// `dp = 12 mu L q/(pi D h^3 (1 + 1.5 e^2)) + K rho/2 (q/(pi D h))^2` (White; Merritt; the loss is ours, without it hot oil leaks
/// without limit). The wall's drag, a thousandth of the flow, is left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// Diameter.
    pub diameter: Length,
    /// Radial clearance; 0: sealed.
    pub clearance: Length,
    /// Length along the axis.
    pub length: Length,
    /// Eccentricity over clearance, 0 to 1.
    pub eccentricity_ratio: f64,
    /// Entrance and exit loss, in dynamic heads.
    pub loss_factor: f64,
}

/// A restriction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Restriction {
    /// An orifice.
    Orifice(Orifice),
    /// A short tube.
    ShortTube(ShortTube),
    /// An annular gap.
    Gap(Gap),
}

/// `dp = quadratic u^2 + linear u`, solved for `u` without cancellation and without dividing by zero.
fn speed(dp: f64, quadratic: f64, linear: f64) -> f64 {
    if dp <= 0.0 {
        return 0.0;
    }
    2.0 * dp / (linear + (linear * linear + 4.0 * quadratic * dp).sqrt())
}

impl Orifice {
    fn coefficients(&self, oil: &OilAt) -> (f64, f64) {
        let area = self.area.si();
        let dh = self.hydraulic_diameter.map_or((4.0 * area / PI).sqrt(), Quantity::si);
        let head = oil.rho() / (2.0 * self.discharge_factor * self.discharge_factor);
        (head, head * oil.nu() * self.transition_factor / dh)
    }
}

impl ShortTube {
    pub(super) fn area(&self) -> f64 {
        f64::from(self.count) * PI * self.diameter.si().powi(2) / 4.0
    }

    fn drop_at(&self, u: f64, oil: &OilAt) -> f64 {
        let x = (u * self.diameter.si().powi(2) / (oil.nu() * self.length.si())).max(1e-12);
        0.5 * oil.rho() * u * u * short_tube_factor(x)
    }
}

impl Gap {
    fn open_area(&self) -> f64 {
        PI * self.diameter.si() * self.clearance.si()
    }

    fn coefficients(&self, oil: &OilAt) -> (f64, f64) {
        let h = self.clearance.si();
        let eccentric = 1.0 + 1.5 * self.eccentricity_ratio.powi(2);
        let laminar = 12.0 * oil.rho() * oil.nu() * self.length.si() / (h * h * eccentric);
        (0.5 * self.loss_factor * oil.rho(), laminar)
    }
}

impl Restriction {
    /// Whether anything can pass.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.open_area().si() > 0.0
    }

    /// Its open area.
    #[must_use]
    pub fn open_area(&self) -> Area {
        match self {
            Self::Orifice(orifice) => orifice.area,
            Self::ShortTube(tube) => Area::from_si(tube.area()),
            Self::Gap(gap) => Area::from_si(gap.open_area()),
        }
    }

    /// Flow at a pressure drop; 0 through a closed one.
    #[must_use]
    pub fn flow(&self, drop: PressureDifference, oil: &OilAt) -> FlowRate {
        FlowRate::from_si(self.q(drop.si().abs(), oil).copysign(drop.si()))
    }

    /// Pressure drop at a flow; without limit through a closed one.
    #[must_use]
    pub fn drop(&self, flow: FlowRate, oil: &OilAt) -> PressureDifference {
        PressureDifference::from_si(self.dp(flow.si().abs(), oil).copysign(flow.si()))
    }

    /// Flow at a drop of 0 or more, m3/s and Pa.
    pub(super) fn q(&self, dp: f64, oil: &OilAt) -> f64 {
        let area = self.open_area().si();
        if !(area > 0.0 && dp > 0.0) {
            return 0.0;
        }
        match self {
            Self::Orifice(orifice) => {
                let (quadratic, linear) = orifice.coefficients(oil);
                area * speed(dp, quadratic, linear)
            }
            Self::Gap(gap) => {
                let (quadratic, linear) = gap.coefficients(oil);
                area * speed(dp, quadratic, linear)
            }
            Self::ShortTube(tube) => {
                // Without friction the loss is at least that of the entrance and the exit.
                let fastest = (2.0 * dp / (1.5 * oil.rho())).sqrt();
                area * root::rising(|u| tube.drop_at(u, oil) - dp, 0.0, fastest)
            }
        }
    }

    /// Drop at a flow of 0 or more, Pa and m3/s.
    pub(super) fn dp(&self, q: f64, oil: &OilAt) -> f64 {
        if q <= 0.0 {
            return 0.0;
        }
        let area = self.open_area().si();
        if area <= 0.0 {
            return f64::INFINITY;
        }
        let u = q / area;
        match self {
            Self::Orifice(orifice) => {
                let (quadratic, linear) = orifice.coefficients(oil);
                quadratic * u * u + linear * u
            }
            Self::Gap(gap) => {
                let (quadratic, linear) = gap.coefficients(oil);
                quadratic * u * u + linear * u
            }
            Self::ShortTube(tube) => tube.drop_at(u, oil),
        }
    }
}
