//! Writing blocks, one conditional batch each, without waiting for the one before.

use std::future::Future;
use std::pin::Pin;
use std::task::{Context, Poll};

use super::samples::{pack_block, same_content};
use super::{Block, Recording, RunTail, read_attachment, row_with};
use crate::disk::{AttachmentRow, BlockInfo};
use crate::engine::{Lane, Outcome, Pending};
use crate::error::{StoreError, settle};
use crate::key::RowKey;
use crate::moment::Moment;
use crate::record::Gap;
use crate::rows::Change;
use crate::store::Store;

pub(super) const ATTEMPTS: usize = 32;
/// Blocks remembered for comparison: more than may be outstanding, so that older ones are durable and can be read.
const REMEMBERED: usize = 256;

/// A block on its way. Await it, or wait on a thread that may block. `Ok` means durable.
///
/// # Errors
/// [`StoreError::Superseded`] when the stream was shut out (awaited: whatever shut it out, see
/// [`Recording::shut_out_by`]); [`StoreError::BlockOutOfOrder`] when a block before it did not become durable;
/// [`StoreError::InDoubt`], [`StoreError::DiskLow`], [`StoreError::Busy`], [`StoreError::Failed`]. After any of them the
/// [`Recording`] is of no more use: open the run again.
#[must_use = "the block is not known to be durable before its outcome is"]
pub struct BlockPending {
    pending: Pending,
    number: u64,
    store: Store,
    uid: crate::key::Uid,
}

impl BlockPending {
    /// The block's number.
    pub fn number(&self) -> u64 {
        self.number
    }

    /// Blocks until the block is durable or is known not to be.
    ///
    /// # Errors
    /// See [`BlockPending`]; also [`StoreError::RunClosed`] and [`StoreError::NotFound`] instead of
    /// [`StoreError::Superseded`], where that is the reason.
    pub fn wait(self) -> Result<(), StoreError> {
        match read_outcome(self.pending.wait(), self.number) {
            Err(StoreError::Superseded) => Err(shut_out_by(&self.store, &self.uid)),
            other => other,
        }
    }
}

impl Future for BlockPending {
    type Output = Result<(), StoreError>;

    fn poll(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Self::Output> {
        let number = self.number;
        Pin::new(&mut self.pending)
            .poll(context)
            .map(|outcome| read_outcome(outcome, number))
    }
}

/// The conditions of a block's batch, in their order.
fn read_outcome(outcome: Outcome, number: u64) -> Result<(), StoreError> {
    match settle(outcome)? {
        None => Ok(()),
        Some(0) => Err(StoreError::Superseded),
        Some(1) => Err(StoreError::BlockOutOfOrder {
            wanted: number.saturating_sub(1).max(1),
        }),
        Some(_) => Err(StoreError::Conflict),
    }
}

impl Recording {
    /// The run's id.
    pub fn run(&self) -> &crate::RecordId {
        &self.id
    }

    /// Which stream of the run this is, from 1.
    pub fn attachment(&self) -> u32 {
        self.attachment
    }

    /// The end of what was handed over; durable once its outcomes are.
    pub fn handed_over(&self) -> RunTail {
        self.tail
    }

    /// Hands a block over: the next one, or a repeat of one that came before. Does not wait for the disk and does not read,
    /// but for a repeat of a block that is long durable; blocks only while the engine's lane is full.
    ///
    /// # Errors
    /// [`StoreError::BlockOutOfOrder`] (a hole), [`StoreError::BlockDiffers`] (a repeat with other content),
    /// [`StoreError::TooLarge`], [`StoreError::Malformed`] (columns of different lengths, no sample, too many). The
    /// recording is as before then.
    pub fn append(&mut self, now: Moment, block: &Block) -> Result<BlockPending, StoreError> {
        let wanted = self.tail.durable_through + 1;
        let packed = pack_block(now, block, &self.tail)?;
        if block.number == 0 || block.number > wanted {
            return Err(StoreError::BlockOutOfOrder { wanted });
        }
        if block.number < wanted {
            return self.repeat(block.number, &packed.info);
        }
        let number = block.number;
        let mut change = Change::default();
        change.require_unchanged(&RowKey::Attachment { uid: self.uid }, self.fence);
        let key = RowKey::Samples {
            uid: self.uid,
            first_block: number,
        };
        match number {
            1 => change.require_absent(&RowKey::Samples {
                uid: self.uid,
                first_block: 2,
            }),
            _ => change.require_present(&RowKey::Samples {
                uid: self.uid,
                first_block: number - 1,
            }),
        }
        change.require_absent(&key);
        change.put_message(&key, &packed.message);
        if let Some(gap) = &packed.info.gap_before {
            change.put(
                &RowKey::Gap {
                    uid: self.uid,
                    block: number,
                },
                gap,
            );
        }
        self.tail = RunTail {
            durable_through: number,
            sample_count: packed.info.samples_through,
            crc32c: packed.info.crc32c_through,
            receive_time: Some(now),
        };
        if self.recent.len() == REMEMBERED {
            self.recent.pop_front();
        }
        self.recent.push_back((number, packed.info));
        Ok(self.submit(change, number))
    }

    fn submit(&self, change: Change, number: u64) -> BlockPending {
        let pending = change.submit(self.store.engine(), Lane::Live);
        BlockPending {
            pending,
            number,
            store: self.store.clone(),
            uid: self.uid,
        }
    }

    /// A block that came before is durable when those handed over so far are.
    fn repeat(&self, number: u64, info: &BlockInfo) -> Result<BlockPending, StoreError> {
        let known = match self.recent.iter().find(|(recent, _)| *recent == number) {
            Some((_, known)) => known.clone(),
            None => self.read_info(number)?,
        };
        if !same_content(&known, info) {
            return Err(StoreError::BlockDiffers { number });
        }
        let mut change = Change::default();
        change.require_unchanged(&RowKey::Attachment { uid: self.uid }, self.fence);
        change.require_present(&RowKey::Samples {
            uid: self.uid,
            first_block: number,
        });
        Ok(self.submit(change, number))
    }

    fn read_info(&self, number: u64) -> Result<BlockInfo, StoreError> {
        let row = row_with(&self.store.snapshot()?, &self.uid, number)?.filter(|row| row.first_block == number);
        // An open run has a row for every block: without one it has been closed or is gone.
        match row.and_then(|row| row.blocks.into_iter().next()) {
            Some(info) => Ok(info),
            None => Err(shut_out_by(&self.store, &self.uid)),
        }
    }

    /// Why this stream is shut out: [`StoreError::Superseded`], [`StoreError::RunClosed`], [`StoreError::NotFound`], or why
    /// it is not known. Reads.
    pub fn shut_out_by(&self) -> StoreError {
        shut_out_by(&self.store, &self.uid)
    }
}

fn shut_out_by(store: &Store, uid: &crate::key::Uid) -> StoreError {
    let attachment = store.snapshot().and_then(|view| {
        let row: Option<crate::rows::Stored<AttachmentRow>> = view.get(&RowKey::Attachment { uid: *uid })?;
        row.map(|_| read_attachment(&view, uid)).transpose()
    });
    match attachment {
        Ok(Some(row)) if row.row.open => StoreError::Superseded,
        Ok(Some(_)) => StoreError::RunClosed,
        Ok(None) => StoreError::NotFound,
        Err(error) => error,
    }
}

/// The gap before a block, with the block's number filled in.
pub(super) fn numbered(gap: &Gap, block: u64) -> Gap {
    Gap { block, ..gap.clone() }
}
