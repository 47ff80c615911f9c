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

/// Bytes of one metadata value that are kept. No error has more than four.
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
        | E::NotResumable { .. }
        | E::NotAttached { .. }
        | E::NotObeyed { .. }
        | E::NotEnoughShims { .. }
        | E::LotsDiffer { .. }
        | E::StackBuilt { .. }
        | E::StackNotBuilt { .. }
        | E::InUse { .. } => Code::FailedPrecondition,
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

#[cfg(test)]
mod tests {
    use std::collections::HashMap;
    use std::time::Duration;

    use wire::v1::{ErrorReason, ViolationReason};
    use wire::violation::MAX_VIOLATIONS;

    use super::*;

    /// One error for each reason, and both bases.
    fn every() -> Vec<ServiceError> {
        use ServiceError as E;
        let text = || "runs/a".to_owned();
        let mut errors = vec![
            E::InvalidFields(Vec::new()),
            E::NotFound { name: text() },
            E::StaleEtag {
                name: text(),
                current_etag: text(),
            },
            E::RequestIdReused { request_id: text() },
            E::NameTaken { name: text() },
            E::NameTakenByDeleted { name: text() },
            E::Deleted { name: text() },
            E::RunOpen { run: text() },
            E::RunClosed { run: text() },
            E::Overloaded {
                retry_after: Duration::from_secs(1),
            },
            E::DiskLow,
            E::WatcherTooSlow,
            E::TooLarge {
                what: text(),
                limit: text(),
            },
            E::InDoubt,
            E::Deadline,
            E::ShuttingDown,
            E::Superseded { run: text() },
            E::BlockDiffers { run: text(), block: 1 },
            E::BlockOutOfOrder {
                run: text(),
                wanted: 1,
                received: 2,
            },
            E::RunFull {
                run: text(),
                limit: text(),
            },
            E::StepOutOfPlace { cause: text() },
            E::FinishDiffers {
                field: "crc32c",
                stated: text(),
                received: text(),
            },
            E::NotResumable { run: text() },
            E::NotAttached { run: text() },
            E::NotObeyed {
                run: text(),
                action: "START",
                obeys: "FINISH, STOP".to_owned(),
            },
            E::NotEnoughShims {
                short: vec![crate::error::ShortShims {
                    what: "30x0.15 mm".to_owned(),
                    lots: text(),
                    have: 1,
                    need: 2,
                }],
            },
            E::LotsDiffer {
                what: text(),
                lots: text(),
            },
            E::StackBuilt { name: text() },
            E::StackNotBuilt { name: text() },
            E::InUse {
                name: text(),
                by: vec![text()],
            },
            E::HostRefused { host: text() },
            E::DataDamaged {
                context: "secret".to_owned(),
            },
            E::StoreFailed {
                context: "secret".to_owned(),
            },
            E::Internal {
                context: "secret".to_owned(),
            },
        ];
        for basis in [Basis::Sent, Basis::Stored] {
            errors.push(E::NotReducible { basis, cause: text() });
            errors.push(E::NotConverged {
                basis,
                residual: text(),
                iterations: 1,
            });
        }
        errors
    }

    /// What the API's own description says of each reason.
    fn described() -> HashMap<String, String> {
        let proto = include_str!("../../../../proto/springwright/v1/records.proto");
        let reasons = proto
            .split("enum ErrorReason {")
            .nth(1)
            .unwrap()
            .split("\n}")
            .next()
            .unwrap();
        let mut comment = String::new();
        let mut described = HashMap::new();
        for line in reasons.lines().map(str::trim) {
            if let Some(text) = line.strip_prefix("//") {
                comment.push_str(text);
            } else if let Some((name, _)) = line.split_once(" = ") {
                described.insert(name.to_owned(), std::mem::take(&mut comment));
            }
        }
        described
    }

    #[test]
    fn every_reason_has_the_code_its_description_names() {
        let described = described();
        let codes = [
            (Code::InvalidArgument, "INVALID_ARGUMENT"),
            (Code::NotFound, "NOT_FOUND"),
            (Code::Aborted, "ABORTED"),
            (Code::FailedPrecondition, "FAILED_PRECONDITION"),
            (Code::AlreadyExists, "ALREADY_EXISTS"),
            (Code::ResourceExhausted, "RESOURCE_EXHAUSTED"),
            (Code::Unavailable, "UNAVAILABLE"),
            (Code::DeadlineExceeded, "DEADLINE_EXCEEDED"),
            (Code::OutOfRange, "OUT_OF_RANGE"),
            (Code::PermissionDenied, "PERMISSION_DENIED"),
            (Code::DataLoss, "DATA_LOSS"),
            (Code::Internal, "INTERNAL"),
        ];
        let mut seen = Vec::new();
        for error in every() {
            let reason = error.reason();
            let text = &described[reason.as_str_name()];
            let name = codes.iter().find(|(one, _)| *one == code(&error)).unwrap().1;
            let names_a_code = codes.iter().any(|(_, name)| text.contains(name));
            assert!(
                text.contains(name) || !names_a_code,
                "{reason:?} is {name}; described: {text}"
            );
            seen.push(reason.as_str_name());
        }
        let unsent = ErrorReason::Unspecified.as_str_name();
        let missing: Vec<_> = described
            .keys()
            .filter(|name| *name != unsent && !seen.contains(&name.as_str()))
            .collect();
        assert!(missing.is_empty(), "{missing:?}");
    }

    #[test]
    fn every_status_carries_its_reason_and_no_secret() {
        for error in every() {
            let reason = reason_text(&error);
            let expected: HashMap<_, _> = error
                .metadata()
                .into_iter()
                .map(|(key, value)| (key.to_owned(), value))
                .collect();
            let overloaded = matches!(error, ServiceError::Overloaded { .. });
            let status = Status::from(error);
            let details = status.get_error_details();
            let info = details.error_info().unwrap();
            assert_eq!((info.reason.as_str(), info.domain.as_str()), (reason, "springwright"));
            assert_eq!(info.metadata, expected);
            assert_eq!(details.retry_info().is_some(), overloaded);
            assert!(!format!("{status:?}").contains("secret"), "{status:?}");
        }
    }

    #[test]
    fn violations_are_sent_with_reasons_within_the_bound() {
        let violation = |index: usize, words: usize| Violation {
            field: format!("columns[1].values[{index}]"),
            reason: ViolationReason::NotFinite,
            description: "values is NaN ".repeat(words),
        };
        for (count, words) in [(1, 1), (24, 1), (1000, 1), (1000, 20), (3, 100_000)] {
            let status = Status::from(ServiceError::InvalidFields(
                (0..count).map(|i| violation(i, words)).collect(),
            ));
            assert!(
                status.details().len() <= MAX_DETAILS_BYTES,
                "{} bytes",
                status.details().len()
            );
            let details = status.get_error_details();
            let sent = &details.bad_request().unwrap().field_violations;
            let (kept, more): (Vec<_>, Vec<_>) = sent.iter().partition(|one| one.reason == "NOT_FINITE");
            assert!(kept.len() <= MAX_VIOLATIONS);
            let left_out = count - kept.len();
            let wanted = if left_out == 0 {
                Vec::new()
            } else {
                vec![format!("{left_out} more")]
            };
            assert_eq!(
                more.iter().map(|one| one.description.clone()).collect::<Vec<_>>(),
                wanted
            );
            assert!(more.iter().all(|one| one.reason == "MORE"));
        }
    }

    #[test]
    fn trailers_of_the_worst_error_stay_below_what_standard_clients_refuse() {
        let long = "ä".repeat(10_000);
        let many = (0..1000).map(|_| Violation {
            field: long.chars().take(60).collect(),
            reason: ViolationReason::WrongLength,
            description: long.chars().take(60).collect(),
        });
        let fields = ServiceError::InvalidFields(many.collect());
        let differs = ServiceError::FinishDiffers {
            field: "crc32c",
            stated: long.clone(),
            received: long,
        };
        for error in [fields, differs] {
            let mut trailers = http::HeaderMap::new();
            let status = Status::from(error);
            assert!(!status.details().is_empty());
            status.add_header(&mut trailers).unwrap();
            let bytes: usize = trailers
                .iter()
                .map(|(name, value)| name.as_str().len() + value.len() + 32)
                .sum();
            assert!(bytes < 8 * 1024, "{bytes} bytes");
        }
    }
}
