//! Springs of the rack, as the judge is offered them where another spring is asked for.

use maud::{Markup, html};
use wire::v1;
use wire::v1::candidate_spring::Source;

use crate::bench::Bench;
use crate::page::measured::Measured;
use crate::page::rack::called;
use crate::page::words::computed;

/// Springs that are offered.
const OFFERED: i32 = 100;

/// The ends a judgement asks another spring for: front, rear.
pub(super) fn wanted(reply: &v1::JudgeSetupResponse) -> [bool; 2] {
    let asked = |end: v1::MachineEnd| {
        let mut all = reply.verdicts.iter();
        all.any(|verdict| verdict.action() == v1::Remedy::Respring && verdict.end() == end)
    };
    [asked(v1::MachineEnd::Front), asked(v1::MachineEnd::Rear)]
}

/// The springs of the rack whose rate is known, measured where it was.
pub(super) fn candidates(bench: &Bench, measured: &Measured, reply_units: i32) -> Vec<v1::SpringCandidate> {
    let listed = bench.list_springs(v1::ListSpringsRequest {
        page_size: OFFERED,
        ..Default::default()
    });
    let springs = listed.map(|listed| listed.springs).unwrap_or_default();
    let one = |spring: v1::Spring| {
        let source = source(bench, measured, &spring, reply_units)?;
        Some(v1::SpringCandidate {
            springs: vec![v1::CandidateSpring { source: Some(source) }],
        })
    };
    springs.into_iter().filter_map(one).collect()
}

/// A straight spring by the rate of its tested run, which is kept once it was reduced: the judge is asked at every rest of
/// the keys. One by its mark alone, or with a curve, by its name.
fn source(bench: &Bench, measured: &Measured, spring: &v1::Spring, reply_units: i32) -> Option<Source> {
    if spring.tested_run.is_empty() {
        return spring
            .marked_rate
            .is_some()
            .then(|| Source::Spring(spring.name.clone()));
    }
    let name = spring.tested_run.clone();
    let run = bench.get_run(v1::GetRunRequest { name }).ok()?;
    let outcome = measured.listed(bench, &run, reply_units)?;
    let reply = outcome.as_ref().as_ref().ok()?;
    if matches!(reply.shape(), v1::SpringShape::DualRate | v1::SpringShape::Progressive) {
        return Some(Source::Spring(spring.name.clone()));
    }
    let rate = reply.rate.as_ref()?;
    Some(Source::Values(v1::CandidateSpringValues {
        label: called(spring).to_owned(),
        rate: rate.value,
        rate_standard_uncertainty: rate.standard_uncertainty,
        free_length: spring.free_length,
        solid_length: spring.solid_length,
        ..Default::default()
    }))
}

/// The springs a verdict ranks.
pub(super) fn shown(springs: &[v1::RankedSpring]) -> Markup {
    html! {
        @if !springs.is_empty() {
            p.part { "Springs at hand" }
            ul { @for spring in springs { li { bdi { (one(spring)) } } } }
        }
    }
}

fn one(spring: &v1::RankedSpring) -> String {
    let mut said = spring.labels.join(" and ");
    if !spring.measured {
        said.push_str(" (by its mark)");
    }
    let figures = [
        ("preload", computed(spring.preload.as_ref())),
        ("static sag", computed(spring.static_sag.as_ref())),
        ("total sag", computed(spring.total_sag.as_ref())),
    ];
    for (what, figure) in figures {
        if let Some(figure) = figure {
            said.push_str(&format!(", {what} {figure}"));
        }
    }
    let why: Vec<&str> = spring
        .rejections
        .iter()
        .map(|rejection| rejection.text.as_str())
        .collect();
    match (spring.fits, why.is_empty()) {
        (true, _) => said.push_str(if spring.ties_with_best {
            ": does, not to be told from the best"
        } else {
            ": does"
        }),
        (false, true) => said.push_str(": does not do"),
        (false, false) => said.push_str(&format!(": does not do: {}", why.join("; "))),
    }
    said
}
