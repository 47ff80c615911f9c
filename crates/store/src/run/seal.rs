//! Sealing: the single blocks of a closed run are re-packed into full rows, a bounded step at a time.
//!
//! A step writes one row and removes the rows it was made of in one batch, together with the mark of how far sealing has
//! come: cut off anywhere, the run is whole, and sealing goes on where it stopped.

use prost::Message;

use super::samples::{pack_many, unpack};
use super::{Block, run_uid, sample_range};
use crate::disk::{BlockInfo, SampleRow, SealRow};
use crate::engine::{Lane, Order};
use crate::envelope::MAX_MESSAGE;
use crate::error::{StoreError, settle};
use crate::key::{self, RowKey, Uid};
use crate::record::RecordId;
use crate::rows::{Change, Snapshot, Stored};
use crate::store::Store;

/// Most samples of a sealed row: bounds what reading one block costs.
const ROW_SAMPLES: usize = 16_384;
/// Most blocks of a sealed row: bounds the batch.
const ROW_BLOCKS: usize = 512;
/// Rows read at once.
const STRIDE: usize = 32;

/// The next blocks to be sealed.
struct Batch {
    infos: Vec<BlockInfo>,
    blocks: Vec<Block>,
    /// Whether the run ends with them.
    to_end: bool,
    /// They stand in one row already, as after the import of a run that was being sealed.
    sealed: bool,
}

impl Store {
    /// Takes one step of sealing a closed run. Gives whether more steps are to be taken.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::InDoubt`], [`StoreError::Busy`], [`StoreError::Failed`],
    /// [`StoreError::Damaged`].
    pub fn seal_step(&self, id: &RecordId) -> Result<bool, StoreError> {
        let uid = run_uid(&self.snapshot()?, id)?;
        self.seal_some(&uid)
    }

    /// Takes at most `steps` steps of sealing, whichever runs need it. Gives whether more steps are to be taken. A run that
    /// cannot be sealed because it is damaged keeps its place, is reported, and does not hold up the others.
    ///
    /// # Errors
    /// As [`Store::seal_step`], after the other runs have had their steps.
    pub fn seal_due(&self, steps: usize) -> Result<bool, StoreError> {
        let mut range = key::family(0x0B, &[]);
        let mut failed = None;
        for _ in 0..steps {
            let next = self.snapshot()?.keys(&range, Order::Ascending, 1)?.into_iter().next();
            let Some(RowKey::Seal { uid }) = next else {
                return failed.map_or(Ok(false), Err);
            };
            match self.seal_some(&uid) {
                Ok(_) => {}
                Err(error @ StoreError::Damaged { .. }) => {
                    range = range.after(&RowKey::Seal { uid }.bytes());
                    failed = Some(error);
                }
                Err(error) => return Err(error),
            }
        }
        let more = !self.snapshot()?.keys(&range, Order::Ascending, 1)?.is_empty();
        failed.map_or(Ok(more), Err)
    }

    fn seal_some(&self, uid: &Uid) -> Result<bool, StoreError> {
        let key = RowKey::Seal { uid: *uid };
        let (seal, batch) = {
            let view = self.snapshot()?;
            let seal: Option<Stored<SealRow>> = view.get(&key)?;
            let Some(seal) = seal else { return Ok(false) };
            let batch = read_batch(&view, uid, seal.row.next_block)?;
            (seal, batch)
        };
        let mut change = Change::default();
        change.allow_when_low();
        change.require_unchanged(&key, seal.seen);
        let first = seal.row.next_block;
        let taken = match batch.sealed {
            true => batch.blocks.len(),
            false => put_row(&mut change, uid, first, &batch),
        };
        let done = batch.to_end && taken == batch.blocks.len();
        match done {
            true => change.delete(&key),
            false => {
                change.put(
                    &key,
                    &SealRow {
                        next_block: first + taken as u64,
                        ..seal.row
                    },
                );
            }
        }
        // Refused: somebody else has sealed or purged it meanwhile, and there is nothing to be done again.
        settle(change.commit(self.engine(), Lane::Bulk))?;
        Ok(!done)
    }
}

fn read_batch(view: &Snapshot<'_>, uid: &Uid, first: u64) -> Result<Batch, StoreError> {
    let mut batch = Batch {
        infos: Vec::new(),
        blocks: Vec::new(),
        to_end: false,
        sealed: false,
    };
    let mut samples = 0;
    loop {
        let next = first + batch.blocks.len() as u64;
        let rows = view.rows::<SampleRow>(&sample_range(uid, next, u64::MAX), Order::Ascending, STRIDE)?;
        batch.to_end = rows.len() < STRIDE;
        for (_, Stored { row, .. }) in rows {
            let blocks = unpack(&row).map_err(StoreError::damaged)?;
            samples += blocks.iter().map(Block::sample_count).sum::<usize>();
            let width = batch
                .blocks
                .first()
                .or(blocks.first())
                .map_or(0, |block| block.columns.len());
            let full =
                !batch.blocks.is_empty() && (samples > ROW_SAMPLES || batch.blocks.len() + blocks.len() > ROW_BLOCKS);
            if blocks.len() > 1 && batch.blocks.is_empty() {
                return Ok(Batch {
                    infos: row.blocks,
                    blocks,
                    to_end: false,
                    sealed: true,
                });
            }
            if full || blocks.len() > 1 || blocks.iter().any(|block| block.columns.len() != width) {
                batch.to_end = false;
                return Ok(batch);
            }
            batch.infos.extend(row.blocks);
            batch.blocks.extend(blocks);
        }
        if batch.to_end {
            return Ok(batch);
        }
    }
}

/// Puts as many of the blocks as fit into one row and removes the rows of the others; gives how many those are. A lone block that
/// does not compress into a value stays as it is.
fn put_row(change: &mut Change, uid: &Uid, first: u64, batch: &Batch) -> usize {
    let mut count = batch.blocks.len();
    while count > 0 {
        let (infos, blocks) = (batch.infos.get(..count), batch.blocks.get(..count));
        let row = pack_many(first, infos.unwrap_or_default(), blocks.unwrap_or_default());
        let size = row.encoded_len();
        if size <= MAX_MESSAGE {
            change.put(
                &RowKey::Samples {
                    uid: *uid,
                    first_block: first,
                },
                &row,
            );
            for block in (first..).take(count).skip(1) {
                change.delete(&RowKey::Samples {
                    uid: *uid,
                    first_block: block,
                });
            }
            return count;
        }
        if count == 1 {
            return 1;
        }
        // A little less than the share that would fit, as small rows compress worse.
        count = (count * MAX_MESSAGE / size * 15 / 16).clamp(1, count - 1);
    }
    count
}
