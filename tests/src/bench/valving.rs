//! A stack's lift curve and a damper's force curve, against reference solutions with SciPy.

use acceptance::{repository, tool};
use mechanics::quantity::{
    AbsolutePressure, Area, Density, ElasticModulus, Force, KinematicViscosity, KinematicViscosityUnit, Length,
    LengthUnit, PressureDifference, PressureUnit, Quantity, Stress, Stroke, Temperature, TemperatureUnit, Velocity,
    Volume,
};
use mechanics::valving::damper::{
    Circuit, Damper, Gap, GasCharge, LiftLaw, Orifice, Restriction, SLIT_TRANSITION, ShortTube, StackValve,
};
use mechanics::valving::oil::{Oil, OilAt, ViscosityPoint};
use mechanics::valving::stack::{Face, Layer, Method, RadialHold, Request, Stack, solve};

use crate::process::{json_of, number};
use crate::table::{Line, least, note};

const ROUNDS: usize = 21;
/// The same as in the script.
const SHIMS: [(f64, f64); 12] = [
    (44.0, 0.2),
    (44.0, 0.2),
    (44.0, 0.2),
    (40.0, 0.15),
    (38.0, 0.15),
    (36.0, 0.15),
    (34.0, 0.15),
    (32.0, 0.15),
    (30.0, 0.15),
    (28.0, 0.15),
    (26.0, 0.2),
    (24.0, 0.25),
];
const PRESSURES: usize = 60;
const RINGS: usize = 16;
const VELOCITIES: usize = 100;

fn mm(value: f64) -> Length {
    Length::new(value, LengthUnit::Millimeter)
}

fn pyramid() -> Request {
    let layer = |(outer, thickness): (f64, f64)| Layer {
        outer_diameter: mm(outer),
        inner_diameter: None,
        thickness: mm(thickness),
        count: 1,
    };
    let pressure = |k: usize| {
        let value = 3.0 * (k + 1) as f64 / PRESSURES as f64;
        PressureDifference::new(value, PressureUnit::Megapascal)
    };
    Request {
        stack: Stack {
            layers: SHIMS.into_iter().map(layer).collect(),
            faces: vec![Face {
                port_inner_diameter: mm(28.0),
                port_outer_diameter: mm(38.0),
                land_outer_diameter: None,
                coverage_ratio: 1.0,
            }],
            clamp_diameter: mm(22.0),
            radial_hold: RadialHold::Held,
            seat: None,
            stop: None,
            modulus: Some(ElasticModulus::new(205e3, PressureUnit::Megapascal)),
            poisson_ratio: Some(0.29),
            stress_limit: None,
            friction_factor: None,
        },
        pressures: (0..PRESSURES).map(pressure).collect(),
        method: Method::LargeDeflection,
        ring_count: Some(RINGS),
    }
}

/// A circuit with a needle so many clicks open, a lift of `stiffness` Pa/m and a crack pressure, Pa.
fn circuit(stiffness: f64, crack: f64, clicks: f64) -> Circuit {
    let (half_angle, seat) = (10.0_f64.to_radians(), 3e-3);
    let opening = clicks / 12.0 * 0.5e-3;
    let slant = opening * half_angle.sin();
    Circuit {
        valve: Some(StackValve {
            port: Some(Restriction::ShortTube(ShortTube {
                diameter: mm(4.5),
                length: mm(10.0),
                count: 4,
            })),
            perimeter: mm(100.0),
            lift: LiftLaw::straight(
                Stress::from_si(stiffness),
                Length::from_si(1.0),
                PressureDifference::from_si(crack),
                Some(mm(1.2)),
            ),
            discharge_factor: 0.65,
            transition_factor: SLIT_TRANSITION,
            largest_area: None,
        }),
        bleed: Some(Orifice {
            area: Area::from_si(std::f64::consts::PI * slant * (seat - slant * half_angle.cos())),
            discharge_factor: 0.70,
            transition_factor: SLIT_TRANSITION,
            hydraulic_diameter: Some(Length::from_si(2.0 * slant)),
        }),
        leak: Some(Gap {
            diameter: mm(46.0),
            clearance: mm(0.025),
            length: mm(10.0),
            eccentricity_ratio: 0.0,
            loss_factor: 1.5,
        }),
    }
}

fn damper() -> Result<(Damper, OilAt), String> {
    let celsius = |value| Temperature::new(value, TemperatureUnit::DegreeCelsius);
    let point = |viscosity, at| ViscosityPoint {
        viscosity: KinematicViscosity::new(viscosity, KinematicViscosityUnit::SquareMillimeterPerSecond),
        temperature: celsius(at),
    };
    let oil = Oil {
        first: point(15.0, 40.0),
        second: point(3.5, 100.0),
        density_at_15: Density::from_si(860.0),
    };
    let damper = Damper {
        bore: mm(46.0),
        shaft: mm(14.0),
        compression: circuit(2.0e9, 0.15e6, 12.0),
        rebound: circuit(6.0e9, 0.35e6, 8.0),
        base_compression: None,
        base_rebound: None,
        gas: GasCharge {
            pressure: AbsolutePressure::from_si(1.1e6),
            volume: Volume::from_si(1e-4),
            exponent: 1.3,
        },
        friction: Force::from_si(25.0),
        friction_velocity: Velocity::from_si(2e-3),
    };
    let oil = oil.at(celsius(40.0)).map_err(|error| error.to_string())?;
    Ok((damper, oil))
}

/// The rows.
pub(crate) fn rows() -> Result<Vec<Line>, String> {
    note("valving: ours, then the reference solutions");
    let request = pyramid();
    let (edge, stack_ms) = least(ROUNDS, || {
        let solved = solve(&request).map_err(|error| error.to_string())?;
        let last = solved.points.last().ok_or("no point")?;
        Ok(last.edge_lift.get(LengthUnit::Millimeter))
    })?;
    let (damper, oil) = damper()?;
    let (force, damper_ms) = least(ROUNDS, || {
        let mut last = 0.0;
        for k in 0..VELOCITIES {
            let velocity = Velocity::from_si(2.0 * k as f64 / (VELOCITIES - 1) as f64 - 1.0);
            let state = damper.at(velocity, Stroke::from_si(0.0), &oil);
            last = state.map_err(|error| error.to_string())?.hydraulic_force.si();
        }
        Ok(last)
    })?;
    let mut script = std::process::Command::new(tool("python/bin/python")?);
    script
        .arg(repository().join("tests/bench/valving.py"))
        .arg("9")
        .env("OPENBLAS_NUM_THREADS", "1");
    let theirs = json_of(&mut script)?;
    let (stack_theirs, damper_theirs) = (number(&theirs, "ms", "stack")?, number(&theirs, "ms", "damper")?);
    let each = PRESSURES as f64;
    let mut script = std::process::Command::new(tool("python/bin/python")?);
    let continuum = json_of(script.arg(repository().join("tests/bench/continuum.py")))?;
    let solid = Line::new("valving", "the same point as a solid of revolution");
    let solid = match number(&continuum, "ms", "point") {
        Ok(ms) => solid
            .measured(format!("{:.3} ms", stack_ms / each))
            .against(format!("CalculiX {ms:.0} ms"))
            .ratio(format!("{:.0} times", ms * each / stack_ms), ""),
        Err(_) => solid.against("CalculiX is not installed"),
    };
    let mut apart = format!(
        "edge lift {:.0e}, force {:.0e}",
        (edge / number(&theirs, "found", "edge")? - 1.0).abs(),
        (force / number(&theirs, "found", "force")? - 1.0).abs(),
    );
    if let Ok(lift) = number(&continuum, "found", "edge") {
        apart += &format!("; from the solid {:.1e}", (edge / lift - 1.0).abs());
    }
    Ok(vec![
        Line::new(
            "valving",
            "12-shim pyramid, large deflection, 16 rings, a pressure point",
        )
        .measured(format!("{:.3} ms", stack_ms / each))
        .against(format!("SciPy {:.2} ms", stack_theirs / each))
        .ratio(format!("{:.1} times", stack_theirs / stack_ms), ">= 20 times"),
        Line::new("valving", format!("the same as a lift curve of {PRESSURES} points"))
            .measured(format!("{stack_ms:.1} ms"))
            .ratio("", "<= 25 ms"),
        Line::new(
            "valving",
            format!("force against velocity, {VELOCITIES} points both ways"),
        )
        .measured(format!("{damper_ms:.3} ms"))
        .against(format!("SciPy {damper_theirs:.1} ms"))
        .ratio(format!("{:.0} times", damper_theirs / damper_ms), ">= 100 times"),
        solid,
        Line::new("valving", "how far the answers are apart at the last point").measured(apart),
    ])
}
