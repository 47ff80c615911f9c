//! The order of the work, and what waits for what.

use super::answer::{Action, Confidence, Judgement, Subject, Verdict};
use super::look::{Cause, Desk, Look};
use super::table::RuleTable;

/// An end that nothing is asked of is left, once something is known of it.
pub(super) fn leave(look: &Look<'_>, desk: &mut Desk) {
    if desk.drafts.iter().any(|(verdict, _)| verdict.end == look.end) {
        return;
    }
    let known = [
        look.sag().is_some(),
        look.travel_share().is_some(),
        !look.seen.adjusters.is_empty(),
        look.seen.oil.age.is_some(),
    ];
    let count = known.iter().filter(|known| **known).count();
    if count == 0 {
        return;
    }
    let mut verdict = look.verdict(Action::Leave, Subject::Whole);
    verdict.confidence = match count {
        4 => Confidence::High,
        3 => Confidence::Medium,
        _ => Confidence::Low,
    };
    let mut text = String::from("nothing that was read is outside its limits");
    if let Some(sag) = look.sag() {
        let words = look.words;
        text = format!(
            "{text}: static sag {}, total {}, rider's share {}",
            words.length(sag.still),
            words.length(sag.total),
            words.length(sag.share)
        );
    }
    verdict.evidence.push(look.evidence(&[], &text));
    verdict.overturned_by.push("any of what is still missing".to_owned());
    desk.push(verdict, &[]);
}

/// Puts the verdicts into the order of the work and says which waits for which.
pub(super) fn ordered(desk: Desk, table: &RuleTable) -> Judgement {
    let mut drafts = desk.drafts;
    // Stable: the front stands before the rear where both are of one kind.
    drafts.sort_by_key(|(verdict, _)| (!verdict.hazard, verdict.action == Action::Leave, verdict.subject));
    let causes: Vec<Vec<Cause>> = drafts.iter().map(|(_, causes)| causes.clone()).collect();
    let mut verdicts: Vec<Verdict> = drafts.into_iter().map(|(verdict, _)| verdict).collect();
    let waits: Vec<Vec<usize>> = verdicts
        .iter()
        .zip(&causes)
        .map(|(verdict, causes)| waits_for(verdict, causes, &verdicts))
        .collect();
    for (verdict, waits) in verdicts.iter_mut().zip(waits) {
        verdict.waits_for = waits;
        // A hazard never waits.
        verdict.waits_for_check &= !verdict.hazard;
    }
    let verdicts = causes_first(verdicts);
    // One that waits for a check only is the first where nothing else is to be done: its check is.
    let stands = |verdict: &Verdict| verdict.action != Action::Leave && verdict.waits_for.is_empty();
    let first = verdicts
        .iter()
        .position(|verdict| stands(verdict) && !verdict.waits_for_check)
        .or_else(|| verdicts.iter().position(stands));
    Judgement {
        verdicts,
        first,
        missing: desk.missing,
        findings: desk.findings,
        assumptions: desk.assumptions,
        table_version: table.version().to_owned(),
    }
}

fn waits_for(verdict: &Verdict, causes: &[Cause], all: &[Verdict]) -> Vec<usize> {
    // A hazard never waits.
    if verdict.hazard {
        return Vec::new();
    }
    let able = |other: &Verdict| {
        !std::ptr::eq(other, verdict)
            && other.end == verdict.end
            && other.action != Action::Leave
            && causes.iter().any(|cause| {
                cause.subject == other.subject && (cause.circuit.is_none() || cause.circuit == other.circuit)
            })
    };
    let found = all.iter().enumerate().filter(|(_, other)| able(other));
    found.map(|(index, _)| index).collect()
}

/// What waits stands behind what it waits for; else the order is kept.
fn causes_first(verdicts: Vec<Verdict>) -> Vec<Verdict> {
    let mut order: Vec<usize> = Vec::new();
    while order.len() < verdicts.len() {
        let ready = |(index, verdict): &(usize, &Verdict)| {
            !order.contains(index) && verdict.waits_for.iter().all(|cause| order.contains(cause))
        };
        let next = verdicts.iter().enumerate().find(ready).map(|(index, _)| index);
        // Two that wait for each other would never be ready: the first of them goes first.
        let next = next.or_else(|| (0..verdicts.len()).find(|index| !order.contains(index)));
        let Some(next) = next else { break };
        order.push(next);
    }
    let place = |index: &usize| order.iter().position(|at| at == index);
    let mut placed: Vec<(Option<usize>, Verdict)> = verdicts
        .into_iter()
        .enumerate()
        .map(|(index, mut verdict)| {
            verdict.waits_for = verdict.waits_for.iter().filter_map(place).collect();
            (place(&index), verdict)
        })
        .collect();
    placed.sort_by_key(|(at, _)| *at);
    placed.into_iter().map(|(_, verdict)| verdict).collect()
}
