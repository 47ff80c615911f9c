//! Sag that does not agree with the fitted spring: what to check, the cheapest first, and what is held back until then.

use super::answer::{Action, Confidence, Verdict};
use super::look::{Desk, Look};
use crate::chassis::{Agreement, Cause, CauseKind, Compared};
use crate::finding::{Code, Finding};
use crate::quantity::Quantity;

/// The comparison, where it disagrees beyond the uncertainty of both.
fn disagreement<'a>(look: &Look<'a>) -> Option<&'a Compared> {
    let compared = look.seen.compared.as_ref()?;
    (compared.agreement == Agreement::Disagrees).then_some(compared)
}

/// A cause that makes the sag itself wrong, and so what is asked of the spring by it. Another part of the rider's mass, a wrong
/// ratio or mark leave the sag as it was read.
fn of_the_reading(compared: &Compared) -> Option<&Cause> {
    let kinds = [CauseKind::Friction, CauseKind::LateStart, CauseKind::Air];
    compared.causes.iter().find(|cause| kinds.contains(&cause.kind))
}

/// Holds back a spring that sag asks for where a cheaper cause can make the same sag.
pub(super) fn hold(look: &Look<'_>, verdict: &mut Verdict) {
    if let Some(cause) = disagreement(look).and_then(of_the_reading) {
        verdict.waits_for_check = true;
        verdict.confidence = Confidence::Low;
        let text = format!(
            "held back: the sag and the fitted spring disagree, and this can make it: {}",
            cause.check
        );
        verdict.evidence.push(look.evidence(&[], &text));
    }
}

/// What the spring needed is where the fitted one is what sag implies rather than what it is said to be.
pub(super) fn implied(look: &Look<'_>, verdict: &mut Verdict, factor: f64) {
    let (Some(compared), Some(now)) = (disagreement(look), look.rate()) else {
        return;
    };
    let legs = look.seen.rates.len() as f64;
    let rate = now + compared.difference.si() / legs;
    let text = format!(
        "should the spring be what sag implies, {}, the rate needed is {}",
        look.words.rate(rate),
        look.words.rate(factor * rate)
    );
    let mut evidence = look.evidence(&[], &text);
    evidence.computation = "rate that sag implies times rider's share over share wanted";
    verdict.evidence.push(evidence);
}

/// Says the disagreement, and puts its checks before what is asked of the spring, or before leaving it.
pub(super) fn judge(look: &Look<'_>, desk: &mut Desk) {
    let Some(compared) = disagreement(look) else { return };
    let checks: Vec<String> = compared.causes.iter().map(|cause| cause.check.to_owned()).collect();
    for finding in &compared.findings {
        let text = format!(
            "{}: {}; cheapest check first: {}",
            look.place(),
            finding.message,
            checks.join("; ")
        );
        desk.findings.push(Finding::new(Code::RateDiffers, text));
    }
    for (verdict, _) in desk.drafts.iter_mut().filter(|(one, _)| one.end == look.end) {
        if !(verdict.asks_for_spring() || verdict.action == Action::Leave) {
            continue;
        }
        // What makes it safe today stays at the head.
        let at = usize::from(verdict.hazard && !verdict.check_first.is_empty());
        verdict.check_first.splice(at..at, checks.iter().cloned());
        verdict.confidence = verdict.confidence.min(Confidence::Medium);
        if verdict.action == Action::Leave {
            verdict.confidence = Confidence::Low;
        }
    }
}
