//! Why a recording ends early, and what only interrupts it.

use std::fmt;
use std::time::Duration;

use tonic::{Code, Status};
use tonic_types::StatusExt;

use super::super::spool::SpoolError;

/// Why a recording ended without being sealed.
#[derive(Debug)]
pub(crate) enum RecordError {
    /// Another feed took the run over; this one does not come back by itself.
    Superseded(String),
    /// The server refused for good.
    Refused(Box<Status>),
    /// The server was not to be had for too long after the source had ended.
    Unreachable {
        /// For how long.
        waited: Duration,
        /// What was the matter last.
        last: String,
    },
    /// The server acknowledged blocks this feed does not have: its spool was damaged or removed.
    SpoolBehind {
        /// What the server holds.
        server: i64,
        /// What the spool holds.
        spool: i64,
    },
    /// The server lost blocks it had acknowledged.
    ServerBehind {
        /// What the server holds.
        server: i64,
    },
    /// The source broke off, or the feed was told to leave; everything kept was sent as far as possible.
    LeftOpen,
    /// Nothing was recorded; the run that waited was given up.
    NothingRecorded,
    /// The spool failed.
    Spool(SpoolError),
}

impl RecordError {
    /// Whether the server refused for this reason of its own.
    pub(crate) fn is_of(&self, wanted: &str) -> bool {
        matches!(self, Self::Refused(status) if reason(status).as_deref() == Some(wanted))
    }
}

impl fmt::Display for RecordError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Superseded(message) => write!(f, "another feed took the run over: {message}"),
            Self::Refused(status) => write!(f, "the server refused: {}", status.message()),
            Self::Unreachable { waited, last } => {
                write!(f, "no server for {} s: {last}", waited.as_secs())
            }
            Self::SpoolBehind { server, spool } => write!(
                f,
                "the server holds blocks up to {server}, the spool only up to {spool}: the spool was damaged; begin a new run"
            ),
            Self::ServerBehind { server } => {
                write!(
                    f,
                    "the server holds blocks up to {server} only, but had acknowledged more"
                )
            }
            Self::NothingRecorded => write!(f, "nothing was recorded"),
            Self::LeftOpen => write!(f, "left before the run was finished"),
            Self::Spool(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for RecordError {}

impl From<SpoolError> for RecordError {
    fn from(error: SpoolError) -> Self {
        Self::Spool(error)
    }
}

/// The reason of this service's own errors.
pub(super) fn reason(status: &Status) -> Option<String> {
    let details = status.get_error_details();
    let info = details.error_info().filter(|info| info.domain == "springwright")?;
    Some(info.reason.clone())
}

/// Codes a broken connection or a proxy in between gives, without a reason of the service's own.
pub(super) fn passes(code: Code) -> bool {
    match code {
        Code::Unavailable | Code::Unknown | Code::Internal | Code::Cancelled | Code::DeadlineExceeded => true,
        Code::Ok
        | Code::InvalidArgument
        | Code::NotFound
        | Code::AlreadyExists
        | Code::PermissionDenied
        | Code::ResourceExhausted
        | Code::FailedPrecondition
        | Code::Aborted
        | Code::OutOfRange
        | Code::Unimplemented
        | Code::DataLoss
        | Code::Unauthenticated => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_passes_is_tried_again_and_what_does_not_ends() {
        assert!(
            [Code::Unavailable, Code::Unknown, Code::Cancelled]
                .into_iter()
                .all(passes)
        );
        assert!(
            ![Code::InvalidArgument, Code::PermissionDenied, Code::Unimplemented]
                .into_iter()
                .any(passes)
        );
    }
}
