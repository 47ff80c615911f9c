//! What a shop reads off a machine: a tape read to the millimetre by hand, o-rings, clicks counted, what is on the card.

use std::time::Duration;

use mechanics::chassis::{Candidate, CandidateSpring, Element, Path, SpringSource};
use mechanics::judgement::{
    Adjuster, Circuit, DamperType, End as Side, EndVisit, Judgement, Oil, Riding, Sag, Serviceability, SpringsAtHand,
    Visit, Wear, Whole,
};
use mechanics::quantity::{
    Angle, Force, ForceUnit, Length, LengthUnit, Mass, MassUnit, Preload, Quantity, SpringRate, StiffnessUnit, Stroke,
    Travel,
};
use mechanics::spring::Linkage;
use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::truth::{End, Machine, Riding as Ridden};

const MONTH: f64 = 365.2425 * 86_400.0 / 12.0;

fn mm<Q: Quantity<Unit = LengthUnit>>(value: f64) -> Q {
    Q::new(value, LengthUnit::Millimeter)
}

fn kg(value: f64) -> Mass {
    Mass::new(value, MassUnit::Kilogram)
}

fn per_mm(value: f64) -> SpringRate {
    SpringRate::new(value, StiffnessUnit::NewtonPerMillimeter)
}

/// A visit as the shop writes it down.
pub(super) fn visit(rng: &mut ChaCha8Rng, machine: &Machine) -> Visit {
    let frame = &machine.frame;
    let known = |value: f64| machine.frame_known.then_some(value);
    let whole = Whole {
        wheelbase: known(frame.wheelbase).map(mm),
        gravity_ahead: known(frame.ahead * rng.random_range(0.98..1.02)).map(mm),
        gravity_height: known(frame.height * rng.random_range(0.96..1.04)).map(mm),
        mass: known(frame.mass * rng.random_range(0.99..1.01)).map(kg),
        front_unsprung_mass: known(frame.front_unsprung * rng.random_range(0.9..1.1)).map(kg),
        rake: known(frame.rake).map(Angle::from_si),
        deceleration_ratio: known(frame.deceleration * rng.random_range(0.93..1.07)),
    };
    Visit {
        riding: Some(match machine.riding {
            Ridden::Gentle => Riding::GentleRoad,
            Ridden::Hard => Riding::HardRoad,
            Ridden::Track => Riding::Track,
        }),
        front: Some(end(rng, &machine.front, machine)),
        rear: Some(end(rng, &machine.rear, machine)),
        whole,
        units: None,
    }
}

/// Readings the judge names as what would settle it, as far as a shop takes them: the oil level dipped, the machine weighed and
/// measured. They stand in the next reading with their own error; what they are called.
pub(super) fn asked_for(machine: &mut Machine, judged: &Judgement) -> Vec<&'static str> {
    let mut taken = Vec::new();
    for missing in &judged.missing {
        match (missing.end, missing.what) {
            (Some(Side::Front), "oil.air_gap") if !machine.level_known => {
                machine.level_known = true;
                taken.push("oil level of the fork");
            }
            (_, "whole") if !machine.frame_known => {
                machine.frame_known = true;
                taken.push("masses and dimensions");
            }
            _ => {}
        }
    }
    taken
}

/// A length by tape: handling to a millimetre either way at a corner of the distribution, then rounded.
fn tape(rng: &mut ChaCha8Rng, length: f64) -> f64 {
    (length + rng.random_range(-1.0..1.0)).round()
}

fn end(rng: &mut ChaCha8Rng, end: &End, machine: &Machine) -> EndVisit {
    let extended = f64::midpoint(tape(rng, 600.0), tape(rng, 600.0));
    let mut state = |with_rider: bool| {
        let (pressed, lifted) = end.settled(with_rider);
        (tape(rng, 600.0 - pressed), tape(rng, 600.0 - lifted))
    };
    let (alone, aboard) = (state(false), state(true));
    let mean = |(a, b): (f64, f64)| f64::midpoint(a, b);
    let spread = (alone.1 - alone.0).max(aboard.1 - aboard.0).max(0.0);
    let carried = end.rider / 9.806_65 / if end.is_front { machine.frame.rake.cos() } else { 1.0 };
    let adjuster = |is_rebound: bool| Adjuster {
        circuit: if is_rebound {
            Circuit::REBOUND
        } else {
            Circuit::COMPRESSION
        },
        position: end.position(is_rebound),
        range: end.circuit(is_rebound).range,
        model: None,
        factors_to_be_had: None,
    };
    let rungs = |k: i32| per_mm(((end.right_rate / end.step).round() + f64::from(k)) * end.step);
    let at_hand = at_hand(rng, end, machine, (-8..=8).map(rungs));
    EndVisit {
        travel: Some(mm::<Travel>(end.travel)),
        sag: Sag {
            static_sag: Some(mm::<Length>((extended - mean(alone)).max(0.0))),
            total: Some(mm(extended - mean(aboard))),
            static_uncertainty: None,
            share_uncertainty: None,
            spread: Some(mm(spread)),
        },
        travel_used: Some(mm((end.travel_used() + rng.random_range(-1.5..1.5)).min(end.travel))),
        travel_riding: None,
        preload: Some(mm::<Preload>(end.preload)),
        least_preload: Some(mm(0.0)),
        most_preload: Some(mm(end.most_preload)),
        adjusters: vec![adjuster(false), adjuster(true)],
        harsh: Some(end.is_harsh()),
        oil: Oil {
            age: Some(Duration::from_secs_f64(end.oil_months * MONTH)),
            air_gap: (end.is_front && machine.level_known).then(|| mm((end.gap + rng.random_range(-1.5..1.5)).round())),
            wanted_air_gap: end.is_front.then(|| mm(end.right_gap)),
            ..Oil::default()
        },
        damper_type: Some(if end.is_front {
            DamperType::Cartridge
        } else {
            DamperType::SingleTube
        }),
        serviceability: Some(if end.is_sealed {
            Serviceability::Sealed
        } else {
            Serviceability::Valving
        }),
        wear: if end.is_worn {
            vec![Wear::WornBushes]
        } else {
            Vec::new()
        },
        rates: vec![per_mm(end.rate); if end.is_front { 2 } else { 1 }],
        motion_ratio: (!end.is_front).then_some(end.motion),
        rider_mass: Some(kg(carried * rng.random_range(0.96..1.04))),
        rack: (-8..=8).map(rungs).collect(),
        at_hand,
        ..EndVisit::default()
    }
}

/// The rack's springs, and what they carry: by two weighings to a kilogram where masses are known, else left to the judge.
fn at_hand(
    rng: &mut ChaCha8Rng,
    end: &End,
    machine: &Machine,
    rates: impl Iterator<Item = SpringRate>,
) -> Option<SpringsAtHand> {
    let travel = end.travel;
    let path = if end.is_front {
        Path::fork(Angle::from_si(machine.frame.rake), mm::<Stroke>(travel))
    } else {
        Path::of_linkage(&Linkage::ConstantRatio(end.motion), mm::<Travel>(travel), None, 0.0)
    };
    let legs = end.springs as usize;
    let candidate = |rate: SpringRate| Candidate {
        springs: vec![
            CandidateSpring {
                label: format!("{} N/mm", 1e-3 * rate.si()),
                rate,
                standard_uncertainty: SpringRate::from_si(0.005 * rate.si()),
                source: SpringSource::Measured,
                curve: None,
                deflection_to_solid: None,
            };
            legs
        ],
    };
    let fitted = Element::Straight {
        rate: per_mm(end.rate),
        preload: mm::<Preload>(end.preload),
    };
    let cos = if end.is_front { machine.frame.rake.cos() } else { 1.0 };
    let mut weighed = |axial: f64| Force::new(axial / cos + rng.random_range(-9.8..9.8), ForceUnit::Newton);
    let loads = (weighed(end.alone), weighed(end.alone + end.rider));
    Some(SpringsAtHand {
        path: path.ok(),
        // What is taken of air where nobody knows its level.
        others: if end.is_front {
            vec![Element::Rate(per_mm(2.0 * 0.8))]
        } else {
            Vec::new()
        },
        fitted: vec![fitted; legs],
        loads: machine.frame_known.then_some(loads),
        unsprung_mass: None,
        candidates: rates.filter(|rate| rate.si() > 0.0).map(candidate).collect(),
    })
}
