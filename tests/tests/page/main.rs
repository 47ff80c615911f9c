//! The page's views in a real browser: rack, springs, runs, comparison, report, files; the machines of the book.

mod machines;

use std::error::Error;
use std::ffi::OsStr;
use std::time::Duration;

use acceptance::{Server, run_browser};
use tempfile::TempDir;
use tonic::Status;
use tonic::transport::Channel;
use uuid::Uuid;
use wire::v1;
use wire::v1::drawer_service_client::DrawerServiceClient;
use wire::v1::rack_service_client::RackServiceClient;
use wire::v1::record_run_request::Step;
use wire::v1::run_service_client::RunServiceClient;

/// Readings of a run, half of them on the way back.
const READINGS: usize = 4_000;
/// Readings of a block.
const BLOCK: usize = 1_000;

/// A spring of invented values, and what it is marked as.
fn spring(id: &str, pair: &str) -> v1::CreateSpringRequest {
    v1::CreateSpringRequest {
        spring: Some(v1::Spring {
            label: format!("invented spring, {id}"),
            marked_rate: Some(v1::Stiffness {
                value: Some(10.0),
                unit: 1,
            }),
            grade: Some(v1::ToleranceGrade {
                system: v1::tolerance_grade::System::StatedRatio as i32,
                rate_tolerance_ratio: Some(0.03),
                ..Default::default()
            }),
            pair_spring: pair.to_owned(),
            ..Default::default()
        }),
        spring_id: id.to_owned(),
        request_id: Uuid::new_v4().to_string(),
    }
}

/// One press and return of a spring with friction, after an approach of 5 mm; past 45 mm its rate rises by a step. The last
/// digit trembles by a fixed rule.
fn readings(rate: f64, step_of_rate: f64) -> Vec<(f64, f64)> {
    let half = READINGS / 2;
    (0..READINGS)
        .map(|index| {
            let step = if index < half { index } else { READINGS - 1 - index };
            let deflection = step as f64 * 100.0 / half as f64;
            let friction = if index < half { 2.0 } else { -2.0 };
            let tremble = f64::from((index as u32).wrapping_mul(2_654_435_761) >> 24) / 256.0 - 0.5;
            let pressed = deflection - 5.0;
            let elastic = rate * pressed + step_of_rate * (pressed - 45.0).max(0.0);
            let load = if pressed > 0.0 { elastic + friction } else { 0.0 };
            (deflection, load + tremble)
        })
        .collect()
}

fn header(id: &str, spring: &str) -> v1::RunHeader {
    let column = |quantity: v1::column::Quantity, unit| v1::Column {
        quantity: quantity as i32,
        unit: Some(unit),
    };
    v1::RunHeader {
        tester: "the test's".to_owned(),
        spring: spring.to_owned(),
        columns: vec![
            column(v1::column::Quantity::Deflection, v1::column::Unit::Length(1)),
            column(v1::column::Quantity::Load, v1::column::Unit::Force(1)),
        ],
        run_id: id.to_owned(),
        kind: Some(v1::run_header::Kind::RateTest(v1::RateTest {
            load_cell: Some(v1::LoadCell {
                class: v1::load_cell::Class::Class1 as i32,
                capacity: Some(v1::Force {
                    value: Some(2_000.0),
                    unit: 1,
                }),
            }),
            ..Default::default()
        })),
        request_id: Uuid::new_v4().to_string(),
        ..Default::default()
    }
}

/// Records a run; without a finish it is left interrupted.
async fn record(channel: Channel, id: &str, spring: &str, rates: (f64, f64), finishes: bool) -> Result<(), Status> {
    let readings = readings(rates.0, rates.1);
    let mut steps = vec![Step::Header(Box::new(header(id, spring)))];
    steps.extend(readings.chunks(BLOCK).enumerate().map(|(index, chunk)| {
        let start = index * BLOCK;
        let (deflections, loads) = chunk.iter().copied().unzip();
        Step::Block(v1::Block {
            number: index as i64 + 1,
            elapsed_ns: (start..start + chunk.len())
                .map(|sample| sample as i64 * 1_000_000)
                .collect(),
            columns: vec![
                v1::ValueColumn { values: deflections },
                v1::ValueColumn { values: loads },
            ],
            ..Default::default()
        })
    }));
    if finishes {
        steps.push(Step::Finish(v1::Finish {
            block_count: (READINGS / BLOCK) as i64,
            sample_count: READINGS as i64,
            crc32c: None,
        }));
    }
    let steps = steps.into_iter().map(|step| v1::RecordRunRequest { step: Some(step) });
    let mut runs = RunServiceClient::new(channel);
    let mut replies = runs.record_run(tokio_stream::iter(steps)).await?.into_inner();
    // Without a finish the stream ends with the word that the run is interrupted.
    while let Ok(Some(_)) = replies.message().await {}
    Ok(())
}

fn mm(value: f64) -> Option<v1::Length> {
    Some(v1::Length {
        value: Some(value),
        unit: v1::length::Unit::Millimeter as i32,
    })
}

/// Invented shims on one piston, as both strokes of a damper have them.
fn stack(face_shims: i32) -> v1::Stack {
    let layer = |diameter, count| v1::ShimLayer {
        outer_diameter: mm(diameter),
        thickness: mm(0.15),
        count,
        ..Default::default()
    };
    v1::Stack {
        label: format!("invented, {face_shims} of 30 mm"),
        layers: vec![layer(30.0, face_shims), layer(24.0, 1), layer(18.0, 1)],
        clamp: Some(v1::Clamp {
            diameter: mm(12.0),
            ..Default::default()
        }),
        faces: vec![v1::PortFace {
            port_inner_diameter: mm(18.0),
            port_outer_diameter: mm(26.0),
            ..Default::default()
        }],
        ..Default::default()
    }
}

/// An invented damper with that stack in both strokes.
fn damper() -> v1::Damper {
    let circuit = v1::DamperCircuit {
        valve: Some(v1::StackValve {
            source: Some(v1::stack_valve::Source::Stack("stacks/mid".to_owned())),
            ..Default::default()
        }),
        ..Default::default()
    };
    let viscosity = |value, temperature| {
        Some(v1::ViscosityPoint {
            viscosity: Some(v1::KinematicViscosity {
                value: Some(value),
                unit: v1::kinematic_viscosity::Unit::SquareMillimeterPerSecond as i32,
            }),
            temperature: Some(v1::Temperature {
                value: Some(temperature),
                unit: v1::temperature::Unit::DegreeCelsius as i32,
            }),
        })
    };
    v1::Damper {
        label: "<b>invented</b> leg".to_owned(),
        bore: mm(36.0),
        shaft_diameter: mm(12.0),
        compression: Some(circuit.clone()),
        rebound: Some(circuit),
        gas: Some(v1::DamperGas {
            charge_gauge_pressure: Some(v1::Pressure {
                value: Some(0.9),
                unit: v1::pressure::Unit::Megapascal as i32,
            }),
            volume: Some(v1::Volume {
                value: Some(60.0),
                unit: v1::volume::Unit::Milliliter as i32,
            }),
            exponent_factor: None,
        }),
        oil: Some(v1::Oil {
            first: viscosity(16.0, 40.0),
            second: viscosity(5.5, 100.0),
            density_at_15_degc: None,
        }),
        ..Default::default()
    }
}

async fn fill_drawer(channel: Channel) -> Result<(), Status> {
    let mut drawer = DrawerServiceClient::new(channel);
    drawer
        .create_stack(v1::CreateStackRequest {
            stack: Some(stack(3)),
            stack_id: "mid".to_owned(),
            request_id: Uuid::new_v4().to_string(),
        })
        .await?;
    drawer
        .create_damper(v1::CreateDamperRequest {
            damper: Some(damper()),
            damper_id: "leg".to_owned(),
            request_id: Uuid::new_v4().to_string(),
        })
        .await?;
    Ok(())
}

async fn fill(server: &Server) -> Result<(), Box<dyn Error>> {
    let channel = Channel::from_shared(format!("http://{}", server.address()))?;
    let channel = channel.connect().await?;
    let mut rack = RackServiceClient::new(channel.clone());
    for (id, pair) in [("left", "springs/right"), ("right", "springs/left"), ("dual", "")] {
        rack.create_spring(spring(id, pair)).await?;
    }
    let runs = [
        ("left-1", "springs/left", (9.9, 0.0), true),
        ("left-2", "springs/left", (9.5, 0.0), true),
        ("right-1", "springs/right", (10.1, 0.0), true),
        ("dual-1", "springs/dual", (8.0, 4.0), true),
        ("open-1", "springs/right", (10.1, 0.0), false),
    ];
    for (id, spring, rates, finishes) in runs {
        record(channel.clone(), id, spring, rates, finishes).await?;
    }
    fill_drawer(channel).await?;
    Ok(())
}

/// Runs a script of the browser against a server that was filled; what it found wrong fails the test.
fn in_browser(script: &str, server: &Server, folder: &TempDir) {
    let url = format!("http://{}", server.address());
    // Where somebody wants to look at the pictures, they are kept.
    let pictures = std::env::var_os("SPRINGWRIGHT_PICTURES");
    let pictures = pictures.as_deref().unwrap_or(folder.path().as_os_str());
    let printed = run_browser(script, &[OsStr::new(&url), pictures], Duration::from_secs(300));
    assert!(!server.output().contains("panicked"), "{}", server.output());
    match printed {
        Ok(printed) => println!("{printed}"),
        Err(said) => panic!("{said}\nthe server said:\n{}", server.output()),
    }
}

#[tokio::test]
async fn every_still_view_is_readable_reachable_and_safe_in_a_browser() {
    let folder = TempDir::new().unwrap();
    let server = Server::create(&folder.path().join("store")).unwrap();
    fill(&server).await.unwrap();
    in_browser("page.mjs", &server, &folder);
}

/// Stands in every text of one machine, its rider and its visit.
const HOSTILE: &str = "<script>window.hit=1</script>\"'><img src=x onerror=window.hit=1>";

#[tokio::test]
async fn a_machine_is_judged_while_its_readings_are_typed_and_its_visits_are_kept() {
    let folder = TempDir::new().unwrap();
    let server = Server::create(&folder.path().join("store")).unwrap();
    let channel = Channel::from_shared(format!("http://{}", server.address())).unwrap();
    machines::fill(channel.connect().await.unwrap(), HOSTILE).await.unwrap();
    in_browser("machine.mjs", &server, &folder);
}
