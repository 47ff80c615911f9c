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
    short_tube(x).0
}

/// The factor, and `x` times its derivative.
fn short_tube(x: f64) -> (f64, f64) {
    let root = 1.0 / x.sqrt();
    let (friction, entrance) = (64.0 * root * root, 13.74 * root);
    let (laminar, turbulent) = (2.28 + friction, 1.5 + entrance);
    let z = (x * (1.0 / 86.8)).powi(3);
    let share = 1.0 / (1.0 + z);
    let apart = laminar - turbulent;
    let falls = 0.5 * entrance + share * (friction - 0.5 * entrance + 3.0 * z * share * apart);
    (turbulent + apart * share, -falls)
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

/// A restriction in an oil, its coefficients made once: `dp = quadratic u^2 + linear u`, `u = q/area`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Explicit {
    area: f64,
    quadratic: f64,
    linear: f64,
}

impl Explicit {
    /// Flow at a drop and its derivative, 0 through a closed one: solved without cancellation and without dividing by zero.
    pub(super) fn q(&self, dp: f64) -> (f64, f64) {
        if !(self.area > 0.0 && dp > 0.0) {
            return (0.0, 0.0);
        }
        let root = (self.linear * self.linear + 4.0 * self.quadratic * dp).sqrt();
        (self.area * (2.0 * dp / (self.linear + root)), self.area / root)
    }

    /// Drop at a flow and its derivative, without limit through a closed one.
    pub(super) fn dp(&self, q: f64) -> (f64, f64) {
        along(self.area, q, |u| {
            (
                self.quadratic * u * u + self.linear * u,
                2.0 * self.quadratic * u + self.linear,
            )
        })
    }
}

/// Holes with a length in an oil.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tube {
    area: f64,
    /// Dynamic head of 1 m/s.
    head: f64,
    /// `Re d/L` of 1 m/s.
    along: f64,
}

impl Tube {
    fn drop_at(&self, u: f64) -> (f64, f64) {
        let (factor, rises) = short_tube((u * self.along).max(1e-12));
        (self.head * u * u * factor, self.head * u * (2.0 * factor + rises))
    }

    fn q(&self, dp: f64) -> f64 {
        if !(self.area > 0.0 && dp > 0.0) {
            return 0.0;
        }
        // Without friction the loss is at least that of the entrance and the exit.
        let fastest = (dp / (1.5 * self.head)).sqrt();
        self.area * root::rising(|u| self.drop_at(u).0 - dp, 0.0, fastest)
    }
}

/// Drop and its derivative at a flow of 0 or more, from those at its speed.
fn along(area: f64, q: f64, at_speed: impl Fn(f64) -> (f64, f64)) -> (f64, f64) {
    if area <= 0.0 && q > 0.0 {
        return (f64::INFINITY, f64::INFINITY);
    }
    if q <= 0.0 {
        return (0.0, 0.0);
    }
    let (dp, slope) = at_speed(q / area);
    (dp, slope / area)
}

/// Any restriction in an oil.
#[derive(Debug, Clone, Copy)]
pub(super) enum InOil {
    Explicit(Explicit),
    Tube(Tube),
}

impl InOil {
    /// Flow at a drop of 0 or more, m3/s and Pa.
    fn q(&self, dp: f64) -> f64 {
        match self {
            Self::Explicit(explicit) => explicit.q(dp).0,
            Self::Tube(tube) => tube.q(dp),
        }
    }

    /// Drop at a flow of 0 or more and its derivative, Pa and m3/s.
    pub(super) fn dp(&self, q: f64) -> (f64, f64) {
        match self {
            Self::Explicit(explicit) => explicit.dp(q),
            Self::Tube(tube) => along(tube.area, q, |u| tube.drop_at(u)),
        }
    }
}

/// What a dynamic head of discharge costs: `rho/(2 Cd^2)`.
pub(super) fn discharge_head(discharge_factor: f64, oil: &OilAt) -> f64 {
    oil.rho() / (2.0 * discharge_factor * discharge_factor)
}

impl Orifice {
    pub(super) fn in_oil(&self, oil: &OilAt) -> Explicit {
        let area = self.area.si();
        let dh = self.hydraulic_diameter.map_or((4.0 * area / PI).sqrt(), Quantity::si);
        let head = discharge_head(self.discharge_factor, oil);
        Explicit {
            area,
            quadratic: head,
            linear: head * oil.nu() * self.transition_factor / dh,
        }
    }
}

impl ShortTube {
    fn area(&self) -> f64 {
        f64::from(self.count) * PI * self.diameter.si().powi(2) / 4.0
    }

    fn in_oil(&self, oil: &OilAt) -> Tube {
        Tube {
            area: self.area(),
            head: 0.5 * oil.rho(),
            along: self.diameter.si().powi(2) / (oil.nu() * self.length.si()),
        }
    }
}

impl Gap {
    fn open_area(&self) -> f64 {
        PI * self.diameter.si() * self.clearance.si()
    }

    pub(super) fn in_oil(&self, oil: &OilAt) -> Explicit {
        let h = self.clearance.si();
        let eccentric = 1.0 + 1.5 * self.eccentricity_ratio.powi(2);
        Explicit {
            area: self.open_area(),
            quadratic: 0.5 * self.loss_factor * oil.rho(),
            linear: 12.0 * oil.rho() * oil.nu() * self.length.si() / (h * h * eccentric),
        }
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
        FlowRate::from_si(self.in_oil(oil).q(drop.si().abs()).copysign(drop.si()))
    }

    /// Pressure drop at a flow; without limit through a closed one.
    #[must_use]
    pub fn drop(&self, flow: FlowRate, oil: &OilAt) -> PressureDifference {
        PressureDifference::from_si(self.in_oil(oil).dp(flow.si().abs()).0.copysign(flow.si()))
    }

    pub(super) fn in_oil(&self, oil: &OilAt) -> InOil {
        match self {
            Self::Orifice(orifice) => InOil::Explicit(orifice.in_oil(oil)),
            Self::ShortTube(tube) => InOil::Tube(tube.in_oil(oil)),
            Self::Gap(gap) => InOil::Explicit(gap.in_oil(oil)),
        }
    }
}
