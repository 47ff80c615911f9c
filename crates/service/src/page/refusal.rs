//! Refusals as a page: what was wrong, in the words of the error, and where to go from there.

use axum::body::Body;
use axum::response::IntoResponse;
use http::Response;
use maud::html;

use super::guard;
use super::layout::{Frame, Section, framed};
use crate::error::ServiceError;
use crate::shell::http_refusal;

/// Why a view cannot be given.
#[derive(Debug)]
pub(crate) struct Refusal(Box<ServiceError>);

impl From<ServiceError> for Refusal {
    fn from(error: ServiceError) -> Self {
        Self(Box::new(error))
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> axum::response::Response {
        let error = *self.0;
        http_refusal(&error, document(&error))
    }
}

fn document(error: &ServiceError) -> Response<Body> {
    let frame = Frame {
        title: "Refused",
        section: Section::None,
        visitor: None,
        scripts: &[],
    };
    guard::html(framed(
        &frame,
        html! {
            h1 { (heading(error)) }
            div.notice role="alert" {
                p { bdi { (error) } }
                @if let ServiceError::InvalidFields(violations) = error {
                    ul {
                        @for violation in violations {
                            li { bdi { (violation.field) } ": " bdi { (violation.description) } }
                        }
                    }
                }
            }
            @if let Some(advice) = advice(error) { p { (advice) } }
            p { a href="/" { "To the bench" } }
        },
    ))
}

fn heading(error: &ServiceError) -> &'static str {
    use ServiceError as E;
    match error {
        E::NotFound { .. } => "Not found",
        E::Deleted { .. } => "Deleted",
        E::StaleEtag { .. } => "Changed by somebody else",
        E::InvalidFields(_) => "Something is missing or wrong",
        E::Overloaded { .. } | E::Deadline => "Busy",
        E::ShuttingDown => "Going down",
        E::InDoubt | E::StoreFailed { .. } | E::DataDamaged { .. } | E::DiskLow => "The store has trouble",
        E::Internal { .. } => "A fault of the program",
        _ => "That is not possible now",
    }
}

fn advice(error: &ServiceError) -> Option<&'static str> {
    use ServiceError as E;
    match error {
        E::InvalidFields(_) => Some("Nothing was changed. Your browser's way back leads to what you had written."),
        E::StaleEtag { .. } => {
            Some("Nothing was changed. Load the view again, look at what is new, and send your change once more.")
        }
        E::RunOpen { .. } => Some("Finish the run at the instrument first, or discard it."),
        E::InDoubt => Some("Sending the same form again is safe: it is done once."),
        E::Overloaded { .. } | E::Deadline => Some("Sending the same form again is safe: it is done once."),
        _ => None,
    }
}
