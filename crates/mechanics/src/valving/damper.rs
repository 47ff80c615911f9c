//! Dampers: force against velocity, split into its paths, with gas and friction.
//!
//! `x` is compression from full extension, `v = dx/dt`, force is positive where it pushes the shaft out. `Ap` is the bore's
//! area, `Ar` the shaft's. The piston's flow is `(Ap - Ar)|v|` in both strokes, the base valve's `Ar |v|`:
//!
//! ```text
//! compression: pc = pg + dp_base,   pr = pc - dp_piston        rebound: pc = pg - dp_refill,  pr = pc + dp_piston
//! F = pc Ap - pr (Ap - Ar) - p_atm Ar + F_f tanh(v/v_f)
//!   = dp_piston (Ap - Ar) + dp_base Ar + (pg - p_atm) Ar + friction          (drops signed like v)
//! pg(x) = pg0 (V0/(V0 - Ar x))^n
//! ```
//!
//! (Dixon, The Shock Absorber Handbook, textbook form from memory, derived again.) The oil is incompressible: hysteresis and
//! the soft reversal are not in the curve. Least charge: `pg(x) >= p_min + dp_piston - dp_base` in compression and
//! `p_min + dp_refill` in rebound, absolute.

mod adjuster;
mod circuit;
mod design;
mod evaluate;
mod evaluation;
mod flow;
mod lift;

pub use adjuster::{Adjusted, Needle, Recentred};
pub use circuit::{Circuit, Split, StackValve};
pub use design::{BLEED, BleedDesign, CURTAIN, CircuitDesign, DamperDesign, LiftDesign, Place, ValveDesign};
pub use evaluate::evaluate;
pub use evaluation::{
    AdjusterEffect, AtWheel, CurvePoint, Evaluated, Evaluation, MOST_VELOCITIES, Mark, MarkKind, Wheel, WheelDamping,
};
pub use flow::{
    Gap, Orifice, ROUND_TRANSITION, Restriction, SHARP_EDGE, SLIT_TRANSITION, ShortTube, discharge_factor,
    short_tube_factor,
};
pub use lift::LiftLaw;

use std::f64::consts::PI;

use super::ValvingError;
use super::error::within;
use super::oil::OilAt;
use crate::quantity::{
    AbsolutePressure, Area, FlowRate, Force, Length, PressureDifference, Quantity, STANDARD_ATMOSPHERE, Stroke,
    Velocity, Volume,
};

/// The gas that takes up the shaft's volume.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GasCharge {
    /// Pressure at full extension.
    pub pressure: AbsolutePressure,
    /// Volume at full extension.
    pub volume: Volume,
    /// Polytropic exponent, 1 to 1.67.
    pub exponent: f64,
}

/// A damper.
#[derive(Debug, Clone, PartialEq)]
pub struct Damper {
    /// Bore, 4 to 100 mm.
    pub bore: Length,
    /// Shaft, below the bore.
    pub shaft: Length,
    /// Piston, compression.
    pub compression: Circuit,
    /// Piston, rebound.
    pub rebound: Circuit,
    /// Base valve or reservoir adjuster, compression; `None`: there is none.
    pub base_compression: Option<Circuit>,
    /// Its refill in rebound; `None`: free.
    pub base_rebound: Option<Circuit>,
    /// The gas.
    pub gas: GasCharge,
    /// Friction, 0 or more.
    pub friction: Force,
    /// Velocity over which friction builds up, above 0.
    pub friction_velocity: Velocity,
}

/// A damper at a velocity and stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DamperState {
    /// All of it, pushing the shaft out.
    pub force: Force,
    /// From the drops, signed like the velocity.
    pub hydraulic_force: Force,
    /// Its part at the piston.
    pub piston_force: Force,
    /// Its part at the base valve.
    pub base_force: Force,
    /// Gas force.
    pub gas_force: Force,
    /// Friction, signed like the velocity.
    pub friction_force: Force,
    /// Gas pressure.
    pub gas_pressure: AbsolutePressure,
    /// Pressure on the side of the bore.
    pub compression_pressure: AbsolutePressure,
    /// Pressure on the side of the shaft.
    pub rebound_pressure: AbsolutePressure,
    /// Piston, split into paths.
    pub piston: Split,
    /// Base valve, split into paths.
    pub base: Option<Split>,
}

impl DamperState {
    /// The lowest pressure in it.
    #[must_use]
    pub fn lowest_pressure(&self) -> AbsolutePressure {
        if self.rebound_pressure.si() < self.compression_pressure.si() {
            self.rebound_pressure
        } else {
            self.compression_pressure
        }
    }
}

fn disc(diameter: Length) -> f64 {
    PI * diameter.si().powi(2) / 4.0
}

impl Damper {
    /// Checks what does not depend on a circuit.
    ///
    /// # Errors
    /// [`ValvingError`] naming the field.
    pub fn check(&self) -> Result<(), ValvingError> {
        let bore = within("damper.bore", self.bore.si() * 1e3, 4.0, 100.0, "mm")?;
        within("damper.shaft", self.shaft.si() * 1e3, 1.0, bore * (1.0 - 1e-6), "mm")?;
        within(
            "damper.gas.pressure",
            self.gas.pressure.si() / 1e6,
            0.01,
            20.0,
            "MPa absolute",
        )?;
        within("damper.gas.volume", self.gas.volume.si() * 1e6, 0.1, 10_000.0, "mL")?;
        within("damper.gas.exponent", self.gas.exponent, 1.0, 1.67, "")?;
        within("damper.friction", self.friction.si(), 0.0, 5_000.0, "N")?;
        within(
            "damper.friction_velocity",
            self.friction_velocity.si(),
            1e-6,
            1.0,
            "m/s",
        )?;
        Ok(())
    }

    /// Area of the bore.
    #[must_use]
    pub fn bore_area(&self) -> Area {
        Area::from_si(disc(self.bore))
    }

    /// Area of the shaft.
    #[must_use]
    pub fn shaft_area(&self) -> Area {
        Area::from_si(disc(self.shaft))
    }

    /// Area of the piston around the shaft.
    #[must_use]
    pub fn annulus_area(&self) -> Area {
        Area::from_si(disc(self.bore) - disc(self.shaft))
    }

    /// Gas pressure at a stroke.
    ///
    /// # Errors
    /// [`ValvingError::OutOfRange`] where the shaft takes up all the gas.
    pub fn gas_pressure(&self, stroke: Stroke) -> Result<AbsolutePressure, ValvingError> {
        let left = self.gas.volume.si() - disc(self.shaft) * stroke.si();
        if !(left > 0.0) {
            let most = self.gas.volume.si() / disc(self.shaft) * 1e3;
            let allowed = format!("below {most:.1} mm, where the gas is used up");
            return Err(ValvingError::out_of_range("stroke", stroke.si() * 1e3, "mm", allowed));
        }
        let ratio = (self.gas.volume.si() / left).powf(self.gas.exponent);
        Ok(AbsolutePressure::from_si(self.gas.pressure.si() * ratio))
    }

    /// The damper at a velocity and stroke.
    ///
    /// # Errors
    /// [`ValvingError::HydraulicLock`] where no path is open, [`ValvingError::OutOfRange`] where the gas is used up.
    pub fn at(&self, velocity: Velocity, stroke: Stroke, oil: &OilAt) -> Result<DamperState, ValvingError> {
        let v = velocity.si();
        if !v.is_finite() {
            return Err(ValvingError::NotFinite {
                field: "velocity".to_owned(),
            });
        }
        let (around, shaft) = (self.annulus_area().si(), self.shaft_area().si());
        let gas = self.gas_pressure(stroke)?.si();
        let (piston_circuit, base_circuit, names) = if v >= 0.0 {
            (
                &self.compression,
                &self.base_compression,
                ("damper.compression", "damper.base_compression"),
            )
        } else {
            (
                &self.rebound,
                &self.base_rebound,
                ("damper.rebound", "damper.base_rebound"),
            )
        };
        let piston = piston_circuit.split(FlowRate::from_si(around * v.abs()), oil, names.0)?;
        let base = match base_circuit {
            Some(circuit) => Some(circuit.split(FlowRate::from_si(shaft * v.abs()), oil, names.1)?),
            None => None,
        };
        let sign = if v < 0.0 { -1.0 } else { 1.0 };
        let (dp, dp_base) = (sign * piston.drop.si(), sign * base.map_or(0.0, |base| base.drop.si()));
        let friction = self.friction.si() * (v / self.friction_velocity.si()).tanh();
        let (piston_force, base_force) = (dp * around, dp_base * shaft);
        let gas_force = (gas - STANDARD_ATMOSPHERE) * shaft;
        let (force, absolute) = (Force::from_si, AbsolutePressure::from_si);
        Ok(DamperState {
            force: force(piston_force + base_force + gas_force + friction),
            hydraulic_force: force(piston_force + base_force),
            piston_force: force(piston_force),
            base_force: force(base_force),
            gas_force: force(gas_force),
            friction_force: force(friction),
            gas_pressure: absolute(gas),
            compression_pressure: absolute(gas + dp_base),
            rebound_pressure: absolute(gas + dp_base - dp),
            piston,
            base,
        })
    }

    /// The smallest charge at full extension that keeps every side at `lowest` or above, at a velocity of each stroke.
    ///
    /// # Errors
    /// As [`Damper::at`].
    pub fn least_charge(
        &self,
        (compression, rebound): (Velocity, Velocity),
        stroke: Stroke,
        lowest: AbsolutePressure,
        oil: &OilAt,
    ) -> Result<AbsolutePressure, ValvingError> {
        let in_compression = self.at(Velocity::from_si(compression.si().abs()), stroke, oil)?;
        let in_rebound = self.at(Velocity::from_si(-rebound.si().abs()), stroke, oil)?;
        let base = |state: &DamperState| state.base.map_or(0.0, |base| base.drop.si());
        let short = (in_compression.piston.drop.si() - base(&in_compression))
            .max(base(&in_rebound))
            .max(0.0);
        let at_stroke = self.gas_pressure(stroke)?.si();
        Ok(AbsolutePressure::from_si(
            (lowest.si() + short) * self.gas.pressure.si() / at_stroke,
        ))
    }

    /// Velocity at which the piston's stack just opens; `None`: it opens at once, or there is none.
    #[must_use]
    pub fn knee(&self, circuit: &Circuit, oil: &OilAt) -> Option<(Velocity, PressureDifference)> {
        let split = circuit.at_crack(oil)?;
        let flow = split.bleed.si() + split.leak.si();
        Some((Velocity::from_si(flow / self.annulus_area().si()), split.drop))
    }
}
