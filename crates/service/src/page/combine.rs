//! Springs put together: from the rack or as typed, side by side or one on another, with stops, preload and the air of a fork.

mod ask;
mod view;

use axum::body::Body;
use axum::extract::{RawQuery, State};
use http::Response;
use wire::v1;
use wire::violation::Violation;

use super::form::Posted;
use super::layout::{Frame, Section, framed};
use super::refusal::Refusal;
use super::spring::springs;
use super::visitor::Visitor;
use super::{Page, assets, guard};
use crate::bench::Bench;
use crate::error::ServiceError;
use ask::Asked;

/// What the springs do, or why that is not told.
enum Outcome {
    /// Nothing was asked yet.
    Nothing,
    /// What is wrong with what was written, each at its field.
    Faults(Vec<Violation>),
    /// Why the rack or the physics gives no answer.
    Refused(ServiceError),
    /// The answer, and that of the air alone.
    Found(Box<Found>),
}

/// Springs together, and the air beside them.
struct Found {
    together: v1::EvaluateAssemblyResponse,
    air: Option<v1::EvaluateGasSpringResponse>,
}

/// The form, and below it what comes out.
pub(super) async fn view(
    State(page): State<Page>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response<Body>, Refusal> {
    let posted = Posted::of_query(query.as_deref());
    let units = visitor.reply_units();
    let asked = query
        .as_deref()
        .is_some_and(|query| !query.is_empty())
        .then(|| Asked::of(&posted, units));
    let (outcome, others) = page
        .places
        .compute(move |bench| {
            let outcome = match asked {
                None => Outcome::Nothing,
                Some(Err(faults)) => Outcome::Faults(faults),
                Some(Ok(asked)) => match found(bench, &asked) {
                    Ok(found) => Outcome::Found(Box::new(found)),
                    Err(ServiceError::InvalidFields(faults)) => Outcome::Faults(faults),
                    Err(error) => Outcome::Refused(error),
                },
            };
            Ok((outcome, springs(bench)?))
        })
        .await?;
    let frame = Frame {
        title: "Springs together",
        section: Section::Combine,
        visitor: Some(&visitor),
        scripts: &[&assets::COMBINE],
    };
    Ok(guard::html(framed(
        &frame,
        view::shown(&posted, &outcome, &others, visitor.units),
    )))
}

/// The air first: its curve is a part beside the springs.
fn found(bench: &Bench, asked: &Asked) -> Result<Found, ServiceError> {
    let air = asked
        .air()
        .map(|request| bench.evaluate_gas_spring(request))
        .transpose()?;
    let together = bench.evaluate_assembly(asked.together(air.as_ref()))?;
    Ok(Found { together, air })
}
