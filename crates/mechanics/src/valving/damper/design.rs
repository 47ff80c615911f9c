//! A damper as it is designed: stacks instead of lift laws, adjusters at a position.

use super::adjuster::Needle;
use super::circuit::{Circuit, StackValve};
use super::flow::{Gap, Orifice, Restriction};
use super::lift::LiftLaw;
use super::{Damper, GasCharge};
use crate::quantity::{Area, FlowRate, Force, Length, PressureDifference, PressureUnit, Quantity, Velocity};
use crate::valving::ValvingError;
use crate::valving::error::within;
use crate::valving::oil::OilAt;
use crate::valving::stack::{self, Method, Request, SWEEP_RINGS, Solved, Stack};

/// Discharge coefficient of a curtain where none is given; common practice, no source.
pub const CURTAIN: f64 = 0.65;
/// Discharge coefficient of a bleed where none is given; common practice, no source.
pub const BLEED: f64 = 0.70;
/// Pressures a stack's lift law is computed at.
const LAW_POINTS: u32 = 32;
/// Pressure the first law reaches, MPa.
const FIRST_REACH: f64 = 1.0;
/// Pressure no law goes beyond, MPa.
const LAST_REACH: f64 = 100.0;

/// How a valve opens.
#[derive(Debug, Clone, PartialEq)]
pub enum LiftDesign {
    /// By a stack that is solved as far as it is needed.
    Stack(Box<Stack>),
    /// By a law.
    Law(LiftLaw),
}

/// A valve as designed.
#[derive(Debug, Clone, PartialEq)]
pub struct ValveDesign {
    /// The port in series; `None`: it costs nothing.
    pub port: Option<Restriction>,
    /// Circumference the curtain is open on; `None`: that of the stack's exit.
    pub perimeter: Option<Length>,
    /// How it opens.
    pub lift: LiftDesign,
    /// Discharge coefficient of the curtain.
    pub discharge_factor: f64,
    /// Factor on every pressure of the lift law, cracking included.
    pub stack_factor: f64,
}

/// A bleed as designed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BleedDesign {
    /// A fixed one.
    Fixed(Orifice),
    /// A needle at clicks from closed.
    Needle {
        /// The needle.
        needle: Needle,
        /// Clicks from closed.
        position: f64,
    },
}

/// A circuit as designed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CircuitDesign {
    /// The valve.
    pub valve: Option<ValveDesign>,
    /// The bleed.
    pub bleed: Option<BleedDesign>,
    /// The gap at the piston band.
    pub leak: Option<Gap>,
}

/// Which circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// Piston, compression.
    Compression,
    /// Piston, rebound.
    Rebound,
    /// Base valve, compression.
    BaseCompression,
    /// Base valve, refill.
    BaseRebound,
}

impl Place {
    /// Every one.
    pub const ALL: [Self; 4] = [
        Self::Compression,
        Self::Rebound,
        Self::BaseCompression,
        Self::BaseRebound,
    ];

    /// Its field's path.
    #[must_use]
    pub fn field(self) -> &'static str {
        match self {
            Self::Compression => "damper.compression",
            Self::Rebound => "damper.rebound",
            Self::BaseCompression => "damper.base_compression",
            Self::BaseRebound => "damper.base_rebound",
        }
    }

    /// Whether it works in compression.
    #[must_use]
    pub fn is_compression(self) -> bool {
        matches!(self, Self::Compression | Self::BaseCompression)
    }

    /// Whether it is a base valve.
    #[must_use]
    pub fn is_base(self) -> bool {
        matches!(self, Self::BaseCompression | Self::BaseRebound)
    }
}

/// A damper as designed.
#[derive(Debug, Clone, PartialEq)]
pub struct DamperDesign {
    /// Bore.
    pub bore: Length,
    /// Shaft.
    pub shaft: Length,
    /// Piston, compression.
    pub compression: CircuitDesign,
    /// Piston, rebound.
    pub rebound: CircuitDesign,
    /// Base valve, compression.
    pub base_compression: Option<CircuitDesign>,
    /// Base valve, refill.
    pub base_rebound: Option<CircuitDesign>,
    /// Gas.
    pub gas: GasCharge,
    /// Friction.
    pub friction: Force,
    /// Velocity over which friction builds up.
    pub friction_velocity: Velocity,
}

impl DamperDesign {
    /// The circuit at a place.
    #[must_use]
    pub fn circuit(&self, place: Place) -> Option<&CircuitDesign> {
        match place {
            Place::Compression => Some(&self.compression),
            Place::Rebound => Some(&self.rebound),
            Place::BaseCompression => self.base_compression.as_ref(),
            Place::BaseRebound => self.base_rebound.as_ref(),
        }
    }

    /// The damper with every stack solved as far as the fastest strokes need, and the solved stacks.
    ///
    /// # Errors
    /// [`ValvingError`] of a part, its field named from the damper on.
    pub fn build(
        &self,
        (fastest_compression, fastest_rebound): (f64, f64),
        oil: &OilAt,
    ) -> Result<(Damper, Vec<(Place, Solved)>), ValvingError> {
        let mut damper = Damper {
            bore: self.bore,
            shaft: self.shaft,
            compression: Circuit::default(),
            rebound: Circuit::default(),
            base_compression: None,
            base_rebound: None,
            gas: self.gas,
            friction: self.friction,
            friction_velocity: self.friction_velocity,
        };
        damper.check()?;
        let mut solved = Vec::new();
        for place in Place::ALL {
            let Some(design) = self.circuit(place) else { continue };
            let area = if place.is_base() {
                damper.shaft_area()
            } else {
                damper.annulus_area()
            };
            let fastest = if place.is_compression() {
                fastest_compression
            } else {
                fastest_rebound
            };
            let flow = FlowRate::from_si(area.si() * fastest.abs());
            let (circuit, stack) = design.build(place, flow, oil)?;
            solved.extend(stack.map(|stack| (place, stack)));
            match place {
                Place::Compression => damper.compression = circuit,
                Place::Rebound => damper.rebound = circuit,
                Place::BaseCompression => damper.base_compression = Some(circuit),
                Place::BaseRebound => damper.base_rebound = Some(circuit),
            }
        }
        Ok((damper, solved))
    }
}

impl CircuitDesign {
    /// The circuit, its stack solved as far as this flow needs.
    pub(super) fn build(
        &self,
        place: Place,
        flow: FlowRate,
        oil: &OilAt,
    ) -> Result<(Circuit, Option<Solved>), ValvingError> {
        let field = place.field();
        let bleed = match &self.bleed {
            None => None,
            Some(BleedDesign::Fixed(orifice)) => Some(*orifice),
            Some(BleedDesign::Needle { needle, position }) => {
                needle.check(&format!("{field}.bleed.needle"))?;
                within(
                    &format!("{field}.bleed.position"),
                    *position,
                    0.0,
                    needle.click_range,
                    "clicks from closed",
                )?;
                Some(needle.bleed(*position))
            }
        };
        let mut circuit = Circuit {
            valve: None,
            bleed,
            leak: self.leak,
        };
        let Some(design) = &self.valve else {
            return Ok((circuit, None));
        };
        within(
            &format!("{field}.valve.stack_factor"),
            design.stack_factor,
            1e-6,
            1e6,
            "",
        )?;
        within(
            &format!("{field}.valve.discharge_factor"),
            design.discharge_factor,
            0.1,
            1.0,
            "",
        )?;
        let valve = |lift: LiftLaw, exit: Option<Length>| StackValve {
            port: design.port,
            perimeter: design.perimeter.or(exit).unwrap_or_else(|| Length::from_si(0.0)),
            lift: lift.scaled(design.stack_factor),
            discharge_factor: design.discharge_factor,
            transition_factor: super::SLIT_TRANSITION,
            // The oil cannot leave through more than it came in by.
            largest_area: design
                .port
                .map(|port| port.open_area())
                .filter(|area: &Area| area.si() > 0.0),
        };
        let stack = match &design.lift {
            LiftDesign::Law(law) => {
                circuit.valve = Some(valve(law.clone(), None));
                return Ok((circuit, None));
            }
            LiftDesign::Stack(stack) => stack,
        };
        let within_stack = |error: ValvingError| error.below(&format!("{field}.valve.stack"));
        let mut reach = FIRST_REACH;
        loop {
            let solved = solve_up_to(stack, reach).map_err(within_stack)?;
            let exit = Length::from_si(2.0 * std::f64::consts::PI * solved.exit_radius.si());
            circuit.valve = Some(valve(LiftLaw::of_stack(&solved), Some(exit)));
            let needed = circuit
                .split(flow, oil, field)?
                .curtain_drop
                .get(PressureUnit::Megapascal)
                / design.stack_factor;
            // Once more where the law reaches far beyond what is used: its points then lie where they are wanted.
            if (needed <= reach && needed > 0.2 * reach) || needed <= 0.0 || reach >= LAST_REACH || reach <= 1e-3 {
                return Ok((circuit, Some(solved)));
            }
            reach = if needed > reach {
                (1.5 * reach).max((1.2 * needed).min(4.0 * reach)).min(LAST_REACH)
            } else {
                (1.5 * needed).max(1e-3)
            };
        }
    }
}

fn solve_up_to(stack: &Stack, reach: f64) -> Result<Solved, ValvingError> {
    // Closer together where the opening begins: a curve of forces is looked at there most.
    let share = |k: u32| (f64::from(k) / f64::from(LAW_POINTS)).powf(1.5);
    let pressure = |k: u32| PressureDifference::new(reach * share(k), PressureUnit::Megapascal);
    stack::solve(&Request {
        stack: stack.clone(),
        pressures: (1..=LAW_POINTS).map(pressure).collect(),
        method: Method::LargeDeflection,
        ring_count: Some(SWEEP_RINGS),
    })
}
