//! Which of the springs at hand: each is predicted at rest as for a choice of springs, and the nearest that goes the verdict's
//! way is named with its preload, sags and what speaks against the others.

use super::adjusters::after_spring;
use super::answer::{Amount, Direction, RankedSprings, Subject, Verdict};
use super::braking::braked;
use super::look::{Desk, Look, SagSeen, Target};
use super::rows::RuleId;
use super::sag_rules::topped_out;
use super::spring_amount::Ladder;
use super::visit::SpringsAtHand;
use crate::chassis::{
    Candidate, Choice, Element, Path, Present, Ranked, SagTargets, SpringSource, Suspension, TravelCase, choose,
};
use crate::finding::{Code, Finding};
use crate::quantity::{Force, Length, Quantity, STANDARD_GRAVITY, Travel, UnitSystem};

/// How many are told, the nearest first.
const TOLD: usize = 5;
/// Rates closer than this are one rate.
const SAME: f64 = 1e-3;

/// Names a spring in the verdict that asks for one.
pub(super) fn name(look: &Look<'_>, desk: &mut Desk) {
    let (Some(at_hand), Some(target), Some(sag)) = (&look.seen.at_hand, look.target(), look.sag()) else {
        return;
    };
    let Some(way) = desk.drafted(look.end, Subject::Spring).map(|one| one.direction) else {
        return;
    };
    let Some(path) = &at_hand.path else {
        let what = if look.is_front() { "rake" } else { "motion_ratio" };
        desk.miss(
            look,
            what,
            "which of the springs at hand: how the springs follow the wheel",
        );
        return;
    };
    let Some(choice) = choice(look, (at_hand, path), &target, sag) else {
        desk.miss(
            look,
            "mass_alone",
            "which of the springs at hand: what this wheel carries, alone and with the rider",
        );
        return;
    };
    match choose(&choice) {
        Err(error) => desk.find(Code::NoneFits, format!("{}: springs at hand: {error}", look.place())),
        Ok(chosen) => {
            named(look, desk, &choice, &chosen.ranked, (way, target.middle()));
        }
    }
}

/// Read lengths times this are vertical at the wheel.
fn wheel_factor(path: &Path) -> f64 {
    path.rake().map_or(1.0, |rake| rake.si().cos())
}

fn choice(look: &Look<'_>, (at_hand, path): (&SpringsAtHand, &Path), target: &Target, sag: SagSeen) -> Option<Choice> {
    let factor = wheel_factor(path);
    let fitted = suspension(at_hand, path);
    let (load_alone, load_with_rider) = at_hand.loads.or_else(|| loads(look, fitted.as_ref()?, factor, sag))?;
    let half = 0.5 * (target.high - target.low);
    let (low, high) = look.static_share_targets();
    let still = (
        Travel::from_si(factor * f64::midpoint(low, high) * target.middle()),
        Length::from_si(factor * 0.5 * (high - low) * target.middle()),
    );
    let wheel_rate = fitted.map(|fitted| fitted.equilibrium(load_with_rider).wheel_rate);
    Some(Choice {
        end: look.end,
        path: path.clone(),
        others: at_hand.others.clone(),
        load_alone,
        load_with_rider,
        unsprung_mass: at_hand.unsprung_mass,
        targets: SagTargets {
            total: Travel::from_si(factor * target.middle()),
            total_tolerance: Length::from_si(factor * half),
            static_sag: Some(still),
        },
        preload_limits: look.seen.least_preload.zip(look.seen.most_preload),
        travel_case: braked(look).map(|braked| TravelCase {
            load: braked.wheel_load,
            share: look.ratio(RuleId::BrakingTravel),
        }),
        present: Some(Present {
            total: Travel::from_si(factor * sag.total),
            wheelbase: look.visit.whole.wheelbase,
            wheel_rate: wheel_rate.filter(|rate| rate.si() > 0.0),
        }),
        candidates: at_hand.candidates.clone(),
        units: look.visit.units.unwrap_or(UnitSystem::Metric),
    })
}

fn suspension(at_hand: &SpringsAtHand, path: &Path) -> Option<Suspension> {
    if at_hand.fitted.is_empty() {
        return None;
    }
    let elements: Vec<Element> = at_hand.others.iter().chain(&at_hand.fitted).cloned().collect();
    Suspension::new(path.clone(), elements).ok()
}

/// What the fitted springs carry where it stands; where nothing sags by itself, alone is the rider's weight less.
fn loads(look: &Look<'_>, fitted: &Suspension, factor: f64, sag: SagSeen) -> Option<(Force, Force)> {
    let at = |read: f64| fitted.at(Travel::from_si(factor * read)).wheel_force;
    let aboard = at(sag.total);
    let alone = if topped_out(look, sag) {
        Force::from_si(aboard.si() - look.seen.rider_mass?.si() * STANDARD_GRAVITY)
    } else {
        at(sag.still)
    };
    Some((alone, aboard))
}

fn named(look: &Look<'_>, desk: &mut Desk, choice: &Choice, all: &[Ranked], (way, wanted): (Option<Direction>, f64)) {
    let now: Option<f64> = look.rate().map(|rate| rate * look.seen.rates.len() as f64);
    // One that binds asks for another spring, stiffer or not.
    let goes = |one: &&Ranked| {
        now.is_none_or(|now| match way {
            Some(Direction::Softer) => one.rate.si() < now * (1.0 - SAME),
            Some(_) => one.rate.si() > now * (1.0 + SAME),
            None => true,
        })
    };
    let mut ranked: Vec<&Ranked> = all.iter().filter(goes).collect();
    // The rate is the larger of what sag and what braking ask for: what keeps braking within its travel comes first.
    ranked.sort_by_key(|one| (!one.fits(), dives_too_far(choice, one)));
    if let Some(nearest) = all.first().filter(|one| one.fits() && !goes(one)) {
        let text = format!(
            "{}: of the springs at hand {} comes nearest to the sag wanted, which is not {}",
            look.place(),
            label(choice, nearest),
            way.map_or("", Direction::word)
        );
        desk.find(Code::ThumbAgainstPhysics, text);
    }
    let text = told(look, choice, &ranked, all.len());
    let mut evidence = look.evidence(&[], &text);
    evidence.computation =
        "springs at hand, each predicted at rest, ranked by distance from the sags wanted in tolerances";
    let best = ranked.first().filter(|one| one.fits());
    let after = best.zip(now).map(|(best, now)| {
        let mut after = after_spring(look, wanted, best.rate.si() / now, best.rebound_factor);
        after.preload = Some(best.preload);
        after
    });
    let told = ranked.iter().take(TOLD).filter_map(|one| {
        let springs = choice.candidates.get(one.index)?.clone();
        Some((springs, (*one).clone()))
    });
    let springs = RankedSprings {
        wheel_factor: wheel_factor(&choice.path),
        present_total: choice.present.map(|present| present.total),
        ranked: told.collect(),
    };
    if let Some(best) = best {
        tell_steps(look, desk, choice, best);
        tell_ties(desk, choice, best, &ranked);
    }
    if let Some(verdict) = desk.drafted_mut(look.end, Subject::Spring) {
        verdict.evidence.push(evidence);
        verdict.after = after.or(verdict.after);
        verdict.springs = Some(springs);
    }
}

/// Whether it uses more travel in braking than it may.
fn dives_too_far(choice: &Choice, one: &Ranked) -> bool {
    let allowed = choice.travel_case.map(|case| case.share * choice.path.travel().si());
    one.case_travel
        .zip(allowed)
        .is_some_and(|(used, allowed)| used.si() > allowed * (1.0 + 1e-9))
}

/// Says where the spring that is named lies more than a step outside the amount asked for: that leaves air out, and takes the
/// preload as it stands.
fn tell_steps(look: &Look<'_>, desk: &mut Desk, choice: &Choice, best: &Ranked) {
    let ladder = Ladder::of(look, desk);
    let (Some(ladder), Some(now)) = (ladder, look.rate()) else {
        return;
    };
    let steps = ladder.steps(now, best.rate.si() / look.seen.rates.len() as f64).abs();
    let amount = desk.drafted(look.end, Subject::Spring).and_then(|one| one.amount);
    let Some(Amount::Steps(range)) = amount else { return };
    let apart = (range.least - steps).max(steps - range.most);
    if apart > look.ratio(RuleId::DisagreementSteps) {
        let text = format!(
            "{}: {} is {steps:.1} steps, and {} asked for: predicted with its own preload, and what carries beside it, it comes \
             nearest",
            look.place(),
            label(choice, best),
            Amount::Steps(range)
        );
        desk.find(Code::ThumbAgainstPhysics, text);
    }
}

/// Says which the uncertainty of the rates cannot part from the one that is named.
fn tell_ties(desk: &mut Desk, choice: &Choice, best: &Ranked, ranked: &[&Ranked]) {
    let ties = ranked
        .iter()
        .skip(1)
        .filter(|one| one.fits() && dives_too_far(choice, one) == dives_too_far(choice, best) && one.ties_with(best));
    let names: Vec<String> = ties.map(|one| label(choice, one)).collect();
    if !names.is_empty() {
        let text = format!(
            "the uncertainty of the rates cannot part {} from {}",
            label(choice, best),
            names.join(", ")
        );
        desk.findings.push(Finding::about(Code::NearTie, "candidates", text));
    }
}

/// The springs of a candidate by name.
pub(super) fn labels(candidate: &Candidate) -> String {
    let mut labels: Vec<&str> = candidate.springs.iter().map(|spring| spring.label.as_str()).collect();
    labels.dedup();
    labels.join(" with ")
}

fn label(choice: &Choice, one: &Ranked) -> String {
    choice.candidates.get(one.index).map(labels).unwrap_or_default()
}

/// The nearest with its figures, the next, and why the others do not do.
fn told(look: &Look<'_>, choice: &Choice, ranked: &[&Ranked], all: usize) -> String {
    let words = look.words;
    let factor = wheel_factor(&choice.path);
    let figures = |one: &Ranked| {
        let measured = choice.candidates.get(one.index).is_some_and(|candidate| {
            let mut springs = candidate.springs.iter();
            springs.all(|spring| spring.source == SpringSource::Measured)
        });
        format!(
            "{} ({} {}): preload {}, static sag {}, total {}, {:.1} tolerances off",
            label(choice, one),
            words.rate(one.rate.si()),
            if measured { "measured" } else { "marked" },
            words.length(one.preload.si()),
            words.length(one.static_sag.0.si() / factor),
            words.length(one.total_sag.si() / factor),
            one.distance
        )
    };
    let mut said = Vec::new();
    let mut fit = ranked.iter().filter(|one| one.fits());
    match fit.next() {
        None => said.push(format!("none of the {all} springs at hand does it")),
        Some(best) => said.push(format!("of {all} springs at hand {}", figures(best))),
    }
    if let Some(next) = fit.next() {
        said.push(format!("next {}", figures(next)));
    }
    let refused = ranked.iter().filter(|one| !one.fits()).take(2);
    said.extend(refused.filter_map(|one| {
        Some(format!(
            "not {}: {}",
            label(choice, one),
            one.rejections.first()?.text()
        ))
    }));
    said.join("; ")
}

/// The spring that is named in a verdict, where one does.
pub(super) fn named_in(verdict: &Verdict) -> Option<String> {
    let (candidate, ranked) = verdict.springs.as_ref()?.ranked.first()?;
    ranked.fits().then(|| labels(candidate))
}
