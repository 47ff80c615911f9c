//! What a reduced run says, as parts of a view: verdict, figures, findings, assumptions.

use maud::{Markup, html};
use wire::v1;
use wire::v1::marking_verdict::Decision;

use super::words::{Origin, computed, entered, estimated, per_cent, row, soft_or_stiff};

/// The verdict's word, as it begins a sentence, and its look.
pub(super) fn decided(verdict: &v1::MarkingVerdict) -> (&'static str, &'static str) {
    match verdict.decision() {
        Decision::Accepted => ("Accepted", "accepted"),
        Decision::Refused => ("Refused", "refused"),
        Decision::CannotTell => ("Cannot tell", "unsure"),
        Decision::Unspecified => ("No tolerance given", "open"),
    }
}

/// The decision within a line, where there is one.
pub(super) fn decision(verdict: &v1::MarkingVerdict) -> Option<&'static str> {
    match verdict.decision() {
        Decision::Accepted => Some("accepted"),
        Decision::Refused => Some("refused"),
        Decision::CannotTell => Some("cannot tell"),
        Decision::Unspecified => None,
    }
}

/// The verdict in large letters: the decision, then marked, measured with its uncertainty, and the difference.
pub(super) fn verdict(reply: &v1::ReduceRunResponse) -> Markup {
    let Some(verdict) = &reply.marking_verdict else {
        return html! {
            div.verdict { p { (unmarked(reply)) } }
        };
    };
    let (word, class) = decided(verdict);
    html! {
        div.verdict.(class) {
            p { span.word { (word) } ": " bdi { (sentence(verdict, reply)) } }
            @if let Some(limits) = limits(verdict) { p.hint { (limits) } }
            @if verdict.readings.len() > 1 { p.hint { "The mark has no unit; it was read as " (readings(verdict)) "." } }
        }
    }
}

/// The sentence without its decision.
pub(super) fn sentence(verdict: &v1::MarkingVerdict, reply: &v1::ReduceRunResponse) -> String {
    if verdict.words.is_empty() {
        unmarked(reply)
    } else {
        verdict.words.clone()
    }
}

/// The same of a spring without a marking.
pub(super) fn unmarked(reply: &v1::ReduceRunResponse) -> String {
    let measured = estimated(reply.rate.as_ref()).unwrap_or_else(|| "no rate".to_owned());
    format!("measured {measured}; there is no marking to compare it with")
}

fn limits(verdict: &v1::MarkingVerdict) -> Option<String> {
    let (low, high) = (
        computed(verdict.lower_limit.as_ref())?,
        computed(verdict.upper_limit.as_ref())?,
    );
    let ratio = verdict
        .rate_tolerance_ratio
        .map(|ratio| format!(" (± {})", per_cent(ratio)));
    Some(format!(
        "Permitted: {low} to {high}{}. Rule: {}.",
        ratio.unwrap_or_default(),
        verdict.rule
    ))
}

fn readings(verdict: &v1::MarkingVerdict) -> String {
    let shown = verdict.readings.iter().filter_map(|reading| {
        let chosen = if reading.chosen { ", chosen" } else { "" };
        let rate = entered(reading.rate.as_ref())?;
        Some(format!("{rate} ({}{chosen})", soft_or_stiff(reading.difference_ratio)))
    });
    shown.collect::<Vec<_>>().join(", ")
}

/// The figures of a run besides its rate.
pub(super) fn figures(reply: &v1::ReduceRunResponse) -> Markup {
    let friction = reply.friction.as_ref();
    let contact = reply.contact.as_ref();
    let window = reply.window.as_ref().and_then(|window| {
        let (from, to) = (computed(window.from.as_ref())?, computed(window.to.as_ref())?);
        Some(format!("{from} to {to}, {} readings", window.point_count))
    });
    html! {
        dl.figures {
            (row("Window", window, Origin::Computed))
            (row("Contact at", contact.and_then(|contact| estimated(contact.deflection.as_ref())), Origin::Measured))
            (row("No-load level", contact.and_then(|contact| computed(contact.tare.as_ref())), Origin::Measured))
            (row("Friction", friction.and_then(|friction| estimated(friction.force.as_ref())), Origin::Measured))
            (row("Rate pressing", friction.and_then(|friction| computed(friction.press_rate.as_ref())), Origin::Measured))
            (row("Rate returning", friction.and_then(|friction| computed(friction.return_rate.as_ref())), Origin::Measured))
            (row("Rate, wild readings aside", robust(reply), Origin::Measured))
            (row("Free length", estimated(reply.free_length.as_ref()), Origin::Measured))
            (row("Solid length", estimated(reply.solid_length.as_ref()), Origin::Measured))
            (row("Pressed to", computed(reply.maximum_deflection.as_ref()), Origin::Measured))
            (row("Largest load", computed(reply.maximum_load.as_ref()), Origin::Measured))
            (row("Energy stored", computed(reply.stored_energy.as_ref()), Origin::Computed))
            (row("Energy lost, press and return", computed(reply.lost_energy.as_ref()), Origin::Computed))
            @for knee in &reply.knees { (row(knee_word(knee), estimated(knee.deflection.as_ref()), Origin::Measured)) }
        }
    }
}

fn robust(reply: &v1::ReduceRunResponse) -> Option<String> {
    reply
        .robust_rate
        .as_ref()
        .and_then(|robust| computed(robust.value.as_ref()))
}

/// What a knee is.
pub(super) fn knee_word(knee: &v1::Knee) -> &'static str {
    match knee.kind() {
        v1::knee::Kind::Bind => "Coil bind at",
        v1::knee::Kind::RateChange => "Rate changes at",
        v1::knee::Kind::Unspecified => "Knee at",
    }
}

/// Where the uncertainty of the rate comes from.
pub(super) fn budget(reply: &v1::ReduceRunResponse) -> Markup {
    let Some(rate) = reply.rate.as_ref().filter(|rate| !rate.budget.is_empty()) else {
        return html! {};
    };
    html! {
        div.scroll tabindex="0" role="group" aria-label="Uncertainty of the rate" {
            table {
                caption { "Where the uncertainty of the rate comes from (JCGM 100)" }
                thead { tr { th scope="col" { "Source" } th scope="col" { "Type" } th scope="col" { "Standard uncertainty" } } }
                tbody {
                    @for line in &rate.budget {
                        tr {
                            th.name scope="row" { (line.source) }
                            td { (kind(line)) }
                            td { (small(line.standard_uncertainty.as_ref())) }
                        }
                    }
                    tr {
                        th.name scope="row" { "All together" }
                        td {}
                        td { (small(rate.standard_uncertainty.as_ref())) }
                    }
                }
            }
        }
        p.hint {
            "The expanded uncertainty covers " (per_cent(rate.coverage_probability)) " with a factor of "
            (format!("{:.2}", rate.coverage_factor)) "."
        }
    }
}

fn kind(line: &v1::StiffnessContribution) -> &'static str {
    match line.r#type() {
        v1::EvaluationType::A => "A",
        v1::EvaluationType::B => "B",
        v1::EvaluationType::Unspecified => "",
    }
}

/// A small quantity to two figures more than its unit's usual place.
fn small(message: Option<&v1::Stiffness>) -> String {
    use mechanics::quantity::Unit as _;
    super::words::quantity(message)
        .map(|found| format!("{found:.*}", found.unit().row().decimals + 2))
        .unwrap_or_default()
}

/// Findings, the gravest first, each with its caution.
pub(super) fn findings(findings: &[v1::Finding]) -> Markup {
    let mut findings: Vec<_> = findings.iter().collect();
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    html! {
        @if !findings.is_empty() {
            h2 { "Findings" }
            ul.findings {
                @for finding in findings {
                    @let (word, class) = severity(finding);
                    li.(class) {
                        b { (word) } " " bdi { (finding.message) }
                        @if !finding.caution.is_empty() { p { strong { "Caution: " } (finding.caution) } }
                    }
                }
            }
        }
    }
}

fn severity(finding: &v1::Finding) -> (&'static str, &'static str) {
    match finding.severity() {
        v1::Severity::Hazard => ("Hazard", "hazard"),
        v1::Severity::Warning => ("Warning", "warning"),
        v1::Severity::Note | v1::Severity::Unspecified => ("Note", "note"),
    }
}

/// What was assumed, each with its source.
pub(super) fn assumptions(assumptions: &[v1::Assumption]) -> Markup {
    html! {
        @if !assumptions.is_empty() {
            h2 { "Assumed" }
            ul {
                @for assumption in assumptions {
                    li {
                        (assumption.text)
                        @if !assumption.source.is_empty() { " (" (assumption.source) ")" }
                        " " (super::words::origin(Origin::Assumed))
                    }
                }
            }
        }
    }
}

/// The caution of the trade where springs are handled, unless a finding gives one already.
pub(super) fn caution_beside(findings: &[v1::Finding]) -> Markup {
    html! {
        @if findings.iter().all(|finding| finding.caution.is_empty()) { (caution()) }
    }
}

/// The caution of the trade, where springs are handled.
pub(super) fn caution() -> Markup {
    html! {
        p.hint {
            "A compressed spring stores energy: use a rated compressor and never stand over the end of the tool. The \
             maker's manual comes first."
        }
    }
}
