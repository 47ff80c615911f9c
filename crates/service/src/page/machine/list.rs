//! The machines of the book: what each is, when it was last here, and what waits.

use axum::body::Body;
use axum::extract::{RawQuery, State};
use http::Response;
use maud::{Markup, html};
use mechanics::chassis::End;
use wire::v1;

use super::kept::{called, id_of, time_of};
use super::words::{ENDS, asked_for, damper_type, unit_of};
use crate::bench::Bench;
use crate::error::ServiceError;
use crate::page::form::Posted;
use crate::page::layout::{Frame, Section, framed};
use crate::page::refusal::Refusal;
use crate::page::visitor::Visitor;
use crate::page::words::{Origin, moment, origin};
use crate::page::{Page, guard};

/// Machines on one view.
const PAGE: i32 = 25;
/// Visits looked through for the last ones of these machines, newest first.
const RECENT: i32 = 500;

struct Line {
    machine: v1::Machine,
    last: Option<v1::Setup>,
    /// What the judgement of the last visit asks for first.
    waits: Option<Waits>,
}

struct Waits {
    text: String,
    hazard: bool,
}

struct Listed {
    lines: Vec<Line>,
    next: String,
}

/// The list, or the part of it whose labels hold a text.
pub(super) async fn view(
    State(page): State<Page>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response<Body>, Refusal> {
    let query = Posted::of_query(query.as_deref());
    let label = query.text("label").to_owned();
    let asked = v1::ListMachinesRequest {
        page_size: PAGE,
        page_token: query.text("page").to_owned(),
        label_contains: label.clone(),
        ..Default::default()
    };
    let units = visitor.reply_units();
    let listed = page.places.compute(move |bench| gather(bench, asked, units)).await?;
    let frame = Frame {
        title: "Machines",
        section: Section::Machines,
        visitor: Some(&visitor),
        scripts: &[],
    };
    Ok(guard::html(framed(&frame, shown(&listed, &label))))
}

fn gather(bench: &Bench, asked: v1::ListMachinesRequest, units: i32) -> Result<Listed, ServiceError> {
    let listed = bench.list_machines(asked)?;
    let recent = bench.list_setups(v1::ListSetupsRequest {
        page_size: RECENT,
        ..Default::default()
    })?;
    let mut lines = Vec::new();
    for machine in listed.machines {
        let own = recent.setups.iter().filter(|setup| setup.machine == machine.name);
        let mut last = own.max_by_key(|setup| time_of(setup).map(|time| time.seconds)).cloned();
        if last.is_none() && !recent.next_page_token.is_empty() {
            let asked = v1::ListSetupsRequest {
                page_size: 1,
                machine: machine.name.clone(),
                ..Default::default()
            };
            last = bench.list_setups(asked)?.setups.into_iter().next();
        }
        let waits = last.as_ref().map(|setup| waits(bench, setup, units));
        lines.push(Line { machine, last, waits });
    }
    Ok(Listed {
        lines,
        next: listed.next_page_token,
    })
}

/// What the setup, as it left, asks for first; a setup that cannot be judged says why.
fn waits(bench: &Bench, setup: &v1::Setup, reply_units: i32) -> Waits {
    let source = v1::judge_setup_request::Source::Setup(v1::SagOfSetup {
        name: setup.name.clone(),
        ..Default::default()
    });
    let judged = bench.judge_setup(v1::JudgeSetupRequest {
        source: Some(source),
        reply_units,
        ..Default::default()
    });
    let quiet = |text: String| Waits { text, hazard: false };
    let reply = match judged {
        Ok(reply) => reply,
        Err(error) => return quiet(format!("cannot be judged: {error}")),
    };
    let first = reply.first_change.and_then(|index| usize::try_from(index).ok());
    match first.and_then(|index| reply.verdicts.get(index)) {
        Some(first) => Waits {
            text: asked_for(first).to_owned(),
            hazard: first.hazard,
        },
        None if reply.verdicts.is_empty() => quiet("nothing can be judged yet".to_owned()),
        None => quiet("nothing".to_owned()),
    }
}

/// What kind of machine it is, by what can be set on it.
fn class(machine: &v1::MachineValues) -> String {
    let adjusters = |end: End| unit_of(machine, end).map_or(0, |unit| unit.adjusters.len());
    let units: Vec<String> = ENDS
        .into_iter()
        .filter_map(|end| {
            let kind = damper_type(unit_of(machine, end)?.damper_type);
            let unit = if end == End::Front { "fork" } else { "rear" };
            (!kind.is_empty()).then(|| format!("{unit}: {kind}"))
        })
        .collect();
    let set = match (adjusters(End::Front), adjusters(End::Rear)) {
        (0, 0) => "no damping adjusters entered",
        (0, _) => "damping is set at the rear only",
        (_, 0) => "damping is set at the fork only",
        (front, rear) if front > 1 && rear > 1 => "damping is set at both ends, both ways",
        _ => "damping is set at both ends",
    };
    let mut said = units;
    said.push(set.to_owned());
    said.join("; ")
}

fn shown(listed: &Listed, label: &str) -> Markup {
    html! {
        h1 { "Machines" }
        form.inline method="get" action="/machines" role="search" {
            label for="label" { "Label contains" }
            input #label name="label" value=(label) maxlength="200";
            " " button { "Show" }
        }
        @if listed.lines.is_empty() {
            @if label.is_empty() {
                p { "The book has no machines. They are entered through the API, or with " code { "springwright book create-machine" } "." }
            } @else {
                p { "No machine's label contains that." }
            }
        } @else {
            table.cards {
                caption { "What waits is the one change to make first, judged from the last visit as it was left." }
                thead { tr {
                    th scope="col" { "Machine" }
                    th scope="col" { "Class" }
                    th scope="col" { "Last visit" }
                    th scope="col" { "What waits" }
                } }
                tbody { @for line in &listed.lines { (one(line)) } }
            }
        }
        @if !listed.next.is_empty() { p { a href=(more(label, &listed.next)) { "More machines" } } }
    }
}

fn more(label: &str, token: &str) -> String {
    let mut query = form_urlencoded::Serializer::new("/machines?".to_owned());
    let query = query.append_pair("label", label).append_pair("page", token);
    query.finish()
}

fn one(line: &Line) -> Markup {
    let none = v1::MachineValues::default();
    html! {
        tr {
            th.name scope="row" { a href={ "/machines/" (id_of(&line.machine.name)) } { bdi { (called(&line.machine)) } } }
            td data-label="Class" { (class(line.machine.values.as_ref().unwrap_or(&none))) }
            td data-label="Last visit" {
                @if let Some(last) = &line.last { (moment(time_of(last).as_ref())) } @else { "never" }
            }
            td data-label="What waits" {
                @if let Some(waits) = &line.waits {
                    @if waits.hazard { strong.hazard { "Hazard" } " " }
                    bdi { (waits.text) } " " (origin(Origin::Computed))
                } @else { "a first visit" }
            }
        }
    }
}
