//! Gas in its chambers: pressure, force and rate at a stroke.

use crate::quantity::{Length, Quantity};

use super::super::real_gas::State;
use super::{GasModel, GasSpring};

/// A chamber: its pressure and volume at the start and how it answers.
pub(super) struct Chamber {
    pub(super) volume: f64,
    pub(super) pressure: f64,
    pub(super) model: GasModel,
    pub(super) start: Option<State>,
}

impl Chamber {
    pub(super) fn new(volume: f64, pressure: f64, model: GasModel) -> Option<Self> {
        let start = match model {
            GasModel::Polytropic(_) => None,
            GasModel::RealSlow(gas, t) | GasModel::RealFast(gas, t) => Some(gas.fluid().at_pressure(t.si(), pressure)?),
        };
        Some(Self {
            volume,
            pressure,
            model,
            start,
        })
    }

    /// Pressure and `-dp/dV` at a volume.
    pub(super) fn at(&self, volume: f64) -> Option<(f64, f64)> {
        let ratio = self.volume / volume;
        let (pressure, exponent) = match (self.model, self.start) {
            (GasModel::Polytropic(n), _) => (self.pressure * ratio.powf(n), n),
            (GasModel::RealSlow(gas, _), Some(start)) => {
                let state = gas.fluid().at_density(start.temperature, start.density * ratio);
                (state.pressure, state.slow_exponent)
            }
            (GasModel::RealFast(gas, _), Some(start)) => {
                let state = gas
                    .fluid()
                    .at_entropy(start.entropy, start.density * ratio, start.temperature)?;
                (state.pressure, state.fast_exponent)
            }
            (_, None) => return None,
        };
        Some((pressure, exponent * pressure / volume)).filter(|(p, _)| p.is_finite())
    }
}

/// Areas and volumes, m2 and m3.
pub(super) struct Shape {
    pub(super) area: f64,
    pub(super) volume: f64,
    pub(super) other: Option<(f64, f64)>,
}

pub(super) fn shape(spring: &GasSpring) -> Shape {
    let circle = |diameter: Length| std::f64::consts::PI * diameter.si() * diameter.si() / 4.0;
    match spring {
        GasSpring::OilLevel {
            seal_diameter,
            bore_diameter,
            air_gap,
            travel,
            spring_volume,
        } => Shape {
            area: circle(*seal_diameter),
            volume: circle(*bore_diameter) * air_gap.si() + circle(*seal_diameter) * travel.si() - spring_volume.si(),
            other: None,
        },
        GasSpring::Charged {
            rod_diameter,
            gas_volume,
        } => Shape {
            area: circle(*rod_diameter),
            volume: gas_volume.si(),
            other: None,
        },
        GasSpring::TwoChamber {
            positive_area,
            negative_area,
            positive_volume,
            negative_volume,
        } => Shape {
            area: positive_area.si(),
            volume: positive_volume.si(),
            other: Some((negative_area.si(), negative_volume.si())),
        },
    }
}

/// A spring ready to be asked.
pub(super) struct Acting {
    pub(super) ambient: f64,
    pub(super) area: f64,
    pub(super) chamber: Chamber,
    pub(super) other: Option<(f64, Chamber)>,
}

pub(super) struct At {
    pub(super) force: f64,
    pub(super) rate: f64,
    pub(super) pressure: f64,
    pub(super) volume: f64,
}

impl Acting {
    pub(super) fn at(&self, x: f64) -> Option<At> {
        let volume = self.chamber.volume - self.area * x;
        let (pressure, stiffness) = self.chamber.at(volume)?;
        let mut force = (pressure - self.ambient) * self.area;
        let mut rate = stiffness * self.area * self.area;
        if let Some((area, chamber)) = &self.other {
            let (back, stiffness) = chamber.at(chamber.volume + area * x)?;
            force -= (back - self.ambient) * area;
            rate += stiffness * area * area;
        }
        Some(At {
            force,
            rate,
            pressure,
            volume,
        })
    }
}
