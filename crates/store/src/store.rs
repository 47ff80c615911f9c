//! Creating, reading and changing records.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use prost::Message;

use crate::disk::{ClockRow, HeadRow, IndexRow, RequestRow, RevisionPart, RevisionRow};
use crate::drawer;
use crate::engine::{Engine, Lane, Order};
use crate::envelope::MAX_MESSAGE;
use crate::error::{StoreError, settle};
use crate::key::{self, RowKey, Uid};
use crate::moment::Moment;
use crate::record::{Body, Entered, Kind, ListOrder, MAX_BODY, RecordId, Saved, check_etag, etag};
use crate::request::RequestKey;
use crate::rows::{Change, Snapshot, Stored};

/// How long a deleted record can be brought back, and how long request ids outlive a purged one, in days.
pub(crate) const KEPT_DAYS: i64 = 30;
/// Bytes of one piece of a revision: leaves room for what surrounds it.
const PIECE: usize = MAX_MESSAGE - 64;
/// More pieces than the largest body can have.
const MAX_PARTS: usize = 24;
/// How often a change is planned anew because somebody else was faster.
const ATTEMPTS: usize = 32;

/// The records of one shop. Cloning is cheap and gives the same store.
#[derive(Clone)]
pub struct Store(Arc<Inner>);

struct Inner {
    engine: Arc<dyn Engine>,
    newest: AtomicI64,
}

/// What a change comes to.
pub(crate) enum Plan<B> {
    /// Write this; the answer is that.
    Write(Change, Saved<B>),
    /// Nothing changes; the answer is what stands there, under this head.
    Keep(u32, Saved<B>),
}

impl Store {
    /// The records an engine keeps; an empty engine is a store without records.
    pub fn over(engine: Arc<dyn Engine>) -> Result<Store, StoreError> {
        let view = Snapshot::of(&*engine)?;
        let importing: Option<Stored<IndexRow>> = view.get(&RowKey::Importing)?;
        if importing.is_some() {
            return Err(StoreError::damaged(
                "an import into this store was not completed; import again into an empty one",
            ));
        }
        let clock: Option<Stored<ClockRow>> = view.get(&RowKey::Clock)?;
        drop(view);
        let newest = AtomicI64::new(clock.map_or(i64::MIN, |clock| clock.row.newest));
        Ok(Store(Arc::new(Inner { engine, newest })))
    }

    /// The engine below.
    pub fn engine(&self) -> &dyn Engine {
        &*self.0.engine
    }

    /// The store's own clock: the later of `now` and the newest time it has seen. Periods after which something is given up
    /// are counted on it, so that a wall clock that was set back lengthens none of them.
    pub fn clock(&self, now: Moment) -> Moment {
        let newest = self.0.newest.fetch_max(now.as_nanos(), Ordering::Relaxed);
        Moment::from_nanos(newest.max(now.as_nanos()))
    }

    pub(crate) fn snapshot(&self) -> Result<Snapshot<'_>, StoreError> {
        Snapshot::of(self.engine())
    }

    /// Makes a record. Without an id it gets a random one.
    ///
    /// # Errors
    /// [`StoreError::NameTaken`], [`StoreError::NameTakenByDeleted`], [`StoreError::NoneNamed`],
    /// [`StoreError::TooLarge`], and those of every change:
    /// [`StoreError::RequestIdReused`], [`StoreError::InDoubt`], [`StoreError::DiskLow`], [`StoreError::Conflict`],
    /// [`StoreError::Busy`], [`StoreError::Failed`], [`StoreError::Damaged`].
    pub fn create<B: Entered>(
        &self,
        now: Moment,
        request: &RequestKey,
        id: Option<&RecordId>,
        body: B,
    ) -> Result<Saved<B>, StoreError> {
        let id = id.cloned().unwrap_or_else(RecordId::random);
        self.mutate(now, Some(request), |view| {
            let (mut change, saved, _) = plan_create(view, now, request, id.clone(), body.clone())?;
            drawer::require_named(view, &saved.body.stacks_named(), &mut change)?;
            Ok(Plan::Write(change, saved))
        })
    }

    /// The answer a change got before, for callers that look at other records before they make it.
    ///
    /// # Errors
    /// [`StoreError::RequestIdReused`], [`StoreError::NotFound`]: the record is gone, and those of [`Store::get`].
    pub fn answered<B: Body>(&self, request: &RequestKey) -> Result<Option<Saved<B>>, StoreError> {
        first_answer(&self.snapshot()?, request)
    }

    /// The newest revision of a record, deleted or not.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::Damaged`], [`StoreError::Busy`], [`StoreError::Failed`].
    pub fn get<B: Body>(&self, id: &RecordId) -> Result<Saved<B>, StoreError> {
        Ok(read_current(&self.snapshot()?, id)?.1)
    }

    /// As [`Store::get`], where no group is being written; `None`: call that on a thread that may block. What the engine's
    /// cache does not hold is read from the disk.
    pub fn get_at_once<B: Body>(&self, id: &RecordId) -> Option<Result<Saved<B>, StoreError>> {
        let view = Snapshot::at_once(self.engine())?;
        Some(view.and_then(|view| Ok(read_current(&view, id)?.1)))
    }

    /// A record as it was at a revision.
    ///
    /// # Errors
    /// As [`Store::get`].
    pub fn get_revision<B: Body>(&self, id: &RecordId, revision: u64) -> Result<Saved<B>, StoreError> {
        let view = self.snapshot()?;
        let head = read_head(&view, B::KIND, id)?.ok_or(StoreError::NotFound)?;
        read_revision(&view, id, revision, &head.row.uid)?.ok_or(StoreError::NotFound)
    }

    /// Changes the content of a record. `change` gets the content as it is and gives it as it shall be; it is called again when
    /// somebody else was faster, so it must not do anything else. No difference makes no revision. Of a run only spring and
    /// notes change.
    ///
    /// # Errors
    /// Whatever `change` refuses; [`StoreError::NotFound`], [`StoreError::Deleted`], [`StoreError::StaleEtag`],
    /// [`StoreError::TooLarge`], and those of every change, see [`Store::create`].
    pub fn update<B: Body, E: From<StoreError>>(
        &self,
        now: Moment,
        request: &RequestKey,
        id: &RecordId,
        etag: Option<&str>,
        change: impl Fn(&B) -> Result<B, E>,
    ) -> Result<Saved<B>, E> {
        self.mutate(now, Some(request), |view| {
            let (head, current) = read_live::<B>(view, id, etag)?;
            let mut body = change(&current.body)?;
            body.keep_fixed(&current.body);
            if body == current.body {
                return Ok(Plan::Keep(head.seen, current));
            }
            let mut next = Saved {
                body,
                update_time: now,
                ..current
            };
            let mut change = plan_revision(view, &head, &mut next, Some(request))?;
            drawer::require_named(view, &next.body.stacks_named(), &mut change)?;
            Ok(Plan::Write(change, next))
        })
    }

    /// Deletes a record; it can be brought back for 30 days, and its name stays taken until it is purged. A stream that writes to
    /// a run is shut out. Of the drawer nothing goes that is built or that others need.
    ///
    /// # Errors
    /// [`StoreError::StackBuilt`], [`StoreError::InUse`], [`StoreError::NotFound`], [`StoreError::Deleted`],
    /// [`StoreError::StaleEtag`], and those of every change, see
    /// [`Store::create`].
    pub fn delete<B: Body>(
        &self,
        now: Moment,
        request: &RequestKey,
        id: &RecordId,
        etag: Option<&str>,
    ) -> Result<Saved<B>, StoreError> {
        self.mutate(now, Some(request), |view| {
            let (head, current) = read_live::<B>(view, id, etag)?;
            let purge_time = self.clock(now).plus_days(KEPT_DAYS);
            let mut next = Saved {
                update_time: now,
                delete_time: Some(now),
                purge_time: Some(purge_time),
                ..current
            };
            let mut change = plan_revision(view, &head, &mut next, Some(request))?;
            let due = RowKey::Purge {
                purge_time,
                kind: B::KIND,
                id: id.clone(),
            };
            change.put(
                &due,
                &IndexRow {
                    uid: head.row.uid.clone(),
                },
            );
            drawer::may_go(view, B::KIND, id, &mut change)?;
            if B::KIND == Kind::Run {
                crate::run::shut_out(view, now, &uid_of(&head.row)?, &mut change)?;
            }
            change.allow_when_low();
            Ok(Plan::Write(change, next))
        })
    }

    /// Brings a deleted record back. One that is not deleted stays as it is.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::StaleEtag`], and those of every change, see [`Store::create`].
    pub fn undelete<B: Body>(
        &self,
        now: Moment,
        request: &RequestKey,
        id: &RecordId,
        etag: Option<&str>,
    ) -> Result<Saved<B>, StoreError> {
        self.mutate(now, Some(request), |view| {
            let (head, current) = read_current::<B>(view, id)?;
            check_etag(etag, current.etag())?;
            let Some(purge_time) = current.purge_time else {
                return Ok(Plan::Keep(head.seen, current));
            };
            let mut next = Saved {
                update_time: now,
                delete_time: None,
                purge_time: None,
                ..current
            };
            let mut change = plan_revision(view, &head, &mut next, Some(request))?;
            change.delete(&RowKey::Purge {
                purge_time,
                kind: B::KIND,
                id: id.clone(),
            });
            drawer::require_named(view, &next.body.stacks_named(), &mut change)?;
            Ok(Plan::Write(change, next))
        })
    }

    /// Plans a change on a view, commits it under the conditions it was planned on, and plans anew when they no longer hold. A
    /// request id that was seen before is answered instead.
    pub(crate) fn mutate<B: Body, E: From<StoreError>>(
        &self,
        now: Moment,
        request: Option<&RequestKey>,
        mut plan: impl FnMut(&Snapshot<'_>) -> Result<Plan<B>, E>,
    ) -> Result<Saved<B>, E> {
        let newest = self.clock(now);
        for _ in 0..ATTEMPTS {
            let planned = {
                let view = self.snapshot()?;
                if let Some(answer) = request
                    .map(|request| first_answer(&view, request))
                    .transpose()?
                    .flatten()
                {
                    return Ok(answer);
                }
                plan(&view)?
            };
            let (mut change, saved) = match planned {
                Plan::Write(change, saved) => (change, saved),
                Plan::Keep(seen, saved) => {
                    let mut change = Change::default();
                    change.require_unchanged(
                        &RowKey::Head {
                            kind: B::KIND,
                            id: saved.id.clone(),
                        },
                        seen,
                    );
                    (change, saved)
                }
            };
            if let Some(request) = request {
                remember(&mut change, request, B::KIND, &saved)?;
            }
            change.put(
                &RowKey::Clock,
                &ClockRow {
                    newest: newest.as_nanos(),
                },
            );
            if settle(change.commit(self.engine(), Lane::Live))?.is_none() {
                return Ok(saved);
            }
        }
        Err(StoreError::Conflict.into())
    }
}

/// The answer a request id got before.
fn first_answer<B: Body>(view: &Snapshot<'_>, request: &RequestKey) -> Result<Option<Saved<B>>, StoreError> {
    let Some(row) = read_request(view, request)? else {
        return Ok(None);
    };
    if row.kind != u32::from(B::KIND.byte()) {
        return Err(StoreError::RequestIdReused);
    }
    let id = RecordId::parse(&row.id).ok_or_else(|| StoreError::damaged("a request id names no record"))?;
    let revision = match B::KIND.keeps_history() {
        true => row.revision,
        // What the record was then is not kept: the answer is what became of it.
        false => {
            let head = read_head(view, B::KIND, &id)?.ok_or(StoreError::NotFound)?;
            head.row.revision
        }
    };
    read_revision(view, &id, revision, &row.uid)?
        .ok_or(StoreError::NotFound)
        .map(Some)
}

/// What the request id did; refuses one that was used for something else.
pub(crate) fn read_request(view: &Snapshot<'_>, request: &RequestKey) -> Result<Option<RequestRow>, StoreError> {
    let row: Option<Stored<RequestRow>> = view.get(&RowKey::Request { request: request.id })?;
    match row {
        Some(stored) if stored.row.digest != request.digest => Err(StoreError::RequestIdReused),
        other => Ok(other.map(|stored| stored.row)),
    }
}

fn remember<B>(change: &mut Change, request: &RequestKey, kind: Kind, saved: &Saved<B>) -> Result<(), StoreError> {
    let uid = parse_uid(&saved.uid)?;
    let key = RowKey::Request { request: request.id };
    change.require_absent(&key);
    let row = RequestRow {
        digest: request.digest.to_vec(),
        kind: u32::from(kind.byte()),
        id: saved.id.to_string(),
        uid: uid.to_vec(),
        revision: saved.revision,
        expire_time: None,
    };
    change.put(&key, &row);
    change.put(
        &RowKey::Owned {
            uid,
            request: request.id,
        },
        &IndexRow { uid: uid.to_vec() },
    );
    Ok(())
}

/// A new record with its first revision, head and index entry; also gives its uid.
pub(crate) fn plan_create<B: Body>(
    view: &Snapshot<'_>,
    now: Moment,
    request: &RequestKey,
    id: RecordId,
    body: B,
) -> Result<(Change, Saved<B>, Uid), StoreError> {
    let head = RowKey::Head { kind: B::KIND, id };
    match view.get::<HeadRow>(&head)? {
        Some(taken) if taken.row.delete_time.is_some() => return Err(StoreError::NameTakenByDeleted),
        Some(_) => return Err(StoreError::NameTaken),
        None => {}
    }
    let RowKey::Head { id, .. } = head.clone() else {
        return Err(StoreError::NotFound);
    };
    let uid = uuid::Uuid::new_v4();
    let mut saved = Saved {
        id,
        uid: uid.hyphenated().to_string(),
        revision: 1,
        checksum: 0,
        create_time: now,
        update_time: now,
        delete_time: None,
        purge_time: None,
        body,
    };
    let mut change = Change::default();
    change.require_absent(&head);
    write_revision(&mut change, &mut saved, uid.as_bytes(), Some(request))?;
    if B::KIND.list_order() == ListOrder::NewestFirst {
        let entry = RowKey::Newest {
            kind: B::KIND,
            create_time: now,
            id: saved.id.clone(),
        };
        change.put(
            &entry,
            &IndexRow {
                uid: uid.as_bytes().to_vec(),
            },
        );
    }
    Ok((change, saved, *uid.as_bytes()))
}

/// The next revision of a record, on condition that its head is still the one that was read. Where no history is kept, the
/// revision before it goes in the same batch.
pub(crate) fn plan_revision<B: Body>(
    view: &Snapshot<'_>,
    head: &Stored<HeadRow>,
    next: &mut Saved<B>,
    request: Option<&RequestKey>,
) -> Result<Change, StoreError> {
    let mut change = Change::default();
    change.require_unchanged(
        &RowKey::Head {
            kind: B::KIND,
            id: next.id.clone(),
        },
        head.seen,
    );
    next.revision = head.row.revision + 1;
    if !B::KIND.keeps_history() {
        let replaced = key::parts_of(B::KIND, &next.id, head.row.revision);
        let parts = view.keys(&replaced, Order::Ascending, MAX_PARTS)?;
        parts.iter().for_each(|part| change.delete(part));
    }
    write_revision(&mut change, next, &uid_of(&head.row)?, request)?;
    Ok(change)
}

/// Puts the pieces of a revision and the head that points at it, and fills in its checksum.
fn write_revision<B: Body>(
    change: &mut Change,
    saved: &mut Saved<B>,
    uid: &Uid,
    request: Option<&RequestKey>,
) -> Result<(), StoreError> {
    let body = saved.body.encode();
    if body.len() > MAX_BODY {
        return Err(StoreError::TooLarge {
            what: "the record",
            size: body.len(),
            limit: MAX_BODY,
        });
    }
    let row = RevisionRow {
        uid: uid.to_vec(),
        revision: saved.revision,
        create_time: saved.create_time.as_nanos(),
        update_time: saved.update_time.as_nanos(),
        delete_time: saved.delete_time.map(Moment::as_nanos),
        purge_time: saved.purge_time.map(Moment::as_nanos),
        request_id: request.map(|request| request.id.to_vec()).unwrap_or_default(),
        body,
    };
    saved.checksum = put_revision(change, B::KIND, &saved.id, &row);
    Ok(())
}

/// Puts the pieces of a revision and the head that points at it; gives the revision's checksum.
pub(crate) fn put_revision(change: &mut Change, kind: Kind, id: &RecordId, row: &RevisionRow) -> u32 {
    let whole = row.encode_to_vec();
    let checksum = crc32c::crc32c(&whole);
    let part_count = u32::try_from(whole.len().div_ceil(PIECE)).unwrap_or(u32::MAX);
    for (part, piece) in (0..).zip(whole.chunks(PIECE)) {
        let key = RowKey::Revision {
            kind,
            id: id.clone(),
            revision: row.revision,
            part,
        };
        let piece = piece.to_vec();
        change.put(
            &key,
            &RevisionPart {
                uid: row.uid.clone(),
                part_count,
                whole_crc32c: checksum,
                piece,
            },
        );
    }
    let head = HeadRow {
        uid: row.uid.clone(),
        revision: row.revision,
        checksum,
        create_time: row.create_time,
        delete_time: row.delete_time,
        purge_time: row.purge_time,
        purge_begun_time: None,
    };
    change.put(&RowKey::Head { kind, id: id.clone() }, &head);
    checksum
}

/// The head of a record that is there for the caller: one whose purge has begun is not.
pub(crate) fn read_head(view: &Snapshot<'_>, kind: Kind, id: &RecordId) -> Result<Option<Stored<HeadRow>>, StoreError> {
    let head: Option<Stored<HeadRow>> = view.get(&RowKey::Head { kind, id: id.clone() })?;
    Ok(head.filter(|head| head.row.purge_begun_time.is_none()))
}

/// Head and newest revision, deleted or not.
pub(crate) fn read_current<B: Body>(
    view: &Snapshot<'_>,
    id: &RecordId,
) -> Result<(Stored<HeadRow>, Saved<B>), StoreError> {
    let head = read_head(view, B::KIND, id)?.ok_or(StoreError::NotFound)?;
    let saved = read_headed(view, id, &head.row)?;
    Ok((head, saved))
}

/// Head and newest revision of a record that is not deleted and still has the etag.
pub(crate) fn read_live<B: Body>(
    view: &Snapshot<'_>,
    id: &RecordId,
    given: Option<&str>,
) -> Result<(Stored<HeadRow>, Saved<B>), StoreError> {
    let head = read_head(view, B::KIND, id)?.ok_or(StoreError::NotFound)?;
    if head.row.delete_time.is_some() {
        return Err(StoreError::Deleted);
    }
    check_etag(given, etag(head.row.revision, head.row.checksum))?;
    let saved = read_headed(view, id, &head.row)?;
    Ok((head, saved))
}

/// The revision a head points at.
pub(crate) fn read_headed<B: Body>(view: &Snapshot<'_>, id: &RecordId, head: &HeadRow) -> Result<Saved<B>, StoreError> {
    let saved = read_revision::<B>(view, id, head.revision, &head.uid)?;
    saved
        .filter(|saved| saved.checksum == head.checksum)
        .ok_or_else(|| StoreError::damaged(format!("{id}: the head points at no such revision")))
}

/// A revision, if it is there and the record's.
pub(crate) fn read_revision<B: Body>(
    view: &Snapshot<'_>,
    id: &RecordId,
    revision: u64,
    uid: &[u8],
) -> Result<Option<Saved<B>>, StoreError> {
    match read_revision_row(view, B::KIND, id, revision)? {
        Some((row, checksum)) if row.uid == uid => saved_from(id, row, checksum).map(Some),
        _ => Ok(None),
    }
}

/// A revision put together from its pieces, with its checksum.
pub(crate) fn read_revision_row(
    view: &Snapshot<'_>,
    kind: Kind,
    id: &RecordId,
    revision: u64,
) -> Result<Option<(RevisionRow, u32)>, StoreError> {
    let range = key::parts_of(kind, id, revision);
    let parts = view.rows::<RevisionPart>(&range, Order::Ascending, MAX_PARTS)?;
    let Some((_, first)) = parts.first() else {
        return Ok(None);
    };
    let fault = |what: &str| StoreError::damaged(format!("{} {id}@{revision}: {what}", kind.word()));
    if u32::try_from(parts.len()).ok() != Some(first.row.part_count) {
        return Err(fault("a part is missing"));
    }
    let checksum = first.row.whole_crc32c;
    let whole: Vec<u8> = parts
        .iter()
        .flat_map(|(_, part)| part.row.piece.iter().copied())
        .collect();
    if crc32c::crc32c(&whole) != checksum {
        return Err(fault("its parts do not belong together"));
    }
    let row = RevisionRow::decode(whole.as_slice()).map_err(|error| fault(&error.to_string()))?;
    match row.revision == revision {
        true => Ok(Some((row, checksum))),
        false => Err(fault("it says it is another revision")),
    }
}

fn saved_from<B: Body>(id: &RecordId, row: RevisionRow, checksum: u32) -> Result<Saved<B>, StoreError> {
    let fault = |what: String| StoreError::damaged(format!("{id}@{}: {what}", row.revision));
    Ok(Saved {
        id: id.clone(),
        uid: uuid::Uuid::from_slice(&row.uid)
            .map_err(|error| fault(error.to_string()))?
            .hyphenated()
            .to_string(),
        revision: row.revision,
        checksum,
        create_time: Moment::from_nanos(row.create_time),
        update_time: Moment::from_nanos(row.update_time),
        delete_time: row.delete_time.map(Moment::from_nanos),
        purge_time: row.purge_time.map(Moment::from_nanos),
        body: B::decode(&row.body).map_err(fault)?,
    })
}

pub(crate) fn uid_of(head: &HeadRow) -> Result<Uid, StoreError> {
    uid_from(&head.uid)
}

pub(crate) fn uid_from(bytes: &[u8]) -> Result<Uid, StoreError> {
    Uid::try_from(bytes).map_err(|_| StoreError::damaged("a uid has not 16 bytes"))
}

pub(crate) fn parse_uid(text: &str) -> Result<Uid, StoreError> {
    let uid = uuid::Uuid::try_parse(text).map_err(|error| StoreError::malformed(error.to_string()))?;
    Ok(*uid.as_bytes())
}
