//! What can go wrong, named for what the caller can do about it.

use std::fmt;

use crate::engine::{BatchFault, EngineError, Outcome};
use crate::record::{Kind, NamedStack, RecordId};

/// Why an operation on records or runs was not done. But for [`StoreError::InDoubt`], nothing was changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StoreError {
    /// No such record, or no such revision of it.
    NotFound,
    /// A record of that name exists.
    NameTaken,
    /// A deleted record holds the name until it is purged.
    NameTakenByDeleted,
    /// The record is deleted; undelete it first.
    Deleted,
    /// The record changed since the etag was read.
    StaleEtag {
        /// The etag it has now.
        current: String,
    },
    /// The request id was used before for something else.
    RequestIdReused,
    /// The change may or may not have happened; repeat it with the same request id.
    InDoubt,
    /// Free space is below the reserve; deletes, finishing and export are still taken.
    DiskLow,
    /// Stored bytes failed their check.
    Damaged {
        /// Which bytes and which check, for the log and the person who restores.
        what: String,
    },
    /// Larger than a stated bound.
    TooLarge {
        /// What is too large.
        what: &'static str,
        /// Its size.
        size: usize,
        /// The bound.
        limit: usize,
    },
    /// The content contradicts itself; a caller that checks its input never sees this.
    Malformed {
        /// What is wrong with it.
        what: String,
    },
    /// Others changed the record too often to get a word in; try again.
    Conflict,
    /// The store is held up by other work and took nothing; try again.
    Busy,
    /// The store has failed or is closed; the reason is for the log.
    Failed(String),
    /// The run is finished or discarded: it takes no block and no such change.
    RunClosed,
    /// The run takes blocks still; finish or discard it first.
    RunOpen,
    /// A newer stream took the run over.
    Superseded,
    /// The block came before with other content.
    BlockDiffers {
        /// Its number.
        number: u64,
    },
    /// A block was skipped.
    BlockOutOfOrder {
        /// The number that was wanted.
        wanted: u64,
    },
    /// Counts or checksum stated at the finish are not those of the durable blocks.
    FinishDiffers {
        /// Durable blocks.
        block_count: u64,
        /// Their samples.
        sample_count: u64,
        /// Their checksum.
        crc32c: u32,
    },
    /// The run was interrupted for longer than it can be resumed.
    NotResumable,
    /// The stack is built.
    StackBuilt,
    /// The stack is not built.
    StackNotBuilt,
    /// Other records need it.
    InUse {
        /// Some of them.
        by: Vec<(Kind, RecordId)>,
    },
    /// Stacks that are named are not in the drawer.
    NoneNamed {
        /// All of them.
        stacks: Vec<NamedStack>,
    },
}

impl fmt::Display for StoreError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            StoreError::NotFound => write!(f, "there is no such record"),
            StoreError::NameTaken => write!(f, "a record of that name exists"),
            StoreError::NameTakenByDeleted => write!(f, "a deleted record holds the name until it is purged"),
            StoreError::Deleted => write!(f, "the record is deleted"),
            StoreError::StaleEtag { current } => write!(f, "the record has changed; its etag is {current}"),
            StoreError::RequestIdReused => write!(f, "the request id was used before with other content"),
            StoreError::InDoubt => write!(f, "the change may or may not have happened"),
            StoreError::DiskLow => write!(f, "the disk's reserve is reached"),
            StoreError::Damaged { what } => write!(f, "stored bytes failed their check: {what}"),
            StoreError::TooLarge { what, size, limit } => write!(f, "{what} has {size} bytes; allowed 0 to {limit}"),
            StoreError::Malformed { what } => write!(f, "{what}"),
            StoreError::Conflict => write!(f, "the record was changed by others again and again"),
            StoreError::Busy => write!(f, "the store is held up"),
            StoreError::Failed(reason) => write!(f, "{reason}"),
            StoreError::RunClosed => write!(f, "the run is finished or discarded"),
            StoreError::RunOpen => write!(f, "the run is not finished"),
            StoreError::Superseded => write!(f, "a newer stream took the run over"),
            StoreError::BlockDiffers { number } => write!(f, "block {number} came before with other content"),
            StoreError::BlockOutOfOrder { wanted } => write!(f, "block {wanted} was wanted"),
            StoreError::FinishDiffers {
                block_count,
                sample_count,
                crc32c,
            } => {
                write!(
                    f,
                    "durable are {block_count} blocks of {sample_count} samples with CRC-32C {crc32c:08x}"
                )
            }
            StoreError::NotResumable => write!(f, "the run was interrupted for more than 24 h"),
            StoreError::StackBuilt => write!(f, "the stack is built"),
            StoreError::StackNotBuilt => write!(f, "the stack is not built"),
            StoreError::InUse { by } => {
                write!(f, "others need it:")?;
                by.iter().try_for_each(|(kind, id)| write!(f, " {} {id}", kind.word()))
            }
            StoreError::NoneNamed { stacks } => {
                write!(f, "not in the drawer:")?;
                stacks.iter().try_for_each(|stack| write!(f, " stack {}", stack.id))
            }
        }
    }
}

impl std::error::Error for StoreError {}

impl From<EngineError> for StoreError {
    fn from(error: EngineError) -> Self {
        match error {
            EngineError::HeldUp => StoreError::Busy,
            EngineError::Failed(_) | EngineError::Closed => StoreError::Failed(error.to_string()),
        }
    }
}

impl StoreError {
    pub(crate) fn damaged(what: impl Into<String>) -> Self {
        StoreError::Damaged { what: what.into() }
    }

    pub(crate) fn malformed(what: impl Into<String>) -> Self {
        StoreError::Malformed { what: what.into() }
    }
}

/// What an outcome means to a caller who stated conditions: `Ok(None)` committed, `Ok(Some(i))` condition `i` did not hold.
pub(crate) fn settle(outcome: Outcome) -> Result<Option<usize>, StoreError> {
    match outcome {
        Outcome::Committed => Ok(None),
        Outcome::Refused { condition } => Ok(Some(condition)),
        Outcome::InDoubt => Err(StoreError::InDoubt),
        Outcome::Unfit(BatchFault::DiskLow { .. }) => Err(StoreError::DiskLow),
        Outcome::Unfit(BatchFault::HeldUp) => Err(StoreError::Busy),
        Outcome::Unfit(fault @ BatchFault::Closed) => Err(StoreError::Failed(fault.to_string())),
        Outcome::Unfit(BatchFault::BatchTooLarge { bytes }) => Err(StoreError::TooLarge {
            what: "the change",
            size: bytes,
            limit: crate::engine::MAX_BATCH,
        }),
        Outcome::Unfit(
            fault @ (BatchFault::KeyEmpty
            | BatchFault::KeyReserved
            | BatchFault::KeyTooLong { .. }
            | BatchFault::ValueTooLarge { .. }),
        ) => Err(StoreError::Failed(fault.to_string())),
    }
}
