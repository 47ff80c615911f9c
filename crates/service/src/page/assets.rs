//! Style and script, compiled in. Their addresses carry a digest of their content, so a browser keeps them for good.

use std::sync::LazyLock;

use axum::body::Body;
use axum::extract::Path;
use http::header::{CACHE_CONTROL, CONTENT_TYPE};
use http::{HeaderValue, Response};
use sha2::{Digest as _, Sha256};

use super::refusal::Refusal;
use crate::error::ServiceError;

/// A file the page loads.
pub(super) struct Asset {
    name: &'static str,
    kind: &'static str,
    content: &'static str,
    digest: LazyLock<String>,
}

const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";

macro_rules! asset {
    ($name:literal, $kind:expr, $content:expr) => {
        Asset {
            name: $name,
            kind: $kind,
            content: $content,
            digest: LazyLock::new(|| digest($content)),
        }
    };
}

/// The style of every view.
pub(super) static STYLE: Asset = asset!(
    "page.css",
    CSS,
    concat!(
        include_str!("assets/page.css"),
        include_str!("assets/plot.css"),
        include_str!("assets/bench.css"),
        include_str!("assets/valving.css"),
        include_str!("assets/machine.css")
    )
);
/// What moves on every view: reading values off a plot, times by the reader's clock.
pub(super) static COMMON: Asset = asset!("page.js", SCRIPT, include_str!("assets/page.js"));
/// What moves on the bench.
pub(super) static LIVE: Asset = asset!("live.js", SCRIPT, include_str!("assets/live.js"));
/// What moves where springs are put together.
pub(super) static COMBINE: Asset = asset!("combine.js", SCRIPT, include_str!("assets/combine.js"));
/// What moves where an answer follows the typing.
pub(super) static TYPING: Asset = asset!("typing.js", SCRIPT, include_str!("assets/typing.js"));
/// The sign in the browser's tab.
pub(super) static ICON: Asset = asset!("icon.svg", "image/svg+xml", include_str!("assets/icon.svg"));

static ALL: &[&Asset] = &[&STYLE, &COMMON, &LIVE, &COMBINE, &TYPING, &ICON];

impl Asset {
    /// Where it is.
    pub(super) fn address(&self) -> String {
        format!("/assets/{}/{}", *self.digest, self.name)
    }
}

fn digest(content: &str) -> String {
    let bytes = Sha256::digest(content);
    bytes.iter().take(8).map(|byte| format!("{byte:02x}")).collect()
}

/// Sends one. The address of another version is not found: its content is no longer known.
pub(super) async fn serve(Path((digest, name)): Path<(String, String)>) -> Result<Response<Body>, Refusal> {
    let found = ALL
        .iter()
        .find(|asset| asset.name == name && *asset.digest == digest)
        .ok_or_else(|| ServiceError::NotFound {
            name: format!("assets/{}", wire::violation::bounded(&name, 80)),
        })?;
    let mut response = Response::new(Body::from(found.content));
    let headers = response.headers_mut();
    headers.insert(CONTENT_TYPE, HeaderValue::from_static(found.kind));
    let for_good = HeaderValue::from_static("public, max-age=31536000, immutable");
    headers.insert(CACHE_CONTROL, for_good);
    Ok(response)
}
