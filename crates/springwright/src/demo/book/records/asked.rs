//! What is asked of the records, and what the shop's remedies cost.

use wire::v1;
use wire::v1::setup_side::Moment;

use super::super::bikes::{Bike, Visit};
use super::super::ride;
use super::visit::end as end_state;
use super::{Fitted, machine_end, mass, request_id, unit};

pub(in super::super) fn follow(bike: &Bike) -> v1::FollowMachineRequest {
    v1::FollowMachineRequest {
        source: Some(v1::follow_machine_request::Source::Machine(format!(
            "machines/{}",
            bike.id
        ))),
        ..v1::FollowMachineRequest::default()
    }
}

fn last(bike: &Bike) -> Option<&Visit> {
    bike.visits.last()
}

/// The last visit as found, with how hard it is braked.
pub(in super::super) fn judge(bike: &Bike) -> v1::JudgeSetupRequest {
    v1::JudgeSetupRequest {
        source: Some(v1::judge_setup_request::Source::Setup(v1::SagOfSetup {
            name: format!("setups/{}-{}", bike.id, bike.visits.len()),
            moment: Moment::AsFound.into(),
        })),
        deceleration_ratio: last(bike).map(|visit| ride::deceleration(bike, visit.pace)),
        ..v1::JudgeSetupRequest::default()
    }
}

/// The machine as it was bought, ridden at the pace of the last visit.
pub(in super::super) fn forecast(bike: &Bike) -> v1::ForecastLimitsRequest {
    let pace = last(bike).map_or(1.0, |visit| visit.pace);
    let end = |front: bool| {
        let visit = last(bike)?;
        let set = if front { &visit.front } else { &visit.rear };
        let bought = Fitted::as_bought(bike);
        let fitted = if front { &bought.front } else { &bought.rear };
        let found = end_state(bike, (front, false), fitted, (0, visit));
        let circuits = unit(bike, front).adjusters.iter().zip(set.found);
        Some(v1::ForecastEnd {
            travel_used: found.travel_used,
            circuits: circuits
                .map(|((circuit, _), at)| v1::ForecastCircuit {
                    circuit: (*circuit).into(),
                    position_from_closed: Some(*at),
                    ..v1::ForecastCircuit::default()
                })
                .collect(),
            ..v1::ForecastEnd::default()
        })
    };
    v1::ForecastLimitsRequest {
        source: Some(v1::forecast_limits_request::Source::Machine(format!(
            "machines/{}@1",
            bike.id
        ))),
        rider_mass_with_gear: mass(bike.rider_mass),
        riding: Some(v1::RidingNow {
            deceleration_ratio: Some(ride::deceleration(bike, pace)),
            lateral_ratio: Some(ride::lateral(bike, pace)),
            grip_factor: Some(1.1),
            ..v1::RidingNow::default()
        }),
        front: end(true),
        rear: end(false),
        shop_prices: true,
        drawn: true,
        ..v1::ForecastLimitsRequest::default()
    }
}

/// The shop's prices.
pub(in super::super) fn price_list() -> v1::UpdatePriceListRequest {
    let rows = [
        ("fork springs, fitted", v1::Remedy::Respring, true, 240),
        ("shock spring, fitted", v1::Remedy::Respring, false, 190),
        ("fork revalved", v1::Remedy::Revalve, true, 420),
        ("shock revalved", v1::Remedy::Revalve, false, 330),
        ("another shock", v1::Remedy::Replace, false, 690),
    ];
    let row = |(label, remedy, front, units): (&str, v1::Remedy, bool, i64)| v1::PriceRow {
        label: label.to_owned(),
        remedy: remedy.into(),
        end: machine_end(front),
        price: Some(v1::Money {
            units: Some(units),
            nanos: 0,
        }),
        notes: "Invented for the demo.".to_owned(),
        ..v1::PriceRow::default()
    };
    v1::UpdatePriceListRequest {
        price_list: Some(v1::PriceList {
            currency_code: "EUR".to_owned(),
            rows: rows.into_iter().map(row).collect(),
            ..v1::PriceList::default()
        }),
        request_id: request_id(),
        ..v1::UpdatePriceListRequest::default()
    }
}
