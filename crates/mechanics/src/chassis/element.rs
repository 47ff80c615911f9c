//! What carries load along the axis of an end: springs, air, gas, top-out spring, bump stop.

use super::error::ChassisError;
use crate::quantity::{
    AbsolutePressure, Area, Deflection, Force, Length, LengthUnit, Preload, Quantity, SpringRate, StiffnessUnit,
    Stroke, Volume,
};
use crate::spring::{ForceCurve, GasModel, GasRequest, GasSpring, evaluate_gas_spring};

/// A closed chamber of gas pushed by an area: `F = A (p0 (V0/(V0 - A s))^n - p_ambient)`, `k = n p A^2/V`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Area that pushes.
    pub area: Area,
    /// Pressure at full extension.
    pub extended_pressure: AbsolutePressure,
    /// Volume at full extension.
    pub extended_volume: Volume,
    /// Exponent: 1.0 for sag and slow moves, 1.4 for a fast stroke.
    pub exponent: f64,
    /// Surrounding air.
    pub ambient: AbsolutePressure,
}

impl Air {
    /// Of a gas spring of the spring bench with one chamber; `None` with two.
    ///
    /// # Errors
    /// What the gas spring gives.
    pub fn of(request: &GasRequest, exponent: f64) -> Result<Option<Self>, ChassisError> {
        let area = match &request.spring {
            GasSpring::OilLevel { seal_diameter, .. } => circle(*seal_diameter),
            GasSpring::Charged { rod_diameter, .. } => circle(*rod_diameter),
            GasSpring::TwoChamber { .. } => return Ok(None),
        };
        let found = evaluate_gas_spring(&GasRequest {
            model: Some(GasModel::Polytropic(exponent)),
            strokes: Vec::new(),
            ..request.clone()
        })?;
        let ambient = request.ambient.unwrap_or_else(AbsolutePressure::standard_atmosphere);
        Ok(Some(Self {
            area: Area::from_si(area),
            extended_pressure: request.charge.absolute(ambient),
            extended_volume: found.extended_volume,
            exponent,
            ambient,
        }))
    }

    fn at(&self, s: f64) -> (f64, f64) {
        let area = self.area.si();
        let volume = self.extended_volume.si() - area * s;
        if volume <= 0.0 {
            return (f64::INFINITY, f64::INFINITY);
        }
        let pressure = self.extended_pressure.si() * (self.extended_volume.si() / volume).powf(self.exponent);
        (
            area * (pressure - self.ambient.si()),
            self.exponent * pressure * area * area / volume,
        )
    }
}

fn circle(diameter: Length) -> f64 {
    std::f64::consts::PI * diameter.si() * diameter.si() / 4.0
}

/// One thing that carries load along the axis, against axial travel `s` from full extension.
#[derive(Debug, Clone, PartialEq)]
pub enum Element {
    /// A straight spring pressed by `preload` at full extension: `F = k (s + x0)`, and nothing while it is loose.
    Straight {
        /// Its rate; of legs that share load, their sum.
        rate: SpringRate,
        /// How far it is pressed at full extension; negative: it is loose by as much.
        preload: Preload,
    },
    /// A spring by its curve from free length, pressed by `preload` at full extension; carried on with its last rate.
    Curve {
        /// Load against deflection from the free length.
        curve: ForceCurve,
        /// How far it is pressed at full extension; negative: it is loose by as much.
        preload: Preload,
    },
    /// A steady axial force, such as of gas on a rod.
    Steady(Force),
    /// A rate without a force at full extension, such as of air that is only estimated.
    Rate(SpringRate),
    /// A closed chamber.
    Air(Air),
    /// A spring that pulls the end in over the last of its extension: `F = -k (l - s)` for `s < l`.
    TopOut {
        /// How long it works from full extension.
        length: Length,
        /// Its rate.
        rate: SpringRate,
    },
    /// A stop that pushes over the last of the travel: `F = k (s - (S - l))` for `s > S - l`.
    BumpStop {
        /// How long it works before the end of the axial travel `S`.
        length: Length,
        /// Its rate.
        rate: SpringRate,
        /// The axial travel.
        axial_travel: Stroke,
    },
}

impl Element {
    /// Force and rate just after a stroke, SI.
    pub(super) fn at(&self, s: f64) -> (f64, f64) {
        match self {
            Self::Straight { rate, preload } => pushing(rate.si(), s + preload.si()),
            Self::Curve { curve, preload } => of_curve(curve, s + preload.si()),
            Self::Steady(force) => (force.si(), 0.0),
            Self::Rate(rate) => (rate.si() * s, rate.si()),
            Self::Air(air) => air.at(s),
            Self::TopOut { length, rate } => {
                let left = length.si() - s;
                if left > 0.0 {
                    (-rate.si() * left, rate.si())
                } else {
                    (0.0, 0.0)
                }
            }
            Self::BumpStop {
                length,
                rate,
                axial_travel,
            } => pushing(rate.si(), s - (axial_travel.si() - length.si())),
        }
    }

    /// Strokes at which its rate changes.
    pub(super) fn kinks(&self) -> Vec<f64> {
        match self {
            Self::Straight { preload, .. } => vec![-preload.si()],
            Self::Curve { curve, preload } => {
                let points = curve.points().iter();
                points.map(|point| point.deflection.si() - preload.si()).collect()
            }
            Self::Steady(_) | Self::Rate(_) | Self::Air(_) => Vec::new(),
            Self::TopOut { length, .. } => vec![length.si()],
            Self::BumpStop {
                length, axial_travel, ..
            } => vec![axial_travel.si() - length.si()],
        }
    }

    pub(super) fn check(&self, index: usize) -> Result<(), ChassisError> {
        let field = |name: &str| format!("elements[{index}].{name}");
        let per_mm = StiffnessUnit::NewtonPerMillimeter;
        let mm = LengthUnit::Millimeter;
        match self {
            Self::Straight { rate, preload } => {
                super::error::within(&field("rate"), *rate, (1e-3, 10_000.0), per_mm)?;
                super::error::within(&field("preload"), *preload, (-1_000.0, 1_000.0), mm)?;
            }
            Self::Curve { curve, preload } => {
                super::error::within(&field("preload"), *preload, (-1_000.0, 1_000.0), mm)?;
                let falls = curve.points().iter().any(|point| !(point.rate_after.si() >= 0.0));
                let first = curve.points().first();
                let starts = first.map_or(0.0, |point| point.load.si());
                if falls || starts < 0.0 {
                    let allowed = "a load that does not fall and starts at 0 or more";
                    return Err(ChassisError::out_of_range(field("curve"), starts, "N", allowed));
                }
            }
            Self::Steady(force) if !force.si().is_finite() => {
                return Err(ChassisError::NotFinite { field: field("force") });
            }
            Self::Steady(_) => {}
            Self::Rate(rate) => {
                super::error::within(&field("rate"), *rate, (0.0, 1_000.0), per_mm)?;
            }
            Self::Air(air) => {
                super::error::number_within(&field("exponent"), air.exponent, 1.0, 2.0)?;
                if !(air.extended_volume.si() > 0.0 && air.area.si() > 0.0 && air.extended_pressure.si() > 0.0) {
                    let allowed = "area, volume and pressure above 0";
                    let volume = air.extended_volume.si() * 1e6;
                    return Err(ChassisError::out_of_range(field("volume"), volume, "mL", allowed));
                }
            }
            Self::TopOut { length, rate } | Self::BumpStop { length, rate, .. } => {
                super::error::within(&field("length"), *length, (0.0, 1_000.0), mm)?;
                super::error::within(&field("rate"), *rate, (0.0, 100_000.0), per_mm)?;
            }
        }
        Ok(())
    }
}

/// A spring that pushes and never pulls.
fn pushing(rate: f64, pressed: f64) -> (f64, f64) {
    if pressed < 0.0 {
        (0.0, 0.0)
    } else {
        (rate * pressed, rate)
    }
}

/// A curve from free length; before it nothing, after it its last rate.
fn of_curve(curve: &ForceCurve, pressed: f64) -> (f64, f64) {
    let ends = (curve.points().first(), curve.points().last());
    let (Some(first), Some(last)) = ends else {
        return (0.0, 0.0);
    };
    if pressed < first.deflection.si() {
        return (0.0, 0.0);
    }
    match curve.at(Deflection::from_si(pressed)) {
        Some(point) => (point.load.si(), point.rate_after.si()),
        None => {
            let beyond = pressed - last.deflection.si();
            (last.load.si() + last.rate_before.si() * beyond, last.rate_before.si())
        }
    }
}
