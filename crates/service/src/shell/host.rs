//! Refuses requests that are for somebody else's host.
//!
//! Any web page can reach a port of this machine from the visitor's browser: by pointing a name of its own at a
//! loopback address it even reads the answers. Such a request carries that name in `Host` or `:authority`. A page
//! that sends a form straight to a loopback address carries its own host in `Origin`.

use std::io;
use std::net::IpAddr;

use axum::body::Body;
use http::header::{HOST, ORIGIN};
use http::uri::Authority;
use http::{HeaderMap, HeaderName, HeaderValue, Method, Request, Uri};

use crate::error::ServiceError;

static SEC_FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

/// A host as a request names it, without its port.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Host {
    Name(String),
    Address(IpAddr),
}

impl Host {
    fn parse(text: &str) -> Option<Self> {
        let bare = text
            .strip_prefix('[')
            .and_then(|text| text.strip_suffix(']'))
            .unwrap_or(text);
        if let Ok(address) = bare.parse::<IpAddr>() {
            return Some(Self::Address(address.to_canonical()));
        }
        let name = text.strip_suffix('.').unwrap_or(text).to_ascii_lowercase();
        let plain = |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'.' | b'-' | b'_');
        (!name.is_empty() && name.bytes().all(plain)).then_some(Self::Name(name))
    }

    fn is_loopback(&self) -> bool {
        match self {
            Self::Name(name) => name == "localhost",
            Self::Address(address) => address.is_loopback(),
        }
    }
}

/// The hosts that are answered to: loopback always, and those configured.
pub(super) struct Hosts {
    configured: Vec<Host>,
}

impl Hosts {
    pub(super) fn new(configured: &[String]) -> io::Result<Self> {
        let parse = |text: &String| {
            let wrong = || format!("{text:?} is not a host: give a name or an address, without a port");
            Host::parse(text).ok_or_else(|| io::Error::new(io::ErrorKind::InvalidInput, wrong()))
        };
        Ok(Self {
            configured: configured.iter().map(parse).collect::<Result<_, _>>()?,
        })
    }

    /// HOST_REFUSED unless every host the request names is answered to, and there is one.
    pub(super) fn check(&self, request: &Request<Body>) -> Result<(), ServiceError> {
        let authorities = authorities(request)?;
        for authority in &authorities {
            self.answers_to(authority)
                .then_some(())
                .ok_or_else(|| refused(authority.as_str()))?;
        }
        let addressed = authorities.first().ok_or_else(|| refused("a request without a host"))?;
        comes_from_here(request.method(), request.headers(), addressed)
    }

    fn answers_to(&self, authority: &Authority) -> bool {
        // Whoever writes user@host wants the host to be misread.
        let host = if authority.as_str().contains('@') {
            None
        } else {
            Host::parse(authority.host())
        };
        host.is_some_and(|host| host.is_loopback() || self.configured.contains(&host))
    }
}

/// Everything in the request that names a host: `:authority` or an absolute target, then `Host` headers.
fn authorities(request: &Request<Body>) -> Result<Vec<Authority>, ServiceError> {
    let mut found: Vec<_> = request.uri().authority().cloned().into_iter().collect();
    for value in request.headers().get_all(HOST) {
        let authority = Authority::try_from(value.as_bytes());
        found.push(authority.map_err(|_| refused(&String::from_utf8_lossy(value.as_bytes())))?);
    }
    Ok(found)
}

/// HOST_REFUSED when a browser says that a page of another host sent something other than a plain GET. Clients that
/// are no browsers send neither `Origin` nor `Sec-Fetch-Site`.
fn comes_from_here(method: &Method, headers: &HeaderMap, addressed: &Authority) -> Result<(), ServiceError> {
    if method == Method::GET || method == Method::HEAD {
        return Ok(());
    }
    // The browser's own word, which a page cannot set. It also vouches for pages that hide their origin ("null").
    // "none" is the person's own doing: a bookmark, a form sent again.
    match headers.get(&SEC_FETCH_SITE).map(HeaderValue::as_bytes) {
        Some(b"same-origin") => return Ok(()),
        Some(b"none") | None => {}
        Some(site) => return Err(refused(&format!("a page that is {}", String::from_utf8_lossy(site)))),
    }
    let Some(origin) = headers.get(ORIGIN) else {
        return Ok(());
    };
    let origin = String::from_utf8_lossy(origin.as_bytes());
    let sender = Uri::try_from(&*origin).ok().and_then(|uri| uri.authority().cloned());
    let here = sender.is_some_and(|sender| sender.as_str().eq_ignore_ascii_case(addressed.as_str()));
    here.then_some(())
        .ok_or_else(|| refused(&format!("a page of {origin}")))
}

fn refused(host: &str) -> ServiceError {
    ServiceError::HostRefused {
        host: wire::violation::bounded(host, 100),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn request(method: &str, headers: &[(&str, &str)]) -> Request<Body> {
        let mut request = Request::builder().method(method).uri("/");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        request.body(Body::empty()).unwrap()
    }

    fn passes(hosts: &Hosts, headers: &[(&str, &str)]) -> bool {
        hosts.check(&request("POST", headers)).is_ok()
    }

    #[test]
    fn loopback_is_answered_to_with_any_port() {
        let hosts = Hosts::new(&[]).unwrap();
        for host in [
            "localhost",
            "LocalHost:8080",
            "localhost.",
            "127.0.0.1:1",
            "127.8.9.1",
            "[::1]:80",
            "[::1]",
        ] {
            assert!(passes(&hosts, &[("host", host)]), "{host}");
        }
    }

    #[test]
    fn other_hosts_are_refused() {
        let hosts = Hosts::new(&[]).unwrap();
        for host in [
            "evil.example",
            "localhost.evil.example",
            "127.0.0.1.evil.example",
            "evil.example#localhost",
            "localhost@evil.example",
            "evil.example@localhost",
            "0.0.0.0",
            "10.0.0.1:80",
            "[::2]",
            "",
            ":80",
            "localhost evil",
        ] {
            assert!(!passes(&hosts, &[("host", host)]), "{host}");
        }
        assert!(!passes(&hosts, &[]), "no host");
        assert!(
            !passes(&hosts, &[("host", "localhost"), ("host", "evil.example")]),
            "two hosts"
        );
    }

    #[test]
    fn absolute_target_is_checked_beside_the_header() {
        let hosts = Hosts::new(&[]).unwrap();
        let mut request = request("GET", &[("host", "localhost")]);
        *request.uri_mut() = Uri::from_static("http://evil.example/");
        assert!(hosts.check(&request).is_err());
    }

    #[test]
    fn configured_hosts_are_answered_to() {
        let configured = ["bench.example", "192.0.2.7", "2001:db8::7"].map(str::to_owned);
        let hosts = Hosts::new(&configured).unwrap();
        for host in ["BENCH.example:50051", "192.0.2.7", "[2001:db8::7]:1", "[2001:db8:0::7]"] {
            assert!(passes(&hosts, &[("host", host)]), "{host}");
        }
        assert!(!passes(&hosts, &[("host", "other.bench.example")]));
        assert!(Hosts::new(&["http://bench.example".to_owned()]).is_err());
    }

    #[test]
    fn foreign_page_cannot_send_a_form() {
        let hosts = Hosts::new(&[]).unwrap();
        let host = ("host", "127.0.0.1:8080");
        assert!(!passes(&hosts, &[host, ("origin", "http://evil.example")]));
        assert!(!passes(&hosts, &[host, ("origin", "http://127.0.0.1:9999")]));
        assert!(!passes(&hosts, &[host, ("origin", "null")]));
        assert!(passes(&hosts, &[host, ("origin", "http://127.0.0.1:8080")]));
        assert!(passes(
            &hosts,
            &[host, ("origin", "null"), ("sec-fetch-site", "same-origin")]
        ));
        for site in ["cross-site", "same-site", "elsewhere"] {
            assert!(!passes(&hosts, &[host, ("sec-fetch-site", site)]), "{site}");
            let claimed = ("origin", "http://127.0.0.1:8080");
            assert!(!passes(&hosts, &[host, claimed, ("sec-fetch-site", site)]), "{site}");
        }
        assert!(passes(&hosts, &[host, ("sec-fetch-site", "none")]));
        assert!(
            hosts
                .check(&request("GET", &[host, ("origin", "http://evil.example")]))
                .is_ok()
        );
    }
}
