//! Ends that are right in everything, to be put wrong, and what a judgement says of them.

use std::time::Duration;

use mechanics::judgement::{
    Action, Adjuster, Circuit, Direction, EndVisit, Judgement, Oil, Riding, RuleTable, Sag, Serviceability, Subject,
    Verdict, Visit, judge,
};
use mechanics::quantity::{LengthUnit, Quantity, SpringRate, StiffnessUnit};

pub(crate) fn mm<Q: Quantity<Unit = LengthUnit>>(value: f64) -> Option<Q> {
    Some(Q::new(value, LengthUnit::Millimeter))
}

pub(crate) fn rate(value: f64) -> SpringRate {
    SpringRate::new(value, StiffnessUnit::NewtonPerMillimeter)
}

pub(crate) fn months(count: f64) -> Oil {
    Oil {
        age: Some(Duration::from_secs_f64(count * 365.2425 * 86_400.0 / 12.0)),
        ..Oil::default()
    }
}

pub(crate) fn clicks(circuit: Circuit, position: f64, range: f64) -> Adjuster {
    Adjuster {
        circuit,
        position,
        range,
        model: None,
        factors_to_be_had: None,
    }
}

/// A rear that is right in everything.
pub(crate) fn right() -> EndVisit {
    EndVisit {
        travel: mm(125.0),
        sag: Sag {
            static_sag: mm(10.0),
            total: mm(35.0),
            spread: mm(3.0),
            ..Sag::default()
        },
        travel_used: mm(88.0),
        preload: mm(10.0),
        least_preload: mm(0.0),
        most_preload: mm(20.0),
        adjusters: vec![
            clicks(Circuit::COMPRESSION, 12.0, 24.0),
            clicks(Circuit::REBOUND, 12.0, 24.0),
        ],
        oil: months(6.0),
        harsh: Some(false),
        rates: vec![rate(95.0)],
        motion_ratio: Some(0.5),
        serviceability: Some(Serviceability::Valving),
        ..EndVisit::default()
    }
}

pub(crate) fn fork() -> EndVisit {
    EndVisit {
        sag: Sag {
            static_sag: mm(21.0),
            total: mm(35.0),
            spread: mm(6.0),
            ..Sag::default()
        },
        rates: vec![rate(9.0); 2],
        motion_ratio: None,
        oil: Oil {
            air_gap: mm(130.0),
            wanted_air_gap: mm(130.0),
            ..months(6.0)
        },
        ..right()
    }
}

pub(crate) fn sag(still: f64, total: f64) -> Sag {
    Sag {
        static_sag: mm(still),
        total: mm(total),
        spread: mm(3.0),
        ..Sag::default()
    }
}

pub(crate) fn of_rear(riding: Riding, rear: EndVisit) -> Judgement {
    let visit = Visit {
        riding: Some(riding),
        rear: Some(rear),
        ..Visit::default()
    };
    judge(&visit, &RuleTable::shipped())
}

pub(crate) fn of_front(front: EndVisit) -> Judgement {
    let visit = Visit {
        riding: Some(Riding::HardRoad),
        front: Some(front),
        ..Visit::default()
    };
    judge(&visit, &RuleTable::shipped())
}

pub(crate) fn about(judged: &Judgement, subject: Subject) -> Option<&Verdict> {
    judged.verdicts.iter().find(|one| one.subject == subject)
}

pub(crate) fn asks(judged: &Judgement, subject: Subject) -> bool {
    about(judged, subject).is_some()
}

pub(crate) fn says(judged: &Judgement, action: Action, way: Option<Direction>) -> bool {
    judged
        .verdicts
        .iter()
        .any(|one| one.action == action && one.direction == way)
}
