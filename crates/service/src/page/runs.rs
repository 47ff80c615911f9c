//! The recorded runs, newest first.

use std::collections::HashMap;

use axum::body::Body;
use axum::extract::{RawQuery, State};
use http::Response;
use maud::{Markup, html};
use wire::v1;

use super::form::Posted;
use super::layout::{Frame, Section, framed};
use super::measured::{Measured, spring_of};
use super::rack::called;
use super::rates::{self, Rated};
use super::refusal::Refusal;
use super::visitor::Visitor;
use super::words::moment;
use super::{Page, guard};
use crate::bench::Bench;
use crate::error::ServiceError;

/// Runs on one view.
const PAGE: i32 = 25;

struct Listed {
    runs: Vec<(v1::Run, Option<Rated>)>,
    /// What the springs are called, by name.
    springs: HashMap<String, String>,
    next: String,
}

/// The list.
pub(super) async fn view(
    State(page): State<Page>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response<Body>, Refusal> {
    let query = Posted::of_query(query.as_deref());
    let asked = v1::ListRunsRequest {
        page_size: PAGE,
        page_token: query.text("page").to_owned(),
        ..Default::default()
    };
    let (measured, units) = (page.measured.clone(), visitor.reply_units());
    let listed = page
        .places
        .compute(move |bench| gather(bench, &measured, asked, units))
        .await?;
    let frame = Frame {
        title: "Runs",
        section: Section::Runs,
        visitor: Some(&visitor),
        scripts: &[],
    };
    Ok(guard::html(framed(&frame, shown(&listed))))
}

fn gather(bench: &Bench, measured: &Measured, asked: v1::ListRunsRequest, units: i32) -> Result<Listed, ServiceError> {
    let listed = bench.list_runs(asked)?;
    let mut springs = HashMap::new();
    let mut runs = Vec::new();
    for run in listed.runs {
        if !run.spring.is_empty() && !springs.contains_key(&run.spring) {
            let spring = spring_of(bench, &run);
            let name = spring.as_ref().map_or(run.spring.as_str(), called);
            springs.insert(run.spring.clone(), name.to_owned());
        }
        let rated = rates::rated(bench, measured, &run, units);
        runs.push((run, rated));
    }
    Ok(Listed {
        runs,
        springs,
        next: listed.next_page_token,
    })
}

/// Where a run stands, in a word.
pub(super) fn standing(run: &v1::Run) -> &'static str {
    match run.state() {
        _ if run.delete_time.is_some() => "deleted",
        v1::RunState::Recording => "recording",
        v1::RunState::Interrupted => "interrupted",
        v1::RunState::Finished => "finished",
        v1::RunState::Discarded => "discarded",
        v1::RunState::Unspecified => "",
    }
}

fn shown(listed: &Listed) -> Markup {
    html! {
        h1 { "Runs" }
        @if listed.runs.is_empty() {
            p { "Nothing was recorded yet." }
        } @else {
            form method="get" action="/compare" {
                table.cards {
                    caption { "Newest first. Choose two to lay their curves over one another." }
                    thead { tr {
                        th scope="col" { "Compare" } th scope="col" { "Run" } th scope="col" { "Spring" }
                        th scope="col" { "State" } th scope="col" { "Rate" } th scope="col" { "Against its mark" }
                    } }
                    tbody { @for (run, rated) in &listed.runs { (line(listed, run, rated.as_ref())) } }
                }
                p { button { "Compare the chosen two" } }
            }
        }
        @if !listed.next.is_empty() {
            @let older = form_urlencoded::Serializer::new("/runs?".to_owned()).append_pair("page", &listed.next).finish();
            p { a href=(older) { "Older runs" } }
        }
    }
}

fn line(listed: &Listed, run: &v1::Run, rated: Option<&Rated>) -> Markup {
    html! {
        tr {
            (rates::choice(run))
            th scope="row" { a href={ "/" (run.name) } { (moment(run.create_time.as_ref())) } }
            td.name data-label="Spring" {
                @match listed.springs.get(&run.spring) {
                    Some(name) => a href={ "/" (run.spring) } { bdi { (name) } },
                    None => "not named yet",
                }
            }
            td data-label="State" { (standing(run)) ", " (run.sample_count) " samples" }
            (rates::cells(rated))
        }
    }
}
