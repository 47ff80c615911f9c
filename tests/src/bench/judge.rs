//! A judgement with a rack of candidate springs, and the choice of a spring by itself.

use std::time::Instant;

use mechanics::chassis::{
    Candidate, CandidateSpring, Choice, Element, End, Path, SagTargets, SpringSource, TravelCase, choose,
};
use mechanics::judgement::{Adjuster, Circuit, EndVisit, Riding, RuleTable, Sag, SpringsAtHand, Visit, judge};
use mechanics::quantity::{
    Angle, AngleUnit, Deflection, Force, ForceUnit, Length, LengthUnit, Load, Preload, Quantity, SpringRate,
    StiffnessUnit, Stroke, Travel, UnitSystem,
};
use mechanics::spring::{ForceCurve, Linkage};

use crate::table::{Line, note};

/// Springs on the rack.
const RACK: u32 = 50;
const ROUNDS: usize = 201;
/// Points of a measured curve.
const POINTS: u32 = 40;

fn mm<Q: Quantity<Unit = LengthUnit>>(value: f64) -> Q {
    Q::new(value, LengthUnit::Millimeter)
}

fn rate(value: f64) -> SpringRate {
    SpringRate::new(value, StiffnessUnit::NewtonPerMillimeter)
}

fn newtons(value: f64) -> Force {
    Force::new(value, ForceUnit::Newton)
}

/// Springs in steps of a rate, `legs` of each; every second one a rising curve as the bench measures it.
fn candidates(step: f64, legs: usize) -> Vec<Candidate> {
    (0..RACK)
        .map(|index| {
            let value = step * (6.0 + f64::from(index));
            let rising = || {
                let point = |k: u32| {
                    let s = 2.0 * f64::from(k);
                    (mm::<Deflection>(s), Load::from_si(value * s * (1.0 + 1e-3 * s)))
                };
                ForceCurve::of_table(&(0..POINTS).map(point).collect::<Vec<_>>())
            };
            let spring = CandidateSpring {
                label: index.to_string(),
                rate: rate(value),
                standard_uncertainty: rate(0.01 * value),
                source: SpringSource::Measured,
                curve: (index % 2 == 1).then(rising).flatten(),
                deflection_to_solid: Some(mm(170.0)),
            };
            Candidate {
                springs: vec![spring; legs],
            }
        })
        .collect()
}

fn fork() -> Option<Path> {
    Path::fork(Angle::new(24.0, AngleUnit::Degree), mm::<Stroke>(125.0)).ok()
}

fn rear() -> Option<Path> {
    Path::of_linkage(&Linkage::ConstantRatio(0.5), mm::<Travel>(125.0), None, 0.0).ok()
}

/// Both ends too soft, everything read.
fn visit() -> Visit {
    let adjuster = |circuit| Adjuster {
        circuit,
        position: 4.0,
        range: 24.0,
        model: None,
        factors_to_be_had: None,
    };
    let end = |fitted: Vec<SpringRate>, step: f64, path: Option<Path>, load: f64| EndVisit {
        travel: Some(mm(125.0)),
        sag: Sag {
            static_sag: Some(mm(0.0)),
            total: Some(mm(38.0)),
            spread: Some(mm(4.0)),
            ..Sag::default()
        },
        travel_used: Some(mm(124.0)),
        preload: Some(mm(19.0)),
        least_preload: Some(mm(0.0)),
        most_preload: Some(mm(20.0)),
        adjusters: vec![adjuster(Circuit::COMPRESSION), adjuster(Circuit::REBOUND)],
        rack: (0..RACK).map(|k| rate(step * (6.0 + f64::from(k)))).collect(),
        motion_ratio: path.as_ref().map(|path| path.motion_ratio(mm(38.0))),
        at_hand: Some(SpringsAtHand {
            path,
            others: Vec::new(),
            fitted: Vec::new(),
            loads: Some((newtons(0.55 * load), newtons(load))),
            unsprung_mass: None,
            candidates: candidates(step, fitted.len()),
        }),
        rates: fitted,
        ..EndVisit::default()
    };
    Visit {
        riding: Some(Riding::Track),
        front: Some(end(vec![rate(9.0); 2], 0.5, fork(), 1_050.0)),
        rear: Some(end(vec![rate(60.0)], 5.0, rear(), 1_300.0)),
        ..Visit::default()
    }
}

/// A fork with a braking case.
fn choice(path: Path) -> Choice {
    Choice {
        end: End::Front,
        path,
        others: vec![Element::Rate(rate(1.6))],
        load_alone: newtons(740.0),
        load_with_rider: newtons(1_030.0),
        unsprung_mass: None,
        targets: SagTargets {
            total: mm(32.0),
            total_tolerance: mm::<Length>(4.5),
            static_sag: None,
        },
        preload_limits: Some((mm::<Preload>(0.0), mm::<Preload>(25.0))),
        travel_case: Some(TravelCase {
            load: newtons(2_600.0),
            share: 0.9,
        }),
        present: None,
        candidates: candidates(0.5, 2),
        units: UnitSystem::Metric,
    }
}

/// The median over rounds, s.
fn median(work: impl Fn()) -> f64 {
    let mut times: Vec<f64> = (0..ROUNDS)
        .map(|_| {
            let started = Instant::now();
            work();
            started.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times.get(ROUNDS / 2).copied().unwrap_or(0.0)
}

/// The rows.
pub(crate) fn rows() -> Result<Vec<Line>, String> {
    note("judge");
    let (visit, table) = (visit(), RuleTable::shipped());
    let judged = median(|| {
        std::hint::black_box(judge(std::hint::black_box(&visit), &table));
    });
    let choice = choice(fork().ok_or("the fork has no path")?);
    let found = choose(&choice).map_err(|error| error.to_string())?;
    let fit = found.ranked.iter().filter(|one| one.fits()).count();
    let chosen = median(|| {
        // What it finds was looked at above.
        let _ = std::hint::black_box(choose(std::hint::black_box(&choice)));
    });
    let line = |what: String, seconds: f64| {
        Line::new("judge", what)
            .measured(format!("{:.3} ms", 1e3 * seconds))
            .ratio("", "<= 5 ms")
    };
    Ok(vec![
        line(
            format!("a judgement of both ends, {RACK} candidate springs each"),
            judged,
        ),
        line(
            format!("springs of a fork ranked, {RACK} candidates, half of them curves, braking ({fit} fit)"),
            chosen,
        ),
    ])
}
