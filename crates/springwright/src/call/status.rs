//! What a server's refusal says, in words.

use std::fmt::Write as _;

use tonic::{Code, Status};
use tonic_types::StatusExt as _;

use crate::fail::Fail;

/// A status as a failure: code, reason, every violation, everything else it carries.
pub(crate) fn fail(status: &Status) -> Fail {
    let words = words(status);
    if status.code() == Code::NotFound {
        Fail::NotFound(words)
    } else {
        Fail::Error(words)
    }
}

fn words(status: &Status) -> String {
    let details = status.get_error_details();
    let mut words = code(status.code());
    if let Some(info) = details.error_info().filter(|info| info.reason != words) {
        let _ = write!(words, " {}", info.reason);
    }
    if !status.message().is_empty() {
        let _ = write!(words, ": {}", status.message());
    }
    for violation in details.bad_request().iter().flat_map(|bad| &bad.field_violations) {
        let _ = write!(words, "\n  {}: {}", violation.field, violation.description);
        if !violation.reason.is_empty() {
            let _ = write!(words, " [{}]", violation.reason);
        }
    }
    if let Some(info) = details.error_info() {
        let mut metadata: Vec<_> = info.metadata.iter().collect();
        metadata.sort();
        for (key, value) in metadata {
            let _ = write!(words, "\n  {key} = {value}");
        }
    }
    if let Some(delay) = details.retry_info().and_then(|info| info.retry_delay) {
        let _ = write!(words, "\n  come back in {} s", delay.as_secs_f64());
    }
    crate::print::clean(&words)
}

/// `NOT_FOUND` for `NotFound`.
fn code(code: Code) -> String {
    crate::api::kebab(&format!("{code:?}"))
        .replace('-', "_")
        .to_ascii_uppercase()
}

#[cfg(test)]
mod tests {
    use std::collections::HashMap;

    use tonic_types::ErrorDetails;

    use super::*;

    #[test]
    fn a_refusal_names_code_reason_fields_and_metadata() {
        let mut details = ErrorDetails::new();
        details.set_error_info(
            "INVALID_FIELDS",
            "springwright",
            HashMap::from([("count".to_owned(), "1".to_owned())]),
        );
        details.add_bad_request_violation("grade.grade", "grade is 7; allowed 1 to 3");
        let status = Status::with_error_details(Code::InvalidArgument, "1 field is at fault", details);
        assert_eq!(
            words(&status),
            "INVALID_ARGUMENT INVALID_FIELDS: 1 field is at fault\n  grade.grade: grade is 7; allowed 1 to 3\n  count = 1"
        );
    }

    #[test]
    fn not_found_is_a_no_and_not_an_error() {
        assert!(matches!(fail(&Status::not_found("no springs/a7")), Fail::NotFound(_)));
        assert!(matches!(fail(&Status::aborted("stale")), Fail::Error(_)));
    }
}
