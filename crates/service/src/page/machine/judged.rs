//! The judgement: what is to be changed first, then everything in the order of the work, each with its reasons.

use maud::{Markup, html};
use mechanics::chassis::End;
use wire::setup::words::{circuit, end};
use wire::v1;

use super::words::{self, ENDS, heading};
use crate::bench::Bench;
use crate::error::ServiceError;
use crate::page::said;

/// What is judged.
pub(super) struct Asked {
    /// What is fitted.
    pub(super) machine: v1::MachineValues,
    /// How it stands.
    pub(super) state: v1::SetupState,
    /// How hard it was ridden.
    pub(super) riding: i32,
    /// Rider with gear.
    pub(super) rider_mass: Option<v1::Mass>,
    /// What is known of fork and rear besides.
    pub(super) details: [v1::EndDetail; 2],
    /// Hardest braking over standard gravity.
    pub(super) deceleration: Option<f64>,
    /// When; none: now.
    pub(super) time: Option<prost_types::Timestamp>,
    /// Units of the answer.
    pub(super) reply_units: i32,
}

/// Asks the bench.
pub(super) fn judge(bench: &Bench, asked: Asked) -> Result<v1::JudgeSetupResponse, ServiceError> {
    let Asked {
        mut machine,
        mut state,
        time,
        ..
    } = asked;
    if let Some(time) = time {
        aged(&mut machine, &mut state, time);
    }
    let [front, rear] = asked.details;
    bench.judge_setup(v1::JudgeSetupRequest {
        source: Some(v1::judge_setup_request::Source::Values(v1::SetupValues {
            machine: Some(machine),
            state: Some(state),
            riding: asked.riding,
            rider_mass_with_gear: asked.rider_mass,
        })),
        front: Some(front),
        rear: Some(rear),
        deceleration_ratio: asked.deceleration,
        reply_units: asked.reply_units,
    })
}

/// Oil is as old as it was at the visit, not as old as it is today.
fn aged(machine: &mut v1::MachineValues, state: &mut v1::SetupState, time: prost_types::Timestamp) {
    let fitted = [machine.front.as_mut(), machine.rear.as_mut()];
    let legs = fitted.into_iter().flatten().flat_map(|unit| unit.legs.iter_mut());
    let ends = [state.front.as_mut(), state.rear.as_mut()];
    let found = ends.into_iter().flatten().flat_map(|end| end.oils.iter_mut());
    for oil in legs.filter_map(|leg| leg.oil.as_mut()).chain(found) {
        if let Some(filled) = oil.fill_time.take() {
            oil.age = Some(prost_types::Duration {
                seconds: time.seconds.saturating_sub(filled.seconds).max(0),
                nanos: 0,
            });
        }
    }
}

/// The judgement in a sentence.
pub(super) fn headline(reply: &v1::JudgeSetupResponse) -> String {
    let first = reply
        .first_change
        .and_then(|index| reply.verdicts.get(usize::try_from(index).ok()?));
    match first {
        Some(first) if first.hazard => format!("Hazard. First: {}", sentence(words::asked_for(first))),
        Some(first) => format!("First: {}", sentence(words::asked_for(first))),
        None if reply.verdicts.is_empty() => "Nothing can be judged yet.".to_owned(),
        None => "Nothing is to be changed.".to_owned(),
    }
}

fn sentence(text: &str) -> String {
    format!("{}.", text.trim_end_matches('.'))
}

/// Everything below the headline.
pub(super) fn shown(reply: &v1::JudgeSetupResponse) -> Markup {
    html! {
        @if !reply.verdicts.is_empty() {
            ol.verdicts {
                @for (index, verdict) in reply.verdicts.iter().enumerate() { (one(reply, index, verdict)) }
            }
        }
        (said::findings(&reply.findings))
        (said::assumptions(&once(&reply.assumptions)))
        p.hint {
            "Judged by the rule table " (reply.rule_table_version) ". The first ride after a change is slow, on a quiet or closed road; \
             the maker's manual comes first."
        }
    }
}

/// The judgement of the machine as it left, in short.
pub(super) fn shown_left(reply: &v1::JudgeSetupResponse) -> Markup {
    html! {
        p.part { "Judged as left: " bdi { (headline(reply)) } }
        details {
            summary { "All that is judged as left" }
            (shown(reply))
        }
    }
}

/// What is assumed of both ends alike is said once.
fn once(assumptions: &[v1::Assumption]) -> Vec<v1::Assumption> {
    let mut said: Vec<v1::Assumption> = Vec::new();
    for assumption in assumptions {
        if !said.iter().any(|known| known.text == assumption.text) {
            said.push(assumption.clone());
        }
    }
    said
}

fn one(reply: &v1::JudgeSetupResponse, index: usize, verdict: &v1::Verdict) -> Markup {
    let first = usize::try_from(reply.first_change.unwrap_or(-1)) == Ok(index);
    let waits = verdict.waits_for.iter().map(|other| (other + 1).to_string());
    let waits: Vec<String> = waits.collect();
    html! {
        li.hazard[verdict.hazard].first[first] {
            p.what {
                @if verdict.hazard { b { "Hazard" } " " }
                bdi { (words::asked_for(verdict)) }
            }
            p.hint {
                @if first { "The one change to make first. " }
                (place(verdict))
                @if !waits.is_empty() { "; waits for " (waits.join(" and ")) }
            }
            (list("Why", verdict.evidence.iter().map(why)))
            (list("Check first", verdict.check_first.iter().cloned()))
            (list("What would overturn it", verdict.overturned_by.iter().cloned()))
            @for caution in &verdict.cautions { p { strong { "Caution: " } (caution) } }
            (after(verdict))
        }
    }
}

/// End, circuit, and how sure it is.
fn place(verdict: &v1::Verdict) -> String {
    let words = [
        end(verdict.end),
        circuit(verdict.circuit),
        verdict.subject.as_str(),
        words::confidence(verdict.confidence()),
    ];
    let mut said: Vec<&str> = Vec::new();
    for word in words {
        if !word.is_empty() && !said.contains(&word) {
            said.push(word);
        }
    }
    said.join(", ")
}

/// Readings against thresholds, with the rules and computations that the words do not name themselves.
fn why(evidence: &v1::VerdictEvidence) -> String {
    let rules = evidence
        .rules
        .iter()
        .filter(|rule| !evidence.text.contains(rule.as_str()));
    let rules: Vec<&str> = rules.map(String::as_str).collect();
    let mut said = evidence.text.clone();
    if !rules.is_empty() {
        said.push_str(&format!(" [rule {}]", rules.join(", ")));
    }
    if !evidence.computation.is_empty() {
        said.push_str(&format!(" [computed: {}]", evidence.computation));
    }
    said
}

fn list(what: &str, items: impl Iterator<Item = String>) -> Markup {
    let items: Vec<String> = items.collect();
    html! {
        @if !items.is_empty() {
            p.part { (what) }
            ul { @for item in &items { li { bdi { (item) } } } }
        }
    }
}

/// What another spring asks for beside itself.
fn after(verdict: &v1::Verdict) -> Markup {
    let Some(after) = &verdict.after_spring else {
        return html! {};
    };
    html! {
        p {
            "With a spring of " (format!("{:.2}", after.rate_factor)) " times the rate, rebound damping goes to "
            (format!("{:.2}", after.rebound_factor)) " times the present one; compression stays."
            @if let Some(position) = after.rebound_position_from_closed { " Rebound then belongs at " (format!("{position:.0}")) " from closed." }
            @if let Some(preload) = crate::page::words::computed(after.preload.as_ref()) { " Preload then: " (preload) "." }
        }
    }
}

/// What is not known, as what it would settle.
pub(super) fn missing(reply: &v1::JudgeSetupResponse) -> Markup {
    let of = |end: i32| reply.missing.iter().filter(move |one| one.end == end);
    let sent = |end: End| match end {
        End::Front => v1::MachineEnd::Front as i32,
        End::Rear => v1::MachineEnd::Rear as i32,
    };
    html! {
        @if reply.missing.is_empty() { p.hint { "Nothing the judgement asks for is missing." } }
        @for (title, end) in ENDS.map(|end| (heading(end), sent(end))).into_iter().chain([("Machine", 0)]) {
            @if of(end).next().is_some() {
                p.part { (title) ", not known" }
                ul { @for one in of(end) { li { b { (words::missing(&one.subject)) } ": would settle " (one.settles) } } }
            }
        }
    }
}
