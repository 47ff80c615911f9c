//! What was concluded of the machine as found, and why.

use mechanics::judgement::UNTESTED;
use wire::setup::words;
use wire::v1;
use wire::v1::verdict::Amount;

use super::Gathered;
use crate::page::words::computed;
use crate::sheet::content::{CAUTION, Verdict};

fn reply(gathered: &Gathered) -> Option<&v1::JudgeSetupResponse> {
    gathered.judged.as_ref()?.as_ref().ok()
}

/// The verdicts, in the order of the work.
pub(super) fn verdicts(gathered: &Gathered) -> Vec<Verdict> {
    let Some(reply) = reply(gathered) else {
        return Vec::new();
    };
    let first = reply.first_change.and_then(|index| usize::try_from(index).ok());
    let verdicts = reply.verdicts.iter().enumerate();
    verdicts
        .map(|(index, given)| {
            let what = capital(&stated(given));
            Verdict {
                // Where there is one thing to do only, it is first anyway.
                words: if first == Some(index) && reply.verdicts.len() > 1 {
                    format!("{what} – first")
                } else {
                    what
                },
                hazard: given.hazard,
                confidence: words::confidence(given.confidence).to_owned(),
                evidence: given.evidence.iter().map(|one| one.text.clone()).collect(),
                check_first: given.check_first.clone(),
                // What is left alone is overturned by whatever is found later.
                overturned_by: if given.action() == v1::Remedy::Leave {
                    Vec::new()
                } else {
                    given.overturned_by.clone()
                },
                besides: besides(given),
                // Those of a hazard stand with it; the others once, with the sheet's own.
                cautions: if given.hazard {
                    given.cautions.clone()
                } else {
                    Vec::new()
                },
            }
        })
        .collect()
}

/// A verdict in one line: `respring rear spring, stiffer, 2 to 7 steps`.
fn stated(verdict: &v1::Verdict) -> String {
    let whole = verdict.action() == v1::Remedy::Leave;
    let what = [
        words::verb(verdict.action),
        words::end(verdict.end),
        words::circuit(verdict.circuit),
        if whole { "" } else { &verdict.subject },
    ];
    let what: Vec<&str> = what.into_iter().filter(|word| !word.is_empty()).collect();
    let mut said = vec![what.join(" ")];
    let direction = words::direction(verdict.direction);
    if !direction.is_empty() {
        said.push(direction.to_owned());
    }
    said.extend(verdict.amount.as_ref().and_then(amount));
    said.join(", ")
}

fn amount(amount: &Amount) -> Option<String> {
    Some(match amount {
        Amount::Steps(steps) if steps.least_count < steps.most_count => {
            format!("{} to {} rate steps", steps.least_count, steps.most_count)
        }
        Amount::Steps(steps) if steps.most_count == 1.0 => "1 rate step".to_owned(),
        Amount::Steps(steps) => format!("{} rate steps", steps.most_count),
        Amount::DampingFactor(damping) if damping.least_factor < damping.most_factor => format!(
            "{:.2} times the damping ({:.2} to {:.2})",
            damping.factor, damping.least_factor, damping.most_factor
        ),
        Amount::DampingFactor(damping) => format!("{:.2} times the damping", damping.factor),
        Amount::Position(position) => match (position.position_from_closed, position.range_count) {
            (Some(from_closed), Some(range)) => format!("to {from_closed} of {range} from closed"),
            (Some(from_closed), None) => format!("to {from_closed} from closed"),
            _ => format!("to {}", computed(position.preload.as_ref())?),
        },
    })
}

/// What goes with a verdict, or comes before it.
fn besides(verdict: &v1::Verdict) -> Vec<String> {
    let mut said = Vec::new();
    if let Some(after) = &verdict.after_spring {
        let mut with = vec![format!("rebound {:.2} times the present", after.rebound_factor)];
        if let Some(position) = after.rebound_position_from_closed {
            with.push(format!("its adjuster to about {position:.0} from closed"));
        }
        if let Some(preload) = computed(after.preload.as_ref()) {
            with.push(format!("preload {preload}"));
        }
        said.push(with.join(", "));
    }
    if let Some(Amount::Steps(steps)) = &verdict.amount
        && let (true, Some(thumb), Some(physics)) = (steps.disagree, steps.thumb_count, steps.physics_count)
    {
        said.push(format!(
            "thumb asks for {thumb} steps and physics for {physics:.1}: they disagree"
        ));
    }
    if verdict.waits_for_check {
        said.push("waits for what is to be checked first".to_owned());
    }
    if !verdict.waits_for.is_empty() {
        let waits: Vec<String> = verdict.waits_for.iter().map(|index| (index + 1).to_string()).collect();
        said.push(format!("waits for {}", waits.join(", ")));
    }
    said
}

/// By what it was concluded.
pub(super) fn by(gathered: &Gathered) -> String {
    match &gathered.judged {
        Some(Ok(reply)) if !reply.verdicts.is_empty() => {
            format!("Judged as found, by rule table {}.", reply.rule_table_version)
        }
        _ => String::new(),
    }
}

/// What is not known, and what it would settle.
pub(super) fn not_known(gathered: &Gathered) -> Vec<String> {
    match &gathered.judged {
        None => vec!["no verdict: nothing was entered as found".to_owned()],
        Some(Err(why)) => vec![format!("no verdict: {why}")],
        Some(Ok(reply)) => {
            let missing = reply.missing.iter().map(|missing| {
                let end = words::end(missing.end);
                let gap = if end.is_empty() { "" } else { " " };
                let what = words::missing(&missing.subject);
                format!("{end}{gap}{what}, which would settle {}", missing.settles)
            });
            let none = reply.verdicts.is_empty() && reply.missing.is_empty();
            let none = none.then(|| "no verdict: sag, travel used, adjusters and oil would give one".to_owned());
            missing.chain(none).collect()
        }
    }
}

/// What to heed: of verdicts that are no hazard each caution once, and always that of the trade.
pub(super) fn cautions(gathered: &Gathered) -> Vec<String> {
    let verdicts = reply(gathered)
        .map(|reply| reply.verdicts.as_slice())
        .unwrap_or_default();
    let calm = verdicts.iter().filter(|verdict| !verdict.hazard);
    let mut cautions: Vec<String> = Vec::new();
    for caution in calm.flat_map(|verdict| &verdict.cautions) {
        // The sheet's own says it too.
        if caution != UNTESTED && !cautions.contains(caution) {
            cautions.push(caution.clone());
        }
    }
    cautions.push(CAUTION.to_owned());
    cautions
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
