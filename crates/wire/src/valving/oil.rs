//! Oil, as it is sent and answered.

use mechanics::estimate::Assumption;
use mechanics::finding::{Code, Finding};
use mechanics::quantity::{
    AbsolutePressure, Density, DensityUnit, ElasticModulus, KinematicViscosityUnit, PressureUnit, Quantity,
    Temperature, TemperatureDifference, TemperatureUnit, UnitSystem,
};
use mechanics::valving::oil::{Oil, OilAt, ViscosityPoint};

use crate::quantity::{Range, computed, entered, number, optional, required, unit_system};
use crate::springs::estimates::{assumptions, findings};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// Density at 15 degC where none is given, kg/m3; common practice, no source.
const USUAL_DENSITY: f64 = 860.0;
/// Modulus of oil without air where none is given, Pa; common practice, no source.
const USUAL_MODULUS: f64 = 1.5e9;
/// Temperatures of a request, at most.
const MOST_TEMPERATURES: usize = 200;

/// The temperatures oil is evaluated at.
pub fn temperatures() -> Range<TemperatureUnit> {
    Range::between(-60.0, 200.0, TemperatureUnit::DegreeCelsius)
}

/// Reads an oil; `None` with the faults noted.
pub fn oil(message: &v1::Oil, mut at: Scope<'_>) -> Option<Oil> {
    let first = point(message.first.as_ref(), at.at("first"));
    let second = point(message.second.as_ref(), at.at("second"));
    let density = optional(
        message.density_at_15_degc.as_ref(),
        Range::between(600.0, 1_200.0, DensityUnit::KilogramPerCubicMeter),
        at.at("density_at_15_degc"),
    );
    Some(Oil {
        first: first?,
        second: second?,
        density_at_15: density.unwrap_or_else(|| Density::from_si(USUAL_DENSITY)),
    })
}

fn point(message: Option<&v1::ViscosityPoint>, mut at: Scope<'_>) -> Option<ViscosityPoint> {
    let Some(message) = message else {
        at.push(Reason::ValueMissing, "a viscosity at a temperature is required");
        return None;
    };
    let range = Range::between(0.3, 1e4, KinematicViscosityUnit::SquareMillimeterPerSecond);
    let viscosity = required(message.viscosity.as_ref(), range, at.at("viscosity"));
    let temperature = required(message.temperature.as_ref(), temperatures(), at.at("temperature"));
    Some(ViscosityPoint {
        viscosity: viscosity?,
        temperature: temperature?,
    })
}

/// What is asked of an oil.
#[derive(Debug, Clone)]
pub struct Asked {
    /// The oil.
    pub oil: Option<Oil>,
    /// Temperatures.
    pub temperatures: Vec<Temperature>,
    /// Share of free air.
    pub air_ratio: f64,
    /// Pressure of the modulus.
    pub pressure: AbsolutePressure,
    /// Modulus without air.
    pub modulus: ElasticModulus,
    /// Units of computed values.
    pub units: UnitSystem,
}

/// Reads a request.
pub fn request(message: &v1::EvaluateOilRequest, violations: &mut Violations) -> Asked {
    let oil = match &message.oil {
        Some(given) => oil(given, violations.at("oil")),
        None => {
            violations.push("oil", Reason::ValueMissing, "an oil with two viscosities is required");
            None
        }
    };
    let count = message.temperatures.len();
    if count == 0 || count > MOST_TEMPERATURES {
        violations.push(
            "temperatures",
            if count == 0 {
                Reason::ValueMissing
            } else {
                Reason::OutOfRange
            },
            format_args!("{count} temperatures; allowed 1 to {MOST_TEMPERATURES}"),
        );
    }
    let mut at = violations.at("temperatures");
    let read = |(index, given)| entered(given, temperatures(), at.index(index)).map(Temperature::of);
    let given = message
        .temperatures
        .iter()
        .take(MOST_TEMPERATURES)
        .enumerate()
        .filter_map(read)
        .collect();
    let pressures = Range::between(0.01, 100.0, PressureUnit::Megapascal);
    let moduli = Range::between(100.0, 1e4, PressureUnit::Megapascal);
    Asked {
        oil,
        temperatures: given,
        air_ratio: number(message.air_ratio, 0.0, 0.5, violations.at("air_ratio")).unwrap_or(0.0),
        pressure: optional(
            message.absolute_pressure.as_ref(),
            pressures,
            violations.at("absolute_pressure"),
        )
        .unwrap_or_else(AbsolutePressure::standard_atmosphere),
        modulus: optional(message.modulus.as_ref(), moduli, violations.at("modulus"))
            .unwrap_or_else(|| ElasticModulus::from_si(USUAL_MODULUS)),
        units: unit_system(message.reply_units, violations.at("reply_units")),
    }
}

/// An oil at a temperature, in the API's form.
pub fn state(at: &OilAt, temperature: Temperature, units: UnitSystem) -> v1::OilState {
    v1::OilState {
        temperature: Some(computed(temperature, units)),
        viscosity: Some(computed(at.viscosity, units)),
        density: Some(computed(at.density, units)),
        beyond_points: Some(computed(TemperatureDifference::from_si(at.beyond_points), units)),
    }
}

/// The reply.
pub fn response(
    states: &[(Temperature, OilAt)],
    modulus: ElasticModulus,
    density_given: bool,
    units: UnitSystem,
) -> v1::EvaluateOilResponse {
    let far = states.iter().filter(|(_, at)| at.is_extrapolated());
    let furthest = far.map(|(_, at)| at.beyond_points).fold(0.0, f64::max);
    let mut found = Vec::new();
    if furthest > 0.0 {
        let text = format!("up to {furthest:.0} K outside the oil's two points: the viscosity is a guess there");
        found.push(Finding::about(Code::ViscosityExtrapolated, "temperatures", text));
    }
    let mut assumed = vec![Assumption {
        subject: "oil",
        text: "a plain mineral oil: viscosity improvers thin in narrow gaps".to_owned(),
        source: "ASTM D341; API MPMS 11.1",
    }];
    if !density_given {
        assumed.push(Assumption {
            subject: "oil.density_at_15_degc",
            text: format!("{USUAL_DENSITY} kg/m3"),
            source: "common practice, no source",
        });
    }
    v1::EvaluateOilResponse {
        states: states
            .iter()
            .map(|(temperature, at)| state(at, *temperature, units))
            .collect(),
        effective_modulus: Some(computed(modulus, units)),
        findings: findings(&found),
        assumptions: assumptions(&assumed),
        used: Vec::new(),
    }
}
