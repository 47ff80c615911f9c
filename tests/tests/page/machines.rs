//! An invented shop's book: a machine that was here six times while its rider got faster, one that was here very often, one
//! that says nothing of itself, one with hostile words, and enough others to fill more than one view of the list.

use std::error::Error;

use tonic::transport::Channel;
use uuid::Uuid;
use wire::quantity::Message as _;
use wire::v1;
use wire::v1::DampingCircuit::{Compression, Rebound};
use wire::v1::book_service_client::BookServiceClient;

/// A day, in seconds.
const DAY: i64 = 86_400;
/// The day of the first visit, a Monday of 2026.
const FIRST: i64 = 1_772_445_600;

fn mm(value: f64) -> Option<v1::Length> {
    Some(v1::Length::from_parts(value, v1::length::Unit::Millimeter as i32))
}

fn km(value: f64) -> Option<v1::Length> {
    Some(v1::Length::from_parts(value, v1::length::Unit::Kilometer as i32))
}

fn kg(value: f64) -> Option<v1::Mass> {
    Some(v1::Mass::from_parts(value, v1::mass::Unit::Kilogram as i32))
}

fn id() -> String {
    Uuid::new_v4().to_string()
}

fn adjuster(circuit: v1::DampingCircuit, clicks: f64) -> v1::AdjusterRange {
    v1::AdjusterRange {
        circuit: circuit as i32,
        unit: v1::AdjusterUnit::Clicks as i32,
        range_count: Some(clicks),
        ..Default::default()
    }
}

fn leg(rate: f64, preload: f64) -> v1::LegValues {
    v1::LegValues {
        spring_rate: Some(v1::Stiffness::from_parts(rate, 1)),
        preload: mm(preload),
        least_preload: mm(0.0),
        most_preload: mm(20.0),
        oil: Some(v1::OilFill {
            grade: "fork oil, invented".to_owned(),
            fill_time: Some(time(-30)),
            ..Default::default()
        }),
        ..Default::default()
    }
}

fn unit(label: &str, travel: f64, legs: Vec<v1::LegValues>) -> v1::UnitValues {
    v1::UnitValues {
        label: label.to_owned(),
        travel: mm(travel),
        legs,
        adjusters: vec![adjuster(Rebound, 24.0), adjuster(Compression, 20.0)],
        serviceability: v1::Serviceability::Valving as i32,
        ..Default::default()
    }
}

fn tern() -> v1::MachineValues {
    v1::MachineValues {
        label: "Tern, invented".to_owned(),
        wheelbase: mm(1420.0),
        gravity_ahead: mm(650.0),
        gravity_height: mm(600.0),
        rake: Some(v1::Angle::from_parts(24.0, v1::angle::Unit::Degree as i32)),
        mass: kg(185.0),
        front_unsprung_mass: kg(16.0),
        rear_unsprung_mass: kg(18.0),
        front: Some(v1::UnitValues {
            damper_type: v1::DamperType::Cartridge as i32,
            ..unit("fork, invented", 120.0, vec![leg(9.0, 18.0), leg(9.0, 18.0)])
        }),
        rear: Some(v1::UnitValues {
            damper_type: v1::DamperType::SingleTube as i32,
            linkage: Some(v1::unit_values::Linkage::MotionRatio(0.5)),
            ..unit("shock, invented", 130.0, vec![leg(95.0, 12.0)])
        }),
        ..Default::default()
    }
}

fn time(day: i64) -> prost_types::Timestamp {
    prost_types::Timestamp {
        seconds: FIRST + day * DAY,
        nanos: 0,
    }
}

fn settled(pressed: f64, lifted: f64) -> Option<v1::SettledLength> {
    Some(v1::SettledLength {
        pressed: mm(pressed),
        lifted: mm(lifted),
        unpaired: None,
    })
}

fn sag(extended: f64, alone: f64, rider: f64) -> Option<v1::SagReadings> {
    Some(v1::SagReadings {
        extended: settled(extended, extended),
        alone: settled(alone - 1.0, alone + 1.0),
        with_rider: settled(rider - 1.0, rider + 1.0),
        ..Default::default()
    })
}

fn positions(rebound: f64, compression: f64) -> Vec<v1::AdjusterSetting> {
    let at = |circuit: v1::DampingCircuit, position| v1::AdjusterSetting {
        circuit: circuit as i32,
        position_from_closed: Some(position),
        ..Default::default()
    };
    vec![at(Rebound, rebound), at(Compression, compression)]
}

/// A visit: rebound at the rear goes towards closed as the pace rises, the fork's stays about where it is.
fn visit(index: usize, words: &str) -> v1::VisitValues {
    const FORK: [f64; 6] = [12.0, 11.0, 13.0, 12.0, 11.0, 12.0];
    const REAR: [f64; 6] = [15.0, 13.0, 12.0, 10.0, 9.0, 6.0];
    let at = |positions: &[f64; 6]| positions.get(index).copied().unwrap_or(12.0);
    let end = |rebound: f64, preload: f64, sag: Option<v1::SagReadings>, used: f64| v1::EndState {
        preload: mm(preload),
        adjusters: positions(rebound, 10.0),
        sag,
        travel_used: mm(used),
        ..Default::default()
    };
    let state = |turn: f64| v1::SetupState {
        front: Some(end(at(&FORK), 18.0, sag(700.0, 680.0, 665.0), 95.0)),
        rear: Some(end(at(&REAR) - turn, 12.0, sag(600.0, 590.0, 565.0), 90.0)),
        machine_revision: None,
    };
    let first = i64::try_from(index).unwrap_or_default();
    v1::VisitValues {
        as_found: Some(state(0.0)),
        as_left: Some(state(1.0)),
        visit_time: Some(time(21 * first)),
        distance: km(4_000.0 + 1_500.0 * index as f64),
        riding: v1::Riding::HardRoad as i32,
        pace_note: words.to_owned(),
        pace_ratio: Some(1.0 + 0.04 * index as f64),
        ..Default::default()
    }
}

/// Fills the book; `hostile` stands wherever words may.
pub(super) async fn fill(channel: Channel, hostile: &str) -> Result<(), Box<dyn Error>> {
    let mut book = BookServiceClient::new(channel);
    let rider = v1::Rider {
        person_name: "Ada Example".to_owned(),
        mass_with_gear: kg(82.0),
        ..Default::default()
    };
    let rider = book
        .create_rider(v1::CreateRiderRequest {
            rider: Some(rider),
            request_id: id(),
        })
        .await?
        .into_inner();
    let hidden = v1::Rider {
        person_name: hostile.to_owned(),
        ..Default::default()
    };
    let hidden = book
        .create_rider(v1::CreateRiderRequest {
            rider: Some(hidden),
            request_id: id(),
        })
        .await?
        .into_inner();
    let mut spoilt = tern();
    spoilt.label = hostile.to_owned();
    for unit in spoilt.front.iter_mut().chain(spoilt.rear.iter_mut()) {
        unit.label = hostile.to_owned();
        unit.wear_notes = hostile.to_owned();
    }
    let bare = |label: String| v1::MachineValues {
        label,
        ..Default::default()
    };
    let mut machines = vec![
        ("tern".to_owned(), tern(), rider.name),
        ("spoilt".to_owned(), spoilt, hidden.name),
        ("often".to_owned(), tern(), String::new()),
        (
            "bare".to_owned(),
            bare("says nothing of itself".to_owned()),
            String::new(),
        ),
    ];
    machines.extend((0..26).map(|index| {
        (
            format!("other-{index}"),
            bare(format!("other {index}, invented")),
            String::new(),
        )
    }));
    for (machine_id, values, rider) in machines {
        let machine = v1::Machine {
            values: Some(values),
            rider,
            ..Default::default()
        };
        book.create_machine(v1::CreateMachineRequest {
            machine: Some(machine),
            machine_id,
            request_id: id(),
        })
        .await?;
    }
    let words = [
        "as bought",
        "a little faster",
        "faster",
        "faster again",
        "keeps up with the quick ones",
        "first of them",
    ];
    let visits = words
        .iter()
        .enumerate()
        .map(|(index, words)| ("tern", visit(index, words)));
    let mut told = visit(0, hostile);
    told.notes = hostile.to_owned();
    for end in told
        .as_found
        .iter_mut()
        .flat_map(|state| [&mut state.front, &mut state.rear])
        .flatten()
    {
        end.complaint = hostile.to_owned();
    }
    let often = (0..40).map(|index| {
        (
            "often",
            visit(index, "about as fast as the last time, on the same roads"),
        )
    });
    for (index, (machine, visit)) in visits.chain([("spoilt", told)]).chain(often).enumerate() {
        book.create_setup(v1::CreateSetupRequest {
            setup: Some(v1::Setup {
                machine: format!("machines/{machine}"),
                visit: Some(visit),
                ..Default::default()
            }),
            setup_id: format!("{machine}-{index}"),
            request_id: id(),
        })
        .await?;
    }
    let price = |label: &str, remedy: v1::Remedy, end: v1::MachineEnd, units: i64| v1::PriceRow {
        label: label.to_owned(),
        remedy: remedy as i32,
        end: end as i32,
        price: Some(v1::Money {
            units: Some(units),
            nanos: 0,
        }),
        ..Default::default()
    };
    let prices = v1::PriceList {
        currency_code: "XTS".to_owned(),
        rows: vec![
            price("fork springs", v1::Remedy::Respring, v1::MachineEnd::Front, 150),
            price("revalve, either end", v1::Remedy::Revalve, v1::MachineEnd::Either, 260),
        ],
        ..Default::default()
    };
    book.update_price_list(v1::UpdatePriceListRequest {
        price_list: Some(prices),
        request_id: id(),
        ..Default::default()
    })
    .await?;
    Ok(())
}
