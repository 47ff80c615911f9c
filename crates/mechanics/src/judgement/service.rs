//! Friction, wear and oil.

use super::answer::{Action, Confidence, Subject, Verdict};
use super::caution;
use super::look::{Cause, Desk, EQUAL, Look};
use super::rows::RuleId;
use super::visit::{Riding, Serviceability, Wear};
use crate::finding::Code;
use crate::quantity::{KinematicViscosityUnit, Quantity};

/// What is known of the oil.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum OilState {
    /// Fresh, or at least nothing is against it.
    Right,
    /// Its age is not known.
    Unknown,
}

pub(super) fn judge(look: &Look<'_>, desk: &mut Desk) {
    friction(look, desk);
    wear(look, desk);
    oil(look, desk);
}

fn friction(look: &Look<'_>, desk: &mut Desk) {
    let Some(spread) = look.seen.sag.spread.map(Quantity::si) else {
        return;
    };
    let (note, bind) = look.spread_rules();
    let text = format!(
        "{}: lifted less pressed length {}",
        look.place(),
        look.words.length(spread)
    );
    if spread <= look.length(note) + EQUAL {
        return;
    }
    if spread <= look.length(bind) + EQUAL {
        desk.find(Code::SagSpread, format!("{text}, {}", look.said(note)));
        return;
    }
    let mut verdict = look.verdict(Action::Service, Subject::Friction);
    verdict.evidence.push(look.evidence(&[bind], &text));
    verdict.confidence = Confidence::High;
    verdict.check_first.push(
        if look.is_front() {
            "axle clamp, alignment of the legs, bushes, seals"
        } else {
            "bearings of linkage and swingarm, bushes of the shock, seals"
        }
        .to_owned(),
    );
    verdict.overturned_by.push(format!(
        "a second pair of readings with a spread of at most {}",
        look.words.length(look.length(note))
    ));
    desk.push(verdict, &[]);
}

fn wear(look: &Look<'_>, desk: &mut Desk) {
    for wear in &look.seen.wear {
        let (text, action, subject) = match wear {
            Wear::LeakingSeal | Wear::LoosePart => continue,
            Wear::WornBushes => ("bushes have play", Action::Service, Subject::Wear),
            Wear::LinkageBearings => ("bearings have play or bind", Action::Service, Subject::Wear),
            Wear::LostCharge => ("the gas charge is lost", Action::Service, Subject::Wear),
            Wear::DamagedShaft => ("a rod, shaft or tube is scored or bent", Action::Replace, Subject::Unit),
        };
        let action = match (action, look.is_sealed()) {
            (Action::Service, true) if *wear != Wear::LinkageBearings => Action::Replace,
            (action, _) => action,
        };
        let subject = if action == Action::Replace {
            Subject::Unit
        } else {
            subject
        };
        let mut verdict = look.verdict(action, subject);
        verdict.confidence = Confidence::High;
        verdict.evidence.push(look.evidence(&[], text));
        verdict
            .overturned_by
            .push("a second look that finds it sound".to_owned());
        if *wear == Wear::LostCharge {
            verdict.cautions.push(Code::GasPressure.caution());
        }
        desk.push(verdict, &[]);
    }
}

fn oil(look: &Look<'_>, desk: &mut Desk) {
    if level_unknown(look) {
        desk.miss(
            look,
            "oil.air_gap",
            "whether the oil level makes the fork's sag and travel",
        );
    }
    let oil = &look.seen.oil;
    let words = look.words;
    let mut said = Vec::new();
    let limit = if matches!(look.visit.riding, Some(Riding::Track | Riding::OffRoad)) {
        RuleId::OilAgeHard
    } else {
        RuleId::OilAgeRoad
    };
    if let Some(age) = oil.age {
        let months = age.as_secs_f64() / super::table::MONTH;
        if months > look.ratio(limit) {
            said.push(look.evidence(&[limit], &format!("oil {months:.0} months old")));
        }
    }
    if let (Some(now), Some(wanted)) = (oil.viscosity, oil.wanted_viscosity) {
        let deviation = now.si() / wanted.si() - 1.0;
        if deviation.abs() > look.ratio(RuleId::OilViscosity) {
            let unit = KinematicViscosityUnit::SquareMillimeterPerSecond;
            let text = format!(
                "oil of {:.1} mm2/s instead of {:.1}: {}",
                now.get(unit),
                wanted.get(unit),
                if deviation < 0.0 { "too thin" } else { "too thick" }
            );
            said.push(look.evidence(&[RuleId::OilViscosity], &text));
        }
    }
    if let (Some(gap), Some(wanted)) = (oil.air_gap, oil.wanted_air_gap) {
        let off = gap.si() - wanted.si();
        if level_is_off(look) {
            let text = format!(
                "air gap {} instead of {}: level too {}",
                words.length(gap.si()),
                words.length(wanted.si()),
                if off > 0.0 { "low" } else { "high" }
            );
            said.push(look.evidence(&[RuleId::OilLevel], &text));
        }
    }
    if said.is_empty() {
        return;
    }
    if look.is_sealed() {
        let text = format!("{}: the oil is due and the unit cannot be opened", look.place());
        desk.find(Code::OilOutOfReach, text);
        return;
    }
    let mut verdict = serviced(look);
    verdict.confidence = Confidence::High;
    verdict.evidence = said;
    verdict
        .overturned_by
        .push("a receipt for fresh oil of the right grade and level".to_owned());
    desk.push(verdict, &[]);
}

/// Whether a fork's oil level was measured and is not the one wanted.
pub(super) fn level_is_off(look: &Look<'_>) -> bool {
    let (Some(gap), Some(wanted)) = (look.seen.oil.air_gap, look.seen.oil.wanted_air_gap) else {
        return false;
    };
    look.is_front() && (gap.si() - wanted.si()).abs() > look.length(RuleId::OilLevel) + EQUAL
}

fn serviced(look: &Look<'_>) -> Verdict {
    let mut verdict = look.verdict(Action::Service, Subject::Oil);
    verdict
        .check_first
        .push("after it: rebound, then compression, set again from the middle".to_owned());
    verdict.cautions.push(caution::OPENED);
    verdict
}

/// Whether the oil can be what makes a reading: drafted already, not known, or right.
pub(super) fn oil_state(look: &Look<'_>) -> OilState {
    if look.seen.oil.age.is_none() || look.seen.serviceability == Some(Serviceability::Sealed) {
        OilState::Unknown
    } else {
        OilState::Right
    }
}

/// Whether an oil level can be what makes a reading of a fork and is not known.
pub(super) fn level_unknown(look: &Look<'_>) -> bool {
    look.is_front() && (look.seen.oil.air_gap.is_none() || look.seen.oil.wanted_air_gap.is_none())
}

/// The oil is asked for because it is not known and can make a reading.
pub(super) fn ask_for_oil(look: &Look<'_>, desk: &mut Desk, reading: &str) {
    if look.is_sealed() || desk.has(look, Subject::Oil) {
        return;
    }
    let age = oil_state(look) == OilState::Unknown;
    if age {
        desk.miss(look, "oil.age", "whether the oil makes what valving is blamed for");
    }
    let mut verdict = serviced(look);
    verdict.confidence = Confidence::Low;
    let what = match (age, level_unknown(look)) {
        (true, true) => "the oil's age and level are not known, and either can make this reading",
        (true, false) => "the oil's age is not known, and it can make this reading",
        (false, _) => "the oil's level is not known, and it can make this reading",
    };
    verdict.evidence.push(look.evidence(&[], &format!("{reading}: {what}")));
    verdict
        .overturned_by
        .push("a receipt for fresh oil of the right grade and level".to_owned());
    desk.push(verdict, &[Cause::of(Subject::Wear)]);
}
