//! Headers that keep other pages and injected text out.

use axum::body::Body;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, REFERRER_POLICY, VARY, X_CONTENT_TYPE_OPTIONS,
};
use http::{HeaderName, HeaderValue, Response};
use sha2::{Digest as _, Sha256};

/// Nothing but what this server itself sends; no script or style inside the page, no frame around it.
const POLICY: HeaderValue = HeaderValue::from_static(
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; \
     form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
);

static RESOURCE_POLICY: HeaderName = HeaderName::from_static("cross-origin-resource-policy");
static OPENER_POLICY: HeaderName = HeaderName::from_static("cross-origin-opener-policy");

const SAME_ORIGIN: HeaderValue = HeaderValue::from_static("same-origin");

/// Adds the headers every answer of the page carries; an answer's own policy and caching stand.
pub(super) async fn harden(mut response: Response<Body>) -> Response<Body> {
    let headers = response.headers_mut();
    headers.entry(CONTENT_SECURITY_POLICY).or_insert(POLICY);
    headers
        .entry(CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("private, no-cache"));
    // The units are chosen in a cookie.
    headers.entry(VARY).or_insert(HeaderValue::from_static("cookie"));
    headers.insert(X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(REFERRER_POLICY, SAME_ORIGIN);
    headers.insert(RESOURCE_POLICY.clone(), SAME_ORIGIN);
    headers.insert(OPENER_POLICY.clone(), SAME_ORIGIN);
    response
}

/// A document that stands alone: no script, no request, and of styles that one alone which is in it.
pub(super) fn standing_alone(document: String, style: &str) -> Response<Body> {
    let hash = STANDARD.encode(Sha256::digest(style));
    let policy = format!("default-src 'none'; style-src 'sha256-{hash}'; frame-ancestors 'none'; base-uri 'none'");
    let mut response = html(document);
    // The hash is of ASCII letters; without it the document would only lose its style.
    if let Ok(policy) = HeaderValue::try_from(policy) {
        response.headers_mut().insert(CONTENT_SECURITY_POLICY, policy);
    }
    response
}

/// An HTML document.
pub(super) fn html(document: String) -> Response<Body> {
    let mut response = Response::new(Body::from(document));
    response
        .headers_mut()
        .insert(CONTENT_TYPE, HeaderValue::from_static("text/html; charset=utf-8"));
    response
}
