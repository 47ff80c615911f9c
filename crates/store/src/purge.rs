//! Removing deleted records for good, and forgetting old request ids, in small steps that can stop anywhere.

use crate::disk::{HeadRow, IndexRow, RequestRow};
use crate::engine::{Lane, Order};
use crate::error::{StoreError, settle};
use crate::key::{self, RowKey, Uid};
use crate::moment::Moment;
use crate::record::{Kind, ListOrder, RecordId};
use crate::rows::{Change, Snapshot, Stored};
use crate::store::{KEPT_DAYS, Store, uid_of};

/// Rows of one step: as many values as a page may hold in memory at once.
const STEP_ROWS: usize = 64;

/// What a call of [`Store::purge_due`] did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PurgeStep {
    /// Records that are gone for good now.
    pub purged: u64,
    /// Request ids that were forgotten.
    pub forgotten: u64,
    /// Whether something is left that is due.
    pub more: bool,
}

impl Store {
    /// Removes records whose purge time has come, with all that hangs on them, and forgets request ids that have outlived
    /// their record by 30 days. At most `batches` batches are written; a purge that was cut off goes on where it stopped.
    ///
    /// # Errors
    /// [`StoreError::InDoubt`], [`StoreError::Busy`], [`StoreError::Failed`], [`StoreError::Damaged`].
    pub fn purge_due(&self, now: Moment, batches: usize) -> Result<PurgeStep, StoreError> {
        let clock = self.clock(now);
        let mut done = PurgeStep::default();
        for _ in 0..batches {
            let Some((change, purged, forgotten)) = plan_step(&self.snapshot()?, clock)? else {
                return Ok(done);
            };
            if settle(change.commit(self.engine(), Lane::Bulk))?.is_none() {
                done.purged += purged;
                done.forgotten += forgotten;
            }
        }
        done.more = plan_step(&self.snapshot()?, clock)?.is_some();
        Ok(done)
    }
}

type Step = (Change, u64, u64);

fn plan_step(view: &Snapshot<'_>, clock: Moment) -> Result<Option<Step>, StoreError> {
    let due = view.keys(&key::due(0x04, clock), Order::Ascending, 1)?;
    match due.first() {
        Some(entry) => plan_purge(view, clock, entry).map(Some),
        None => plan_forget(view, clock),
    }
}

fn plan_purge(view: &Snapshot<'_>, clock: Moment, entry: &RowKey) -> Result<Step, StoreError> {
    let RowKey::Purge { purge_time, kind, id } = entry else {
        return Err(StoreError::damaged("the index of deleted records holds something else"));
    };
    let key = RowKey::Head {
        kind: *kind,
        id: id.clone(),
    };
    let head: Option<Stored<HeadRow>> = view.get(&key)?;
    let mut change = Change::default();
    change.allow_when_low();
    let Some(head) = head.filter(|head| head.row.purge_time == Some(purge_time.as_nanos())) else {
        // The entry is older than its record's last change; taking it away harms nobody.
        change.delete(entry);
        return Ok((change, 0, 0));
    };
    change.require_unchanged(&key, head.seen);
    let uid = uid_of(&head.row)?;
    if head.row.purge_begun_time.is_none() {
        change.put(
            &key,
            &HeadRow {
                purge_begun_time: Some(clock.as_nanos()),
                ..head.row
            },
        );
        change.delete(&RowKey::Attachment { uid });
        change.delete(&RowKey::Seal { uid });
        return Ok((change, 0, 0));
    }
    if plan_rows(view, *kind, id, &uid, &mut change)? || plan_expire(view, &head.row, &uid, &mut change)? {
        return Ok((change, 0, 0));
    }
    change.delete(&key);
    change.delete(entry);
    if kind.list_order() == ListOrder::NewestFirst {
        let create_time = Moment::from_nanos(head.row.create_time);
        change.delete(&RowKey::Newest {
            kind: *kind,
            create_time,
            id: id.clone(),
        });
    }
    Ok((change, 1, 0))
}

/// Removes some of the rows that hang on the record; `false` if there are none.
fn plan_rows(
    view: &Snapshot<'_>,
    kind: Kind,
    id: &RecordId,
    uid: &Uid,
    change: &mut Change,
) -> Result<bool, StoreError> {
    for range in [
        key::family(0x09, uid),
        key::family(0x0A, uid),
        key::revisions_of(kind, id),
    ] {
        let keys = view.keys(&range, Order::Ascending, STEP_ROWS)?;
        if !keys.is_empty() {
            keys.iter().for_each(|key| change.delete(key));
            return Ok(true);
        }
    }
    Ok(false)
}

/// Gives some of the record's request ids their end; `false` if all have one.
fn plan_expire(view: &Snapshot<'_>, head: &HeadRow, uid: &Uid, change: &mut Change) -> Result<bool, StoreError> {
    let expire_time = expiry(head);
    let owned = view.keys(&key::family(0x06, uid), Order::Ascending, STEP_ROWS)?;
    for entry in &owned {
        let RowKey::Owned { request, .. } = entry else { continue };
        let key = RowKey::Request { request: *request };
        if let Some(row) = view.get::<RequestRow>(&key)? {
            change.put(
                &key,
                &RequestRow {
                    expire_time: Some(expire_time.as_nanos()),
                    ..row.row
                },
            );
            let due = RowKey::Expiry {
                expire_time,
                request: *request,
            };
            change.put(&due, &IndexRow { uid: uid.to_vec() });
        }
        change.delete(entry);
    }
    Ok(!owned.is_empty())
}

/// When the request ids of a record are forgotten whose purge has begun.
pub(crate) fn expiry(head: &HeadRow) -> Moment {
    Moment::from_nanos(head.purge_begun_time.unwrap_or(i64::MAX)).plus_days(KEPT_DAYS)
}

fn plan_forget(view: &Snapshot<'_>, clock: Moment) -> Result<Option<Step>, StoreError> {
    let due = view.keys(&key::due(0x07, clock), Order::Ascending, STEP_ROWS)?;
    let mut change = Change::default();
    change.allow_when_low();
    let mut forgotten = 0;
    for entry in &due {
        let RowKey::Expiry { request, .. } = entry else {
            continue;
        };
        change.delete(&RowKey::Request { request: *request });
        change.delete(entry);
        forgotten += 1;
    }
    Ok((!due.is_empty()).then_some((change, 0, forgotten)))
}
