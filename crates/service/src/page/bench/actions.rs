//! What is done at the bench by hand: each form one change, each change the same operation the API calls.

use axum::body::Body;
use axum::extract::State;
use http::Response;
use mechanics::quantity::{Entered, StiffnessUnit, TextError, Unit as _};
use prost_types::FieldMask;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::instruction::Action;
use wire::violation::Violations;

use super::super::Page;
use super::super::form::{Posted, see_other};
use super::super::refusal::Refusal;
use super::with_tester;
use crate::error::ServiceError;

type Answer = Result<Response<Body>, Refusal>;

fn back(posted: &Posted) -> Answer {
    Ok(see_other(&with_tester("/", posted.text("tester"))))
}

fn request_id(posted: &Posted) -> String {
    posted.text("request_id").to_owned()
}

/// Tells the instrument.
pub(in super::super) async fn instruct(State(page): State<Page>, posted: Posted) -> Answer {
    let action = match posted.text("tell") {
        "start" => Action::Start,
        "tare" => Action::TareMark,
        "finish" => Action::Finish,
        "stop" => Action::Stop,
        // Refused by its number, as any other number would be.
        _ => Action::Unspecified,
    };
    tell(&page, posted.text("run"), action, request_id(&posted)).await?;
    back(&posted)
}

async fn tell(page: &Page, run: &str, action: Action, request_id: String) -> Result<(), ServiceError> {
    let request = v1::InstructRunRequest {
        name: run.to_owned(),
        action: action.into(),
        text: "from the page".to_owned(),
        request_id,
    };
    page.places.wait(move |bench| bench.instruct_run(request)).await?;
    Ok(())
}

/// Says which spring a run is of.
pub(in super::super) async fn assign(State(page): State<Page>, posted: Posted) -> Answer {
    let (run, spring) = (posted.text("run"), posted.text("spring"));
    put_on(&page, run, spring, request_id(&posted)).await?;
    back(&posted)
}

async fn put_on(page: &Page, run: &str, spring: &str, request_id: String) -> Result<(), ServiceError> {
    let request = v1::UpdateRunRequest {
        run: Some(v1::Run {
            name: run.to_owned(),
            spring: spring.to_owned(),
            ..Default::default()
        }),
        update_mask: Some(mask("spring")),
        request_id,
    };
    page.places.wait(move |bench| bench.update_run(request)).await?;
    Ok(())
}

fn mask(path: &str) -> FieldMask {
    FieldMask {
        paths: vec![path.to_owned()],
    }
}

/// Puts a spring on the rack, and on the tester.
pub(in super::super) async fn name(State(page): State<Page>, posted: Posted) -> Answer {
    let mut spring = v1::Spring {
        label: posted.text("label").to_owned(),
        ..Default::default()
    };
    mark(&mut spring, posted.text("marking"))?;
    let request = v1::CreateSpringRequest {
        spring: Some(spring),
        request_id: request_id(&posted),
        ..Default::default()
    };
    let made = page.places.wait(move |bench| bench.create_spring(request)).await?;
    put_on(
        &page,
        posted.text("run"),
        &made.name,
        posted.text("assign_id").to_owned(),
    )
    .await?;
    back(&posted)
}

/// A mark with a unit is a rate; one without is kept as it stands, and every sensible reading of it is tried later.
fn mark(spring: &mut v1::Spring, typed: &str) -> Result<(), ServiceError> {
    if typed.is_empty() {
        return Ok(());
    }
    match typed.parse::<Entered<StiffnessUnit>>() {
        Ok(rate) => {
            spring.marked_rate = Some(v1::Stiffness {
                value: Some(rate.value()),
                unit: rate.unit().row().number,
            });
        }
        Err(TextError::UnitMissing { .. }) => spring.marking_text = typed.to_owned(),
        Err(error) => {
            let mut violations = Violations::new();
            violations.push("marking", Reason::OutOfRange, error);
            violations.finish()?;
        }
    }
    Ok(())
}

/// Makes a test the spring's measured rate.
pub(in super::super) async fn keep(State(page): State<Page>, posted: Posted) -> Answer {
    let request = v1::UpdateSpringRequest {
        spring: Some(v1::Spring {
            name: posted.text("spring").to_owned(),
            tested_run: posted.text("run").to_owned(),
            ..Default::default()
        }),
        update_mask: Some(mask("tested_run")),
        request_id: request_id(&posted),
    };
    page.places.wait(move |bench| bench.update_spring(request)).await?;
    back(&posted)
}

/// Gives a test up: a finished one can be brought back for 30 days.
pub(in super::super) async fn discard(State(page): State<Page>, posted: Posted) -> Answer {
    let (name, request_id) = (posted.text("run").to_owned(), request_id(&posted));
    page.places
        .wait(move |bench| {
            let run = bench.get_run(v1::GetRunRequest { name: name.clone() })?;
            let finished = run.state() == v1::RunState::Finished;
            match finished {
                true => bench.delete_run(v1::DeleteRunRequest {
                    name,
                    request_id,
                    ..Default::default()
                }),
                false => bench.discard_run(v1::DiscardRunRequest {
                    name,
                    request_id,
                    ..Default::default()
                }),
            }
        })
        .await?;
    back(&posted)
}

/// Seals an interrupted test as it is.
pub(in super::super) async fn finish(State(page): State<Page>, posted: Posted) -> Answer {
    let request = v1::FinishRunRequest {
        name: posted.text("run").to_owned(),
        request_id: request_id(&posted),
        ..Default::default()
    };
    page.places.wait(move |bench| bench.finish_run(request)).await?;
    back(&posted)
}

/// Presses the same spring again.
pub(in super::super) async fn repeat(State(page): State<Page>, posted: Posted) -> Answer {
    let run = posted.text("run");
    put_on(&page, run, posted.text("spring"), posted.text("assign_id").to_owned()).await?;
    tell(&page, run, Action::Start, request_id(&posted)).await?;
    back(&posted)
}
