//! What one candidate would do.

use super::{Candidate, CandidateSpring, Choice, Ranked, Rejection};
use crate::chassis::error::ChassisError;
use crate::chassis::loads::{damping_factor_after_respring, pitch};
use crate::chassis::rest::{Equilibrium, RestState, crossing};
use crate::chassis::suspension::Suspension;
use crate::chassis::{Element, End};
use crate::finding::{Code, Finding};
use crate::quantity::{Force, Length, Load, Mass, Preload, Quantity, STANDARD_GRAVITY, SpringRate, Travel, WheelRate};
use crate::spring::words::Words;

/// Least margin to coil bind: a length, m, and a share of the travel (common practice, no source).
const MARGIN: f64 = 3e-3;
const MARGIN_SHARE: f64 = 0.05;
/// Preloads that differ by less cannot be set apart, m.
const FIXED: f64 = 1e-5;
/// Furthest any spring is preloaded, m.
const FURTHEST: f64 = 1.0;

/// Sags of a candidate at one preload.
struct Sags {
    preload: f64,
    stat: f64,
    total: f64,
    wheel_rate: f64,
    topped_out: bool,
    bottomed: bool,
    /// Where it rests in the load case.
    case: Option<Equilibrium>,
}

/// What a candidate would do, and how far it is from the targets.
pub(super) fn predicted(
    choice: &Choice,
    (target, tolerance): (Travel, Length),
    (index, candidate): (usize, &Candidate),
) -> Result<Ranked, ChassisError> {
    let place = format!("candidates[{index}]");
    let shifted = |shift: f64| sags(choice, candidate, shift).map_err(|error| error.below(&place));
    let (sags, mut rejections) = shifted(0.0)?;
    let u = candidate
        .springs
        .iter()
        .map(|spring| spring.standard_uncertainty.si())
        .fold(0.0, f64::hypot);
    let rate: f64 = candidate.springs.iter().map(|spring| spring.rate.si()).sum();
    let shift = (u / rate).min(0.5);
    let static_u = if shift > 0.0 {
        (shifted(shift)?.0.stat - shifted(-shift)?.0.stat).abs() / 2.0
    } else {
        0.0
    };
    let mut findings = Vec::new();
    judge(choice, &sags, &mut rejections, &mut findings);
    let margin = bind_margin(choice, candidate, &sags, (&mut rejections, &mut findings));
    let case = case(choice, &sags, &mut findings);
    let parts = [
        (sags.total - choice.targets.total.si()) / choice.targets.total_tolerance.si(),
        (sags.stat - target.si()) / tolerance.si(),
        case.map_or(0.0, |(used, allowed)| {
            (used - allowed).max(0.0) / choice.targets.total_tolerance.si()
        }),
    ];
    let distance = parts.iter().map(|part| part * part).sum::<f64>().sqrt();
    let [_, static_part, _] = parts;
    let slope = if distance > 0.0 { static_part / distance } else { 1.0 };
    let attitude = attitude(choice, &sags)?;
    findings.extend(attitude.iter().flat_map(|pitch| pitch.findings.clone()));
    Ok(Ranked {
        index,
        rate: SpringRate::from_si(rate),
        standard_uncertainty: SpringRate::from_si(u),
        preload: Preload::from_si(sags.preload),
        preload_force: Load::from_si(main_force(&free(candidate), sags.preload)),
        static_sag: (Travel::from_si(sags.stat), Length::from_si(static_u)),
        total_sag: Travel::from_si(sags.total),
        static_ratio: if sags.total > 0.0 { sags.stat / sags.total } else { 0.0 },
        wheel_rate: WheelRate::from_si(sags.wheel_rate),
        case_travel: case.map(|(used, _)| Travel::from_si(used)),
        case_left: case.map(|(used, _)| Travel::from_si(choice.path.travel().si() - used)),
        bind_margin: margin.map(Length::from_si),
        pitch: attitude,
        rebound_factor: rebound(choice, sags.wheel_rate)?,
        distance,
        distance_uncertainty: (slope * static_u / tolerance.si()).abs(),
        ties_with_best: false,
        rejections,
        findings,
    })
}

fn element(spring: &CandidateSpring, preload: f64, shift: f64) -> Element {
    let preload = Preload::from_si(preload);
    match &spring.curve {
        Some(curve) if shift == 0.0 => Element::Curve {
            curve: curve.clone(),
            preload,
        },
        // A curve's uncertainty is that of its rate: the straight spring of it stands in for the change.
        _ => Element::Straight {
            rate: SpringRate::from_si(spring.rate.si() * (1.0 + shift)),
            preload,
        },
    }
}

fn whole(choice: &Choice, candidate: &Candidate, preload: f64, shift: f64) -> Result<Suspension, ChassisError> {
    let mut elements = choice.others.clone();
    elements.extend(candidate.springs.iter().map(|spring| element(spring, preload, shift)));
    Suspension::new(choice.path.clone(), elements)
}

/// The main springs by themselves, against how far they are pressed from free length.
fn free(candidate: &Candidate) -> Vec<Element> {
    let springs = candidate.springs.iter();
    springs.map(|spring| element(spring, 0.0, 0.0)).collect()
}

fn main_force(free: &[Element], pressed: f64) -> f64 {
    free.iter().map(|spring| spring.at(pressed).0).sum()
}

/// Preload that carries the rider at the target, and the sags that go with it.
fn sags(choice: &Choice, candidate: &Candidate, shift: f64) -> Result<(Sags, Vec<Rejection>), ChassisError> {
    let words = Words::new(choice.units);
    let others = Suspension::new(choice.path.clone(), choice.others.clone())?;
    let mut rejections = Vec::new();
    let fixed = choice
        .preload_limits
        .filter(|(least, most)| most.si() - least.si() < FIXED);
    let mut preload = match fixed {
        Some((least, _)) => least.si(),
        None => {
            let wanted = wanted_preload(choice, candidate, &others, shift)?;
            wanted.unwrap_or_else(|| {
                let text = "no preload of this spring carries the rider at the target".to_owned();
                rejections.push(Rejection::NotReachable(text));
                0.0
            })
        }
    };
    // Beyond any spring.
    preload = preload.clamp(-FURTHEST, FURTHEST);
    if let Some((least, most)) = choice
        .preload_limits
        .filter(|_| fixed.is_none() && rejections.is_empty())
    {
        let needs = words.length(preload);
        if preload < least.si() {
            let text = format!(
                "it needs a preload of {needs}; allowed from {}",
                words.length(least.si())
            );
            rejections.push(Rejection::PreloadBelow(text));
        } else if preload > most.si() {
            let text = format!(
                "it needs a preload of {needs}; allowed up to {}",
                words.length(most.si())
            );
            rejections.push(Rejection::PreloadAbove(text));
        }
    }
    let end = whole(choice, candidate, preload, shift)?;
    let weight = choice
        .unsprung_mass
        .map_or(0.0, |mass: Mass| mass.si() * STANDARD_GRAVITY);
    let parts = end.parts();
    let hanging = end.hanging_in(&parts, Force::from_si(weight)).si();
    let alone = end.equilibrium_in(&parts, choice.load_alone);
    let rider = end.equilibrium_in(&parts, choice.load_with_rider);
    let braked = choice
        .travel_case
        .filter(|_| shift == 0.0)
        .map(|case| end.equilibrium_in(&parts, case.load));
    let sags = Sags {
        preload,
        stat: alone.travel.si() - hanging,
        total: rider.travel.si() - hanging,
        wheel_rate: rider.wheel_rate.si(),
        topped_out: alone.state == RestState::ToppedOut,
        bottomed: rider.state == RestState::Bottomed,
        case: braked,
    };
    if fixed.is_some() && (sags.total - choice.targets.total.si()).abs() > choice.targets.total_tolerance.si() {
        let text = format!(
            "at its one preload of {} the total is {}",
            words.length(preload),
            words.length(sags.total)
        );
        rejections.push(Rejection::TotalMissed(text));
    }
    Ok((sags, rejections))
}

/// `F(s + x0) = W/MR - G`: closed form of straight springs, bisection of curves. Where a top-out spring holds the end in,
/// sag counts from where it hangs, which the preload moves: a few rounds settle that.
fn wanted_preload(
    choice: &Choice,
    candidate: &Candidate,
    others: &Suspension,
    shift: f64,
) -> Result<Option<f64>, ChassisError> {
    let weight = choice
        .unsprung_mass
        .map_or(0.0, |mass: Mass| mass.si() * STANDARD_GRAVITY);
    let held = choice
        .others
        .iter()
        .any(|element| matches!(element, Element::TopOut { .. }));
    let mut hanging = 0.0;
    let mut preload = 0.0;
    for _ in 0..60 {
        let z = (choice.targets.total.si() + hanging).min(choice.path.travel().si());
        let place = choice.path.at(z);
        let force = choice.load_with_rider.si() / place.ratio - others.axial(place.stroke).0;
        if !(force > 0.0) {
            return Ok(None);
        }
        let Some(pressed) = pressed_under(candidate, force, shift) else {
            return Ok(None);
        };
        preload = pressed - place.stroke;
        if !held {
            break;
        }
        let now = whole(choice, candidate, preload, shift)?
            .hanging(Force::from_si(weight))
            .si();
        if (now - hanging).abs() < 1e-12 {
            break;
        }
        hanging = now;
    }
    Ok(Some(preload))
}

/// How far the springs together are pressed under a force.
fn pressed_under(candidate: &Candidate, force: f64, shift: f64) -> Option<f64> {
    if shift != 0.0 || candidate.springs.iter().all(|spring| spring.curve.is_none()) {
        let rate: f64 = candidate
            .springs
            .iter()
            .map(|spring| spring.rate.si() * (1.0 + shift))
            .sum();
        return Some(force / rate);
    }
    let free = free(candidate);
    let carried = |pressed: f64| main_force(&free, pressed) - force;
    if carried(FURTHEST) < 0.0 {
        return None;
    }
    Some(crossing(carried, 0.0, FURTHEST, true))
}

fn judge(choice: &Choice, sags: &Sags, rejections: &mut Vec<Rejection>, findings: &mut Vec<Finding>) {
    let words = Words::new(choice.units);
    if sags.topped_out {
        rejections.push(Rejection::ToppedOut(
            "the machine alone does not settle: no static sag".to_owned(),
        ));
        let text = format!(
            "with a preload of {} there is no static sag",
            words.length(sags.preload)
        );
        findings.push(Finding::about(Code::NoStaticSag, "candidates", text));
    }
    if sags.bottomed {
        rejections.push(Rejection::Bottoms("with the rider it rests on its stop".to_owned()));
        findings.push(Finding::about(
            Code::Bottomed,
            "candidates",
            "with the rider it rests on its stop".to_owned(),
        ));
    }
    if sags.preload < 0.0 {
        let text = format!(
            "the spring is loose by {} at full extension",
            words.length(-sags.preload)
        );
        findings.push(Finding::about(Code::Loose, "candidates", text));
    }
}

/// How much further the tightest spring can be pressed at full travel; where that is known.
fn bind_margin(
    choice: &Choice,
    candidate: &Candidate,
    sags: &Sags,
    (rejections, findings): (&mut Vec<Rejection>, &mut Vec<Finding>),
) -> Option<f64> {
    let words = Words::new(choice.units);
    let travel = choice.path.axial_travel().si();
    let solid = candidate.springs.iter().filter_map(|spring| spring.deflection_to_solid);
    let tightest = solid.map(Quantity::si).reduce(f64::min)?;
    let margin = tightest - (sags.preload + travel);
    let wanted = MARGIN.max(MARGIN_SHARE * travel);
    if margin < 0.0 {
        let text = format!("its coils close {} before the stop", words.length(-margin));
        findings.push(Finding::about(Code::BindsInTravel, "candidates", text.clone()));
        rejections.push(Rejection::Binds(text));
    } else if margin < wanted {
        let text = format!(
            "{} are left to coil bind at full travel; {} should be",
            words.length(margin),
            words.length(wanted)
        );
        findings.push(Finding::about(Code::BindMarginSmall, "candidates", text));
    }
    Some(margin)
}

/// Travel used in the load case, and how much it may use.
fn case(choice: &Choice, sags: &Sags, findings: &mut Vec<Finding>) -> Option<(f64, f64)> {
    let (case, rest) = (choice.travel_case?, sags.case.as_ref()?);
    let travel = choice.path.travel().si();
    let (used, allowed) = (rest.travel.si(), case.share * travel);
    if rest.state == RestState::Bottomed || used > allowed {
        let words = Words::new(choice.units);
        let text = format!(
            "the load case uses {} of {} travel; it should stay within {}",
            words.length(used),
            words.length(travel),
            words.length(allowed)
        );
        findings.push(Finding::about(Code::TravelUsedUp, "candidates", text));
    }
    Some((used, allowed))
}

fn attitude(choice: &Choice, sags: &Sags) -> Result<Option<crate::chassis::Pitch>, ChassisError> {
    let Some((present, wheelbase)) = choice.present.and_then(|present| Some((present, present.wheelbase?))) else {
        return Ok(None);
    };
    let change = Travel::from_si(sags.total - present.total.si());
    let none = Travel::from_si(0.0);
    let (front, rear) = match choice.end {
        End::Front => (change, none),
        End::Rear => (none, change),
    };
    pitch(front, rear, wheelbase).map(Some)
}

fn rebound(choice: &Choice, wheel_rate: f64) -> Result<Option<f64>, ChassisError> {
    let Some(now) = choice.present.and_then(|present| present.wheel_rate) else {
        return Ok(None);
    };
    if !(wheel_rate > 0.0) {
        return Ok(None);
    }
    let mass = Mass::from_si((choice.load_with_rider.si() / STANDARD_GRAVITY).max(0.1));
    damping_factor_after_respring((now, WheelRate::from_si(wheel_rate)), (mass, mass)).map(Some)
}
