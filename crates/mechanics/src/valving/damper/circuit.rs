//! The paths of one flow direction, side by side at the same pressure drop.
//!
//! The stack's lift follows the drop over its curtain `pv`; the port is in series with it:
//!
//! ```text
//! y = lift(pv),  q_v = Cd P y u(pv; Dh = 2 y),  dp = pv + dp_port(q_v),  Q(pv) = q_v + q_bleed(dp) + q_leak(dp)
//! ```
//!
//! With `pv` as the unknown everything is explicit and rising, so that a flow needs one root in a closed bracket: from 0 to
//! the drop at which bleed or leak alone would carry it. The kinks of the lift law cut the bracket first; the root is
//! sought over `sqrt(pv)`, in which the flow is nearly straight. Jet forces on the stack are not in it.

use super::flow::{Gap, Orifice, Restriction};
use super::lift::LiftLaw;
use crate::quantity::{Area, FlowRate, Length, PressureDifference, Quantity};
use crate::valving::ValvingError;
use crate::valving::oil::OilAt;
use crate::valving::root;

/// Drop from which on a circuit counts as locked, Pa: far beyond any damper.
const LOCKED: f64 = 1e9;

/// A stack behind its port.
#[derive(Debug, Clone, PartialEq)]
pub struct StackValve {
    /// The port in series; `None`: it costs nothing.
    pub port: Option<Restriction>,
    /// Circumference the curtain is open on.
    pub perimeter: Length,
    /// How far it opens.
    pub lift: LiftLaw,
    /// Discharge coefficient of the curtain.
    pub discharge_factor: f64,
    /// Its Reynolds number of the change from laminar to turbulent.
    pub transition_factor: f64,
    /// Curtain area at most; `None`: as the lift says.
    pub largest_area: Option<Area>,
}

/// The paths of one flow direction.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Circuit {
    /// The stack; `None`: the ports are missing or blocked.
    pub valve: Option<StackValve>,
    /// The bleed; `None`: there is none.
    pub bleed: Option<Orifice>,
    /// The gap at the piston band; `None`: it seals.
    pub leak: Option<Gap>,
}

/// A flow through a circuit, split into its paths.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Split {
    /// Drop over the circuit.
    pub drop: PressureDifference,
    /// Drop over the curtain.
    pub curtain_drop: PressureDifference,
    /// Through the stack.
    pub valve: FlowRate,
    /// Through the bleed.
    pub bleed: FlowRate,
    /// Past the piston band.
    pub leak: FlowRate,
    /// Opening of the stack.
    pub opening: Length,
}

impl StackValve {
    /// Flow and opening at a drop over the curtain.
    fn flow(&self, pv: f64, oil: &OilAt) -> (f64, f64) {
        let y = self.lift.at(pv);
        if !(y > 0.0) {
            return (0.0, 0.0);
        }
        let area = (self.perimeter.si() * y).min(self.largest_area.map_or(f64::INFINITY, Quantity::si));
        let curtain = Restriction::Orifice(Orifice {
            area: Area::from_si(area),
            discharge_factor: self.discharge_factor,
            transition_factor: self.transition_factor,
            hydraulic_diameter: Some(Length::from_si(2.0 * y)),
        });
        (curtain.q(pv, oil), y)
    }
}

impl Circuit {
    /// Flows at a drop over the curtain.
    fn at(&self, pv: f64, oil: &OilAt) -> Split {
        let (valve, opening) = self.valve.as_ref().map_or((0.0, 0.0), |valve| valve.flow(pv, oil));
        let port = self.valve.as_ref().and_then(|valve| valve.port);
        let drop = pv + port.map_or(0.0, |port| port.dp(valve, oil));
        Split {
            drop: PressureDifference::from_si(drop),
            curtain_drop: PressureDifference::from_si(pv),
            valve: FlowRate::from_si(valve),
            bleed: FlowRate::from_si(self.bleed.map_or(0.0, |bleed| Restriction::Orifice(bleed).q(drop, oil))),
            leak: FlowRate::from_si(self.leak.map_or(0.0, |leak| Restriction::Gap(leak).q(drop, oil))),
            opening: Length::from_si(opening),
        }
    }

    /// The split at a drop over the curtain, Pa.
    pub(super) fn at_curtain_drop(&self, pv: f64, oil: &OilAt) -> Split {
        self.at(pv, oil)
    }

    /// The split at the pressure that just opens the stack.
    #[must_use]
    pub fn at_crack(&self, oil: &OilAt) -> Option<Split> {
        let crack = self.valve.as_ref()?.lift.crack();
        (crack.si() > 0.0).then(|| self.at(crack.si(), oil))
    }

    /// The split of a flow of 0 or more.
    ///
    /// # Errors
    /// [`ValvingError::HydraulicLock`] where no path carries it; [`ValvingError::OutOfRange`] for a flow that is none.
    pub fn split(&self, flow: FlowRate, oil: &OilAt, name: &str) -> Result<Split, ValvingError> {
        let wanted = flow.si();
        if !(wanted >= 0.0 && wanted.is_finite()) {
            return Err(ValvingError::out_of_range(name, wanted, "m3/s", "0 or more"));
        }
        if wanted == 0.0 {
            return Ok(self.at(0.0, oil));
        }
        let bleed = self
            .bleed
            .map_or(f64::INFINITY, |bleed| Restriction::Orifice(bleed).dp(wanted, oil));
        let leak = self
            .leak
            .map_or(f64::INFINITY, |leak| Restriction::Gap(leak).dp(wanted, oil));
        let short = |pv: f64| self.at(pv, oil).total() - wanted;
        let mut high = bleed.min(leak);
        if !(high <= LOCKED) {
            high = 1e3;
            while short(high) < 0.0 {
                high *= 4.0;
                if high > LOCKED {
                    return Err(ValvingError::HydraulicLock { what: name.to_owned() });
                }
            }
        }
        let mut low = 0.0;
        let mut kinks = self.valve.as_ref().map(|valve| valve.lift.kinks()).unwrap_or_default();
        kinks.sort_by(f64::total_cmp);
        for kink in kinks {
            if kink > low && kink < high {
                if short(kink) < 0.0 {
                    low = kink;
                } else {
                    high = kink;
                    break;
                }
            }
        }
        let s = root::rising(|s| short(s * s), low.sqrt(), high.sqrt() * (1.0 + 1e-12));
        Ok(self.at(s * s, oil))
    }
}

impl Split {
    /// All of it.
    #[must_use]
    pub fn flow(&self) -> FlowRate {
        FlowRate::from_si(self.total())
    }

    fn total(&self) -> f64 {
        self.valve.si() + self.bleed.si() + self.leak.si()
    }
}
