//! Reading a run back, block by block.

use std::collections::VecDeque;

use super::samples::unpack;
use super::{Block, read_tail, row_with};
use crate::disk::AttachmentRow;
use crate::error::StoreError;
use crate::key::{RowKey, Uid};
use crate::record::{RecordId, RunBody, RunState};
use crate::rows::Stored;
use crate::store::{Store, read_current, uid_of};

/// The blocks of a run in order, exactly as they came. Holds one row at a time; each step takes a view of its own, so a run may be
/// sealed meanwhile. Ends after the first error.
pub struct BlockReader {
    store: Store,
    uid: Uid,
    next: u64,
    last: u64,
    ready: VecDeque<Block>,
}

impl Store {
    /// The durable blocks of a run, from a block on (0 and 1: from the start). Of an open run: up to the last one now.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::Damaged`], [`StoreError::Busy`], [`StoreError::Failed`]; the iterator's items
    /// also fail with [`StoreError::NotFound`] when the run is purged meanwhile.
    pub fn read_blocks(&self, id: &RecordId, from_block: u64) -> Result<BlockReader, StoreError> {
        let view = self.snapshot()?;
        let (head, run) = read_current::<RunBody>(&view, id)?;
        let uid = uid_of(&head.row)?;
        let last = match run.body.state() {
            RunState::Finished | RunState::Discarded => run.body.block_count,
            RunState::Open | RunState::Unspecified => read_tail(&view, &uid)?.durable_through,
        };
        Ok(BlockReader {
            store: self.clone(),
            uid,
            next: from_block.max(1),
            last,
            ready: VecDeque::new(),
        })
    }
}

impl BlockReader {
    fn fill(&mut self) -> Result<(), StoreError> {
        let row = {
            let view = self.store.snapshot()?;
            let row = row_with(&view, &self.uid, self.next)?;
            let attachment: Option<Stored<AttachmentRow>> = view.get(&RowKey::Attachment { uid: self.uid })?;
            if attachment.is_none() {
                return Err(StoreError::NotFound);
            }
            row
        };
        let missing = || StoreError::damaged(format!("block {} is missing", self.next));
        let row = row.ok_or_else(missing)?;
        let blocks = unpack(&row).map_err(StoreError::damaged)?;
        self.ready.extend(
            blocks
                .into_iter()
                .filter(|block| block.number >= self.next && block.number <= self.last),
        );
        match self.ready.front() {
            Some(block) if block.number == self.next => Ok(()),
            _ => Err(missing()),
        }
    }
}

impl Iterator for BlockReader {
    type Item = Result<Block, StoreError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.next > self.last {
            return None;
        }
        if self.ready.is_empty()
            && let Err(error) = self.fill()
        {
            self.next = u64::MAX;
            self.last = 0;
            return Some(Err(error));
        }
        self.next += 1;
        self.ready.pop_front().map(Ok)
    }
}
