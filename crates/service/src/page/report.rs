//! The test report: one document that stands alone, for paper or a file.

use axum::body::Body;
use axum::extract::{Path, State};
use http::Response;
use maud::{DOCTYPE, PreEscaped, html};
use wire::v1;

use super::refusal::Refusal;
use super::run::{Gathered, gathered};
use super::visitor::Visitor;
use super::words::{Origin, entered_in, estimated, moment, row};
use super::{Page, curve, guard, said};
use crate::error::ServiceError;

const STYLE: &str = include_str!("assets/report.css");

/// The report on a run.
pub(super) async fn view(
    State(page): State<Page>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response<Body>, Refusal> {
    let gathered = gathered(&page, &visitor, &id).await?;
    let reply = gathered.outcome.as_ref().as_ref().map_err(ServiceError::clone)?;
    let written = crate::bench::map::timestamp(page.places.bench().now());
    Ok(guard::standing_alone(
        document(&gathered, reply, &visitor, &written),
        STYLE,
    ))
}

fn document(
    gathered: &Gathered,
    reply: &v1::ReduceRunResponse,
    visitor: &Visitor,
    written: &prost_types::Timestamp,
) -> String {
    let title = gathered.title();
    let plot = curve::of_run(&format!("Curve of {title}"), reply);
    let document = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Test report: " (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    p.kind { "Spring test report" }
                    h1 { bdi { (title) } }
                    (facts(gathered, visitor, written))
                    (said::verdict(reply))
                    @if let Some(plot) = plot { (plot.svg()) }
                    dl.large { (row("Rate", estimated(reply.rate.as_ref()), Origin::Measured)) }
                    (said::figures(reply))
                    (said::findings(&reply.findings))
                    h2 { "Uncertainty" }
                    (said::budget(reply))
                    (said::assumptions(&reply.assumptions))
                    @if !gathered.run.notes.is_empty() { h2 { "Notes" } p.written { bdi { (gathered.run.notes) } } }
                    h2 { "Made from" }
                    ul { @for used in &reply.used { li { (used.name) } } }
                    @if let Some(digest) = digest(&gathered.run) { p { "Checksum of the samples (CRC-32C): " (digest) } }
                    (said::caution_beside(&reply.findings))
                }
            }
        }
    };
    document.into_string()
}

fn facts(gathered: &Gathered, visitor: &Visitor, written: &prost_types::Timestamp) -> maud::Markup {
    let run = &gathered.run;
    let tester = run.header.as_ref().map_or("", |header| header.tester.as_str());
    let spring = gathered.spring.as_ref();
    let marked = spring.and_then(|spring| entered_in(spring.marked_rate.as_ref(), visitor.units));
    html! {
        dl.facts {
            div { dt { "Tested" } dd { (moment(run.create_time.as_ref())) } }
            div { dt { "Report written" } dd { (moment(Some(written))) } }
            @if !tester.is_empty() { div { dt { "Tester" } dd { bdi { (tester) } } } }
            @if let Some(marked) = marked { div { dt { "Marked rate" } dd { (marked) } } }
            div { dt { "Samples" } dd { (run.sample_count) } }
            div { dt { "Run" } dd { (run.name) } }
        }
    }
}

fn digest(run: &v1::Run) -> Option<String> {
    let digest = &run.content_digest;
    (!digest.is_empty()).then(|| digest.iter().map(|byte| format!("{byte:02x}")).collect())
}
