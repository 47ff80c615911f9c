//! Finishing and discarding: one commit that closes a run for good.

use super::{MAX_GAPS_LISTED, Recording, RunTail, put_attachment, read_attachment, read_gaps, read_tail};
use crate::disk::SealRow;
use crate::error::StoreError;
use crate::key::{RowKey, Uid};
use crate::moment::Moment;
use crate::record::{Gap, RecordId, RunBody, RunState, Saved};
use crate::request::RequestKey;
use crate::rows::{Change, Snapshot};
use crate::store::{Plan, Store, plan_revision, read_live, uid_of};

/// What a sender says it has sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FinishClaim {
    /// Blocks.
    pub block_count: u64,
    /// Samples.
    pub sample_count: u64,
    /// CRC-32C of the samples, as [`RunBody::content_crc32c`]; `None`: not checked.
    pub crc32c: Option<u32>,
}

impl FinishClaim {
    fn check(&self, tail: &RunTail) -> Result<(), StoreError> {
        let counts = (self.block_count, self.sample_count) == (tail.durable_through, tail.sample_count);
        match counts && self.crc32c.is_none_or(|sum| sum == tail.crc32c) {
            true => Ok(()),
            false => Err(StoreError::FinishDiffers {
                block_count: tail.durable_through,
                sample_count: tail.sample_count,
                crc32c: tail.crc32c,
            }),
        }
    }
}

/// How a run is to be closed.
struct Closing<'a> {
    id: &'a RecordId,
    etag: Option<&'a str>,
    state: RunState,
    /// The stream that closes it, if one does.
    stream: Option<(Uid, u32)>,
    claim: Option<FinishClaim>,
}

impl Recording {
    /// Finishes the run, if everything that was sent is durable. Wait for the outcomes of all blocks first. Needs no request id:
    /// opening the run again answers that it is finished.
    ///
    /// # Errors
    /// [`StoreError::FinishDiffers`] (the run stays open), [`StoreError::Superseded`], [`StoreError::RunClosed`],
    /// [`StoreError::Deleted`], [`StoreError::NotFound`], and those of every change, see [`Store::create`].
    pub fn finish(&self, now: Moment, claim: FinishClaim) -> Result<Saved<RunBody>, StoreError> {
        let closing = Closing {
            id: &self.id,
            etag: None,
            state: RunState::Finished,
            stream: Some((self.uid, self.fence)),
            claim: Some(claim),
        };
        self.store.close_run(now, None, &closing)
    }
}

impl Store {
    /// Finishes an interrupted run as it is; a stream that still writes is shut out.
    ///
    /// # Errors
    /// [`StoreError::RunClosed`], [`StoreError::Deleted`], [`StoreError::NotFound`], [`StoreError::StaleEtag`], and those of
    /// every change, see [`Store::create`].
    pub fn finish_run(
        &self,
        now: Moment,
        request: &RequestKey,
        id: &RecordId,
        etag: Option<&str>,
    ) -> Result<Saved<RunBody>, StoreError> {
        let closing = Closing {
            id,
            etag,
            state: RunState::Finished,
            stream: None,
            claim: None,
        };
        self.close_run(now, Some(request), &closing)
    }

    /// Gives an open run up; a stream that still writes is shut out. Its samples are kept until it is purged.
    ///
    /// # Errors
    /// As [`Store::finish_run`].
    pub fn discard_run(
        &self,
        now: Moment,
        request: &RequestKey,
        id: &RecordId,
        etag: Option<&str>,
    ) -> Result<Saved<RunBody>, StoreError> {
        let closing = Closing {
            id,
            etag,
            state: RunState::Discarded,
            stream: None,
            claim: None,
        };
        self.close_run(now, Some(request), &closing)
    }

    fn close_run(
        &self,
        now: Moment,
        request: Option<&RequestKey>,
        closing: &Closing<'_>,
    ) -> Result<Saved<RunBody>, StoreError> {
        self.mutate(now, request, |view| {
            let (change, saved) = plan_close(view, now, request, closing)?;
            Ok(Plan::Write(change, saved))
        })
    }
}

fn plan_close(
    view: &Snapshot<'_>,
    now: Moment,
    request: Option<&RequestKey>,
    closing: &Closing<'_>,
) -> Result<(Change, Saved<RunBody>), StoreError> {
    let (head, run) = read_live::<RunBody>(view, closing.id, closing.etag)?;
    if run.body.state() != RunState::Open {
        return Err(StoreError::RunClosed);
    }
    let uid = uid_of(&head.row)?;
    let attachment = read_attachment(view, &uid)?;
    if closing.stream.is_some_and(|stream| stream != (uid, attachment.seen)) {
        return Err(StoreError::Superseded);
    }
    let tail = read_tail(view, &uid)?;
    closing.claim.map_or(Ok(()), |claim| claim.check(&tail))?;
    let (gaps, gap_count) = count_gaps(view, &uid)?;
    let body = RunBody {
        state: closing.state.into(),
        block_count: tail.durable_through,
        sample_count: tail.sample_count,
        content_crc32c: Some(tail.crc32c),
        finish_time: Some(now.as_nanos()),
        gaps,
        gap_count,
        ..run.body.clone()
    };
    let mut next = Saved {
        body,
        update_time: now,
        ..run
    };
    let mut change = plan_revision(view, &head, &mut next, request)?;
    put_attachment(&uid, &attachment, now, false, attachment.row.attachment, &mut change);
    // A block that the stream has handed over meanwhile would not be counted: then look again.
    change.require_absent(&RowKey::Samples {
        uid,
        first_block: tail.durable_through + 1,
    });
    if tail.durable_through > 0 {
        change.put(
            &RowKey::Seal { uid },
            &SealRow {
                next_block: 1,
                run: next.id.to_string(),
            },
        );
    }
    change.allow_when_low();
    Ok((change, next))
}

/// The gaps a finished run lists, and how many there are.
fn count_gaps(view: &Snapshot<'_>, uid: &Uid) -> Result<(Vec<Gap>, u64), StoreError> {
    let listed = read_gaps(view, uid, 0, MAX_GAPS_LISTED)?;
    let mut count = listed.len() as u64;
    let mut last = listed.last().map_or(0, |gap| gap.block);
    loop {
        let more = read_gaps(view, uid, last, MAX_GAPS_LISTED)?;
        let Some(gap) = more.last() else {
            return Ok((listed, count));
        };
        last = gap.block;
        count += more.len() as u64;
    }
}
