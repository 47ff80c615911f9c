//! How an action ends: what the exit code says.

use std::fmt::Display;
use std::io;
use std::process::ExitCode;

/// How an action that did its work ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Answer {
    /// Done; exit code 0.
    Yes,
    /// Done, and the answer is no: refused, faults found; exit code 1.
    No,
}

/// Why an action did not do its work.
#[derive(Debug)]
pub(crate) enum Fail {
    /// Nothing of that name; exit code 1.
    NotFound(String),
    /// Anything else, in words; exit code 2.
    Error(String),
    /// Whoever read the output has left. That is the reader's choice and no fault; exit code 0.
    ReaderLeft,
}

/// What every action gives back.
pub(crate) type Ended = Result<Answer, Fail>;

impl Fail {
    /// An error in words.
    pub(crate) fn error(words: impl Into<String>) -> Self {
        Self::Error(words.into())
    }

    /// An error about something that was being done.
    pub(crate) fn at(what: impl Display, cause: impl Display) -> Self {
        Self::Error(format!("{what}: {cause}"))
    }
}

impl From<io::Error> for Fail {
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            Self::ReaderLeft
        } else {
            Self::Error(error.to_string())
        }
    }
}

/// The exit code; says on stderr what went wrong.
pub(crate) fn exit_code(ended: &Ended) -> ExitCode {
    match ended {
        Ok(Answer::Yes) | Err(Fail::ReaderLeft) => ExitCode::SUCCESS,
        Ok(Answer::No) => ExitCode::from(1),
        Err(Fail::NotFound(words)) => {
            crate::out::say(format_args!("{words}"));
            ExitCode::from(1)
        }
        Err(Fail::Error(words)) => {
            crate::out::say(format_args!("error: {words}"));
            ExitCode::from(2)
        }
    }
}
