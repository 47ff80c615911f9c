//! The demo's drawer: shims, two stacks of which one is built, and a damper. All of it is invented.

use tonic::transport::Channel;
use wire::v1;
use wire::v1::drawer_service_client::DrawerServiceClient;
use wire::v1::valving_service_client::ValvingServiceClient;
use wire::valving::stack::layers_of_text;

use crate::call::status_fail;
use crate::fail::Fail;
use crate::out::Out;
use crate::print;

/// Lots: id, size, count.
const LOTS: [(&str, &str, i32); 4] = [
    ("demo-30x015", "30/8x0.15 mm", 24),
    ("demo-26x015", "26/8x0.15 mm", 10),
    ("demo-22x015", "22/8x0.15 mm", 10),
    ("demo-18x020", "18/8x0.20 mm", 6),
];
/// Stacks: id, label, shims from the piston outward.
const STACKS: [(&str, &str, &str); 2] = [
    (
        "demo-found",
        "invented damper, as found",
        "30x0.15*3, 26x0.15, 22x0.15, 18x0.20 mm",
    ),
    (
        "demo-softer",
        "invented damper, one face shim less",
        "30x0.15*2, 26x0.15, 22x0.15, 18x0.20 mm",
    ),
];

fn request_id() -> String {
    uuid::Uuid::new_v4().to_string()
}

fn millimeters(value: f64) -> Option<v1::Length> {
    Some(v1::Length {
        value: Some(value),
        unit: v1::length::Unit::Millimeter.into(),
    })
}

fn lot((id, size, count): (&str, &str, i32)) -> Result<v1::CreateShimLotRequest, Fail> {
    let layer = layers_of_text(size).map_err(Fail::error)?.into_iter().next();
    let layer = layer.unwrap_or_default();
    Ok(v1::CreateShimLotRequest {
        shim_lot: Some(v1::ShimLot {
            label: "invented".to_owned(),
            outer_diameter: layer.outer_diameter,
            inner_diameter: layer.inner_diameter,
            thickness: layer.thickness,
            count: Some(count),
            ..v1::ShimLot::default()
        }),
        shim_lot_id: id.to_owned(),
        request_id: request_id(),
    })
}

fn stack((id, label, shims): (&str, &str, &str)) -> Result<v1::CreateStackRequest, Fail> {
    Ok(v1::CreateStackRequest {
        stack: Some(v1::Stack {
            label: label.to_owned(),
            layers: layers_of_text(shims).map_err(Fail::error)?,
            faces: vec![v1::PortFace {
                port_inner_diameter: millimeters(18.0),
                port_outer_diameter: millimeters(26.0),
                ..v1::PortFace::default()
            }],
            clamp: Some(v1::Clamp {
                diameter: millimeters(14.0),
                ..v1::Clamp::default()
            }),
            ..v1::Stack::default()
        }),
        stack_id: id.to_owned(),
        request_id: request_id(),
    })
}

fn oil() -> v1::Oil {
    let point = |viscosity, temperature| {
        Some(v1::ViscosityPoint {
            viscosity: Some(v1::KinematicViscosity {
                value: Some(viscosity),
                unit: v1::kinematic_viscosity::Unit::SquareMillimeterPerSecond.into(),
            }),
            temperature: Some(v1::Temperature {
                value: Some(temperature),
                unit: v1::temperature::Unit::DegreeCelsius.into(),
            }),
        })
    };
    v1::Oil {
        first: point(15.0, 40.0),
        second: point(3.8, 100.0),
        density_at_15_degc: None,
    }
}

/// A damper with a stack of the drawer in both strokes.
fn damper(stack: &str) -> v1::Damper {
    let circuit = v1::DamperCircuit {
        valve: Some(v1::StackValve {
            ports: Some(v1::Holes {
                diameter: millimeters(4.5),
                length: millimeters(10.0),
                count: 4,
            }),
            source: Some(v1::stack_valve::Source::Stack(stack.to_owned())),
            ..v1::StackValve::default()
        }),
        bleed: Some(v1::Bleed {
            kind: Some(v1::bleed::Kind::Fixed(v1::Orifice {
                area: Some(v1::Area {
                    value: Some(1.4),
                    unit: v1::area::Unit::SquareMillimeter.into(),
                }),
                ..v1::Orifice::default()
            })),
        }),
        leak: None,
    };
    v1::Damper {
        label: "invented damper".to_owned(),
        bore: millimeters(46.0),
        shaft_diameter: millimeters(14.0),
        compression: Some(circuit.clone()),
        rebound: Some(circuit),
        gas: Some(v1::DamperGas {
            charge_gauge_pressure: Some(v1::Pressure {
                value: Some(3.0),
                unit: v1::pressure::Unit::Megapascal.into(),
            }),
            volume: Some(v1::Volume {
                value: Some(120.0),
                unit: v1::volume::Unit::Milliliter.into(),
            }),
            exponent_factor: None,
        }),
        oil: Some(oil()),
        ..v1::Damper::default()
    }
}

/// Fills the drawer, builds a stack, and prints what a damper does with it and with the other one.
pub(super) async fn show(channel: Channel) -> Result<(), Fail> {
    let fail = |status: tonic::Status| status_fail(&status);
    let mut drawer = DrawerServiceClient::new(channel.clone());
    for one in LOTS {
        drawer.create_shim_lot(lot(one)?).await.map_err(fail)?;
    }
    for one in STACKS {
        drawer.create_stack(stack(one)?).await.map_err(fail)?;
    }
    let build = v1::BuildStackRequest {
        name: "stacks/demo-softer".to_owned(),
        request_id: request_id(),
        ..v1::BuildStackRequest::default()
    };
    let built = drawer.build_stack(build).await.map_err(fail)?.into_inner();
    for (id, stack) in [
        ("demo-found", "stacks/demo-found"),
        ("demo-softer", "stacks/demo-softer"),
    ] {
        let request = v1::CreateDamperRequest {
            damper: Some(damper(stack)),
            damper_id: id.to_owned(),
            request_id: request_id(),
        };
        drawer.create_damper(request).await.map_err(fail)?;
    }
    let list = v1::ListShimLotsRequest::default();
    let lots = drawer.list_shim_lots(list).await.map_err(fail)?.into_inner().shim_lots;
    let mut valving = ValvingServiceClient::new(channel);
    let evaluate = v1::EvaluateDamperRequest {
        source: Some(v1::evaluate_damper_request::Source::Damper(
            "dampers/demo-softer".to_owned(),
        )),
        max_shaft_velocity: Some(v1::Velocity {
            value: Some(1.0),
            unit: v1::velocity::Unit::MeterPerSecond.into(),
        }),
        point_count: Some(3),
        ..v1::EvaluateDamperRequest::default()
    };
    let evaluated = valving.evaluate_damper(evaluate).await.map_err(fail)?.into_inner();
    let side = |name: &str| {
        Some(v1::ComparedValving {
            source: Some(v1::compared_valving::Source::Damper(name.to_owned())),
        })
    };
    let compare = v1::CompareStacksRequest {
        first: side("dampers/demo-found"),
        second: side("dampers/demo-softer"),
        ..v1::CompareStacksRequest::default()
    };
    let compared = valving.compare_stacks(compare).await.map_err(fail)?.into_inner();
    let mut out = Out::stdout();
    out.line("\n== the drawer: one stack is built, its shims are out of their lots; invented, computed ==")?;
    for lot in &lots {
        out.line(format_args!(
            "{}: {} in the drawer, {} in stacks",
            lot.name,
            lot.count(),
            lot.built_count
        ))?;
    }
    let shims: i32 = built.taken.iter().map(|part| part.count).sum();
    out.line(format_args!("{} is built of {shims} shims", built.name))?;
    out.line("\n== dampers/demo-softer; invented, computed ==")?;
    out.text(&print::damper(&evaluated))?;
    out.text(&print::findings(&evaluated.findings))?;
    out.line("\n== dampers/demo-softer against dampers/demo-found; invented, computed ==")?;
    out.text(&print::comparison(&compared))?;
    out.text(&print::findings(&compared.findings))?;
    Ok(out.flush()?)
}
