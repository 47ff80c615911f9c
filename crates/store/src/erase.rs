//! Erasing what is known of a person: at once and for good, where deleting waits.

use crate::disk::{HeadRow, IndexRow, RequestRow};
use crate::engine::{Lane, Order};
use crate::error::{StoreError, settle};
use crate::key::{self, RowKey, Uid};
use crate::moment::Moment;
use crate::record::{Body, ListOrder, RecordId, check_etag, etag};
use crate::request::RequestKey;
use crate::rows::{Change, Snapshot, Stored};
use crate::store::{KEPT_DAYS, Store, read_request, uid_of};

/// Request ids forgotten in one batch.
const STEP_ROWS: usize = 256;
/// How often the step is planned anew because somebody else was faster.
const ATTEMPTS: usize = 32;

/// What was erased.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Erased {
    /// When.
    pub erase_time: Moment,
}

enum Step {
    /// It was done before, then.
    Done(Moment),
    /// Request ids are forgotten first; more is to do.
    Forget(Change),
    /// The record goes.
    Remove(Change, Moment),
}

impl Store {
    /// Removes a record, deleted or not, with every revision and every request id that made one. Nothing brings it back. The
    /// bytes leave the disk when the store is compacted. The erasing request itself is remembered for 30 days, without
    /// content.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::StaleEtag`], [`StoreError::RequestIdReused`], and those of every change, see
    /// [`Store::create`].
    pub fn erase<B: Body>(
        &self,
        now: Moment,
        request: &RequestKey,
        id: &RecordId,
        given: Option<&str>,
    ) -> Result<Erased, StoreError> {
        let clock = self.clock(now);
        let mut lost = 0;
        while lost < ATTEMPTS {
            let step = plan::<B>(&self.snapshot()?, clock, request, id, given)?;
            let (change, done) = match step {
                Step::Done(erase_time) => return Ok(Erased { erase_time }),
                Step::Forget(change) => (change, None),
                Step::Remove(change, erase_time) => (change, Some(Erased { erase_time })),
            };
            match (settle(change.commit(self.engine(), Lane::Live))?, done) {
                (None, Some(erased)) => return Ok(erased),
                (None, None) => {}
                (Some(_), _) => lost += 1,
            }
        }
        Err(StoreError::Conflict)
    }
}

fn plan<B: Body>(
    view: &Snapshot<'_>,
    clock: Moment,
    request: &RequestKey,
    id: &RecordId,
    given: Option<&str>,
) -> Result<Step, StoreError> {
    if let Some(row) = read_request(view, request)? {
        let before = row.expire_time.ok_or(StoreError::RequestIdReused)?;
        return Ok(Step::Done(Moment::from_nanos(before).plus_days(-KEPT_DAYS)));
    }
    let key = RowKey::Head {
        kind: B::KIND,
        id: id.clone(),
    };
    // A record whose purge has begun is there as well: it is erased with the rest.
    let head: Stored<HeadRow> = view.get(&key)?.ok_or(StoreError::NotFound)?;
    check_etag(given, etag(head.row.revision, head.row.checksum))?;
    let uid = uid_of(&head.row)?;
    let mut change = Change::default();
    change.allow_when_low();
    change.require_unchanged(&key, head.seen);
    let owned = view.keys(&key::family(0x06, &uid), Order::Ascending, STEP_ROWS + 1)?;
    for entry in owned.iter().take(STEP_ROWS) {
        if let RowKey::Owned { request, .. } = entry {
            change.delete(&RowKey::Request { request: *request });
        }
        change.delete(entry);
    }
    if owned.len() > STEP_ROWS {
        return Ok(Step::Forget(change));
    }
    remove::<B>(view, id, &head.row, &mut change)?;
    remember::<B>(&mut change, clock, request, id, uid);
    Ok(Step::Remove(change, clock))
}

/// The record's own rows. Of what keeps no history there is one revision.
fn remove<B: Body>(view: &Snapshot<'_>, id: &RecordId, head: &HeadRow, change: &mut Change) -> Result<(), StoreError> {
    let revisions = key::revisions_of(B::KIND, id);
    let parts = view.keys(&revisions, Order::Ascending, STEP_ROWS)?;
    parts.iter().for_each(|part| change.delete(part));
    change.delete(&RowKey::Head {
        kind: B::KIND,
        id: id.clone(),
    });
    if let Some(time) = head.purge_time {
        change.delete(&RowKey::Purge {
            purge_time: Moment::from_nanos(time),
            kind: B::KIND,
            id: id.clone(),
        });
    }
    if B::KIND.list_order() == ListOrder::NewestFirst {
        change.delete(&RowKey::Newest {
            kind: B::KIND,
            create_time: Moment::from_nanos(head.create_time),
            id: id.clone(),
        });
    }
    Ok(())
}

/// The erasing request, so that repeating it is answered: nothing of the person is in it.
fn remember<B: Body>(change: &mut Change, clock: Moment, request: &RequestKey, id: &RecordId, uid: Uid) {
    let expire_time = clock.plus_days(KEPT_DAYS);
    let key = RowKey::Request { request: request.id };
    change.require_absent(&key);
    change.put(
        &key,
        &RequestRow {
            digest: request.digest.to_vec(),
            kind: u32::from(B::KIND.byte()),
            id: id.to_string(),
            uid: uid.to_vec(),
            revision: 0,
            expire_time: Some(expire_time.as_nanos()),
        },
    );
    change.put(
        &RowKey::Expiry {
            expire_time,
            request: request.id,
        },
        &IndexRow { uid: uid.to_vec() },
    );
}
