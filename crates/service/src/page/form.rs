//! Forms: what was posted, and the hidden fields every form carries.

use axum::body::{Body, to_bytes};
use axum::extract::{FromRequest, Request};
use http::header::{CONTENT_TYPE, LOCATION};
use http::{HeaderValue, Response, StatusCode};
use maud::{Markup, html};
use mechanics::quantity::{Entered, Unit as _};
use uuid::Uuid;
use wire::quantity::Message;
use wire::v1::ViolationReason as Reason;
use wire::violation::{Violation, Violations};

use super::refusal::Refusal;
use crate::error::ServiceError;

/// A number with the unit chosen beside it, or with one written behind it; a fault is noted at a path.
pub(super) fn quantity<M: Message>(posted: &Posted, name: &str, path: &str, violations: &mut Violations) -> Option<M> {
    let text = posted.text(name);
    if text.is_empty() {
        return None;
    }
    let chosen = || format!("{text} {}", posted.text(&unit_name(name))).parse();
    let entered: Result<Entered<M::Unit>, _> = text.parse().or_else(|_| chosen());
    match entered {
        Ok(entered) => Some(M::from_parts(entered.value(), entered.unit().row().number)),
        Err(fault) => {
            violations.push(path, Reason::OutOfRange, fault);
            None
        }
    }
}

/// Writes a quantity as its number, with its unit beside it.
pub(super) fn set_quantity<M: Message>(fields: &mut Posted, name: &str, message: Option<&M>) {
    if let Some(entered) = super::words::quantity(message) {
        fields.set(name, &entered.value().to_string());
        fields.set(&unit_name(name), entered.unit().row().symbol);
    }
}

/// A number without a unit; a fault is noted at a path.
pub(super) fn number(posted: &Posted, name: &str, path: &str, violations: &mut Violations) -> Option<f64> {
    let text = posted.text(name);
    if text.is_empty() {
        return None;
    }
    let read = text.parse().ok().filter(|number: &f64| number.is_finite());
    if read.is_none() {
        let shown = wire::violation::bounded(text, 80);
        let fault = format!("\"{shown}\" is no number; write it with a point, such as 6.5");
        violations.push(path, Reason::OutOfRange, fault);
    }
    read
}

/// The field that holds the unit of another.
pub(super) fn unit_name(name: &str) -> String {
    format!("{name}_unit")
}

/// The largest form: every text of a spring at its limit, in percent-encoded four-byte letters.
const MAX_BYTES: usize = 64 * 1024;

/// The fields of a posted form.
#[derive(Debug, Clone, Default)]
pub(super) struct Posted(Vec<(String, String)>);

impl Posted {
    /// The fields of a query.
    pub(super) fn of_query(query: Option<&str>) -> Self {
        let pairs = form_urlencoded::parse(query.unwrap_or_default().as_bytes());
        Self(pairs.into_owned().collect())
    }

    /// Writes a field that is not there yet.
    pub(super) fn set(&mut self, name: &str, text: &str) {
        self.0.push((name.to_owned(), text.to_owned()));
    }

    /// Every text of a field that may come more than once.
    pub(super) fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> + 'a {
        self.0
            .iter()
            .filter(move |(known, _)| known == name)
            .map(|(_, value)| value.trim())
    }

    /// A field's text without white space around it; empty where it is absent.
    pub(super) fn text(&self, name: &str) -> &str {
        let found = self.0.iter().find(|(known, _)| known == name);
        found.map_or("", |(_, value)| value.trim())
    }
}

impl<S: Sync> FromRequest<S> for Posted {
    type Rejection = Refusal;

    async fn from_request(request: Request, _: &S) -> Result<Self, Refusal> {
        let kind = request.headers().get(CONTENT_TYPE).map(HeaderValue::as_bytes);
        if !kind.is_some_and(|kind| kind.starts_with(b"application/x-www-form-urlencoded")) {
            let fault = Violation {
                field: "content-type".to_owned(),
                reason: Reason::OutOfRange,
                description: "a form is sent as application/x-www-form-urlencoded".to_owned(),
            };
            return Err(ServiceError::InvalidFields(vec![fault]).into());
        }
        let bytes = to_bytes(request.into_body(), MAX_BYTES).await.map_err(not_taken)?;
        // Browsers send every new line as two letters, which is not what was typed.
        let fields = form_urlencoded::parse(&bytes).map(|(name, text)| (name.into_owned(), text.replace("\r\n", "\n")));
        Ok(Self(fields.collect()))
    }
}

/// A body that is too large, or did not come in time.
fn not_taken(error: axum::Error) -> ServiceError {
    if error.into_inner().is::<http_body_util::LengthLimitError>() {
        ServiceError::TooLarge {
            what: "a form".to_owned(),
            limit: format!("{MAX_BYTES} bytes"),
        }
    } else {
        ServiceError::Deadline
    }
}

/// The hidden field that makes sending a form twice the same as sending it once.
pub(super) fn request_id() -> Markup {
    html! { input type="hidden" name="request_id" value=(Uuid::new_v4()); }
}

/// The hidden field that refuses a change of what somebody else has changed since.
pub(super) fn etag(etag: &str) -> Markup {
    html! { input type="hidden" name="etag" value=(etag); }
}

/// A form that is one button: a change of a record that needs no more than its name.
pub(super) fn act(name: &str, etag_now: &str, action: &str, button: &str) -> Markup {
    html! {
        form.inline method="post" action={ "/" (name) "/" (action) } {
            (request_id())
            (etag(etag_now))
            button { (button) }
        }
    }
}

/// Handlers of such forms: a request of name, etag and request id for an operation of the bench, then the record's view.
macro_rules! acts {
    ($($(#[$doc:meta])* $action:ident, $request:ident, $operation:ident;)*) => {$(
        $(#[$doc])*
        pub(super) async fn $action(
            State(page): State<Page>,
            Path(id): Path<String>,
            posted: Posted,
        ) -> Result<Response<Body>, Refusal> {
            let request = v1::$request {
                name: name_of(&id),
                etag: posted.text("etag").to_owned(),
                request_id: posted.text("request_id").to_owned(),
            };
            let record = page.places.wait(move |bench| bench.$operation(request)).await?;
            Ok(see_other(&format!("/{}", record.name)))
        }
    )*};
}
pub(super) use acts;

/// Goes to another view once something is done; loading that again repeats nothing (RFC 9110, 15.4.4).
pub(super) fn see_other(path: &str) -> Response<Body> {
    let mut response = Response::new(Body::empty());
    *response.status_mut() = StatusCode::SEE_OTHER;
    let path = HeaderValue::try_from(path).unwrap_or(HeaderValue::from_static("/"));
    response.headers_mut().insert(LOCATION, path);
    response
}
