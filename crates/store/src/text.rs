//! Everything in a store as lines of text, and back: backup, moving house, comparing two stores with `diff`.
//!
//! ```text
//! springwright-records 1
//! store 0f3c...                             which store it came from
//! sequence 812                              its durable sequence
//! clock - 1 MESSAGE CRC                     the newest time seen
//! revision KIND ID N 1 MESSAGE CRC          a record's revisions, ascending, of a rider the newest; records by kind, then id
//! attachment UID 1 MESSAGE CRC              after the revisions of a run: who may write
//! seal UID 1 MESSAGE CRC                      where sealing has come to, if it is not done
//! samples UID FIRST_BLOCK 1 MESSAGE CRC       its blocks, ascending
//! request ID 1 MESSAGE CRC                  what request ids did, by id
//! copy TIME 1 MESSAGE CRC                   copies that were made, in nanoseconds since 1970
//! end LINES CRC
//! ```
//! Words are parted by one space, lines end with a line feed. The number before MESSAGE is the format version of the message,
//! as in its [envelope](crate::envelope); MESSAGE is standard base64 of a message of `proto/springwright/store/v1`
//! (`ClockRow`, `RevisionRow`, `AttachmentRow`, `SealRow`, `SampleRow`, `RequestRow`, `CopyRow`). CRC is CRC-32C in hex: of the line before
//! it with its last space, and at the end of the whole text before that line; LINES counts the lines before it. Heads and indexes
//! are not carried: import derives them. A record whose purge has begun is left out; its request ids are carried with their end.
//!
//! Exported again, what was imported gives the same text.

mod base64;
mod export;
mod import;

use std::fmt;
use std::io;

pub use export::export;
pub use import::import;

use crate::error::StoreError;

/// First line.
const TITLE: &str = "springwright-records 1";

/// Where a text comes from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Origin {
    /// The store's id; visible characters without a space.
    pub store: String,
    /// Its durable sequence when the export began.
    pub sequence: u64,
}

/// What was moved.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Moved {
    /// Where the text comes from.
    pub origin: Origin,
    /// Lines before the last.
    pub lines: u64,
    /// CRC-32C of them.
    pub crc32c: u32,
}

/// Why an export or import was broken off. After a broken import the store is of no use: [`Store::over`](crate::Store::over)
/// refuses it.
#[derive(Debug)]
pub enum TextError {
    /// Reading or writing the text failed.
    Io(io::Error),
    /// The store failed; [`StoreError::Conflict`]: the exported store purged or sealed a record meanwhile, start again.
    Store(StoreError),
    /// A line is not what it has to be.
    Line {
        /// Its number, from 1.
        number: u64,
        /// What is wrong.
        what: String,
    },
    /// The store that was to be filled is not empty.
    NotEmpty,
}

impl fmt::Display for TextError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            TextError::Io(error) => write!(f, "{error}"),
            TextError::Store(error) => write!(f, "{error}"),
            TextError::Line { number, what } => write!(f, "line {number}: {what}"),
            TextError::NotEmpty => write!(f, "the store to be filled is not empty"),
        }
    }
}

impl std::error::Error for TextError {}

impl From<io::Error> for TextError {
    fn from(error: io::Error) -> Self {
        TextError::Io(error)
    }
}

impl From<StoreError> for TextError {
    fn from(error: StoreError) -> Self {
        TextError::Store(error)
    }
}
