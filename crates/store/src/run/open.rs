//! Opening a run, or taking one up again.

use std::collections::VecDeque;

use super::{Opened, RESUMABLE_HOURS, Recording, RunTail, put_attachment, read_attachment, read_tail};
use crate::disk::{AttachmentRow, HeadRow, RequestRow};
use crate::engine::Lane;
use crate::error::{StoreError, settle};
use crate::key::{RowKey, Uid};
use crate::moment::Moment;
use crate::record::{Kind, RecordId, RunBody, RunHeader, RunState, Saved};
use crate::request::RequestKey;
use crate::rows::{Change, Snapshot, Stored};
use crate::store::{Plan, Store, plan_create, read_head, read_headed, read_live, read_request, uid_from, uid_of};

const HOUR_NS: i64 = 3_600_000_000_000;
/// The fence of the first stream and the run it belongs to, as planned.
type First = (Uid, u32);

impl Store {
    /// Opens a run and attaches the first stream. The same request id with the same digest takes the run up again: a newer
    /// stream is attached and the one before is shut out; of a finished run the answer is the run itself.
    ///
    /// Without an id the run gets a random one. The body starts with the header's spring.
    ///
    /// # Errors
    /// [`StoreError::NameTaken`], [`StoreError::NameTakenByDeleted`]; on taking up: [`StoreError::RequestIdReused`],
    /// [`StoreError::NotFound`] (purged), [`StoreError::Deleted`], [`StoreError::RunClosed`] (discarded),
    /// [`StoreError::NotResumable`]; and those of every change, see [`Store::create`].
    pub fn open_run(
        &self,
        now: Moment,
        request: &RequestKey,
        id: Option<&RecordId>,
        header: RunHeader,
    ) -> Result<Opened, StoreError> {
        // Somebody else may open the same run between the look and the write; then there is one to take up.
        let known = read_request(&self.snapshot()?, request)?;
        match known {
            Some(row) => self.take_up(now, &row),
            None => match self.open_new(now, request, id, header)? {
                Some(opened) => Ok(opened),
                None => {
                    let row = read_request(&self.snapshot()?, request)?.ok_or(StoreError::Conflict)?;
                    self.take_up(now, &row)
                }
            },
        }
    }

    /// `None` if the request id was used meanwhile.
    fn open_new(
        &self,
        now: Moment,
        request: &RequestKey,
        id: Option<&RecordId>,
        header: RunHeader,
    ) -> Result<Option<Opened>, StoreError> {
        let id = id.cloned().unwrap_or_else(RecordId::random);
        let body = RunBody {
            spring: header.spring.clone(),
            header: Some(header),
            state: RunState::Open.into(),
            ..Default::default()
        };
        let mut first: Option<First> = None;
        let run = self.mutate(now, Some(request), |view| {
            let (mut change, saved, uid) = plan_create(view, now, request, id.clone(), body.clone())?;
            let row = AttachmentRow {
                attachment: 1,
                open: true,
                attach_time: now.as_nanos(),
            };
            let fence = change.put(&RowKey::Attachment { uid }, &row);
            first = Some((uid, fence));
            Ok::<_, StoreError>(Plan::Write(change, saved))
        })?;
        let first = first.filter(|(uid, _)| uuid::Uuid::from_bytes(*uid).hyphenated().to_string() == run.uid);
        Ok(first.map(|(uid, fence)| self.opened(run, uid, 1, fence, RunTail::default(), false)))
    }

    fn take_up(&self, now: Moment, request: &RequestRow) -> Result<Opened, StoreError> {
        if request.kind != u32::from(Kind::Run.byte()) {
            return Err(StoreError::RequestIdReused);
        }
        let id = RecordId::parse(&request.id).ok_or_else(|| StoreError::damaged("a request id names no run"))?;
        let uid = uid_from(&request.uid)?;
        for _ in 0..super::append::ATTEMPTS {
            let (change, fence, attachment) = {
                let view = self.snapshot()?;
                let (head, run) = read_same(&view, &id, &uid)?;
                if run.body.state() == RunState::Finished {
                    return Ok(finished(run));
                }
                plan_attach(&view, now, &head, &run, &uid)?
            };
            // In the blocks' lane: whatever the stream before handed over is either durable now or shut out.
            if settle(change.commit(self.engine(), Lane::Live))?.is_none() {
                let (run, tail) = {
                    let view = self.snapshot()?;
                    (read_live::<RunBody>(&view, &id, None)?.1, read_tail(&view, &uid)?)
                };
                return Ok(self.opened(run, uid, attachment, fence, tail, true));
            }
        }
        Err(StoreError::Conflict)
    }

    fn opened(
        &self,
        run: Saved<RunBody>,
        uid: Uid,
        attachment: u32,
        fence: u32,
        tail: RunTail,
        resumed: bool,
    ) -> Opened {
        let id = run.id.clone();
        let recording = Some(Recording {
            store: self.clone(),
            id,
            uid,
            attachment,
            fence,
            tail,
            recent: VecDeque::new(),
        });
        let RunTail {
            durable_through,
            sample_count,
            ..
        } = tail;
        Opened {
            run,
            recording,
            attachment,
            durable_through,
            sample_count,
            resumed,
        }
    }
}

/// The run that the request id made, deleted or not; not another one that has its name by now.
fn read_same(view: &Snapshot<'_>, id: &RecordId, uid: &Uid) -> Result<(Stored<HeadRow>, Saved<RunBody>), StoreError> {
    let head = read_head(view, Kind::Run, id)?.ok_or(StoreError::NotFound)?;
    match uid_of(&head.row)? == *uid {
        true => {
            let run = read_headed(view, id, &head.row)?;
            Ok((head, run))
        }
        false => Err(StoreError::NotFound),
    }
}

fn finished(run: Saved<RunBody>) -> Opened {
    let (durable_through, sample_count) = (run.body.block_count, run.body.sample_count);
    Opened {
        run,
        recording: None,
        attachment: 0,
        durable_through,
        sample_count,
        resumed: true,
    }
}

fn plan_attach(
    view: &Snapshot<'_>,
    now: Moment,
    head: &Stored<HeadRow>,
    run: &Saved<RunBody>,
    uid: &Uid,
) -> Result<(Change, u32, u32), StoreError> {
    if run.delete_time.is_some() {
        return Err(StoreError::Deleted);
    }
    if run.body.state() != RunState::Open {
        return Err(StoreError::RunClosed);
    }
    let last = read_tail(view, uid)?.receive_time.unwrap_or(run.create_time);
    if now.as_nanos().saturating_sub(last.as_nanos()) > RESUMABLE_HOURS * HOUR_NS {
        return Err(StoreError::NotResumable);
    }
    let old = read_attachment(view, uid)?;
    let attachment = old.row.attachment.saturating_add(1);
    let mut change = Change::default();
    change.require_unchanged(
        &RowKey::Head {
            kind: Kind::Run,
            id: run.id.clone(),
        },
        head.seen,
    );
    let fence = put_attachment(uid, &old, now, true, attachment, &mut change);
    Ok((change, fence, attachment))
}
