//! Air and gas springs: air over oil, a charged reservoir, two chambers.

mod acting;
mod change;
mod check;

use crate::estimate::Assumption;
use crate::finding::{Code, Finding};
use crate::quantity::{
    AbsolutePressure, Area, Deflection, Force, GaugePressure, Length, Load, PressureUnit, Quantity, SpringRate, Stroke,
    Temperature, UnitSystem, Volume,
};

use super::SpringError;
use super::force::{ForceCurve, ForcePoint};
use super::real_gas::Fluid;
use super::words::Words;
use acting::{Acting, Chamber, shape};
use check::check;

pub use change::evaluate_gas_change;

/// A gas spring.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum GasSpring {
    /// Air over the oil of a fork leg.
    OilLevel {
        /// Diameter of the tube at the seal: its area is what pushes.
        seal_diameter: Length,
        /// Diameter of the tube in which the air gap is measured.
        bore_diameter: Length,
        /// Air gap measured with the leg fully collapsed, spring out or in as said by the volume below.
        air_gap: Length,
        /// Whole travel of the leg.
        travel: Length,
        /// Steel above the oil that was out when the gap was measured.
        spring_volume: Volume,
    },
    /// A charged reservoir behind a rod.
    Charged {
        /// Diameter of the rod.
        rod_diameter: Length,
        /// Gas volume extended.
        gas_volume: Volume,
    },
    /// A chamber on either side of a piston, at one pressure when extended.
    TwoChamber {
        /// Area of the chamber that is compressed.
        positive_area: Area,
        /// Area of the other.
        negative_area: Area,
        /// Volume of the first, extended.
        positive_volume: Volume,
        /// Volume of the other, extended.
        negative_volume: Volume,
    },
}

/// How the gas answers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum GasModel {
    /// `p V^n` stays.
    Polytropic(f64),
    /// A real gas, slow: the temperature stays.
    RealSlow(Gas, Temperature),
    /// A real gas, fast: the entropy stays.
    RealFast(Gas, Temperature),
}

/// Which gas.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gas {
    /// Nitrogen: Span and others (2000).
    Nitrogen,
    /// Air: Lemmon and others (2000), as one fluid.
    Air,
}

impl Gas {
    fn fluid(self) -> &'static Fluid {
        match self {
            Self::Nitrogen => &super::real_gas::NITROGEN,
            Self::Air => &super::real_gas::AIR,
        }
    }
}

/// Asks for a gas spring.
#[derive(Debug, Clone, PartialEq)]
pub struct GasRequest {
    /// The spring.
    pub spring: GasSpring,
    /// Gauge pressure extended.
    pub charge: GaugePressure,
    /// Surrounding air; `None`: the standard atmosphere.
    pub ambient: Option<AbsolutePressure>,
    /// How the gas answers; `None`: 1.2 over oil, 1.4 in a reservoir, 1.3 with two chambers.
    pub model: Option<GasModel>,
    /// Strokes from extended at which it is wanted.
    pub strokes: Vec<Stroke>,
    /// Stroke the curve is drawn to; `None`: the travel, or nine tenths of what the gas has room for.
    pub maximum_stroke: Option<Stroke>,
    /// Units of the words.
    pub units: UnitSystem,
}

/// What a gas spring does.
#[derive(Debug, Clone, PartialEq)]
pub struct GasFound {
    /// Gas volume extended.
    pub extended_volume: Volume,
    /// Force against stroke.
    pub curve: ForceCurve,
    /// Where it was wanted.
    pub points: Vec<GasPoint>,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// A gas spring at a stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GasPoint {
    /// Stroke from extended.
    pub stroke: Stroke,
    /// Force along the axis, the surrounding air's taken off.
    pub force: Force,
    /// Rate.
    pub rate: SpringRate,
    /// Pressure of the compressed chamber.
    pub pressure: AbsolutePressure,
    /// Its volume.
    pub volume: Volume,
    /// Force of a slow movement, `n = 1.0`.
    pub slow_force: Force,
    /// Force of a fast one, `n = 1.4`.
    pub fast_force: Force,
}

/// A change of a gas in a closed room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GasChange {
    /// Which gas.
    pub gas: Gas,
    /// Temperature at the start.
    pub temperature: Temperature,
    /// Pressure at the start.
    pub pressure: AbsolutePressure,
    /// What is done to it.
    pub kind: ChangeKind,
    /// Virial coefficients to be used, m3/mol and m6/mol2; `None`: those of the reference equation.
    pub virial: Option<(f64, f64)>,
}

/// What is done to a gas.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ChangeKind {
    /// Nothing: its state alone is wanted.
    Nothing,
    /// Warmed in the same room.
    Warmed(Temperature),
    /// Compressed slowly to one part in so many.
    Slow(f64),
    /// Compressed fast to one part in so many.
    Fast(f64),
}

/// The end of a change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GasChanged {
    /// Pressure at the end, real gas.
    pub pressure: AbsolutePressure,
    /// Temperature at the end, real gas.
    pub temperature: Temperature,
    /// Pressure at the end by the ideal gas law; fast with `n = 1.4`.
    pub ideal_pressure: AbsolutePressure,
    /// Ideal over real, less 1.
    pub ideal_error_ratio: f64,
    /// `ln(p2/p1)/ln(ratio)` of a compression.
    pub effective_exponent: Option<f64>,
    /// `rho c^2/p` at the start: the exponent of a first small fast movement.
    pub local_exponent: f64,
    /// `p/(rho R T)` at the start.
    pub compressibility_ratio: f64,
    /// The same by the virial series of two terms, `1 + B rho + C rho^2`.
    pub virial_compressibility_ratio: f64,
    /// Second virial coefficient at the start's temperature, m3/mol.
    pub second_virial: f64,
    /// Third, m6/mol2.
    pub third_virial: f64,
}

/// Points a curve is drawn with.
const STEPS: usize = 200;
/// A real gas this far from the ideal law is said to be.
const NOT_IDEAL: f64 = 0.01;
/// Strokes of a request at which that is looked at.
const LOOKED_AT: usize = 16;
/// Gauge pressure from which on a gas is called dangerous, Pa (common practice, no source).
const HURTS: f64 = 5e5;

/// A gas spring.
///
/// Air over oil, by leg: `V(x) = A_bore h + A_seal (X - x) - V_s`, with the gap `h` measured fully collapsed; reservoir
/// `V(x) = V0 - A_rod x`. `p V^n` stays, or the state follows a reference equation of the real gas slowly (one temperature) or
/// fast (one entropy). `F = (p - p_ambient) A`, `k = n p A^2/V` with the absolute pressure; two chambers
/// `F = p1 A1 - p2 A2 - p_ambient (A1 - A2)`, both add to the rate. Range: real gas from 200 to 600 K and up to 100 MPa.
/// Friction of the seals and the oil's own expansion are left out.
///
/// # Errors
/// [`SpringError::OutOfRange`] where the gas has no room left, or for values that make no spring.
pub fn evaluate_gas_spring(request: &GasRequest) -> Result<GasFound, SpringError> {
    let shape = shape(&request.spring);
    check(request, &shape)?;
    let mut assumptions = Vec::new();
    let ambient = ambient(request, &mut assumptions);
    let model = model(request, &mut assumptions);
    let start = request.charge.si() + ambient;
    let room = shape.volume / shape.area;
    let last = furthest(request, room);
    let spring = |model: GasModel| -> Option<Acting> {
        Some(Acting {
            ambient,
            area: shape.area,
            chamber: Chamber::new(shape.volume, start, model)?,
            other: match shape.other {
                Some((area, volume)) => Some((area, Chamber::new(volume, start, model)?)),
                None => None,
            },
        })
    };
    let unreachable = || SpringError::OutOfRange {
        field: "charge_gauge_pressure",
        value: request.charge.get(PressureUnit::Bar),
        unit: "bar",
        allowed: "what the equation of state covers at that temperature",
    };
    let acting = spring(model).ok_or_else(unreachable)?;
    let slow = spring(GasModel::Polytropic(1.0)).ok_or_else(unreachable)?;
    let fast = spring(GasModel::Polytropic(1.4)).ok_or_else(unreachable)?;
    let mut points = Vec::new();
    for stroke in &request.strokes {
        let at = acting.at(stroke.si()).ok_or_else(unreachable)?;
        let force = |spring: &Acting| spring.at(stroke.si()).map_or(0.0, |at| at.force);
        points.push(GasPoint {
            stroke: *stroke,
            force: Force::from_si(at.force),
            rate: SpringRate::from_si(at.rate),
            pressure: AbsolutePressure::from_si(at.pressure),
            volume: Volume::from_si(at.volume),
            slow_force: Force::from_si(force(&slow)),
            fast_force: Force::from_si(force(&fast)),
        });
    }
    let drawn = (0..=STEPS).map(|k| {
        let x = last * k as f64 / STEPS as f64;
        let at = acting.at(x)?;
        Some(ForcePoint {
            deflection: Deflection::from_si(x),
            load: Load::from_si(at.force),
            rate_before: SpringRate::from_si(at.rate),
            rate_after: SpringRate::from_si(at.rate),
        })
    });
    let curve = drawn
        .collect::<Option<Vec<_>>>()
        .and_then(ForceCurve::new)
        .ok_or_else(unreachable)?;
    let mut findings = Vec::new();
    say(request, &acting, &mut findings);
    Ok(GasFound {
        extended_volume: Volume::from_si(shape.volume),
        curve,
        points,
        findings,
        assumptions,
    })
}

fn ambient(request: &GasRequest, assumptions: &mut Vec<Assumption>) -> f64 {
    request.ambient.map_or_else(
        || {
            assumptions.push(Assumption {
                subject: "ambient_absolute_pressure",
                text: "the standard atmosphere, 101.325 kPa; at 2000 m it is 79.5 kPa".to_owned(),
                source: "definition",
            });
            AbsolutePressure::standard_atmosphere().si()
        },
        Quantity::si,
    )
}

fn model(request: &GasRequest, assumptions: &mut Vec<Assumption>) -> GasModel {
    request.model.unwrap_or_else(|| {
        let n = match request.spring {
            GasSpring::OilLevel { .. } => 1.2,
            GasSpring::Charged { .. } => 1.4,
            GasSpring::TwoChamber { .. } => 1.3,
        };
        assumptions.push(Assumption {
            subject: "model",
            text: format!("p V^{n} stays: 1.0 holds for sag and slow moves, 1.4 for a fast stroke"),
            source: "common practice, no source",
        });
        GasModel::Polytropic(n)
    })
}

fn furthest(request: &GasRequest, room: f64) -> f64 {
    let asked = request.strokes.iter().map(|x| x.si()).fold(0.0, f64::max);
    let travel = match request.spring {
        GasSpring::OilLevel { travel, .. } => travel.si(),
        GasSpring::Charged { .. } | GasSpring::TwoChamber { .. } => 0.9 * room,
    };
    request
        .maximum_stroke
        .map_or_else(|| travel.min(0.98 * room).max(asked), Quantity::si)
}

fn say(request: &GasRequest, acting: &Acting, findings: &mut Vec<Finding>) {
    let words = Words::new(request.units);
    if request.charge.si() > HURTS {
        let text = format!(
            "charged to {:.1} bar over the surrounding air",
            request.charge.get(PressureUnit::Bar)
        );
        findings.push(Finding::about(Code::GasPressure, "charge_gauge_pressure", text));
    }
    if !matches!(acting.chamber.model, GasModel::Polytropic(_)) {
        return;
    }
    // The state of a real gas takes longer than the whole curve: a few strokes tell as much as all of them.
    let every = request.strokes.len().div_ceil(LOOKED_AT).max(1);
    let looked_at = request.strokes.iter().rev().step_by(every).rev();
    for stroke in looked_at {
        let Some(at) = acting.at(stroke.si()) else { continue };
        // A tenth of a per cent at 10 bar, one per cent at 30: the state itself tells.
        let dense = super::real_gas::NITROGEN.at_pressure(293.15, at.pressure);
        if dense.is_some_and(|state| (state.slow_exponent - 1.0).abs() > NOT_IDEAL) {
            let text = format!(
                "at {} and {:.0} bar a real gas is noticeably stiffer or softer than the ideal one",
                words.length(stroke.si()),
                at.pressure * 1e-5
            );
            findings.push(Finding::about(Code::GasNotIdeal, "model", text));
            break;
        }
    }
}
