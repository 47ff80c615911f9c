//! Lists: records in their kind's fixed order, revisions newest first.

use crate::disk::HeadRow;
use crate::engine::Order;
use crate::error::StoreError;
use crate::key::{self, RowKey};
use crate::moment::Moment;
use crate::record::{Body, Kind, ListOrder, RecordId, Saved};
use crate::rows::Snapshot;
use crate::store::{Store, read_head, read_headed, read_revision};

/// Most records looked at for one page; a page whose filter takes few of them ends early, with a cursor.
const LOOKED_AT: usize = 1_000;
/// Records read under one view.
const STRIDE: usize = 50;

/// Which records are wanted.
#[derive(Clone, Debug, Default)]
pub struct ListQuery {
    /// Whether deleted records are listed too.
    pub show_deleted: bool,
    /// Go on behind this record: the cursor of the page before.
    pub after: Option<Cursor>,
    /// Most records of the page.
    pub limit: usize,
}

/// Where a page of records ended. The record itself may be gone meanwhile.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cursor {
    /// Id of the last record looked at.
    pub id: RecordId,
    /// When it was made.
    pub create_time: Moment,
}

/// Records of a list.
#[derive(Clone, Debug, PartialEq)]
pub struct Page<B> {
    /// The records.
    pub records: Vec<Saved<B>>,
    /// Where to go on; `None`: there are no more. A page may be short, even empty, and yet have one.
    pub next: Option<Cursor>,
}

/// Revisions of a record, newest first.
#[derive(Clone, Debug, PartialEq)]
pub struct RevisionPage<B> {
    /// The revisions.
    pub revisions: Vec<Saved<B>>,
    /// Go on before this revision; `None`: there are no more.
    pub next: Option<u64>,
}

impl Store {
    /// Records of a kind that `keep` takes: each kind in its own order.
    ///
    /// # Errors
    /// [`StoreError::Damaged`], [`StoreError::Busy`], [`StoreError::Failed`].
    pub fn list<B: Body>(&self, query: &ListQuery, keep: impl Fn(&Saved<B>) -> bool) -> Result<Page<B>, StoreError> {
        let mut page = Page {
            records: Vec::new(),
            next: query.after.clone(),
        };
        let mut looked_at = 0;
        while looked_at < LOOKED_AT {
            let view = self.snapshot()?;
            let entries = entries_after(&view, B::KIND, page.next.as_ref())?;
            let more = entries.len() == STRIDE;
            for cursor in entries {
                if page.records.len() == query.limit {
                    return Ok(page);
                }
                looked_at += 1;
                let head = read_head(&view, B::KIND, &cursor.id)?;
                if let Some(head) = head.filter(|head| query.show_deleted || head.row.delete_time.is_none()) {
                    page.records
                        .extend(Some(read_headed(&view, &cursor.id, &head.row)?).filter(|saved| keep(saved)));
                }
                page.next = Some(cursor);
            }
            if !more {
                page.next = None;
                return Ok(page);
            }
        }
        Ok(page)
    }

    /// The revisions of a record, newest first, from before a revision.
    ///
    /// # Errors
    /// [`StoreError::NotFound`], [`StoreError::Damaged`], [`StoreError::Busy`], [`StoreError::Failed`].
    pub fn revisions<B: Body>(
        &self,
        id: &RecordId,
        before: Option<u64>,
        limit: usize,
    ) -> Result<RevisionPage<B>, StoreError> {
        let view = self.snapshot()?;
        let head = read_head(&view, B::KIND, id)?.ok_or(StoreError::NotFound)?.row;
        let newest = before.map_or(head.revision, |before| before.saturating_sub(1).min(head.revision));
        let mut page = RevisionPage {
            revisions: Vec::new(),
            next: None,
        };
        for revision in (B::KIND.first_kept(head.revision)..=newest).rev() {
            if page.revisions.len() == limit {
                page.next = Some(revision + 1);
                break;
            }
            let saved = read_revision(&view, id, revision, &head.uid)?;
            page.revisions
                .push(saved.ok_or_else(|| StoreError::damaged(format!("{id}@{revision} is missing")))?);
        }
        Ok(page)
    }
}

/// The next entries of the list of a kind, in its order.
fn entries_after(view: &Snapshot<'_>, kind: Kind, after: Option<&Cursor>) -> Result<Vec<Cursor>, StoreError> {
    match kind.list_order() {
        ListOrder::ById => {
            let mut range = key::family(0x01, &[kind.byte()]);
            if let Some(cursor) = after {
                range = range.after(
                    &RowKey::Head {
                        kind,
                        id: cursor.id.clone(),
                    }
                    .bytes(),
                );
            }
            let heads = view.rows::<HeadRow>(&range, Order::Ascending, STRIDE)?;
            let cursors = heads.into_iter().filter_map(|(key, head)| match key {
                RowKey::Head { id, .. } => Some(Cursor {
                    id,
                    create_time: Moment::from_nanos(head.row.create_time),
                }),
                _ => None,
            });
            Ok(cursors.collect())
        }
        ListOrder::NewestFirst => {
            let mut range = key::family(0x03, &[kind.byte()]);
            if let Some(Cursor { id, create_time }) = after.cloned() {
                range = range.after(&RowKey::Newest { kind, create_time, id }.bytes());
            }
            let cursors = view
                .keys(&range, Order::Ascending, STRIDE)?
                .into_iter()
                .filter_map(|key| match key {
                    RowKey::Newest { id, create_time, .. } => Some(Cursor { id, create_time }),
                    _ => None,
                });
            Ok(cursors.collect())
        }
    }
}
