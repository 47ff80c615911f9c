//! Runs: recording blocks of samples, finishing, sealing, reading back.
//!
//! A run takes blocks 1, 2, 3 ... from one stream at a time. Attaching a stream writes a new attachment row, and every block is
//! conditional on that row and on the block before it: the newest stream wins, and of blocks that were handed over one after
//! the other without waiting, none becomes durable without those before it.

mod append;
mod finish;
mod open;
mod read;
mod samples;
mod seal;

use std::collections::VecDeque;

use crate::disk::{AttachmentRow, BlockInfo, SampleRow};
use crate::engine::{KeyRange, Order};
use crate::error::StoreError;
use crate::key::{RowKey, Uid};
use crate::moment::Moment;
use crate::record::{Gap, RecordId, RunBody, Saved, TareMark};
use crate::rows::{Change, Snapshot, Stored};
use crate::store::{Store, read_head, uid_of};

pub use append::BlockPending;
pub use finish::FinishClaim;
pub use read::BlockReader;
pub(crate) use samples::{continue_checksum, unpack};

/// Hours without a block after which an interrupted run is not taken up again.
pub const RESUMABLE_HOURS: i64 = 24;
/// Most columns of a block.
pub const MAX_COLUMNS: usize = 16;
/// Most samples of a block.
pub const MAX_BLOCK_SAMPLES: usize = 4_096;
/// Most gaps that a finished run lists; beyond, they are counted.
pub const MAX_GAPS_LISTED: usize = 1_000;

/// Consecutive samples.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Block {
    /// 1, 2, 3 ... without holes.
    pub number: u64,
    /// Counts restarts of the sender's clock or line.
    pub segment: u32,
    /// Time from the segment's start, in nanoseconds; empty, or one for each sample.
    pub elapsed_ns: Vec<i64>,
    /// The columns in the header's order, 1 to 16, all of one length; kept to the bit.
    pub columns: Vec<Vec<f64>>,
    /// What is missing before this block. Its block number is filled in by the store.
    pub gap_before: Option<Gap>,
    /// The tare from this block on.
    pub tare_mark: Option<TareMark>,
    /// When it arrived; what the store is given with the block counts, not this.
    pub receive_time: Moment,
}

impl Block {
    /// How many samples it holds.
    pub fn sample_count(&self) -> usize {
        self.columns.first().map_or(0, Vec::len)
    }
}

/// What opening a run came to.
#[derive(Debug)]
pub struct Opened {
    /// The run.
    pub run: Saved<RunBody>,
    /// Where to write; `None`: the run is finished.
    pub recording: Option<Recording>,
    /// Which stream of the run this is; 0 if it is finished.
    pub attachment: u32,
    /// The last block that is durable; 0: none. Go on with the next.
    pub durable_through: u64,
    /// Durable samples.
    pub sample_count: u64,
    /// Whether the run was there before.
    pub resumed: bool,
}

/// The durable end of a run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RunTail {
    /// The last block; 0: none.
    pub durable_through: u64,
    /// Samples up to and with it.
    pub sample_count: u64,
    /// CRC-32C of them, as [`RunBody::content_crc32c`].
    pub crc32c: u32,
    /// When the last block arrived; `None`: there is none.
    pub receive_time: Option<Moment>,
}

/// A stream's right to write to a run, until a newer stream attaches, the run is closed, or it is deleted.
///
/// Dropping it leaves the run as it is: interrupted, and resumable for 24 h after the last block.
pub struct Recording {
    store: Store,
    id: RecordId,
    uid: Uid,
    attachment: u32,
    /// Checksum of the attachment row: the fence.
    fence: u32,
    /// The end of what was handed over, durable or not.
    tail: RunTail,
    /// The blocks handed over last: repeats of them are compared without a read.
    recent: VecDeque<(u64, BlockInfo)>,
}

impl std::fmt::Debug for Recording {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "Recording({}, attachment {}, through {})",
            self.id, self.attachment, self.tail.durable_through
        )
    }
}

impl Store {
    /// The durable end of a run; of an open run it moves.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::Damaged`], [`StoreError::Busy`], [`StoreError::Failed`].
    pub fn run_tail(&self, id: &RecordId) -> Result<RunTail, StoreError> {
        let view = self.snapshot()?;
        let uid = run_uid(&view, id)?;
        read_tail(&view, &uid)
    }

    /// The gaps of a run behind a block, at most `limit` of them; [`Gap::block`] of the last is where to go on.
    ///
    /// # Errors
    /// As [`Store::run_tail`].
    pub fn run_gaps(&self, id: &RecordId, after_block: u64, limit: usize) -> Result<Vec<Gap>, StoreError> {
        let view = self.snapshot()?;
        let uid = run_uid(&view, id)?;
        read_gaps(&view, &uid, after_block, limit)
    }
}

fn run_uid(view: &Snapshot<'_>, id: &RecordId) -> Result<Uid, StoreError> {
    uid_of(
        &read_head(view, crate::record::Kind::Run, id)?
            .ok_or(StoreError::NotFound)?
            .row,
    )
}

/// The rows of samples whose first block lies in `from..=to`.
pub(crate) fn sample_range(uid: &Uid, from: u64, to: u64) -> KeyRange {
    let start = RowKey::Samples {
        uid: *uid,
        first_block: from,
    }
    .bytes();
    let mut end = RowKey::Samples {
        uid: *uid,
        first_block: to,
    }
    .bytes();
    end.push(0);
    KeyRange::between(start, end)
}

/// The row that holds a block, or the last one before it.
fn row_with(view: &Snapshot<'_>, uid: &Uid, block: u64) -> Result<Option<SampleRow>, StoreError> {
    let rows = view.rows::<SampleRow>(&sample_range(uid, 0, block), Order::Descending, 1)?;
    Ok(rows.into_iter().next().map(|(_, stored)| stored.row))
}

fn read_tail(view: &Snapshot<'_>, uid: &Uid) -> Result<RunTail, StoreError> {
    let Some(row) = row_with(view, uid, u64::MAX)? else {
        return Ok(RunTail::default());
    };
    tail_of(&row).ok_or_else(|| StoreError::damaged("a row of samples has no block"))
}

/// The end of a run that ends with this row.
fn tail_of(row: &SampleRow) -> Option<RunTail> {
    let last = row.blocks.last()?;
    Some(RunTail {
        durable_through: row.first_block + row.blocks.len() as u64 - 1,
        sample_count: last.samples_through,
        crc32c: last.crc32c_through,
        receive_time: Some(Moment::from_nanos(last.receive_time)),
    })
}

fn read_gaps(view: &Snapshot<'_>, uid: &Uid, after_block: u64, limit: usize) -> Result<Vec<Gap>, StoreError> {
    let range = crate::key::family(0x0A, uid).after(
        &RowKey::Gap {
            uid: *uid,
            block: after_block,
        }
        .bytes(),
    );
    let rows = view.rows::<Gap>(&range, Order::Ascending, limit)?;
    Ok(rows.into_iter().map(|(_, stored)| stored.row).collect())
}

fn read_attachment(view: &Snapshot<'_>, uid: &Uid) -> Result<Stored<AttachmentRow>, StoreError> {
    view.get(&RowKey::Attachment { uid: *uid })?
        .ok_or_else(|| StoreError::damaged("a run has no attachment row"))
}

/// Replaces the attachment row, on condition that it is still the one that was read: whoever wrote under the old one is shut out.
fn put_attachment(
    uid: &Uid,
    old: &Stored<AttachmentRow>,
    now: Moment,
    open: bool,
    attachment: u32,
    change: &mut Change,
) -> u32 {
    let key = RowKey::Attachment { uid: *uid };
    change.require_unchanged(&key, old.seen);
    change.put(
        &key,
        &AttachmentRow {
            attachment,
            open,
            attach_time: now.as_nanos(),
        },
    )
}

/// Shuts out the stream that writes to a run which is being deleted. It can be taken up again once it is back.
pub(crate) fn shut_out(view: &Snapshot<'_>, now: Moment, uid: &Uid, change: &mut Change) -> Result<(), StoreError> {
    let old = read_attachment(view, uid)?;
    put_attachment(
        uid,
        &old,
        now,
        old.row.open,
        old.row.attachment.saturating_add(1),
        change,
    );
    Ok(())
}
