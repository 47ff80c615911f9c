//! The bleed needle and its adjuster, and what the valving must do for it.
//!
//! Conical needle of half angle `al` in a round seat `d`, axial opening `h` counted out from closed:
//! `A = A0 + pi h sin(al) (d - h sin(al) cos(al))` (a frustum), `h` held where that peaks and the cone's part at `pi d^2/4`;
//! hydraulic diameter `2 h sin(al)`.

use std::f64::consts::PI;

use super::circuit::Circuit;
use super::flow::{Orifice, SLIT_TRANSITION};
use crate::quantity::{Angle, AngleUnit, Area, FlowRate, Force, Length, Quantity};
use crate::valving::ValvingError;
use crate::valving::error::within;
use crate::valving::oil::OilAt;
use crate::valving::root;

/// A needle and its adjuster.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Needle {
    /// Diameter of the seat, 0.2 to 20 mm.
    pub seat_diameter: Length,
    /// Half the angle of the cone, 1 to 60 degrees.
    pub half_angle: Angle,
    /// Axial way of one turn, 0.05 to 5 mm.
    pub pitch: Length,
    /// Clicks of one turn; 1 where the adjuster is counted in turns.
    pub clicks_per_turn: f64,
    /// Clicks from closed to open.
    pub click_range: f64,
    /// Area that stays open when it is closed.
    pub closed_area: Area,
    /// Discharge coefficient.
    pub discharge_factor: f64,
}

impl Needle {
    /// Checks the needle.
    pub(super) fn check(&self, field: &str) -> Result<(), ValvingError> {
        let part = |name: &str| format!("{field}.{name}");
        within(&part("seat_diameter"), self.seat_diameter.si() * 1e3, 0.2, 20.0, "mm")?;
        within(
            &part("half_angle"),
            self.half_angle.get(AngleUnit::Degree),
            1.0,
            60.0,
            "deg",
        )?;
        within(&part("pitch"), self.pitch.si() * 1e3, 0.05, 5.0, "mm")?;
        within(&part("clicks_per_turn"), self.clicks_per_turn, 1.0, 100.0, "clicks")?;
        within(&part("click_range"), self.click_range, 0.1, 500.0, "clicks")?;
        within(&part("closed_area"), self.closed_area.si() * 1e6, 0.0, 100.0, "mm2")?;
        within(&part("discharge_factor"), self.discharge_factor, 0.1, 1.0, "")?;
        Ok(())
    }

    /// Area at an axial opening from closed.
    #[must_use]
    pub fn area_at(&self, opening: Length) -> Area {
        let d = self.seat_diameter.si();
        let (sin, cos) = self.half_angle.si().sin_cos();
        let h = opening.si().clamp(0.0, d / (2.0 * sin * cos));
        let cone = (PI * h * sin * (d - h * sin * cos)).min(PI * d * d / 4.0);
        Area::from_si(self.closed_area.si() + cone)
    }

    /// Axial opening at clicks from closed.
    #[must_use]
    pub fn opening(&self, clicks: f64) -> Length {
        Length::from_si(clicks.max(0.0) / self.clicks_per_turn * self.pitch.si())
    }

    /// The bleed at clicks from closed.
    #[must_use]
    pub fn bleed(&self, clicks: f64) -> Orifice {
        let opening = self.opening(clicks);
        let slit = 2.0 * opening.si() * self.half_angle.si().sin();
        Orifice {
            area: self.area_at(opening),
            discharge_factor: self.discharge_factor,
            transition_factor: SLIT_TRANSITION,
            // A closed needle with a leak is as round as anything.
            hydraulic_diameter: Some(Length::from_si(slit.max(1e-9))),
        }
    }
}

/// A circuit with its adjuster, at a flow: what one position does.
#[derive(Debug, Clone, Copy)]
pub struct Adjusted<'a> {
    /// The circuit; its bleed is the needle's.
    pub circuit: &'a Circuit,
    /// The needle.
    pub needle: &'a Needle,
    /// Area the drop acts on.
    pub area: Area,
    /// The oil.
    pub oil: &'a OilAt,
    /// The flow.
    pub flow: FlowRate,
}

/// What valving must do so that an adjuster stands at a position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recentred {
    /// Force now.
    pub force: Force,
    /// Force at the wanted position with the stack as it is.
    pub force_there: Force,
    /// Damping the valving must give over what it gives.
    pub force_ratio: f64,
    /// Factor on every pressure of the stack that does it; `None`: no stack does, the bleed or the port is the limit.
    pub stack_factor: Option<f64>,
    /// Force there without any flow through the stack; `None`: it locks.
    pub most: Option<Force>,
    /// Force there with a stack that gives no resistance.
    pub least: Force,
}

impl Adjusted<'_> {
    fn with(&self, clicks: f64, factor: Option<f64>) -> Circuit {
        let mut circuit = self.circuit.clone();
        circuit.bleed = Some(self.needle.bleed(clicks));
        match (factor, &mut circuit.valve) {
            (Some(factor), Some(valve)) => valve.lift = valve.lift.scaled(factor),
            (None, valve) => *valve = None,
            (Some(_), None) => {}
        }
        circuit
    }

    fn newtons(&self, clicks: f64, factor: Option<f64>) -> Result<f64, ValvingError> {
        let split = self.with(clicks, factor).split(self.flow, self.oil, "adjuster")?;
        Ok(split.drop.si() * self.area.si())
    }

    /// Force at clicks from closed.
    ///
    /// # Errors
    /// [`ValvingError::HydraulicLock`].
    pub fn force(&self, clicks: f64) -> Result<Force, ValvingError> {
        self.newtons(clicks, Some(1.0)).map(Force::from_si)
    }

    /// How much the force rises with one click further in.
    ///
    /// # Errors
    /// [`ValvingError::HydraulicLock`].
    pub fn force_per_click(&self, clicks: f64) -> Result<Force, ValvingError> {
        let inward = self.newtons((clicks - 1.0).max(0.0), Some(1.0))?;
        Ok(Force::from_si(inward - self.newtons(clicks, Some(1.0))?))
    }

    /// What brings the force of `now` to the position `wanted`.
    ///
    /// # Errors
    /// [`ValvingError::HydraulicLock`].
    pub fn recentre(&self, now: f64, wanted: f64) -> Result<Recentred, ValvingError> {
        /// A stack so weak that the port alone is left.
        const WEAK: f64 = 1e-6;
        /// A stack so strong that it stays closed.
        const STRONG: f64 = 1e6;
        let force = self.newtons(now, Some(1.0))?;
        let there = self.newtons(wanted, Some(1.0))?;
        let most = match self.newtons(wanted, None) {
            Ok(most) => Some(most),
            Err(ValvingError::HydraulicLock { .. }) => None,
            Err(error) => return Err(error),
        };
        let least = self.newtons(wanted, Some(WEAK))?;
        let reachable =
            self.circuit.valve.is_some() && least < force && most.is_none_or(|most| force < most * (1.0 - 1e-9));
        let stack_factor = reachable.then(|| {
            let off = |log: f64| self.newtons(wanted, Some(log.exp())).unwrap_or(f64::INFINITY) - force;
            root::rising(off, WEAK.ln(), STRONG.ln()).exp()
        });
        Ok(Recentred {
            force: Force::from_si(force),
            force_there: Force::from_si(there),
            force_ratio: force / there,
            stack_factor,
            most: most.map(Force::from_si),
            least: Force::from_si(least),
        })
    }
}
