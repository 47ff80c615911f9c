//! A judgement with a rack of candidate springs.

use std::time::Instant;

use mechanics::judgement::{Adjuster, Circuit, EndVisit, Riding, RuleTable, Sag, Visit, judge};
use mechanics::quantity::{LengthUnit, Quantity, SpringRate, StiffnessUnit};

use crate::table::Line;

/// Springs on the rack.
const RACK: u32 = 50;
const ROUNDS: usize = 201;

fn mm<Q: Quantity<Unit = LengthUnit>>(value: f64) -> Option<Q> {
    Some(Q::new(value, LengthUnit::Millimeter))
}

fn rate(value: f64) -> SpringRate {
    SpringRate::new(value, StiffnessUnit::NewtonPerMillimeter)
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
    let end = |fitted: Vec<SpringRate>, step: f64, motion_ratio| EndVisit {
        travel: mm(125.0),
        sag: Sag {
            static_sag: mm(0.0),
            total: mm(38.0),
            spread: mm(4.0),
            ..Sag::default()
        },
        travel_used: mm(124.0),
        preload: mm(19.0),
        least_preload: mm(0.0),
        most_preload: mm(20.0),
        adjusters: vec![adjuster(Circuit::COMPRESSION), adjuster(Circuit::REBOUND)],
        rack: (0..RACK).map(|k| rate(step * (6.0 + f64::from(k)))).collect(),
        rates: fitted,
        motion_ratio,
        ..EndVisit::default()
    };
    Visit {
        riding: Some(Riding::Track),
        front: Some(end(vec![rate(9.0); 2], 0.5, None)),
        rear: Some(end(vec![rate(60.0)], 5.0, Some(0.5))),
        ..Visit::default()
    }
}

/// The row: the median over rounds.
pub(crate) fn rows() -> Vec<Line> {
    let (visit, table) = (visit(), RuleTable::shipped());
    let mut times: Vec<f64> = (0..ROUNDS)
        .map(|_| {
            let started = Instant::now();
            std::hint::black_box(judge(std::hint::black_box(&visit), &table));
            started.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    let median = times.get(ROUNDS / 2).copied().unwrap_or(0.0);
    vec![
        Line::new(
            "judge",
            format!("a judgement of both ends, {RACK} candidate springs each"),
        )
        .measured(format!("{:.3} ms", 1e3 * median))
        .ratio("", "<= 5 ms"),
    ]
}
