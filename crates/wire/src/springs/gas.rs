//! EvaluateGasSpring: request in, reply out.

use mechanics::quantity::{
    AreaUnit, Deflection, GaugePressure, LengthUnit, PressureUnit, Quantity, Temperature, TemperatureUnit, UnitSystem,
    VolumeUnit,
};
use mechanics::spring::{
    ChangeKind, Curve, CurvePoint, Gas, GasChange, GasChanged, GasFound, GasModel, GasPoint, GasRequest, GasSpring,
};

use super::curve::{drawn, listed};
use super::estimates::{assumptions, findings};
use super::helical::{MOST_PLACES, places};
use super::length_range;
use crate::quantity::{Range, computed, number, optional, required, unit_system};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::v1::evaluate_gas_spring_request::{Model, Spring};
use crate::violation::{Scope, Violations};

/// What is asked for.
#[derive(Debug, Clone)]
pub enum Asked {
    /// A spring.
    Spring(GasRequest),
    /// A gas alone.
    State(GasChange),
}

fn volumes() -> Range<VolumeUnit> {
    Range::above_zero(1e5, VolumeUnit::Milliliter)
}

fn pressures() -> Range<PressureUnit> {
    Range::above_zero(100.0, PressureUnit::Megapascal)
}

fn temperatures() -> Range<TemperatureUnit> {
    Range::between(200.0, 1_000.0, TemperatureUnit::Kelvin)
}

/// Reads a request.
pub fn request(message: &v1::EvaluateGasSpringRequest, violations: &mut Violations) -> Option<Asked> {
    let units = unit_system(message.reply_units, violations.at("reply_units"));
    let spring = match &message.spring {
        None => {
            violations.push(
                "spring",
                Reason::ValueMissing,
                "one of oil_level, charged, two_chamber, state is required",
            );
            None
        }
        Some(Spring::State(given)) => return state(given, violations.at("state")).map(Asked::State),
        Some(Spring::OilLevel(given)) => oil_level(given, violations.at("oil_level")),
        Some(Spring::Charged(given)) => charged(given, violations.at("charged")),
        Some(Spring::TwoChamber(given)) => two_chamber(given, violations.at("two_chamber")),
    };
    let charge: Option<GaugePressure> = optional(
        message.charge_gauge_pressure.as_ref(),
        Range::between(-0.12, 100.0, PressureUnit::Megapascal),
        violations.at("charge_gauge_pressure"),
    );
    let read = GasRequest {
        charge: charge.unwrap_or_else(|| GaugePressure::from_si(0.0)),
        ambient: optional(
            message.ambient_absolute_pressure.as_ref(),
            pressures(),
            violations.at("ambient_absolute_pressure"),
        ),
        model: message.model.as_ref().and_then(|given| model(given, violations)),
        strokes: listed(&message.strokes, places(), MOST_PLACES, violations.at("strokes")),
        maximum_stroke: optional(
            message.maximum_stroke.as_ref(),
            places(),
            violations.at("maximum_stroke"),
        ),
        units,
        spring: spring?,
    };
    Some(Asked::Spring(read))
}

fn model(given: &Model, violations: &mut Violations) -> Option<GasModel> {
    match given {
        Model::PolytropicExponent(n) => {
            number(Some(*n), 1.0, 2.0, violations.at("polytropic_exponent")).map(GasModel::Polytropic)
        }
        Model::RealGas(given) => {
            let mut at = violations.at("real_gas");
            let gas = gas(given.gas, at.at("gas"));
            let temperature: Option<Temperature> =
                required(given.temperature.as_ref(), temperatures(), at.at("temperature"));
            Some(if given.fast {
                GasModel::RealFast(gas?, temperature?)
            } else {
                GasModel::RealSlow(gas?, temperature?)
            })
        }
    }
}

fn gas(value: i32, mut at: Scope<'_>) -> Option<Gas> {
    match v1::GasKind::try_from(value) {
        Ok(v1::GasKind::Unspecified | v1::GasKind::Nitrogen) => Some(Gas::Nitrogen),
        Ok(v1::GasKind::Air) => Some(Gas::Air),
        Err(_) => {
            at.push(Reason::OutOfRange, format_args!("gas is {value}; allowed 0 to 2"));
            None
        }
    }
}

fn oil_level(message: &v1::OilLevelSpring, mut at: Scope<'_>) -> Option<GasSpring> {
    let size = Range::above_zero(1_000.0, LengthUnit::Millimeter);
    let seal = required(message.seal_diameter.as_ref(), size, at.at("seal_diameter"));
    let bore = required(message.bore_diameter.as_ref(), size, at.at("bore_diameter"));
    let gap = required(message.air_gap.as_ref(), length_range(), at.at("air_gap"));
    let travel = required(message.travel.as_ref(), length_range(), at.at("travel"));
    let steel = Range::from_zero(1e5, VolumeUnit::Milliliter);
    let steel = optional(message.spring_volume.as_ref(), steel, at.at("spring_volume"));
    Some(GasSpring::OilLevel {
        seal_diameter: seal?,
        bore_diameter: bore?,
        air_gap: gap?,
        travel: travel?,
        spring_volume: steel.unwrap_or_else(|| Quantity::from_si(0.0)),
    })
}

fn charged(message: &v1::ChargedSpring, mut at: Scope<'_>) -> Option<GasSpring> {
    let size = Range::above_zero(1_000.0, LengthUnit::Millimeter);
    let rod = required(message.rod_diameter.as_ref(), size, at.at("rod_diameter"));
    let volume = required(message.gas_volume.as_ref(), volumes(), at.at("gas_volume"));
    Some(GasSpring::Charged {
        rod_diameter: rod?,
        gas_volume: volume?,
    })
}

fn two_chamber(message: &v1::TwoChamberSpring, mut at: Scope<'_>) -> Option<GasSpring> {
    let area = Range::above_zero(1e6, AreaUnit::SquareMillimeter);
    let positive_area = required(message.positive_area.as_ref(), area, at.at("positive_area"));
    let negative_area = required(message.negative_area.as_ref(), area, at.at("negative_area"));
    let positive_volume = required(message.positive_volume.as_ref(), volumes(), at.at("positive_volume"));
    let negative_volume = required(message.negative_volume.as_ref(), volumes(), at.at("negative_volume"));
    Some(GasSpring::TwoChamber {
        positive_area: positive_area?,
        negative_area: negative_area?,
        positive_volume: positive_volume?,
        negative_volume: negative_volume?,
    })
}

fn state(message: &v1::GasState, mut at: Scope<'_>) -> Option<GasChange> {
    use v1::gas_state::Change;
    let gas = gas(message.gas, at.at("gas"));
    let start = required(
        message.start_temperature.as_ref(),
        temperatures(),
        at.at("start_temperature"),
    );
    let pressure = required(
        message.start_absolute_pressure.as_ref(),
        pressures(),
        at.at("start_absolute_pressure"),
    );
    let second = number(message.second_virial_factor, -0.01, 0.01, at.at("second_virial_factor"));
    let third = number(message.third_virial_factor, -1e-4, 1e-4, at.at("third_virial_factor"));
    if message.second_virial_factor.is_some() != message.third_virial_factor.is_some() {
        at.push(
            Reason::Conflict,
            "second_virial_factor and third_virial_factor go together",
        );
    }
    let virial = second.zip(third);
    let kind = match &message.change {
        None => Some(ChangeKind::Nothing),
        Some(Change::WarmedTo(end)) => required(Some(end), temperatures(), at.at("warmed_to")).map(ChangeKind::Warmed),
        Some(Change::SlowCompressionRatio(ratio)) => {
            number(Some(*ratio), 0.01, 50.0, at.at("slow_compression_ratio")).map(ChangeKind::Slow)
        }
        Some(Change::FastCompressionRatio(ratio)) => {
            number(Some(*ratio), 0.01, 50.0, at.at("fast_compression_ratio")).map(ChangeKind::Fast)
        }
    };
    Some(GasChange {
        gas: gas?,
        temperature: start?,
        pressure: pressure?,
        kind: kind?,
        virial,
    })
}

/// The reply of a spring.
pub fn response(found: &GasFound, units: UnitSystem) -> v1::EvaluateGasSpringResponse {
    let point = |p: &mechanics::spring::ForcePoint| CurvePoint {
        deflection: Deflection::from_si(p.deflection.si()),
        load: p.load,
    };
    let curve = Curve {
        press: found.curve.points().iter().map(point).collect(),
        ..Curve::default()
    };
    v1::EvaluateGasSpringResponse {
        extended_volume: Some(computed(found.extended_volume, units)),
        points: found.points.iter().map(|at| gas_point(at, units)).collect(),
        curve: Some(drawn(&curve, units)),
        state: None,
        findings: findings(&found.findings),
        assumptions: assumptions(&found.assumptions),
        used: Vec::new(),
    }
}

fn gas_point(at: &GasPoint, units: UnitSystem) -> v1::GasPoint {
    v1::GasPoint {
        stroke: Some(computed(at.stroke, units)),
        force: Some(computed(at.force, units)),
        rate: Some(computed(at.rate, units)),
        absolute_pressure: Some(computed(at.pressure, units)),
        volume: Some(computed(at.volume, units)),
        slow_force: Some(computed(at.slow_force, units)),
        fast_force: Some(computed(at.fast_force, units)),
    }
}

/// The reply of a gas alone.
pub fn state_response(found: &GasChanged, units: UnitSystem) -> v1::EvaluateGasSpringResponse {
    v1::EvaluateGasSpringResponse {
        state: Some(v1::GasStateFound {
            absolute_pressure: Some(computed(found.pressure, units)),
            temperature: Some(computed(found.temperature, units)),
            ideal_absolute_pressure: Some(computed(found.ideal_pressure, units)),
            ideal_error_ratio: found.ideal_error_ratio,
            effective_exponent_factor: found.effective_exponent,
            local_exponent_factor: found.local_exponent,
            compressibility_ratio: found.compressibility_ratio,
            virial_compressibility_ratio: found.virial_compressibility_ratio,
            second_virial_factor: found.second_virial,
            third_virial_factor: found.third_virial,
        }),
        ..Default::default()
    }
}
