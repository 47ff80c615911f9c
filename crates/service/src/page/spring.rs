//! One spring: what it is marked as and what its tests say; the forms that change it.

use axum::body::Body;
use axum::extract::{Path, State};
use http::{Response, StatusCode};
use maud::{Markup, html};
use prost_types::FieldMask;
use wire::names::Collection;
use wire::v1;
use wire::violation::{Violation, Violations};

use super::form::{self, Posted, see_other};
use super::layout::{Frame, Section, framed};
use super::measured::Measured;
use super::rack::called;
use super::rates::{self, Rated};
use super::refusal::Refusal;
use super::spring_form::{self, Form};
use super::visitor::Visitor;
use super::words::{Origin, entered_in, moment, origin, row, soft_or_stiff};
use super::{Page, guard, said};
use crate::bench::Bench;
use crate::error::ServiceError;

/// Tests shown with a spring, newest first.
const TESTS: i32 = 50;
/// Springs offered in a choice.
const OFFERED: i32 = 500;

/// The name of a spring of this id.
fn name_of(id: &str) -> String {
    Collection::Springs.name(id)
}

struct Gathered {
    spring: v1::Spring,
    tests: Vec<(v1::Run, Option<Rated>)>,
    /// The other spring of the pair, and the two runs that can be compared.
    pair: Option<(v1::Spring, Option<String>)>,
}

/// One spring.
pub(super) async fn view(
    State(page): State<Page>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response<Body>, Refusal> {
    let (name, measured, units) = (name_of(&id), page.measured.clone(), visitor.reply_units());
    let gathered = page
        .places
        .compute(move |bench| gather(bench, &measured, name, units))
        .await?;
    let frame = Frame {
        title: called(&gathered.spring),
        section: Section::Rack,
        visitor: Some(&visitor),
        scripts: &[],
    };
    Ok(guard::html(framed(&frame, shown(&gathered, &visitor))))
}

fn gather(bench: &Bench, measured: &Measured, name: String, units: i32) -> Result<Gathered, ServiceError> {
    let spring = bench.get_spring(v1::GetSpringRequest { name })?;
    let listed = bench.list_runs(v1::ListRunsRequest {
        page_size: TESTS,
        spring: spring.name.clone(),
        ..Default::default()
    })?;
    let tests = listed.runs.into_iter().map(|run| {
        let rated = rates::rated(bench, measured, &run, units);
        (run, rated)
    });
    let pair = other_of(bench, &spring).map(|other| {
        let runs = run_of(bench, &spring).zip(run_of(bench, &other));
        let compared = runs.map(|(mine, others)| format!("/compare?run={mine}&run={others}"));
        (other, compared)
    });
    Ok(Gathered {
        tests: tests.collect(),
        pair,
        spring,
    })
}

/// Id of the run a spring is compared by: its tested one, else its last.
fn run_of(bench: &Bench, spring: &v1::Spring) -> Option<String> {
    let last = || {
        let asked = v1::ListRunsRequest {
            page_size: 1,
            spring: spring.name.clone(),
            state: v1::RunState::Finished as i32,
            ..Default::default()
        };
        Some(bench.list_runs(asked).ok()?.runs.first()?.name.clone())
    };
    let chosen = Some(spring.tested_run.clone()).filter(|run| !run.is_empty());
    chosen.or_else(last)?.strip_prefix("runs/").map(str::to_owned)
}

fn other_of(bench: &Bench, spring: &v1::Spring) -> Option<v1::Spring> {
    if spring.pair_spring.is_empty() {
        return None;
    }
    let name = spring.pair_spring.clone();
    bench.get_spring(v1::GetSpringRequest { name }).ok()
}

fn shown(gathered: &Gathered, visitor: &Visitor) -> Markup {
    let spring = &gathered.spring;
    let measured = tested(gathered);
    let of = |length: Option<&v1::Length>| entered_in(length, visitor.units);
    html! {
        h1 { bdi { (called(spring)) } }
        @if spring.delete_time.is_some() { (deleted(spring)) }
        dl.figures.large {
            (row("Marked", entered_in(spring.marked_rate.as_ref(), visitor.units), Origin::Entered))
            @if let Some(rated) = measured {
                (row("Measured", Some(rated.rate.clone()), Origin::Measured))
                @if let Some(difference) = rated.difference {
                    (row("Against its mark", Some(soft_or_stiff(difference)), Origin::Computed))
                }
            }
        }
        @if let Some(drift) = drift(gathered) { p { "Last test against the one before: " (drift) " " (origin(Origin::Computed)) } }
        (said::caution())
        dl.figures {
            @if !spring.marking_text.is_empty() { (row("Mark as written", Some(spring.marking_text.clone()), Origin::Entered)) }
            (row("Free length", of(spring.free_length.as_ref()), Origin::Entered))
            (row("Solid length", of(spring.solid_length.as_ref()), Origin::Entered))
            (row("Wire", of(spring.wire_diameter.as_ref()), Origin::Entered))
            (row("Outside diameter", of(spring.outside_diameter.as_ref()), Origin::Entered))
            (row("Inside diameter", of(spring.inside_diameter.as_ref()), Origin::Entered))
            (row("Active coils", spring.active_coil_count.map(|count| count.to_string()), Origin::Entered))
            (row("All coils", spring.total_coil_count.map(|count| count.to_string()), Origin::Entered))
            @if !spring.rack_place.is_empty() { div { dt { "Place" } dd { bdi { (spring.rack_place) } } } }
        }
        @if let Some((other, compared)) = &gathered.pair {
            p {
                "Pair with " a href={ "/" (other.name) } { bdi { (called(other)) } }
                @if let Some(compared) = compared { ": " a href=(compared) { "compare their curves" } }
            }
        }
        @if !spring.notes.is_empty() { h2 { "Notes" } p.written { bdi { (spring.notes) } } }
        p.links { a.button href={ "/" (spring.name) "/edit" } { "Change what is written" } }
        (list(gathered))
        @if spring.delete_time.is_none() {
            details {
                summary { "Take it off the rack" }
                p { "It can be brought back for 30 days; its runs stay." }
                (form::act(&spring.name, &spring.etag, "delete", "Take off the rack"))
            }
        }
    }
}

/// The rate of the tested run, else of the newest that has one.
fn tested(gathered: &Gathered) -> Option<&Rated> {
    let chosen = &gathered.spring.tested_run;
    let tests = &gathered.tests;
    let of_chosen = tests.iter().find(|(run, _)| run.name == *chosen);
    let (_, rated) = match of_chosen {
        Some(test) => test,
        None if chosen.is_empty() => tests.iter().find(|(_, rated)| rated.is_some())?,
        None => return None,
    };
    rated.as_ref()
}

/// How far the last finished test is from the one before.
fn drift(gathered: &Gathered) -> Option<String> {
    let mut finished = gathered
        .tests
        .iter()
        .filter(|(run, _)| run.state() == v1::RunState::Finished);
    let [last, before] = [finished.next()?, finished.next()?];
    rates::drift(last.1.as_ref(), before.1.as_ref())
}

fn deleted(spring: &v1::Spring) -> Markup {
    html! {
        div.notice {
            p { "This spring was taken off the rack. It goes for good at " (moment(spring.purge_time.as_ref())) "." }
            (form::act(&spring.name, &spring.etag, "undelete", "Bring it back"))
        }
    }
}

fn list(gathered: &Gathered) -> Markup {
    html! {
        h2 { "Tests" }
        @if gathered.tests.is_empty() {
            p { "None yet." }
        } @else {
            form method="get" action="/compare" {
                table.cards {
                    caption { "Choose two to lay their curves over one another." }
                    thead { tr {
                        th scope="col" { "Compare" } th scope="col" { "Test" } th scope="col" { "Rate" } th scope="col" { "Against its mark" }
                    } }
                    tbody { @for (run, rated) in &gathered.tests { (test(gathered, run, rated.as_ref())) } }
                }
                p { button { "Compare the chosen two" } }
            }
        }
    }
}

fn test(gathered: &Gathered, run: &v1::Run, rated: Option<&Rated>) -> Markup {
    html! {
        tr {
            (rates::choice(run))
            th scope="row" {
                a href={ "/" (run.name) } { (moment(run.create_time.as_ref())) }
                @if run.name == gathered.spring.tested_run { " " span.origin { "the spring's measured rate" } }
            }
            (rates::cells(rated))
        }
    }
}

/// The form of a new spring.
pub(super) async fn new(State(page): State<Page>, visitor: Visitor) -> Result<Response<Body>, Refusal> {
    new_form(&page, &visitor, &Posted::default(), &[]).await
}

async fn new_form(
    page: &Page,
    visitor: &Visitor,
    fields: &Posted,
    faults: &[Violation],
) -> Result<Response<Body>, Refusal> {
    let others = page.places.wait(springs).await?;
    let form = Form {
        action: "/rack/new",
        button: "Put it on the rack",
        fields,
        faults,
        others: &others,
        units: visitor.units,
    };
    Ok(form_view("A new spring", visitor, &form))
}

fn form_view(title: &str, visitor: &Visitor, form: &Form<'_>) -> Response<Body> {
    let frame = Frame {
        title,
        section: Section::Rack,
        visitor: Some(visitor),
        scripts: &[],
    };
    let mut response = guard::html(framed(&frame, html! { h1 { bdi { (title) } } (form.shown()) }));
    if !form.faults.is_empty() {
        *response.status_mut() = StatusCode::BAD_REQUEST;
    }
    response
}

/// Springs to choose from: name and what each is called.
pub(super) fn springs(bench: &Bench) -> Result<Vec<(String, String)>, ServiceError> {
    let listed = bench.list_springs(v1::ListSpringsRequest {
        page_size: OFFERED,
        ..Default::default()
    })?;
    let mut springs: Vec<_> = listed
        .springs
        .into_iter()
        .map(|spring| (spring.name.clone(), called(&spring).to_owned()))
        .collect();
    springs.sort_by(|(_, a), (_, b)| a.cmp(b));
    Ok(springs)
}

/// What was read, unless something in it is wrong.
fn checked(posted: &Posted) -> (v1::Spring, Vec<Violation>) {
    let mut violations = Violations::new();
    let spring = spring_form::read(posted, &mut violations);
    (spring, violations.finish().err().unwrap_or_default())
}

/// Puts a spring on the rack.
pub(super) async fn create(
    State(page): State<Page>,
    visitor: Visitor,
    posted: Posted,
) -> Result<Response<Body>, Refusal> {
    let (spring, faults) = checked(&posted);
    if !faults.is_empty() {
        return new_form(&page, &visitor, &posted, &faults).await;
    }
    let request = v1::CreateSpringRequest {
        spring: Some(spring),
        request_id: posted.text("request_id").to_owned(),
        ..Default::default()
    };
    match page.places.wait(move |bench| bench.create_spring(request)).await {
        Ok(spring) => Ok(see_other(&format!("/{}", spring.name))),
        Err(ServiceError::InvalidFields(faults)) => new_form(&page, &visitor, &posted, &faults).await,
        Err(error) => Err(error.into()),
    }
}

/// The form of a spring that is there.
pub(super) async fn edit(
    State(page): State<Page>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response<Body>, Refusal> {
    let name = name_of(&id);
    let spring = page
        .places
        .wait(move |bench| bench.get_spring(v1::GetSpringRequest { name }))
        .await?;
    edit_form(&page, &visitor, &spring.name, &spring_form::fields(&spring), &[]).await
}

async fn edit_form(
    page: &Page,
    visitor: &Visitor,
    name: &str,
    fields: &Posted,
    faults: &[Violation],
) -> Result<Response<Body>, Refusal> {
    let mut others = page.places.wait(springs).await?;
    others.retain(|(other, _)| other != name);
    let action = format!("/{name}/edit");
    let form = Form {
        action: &action,
        button: "Save",
        fields,
        faults,
        others: &others,
        units: visitor.units,
    };
    let label = fields.text("label");
    Ok(form_view(if label.is_empty() { name } else { label }, visitor, &form))
}

/// Changes what is written of a spring.
pub(super) async fn update(
    State(page): State<Page>,
    visitor: Visitor,
    Path(id): Path<String>,
    posted: Posted,
) -> Result<Response<Body>, Refusal> {
    let name = name_of(&id);
    let (spring, faults) = checked(&posted);
    if !faults.is_empty() {
        return edit_form(&page, &visitor, &name, &posted, &faults).await;
    }
    let request = v1::UpdateSpringRequest {
        spring: Some(v1::Spring {
            name: name.clone(),
            ..spring
        }),
        update_mask: Some(mask(spring_form::FIELDS)),
        request_id: posted.text("request_id").to_owned(),
    };
    match page.places.wait(move |bench| bench.update_spring(request)).await {
        Ok(spring) => Ok(see_other(&format!("/{}", spring.name))),
        Err(ServiceError::InvalidFields(faults)) => edit_form(&page, &visitor, &name, &posted, &faults).await,
        Err(error) => Err(error.into()),
    }
}

fn mask(fields: &[&str]) -> FieldMask {
    FieldMask {
        paths: fields.iter().map(|field| (*field).to_owned()).collect(),
    }
}

/// Takes the rate of a run as the spring's measured one.
pub(super) async fn take_rate(
    State(page): State<Page>,
    Path(id): Path<String>,
    posted: Posted,
) -> Result<Response<Body>, Refusal> {
    let request = v1::UpdateSpringRequest {
        spring: Some(v1::Spring {
            name: name_of(&id),
            etag: posted.text("etag").to_owned(),
            tested_run: posted.text("run").to_owned(),
            ..Default::default()
        }),
        update_mask: Some(mask(&["tested_run"])),
        request_id: posted.text("request_id").to_owned(),
    };
    let spring = page.places.wait(move |bench| bench.update_spring(request)).await?;
    Ok(see_other(&format!("/{}", spring.name)))
}

form::acts! {
    /// Takes a spring off the rack.
    delete, DeleteSpringRequest, delete_spring;
    /// Brings one back.
    undelete, UndeleteSpringRequest, undelete_spring;
}
