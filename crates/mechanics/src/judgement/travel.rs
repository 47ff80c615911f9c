//! What travel used says: in hard use only, and of a fork only after oil, preload and braking.

use super::adjusters::{revalve, share_left};
use super::answer::{Action, Amount, Confidence, Direction, Subject, Verdict};
use super::braking::{Braked, braked};
use super::caution;
use super::look::{Cause, Desk, EQUAL, Look};
use super::rows::RuleId;
use super::sag_rules::by_riders_share;
use super::service::{OilState, ask_for_oil, level_unknown, oil_state};
use super::spring_amount::{self, Needed};
use super::visit::Adjuster;
use crate::finding::Code;

pub(super) fn judge(look: &Look<'_>, desk: &mut Desk) {
    if look.seen.travel_used.is_none() || look.seen.travel.is_none() {
        desk.miss(
            look,
            "travel_used",
            "whether the spring and compression hold it up in hard use",
        );
        return;
    }
    let Some(used) = look.travel_share() else {
        if look.travel_riding().is_none() {
            desk.miss(
                look,
                "riding",
                "whether travel used says anything: it counts in hard use only",
            );
        }
        return;
    };
    if used >= look.ratio(RuleId::TravelAll) {
        all(look, desk, used);
    } else if used <= look.ratio(RuleId::TravelLittle) {
        little(look, desk, used);
    }
}

fn text(look: &Look<'_>, used: f64) -> String {
    let mut text = format!("travel used {:.0} % in hard use", 100.0 * used);
    if let Some(preload) = look.preload_share() {
        text = format!("{text}, preload at {:.0} % of its range", 100.0 * preload);
    }
    if let Some(compression) = look.compression() {
        text = format!("{text}, compression share left {:.2}", share_left(compression));
    }
    text
}

/// All travel used.
fn all(look: &Look<'_>, desk: &mut Desk, used: f64) {
    let reading = text(look, used);
    if desk.spring_way(look) == Some(Direction::Stiffer) {
        add_to_spring(look, desk, &[RuleId::TravelAll], &reading);
        return;
    }
    let closed = look
        .compression()
        .is_some_and(|one| share_left(one) <= look.ratio(RuleId::CompressionNearlyClosed));
    let full = look
        .preload_share()
        .is_some_and(|share| share >= look.ratio(RuleId::PreloadFull));
    let braked = braked(look);
    if ((full && closed) || braked.is_some()) && stiffer(look, desk, (full && closed, braked.as_ref()), &reading) {
        return;
    }
    if look.is_front() && braked.is_none() {
        desk.miss(look, "whole", "whether braking asks for a stiffer fork spring");
    }
    // Thin oil or a low level uses travel as a soft spring does.
    if desk.has(look, Subject::Oil) {
        return;
    }
    if oil_state(look) == OilState::Unknown || level_unknown(look) {
        ask_for_oil(look, desk, &reading);
        if desk.has(look, Subject::Oil) {
            return;
        }
    }
    match look.compression() {
        None => desk.miss(look, "adjusters", "whether compression can hold it up"),
        Some(one) if too_short(look, one, braked.as_ref()) => short(look, desk, &reading),
        Some(one) if share_left(one) > look.ratio(RuleId::AdjusterNearLimit) => {
            let middle = look.ratio(RuleId::AdjusterMiddle);
            let wanted = if share_left(one) > middle {
                middle
            } else {
                f64::midpoint(share_left(one), look.ratio(RuleId::AdjusterNearLimit))
            };
            set_compression(look, desk, one, wanted, (&[RuleId::TravelAll], &reading));
        }
        // Near its limit: the adjuster's own rule speaks.
        Some(_) => {}
    }
}

/// Whether spring and damping do what they can, and the travel is all used all the same: the sag is right, compression stands at
/// the middle or closer, and rides harshly there.
fn too_short(look: &Look<'_>, compression: &Adjuster, braked: Option<&Braked>) -> bool {
    let total_is_right = look
        .target()
        .zip(look.sag())
        .is_some_and(|(target, sag)| (target.low - EQUAL..=target.high + EQUAL).contains(&sag.total));
    let spring_is_right = match braked.zip(look.rate()) {
        // A fork's sag does not judge its spring; hardest braking does.
        Some((braked, now)) => braked.rate <= now,
        None => look.share_says() == Some(0),
    };
    look.seen.harsh == Some(true)
        && total_is_right
        && spring_is_right
        && share_left(compression) <= look.ratio(RuleId::TravelShort)
}

fn short(look: &Look<'_>, desk: &mut Desk, reading: &str) {
    let mut verdict = look.verdict(Action::Replace, Subject::Unit);
    let rules = [RuleId::TravelAll, RuleId::TravelShort];
    let text = format!("{reading}, and it rides harshly; spring and oil are right");
    verdict.evidence.push(look.evidence(&rules, &text));
    verdict.check_first.extend([
        "where the travel went: a landing or a single hole is no ground".to_owned(),
        "the bump stop, and the travel itself".to_owned(),
    ]);
    verdict
        .overturned_by
        .push("a harsh ride that comes from elsewhere: high-speed compression, tyre pressure, friction".to_owned());
    verdict.cautions.push(caution::UNTESTED);
    desk.push(verdict, &[Cause::of(Subject::Friction), Cause::of(Subject::Wear)]);
}

/// A stiffer spring, by thumb or by braking; whether it was asked for.
fn stiffer(look: &Look<'_>, desk: &mut Desk, (by_thumb, braked): (bool, Option<&Braked>), reading: &str) -> bool {
    if look.is_air() {
        tell_air(desk, reading);
        return false;
    }
    let needed = match (braked, look.rate()) {
        (Some(braked), Some(now)) => Some(Needed {
            factor: braked.rate / now,
            at_least: true,
        }),
        _ => rear_share(look),
    };
    if braked.is_some_and(|braked| look.rate().is_some_and(|now| braked.rate <= now)) && !by_thumb {
        return false;
    }
    let Some(asked) = spring_amount::amount(look, desk, Direction::Stiffer, needed) else {
        if by_thumb {
            let text = format!("{reading}: thumb asks for a stiffer spring, physics for less than half a step of one");
            desk.find(Code::ThumbAgainstPhysics, text);
        }
        return false;
    };
    let mut verdict = spring_amount::verdict(look, Direction::Stiffer, &asked);
    let rules: &[RuleId] = if by_thumb {
        &[RuleId::TravelAll, RuleId::PreloadFull, RuleId::CompressionNearlyClosed]
    } else {
        &[RuleId::TravelAll]
    };
    verdict.evidence.push(look.evidence(rules, reading));
    if let (Some(braked), Some(now)) = (braked, look.rate()) {
        say_braking(look, &mut verdict, braked, now);
        verdict
            .overturned_by
            .push("a deceleration well below what was taken".to_owned());
    }
    verdict.confidence = match (by_thumb, braked.is_some()) {
        (true, true) => Confidence::High,
        _ => Confidence::Medium,
    };
    if look.is_front() {
        verdict
            .check_first
            .push("oil age and level, built-in preload, brakes and braking".to_owned());
        verdict
            .overturned_by
            .push("an oil level, once right, that brings the travel back".to_owned());
    }
    if asked.is_range {
        verdict
            .check_first
            .push("measure again before buying: masses, deceleration, preload".to_owned());
    }
    desk.push(verdict, &[Cause::of(Subject::Oil), Cause::of(Subject::Wear)]);
    true
}

fn rear_share(look: &Look<'_>) -> Option<Needed> {
    let factor = by_riders_share(look, &look.target()?, look.sag()?);
    (!look.is_front()).then_some(Needed {
        factor,
        at_least: false,
    })
}

fn say_braking(look: &Look<'_>, verdict: &mut Verdict, braked: &Braked, now: f64) {
    let words = look.words;
    let which = if braked.rate > now {
        "braking rules, not sag"
    } else {
        "braking is met as it is"
    };
    let text = format!(
        "hardest braking presses the legs with {} to {}; within the travel it asks for {} each, fitted {}: {which}",
        words.force(braked.force),
        words.length(braked.stroke),
        words.rate(braked.rate),
        words.rate(now)
    );
    let mut evidence = look.evidence(&[RuleId::BrakingTravel], &text);
    evidence.computation = "braking load over preload and travel, the front wheel doing all of it, air left out";
    verdict.evidence.push(evidence);
}

/// Little travel used.
fn little(look: &Look<'_>, desk: &mut Desk, used: f64) {
    let reading = text(look, used);
    if desk.spring_way(look) == Some(Direction::Softer) {
        add_to_spring(look, desk, &[RuleId::TravelLittle], &reading);
        return;
    }
    let loose = look
        .preload_share()
        .is_some_and(|share| share <= look.ratio(RuleId::PreloadNone));
    let says = look.share_says();
    let limit = look.ratio(RuleId::AdjusterNearLimit);
    let compression = look.compression();
    if let Some(one) = compression.filter(|one| share_left(one) <= limit) {
        let middle = look.ratio(RuleId::AdjusterMiddle);
        let rules = [RuleId::TravelLittle, RuleId::AdjusterNearLimit];
        set_compression(look, desk, one, middle, (&rules, &reading));
        if loose || says == Some(1) {
            softer(look, desk, &reading);
        }
        return;
    }
    // Friction, and a high level of the oil, hold an end up as a stiff spring does.
    let unknown = level_unknown(look);
    if unknown && !desk.has(look, Subject::Oil) {
        ask_for_oil(look, desk, &reading);
    }
    if says == Some(1) || (loose && says != Some(0)) {
        softer(look, desk, &reading);
        return;
    }
    if [Subject::Friction, Subject::Oil]
        .iter()
        .any(|cause| desk.has(look, *cause))
    {
        return;
    }
    let open = look.ratio(RuleId::AdjusterNearlyOpen);
    match compression {
        None => desk.miss(look, "adjusters", "whether compression holds it up"),
        Some(one) if share_left(one) >= open => {
            let rules = [RuleId::TravelLittle, RuleId::AdjusterNearlyOpen];
            revalve(look, desk, one, (Direction::Weaker, &rules), &reading);
        }
        Some(one) => {
            let wanted = look
                .ratio(RuleId::AdjusterMiddle)
                .max(f64::midpoint(share_left(one), open));
            set_compression(look, desk, one, wanted, (&[RuleId::TravelLittle], &reading));
        }
    }
}

/// Air has no spring to change: pressure and volume make its rate.
fn tell_air(desk: &mut Desk, reading: &str) {
    let text = format!(
        "{reading}: the spring is air; pressure moves it as preload does, and less or more air volume, set by the oil, makes \
         its last part stiffer or softer"
    );
    desk.find(Code::AirSpring, text);
}

/// A softer spring: it waits for what can hold the end up without one.
fn softer(look: &Look<'_>, desk: &mut Desk, reading: &str) {
    if look.is_air() {
        tell_air(desk, reading);
        return;
    }
    let agrees = look.share_says() == Some(0);
    let mut factor = look
        .target()
        .zip(look.sag())
        .map(|(target, sag)| by_riders_share(look, &target, sag));
    let braked = braked(look);
    if let (Some(braked), Some(now)) = (&braked, look.rate()) {
        factor = Some(factor.unwrap_or(0.0).max(braked.rate / now));
    }
    // Where the share agrees there is no physics that asks for another spring: the verdict stands by thumb, and waits.
    let needed = factor.filter(|_| !agrees).map(|factor| Needed {
        factor,
        at_least: false,
    });
    let Some(asked) = spring_amount::amount(look, desk, Direction::Softer, needed) else {
        let text = format!("{reading}: thumb asks for a softer spring, physics for less than half a step of one");
        desk.find(Code::ThumbAgainstPhysics, text);
        return;
    };
    let mut verdict = spring_amount::verdict(look, Direction::Softer, &asked);
    verdict
        .evidence
        .push(look.evidence(&[RuleId::TravelLittle, RuleId::PreloadNone], reading));
    verdict.confidence = Confidence::Low;
    verdict
        .check_first
        .push("compression in the middle, and the travel read again".to_owned());
    if look.is_front() {
        verdict
            .check_first
            .push("oil level, built-in preload, friction".to_owned());
    }
    verdict
        .overturned_by
        .push("travel that comes once compression, oil and friction are right".to_owned());
    let causes = [Subject::Adjuster, Subject::Oil, Subject::Friction].map(Cause::of);
    desk.push(verdict, &causes);
}

fn add_to_spring(look: &Look<'_>, desk: &mut Desk, rules: &[RuleId], reading: &str) {
    let evidence = look.evidence(rules, reading);
    if let Some(verdict) = desk.spring_mut(look) {
        verdict.evidence.push(evidence);
    }
}

/// Compression set to a share left.
fn set_compression(look: &Look<'_>, desk: &mut Desk, one: &Adjuster, share: f64, (rules, reading): (&[RuleId], &str)) {
    let mut verdict = look.verdict(Action::Set, Subject::Adjuster);
    verdict.circuit = Some(one.circuit);
    verdict.direction = Some(if share > share_left(one) {
        Direction::Less
    } else {
        Direction::More
    });
    verdict.amount = Some(Amount::Position {
        from_closed: (share * one.range).round(),
        range: one.range,
    });
    verdict.evidence.push(look.evidence(rules, reading));
    let agrees = look.share_says() == Some(0);
    if agrees {
        verdict.evidence.push(look.evidence(
            &[],
            "the rider's share agrees with its target: travel points first to compression",
        ));
    }
    verdict.confidence = if agrees { Confidence::Medium } else { Confidence::Low };
    verdict
        .overturned_by
        .push("the same travel with compression there".to_owned());
    desk.push(verdict, &[Cause::of(Subject::Friction), Cause::of(Subject::Oil)]);
}
