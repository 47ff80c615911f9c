//! One run: its curve, what it says of its spring, and the forms that assign, finish or give it up.

use std::sync::Arc;

use axum::body::Body;
use axum::extract::{Path, State};
use http::Response;
use maud::{Markup, PreEscaped, html};
use prost_types::FieldMask;
use wire::names::Collection;
use wire::v1;
use wire::v1::RunState;

use super::form::{self, Posted, see_other};
use super::layout::{Frame, Section, framed};
use super::measured::{Measured, Outcome, spring_of};
use super::rack::called;
use super::refusal::Refusal;
use super::runs::standing;
use super::spring::springs;
use super::visitor::Visitor;
use super::words::{Origin, estimated, moment, origin, row};
use super::{Page, curve, guard, said, shape};
use crate::bench::Bench;
use crate::error::ServiceError;

/// The name of a run of this id.
pub(super) fn name_of(id: &str) -> String {
    Collection::Runs.name(id)
}

/// A run with its spring and what it says.
pub(super) struct Gathered {
    pub(super) run: v1::Run,
    pub(super) spring: Option<v1::Spring>,
    pub(super) outcome: Arc<Outcome>,
}

impl Gathered {
    /// What it is called: its spring's label, or that it has none.
    pub(super) fn title(&self) -> &str {
        self.spring.as_ref().map_or("Spring not named yet", called)
    }
}

/// Reads a run and reduces it. Blocks, and may compute for long.
pub(super) fn gather(bench: &Bench, measured: &Measured, name: String, units: i32) -> Result<Gathered, ServiceError> {
    let run = bench.get_run(v1::GetRunRequest { name })?;
    let spring = spring_of(bench, &run);
    let outcome = measured.of(bench, &run, units);
    Ok(Gathered { run, spring, outcome })
}

/// The run of this id with what it says, in the units of whoever looks.
pub(super) async fn gathered(page: &Page, visitor: &Visitor, id: &str) -> Result<Gathered, ServiceError> {
    let (name, measured, units) = (name_of(id), page.measured.clone(), visitor.reply_units());
    page.places
        .compute(move |bench| gather(bench, &measured, name, units))
        .await
}

/// One run.
pub(super) async fn view(
    State(page): State<Page>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response<Body>, Refusal> {
    let gathered = gathered(&page, &visitor, &id).await?;
    let others = page.places.wait(springs).await?;
    let frame = Frame {
        title: gathered.title(),
        section: Section::Runs,
        visitor: Some(&visitor),
        scripts: &[],
    };
    Ok(guard::html(framed(&frame, shown(&gathered, &others))))
}

fn shown(gathered: &Gathered, others: &[(String, String)]) -> Markup {
    let run = &gathered.run;
    html! {
        h1 { bdi { (gathered.title()) } }
        p {
            "Recorded " (moment(run.create_time.as_ref())) ", " (standing(run)) ", " (run.sample_count) " samples"
            @if let Some(spring) = &gathered.spring { ", of " a href={ "/" (spring.name) } { "this spring" } }
            "."
        }
        @match gathered.outcome.as_ref() {
            Ok(reply) => (reduced(gathered, reply)),
            Err(ServiceError::Deleted { .. }) => (PreEscaped("")),
            Err(ServiceError::RunOpen { .. }) => p { "It is being recorded; what it says is told when it is finished. " a href="/" { "Watch it at the bench" } },
            Err(error) => div.notice { p { bdi { (error) } } },
        }
        @if !run.gaps.is_empty() { (gaps(run)) }
        (assign(run, others))
        (close(run))
    }
}

fn reduced(gathered: &Gathered, reply: &v1::ReduceRunResponse) -> Markup {
    let run = &gathered.run;
    let plot = curve::of_run(&format!("Curve of {}", gathered.title()), reply);
    html! {
        div.two.told {
            div {
                (said::verdict(reply))
                dl.figures.large { (row("Rate", estimated(reply.rate.as_ref()), Origin::Measured)) }
                @if let Some(spring) = &gathered.spring { (take(run, spring)) }
                (said::findings(&reply.findings))
                (said::caution_beside(&reply.findings))
            }
            div {
                @if let Some(plot) = plot { (plot.figure()) }
                p.hint { "Neighbouring readings are drawn as their mean, the no-load level taken off. " (origin(Origin::Measured)) }
            }
        }
        (said::figures(reply))
        (shape::told(reply))
        p.links {
            a.button href={ "/" (run.name) "/report" } { "Test report to print" }
            a.button href={ "/" (run.name) "/curve.svg" } { "Curve as SVG" }
            a.button href={ "/" (run.name) "/samples.csv" } { "Samples as CSV" }
        }
        details { summary { "Where the uncertainty comes from" } (said::budget(reply)) }
        (said::assumptions(&reply.assumptions))
    }
}

/// Takes the run's rate as the spring's measured one.
fn take(run: &v1::Run, spring: &v1::Spring) -> Markup {
    html! {
        @if spring.tested_run == run.name {
            p { "This run gives the spring's measured rate." }
        } @else if run.state() == RunState::Finished {
            form method="post" action={ "/" (spring.name) "/tested" } {
                (form::request_id())
                (form::etag(&spring.etag))
                input type="hidden" name="run" value=(run.name);
                button.main { "Take this as the spring's measured rate" }
            }
        }
    }
}

fn gaps(run: &v1::Run) -> Markup {
    html! {
        h2 { "Gaps" }
        ul {
            @for gap in &run.gaps {
                li {
                    "before block " (gap.block)
                    @if let Some(lost) = gap.lost_sample_count { ": " (lost) " samples lost" }
                    @if !gap.cause.is_empty() { ", " bdi { (gap.cause) } }
                }
            }
        }
    }
}

fn assign(run: &v1::Run, others: &[(String, String)]) -> Markup {
    let known = run.spring.is_empty() || others.iter().any(|(name, _)| *name == run.spring);
    html! {
        h2 { "Spring and notes" }
        form method="post" action={ "/" (run.name) } {
            (form::request_id())
            (form::etag(&run.etag))
            div.fields {
                div.field {
                    label for="spring" { "The spring that was pressed" }
                    select #spring name="spring" {
                        option value="" { "not named yet" }
                        @if !known { option value=(run.spring) selected { (run.spring) } }
                        @for (name, called) in others { option value=(name) selected[*name == run.spring] { (called) } }
                    }
                }
                div.field.wide {
                    label for="notes" { "Notes" }
                    textarea #notes name="notes" maxlength="4000" dir="auto" { (run.notes) }
                }
            }
            button { "Save" }
        }
    }
}

/// What can still become of it.
fn close(run: &v1::Run) -> Markup {
    html! {
        @if run.delete_time.is_some() {
            div.notice {
                p { "This run was deleted. It goes for good at " (moment(run.purge_time.as_ref())) "." }
                (form::act(&run.name, &run.etag, "undelete", "Bring it back"))
            }
        } @else {
            @match run.state() {
                RunState::Recording => details {
                    summary { "Discard it" }
                    p { "The recording ends and gives no rate. Its samples stay until the run is deleted for good." }
                    (form::act(&run.name, &run.etag, "discard", "Discard the run"))
                },
                RunState::Interrupted => details open {
                    summary { "It ended without a finish" }
                    p { "Its instrument can take it up again for 24 hours. Finish it as it is, or give it up." }
                    (form::act(&run.name, &run.etag, "finish", "Finish as it is"))
                    (form::act(&run.name, &run.etag, "discard", "Discard the run"))
                },
                _ => details {
                    summary { "Delete it" }
                    p { "It can be brought back for 30 days." }
                    (form::act(&run.name, &run.etag, "delete", "Delete the run"))
                },
            }
        }
    }
}

/// Assigns the spring and writes the notes.
pub(super) async fn update(
    State(page): State<Page>,
    Path(id): Path<String>,
    posted: Posted,
) -> Result<Response<Body>, Refusal> {
    let request = v1::UpdateRunRequest {
        run: Some(v1::Run {
            name: name_of(&id),
            etag: posted.text("etag").to_owned(),
            spring: posted.text("spring").to_owned(),
            notes: posted.text("notes").to_owned(),
            ..Default::default()
        }),
        update_mask: Some(FieldMask {
            paths: vec!["spring".to_owned(), "notes".to_owned()],
        }),
        request_id: posted.text("request_id").to_owned(),
    };
    let run = page.places.wait(move |bench| bench.update_run(request)).await?;
    Ok(see_other(&format!("/{}", run.name)))
}

form::acts! {
    /// Seals an interrupted run as it is.
    finish, FinishRunRequest, finish_run;
    /// Gives a run up.
    discard, DiscardRunRequest, discard_run;
    /// Deletes a run.
    delete, DeleteRunRequest, delete_run;
    /// Brings a deleted run back.
    undelete, UndeleteRunRequest, undelete_run;
}
