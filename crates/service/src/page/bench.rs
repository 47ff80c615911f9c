//! The bench: what is being pressed now.

use axum::body::Body;
use axum::extract::State;
use http::Response;
use maud::html;
use wire::v1;

use super::layout::{Frame, Section, framed};
use super::refusal::Refusal;
use super::visitor::Visitor;
use super::{Page, guard};

/// The runs a stream is attached to.
pub(super) async fn view(State(page): State<Page>, visitor: Visitor) -> Result<Response<Body>, Refusal> {
    let asked = v1::ListRunsRequest {
        state: v1::RunState::Recording as i32,
        ..Default::default()
    };
    let runs = page.places.wait(move |bench| bench.list_runs(asked)).await?.runs;
    let frame = Frame {
        title: "Bench",
        section: Section::Bench,
        visitor: Some(&visitor),
        scripts: &[],
    };
    let main = html! {
        h1 { "Bench" }
        @if runs.is_empty() { p { "Nothing is being recorded." } }
        @for run in &runs { p { a href={ "/" (run.name) } { (run.name) } " is being recorded." } }
    };
    Ok(guard::html(framed(&frame, main)))
}
