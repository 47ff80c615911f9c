//! The one place where errors become gRPC statuses. The table of codes is the contract with every client.

use std::collections::HashMap;

use bytes::Bytes;
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, FieldViolation, StatusExt as _};
use wire::violation::{Violation, Violations, bounded};

pub use crate::error::{Basis, ServiceError};

/// The domain of every ErrorInfo.
pub const DOMAIN: &str = "springwright";

/// Bound of the encoded details. In base64 and with the message they stay below the 8 KiB at which standard clients
/// begin to refuse trailers.
pub const MAX_DETAILS_BYTES: usize = 4 * 1024;

/// Bytes of the message that are kept; a client repeats it to a person.
const MAX_MESSAGE_BYTES: usize = 512;

/// Bytes of one metadata value that are kept. No error has more than three.
const MAX_METADATA_BYTES: usize = 128;

/// The code of an error.
pub fn code(error: &ServiceError) -> Code {
    use ServiceError as E;
    match error {
        E::InvalidFields(_) => Code::InvalidArgument,
        E::NotFound { .. } => Code::NotFound,
        E::StaleEtag { .. } | E::Superseded { .. } => Code::Aborted,
        E::NameTaken { .. } | E::NameTakenByDeleted { .. } => Code::AlreadyExists,
        E::NotReducible { basis, .. } | E::NotConverged { basis, .. } => match basis {
            Basis::Sent => Code::InvalidArgument,
            Basis::Stored => Code::FailedPrecondition,
        },
        E::RequestIdReused { .. }
        | E::Deleted { .. }
        | E::RunOpen { .. }
        | E::RunClosed { .. }
        | E::BlockDiffers { .. }
        | E::StepOutOfPlace { .. }
        | E::FinishDiffers { .. }
        | E::NotResumable { .. } => Code::FailedPrecondition,
        E::Overloaded { .. } | E::DiskLow | E::WatcherTooSlow | E::TooLarge { .. } => Code::ResourceExhausted,
        E::InDoubt | E::ShuttingDown | E::StoreFailed { .. } => Code::Unavailable,
        E::Deadline => Code::DeadlineExceeded,
        E::BlockOutOfOrder { .. } | E::RunFull { .. } => Code::OutOfRange,
        E::HostRefused { .. } => Code::PermissionDenied,
        E::DataDamaged { .. } => Code::DataLoss,
        E::Internal { .. } => Code::Internal,
    }
}

impl From<ServiceError> for Status {
    fn from(error: ServiceError) -> Self {
        if let Some(context) = error.context() {
            tracing::error!(reason = reason_text(&error), context, "{error}");
        }
        let message = bounded(&error, MAX_MESSAGE_BYTES);
        let mut details = ErrorDetails::new();
        details.set_error_info(reason_text(&error), DOMAIN, metadata(&error));
        if let ServiceError::Overloaded { retry_after } = error {
            details.set_retry_info(Some(retry_after));
        }
        if let ServiceError::InvalidFields(violations) = &error {
            details.set_bad_request(field_violations(violations));
        }
        let status = Status::with_error_details(code(&error), message, details);
        // The parts are bounded so that this does not happen; a status without details still says what is wrong.
        if status.details().len() > MAX_DETAILS_BYTES {
            return Status::with_details(status.code(), status.message(), Bytes::new());
        }
        status
    }
}

fn reason_text(error: &ServiceError) -> &'static str {
    let name = error.reason().as_str_name();
    name.strip_prefix("ERROR_REASON_").unwrap_or(name)
}

fn metadata(error: &ServiceError) -> HashMap<String, String> {
    let entries = error.metadata().into_iter();
    entries
        .map(|(key, value)| (key.to_owned(), bounded(value, MAX_METADATA_BYTES)))
        .collect()
}

/// The list as it is sent. It is gathered again because it may have been put together by hand, without a bound.
fn field_violations(violations: &[Violation]) -> Vec<FieldViolation> {
    let mut gathered = Violations::new();
    violations.iter().cloned().for_each(|violation| gathered.add(violation));
    let bounded = gathered.finish().err().unwrap_or_default();
    let sent = bounded.into_iter().map(|violation| FieldViolation {
        reason: violation.reason_text().to_owned(),
        field: violation.field,
        description: violation.description,
        localized_message: None,
    });
    sent.collect()
}
