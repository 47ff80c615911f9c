//! The page: the bench for a person with a browser, drawn here on the server and readable without script.
//!
//! Handlers call the same operations of the bench as the gRPC doors do, from the same places; nothing here opens the
//! store. A view is made of words ([`words`]), figures drawn from typed curves ([`plot`]) and the frame around every
//! view ([`layout`]). What changes something is a form of its own with a request id, posted, and answered with a
//! redirect: loading a page again repeats nothing.

mod assets;
mod bench;
mod form;
mod guard;
mod layout;
mod plot;
mod refusal;
mod visitor;
mod words;

use axum::Router;
use axum::middleware::map_response;
use axum::routing::{get, post};

use crate::places::Places;

/// What every handler is given.
#[derive(Clone)]
pub(crate) struct Page {
    places: Places,
}

/// The page's routes.
pub(crate) fn router(places: Places) -> Router {
    Router::new()
        .merge(bench::routes())
        .route("/units", post(visitor::choose_units))
        .route("/assets/{digest}/{name}", get(assets::serve))
        .with_state(Page { places })
        .layer(map_response(guard::harden))
}
