//! The rack: every spring with its marked and its measured rate, when it was last tested, and what changed since.

use axum::body::Body;
use axum::extract::{RawQuery, State};
use http::Response;
use maud::{Markup, html};
use wire::v1;

use super::form::Posted;
use super::layout::{Frame, Section, framed};
use super::measured::Measured;
use super::rates::{self, Rated};
use super::refusal::Refusal;
use super::visitor::Visitor;
use super::words::{Origin, entered_in, moment, origin};
use super::{Page, guard};
use crate::bench::Bench;
use crate::error::ServiceError;

/// Springs on one view.
const PAGE: i32 = 25;
/// Runs looked through for tests of these springs, newest first.
const RECENT: i32 = 500;

/// One spring and its tests.
struct Shelf {
    spring: v1::Spring,
    measured: Option<Rated>,
    last: Option<v1::Run>,
    drift: Option<String>,
}

struct Rack {
    shelves: Vec<Shelf>,
    next: String,
}

/// The list, or the part of it whose labels hold a text.
pub(super) async fn view(
    State(page): State<Page>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response<Body>, Refusal> {
    let query = Posted::of_query(query.as_deref());
    let (label, token) = (query.text("label").to_owned(), query.text("page").to_owned());
    let asked = v1::ListSpringsRequest {
        page_size: PAGE,
        page_token: token,
        label_contains: label.clone(),
        ..Default::default()
    };
    let measured = page.measured.clone();
    let units = visitor.reply_units();
    let rack = page
        .places
        .compute(move |bench| gather(bench, &measured, asked, units))
        .await?;
    let frame = Frame {
        title: "Rack",
        section: Section::Rack,
        visitor: Some(&visitor),
        scripts: &[],
    };
    Ok(guard::html(framed(&frame, shown(&rack, &label, &visitor))))
}

fn gather(bench: &Bench, measured: &Measured, asked: v1::ListSpringsRequest, units: i32) -> Result<Rack, ServiceError> {
    let listed = bench.list_springs(asked)?;
    let runs = bench.list_runs(v1::ListRunsRequest {
        page_size: RECENT,
        state: v1::RunState::Finished as i32,
        ..Default::default()
    })?;
    let shelves = listed.springs.into_iter().map(|spring| {
        let mut tests = runs.runs.iter().filter(|run| run.spring == spring.name);
        let (last, before) = (tests.next(), tests.next());
        let rated = |run: Option<&v1::Run>| run.and_then(|run| rates::rated(bench, measured, run, units));
        let measured = rates::measured(bench, measured, &spring, last, units);
        let drift = rates::drift(rated(last).as_ref(), rated(before).as_ref());
        Shelf {
            measured,
            last: last.cloned(),
            drift,
            spring,
        }
    });
    Ok(Rack {
        shelves: shelves.collect(),
        next: listed.next_page_token,
    })
}

/// What a spring is called: its label, else its name.
pub(super) fn called(spring: &v1::Spring) -> &str {
    if spring.label.trim().is_empty() {
        &spring.name
    } else {
        &spring.label
    }
}

fn shown(rack: &Rack, label: &str, visitor: &Visitor) -> Markup {
    html! {
        h1 { "Rack" }
        p { a.button.main href="/rack/new" { "Put a spring on the rack" } }
        form.inline method="get" action="/rack" role="search" {
            label for="label" { "Label contains" }
            input #label name="label" value=(label) maxlength="200";
            " " button { "Show" }
        }
        @if rack.shelves.is_empty() {
            p { @if label.is_empty() { "The rack is empty." } @else { "No spring's label contains that." } }
        } @else {
            table.cards {
                caption { "Measured rates come from each spring's tested run, else from its last one; uncertainties cover 95 %." }
                thead { tr {
                    th scope="col" { "Spring" }
                    th scope="col" { "Marked" }
                    th scope="col" { "Measured" }
                    th scope="col" { "Last test" }
                    th scope="col" { "Since the test before" }
                } }
                tbody { @for shelf in &rack.shelves { (line(shelf, visitor)) } }
            }
        }
        @if !rack.next.is_empty() {
            p { a href=(more(label, &rack.next)) { "More springs" } }
        }
    }
}

fn more(label: &str, token: &str) -> String {
    let mut query = form_urlencoded::Serializer::new("/rack?".to_owned());
    let query = query.append_pair("label", label).append_pair("page", token);
    query.finish()
}

fn line(shelf: &Shelf, visitor: &Visitor) -> Markup {
    let spring = &shelf.spring;
    html! {
        tr {
            th.name scope="row" {
                a href={ "/" (spring.name) } { bdi { (called(spring)) } }
                @if !spring.rack_place.is_empty() { p.hint { "at " bdi { (spring.rack_place) } } }
            }
            td data-label="Marked" {
                @if let Some(marked) = entered_in(spring.marked_rate.as_ref(), visitor.units) {
                    (marked) " " (origin(Origin::Entered))
                } @else if !spring.marking_text.is_empty() {
                    bdi { (spring.marking_text) } " " (origin(Origin::Entered))
                }
            }
            td data-label="Measured" {
                @if let Some(rated) = &shelf.measured {
                    (rated.rate) " " (origin(Origin::Measured))
                    br; (rates::against_mark(rated))
                }
            }
            td data-label="Last test" {
                @if let Some(run) = &shelf.last { a href={ "/" (run.name) } { (moment(run.create_time.as_ref())) } }
                @else { "never" }
            }
            td data-label="Since the test before" {
                @if let Some(drift) = &shelf.drift { (drift) " " (origin(Origin::Computed)) }
            }
        }
    }
}
