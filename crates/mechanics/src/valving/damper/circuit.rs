//! The paths of one flow direction, side by side at the same pressure drop.
//!
//! The stack's lift follows the drop over its curtain `pv`; the port is in series with it:
//!
//! ```text
//! y = lift(pv),  q_v = Cd P y u(pv; Dh = 2 y),  dp = pv + dp_port(q_v),  Q(pv) = q_v + q_bleed(dp) + q_leak(dp)
//! ```
//!
//! With `pv` as the unknown everything is explicit and rising, so that a flow needs one root in a closed bracket: from 0 to
//! the drop at which bleed or leak alone would carry it. The kinks of the lift law cut the bracket first; between them a few
//! Newton steps end it. Jet forces on the stack are not in it.

use super::flow::{Explicit, Gap, InOil, Orifice, Restriction, discharge_head};
use super::lift::LiftLaw;
use crate::quantity::{Area, FlowRate, Length, PressureDifference, Quantity};
use crate::valving::ValvingError;
use crate::valving::oil::OilAt;
use crate::valving::root::{self, Known};

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

/// The curtain of a stack in an oil.
#[derive(Debug, Clone, Copy)]
struct Curtain<'a> {
    lift: &'a LiftLaw,
    perimeter: f64,
    largest_area: f64,
    head: f64,
    /// Linear term of the drop, times the opening.
    linear: f64,
}

impl Curtain<'_> {
    /// Flow, its derivative and opening at a drop over it. An orifice whose hydraulic diameter is twice the opening.
    fn flow(&self, pv: f64) -> (f64, f64, f64) {
        let (y, rises) = self.lift.with_slope(pv);
        if !(y > 0.0) {
            return (0.0, 0.0, 0.0);
        }
        let (area, widens) = if self.perimeter * y < self.largest_area {
            (self.perimeter * y, self.perimeter * rises)
        } else {
            (self.largest_area, 0.0)
        };
        let root = (self.linear * self.linear + 4.0 * self.head * pv * y * y).sqrt();
        let u = 2.0 * pv * y / (self.linear + root);
        let faster = (y + self.linear * u * rises / y) / root;
        (area * u, area * faster + widens * u, y)
    }
}

impl StackValve {
    fn in_use(&self, oil: &OilAt) -> Curtain<'_> {
        let head = discharge_head(self.discharge_factor, oil);
        Curtain {
            lift: &self.lift,
            perimeter: self.perimeter.si(),
            largest_area: self.largest_area.map_or(f64::INFINITY, Quantity::si),
            head,
            linear: head * oil.nu() * self.transition_factor / 2.0,
        }
    }
}

/// A circuit in an oil, its coefficients made once. SI units.
#[derive(Debug, Clone, Copy)]
struct InUse<'a> {
    curtain: Option<Curtain<'a>>,
    port: Option<InOil>,
    bleed: Option<Explicit>,
    leak: Option<Explicit>,
}

impl InUse<'_> {
    /// Flows at a drop over the curtain, and how fast all of them rises with it.
    fn at(&self, pv: f64) -> (Split, f64) {
        let (valve, valve_rises, opening) = self.curtain.map_or((0.0, 0.0, 0.0), |curtain| curtain.flow(pv));
        let (port, port_rises) = self.port.map_or((0.0, 0.0), |port| port.dp(valve));
        let drop = pv + port;
        let (bleed, bleed_rises) = self.bleed.map_or((0.0, 0.0), |bleed| bleed.q(drop));
        let (leak, leak_rises) = self.leak.map_or((0.0, 0.0), |leak| leak.q(drop));
        let split = Split {
            drop: PressureDifference::from_si(drop),
            curtain_drop: PressureDifference::from_si(pv),
            valve: FlowRate::from_si(valve),
            bleed: FlowRate::from_si(bleed),
            leak: FlowRate::from_si(leak),
            opening: Length::from_si(opening),
        };
        let beside = (bleed_rises + leak_rises) * (1.0 + port_rises * valve_rises);
        (split, valve_rises + beside)
    }

    /// The split of a flow between two drops over the curtain, at which all flow less the wanted one is known; between them
    /// the law of lift has no kink.
    ///
    /// Newton steps, bent as the flow is: as the drop to the power 3/2 through a stack that opens in proportion, to the
    /// power 2/3 through bleed and leak. They mostly take three; where they leave the bracket or do not end, the root is
    /// sought over `sqrt(pv)`.
    fn between(&self, low: Known, high: Known, wanted: f64) -> Split {
        /// Newton steps, at most.
        const STEPS: usize = 8;
        /// Relative step after which what is left, about its square, is rounding.
        const LAST: f64 = 3e-8;
        if !(low.1 < 0.0 && high.1 > 0.0) {
            return self.at(if low.1 < 0.0 { high.0 } else { low.0 }).0;
        }
        let open = self
            .curtain
            .is_some_and(|curtain| curtain.lift.with_slope(high.0).0 > 0.0);
        let bent = |flow: f64| {
            if open { flow.cbrt().powi(2) } else { flow * flow.sqrt() }
        };
        let (from, to) = (bent(low.1 + wanted), bent(high.1 + wanted));
        let mut pv = low.0 + (high.0 - low.0) * (bent(wanted) - from) / (to - from);
        for _ in 0..STEPS {
            let (split, rises) = self.at(pv);
            let short = wanted - split.total();
            let share = short / split.total();
            let bend = if open { share / 6.0 } else { -share.min(1.0) / 4.0 };
            let step = short / rises / (1.0 + bend);
            let next = pv + step;
            if !(next > low.0 && next < high.0) {
                break;
            }
            if step.abs() <= LAST * pv {
                return self.at(next).0;
            }
            pv = next;
        }
        let over_root = |(pv, short): Known| (pv.sqrt(), short);
        let s = root::between(|s| self.at(s * s).0.total() - wanted, over_root(low), over_root(high));
        self.at(s * s).0
    }
}

impl Circuit {
    fn in_use(&self, oil: &OilAt) -> InUse<'_> {
        let port = self.valve.as_ref().and_then(|valve| valve.port);
        InUse {
            curtain: self.valve.as_ref().map(|valve| valve.in_use(oil)),
            port: port.map(|port| port.in_oil(oil)),
            bleed: self.bleed.map(|bleed| bleed.in_oil(oil)),
            leak: self.leak.map(|leak| leak.in_oil(oil)),
        }
    }

    /// The split at a drop over the curtain, Pa.
    pub(super) fn at_curtain_drop(&self, pv: f64, oil: &OilAt) -> Split {
        self.in_use(oil).at(pv).0
    }

    /// The split at the pressure that just opens the stack.
    #[must_use]
    pub fn at_crack(&self, oil: &OilAt) -> Option<Split> {
        let crack = self.valve.as_ref()?.lift.crack();
        (crack.si() > 0.0).then(|| self.in_use(oil).at(crack.si()).0)
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
        let paths = self.in_use(oil);
        if wanted == 0.0 {
            return Ok(paths.at(0.0).0);
        }
        let alone = |path: Option<Explicit>| path.map_or(f64::INFINITY, |path| path.dp(wanted).0);
        let short = |pv: f64| paths.at(pv).0.total() - wanted;
        // Nothing flows without a drop.
        let mut low = (0.0, -wanted);
        let high = alone(paths.bleed).min(alone(paths.leak));
        let mut kinks = self.valve.iter().flat_map(|valve| valve.lift.kinks());
        let beyond = kinks.find_map(|kink| {
            if !(kink > low.0 && kink < high.min(LOCKED)) {
                return None;
            }
            let end = (kink, short(kink));
            if end.1 >= 0.0 {
                return Some(end);
            }
            low = end;
            None
        });
        let end = match beyond {
            Some(end) => end,
            None if high <= LOCKED => (high, short(high)),
            None => loop {
                let further = 4.0 * low.0.max(250.0);
                if further > LOCKED {
                    return Err(ValvingError::HydraulicLock { what: name.to_owned() });
                }
                let end = (further, short(further));
                if end.1 >= 0.0 {
                    break end;
                }
                low = end;
            },
        };
        Ok(paths.between(low, end, wanted))
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
