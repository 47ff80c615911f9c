//! Laws of the forecast: what must hold for every machine, as properties; one machine worked by hand.
#![allow(clippy::unwrap_used, reason = "a test all through")]

use mechanics::chassis::{Balance, CenterOfGravity, Element, End, Path, Suspension, braking};
use mechanics::forecast::{
    Bump, Damping, Forecast, ForecastCircuit, ForecastEnd, ForecastRequest, Kind, Money, Price, Riding, Road, Sureness,
    forecast,
};
use mechanics::judgement::{Action, Circuit};
use mechanics::quantity::{
    Angle, AngleUnit, DampingRate, Force, Length, LengthUnit, Mass, Preload, Quantity, SpringRate, Stroke, Travel,
    UnitSystem, Velocity,
};
use mechanics::spring::Linkage;
use proptest::prelude::*;

fn mm(value: f64) -> Length {
    Length::new(value, LengthUnit::Millimeter)
}

fn spring(newtons_per_millimeter: f64, preload: f64) -> Element {
    Element::Straight {
        rate: SpringRate::from_si(newtons_per_millimeter * 1e3),
        preload: Preload::from_si(preload * 1e-3),
    }
}

fn circuit(circuit: Circuit, position: f64) -> ForecastCircuit {
    ForecastCircuit {
        circuit,
        position,
        range: 24.0,
        position_uncertainty: None,
        reach: vec![(Velocity::from_si(0.3), 2.0)],
        damping: Damping::Power {
            exponent: 0.67,
            standard_uncertainty: 0.05,
        },
        velocity: Some(Velocity::from_si(0.3)),
        port_limited_from: None,
        bump_rules: false,
    }
}

/// A fork of 120 mm along the leg at 24 degrees with 18 N/mm for both legs, and a rear of 130 mm.
fn machine() -> ForecastRequest {
    let fork = Path::fork(Angle::new(24.0, AngleUnit::Degree), Stroke::from_si(0.12)).unwrap();
    let rear = Path::of_linkage(&Linkage::ConstantRatio(0.5), Travel::from_si(0.13), None, 0.0).unwrap();
    let end = |path: Path, element: Element, used: f64, rebound: f64| ForecastEnd {
        suspension: Suspension::new(path, vec![element]).unwrap(),
        travel_used: Some(Travel::from_si(used)),
        travel_used_uncertainty: mm(2.0),
        rate_uncertainty: 0.03,
        bind: None,
        circuits: vec![circuit(Circuit::REBOUND, rebound), circuit(Circuit::COMPRESSION, 12.0)],
        can_be_revalved: true,
        tyre_rate: None,
        wheel_damping: None,
    };
    ForecastRequest {
        balance: Balance {
            gravity: CenterOfGravity {
                mass: Mass::from_si(265.0),
                ahead: mm(680.0),
                height: mm(640.0),
            },
            wheelbase: mm(1420.0),
            front_unsprung: Mass::from_si(16.0),
            rear_unsprung: Mass::from_si(18.0),
        },
        front: Some(end(fork, spring(18.0, 18.0), 0.098, 10.0)),
        rear: Some(end(rear, spring(95.0, 12.0), 0.09, 7.0)),
        riding: Riding {
            deceleration: 5.0,
            front_share: 1.0,
            lateral: 5.0,
            together: None,
            grip: 1.1,
        },
        road: Road {
            waviness: 2.0,
            bump: None,
        },
        sureness: Sureness {
            accelerations: 0.05,
            grip: 0.05,
            waviness: 0.1,
            height: mm(15.0),
            ahead: mm(10.0),
        },
        prices: Vec::new(),
        highest_pace: 2.0,
        paces: vec![1.0, 1.2],
        units: UnitSystem::Metric,
    }
}

fn pace(found: &Forecast, kind: Kind, end: End) -> f64 {
    let limit = found.limits.iter().find(|limit| limit.kind == kind && limit.end == end);
    limit.and_then(|limit| limit.pace).unwrap_or(f64::INFINITY)
}

#[test]
fn a_machine_worked_by_hand() {
    let request = machine();
    let found = forecast(&request).unwrap();
    let at = &found.points[1];
    // Braking grows with p^2: 5.0 x 1.44; the same load as the braking case of the chassis gives.
    assert!((at.deceleration - 7.2).abs() < 1e-12);
    let rake = Angle::new(24.0, AngleUnit::Degree);
    let case = braking(&request.balance, rake, 7.2, 1.0, None).unwrap();
    assert!((at.ends[0].load.si() - case.wheel_load.si()).abs() < 1e-9);
    // k_w = 18/cos^2(24 deg), pressed by 18 mm along the leg: z = (F cos - 324 N)/18 along the leg, times cos.
    let cos = rake.si().cos();
    let steady = ((case.wheel_load.si() * cos - 324.0) / 18.0 * cos).min(120.0 * cos);
    assert!((at.ends[0].steady.get(LengthUnit::Millimeter) - steady).abs() < 1e-6);
    // sqrt(1.2)^(1 - 0.67) more damping of a reach of 2, from 10 of 24.
    let rebound = at.ends[0].circuits[0];
    let damping = 1.2_f64.sqrt().powf(0.33) * at.ends[0].rate_factor.sqrt();
    assert!((rebound.damping_factor - damping).abs() < 1e-12);
    assert!((rebound.share_left - (10.0 / 24.0 - damping.log2())).abs() < 1e-12);
    // At the pace of a limit its margin is nothing.
    let all = pace(&found, Kind::TravelUsed, End::Front);
    let there = forecast(&ForecastRequest {
        paces: vec![all],
        ..machine()
    })
    .unwrap();
    assert!((there.points[0].ends[0].used_ratio.unwrap() - 1.0).abs() < 1e-4);
    assert_eq!(found, forecast(&request).unwrap(), "the same bits");
}

#[test]
fn the_rear_tops_out_where_braking_leaves_what_its_preload_carries() {
    let found = forecast(&machine()).unwrap();
    let topped = pace(&found, Kind::TopOut, End::Rear);
    // 95 N/mm x 12 mm x 0.5 at the wheel.
    let request = machine();
    let rake = Angle::new(24.0, AngleUnit::Degree);
    let case = braking(&request.balance, rake, 5.0 * topped * topped, 1.0, None).unwrap();
    assert!((case.rear_sprung_load.si() - 570.0).abs() < 0.5, "{topped}");
}

#[test]
fn every_remedy_is_paid_once_at_the_first_limit_that_asks_for_it() {
    let price = |label: &str, remedy, end, amount: i128| Price {
        label: label.to_owned(),
        remedy,
        end,
        amount: Money {
            nanos: amount * 1_000_000_000,
        },
    };
    let mut request = machine();
    request.prices = vec![
        price("valving, either end", Action::Revalve, None, 300),
        price("fork valving", Action::Revalve, Some(End::Front), 260),
        price("fork springs", Action::Respring, Some(End::Front), 150),
    ];
    let found = forecast(&request).unwrap();
    let mut total = 0;
    let mut pace = 0.0;
    for step in &found.steps {
        let same = found
            .steps
            .iter()
            .filter(|other| (other.remedy, other.end) == (step.remedy, step.end));
        assert_eq!(same.count(), 1);
        total += step.price.map_or(0, |price| price.nanos);
        assert_eq!(step.total.nanos, total);
        assert!(step.pace >= pace && step.pace >= 1.0);
        pace = step.pace;
        let wanted = match (step.remedy, step.end) {
            (Action::Revalve, End::Front) => Some(260),
            (Action::Revalve, End::Rear) => Some(300),
            (Action::Respring, End::Front) => Some(150),
            _ => None,
        };
        assert_eq!(step.price.map(|price| price.nanos / 1_000_000_000), wanted);
    }
    assert!(found.steps.len() >= 3, "{:?}", found.steps);
}

#[test]
fn a_unit_that_cannot_be_revalved_is_replaced_at_the_same_pace() {
    let mut request = machine();
    let remedies = |request: &ForecastRequest| {
        let limits = forecast(request).unwrap().limits.into_iter();
        let rear = limits.filter(|limit| limit.end == End::Rear);
        let found: Vec<_> = rear.map(|limit| (limit.kind, limit.pace, limit.remedy)).collect();
        found
    };
    let open = remedies(&request);
    request.rear.as_mut().unwrap().can_be_revalved = false;
    let sealed = remedies(&request);
    assert!(open.iter().any(|(_, _, remedy)| *remedy == Action::Revalve));
    for ((kind, pace, open), sealed) in open.into_iter().zip(sealed) {
        let instead = if open == Action::Revalve { Action::Replace } else { open };
        assert_eq!(sealed, (kind, pace, instead));
    }
}

#[test]
fn a_bump_through_the_quarter_bike_grows_less_than_the_pace() {
    let mut request = machine();
    request.road.bump = Some(Bump {
        height: mm(30.0),
        length: mm(500.0),
        speed: Velocity::from_si(8.0),
    });
    let rear = request.rear.as_mut().unwrap();
    rear.wheel_damping = Some(DampingRate::from_si(1_500.0));
    rear.circuits[1].bump_rules = true;
    request.paces = vec![1.0, 1.5, 2.0];
    let found = forecast(&request).unwrap();
    let factor = |index: usize| found.points[index].ends[1].circuits[1].velocity_factor;
    assert!((factor(0) - 1.0).abs() < 1e-12);
    // 1.24 from 8 to 16 m/s for the example of the design; other masses, the same kind of growth.
    assert!(
        factor(1) >= 1.0 && factor(2) >= factor(1) && factor(2) < 1.5,
        "{}",
        factor(2)
    );
}

#[test]
fn what_cannot_be_is_refused_by_its_name() {
    let mut request = machine();
    request.front.as_mut().unwrap().circuits[1].position = 25.0;
    let error = forecast(&request).unwrap_err().to_string();
    assert!(
        error.contains("front.circuits[1].position_from_closed is 25"),
        "{error}"
    );
    let mut request = machine();
    request.road.waviness = f64::NAN;
    assert!(forecast(&request).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn bands_hold_the_estimate_and_pace_never_lets_a_limit_recede(
        deceleration in 2.0_f64..9.0, lateral in 1.0_f64..9.0, used in 0.05_f64..0.10, position in 3.0_f64..24.0,
        waviness in 1.5_f64..3.0, exponent in 0.3_f64..1.0,
    ) {
        let mut request = machine();
        request.riding.deceleration = deceleration;
        request.riding.lateral = lateral;
        request.road.waviness = waviness;
        let front = request.front.as_mut().unwrap();
        front.travel_used = Some(Travel::from_si(used));
        front.circuits[0].position = position;
        front.circuits[0].damping = Damping::Power { exponent, standard_uncertainty: 0.05 };
        request.paces = (10..=20).map(|tenth| f64::from(tenth) / 10.0).collect();
        let found = forecast(&request).unwrap();
        for limit in &found.limits {
            let [low, pace, high] = [limit.low, limit.pace, limit.high].map(|pace| pace.unwrap_or(f64::INFINITY));
            prop_assert!(low <= pace && pace <= high, "{limit:?}");
        }
        for pair in found.points.windows(2) {
            for (slow, fast) in pair[0].ends.iter().zip(&pair[1].ends) {
                prop_assert!(fast.load.si() >= slow.load.si());
                prop_assert!(fast.used >= slow.used && fast.rate_factor >= slow.rate_factor);
                for (slow, fast) in slow.circuits.iter().zip(&fast.circuits) {
                    prop_assert!(fast.share_left <= slow.share_left);
                }
            }
        }
    }

    #[test]
    fn a_larger_margin_postpones_a_limit(position in 7.0_f64..12.0, used in 0.07_f64..0.09) {
        let with = |position: f64, used: f64| {
            let mut request = machine();
            let rear = request.rear.as_mut().unwrap();
            rear.circuits[0].position = position;
            rear.travel_used = Some(Travel::from_si(used));
            forecast(&request).unwrap()
        };
        // Twice the share above a quarter, twice the travel left.
        let (near, far) = (with(position, used), with(2.0 * position - 6.0, 2.0 * used - 0.13));
        for kind in [Kind::QuarterLeft, Kind::TravelUsed] {
            let (near, far) = (pace(&near, kind, End::Rear), pace(&far, kind, End::Rear));
            prop_assert!(far > near || near == f64::INFINITY, "{kind:?}: {near} {far}");
        }
    }

    #[test]
    fn any_curve_gives_an_answer(forces in prop::collection::vec(1.0_f64..500.0, 2..8), load in 0.0_f64..20.0) {
        let mut request = machine();
        let mut force = 0.0;
        let points = forces.iter().enumerate().map(|(index, step)| {
            force += step;
            (Velocity::from_si(0.05 * (index + 1) as f64), Force::from_si(force))
        });
        request.rear.as_mut().unwrap().circuits[0].damping = Damping::Curve(points.collect());
        request.riding.deceleration = load;
        let found = forecast(&request).unwrap();
        for point in &found.points {
            prop_assert!(point.ends[1].circuits[0].share_left.is_finite());
        }
    }
}
