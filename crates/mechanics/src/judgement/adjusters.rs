//! What adjusters say of the valving.
//!
//! Share left `x = position/range`, from closed. Without a model `F(x) = F_open r^(1 - x)`, so that `F(x)/F(1/2) = r^(1/2 - x)`;
//! with one, its force rules: an adjuster whose `F(closed)/F(now)` is what the assumed law leaves at a quarter is at its limit.

use super::answer::{Action, AfterSpring, Amount, Confidence, Direction, Subject};
use super::caution;
use super::look::{Cause, Desk, Look};
use super::rows::RuleId;
use super::service::{OilState, ask_for_oil, oil_state};
use super::visit::{Adjuster, Circuit, Serviceability, StrokeDirection};
use crate::finding::Code;
use crate::quantity::{Mass, Preload, Quantity, WheelRate};
use crate::valving::ride::factor_for_spring;

/// Share of an adjuster's range that is left towards closed.
pub(super) fn share_left(one: &Adjuster) -> f64 {
    one.position / one.range
}

/// Damping factor that brings the force at a share left to the middle of the range: `r^(1/2 - x)`.
/// Common practice without a source; `r` is the force closed over the force open.
#[must_use]
pub fn factor_to_middle(share_left: f64, closed_to_open_force_ratio: f64) -> f64 {
    closed_to_open_force_ratio.powf(0.5 - share_left)
}

/// What another spring asks for beside itself. `rebound` is what the whole wheel rate asks for, where it is known; else the
/// spring is taken for all of it.
pub(super) fn after_spring(look: &Look<'_>, wanted_total: f64, rate: f64, rebound: Option<f64>) -> AfterSpring {
    // The rider and the machine stay what they are.
    let (rates, mass) = ((WheelRate::from_si(1.0), WheelRate::from_si(rate)), Mass::from_si(1.0));
    let rebound = rebound.unwrap_or_else(|| factor_for_spring(rates, (mass, mass)));
    let r = look.ratio(RuleId::ForceRatio);
    let position = look.rebound().and_then(|one| {
        // F(x2) = f F(x1): the share left falls by ln f/ln r.
        let share = share_left(one) - rebound.ln() / r.ln();
        let clicks = (share * one.range).round();
        (0.0..=one.range).contains(&clicks).then_some(clicks)
    });
    let preload = || {
        let now = look.seen.preload?.si();
        let (ratio, sag) = (look.motion_ratio()?, look.sag()?);
        let pressed = (now + ratio * sag.total) / rate;
        Some(Preload::from_si(pressed - ratio * wanted_total))
    };
    AfterSpring {
        rate_factor: rate,
        rebound_factor: rebound,
        rebound_position: position,
        preload: preload(),
    }
}

pub(super) fn judge(look: &Look<'_>, desk: &mut Desk) {
    if look.seen.adjusters.is_empty() {
        desk.miss(look, "adjusters", "how much of the damping's range is left");
        return;
    }
    if !look.adjusters_apply() {
        let text = format!(
            "{}: a damping rod has no stack; adjuster rules do not apply, and other damping means oil, rod holes or an \
             add-on valve",
            look.place()
        );
        desk.find(Code::NoStackToChange, text);
        return;
    }
    for one in &look.seen.adjusters {
        let share = share_left(one);
        if near_limit(look, one) {
            near(look, desk, one);
        } else if share >= look.ratio(RuleId::AdjusterNearlyOpen) {
            open(look, desk, one);
        }
    }
}

/// Whether a quarter or less is left: by force where a model says it.
fn near_limit(look: &Look<'_>, one: &Adjuster) -> bool {
    let limit = look.ratio(RuleId::AdjusterNearLimit);
    match one.model {
        Some(model) => model.closed_over_now <= look.ratio(RuleId::ForceRatio).powf(limit),
        None => share_left(one) <= limit,
    }
}

fn reading(look: &Look<'_>, one: &Adjuster) -> String {
    let mut text = format!(
        "{} {} at {} of {} from closed, share left {:.3}",
        look.place(),
        one.circuit.word(),
        one.position,
        one.range,
        share_left(one)
    );
    if let Some(model) = one.model {
        text = format!(
            "{text}; force left {:.2} times at the model's reference velocity",
            model.closed_over_now
        );
    }
    text
}

fn near(look: &Look<'_>, desk: &mut Desk, one: &Adjuster) {
    let set = desk.drafts.iter().any(|(verdict, _)| {
        verdict.end == look.end && verdict.subject == Subject::Adjuster && verdict.circuit == Some(one.circuit)
    });
    // Set to the middle because too little travel is used: it is closed, not weak. Nor where it holds up what it can.
    let does_what_it_can = one.circuit.stroke == StrokeDirection::Compression && desk.travel_is_short(look);
    if set || does_what_it_can {
        return;
    }
    let text = reading(look, one);
    // Valving that waits for a spring anyway has time for the oil's age to be found out.
    let way = (Direction::Stronger, one.circuit);
    if oil_state(look) == OilState::Unknown && !spring_makes(look, desk, way) {
        ask_for_oil(look, desk, &text);
    }
    revalve(
        look,
        desk,
        one,
        (Direction::Stronger, &[RuleId::AdjusterNearLimit]),
        &text,
    );
}

fn open(look: &Look<'_>, desk: &mut Desk, one: &Adjuster) {
    let text = reading(look, one);
    match look.seen.harsh {
        Some(true) => {
            revalve(
                look,
                desk,
                one,
                (Direction::Weaker, &[RuleId::AdjusterNearlyOpen]),
                &text,
            );
        }
        Some(false) => desk.find(Code::AdjusterOpen, format!("{text}, and it does not ride harshly")),
        None => desk.miss(
            look,
            "harsh",
            "whether valving is too strong where an adjuster is nearly open",
        ),
    }
}

/// Other valving, or another unit where there is none to change.
pub(super) fn revalve(
    look: &Look<'_>,
    desk: &mut Desk,
    one: &Adjuster,
    (way, rules): (Direction, &[RuleId]),
    reading: &str,
) {
    let (factor, least, most) = factors(look, desk, one);
    let unit = replaced(look, one, factor);
    let mut verdict = match unit {
        Some(_) => look.verdict(Action::Replace, Subject::Unit),
        None => look.verdict(Action::Revalve, Subject::Valving),
    };
    verdict.circuit = Some(one.circuit);
    verdict.direction = Some(way);
    verdict.amount = Some(Amount::DampingFactor { factor, least, most });
    verdict.evidence.push(look.evidence(rules, reading));
    if let Some(why) = unit {
        verdict.evidence.push(look.evidence(&[], why));
        verdict
            .overturned_by
            .push("a maker's statement that the unit can be opened and valved".to_owned());
    } else {
        verdict.cautions.push(caution::OPENED);
    }
    verdict.confidence = if one.model.is_some() {
        Confidence::High
    } else {
        Confidence::Medium
    };
    if one.model.is_none() {
        verdict
            .overturned_by
            .push("a force curve of this damper, which rules over the assumed one".to_owned());
    }
    if one.circuit.stroke == StrokeDirection::Compression && way == Direction::Stronger {
        verdict
            .check_first
            .push("whether it drifts there as the pace grows: then it is planned, not urgent".to_owned());
    }
    verdict.check_first.push("oil age and grade".to_owned());
    verdict.cautions.push(caution::UNTESTED);
    desk.push(verdict, &causes(look, desk, one.circuit, way));
}

/// Damping factor to the middle, with the limits of what was assumed for it.
fn factors(look: &Look<'_>, desk: &mut Desk, one: &Adjuster) -> (f64, f64, f64) {
    if let Some(model) = one.model {
        let factor = model.now_over_middle;
        return (factor, factor, factor);
    }
    let at = |id| factor_to_middle(share_left(one), look.ratio(id));
    let (low, high) = (at(RuleId::ForceRatioLow), at(RuleId::ForceRatioHigh));
    desk.assume(
        "adjusters",
        format!(
            "force falls evenly in ratio over an adjuster's range, {} closed to open ({} to {})",
            look.ratio(RuleId::ForceRatio),
            look.ratio(RuleId::ForceRatioLow),
            look.ratio(RuleId::ForceRatioHigh)
        ),
    );
    (at(RuleId::ForceRatio), low.min(high), low.max(high))
}

/// Why no valving does it, where that is known.
fn replaced(look: &Look<'_>, one: &Adjuster, factor: f64) -> Option<&'static str> {
    let barred = |one: Serviceability| one.bars_other_damping(look.seen.damper_type);
    if let Some(why) = look.seen.serviceability.and_then(barred) {
        return Some(why);
    }
    let (least, most) = one.factors_to_be_had?;
    (!(least..=most).contains(&factor)).then_some("no stack of the drawer and no port reaches the factor it needs")
}

/// What can make the same reading: oil, a worn part, and a spring that asks for more or less damping.
fn causes(look: &Look<'_>, desk: &Desk, circuit: Circuit, way: Direction) -> Vec<Cause> {
    let mut causes = vec![Cause::of(Subject::Oil), Cause::of(Subject::Wear)];
    // What binds rides harshly, and hides whether the spring makes the circuit look weak.
    if way == Direction::Weaker || look.binds() {
        causes.push(Cause::of(Subject::Friction));
    }
    if spring_makes(look, desk, (way, circuit)) {
        // Or another unit, where no such spring can be had for this one.
        causes.extend([Subject::Spring, Subject::Unit].map(Cause::of));
    }
    causes
}

/// Whether the spring that is asked for makes a circuit look weak or strong: a stiff one wants more rebound and holds itself
/// up, a soft one the other way round.
fn spring_makes(look: &Look<'_>, desk: &Desk, (way, circuit): (Direction, Circuit)) -> bool {
    let stronger = way == Direction::Stronger;
    match desk.spring_way(look) {
        Some(Direction::Softer) => (circuit.stroke == StrokeDirection::Rebound) == stronger,
        Some(_) => (circuit.stroke == StrokeDirection::Compression) == stronger,
        None => false,
    }
}
