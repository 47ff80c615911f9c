//! A forecast with its bands, one thread: a whole machine with four adjusters and a bump through both ends.

use std::time::Instant;

use mechanics::chassis::{Balance, CenterOfGravity, Element, Path, Suspension};
use mechanics::forecast::{
    Bump, Damping, ForecastCircuit, ForecastEnd, ForecastRequest, Riding, Road, Sureness, forecast,
};
use mechanics::judgement::Circuit;
use mechanics::quantity::{
    Angle, DampingRate, Length, Mass, Preload, Quantity, SpringRate, Stroke, Travel, UnitSystem, Velocity,
};
use mechanics::spring::Linkage;

use crate::table::{Line, note};

const ROUNDS: usize = 15;

/// The row of forecasting.
pub(crate) fn rows() -> Result<Vec<Line>, String> {
    note("forecast: with bands");
    let request = request()?;
    let mut times = Vec::new();
    let mut limits = 0;
    for _ in 0..ROUNDS {
        let start = Instant::now();
        let found = forecast(&request).map_err(|error| error.to_string())?;
        times.push(start.elapsed().as_secs_f64() * 1e3);
        limits = found.limits.len();
    }
    times.sort_by(f64::total_cmp);
    let median = times.get(ROUNDS / 2).copied().unwrap_or_default();
    let line = Line::new(
        "forecast",
        format!("{limits} limits with bands, 4 adjusters, a bump through both ends"),
    )
    .measured(format!("{median:.1} ms"))
    .against("100 ms")
    .ratio(format!("{:.2}", median / 100.0), "<= 1");
    Ok(vec![line])
}

fn request() -> Result<ForecastRequest, String> {
    let words = |error: mechanics::chassis::ChassisError| error.to_string();
    let fork = Path::fork(Angle::from_si(24.0_f64.to_radians()), Stroke::from_si(0.12)).map_err(words)?;
    let linkage = Linkage::Polynomial(vec![0.0, 0.48, 2.5e-4]);
    let rear = Path::of_linkage(&linkage, Travel::from_si(0.13), None, 0.0).map_err(words)?;
    Ok(ForecastRequest {
        balance: Balance {
            gravity: CenterOfGravity {
                mass: Mass::from_si(265.0),
                ahead: Length::from_si(0.68),
                height: Length::from_si(0.64),
            },
            wheelbase: Length::from_si(1.42),
            front_unsprung: Mass::from_si(16.0),
            rear_unsprung: Mass::from_si(18.0),
        },
        front: Some(end(fork, (18e3, 0.018), 0.098).map_err(words)?),
        rear: Some(end(rear, (95e3, 0.012), 0.09).map_err(words)?),
        riding: Riding {
            deceleration: 5.0,
            front_share: 1.0,
            lateral: 5.0,
            together: Some((3.0, 4.0)),
            grip: 1.1,
        },
        road: Road {
            waviness: 2.0,
            bump: Some(Bump {
                height: Length::from_si(0.03),
                length: Length::from_si(0.5),
                speed: Velocity::from_si(10.0),
            }),
        },
        sureness: Sureness {
            accelerations: 0.05,
            grip: 0.05,
            waviness: 0.2,
            height: Length::from_si(0.02),
            ahead: Length::from_si(0.01),
        },
        prices: Vec::new(),
        highest_pace: 1.5,
        paces: Vec::new(),
        units: UnitSystem::Metric,
    })
}

fn end(path: Path, (rate, preload): (f64, f64), used: f64) -> Result<ForecastEnd, mechanics::chassis::ChassisError> {
    let spring = Element::Straight {
        rate: SpringRate::from_si(rate),
        preload: Preload::from_si(preload),
    };
    let circuit = |circuit, bump_rules| ForecastCircuit {
        circuit,
        position: 10.0,
        range: 24.0,
        position_uncertainty: None,
        reach: Vec::new(),
        damping: Damping::Power {
            exponent: 0.67,
            standard_uncertainty: 0.1,
        },
        velocity: Some(Velocity::from_si(0.3)),
        port_limited_from: Some(Velocity::from_si(0.5)),
        bump_rules,
    };
    Ok(ForecastEnd {
        suspension: Suspension::new(path, vec![spring])?,
        travel_used: Some(Travel::from_si(used)),
        travel_used_uncertainty: Length::from_si(0.002),
        rate_uncertainty: 0.03,
        bind: None,
        circuits: vec![circuit(Circuit::REBOUND, false), circuit(Circuit::COMPRESSION, true)],
        can_be_revalved: true,
        tyre_rate: None,
        wheel_damping: Some(DampingRate::from_si(1_500.0)),
    })
}
