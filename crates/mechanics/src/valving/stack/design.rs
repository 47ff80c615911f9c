//! A stack as it is asked about, and the same checked and in mm, N, MPa.

use crate::quantity::{ElasticModulus, Length, LengthUnit, PressureDifference, PressureUnit, Quantity, Stress, Volume};
use crate::valving::ValvingError;
use crate::valving::error::within;

use super::load::Annulus;

/// Equal shims on one another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layer {
    /// Outer diameter.
    pub outer_diameter: Length,
    /// Bore; `None`: not known. It has no part in the mechanics.
    pub inner_diameter: Option<Length>,
    /// Thickness of one shim.
    pub thickness: Length,
    /// How many.
    pub count: usize,
}

/// One annulus of the face shim that the ports put under pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Face {
    /// Inner diameter of the ports.
    pub port_inner_diameter: Length,
    /// Outer diameter of the ports.
    pub port_outer_diameter: Length,
    /// Diameter at which the pressure, falling straight over the land, is zero; `None`: it ends at the ports.
    pub land_outer_diameter: Option<Length>,
    /// Share of the annulus that is port, above 0 to 1.
    pub coverage_ratio: f64,
}

/// The ring the face shim closes on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seat {
    /// Inner diameter.
    pub inner_diameter: Length,
    /// Outer diameter.
    pub outer_diameter: Length,
    /// Height of its inner edge above the face the stack is clamped on; raised is positive.
    pub height: Length,
    /// Height of its outer edge over its inner one, for a dished seat.
    pub dish: Length,
}

/// A flat stop above the stack.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stop {
    /// Inner diameter; `None`: from the clamp.
    pub inner_diameter: Option<Length>,
    /// Outer diameter.
    pub outer_diameter: Length,
    /// Room above the uppermost shim of the flat stack.
    pub clearance: Length,
}

/// Whether the clamp holds the discs radially.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum RadialHold {
    /// The pinch holds every disc: no radial movement at the clamp.
    #[default]
    Held,
    /// The discs slip in it: no radial force at the clamp.
    Free,
}

/// A stack of shims on a piston face.
#[derive(Debug, Clone, PartialEq)]
pub struct Stack {
    /// From the piston outward: the first layer touches the piston.
    pub layers: Vec<Layer>,
    /// Where the face shim is under pressure.
    pub faces: Vec<Face>,
    /// Diameter the stack is clamped at.
    pub clamp_diameter: Length,
    /// Whether the clamp holds radially.
    pub radial_hold: RadialHold,
    /// The seat; `None`: a flat one in the plane of the clamp, which carries nothing.
    pub seat: Option<Seat>,
    /// The stop; `None`: there is none.
    pub stop: Option<Stop>,
    /// Young's modulus; `None`: spring steel, [`SPRING_STEEL_MODULUS`].
    pub modulus: Option<ElasticModulus>,
    /// Poisson's ratio; `None`: [`SPRING_STEEL_POISSON`].
    pub poisson_ratio: Option<f64>,
    /// Stress at the clamp that a shim shall not pass; `None`: not judged.
    pub stress_limit: Option<Stress>,
    /// Friction coefficient between shims, for the band that is stated; `None`: [`FRICTION`].
    pub friction_factor: Option<f64>,
}

impl Stack {
    /// Checks a stack without solving it.
    ///
    /// # Errors
    /// [`ValvingError::OutOfRange`] or [`ValvingError::NotFinite`] of the first fault, its path from `stack.` on.
    pub fn check(&self) -> Result<(), ValvingError> {
        Plan::new(self).map(drop)
    }

    /// The trade's rule of thumb for the stiffness of a stack: the sum of the cubed thicknesses, `sum n t^3`, spacers left
    /// out. It is right for the bending of equal shims at small lifts, and blind to diameters, clamp, ports and stretching.
    #[must_use]
    pub fn cube_sum(&self) -> Volume {
        let bend = self
            .layers
            .iter()
            .filter(|layer| layer.outer_diameter.si() > self.clamp_diameter.si());
        Volume::from_si(
            bend.map(|layer| layer.count as f64 * layer.thickness.si().powi(3))
                .sum(),
        )
    }
}

/// Young's modulus of hardened spring steel strip, Pa; common practice, no source.
pub const SPRING_STEEL_MODULUS: f64 = 205e9;
/// Poisson's ratio of it; common practice, no source.
pub const SPRING_STEEL_POISSON: f64 = 0.29;
/// Friction coefficient of oiled steel on steel; common practice, no source.
pub const FRICTION: f64 = 0.1;

/// Shims of a stack, at most.
pub const MOST_SHIMS: usize = 48;
/// Faces of a stack, at most.
pub const MOST_FACES: usize = 4;
/// Pressures solved at a time, at most.
pub const MOST_PRESSURES: usize = 200;

/// A shim, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shim {
    pub(super) edge: f64,
    pub(super) thickness: f64,
}

/// A seat, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct SeatRing {
    pub(super) inner: f64,
    pub(super) outer: f64,
    height: f64,
    dish: f64,
}

/// A stop, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct StopRing {
    pub(super) inner: f64,
    pub(super) outer: f64,
    pub(super) clearance: f64,
}

/// Merged rings may lie a little off the radius they stand for.
const BESIDE: f64 = 1e-9;

impl SeatRing {
    pub(super) fn spans(&self, radius: f64) -> bool {
        radius >= self.inner - BESIDE && radius <= self.outer + BESIDE
    }

    pub(super) fn height_at(&self, radius: f64) -> f64 {
        let width = self.outer - self.inner;
        let share = if width > 0.0 {
            ((radius - self.inner) / width).clamp(0.0, 1.0)
        } else {
            0.0
        };
        self.height + self.dish * share
    }
}

impl StopRing {
    pub(super) fn spans(&self, radius: f64) -> bool {
        radius >= self.inner - BESIDE && radius <= self.outer + BESIDE
    }
}

/// A stack that was checked. Units: mm, N, MPa.
#[derive(Debug, Clone)]
pub(super) struct Plan {
    pub(super) clamp: f64,
    pub(super) shims: Vec<Shim>,
    pub(super) annuli: Vec<Annulus>,
    pub(super) seat: Option<SeatRing>,
    pub(super) stop: Option<StopRing>,
    pub(super) modulus: f64,
    pub(super) poisson: f64,
    pub(super) held_radially: bool,
    pub(super) stress_limit: Option<f64>,
    pub(super) friction: f64,
}

fn radius(field: &str, diameter: Length, low: f64, high: f64) -> Result<f64, ValvingError> {
    Ok(within(field, millimeters(diameter), low, high, "mm")? / 2.0)
}

fn millimeters(length: Length) -> f64 {
    length.get(LengthUnit::Millimeter)
}

impl Plan {
    /// Checks a stack; a fault is named by its path below `stack`.
    pub(super) fn new(stack: &Stack) -> Result<Self, ValvingError> {
        let clamp = radius("stack.clamp.diameter", stack.clamp_diameter, 0.5, 200.0)?;
        let mut shims = Vec::new();
        for (index, layer) in stack.layers.iter().enumerate() {
            let field = |name: &str| format!("stack.layers[{index}].{name}");
            let edge = radius(&field("outer_diameter"), layer.outer_diameter, 0.5, 200.0)?;
            let thickness = within(&field("thickness"), millimeters(layer.thickness), 0.001, 5.0, "mm")?;
            let room = MOST_SHIMS - shims.len().min(MOST_SHIMS);
            if layer.count == 0 || layer.count > room {
                let allowed = format!("1 to {room}, {MOST_SHIMS} shims in all");
                return Err(ValvingError::out_of_range(
                    field("count"),
                    layer.count as f64,
                    "shims",
                    allowed,
                ));
            }
            // An edge a hair beyond the clamp is a spacer: no disc bends over a thousandth of a millimetre.
            shims.extend(std::iter::repeat_n(Shim { edge, thickness }, layer.count));
        }
        for shim in &mut shims {
            if shim.edge < clamp + 0.25 * shim.thickness {
                shim.edge = shim.edge.min(clamp);
            }
        }
        let plan = Self {
            clamp,
            annuli: Self::annuli(&stack.faces, clamp)?,
            seat: Self::seat(stack.seat.as_ref(), clamp)?,
            stop: Self::stop(stack.stop.as_ref(), clamp)?,
            shims,
            modulus: match stack.modulus {
                None => SPRING_STEEL_MODULUS / 1e6,
                Some(e) => within("stack.modulus", e.get(PressureUnit::Megapascal), 1e3, 1e6, "MPa")?,
            },
            poisson: match stack.poisson_ratio {
                None => SPRING_STEEL_POISSON,
                Some(ratio) => within("stack.poisson_ratio", ratio, 0.0, 0.499, "")?,
            },
            held_radially: stack.radial_hold == RadialHold::Held,
            stress_limit: match stack.stress_limit {
                None => None,
                Some(s) => Some(within(
                    "stack.stress_limit",
                    s.get(PressureUnit::Megapascal),
                    1.0,
                    1e4,
                    "MPa",
                )?),
            },
            friction: within(
                "stack.friction_factor",
                stack.friction_factor.unwrap_or(FRICTION),
                0.0,
                1.0,
                "",
            )?,
        };
        if plan.face().is_none() {
            return Err(ValvingError::out_of_range(
                "stack.layers",
                0.0,
                "shims",
                "at least one that is larger than the clamp",
            ));
        }
        Ok(plan)
    }

    fn annuli(faces: &[Face], clamp: f64) -> Result<Vec<Annulus>, ValvingError> {
        if faces.is_empty() || faces.len() > MOST_FACES {
            let allowed = format!("1 to {MOST_FACES}");
            return Err(ValvingError::out_of_range(
                "stack.faces",
                faces.len() as f64,
                "faces",
                allowed,
            ));
        }
        let annulus = |(index, face): (usize, &Face)| {
            let field = |name: &str| format!("stack.faces[{index}].{name}");
            let inner = radius(
                &field("port_inner_diameter"),
                face.port_inner_diameter,
                2.0 * clamp,
                200.0,
            )?;
            let outer = radius(
                &field("port_outer_diameter"),
                face.port_outer_diameter,
                2.0 * inner,
                200.0,
            )?;
            let end = match face.land_outer_diameter {
                None => outer,
                // A land that was computed to end at the port may miss it by rounding.
                Some(land) => {
                    radius(&field("land_outer_diameter"), land, 2.0 * outer * (1.0 - 1e-12), 200.0)?.max(outer)
                }
            };
            if outer <= inner {
                let allowed = format!("above the inner diameter, {} mm", 2.0 * inner);
                return Err(ValvingError::out_of_range(
                    field("port_outer_diameter"),
                    2.0 * outer,
                    "mm",
                    allowed,
                ));
            }
            let coverage = within(&field("coverage_ratio"), face.coverage_ratio, 0.01, 1.0, "")?;
            Ok(Annulus {
                inner,
                outer,
                end,
                coverage,
            })
        };
        faces.iter().enumerate().map(annulus).collect()
    }

    fn seat(seat: Option<&Seat>, clamp: f64) -> Result<Option<SeatRing>, ValvingError> {
        let Some(seat) = seat else { return Ok(None) };
        let inner = radius("stack.seat.inner_diameter", seat.inner_diameter, 2.0 * clamp, 200.0)?;
        let outer = radius("stack.seat.outer_diameter", seat.outer_diameter, 2.0 * inner, 200.0)?;
        Ok(Some(SeatRing {
            inner,
            outer,
            height: within("stack.seat.height", millimeters(seat.height), -2.0, 2.0, "mm")?,
            dish: within("stack.seat.dish", millimeters(seat.dish), -2.0, 2.0, "mm")?,
        }))
    }

    fn stop(stop: Option<&Stop>, clamp: f64) -> Result<Option<StopRing>, ValvingError> {
        let Some(stop) = stop else { return Ok(None) };
        let inner = match stop.inner_diameter {
            None => clamp,
            Some(inner) => radius("stack.stop.inner_diameter", inner, 2.0 * clamp, 200.0)?,
        };
        Ok(Some(StopRing {
            inner,
            outer: radius("stack.stop.outer_diameter", stop.outer_diameter, 2.0 * inner, 200.0)?,
            clearance: within("stack.stop.clearance", millimeters(stop.clearance), 0.0, 20.0, "mm")?,
        }))
    }

    /// The face shim: the first that is larger than the clamp.
    pub(super) fn face(&self) -> Option<&Shim> {
        self.shims.iter().find(|shim| shim.edge > self.clamp)
    }

    /// Radius at which the oil leaves: the seat's outer edge, else where the pressure ends.
    pub(super) fn exit(&self) -> f64 {
        let edge = self.face().map_or(self.clamp, |face| face.edge);
        let port = self.annuli.iter().map(|a| a.end).fold(self.clamp, f64::max);
        self.seat.map_or(port, |seat| seat.outer).min(edge)
    }

    /// Height of the seat at that radius.
    pub(super) fn exit_height(&self) -> f64 {
        self.seat.map_or(0.0, |seat| seat.height_at(self.exit()))
    }
}

/// Pressures in MPa, rising.
pub(super) fn pressures(given: &[PressureDifference]) -> Result<Vec<f64>, ValvingError> {
    if given.is_empty() || given.len() > MOST_PRESSURES {
        let allowed = format!("1 to {MOST_PRESSURES}");
        return Err(ValvingError::out_of_range(
            "pressures",
            given.len() as f64,
            "pressures",
            allowed,
        ));
    }
    let read = |(index, p): (usize, &PressureDifference)| {
        let field = format!("pressures[{index}]");
        within(&field, p.get(PressureUnit::Megapascal), 0.0, 200.0, "MPa")
    };
    given.iter().enumerate().map(read).collect()
}
