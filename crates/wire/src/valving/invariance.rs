//! The same stack and the same damper in metric and in inch units are the same to the physics.

use mechanics::quantity::{
    AbsolutePressure, AreaUnit, ForceUnit, LengthUnit, PressureDifference, PressureUnit, Quantity, Stroke, Temperature,
    TemperatureUnit, Unit, UnitSystem, Velocity, VolumeUnit,
};
use mechanics::valving::damper::{Evaluation, evaluate};
use mechanics::valving::stack::{Method, Request, solve};

use super::{damper, oil, stack};
use crate::quantity::Message;
use crate::v1;
use crate::violation::Violations;

/// Rounding moves rings by a last digit, and the solution with them.
const ROUNDING: f64 = 1e-8;

/// Sends a value stated in one unit in the unit of a system.
fn sent<M: Message>(value: f64, stated: M::Unit, system: UnitSystem) -> M {
    let unit = M::Unit::of_system(system);
    M::from_parts(unit.row().of_si(stated.row().to_si(value)), unit.row().number)
}

fn mm(value: f64, system: UnitSystem) -> Option<v1::Length> {
    Some(sent(value, LengthUnit::Millimeter, system))
}

fn mpa(value: f64, system: UnitSystem) -> Option<v1::Pressure> {
    Some(sent(value, PressureUnit::Megapascal, system))
}

fn stack_in(system: UnitSystem) -> v1::Stack {
    let mm = |value| mm(value, system);
    let layer = |(outer, thickness, count): (f64, f64, i32)| v1::ShimLayer {
        outer_diameter: mm(outer),
        inner_diameter: mm(12.0),
        thickness: mm(thickness),
        count,
    };
    v1::Stack {
        layers: [(30.0, 0.15, 2), (18.0, 0.1, 1), (28.0, 0.2, 1), (22.0, 0.2, 1)]
            .map(layer)
            .to_vec(),
        faces: vec![v1::PortFace {
            port_inner_diameter: mm(18.0),
            port_outer_diameter: mm(26.0),
            land_outer_diameter: mm(27.0),
            coverage_ratio: Some(0.7),
        }],
        clamp: Some(v1::Clamp {
            diameter: mm(14.0),
            radial_hold: 0,
        }),
        seat: Some(v1::Seat {
            inner_diameter: mm(26.0),
            outer_diameter: mm(28.0),
            height: mm(0.08),
            dish: mm(0.01),
        }),
        stop: Some(v1::UpperStop {
            inner_diameter: None,
            outer_diameter: mm(28.0),
            clearance: mm(0.5),
        }),
        modulus: mpa(205e3, system),
        stress_limit: mpa(1200.0, system),
        ..Default::default()
    }
}

fn damper_in(system: UnitSystem) -> v1::Damper {
    let mm = |value| mm(value, system);
    let circuit = v1::DamperCircuit {
        valve: Some(v1::StackValve {
            ports: Some(v1::Holes {
                diameter: mm(4.5),
                length: mm(10.0),
                count: 4,
            }),
            source: Some(v1::stack_valve::Source::Values(stack_in(system))),
            ..Default::default()
        }),
        bleed: Some(v1::Bleed {
            kind: Some(v1::bleed::Kind::Fixed(v1::Orifice {
                area: Some(sent(1.2, AreaUnit::SquareMillimeter, system)),
                ..Default::default()
            })),
        }),
        leak: Some(v1::BandLeak {
            diameter: mm(46.0),
            clearance: mm(0.02),
            length: mm(8.0),
            eccentricity_ratio: None,
        }),
    };
    let point = |value, degrees| v1::ViscosityPoint {
        viscosity: Some(v1::KinematicViscosity::from_parts(value, 1)),
        temperature: Some(sent(degrees, TemperatureUnit::DegreeCelsius, system)),
    };
    v1::Damper {
        bore: mm(46.0),
        shaft_diameter: mm(14.0),
        compression: Some(circuit.clone()),
        rebound: Some(circuit),
        gas: Some(v1::DamperGas {
            charge_gauge_pressure: mpa(1.2, system),
            volume: Some(sent(90.0, VolumeUnit::Milliliter, system)),
            exponent_factor: None,
        }),
        friction: Some(sent(15.0, ForceUnit::Newton, system)),
        oil: Some(v1::Oil {
            first: Some(point(16.0, 40.0)),
            second: Some(point(5.5, 100.0)),
            density_at_15_degc: None,
        }),
        ..Default::default()
    }
}

fn close(metric: f64, inch: f64, scale: f64, what: &str) {
    let off = (metric - inch).abs();
    assert!(off <= ROUNDING * scale.max(metric.abs()), "{what}: {metric} and {inch}");
}

#[test]
fn a_stack_in_inches_is_the_stack_in_millimetres() {
    let [metric, inch] = [UnitSystem::Metric, UnitSystem::Inch].map(|system| {
        let mut faults = Violations::new();
        let stack = stack::stack(&stack_in(system), faults.root()).unwrap();
        let pressures = [0.05, 0.2, 0.6, 1.5].map(|p| {
            let message: v1::Pressure = mpa(p, system).unwrap();
            PressureDifference::of(crate::quantity::stated(Some(&message)).unwrap())
        });
        solve(&Request {
            stack,
            pressures: pressures.to_vec(),
            method: Method::LargeDeflection,
            ring_count: Some(16),
        })
        .unwrap()
    });
    assert_eq!(metric.ring_count, inch.ring_count);
    for (a, b) in metric.points.iter().zip(&inch.points) {
        close(a.edge_lift.si(), b.edge_lift.si(), 1e-4, "edge lift");
        close(a.opening.si(), b.opening.si(), 1e-4, "opening");
        close(a.seat_force.si(), b.seat_force.si(), 10.0, "seat force");
        for (a, b) in a.shims.iter().zip(&b.shims) {
            close(a.clamp_stress.si(), b.clamp_stress.si(), 1e8, "stress");
        }
    }
    let kinds =
        |solved: &mechanics::valving::stack::Solved| solved.events.iter().map(|event| event.kind).collect::<Vec<_>>();
    assert_eq!(kinds(&metric), kinds(&inch));
    assert!(!metric.events.is_empty());
}

#[test]
fn a_damper_in_inches_is_the_damper_in_millimetres() {
    let [metric, inch] = [UnitSystem::Metric, UnitSystem::Inch].map(|system| {
        let mut faults = Violations::new();
        let message = damper_in(system);
        let design = damper::damper(&message, faults.root()).unwrap();
        let oil = oil::oil(message.oil.as_ref().unwrap(), faults.root()).unwrap();
        evaluate(&Evaluation {
            design,
            oil,
            temperature: Temperature::new(40.0, TemperatureUnit::DegreeCelsius),
            stroke: Stroke::from_si(0.02),
            velocities: [-1.0, -0.2, -0.02, 0.02, 0.2, 1.0].map(Velocity::from_si).to_vec(),
            lowest_pressure: AbsolutePressure::from_si(1e5),
            wheel: None,
            reference_velocity: Velocity::from_si(0.05),
        })
        .unwrap()
    });
    for (a, b) in metric.points.iter().zip(&inch.points) {
        close(a.state.force.si(), b.state.force.si(), 100.0, "force");
        close(
            a.state.piston.valve.si(),
            b.state.piston.valve.si(),
            1e-5,
            "flow through the stack",
        );
    }
    close(metric.least_charge.si(), inch.least_charge.si(), 1e6, "least charge");
}
