//! The machines of the book, each on a view laid out as the work goes: what is fitted, as found, the judgement, as left.
//!
//! What is typed goes in the body of a request, never in an address: it is about a rider. Without script a button draws
//! the view anew; with it the judgement alone is drawn anew while a person types.

mod ahead;
mod fields;
mod fitted;
mod form;
mod history;
mod judged;
mod kept;
mod list;
mod paper;
mod sag;
mod saving;
mod told;
mod words;

use axum::Router;
use axum::body::Body;
use axum::extract::{Path, RawQuery, State};
use axum::routing::{get, post};
use http::{Response, StatusCode};
use maud::{Markup, html};
use mechanics::quantity::{LengthUnit, Unit as _};
use wire::violation::Violation;

use super::form::{Posted, see_other};
use super::layout::{Frame, Section, framed};
use super::refusal::Refusal;
use super::visitor::Visitor;
use super::words::moment;
use super::{Page, assets, guard};
use crate::bench::Bench;
use crate::error::ServiceError;
use crate::shell::http_refusal;
use ahead::Ahead;
use fields::Moment;
use history::History;
use kept::{Kept, Wanted};
use saving::Saved;
use told::{Told, left, look_at, missing, result};

pub(super) fn routes() -> Router<Page> {
    Router::new()
        .route("/machines", get(list::view))
        .route("/machines/{id}", get(view))
        .route("/machines/{id}/judged", post(judged).get(back))
        .route("/machines/{id}/judgement", post(judgement))
        .route("/machines/{id}/found", post(save_found).get(back))
        .route("/machines/{id}/left", post(save_left).get(back))
        .route("/machines/{id}/sheet/{setup}", get(paper::view))
}

type Sent = Result<Response<Body>, Refusal>;

/// A view before it is framed.
struct Scene {
    kept: Kept,
    posted: Posted,
    told: Told,
    history: History,
    ahead: Option<Ahead>,
}

/// What a view is asked with.
#[derive(Default)]
struct Query {
    history: history::Asked,
    ahead: ahead::Asked,
}

/// What became of the form that was sent.
enum Outcome {
    /// None was.
    Nothing,
    /// It is saved: as found, or as left.
    Saved(&'static str),
    /// Nothing is saved: faults stand at their fields.
    Faulty(Vec<Violation>),
    /// Nothing is saved.
    Refused(ServiceError),
}

/// The view of a machine, from the book.
async fn view(State(page): State<Page>, visitor: Visitor, Path(id): Path<String>, RawQuery(query): RawQuery) -> Sent {
    let posted = Posted::of_query(query.as_deref());
    let wanted = Wanted::of(posted.text("setup"), posted.text("visit"));
    let outcome = match posted.text("saved") {
        "found" => Outcome::Saved("as found"),
        "left" => Outcome::Saved("as left"),
        _ => Outcome::Nothing,
    };
    let query = Query {
        history: history::Asked {
            compare: posted.all("compare").map(str::to_owned).collect(),
            from: posted.text("page").to_owned(),
        },
        ahead: ahead::Asked::of(&posted),
    };
    let scene = scene(&page, &visitor, id, wanted, None, query).await?;
    Ok(shown(&scene, &visitor, outcome))
}

/// The view with what was typed judged: for readers without script.
async fn judged(State(page): State<Page>, visitor: Visitor, Path(id): Path<String>, posted: Posted) -> Sent {
    let wanted = wanted(&posted);
    let scene = scene(&page, &visitor, id, wanted, Some(posted), Query::default()).await?;
    Ok(shown(&scene, &visitor, Outcome::Nothing))
}

async fn save_found(page: State<Page>, visitor: Visitor, id: Path<String>, posted: Posted) -> Sent {
    save(page, visitor, id, posted, Moment::Found).await
}

async fn save_left(page: State<Page>, visitor: Visitor, id: Path<String>, posted: Posted) -> Sent {
    save(page, visitor, id, posted, Moment::Left).await
}

/// Saves the visit and shows it. A refusal shows what was written, with what is wrong, and saves nothing.
async fn save(
    State(page): State<Page>,
    visitor: Visitor,
    Path(id): Path<String>,
    posted: Posted,
    moment: Moment,
) -> Sent {
    let (machine, written) = (id.clone(), posted.clone());
    let saved = page
        .places
        .wait(move |bench| saving::save(bench, &machine, &written, moment))
        .await?;
    let (wanted, outcome) = match saved {
        Saved::Done(name) => {
            let path = format!("/machines/{id}?setup={}&saved={}", kept::id_of(&name), moment.word());
            return Ok(see_other(&path));
        }
        Saved::Faulty(faults) => (wanted(&posted), Outcome::Faulty(faults)),
        // What is there now is what a second try is set against.
        Saved::Refused(error @ ServiceError::StaleEtag { .. }) => {
            let named = posted.text("setup");
            let now = named.split('@').next().unwrap_or(named);
            (Wanted::of(now, ""), Outcome::Refused(error))
        }
        Saved::Refused(error) => (wanted(&posted), Outcome::Refused(error)),
    };
    let scene = scene(&page, &visitor, id, wanted, Some(posted), Query::default()).await?;
    Ok(shown(&scene, &visitor, outcome))
}

/// The judgement was asked for by address: what was typed is not in it.
async fn back(Path(id): Path<String>) -> Response<Body> {
    see_other(&format!("/machines/{id}"))
}

/// The judgement alone, for the script.
async fn judgement(State(page): State<Page>, visitor: Visitor, Path(id): Path<String>, posted: Posted) -> Sent {
    let wanted = wanted(&posted);
    let units = visitor.clone();
    let told = page
        .places
        .compute(move |bench| {
            let kept = kept::read(bench, &id, &wanted)?;
            Ok(told::told(bench, &kept, &posted, &units))
        })
        .await?;
    let parts = html! { (result(&told)) (missing(&told)) (left(&told)) };
    Ok(guard::html(parts.into_string()))
}

/// The visit a form is about.
fn wanted(posted: &Posted) -> Wanted {
    match posted.text("setup") {
        "" => Wanted::New,
        named => Wanted::of(named, ""),
    }
}

async fn scene(
    page: &Page,
    visitor: &Visitor,
    id: String,
    wanted: Wanted,
    posted: Option<Posted>,
    query: Query,
) -> Result<Scene, ServiceError> {
    let visitor = visitor.clone();
    page.places
        .compute(move |bench| {
            let kept = kept::read(bench, &id, &wanted)?;
            let posted = posted.unwrap_or_else(|| filled(bench, &kept, &visitor));
            let units = visitor.reply_units();
            Ok(Scene {
                told: told::told(bench, &kept, &posted, &visitor),
                history: history::read(bench, &kept, query.history, units)?,
                ahead: ahead::read(bench, &kept, query.ahead, units),
                kept,
                posted,
            })
        })
        .await
}

/// The form as it begins.
fn filled(bench: &Bench, kept: &Kept, visitor: &Visitor) -> Posted {
    const SECOND: i64 = 1_000_000_000;
    let now = prost_types::Timestamp {
        seconds: bench.now().as_nanos() / SECOND,
        nanos: 0,
    };
    fields::filled(kept, LengthUnit::of_system(visitor.units), &fields::day_of(&now))
}

/// What became of the form, above everything else.
fn outcome_told(outcome: &Outcome, kept: &Kept) -> Markup {
    html! {
        @match outcome {
            Outcome::Nothing => {}
            Outcome::Saved(what) => p.saved role="status" {
                "Saved " (what)
                @if let Some(setup) = &kept.setup { ", revision " (setup.revision) }
                "."
            }
            Outcome::Faulty(faults) => div role="alert" {
                p { strong { "Nothing was saved." } }
                (look_at(faults, kept))
            }
            Outcome::Refused(error) => div.notice role="alert" {
                p { bdi { (error) } }
                @if let ServiceError::StaleEtag { .. } = error {
                    p {
                        "Nothing was saved. Somebody else has changed this visit meanwhile: "
                        a href=(kept.address()) target="_blank" { "look at what is there now" }
                        ". What you had written stands below; saving it again puts it in the place of theirs."
                    }
                } @else {
                    p { "Nothing was saved by this. What you had written stands below." }
                }
            }
        }
    }
}

fn shown(scene: &Scene, visitor: &Visitor, outcome: Outcome) -> Response<Body> {
    let Scene { kept, posted, told, .. } = scene;
    // Whoever chooses other units comes back to the visit, not to what was posted.
    let visitor = &Visitor {
        here: kept.address(),
        ..visitor.clone()
    };
    // No title tells whose the machine is.
    let title = format!("Machine {}", kept.id());
    let frame = Frame {
        title: &title,
        section: Section::Machines,
        visitor: Some(visitor),
        scripts: &[&assets::TYPING],
    };
    let faults = match &outcome {
        Outcome::Faulty(faults) => faults,
        _ => &told.faults,
    };
    let form = form::Form {
        kept,
        posted,
        faults,
        units: visitor.units,
    };
    let judgement = html! {
        section.judgement aria-labelledby="h-judgement" {
            h2 #h-judgement { "Judgement" }
            div.verdict { p #said role="status" { (told.headline) } }
            (result(told))
        }
    };
    let main = html! {
        h1 { bdi { (kept.called()) } }
        (outcome_told(&outcome, kept))
        @if kept.machine.delete_time.is_some() {
            div.notice { p { "This machine was taken out of the book. It goes for good at " (moment(kept.machine.purge_time.as_ref())) "." } }
        }
        (fitted::shown(kept, visitor.units))
        section aria-labelledby="h-missing" {
            h2 #h-missing { "Not known yet" }
            (missing(told))
        }
        (worked_on(kept, scene.ahead.as_ref()))
        (form.shown(&judgement, &left(told)))
        (scene.history.shown(kept, visitor.units))
        (ahead::shown(scene.ahead.as_ref(), kept))
    };
    let mut response = guard::html(framed(&frame, main));
    if let Outcome::Refused(error) = &outcome {
        return http_refusal(error, response);
    }
    if !faults.is_empty() {
        *response.status_mut() = StatusCode::BAD_REQUEST;
    }
    response
}

/// Which visit the form is about, and the way to another.
fn worked_on(kept: &Kept, ahead: Option<&Ahead>) -> Markup {
    let id = kept.id();
    let asked = ahead.map(|ahead| ahead.asked.query()).filter(|query| !query.is_empty());
    let query = asked.map(|query| format!("?{query}")).unwrap_or_default();
    html! {
        p.links {
            @if let Some(setup) = &kept.setup {
                span { "Visit of " (moment(kept::time_of(setup).as_ref())) ", revision " (setup.revision) "." }
                a.button href={ "/machines/" (id) "?visit=new" } { "Begin a new visit" }
                a.button href={ "/machines/" (id) "/sheet/" (kept::id_of(&setup.name)) (query) } { "Job sheet" }
                a.button href={ "/machines/" (id) "/sheet/" (kept::id_of(&setup.name)) ".pdf" (query) } { "Job sheet as PDF" }
            } @else {
                span { "A new visit. Settings stand as the machine left last time: look before you trust them." }
                @if !kept.setups.is_empty() { a.button href={ "/machines/" (id) } { "Back to the last visit" } }
            }
        }
    }
}
