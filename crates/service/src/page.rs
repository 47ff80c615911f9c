//! The page: the bench for a person with a browser, drawn here on the server and readable without script.
//!
//! Handlers call the same operations of the bench as the gRPC doors do, from the same places; nothing here opens the
//! store. A view is made of words ([`words`]), figures drawn from typed curves ([`plot`]) and the frame around every
//! view ([`layout`]). What changes something is a form of its own with a request id, posted, and answered with a
//! redirect: loading a page again repeats nothing.

mod assets;
mod bench;
mod combine;
mod compare;
pub(crate) mod curve;
mod files;
mod form;
mod guard;
mod layout;
mod machine;
mod measured;
pub(crate) mod plot;
mod rack;
mod rates;
mod refusal;
mod report;
mod run;
mod runs;
mod said;
mod shape;
mod spring;
mod spring_form;
pub(crate) mod valving;
mod visitor;
pub(crate) mod words;

use std::sync::Arc;

use axum::Router;
use axum::middleware::map_response;
use axum::routing::{get, post};

use crate::places::Places;
use measured::Measured;

/// What every handler is given.
#[derive(Clone)]
pub(crate) struct Page {
    places: Places,
    measured: Arc<Measured>,
}

/// The page's routes.
pub(crate) fn router(places: Places) -> Router {
    Router::new()
        .merge(bench::routes())
        .merge(valving::routes())
        .merge(machine::routes())
        .route("/units", post(visitor::choose_units))
        .route("/assets/{digest}/{name}", get(assets::serve))
        .route("/rack", get(rack::view))
        .route("/rack/new", get(spring::new).post(spring::create))
        .route("/springs/{id}", get(spring::view))
        .route("/springs/{id}/edit", get(spring::edit).post(spring::update))
        .route("/springs/{id}/tested", post(spring::take_rate))
        .route("/springs/{id}/delete", post(spring::delete))
        .route("/springs/{id}/undelete", post(spring::undelete))
        .route("/runs", get(runs::view))
        .route("/runs/{id}", get(run::view).post(run::update))
        .route("/runs/{id}/finish", post(run::finish))
        .route("/runs/{id}/discard", post(run::discard))
        .route("/runs/{id}/delete", post(run::delete))
        .route("/runs/{id}/undelete", post(run::undelete))
        .route("/runs/{id}/curve.svg", get(files::curve_svg))
        .route("/runs/{id}/samples.csv", get(files::samples_csv))
        .route("/runs/{id}/report", get(report::view))
        .route("/compare", get(compare::view))
        .route("/combine", get(combine::view))
        .with_state(Page {
            places,
            measured: Arc::default(),
        })
        .layer(map_response(guard::harden))
}
