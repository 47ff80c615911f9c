//! Why a feed ended without a finished run, and what whoever reads it does next.

use std::fmt;
use std::path::PathBuf;

use super::intake::Unreadable;
use super::preamble::PreambleError;
use super::record::RecordError;
use super::source::Source;
use super::spool::SpoolError;

/// Why a feed ended without a finished run.
#[derive(Debug)]
pub(crate) enum FeedError {
    /// The server's address is none.
    Server(String),
    /// The source cannot be opened or broke off for good.
    Source {
        /// Which.
        source: Source,
        /// What the system said.
        error: std::io::Error,
    },
    /// The source does not say what it holds.
    Preamble(PreambleError),
    /// The source holds nothing that can be read.
    Unreadable(Unreadable),
    /// The source ended without one sample.
    NoSamples,
    /// A tester came back with another test.
    OtherTest {
        /// What was asked for.
        expected: String,
        /// What it says it has.
        found: String,
    },
    /// The spool belongs to another source.
    OtherSource {
        /// The spool.
        spool: PathBuf,
        /// What it was begun with.
        begun_with: String,
    },
    /// There is no folder for the spool.
    NoStateFolder,
    /// The spool failed.
    Spool(SpoolError),
    /// The recording ended early; what was kept is in the spool.
    Record {
        /// The spool.
        spool: PathBuf,
        /// Why.
        error: RecordError,
    },
}

impl fmt::Display for FeedError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Server(text) => write!(f, "\"{text}\" is no server's address; write http://HOST:PORT"),
            Self::Source { source, error } => write!(f, "{source}: {error}"),
            Self::Preamble(error) => error.fmt(f),
            Self::Unreadable(Unreadable::DecimalComma { line, complaint }) => write!(f, "line {line}: {complaint}"),
            Self::Unreadable(Unreadable::NothingReadable { line, complaint }) => {
                write!(
                    f,
                    "not one sample so far; line {line}: {complaint}; see --columns, --separator, --skip-lines"
                )
            }
            Self::Unreadable(Unreadable::TooManyMalformed { limit }) => write!(f, "more than {limit} malformed lines"),
            Self::NoSamples => write!(f, "the source ended without one sample; nothing was recorded"),
            Self::OtherTest { expected, found } => {
                write!(
                    f,
                    "the tester came back with {found} instead of {expected}; begin a new run with --new-run"
                )
            }
            Self::OtherSource { spool, begun_with } => write!(
                f,
                "spool {} holds an unfinished run of {begun_with}; name another --spool, or put it aside with --new-run",
                spool.display()
            ),
            Self::NoStateFolder => write!(f, "neither XDG_STATE_HOME nor HOME is set; name a file with --spool"),
            Self::Spool(error) => error.fmt(f),
            Self::Record { spool, error } => write!(
                f,
                "{error}; the run's blocks are kept in {}: the same command goes on, --new-run begins another",
                spool.display()
            ),
        }
    }
}

impl std::error::Error for FeedError {}

impl From<SpoolError> for FeedError {
    fn from(error: SpoolError) -> Self {
        Self::Spool(error)
    }
}
