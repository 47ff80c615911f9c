//! The valving bench: a stack is typed, drawn to scale and solved, and set against the one that is there.
//!
//! Everything asked stands in the address, so that a view can be kept, sent and loaded again. Without script the form
//! loads the view anew; with it the answer alone is drawn anew while a person types.

mod asked;
mod fields;
mod form;
mod found;
pub(crate) mod plots;
mod shown;

use axum::Router;
use axum::body::Body;
use axum::extract::{RawQuery, State};
use axum::routing::get;
use http::Response;
use maud::{Markup, html};
use wire::violation::Violation;

use super::form::Posted;
use super::layout::{Frame, Section, framed};
use super::refusal::Refusal;
use super::visitor::Visitor;
use super::{Page, assets, files, guard};
use crate::drawing;
use crate::error::ServiceError;
use found::Drawer;
use shown::Shown;

pub(super) fn routes() -> Router<Page> {
    Router::new()
        .route("/valving", get(view))
        .route("/valving/result", get(result))
        .route("/valving/section.svg", get(section_svg))
}

type Sent = Result<Response<Body>, Refusal>;

/// What is shown below the form.
struct Told {
    /// In a sentence.
    headline: String,
    /// The rest.
    body: Markup,
    /// Faults, each at its field.
    faults: Vec<Violation>,
}

/// What was written; the presets where nothing was.
fn written(query: Option<&str>) -> Posted {
    let mut posted = Posted::of_query(query);
    if query.is_none_or(str::is_empty) {
        for (name, preset) in fields::STACKS {
            posted.set(name, preset);
        }
        for field in fields::all() {
            posted.set(field.name, field.preset);
        }
    }
    posted
}

/// The whole view.
async fn view(State(page): State<Page>, visitor: Visitor, RawQuery(query): RawQuery) -> Sent {
    let posted = written(query.as_deref());
    let drawer = drawer(&page, &posted).await?;
    let result = answered(&page, &visitor, &posted, &drawer).await;
    let frame = Frame {
        title: "Valving",
        section: Section::Valving,
        visitor: Some(&visitor),
        scripts: &[&assets::TYPING],
    };
    let main = html! {
        h1 { "Valving bench" }
        div.verdict { p #said role="status" { (result.headline) } }
        div.valving {
            (form::form(&posted, &result.faults, &drawer))
            (shown(&result))
        }
    };
    Ok(guard::html(framed(&frame, main)))
}

/// The answer alone, for the script.
async fn result(State(page): State<Page>, visitor: Visitor, RawQuery(query): RawQuery) -> Sent {
    let posted = written(query.as_deref());
    let drawer = drawer(&page, &posted).await?;
    let result = answered(&page, &visitor, &posted, &drawer).await;
    Ok(guard::html(shown(&result).into_string()))
}

fn shown(result: &Told) -> Markup {
    let faults: Vec<&str> = result.faults.iter().map(|fault| fault.field.as_str()).collect();
    html! {
        div #result data-said=(result.headline) data-faults=(faults.join(" ")) { (result.body) }
    }
}

/// The section as a file.
async fn section_svg(State(page): State<Page>, visitor: Visitor, RawQuery(query): RawQuery) -> Sent {
    let posted = written(query.as_deref());
    let asked = asked::read(&posted, &drawer(&page, &posted).await?).map_err(ServiceError::InvalidFields)?;
    let (stack, units) = (asked.stack, visitor.units);
    let request = wire::v1::SolveStackRequest {
        source: Some(wire::v1::solve_stack_request::Source::Values(stack.clone())),
        pressures: vec![asked.pressure],
        reply_units: visitor.reply_units(),
        ..Default::default()
    };
    let solved = page.places.compute(move |bench| bench.solve_stack(request)).await?;
    let drawn = drawing::section_file(&stack, Some(&solved), units).map_err(ServiceError::InvalidFields)?;
    Ok(files::attached("image/svg+xml", "stack.svg", Body::from(drawn)))
}

/// What the drawer has for the form: what is named in it, and some to choose from.
async fn drawer(page: &Page, posted: &Posted) -> Result<Drawer, ServiceError> {
    let named = fields::STACKS.map(|(name, _)| posted.text(name).to_owned());
    let damper = posted.text(fields::FITTED).to_owned();
    page.places
        .wait(move |bench| found::drawer(bench, &named, &damper))
        .await
}

/// Asks the bench what was written. Whatever is wrong is said in place of the answer: what was written stays.
async fn answered(page: &Page, visitor: &Visitor, posted: &Posted, drawer: &Drawer) -> Told {
    let rebound = asked::in_rebound(posted);
    let asked = match asked::read(posted, drawer) {
        Ok(asked) => asked,
        Err(faults) => return faulty(faults),
    };
    let (stack, present) = (asked.stack.clone(), asked.present.clone());
    let units = visitor.units;
    match page.places.compute(move |bench| found::of(bench, asked, units)).await {
        Ok(found) => {
            let shown = Shown {
                stack: &stack,
                fitted: drawer.fitted.as_ref().map(|fitted| &fitted.damper),
                present: present.as_ref(),
                rebound,
                found: &found,
                units,
            };
            let other = plots::stroke(!rebound);
            let damper = match &found.damped {
                Some(Err(ServiceError::InvalidFields(faults))) => at_fields(faults, other),
                _ => Vec::new(),
            };
            Told {
                headline: shown.headline(),
                body: html! { (shown.shown()) (form::in_print(posted)) },
                faults: damper,
            }
        }
        Err(ServiceError::InvalidFields(faults)) => faulty(at_fields(&faults, plots::stroke(!rebound))),
        Err(error) => Told {
            headline: "No answer.".to_owned(),
            body: shown::refused(&error),
            faults: Vec::new(),
        },
    }
}

/// Faults of a request, by the fields of the form.
fn at_fields(faults: &[Violation], other: &str) -> Vec<Violation> {
    let at = |fault: &Violation| Violation {
        field: fields::of_path(&fault.field, other).to_owned(),
        ..fault.clone()
    };
    faults.iter().map(at).collect()
}

fn faulty(faults: Vec<Violation>) -> Told {
    Told {
        headline: "No answer: something that was written cannot be read.".to_owned(),
        body: html! {
            div.notice {
                p { "Look at:" }
                ul {
                    @for fault in &faults { li { a href={ "#" (fault.field) } { bdi { (form::label(&fault.field)) ": " (fault.description) } } } }
                }
            }
        },
        faults,
    }
}
