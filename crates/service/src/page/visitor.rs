//! Who looks: the units they chose, and the view they are on.

use std::convert::Infallible;

use axum::body::Body;
use axum::extract::FromRequestParts;
use http::header::{COOKIE, SET_COOKIE};
use http::request::Parts;
use http::{HeaderValue, Response};
use mechanics::quantity::UnitSystem;
use wire::v1;

use super::form::{Posted, see_other};
use super::refusal::Refusal;

/// Somebody's choices.
#[derive(Debug, Clone)]
pub(super) struct Visitor {
    /// The units computed values are shown in.
    pub(super) units: UnitSystem,
    /// Path and query of this view.
    pub(super) here: String,
}

/// The cookie the units are kept in. It holds nothing else and goes to no other site.
const UNITS: &str = "units";
const INCH: &str = "inch";
const METRIC: &str = "metric";

impl Visitor {
    /// The units as an operation of the bench is asked for them.
    pub(super) fn reply_units(&self) -> i32 {
        let system = match self.units {
            UnitSystem::Metric => v1::UnitSystem::Metric,
            UnitSystem::Inch => v1::UnitSystem::Inch,
        };
        system as i32
    }
}

impl<S: Sync> FromRequestParts<S> for Visitor {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        let cookies = parts.headers.get_all(COOKIE);
        let chosen = cookies
            .iter()
            .filter_map(|value| value.to_str().ok())
            .flat_map(|value| value.split(';'))
            .filter_map(|pair| pair.trim().split_once('='))
            .find(|(name, _)| *name == UNITS);
        let units = match chosen {
            Some((_, INCH)) => UnitSystem::Inch,
            _ => UnitSystem::Metric,
        };
        let here = parts.uri.path_and_query().map_or("/", |path| path.as_str()).to_owned();
        Ok(Self { units, here })
    }
}

/// Keeps the chosen units and goes back to where they were chosen.
pub(super) async fn choose_units(posted: Posted) -> Result<Response<Body>, Refusal> {
    let units = if posted.text("units") == INCH { INCH } else { METRIC };
    let mut response = see_other(own_path(posted.text("back")));
    let cookie = format!("{UNITS}={units}; Path=/; Max-Age=31536000; SameSite=Strict; HttpOnly");
    if let Ok(cookie) = HeaderValue::try_from(cookie) {
        response.headers_mut().insert(SET_COOKIE, cookie);
    }
    Ok(response)
}

/// A path on this server, whatever was sent: a browser takes `//host` and `/\host` for other hosts.
fn own_path(back: &str) -> &str {
    let mut letters = back.bytes();
    let plain = letters.next() == Some(b'/') && !matches!(letters.next(), Some(b'/' | b'\\'));
    let printable = back.bytes().all(|byte| byte.is_ascii_graphic());
    if plain && printable { back } else { "/" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_led_away() {
        for good in ["/", "/rack", "/compare?run=a&run=b"] {
            assert_eq!(own_path(good), good);
        }
        for bad in [
            "",
            "rack",
            "//evil.example",
            "/\\evil.example",
            "https://evil.example",
            "/a\r\nb",
            "/é",
        ] {
            assert_eq!(own_path(bad), "/", "{bad:?}");
        }
    }

    #[tokio::test]
    async fn units_come_from_the_cookie() {
        let of = async |cookie: &'static str| {
            let request = http::Request::builder()
                .uri("/rack?a=b")
                .header(COOKIE, cookie)
                .body(())
                .unwrap();
            let (mut parts, ()) = request.into_parts();
            Visitor::from_request_parts(&mut parts, &()).await.unwrap()
        };
        assert_eq!(of("a=b; units=inch").await.units, UnitSystem::Inch);
        for other in ["", "units=", "units=metric", "units=\"><script>", "xunits=inch"] {
            assert_eq!(of(other).await.units, UnitSystem::Metric);
        }
        assert_eq!(of("").await.here, "/rack?a=b");
    }
}
