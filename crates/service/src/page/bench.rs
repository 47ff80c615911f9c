//! The bench: what is being pressed now, and what is done about it.

mod actions;
mod beside;
mod curve;
mod live;
mod scene;
mod view;
mod words;

use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::extract::State;
use axum::routing::{get, post};
use futures_util::StreamExt as _;
use http::{Response, Uri};
use wire::v1;

use super::layout::{Frame, Section, framed};
use super::refusal::Refusal;
use super::visitor::Visitor;
use super::{Page, assets, guard};
use crate::bench::watching;
use crate::error::ServiceError;
use scene::Scene;

/// The bench and what is posted from it.
pub(super) fn routes() -> Router<Page> {
    Router::new()
        .route("/", get(sight))
        .route("/live", get(live::live))
        .route("/bench/instruct", post(actions::instruct))
        .route("/bench/assign", post(actions::assign))
        .route("/bench/name", post(actions::name))
        .route("/bench/keep", post(actions::keep))
        .route("/bench/discard", post(actions::discard))
        .route("/bench/finish", post(actions::finish))
        .route("/bench/repeat", post(actions::repeat))
}

/// The bench as it stands: the first picture of those that the script follows.
async fn sight(State(page): State<Page>, visitor: Visitor, uri: Uri) -> Result<Response<Body>, Refusal> {
    let tester = tester_of(&uri);
    let request = v1::WatchBenchRequest {
        tester: tester.clone(),
        ..Default::default()
    };
    let pictures = watching::start(Arc::clone(page.places.bench()), request)?;
    let mut pictures = Box::pin(pictures);
    let first = pictures.next().await.ok_or(ServiceError::ShuttingDown)??;
    let mut scene = Scene::new(&visitor);
    scene.take(&page, first).await?;
    let boards = page.places.bench().on_bench();
    let testers: Vec<String> = boards.iter().map(|board| board.header.tester.clone()).collect();
    let frame = Frame {
        title: "Bench",
        section: Section::Bench,
        visitor: Some(&visitor),
        scripts: &[&assets::LIVE],
    };
    Ok(guard::html(framed(&frame, view::whole(&scene, &tester, &testers))))
}

/// The tester asked for; empty: whichever is at work.
fn tester_of(uri: &Uri) -> String {
    let query = uri.query().unwrap_or_default();
    let mut pairs = form_urlencoded::parse(query.as_bytes());
    let tester = pairs.find(|(name, _)| name == "tester");
    tester.map_or_else(String::new, |(_, tester)| tester.into_owned())
}

/// The address of a view of one tester.
fn with_tester(path: &str, tester: &str) -> String {
    if tester.is_empty() {
        return path.to_owned();
    }
    let query = form_urlencoded::Serializer::new(String::new())
        .append_pair("tester", tester)
        .finish();
    format!("{path}?{query}")
}
