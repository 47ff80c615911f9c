//! What sag says of preload and of the rear spring.

use super::answer::{Action, Amount, Confidence, Direction, Subject, Verdict};
use super::doubt;
use super::look::{Cause, Desk, EQUAL, Look, SagSeen, Target};
use super::rows::RuleId;
use super::service::level_is_off;
use super::spring_amount::{self, Needed};
use crate::finding::Code;
use crate::quantity::{AngleUnit, Length, Preload, Quantity, STANDARD_GRAVITY};

/// Changes of preload below this are none, m.
const NO_CHANGE: f64 = 0.25e-3;

/// What is measured again before a spring is bought that is far from the present one.
const MEASURE_AGAIN: &str = "measure again before buying: mass on this end, friction, extended length, motion ratio";

/// Judges preload and, at the rear, the spring.
pub(super) fn judge(look: &Look<'_>, desk: &mut Desk) {
    if look.binds() {
        return;
    }
    if look.seen.sag.static_sag.is_none() || look.seen.sag.total.is_none() {
        desk.miss(look, "sag", "spring and preload");
    }
    let Some(target) = look.target() else {
        desk.miss(look, "travel", "the sag that is wanted off the road");
        return;
    };
    if look.seen.travel.is_none() {
        desk.assume(
            "travel",
            "usual travel of a road machine, for the sag that is wanted".to_owned(),
        );
    }
    let Some(sag) = look.sag() else { return };
    let way = if topped_out(look, sag) {
        wound_up(look, &target, sag)
    } else {
        tell_thumb(look, desk, sag);
        by_share(look, sag)
    };
    // What reaches full extension without the rider shows less of the rider's share than there is.
    let cut_off = topped_out(look, sag) || (look.share_is_least() && look.share_says().is_none());
    if !look.is_front() && way.is_none() && cut_off {
        desk.miss(
            look,
            "sag",
            "whether the spring is right: alone it reaches full extension within its friction; read again with less preload",
        );
    }
    if look.is_front() {
        tell_fork_share(look, desk, sag);
    } else if let Some((way, rules)) = way {
        rear_spring(look, desk, &target, sag, (way, &rules));
    }
    preload(look, desk, &target, sag);
}

/// Whether static sag is none, or within its uncertainty of none.
pub(super) fn topped_out(look: &Look<'_>, sag: SagSeen) -> bool {
    sag.still <= look.length(RuleId::StaticNone).max(sag.still_u)
}

/// Without static sag the rider's share is only the least it can be.
fn wound_up(look: &Look<'_>, target: &Target, sag: SagSeen) -> Option<(Direction, Vec<RuleId>)> {
    let place = (sag.total - target.low) / (target.high - target.low);
    if !look.is_front() && place >= look.ratio(RuleId::WoundUpTotal) {
        return Some((Direction::Stiffer, vec![RuleId::StaticNone, RuleId::WoundUpTotal]));
    }
    // With the total as wanted even this least share leaves too little static sag.
    let (low, _) = look.static_share_limits();
    let share = (target.middle() - sag.total) / target.middle();
    (!look.is_front() && share < low)
        .then(|| (Direction::Stiffer, vec![RuleId::StaticNone, RuleId::RearStaticShareLow]))
}

/// Whether static sag is so long against the rider's share that thumb asks for a softer spring.
fn thumb_says_softer(look: &Look<'_>, sag: SagSeen) -> bool {
    sag.still >= look.ratio(RuleId::TooStiffRatio) * sag.share
}

/// Thumb takes an end that only sits low for one that is too stiff: physics outranks it, and that is said.
fn tell_thumb(look: &Look<'_>, desk: &mut Desk, sag: SagSeen) {
    let (Some(says), Some((share, _))) = (look.share_says(), look.static_share_at_target()) else {
        return;
    };
    if look.is_front() || says == 1 || !thumb_says_softer(look, sag) {
        return;
    }
    let text = format!(
        "static sag is {:.2} times the rider's share ({}), thumb says softer; with the total as wanted the static share is \
         {share:.2}, which does not ask for it: physics outranks thumb",
        sag.still / sag.share,
        look.said(RuleId::TooStiffRatio)
    );
    desk.find(Code::ThumbAgainstPhysics, text);
}

fn by_share(look: &Look<'_>, sag: SagSeen) -> Option<(Direction, Vec<RuleId>)> {
    let says = look.share_says()?;
    let mut rules = Vec::new();
    if thumb_says_softer(look, sag) {
        rules.push(RuleId::TooStiffRatio);
    }
    match says {
        -1 => Some((Direction::Stiffer, vec![RuleId::RearStaticShareLow])),
        1 => {
            rules.push(RuleId::RearStaticShareHigh);
            Some((Direction::Softer, rules))
        }
        _ => None,
    }
}

/// Rate needed over the present one, from the rider's share.
pub(super) fn by_riders_share(look: &Look<'_>, target: &Target, sag: SagSeen) -> f64 {
    let wanted = target.middle() * (1.0 - look.static_share_wanted());
    let factor = sag.share / wanted;
    let mass = look.seen.rider_mass.map(Quantity::si);
    match (mass, look.motion_ratio(), look.rate()) {
        // A share that tops out is too short; the rider's mass says how stiff it must be.
        (Some(mass), Some(ratio), Some(now)) if !look.is_front() && topped_out(look, sag) => {
            factor.max(mass * STANDARD_GRAVITY / (wanted * ratio * ratio * now))
        }
        _ => factor,
    }
}

fn rear_spring(look: &Look<'_>, desk: &mut Desk, target: &Target, sag: SagSeen, (way, rules): (Direction, &[RuleId])) {
    let words = look.words;
    let factor = by_riders_share(look, target, sag);
    let needed = Needed {
        factor,
        at_least: false,
    };
    let text = format!(
        "static sag {}, total {}, rider's share {}: wanted total {}, rider's share {}",
        words.length(sag.still),
        words.length(sag.total),
        words.length(sag.share),
        words.length(target.middle()),
        words.length(target.middle() * (1.0 - look.static_share_wanted()))
    );
    let Some(asked) = spring_amount::amount(look, desk, way, Some(needed)) else {
        let text = format!("{text}; physics asks for less than half a rate step, which outranks the rule of thumb");
        desk.find(Code::ThumbAgainstPhysics, text);
        return;
    };
    let mut verdict = spring_amount::verdict(look, way, &asked);
    verdict.evidence.push(look.evidence(rules, &text));
    let mut computed = look.evidence(
        &[],
        &format!("rate needed over the present one {factor:.2}, from the rider's share over the share wanted"),
    );
    computed.computation = "rider's share over share wanted";
    verdict.evidence.push(computed);
    verdict.confidence = sureness(look);
    doubt::hold(look, &mut verdict);
    doubt::implied(look, &mut verdict, factor);
    if look.seen.rates.is_empty() {
        desk.miss(look, "rates", "how many rate steps the spring is off");
        verdict.confidence = verdict.confidence.min(Confidence::Medium);
    }
    if asked.is_range {
        verdict.check_first.push(MEASURE_AGAIN.to_owned());
    }
    verdict.overturned_by.extend([
        if way == Direction::Stiffer {
            "static sag that appears, or a shorter rider's share, when the lengths are read again"
        } else {
            "an extended length read with other preload"
        }
        .to_owned(),
        "a rider's part of the mass on this end far from what was taken".to_owned(),
    ]);
    attitude(look, desk, &mut verdict, target.middle() - sag.total);
    desk.push(verdict, &[Cause::of(Subject::Friction)]);
}

/// How far the static share with the total as wanted lies outside its limits, in its uncertainty.
fn sureness(look: &Look<'_>) -> Confidence {
    let Some((share, u)) = look.static_share_at_target() else {
        return Confidence::Low;
    };
    let (low, high) = look.static_share_limits();
    let beyond = (low - share).max(share - high) / u;
    let weak = look
        .seen
        .sag
        .spread
        .is_some_and(|spread| spread.si() > look.length(look.spread_rules().0));
    match beyond {
        beyond if beyond >= 2.0 && !weak => Confidence::High,
        beyond if beyond >= 1.0 => Confidence::Medium,
        _ => Confidence::Low,
    }
}

fn tell_fork_share(look: &Look<'_>, desk: &mut Desk, sag: SagSeen) {
    let share = sag.still / sag.total;
    let (low, high) = look.static_share_limits();
    if !(low..=high).contains(&share) {
        let text = format!(
            "the fork's static share of the total is {share:.2}, usual is {low} to {high}: information only, it is no ground \
             for another spring"
        );
        desk.find(Code::ForkShareUnusual, text);
    }
}

/// The total sag brought into its range by preload.
fn preload(look: &Look<'_>, desk: &mut Desk, target: &Target, sag: SagSeen) {
    let topped = topped_out(look, sag);
    if (target.low - EQUAL..=target.high + EQUAL).contains(&sag.total) && !topped {
        return;
    }
    let words = look.words;
    let up = sag.total - target.middle();
    if !topped && desk.spring_way(look).is_none() {
        out_of_reach(look, desk, target, sag);
    }
    let spring = desk.has(look, Subject::Spring);
    let mut verdict = look.verdict(Action::Set, Subject::Preload);
    // Without static sag something comes off, whatever the total.
    verdict.direction = Some(if up > 0.0 && !topped {
        Direction::More
    } else {
        Direction::Less
    });
    let text = format!(
        "total sag {}, wanted {} to {}",
        words.length(sag.total),
        words.length(target.low),
        words.length(target.high)
    );
    verdict.evidence.push(look.evidence(&target.rules, &text));
    verdict.overturned_by = vec!["a total sag that does not follow the preload, or a wider friction spread".to_owned()];
    let beyond = (target.low - sag.total).max(sag.total - target.high);
    verdict.confidence = if beyond >= 2.0 * sag.still_u {
        Confidence::High
    } else {
        Confidence::Medium
    };
    if topped {
        verdict.hazard = true;
        verdict.evidence.push(look.evidence(
            &[RuleId::StaticNone],
            &format!(
                "static sag {}: it does not settle under its own weight",
                words.length(sag.still)
            ),
        ));
        verdict.cautions.push(Code::NoStaticSag.caution());
        verdict
            .check_first
            .push("today: take preload out until the machine sags a little by itself, and ride slowly".to_owned());
    }
    if look.is_air() {
        verdict.check_first.push(
            "the spring is air: its pressure is what preload is elsewhere; the wheel hanging, within the maker's limits"
                .to_owned(),
        );
    }
    let open = (topped && up >= 0.0) || look.is_air();
    if !spring && !open {
        position(look, desk, &mut verdict, up);
    }
    if !spring {
        attitude(look, desk, &mut verdict, -up);
    }
    // A new spring brings its own preload.
    desk.push(verdict, &causes_of_sag(look, &[Subject::Friction, Subject::Spring]));
}

/// A total sag that no preload brings into its range asks for another spring: with the preload in the middle of its range that
/// is `k2/k1 = (p + MR T)/(p_middle + MR T0)`, the load being the same.
fn out_of_reach(look: &Look<'_>, desk: &mut Desk, target: &Target, sag: SagSeen) {
    let seen = look.seen;
    let (Some(now), Some(least), Some(most), Some(ratio)) = (
        seen.preload.map(Quantity::si),
        seen.least_preload.map(Quantity::si),
        seen.most_preload.map(Quantity::si),
        look.motion_ratio(),
    ) else {
        return;
    };
    let reached = (now + ratio * (sag.total - target.middle())).max(least).min(most);
    let total = sag.total - (reached - now) / ratio;
    // Within its uncertainty of the range it is reached.
    if (target.low - sag.still_u..=target.high + sag.still_u).contains(&total) {
        return;
    }
    let way = if total > target.high {
        Direction::Stiffer
    } else {
        Direction::Softer
    };
    let pressed = now + ratio * sag.total;
    let factor = pressed / (f64::midpoint(least, most) + ratio * target.middle());
    let Some(asked) = spring_amount::amount(
        look,
        desk,
        way,
        Some(Needed {
            factor,
            at_least: false,
        }),
    ) else {
        return;
    };
    let mut verdict = spring_amount::verdict(look, way, &asked);
    let text = format!(
        "total sag {}, and with all the preload there is still {}",
        look.words.length(sag.total),
        look.words.length(total)
    );
    let mut evidence = look.evidence(&target.rules, &text);
    evidence.computation = "rate that brings the total to its target with preload in the middle of its range";
    verdict.evidence.push(evidence);
    if look.is_front() {
        verdict.check_first.push("oil level, built-in preload".to_owned());
    }
    if asked.is_range {
        verdict.check_first.push(MEASURE_AGAIN.to_owned());
    }
    verdict
        .overturned_by
        .push("built-in preload or a spacer other than was taken".to_owned());
    doubt::hold(look, &mut verdict);
    desk.push(verdict, &causes_of_sag(look, &[Subject::Friction]));
}

/// What can make a sag besides: of a fork an oil level that is off, too. Oil age never can.
fn causes_of_sag(look: &Look<'_>, subjects: &[Subject]) -> Vec<Cause> {
    let level = level_is_off(look).then_some(Subject::Oil);
    subjects.iter().copied().chain(level).map(Cause::of).collect()
}

/// Where preload goes: `p + MR (T - T0)`.
fn position(look: &Look<'_>, desk: &mut Desk, verdict: &mut Verdict, up: f64) {
    let (Some(now), Some(ratio)) = (look.seen.preload.map(Quantity::si), look.motion_ratio()) else {
        desk.miss(look, "preload", "where preload is to be set");
        return;
    };
    let wanted = now + ratio * up;
    let least = look.seen.least_preload.map_or(f64::NEG_INFINITY, Quantity::si);
    let most = look.seen.most_preload.map_or(f64::INFINITY, Quantity::si);
    let reached = wanted.max(least).min(most);
    if (reached - wanted).abs() > NO_CHANGE {
        let text = format!(
            "{}: preload of {} would bring the total sag to the target and can only be set to {}: a spacer or another \
             collar, or another spring",
            look.place(),
            look.words.length(wanted),
            look.words.length(reached)
        );
        desk.find(Code::PreloadOutOfReach, text);
        verdict
            .check_first
            .push("built-in preload: spacer and collar".to_owned());
    }
    verdict.amount = Some(Amount::Preload(Preload::from_si(reached)));
}

/// What a change of this end's ride height does to the attitude.
pub(super) fn attitude(look: &Look<'_>, desk: &mut Desk, verdict: &mut Verdict, change: f64) {
    let whole = &look.visit.whole;
    let Some(wheelbase) = whole.wheelbase.map(Quantity::si) else {
        return;
    };
    let vertical = if look.is_front() {
        change * whole.rake.map_or(1.0, |rake| rake.si().cos())
    } else {
        change
    };
    let angle = (vertical / wheelbase).abs();
    let degrees = crate::quantity::Angle::from_si(angle).get(AngleUnit::Degree);
    if degrees > look.ratio(RuleId::Pitch) {
        let text = format!(
            "{}: {} of ride height change the attitude by {degrees:.2} deg",
            look.place(),
            look.words.length(Length::from_si(vertical.abs()).si())
        );
        desk.find(Code::AttitudeChanges, text);
        verdict.cautions.push(Code::AttitudeChanges.caution());
    }
}
