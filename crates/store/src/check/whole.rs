//! The store as a whole.

use std::collections::{HashMap, HashSet};

use prost::Message;

use super::check_value;
use crate::disk::{HeadRow, IndexRow, RequestRow, SampleRow};
use crate::engine::{KeyRange, Order};
use crate::error::StoreError;
use crate::key::{self, RowKey, Uid};
use crate::moment::Moment;
use crate::record::{Gap, Kind, ListOrder, RecordId, RunBody, RunState, ShimLotBody, StackBody};
use crate::rows::{Stored, hex, parse};
use crate::run::{continue_checksum, sample_range, unpack};
use crate::store::{Store, read_headed, read_revision_row, uid_from, uid_of};

/// Rows read under one view.
const STRIDE: usize = 32;
/// Problems told in words; beyond, they are counted.
const TOLD: usize = 100;

/// What [`verify`] found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Report {
    /// Rows of any kind.
    pub rows: u64,
    /// Records, deleted ones too; not those whose purge has begun.
    pub records: u64,
    /// Their revisions.
    pub revisions: u64,
    /// Blocks of runs.
    pub blocks: u64,
    /// Their samples.
    pub samples: u64,
    /// Request ids.
    pub requests: u64,
    /// How many problems there are.
    pub problem_count: u64,
    /// The first 100 of them.
    pub problems: Vec<String>,
}

impl Report {
    /// Whether nothing is wrong.
    pub fn is_sound(&self) -> bool {
        self.problem_count == 0
    }

    fn problem(&mut self, what: String) {
        self.problem_count += 1;
        if self.problems.len() < TOLD {
            self.problems.push(what);
        }
    }

    /// Notes damage and goes on; whatever else fails ends the walk.
    fn note<T>(&mut self, result: Result<T, StoreError>) -> Result<Option<T>, StoreError> {
        match result {
            Ok(value) => Ok(Some(value)),
            Err(StoreError::Damaged { what }) => {
                self.problem(what);
                Ok(None)
            }
            Err(error) => Err(error),
        }
    }
}

/// Reads everything: envelopes and checksums, chains of revisions, indexes against what they are derived from, blocks, samples
/// and checksums of runs against their counts. For a store that nobody writes to meanwhile.
///
/// # Errors
/// [`StoreError::Busy`], [`StoreError::Failed`]. Damage is no error but a problem in the report.
pub fn verify(store: &Store) -> Result<Report, StoreError> {
    let mut walk = Walk {
        store,
        report: Report::default(),
        runs: HashSet::new(),
        built: HashMap::new(),
        parts: 0,
    };
    let parts = walk.each_value()?;
    for kind in Kind::ALL {
        walk.each_key(0x01, &[kind.byte()], |walk, key, _| walk.head(&key))?;
    }
    walk.shims();
    if walk.parts != parts {
        walk.report.problem(format!(
            "{parts} parts of revisions are stored, {} belong to a record",
            walk.parts
        ));
    }
    for family in [0x03, 0x04, 0x05, 0x06, 0x07, 0x08, 0x09, 0x0A, 0x0B] {
        walk.each_key(family, &[], |walk, key, value| walk.derived(&key, value))?;
    }
    Ok(walk.report)
}

struct Walk<'a> {
    store: &'a Store,
    report: Report,
    /// Uids of the runs that are there.
    runs: HashSet<Uid>,
    /// Shims of each lot that are in built stacks: as the lot says, less what the stacks say.
    built: HashMap<String, i64>,
    /// Parts of revisions that belong to a record.
    parts: u64,
}

impl Walk<'_> {
    /// Checks every row by itself; gives how many parts of revisions there are.
    fn each_value(&mut self) -> Result<u64, StoreError> {
        let mut range = KeyRange::all();
        let mut parts = 0;
        loop {
            let page = self.store.snapshot()?.page(&range, Order::Ascending, STRIDE)?;
            let Some((last, _)) = page.last() else { return Ok(parts) };
            range = range.after(last);
            for (key, value) in &page {
                self.report.rows += 1;
                parts += u64::from(key.first() == Some(&0x02));
                if let Err(what) = check_value(key, value) {
                    self.report.problem(format!("{}: {what}", hex(key)));
                }
            }
        }
    }

    fn each_key(
        &mut self,
        family: u8,
        more: &[u8],
        mut each: impl FnMut(&mut Self, RowKey, &[u8]) -> Result<(), StoreError>,
    ) -> Result<(), StoreError> {
        let mut range = key::family(family, more);
        loop {
            let page = self.store.snapshot()?.page(&range, Order::Ascending, STRIDE)?;
            let Some((last, _)) = page.last() else { return Ok(()) };
            range = range.after(last);
            for (key, value) in &page {
                let result = parse(key).and_then(|key| each(self, key, value));
                self.report.note(result)?;
            }
        }
    }

    fn get<M: Message + Default>(&self, key: &RowKey) -> Result<Option<M>, StoreError> {
        let row: Option<Stored<M>> = self.store.snapshot()?.get(key)?;
        Ok(row.map(|stored| stored.row))
    }

    fn head(&mut self, key: &RowKey) -> Result<(), StoreError> {
        let RowKey::Head { kind, id } = key else { return Ok(()) };
        let Some(head) = self.get::<HeadRow>(key)? else {
            return Ok(());
        };
        let uid = uid_of(&head)?;
        if *kind == Kind::Run {
            self.runs.insert(uid);
        }
        if head.purge_begun_time.is_some() {
            let range = key::revisions_of(*kind, id);
            return self.count_parts(range);
        }
        self.report.records += 1;
        let first = kind.first_kept(head.revision);
        self.report.revisions += head.revision - first + 1;
        self.count_parts(key::revisions_of(*kind, id))?;
        for revision in first..=head.revision {
            let row = read_revision_row(&self.store.snapshot()?, *kind, id, revision);
            let Some(row) = self.report.note(row)? else { continue };
            match row {
                Some((row, _)) if row.uid != head.uid => {
                    self.report.problem(format!("{id}@{revision} is another record's"))
                }
                Some((_, sum)) if revision == head.revision && sum != head.checksum => {
                    self.report
                        .problem(format!("{id}@{revision} is not what the head says"));
                }
                Some(_) => {}
                None => self.report.problem(format!("{id}@{revision} is missing")),
            }
        }
        self.entries(*kind, id, &head)?;
        match kind {
            Kind::ShimLot => self.lot(id, &head),
            Kind::Stack => self.stack(id, &head),
            Kind::Run => self.run(id, &head, &uid),
            _ => Ok(()),
        }
    }

    fn count_parts(&mut self, mut range: KeyRange) -> Result<(), StoreError> {
        loop {
            let rows = self.store.snapshot()?.page(&range, Order::Ascending, STRIDE)?;
            let Some((last, _)) = rows.last() else { return Ok(()) };
            range = range.after(last);
            self.parts += rows.len() as u64;
        }
    }

    /// The index entries a record must have.
    fn entries(&mut self, kind: Kind, id: &RecordId, head: &HeadRow) -> Result<(), StoreError> {
        let mut keys = Vec::new();
        if kind.list_order() == ListOrder::NewestFirst {
            keys.push(RowKey::Newest {
                kind,
                create_time: Moment::from_nanos(head.create_time),
                id: id.clone(),
            });
        }
        if let Some(time) = head.purge_time {
            keys.push(RowKey::Purge {
                purge_time: Moment::from_nanos(time),
                kind,
                id: id.clone(),
            });
        }
        for key in keys {
            if self.get::<IndexRow>(&key)?.is_none_or(|entry| entry.uid != head.uid) {
                self.report.problem(format!("{} {id}: {key:?} is missing", kind.word()));
            }
        }
        Ok(())
    }

    fn lot(&mut self, id: &RecordId, head: &HeadRow) -> Result<(), StoreError> {
        let body: ShimLotBody = read_headed(&self.store.snapshot()?, id, head)?.body;
        *self.built.entry(id.to_string()).or_default() += i64::from(body.built_count);
        Ok(())
    }

    fn stack(&mut self, id: &RecordId, head: &HeadRow) -> Result<(), StoreError> {
        let body: StackBody = read_headed(&self.store.snapshot()?, id, head)?.body;
        if body.built == body.taken.is_empty() || (body.built && head.delete_time.is_some()) {
            self.report
                .problem(format!("stack {id}: what it is built of does not fit its state"));
        }
        for part in body.taken {
            *self.built.entry(part.lot).or_default() -= i64::from(part.count);
        }
        Ok(())
    }

    /// Shims that are neither in the drawer nor in a stack, or in both.
    fn shims(&mut self) {
        let mut wrong: Vec<_> = self.built.drain().filter(|(_, count)| *count != 0).collect();
        wrong.sort();
        for (lot, count) in wrong {
            self.report.problem(format!(
                "shim-lot {lot}: it says {count} more shims in stacks than these do"
            ));
        }
    }

    fn run(&mut self, id: &RecordId, head: &HeadRow, uid: &Uid) -> Result<(), StoreError> {
        let body: RunBody = read_headed(&self.store.snapshot()?, id, head)?.body;
        let (mut blocks, mut samples, mut sum, mut gaps) = (0_u64, 0_u64, 0, 0);
        loop {
            let range = sample_range(uid, blocks + 1, u64::MAX);
            let rows = self.store.snapshot()?.rows::<SampleRow>(&range, Order::Ascending, 1)?;
            let Some((_, Stored { row, .. })) = rows.into_iter().next() else {
                break;
            };
            if row.first_block != blocks + 1 {
                return Err(StoreError::damaged(format!(
                    "run {id}: block {} is missing",
                    blocks + 1
                )));
            }
            let unpacked = unpack(&row).map_err(|what| StoreError::damaged(format!("run {id}: {what}")))?;
            for (block, info) in unpacked.iter().zip(&row.blocks) {
                blocks += 1;
                samples += block.sample_count() as u64;
                sum = continue_checksum(sum, block);
                if (samples, sum) != (info.samples_through, info.crc32c_through) {
                    self.report
                        .problem(format!("run {id}: counts at block {blocks} do not add up"));
                }
                if let Some(gap) = &info.gap_before {
                    gaps += 1;
                    let entry: Option<Gap> = self.get(&RowKey::Gap {
                        uid: *uid,
                        block: blocks,
                    })?;
                    if entry.as_ref() != Some(gap) {
                        self.report
                            .problem(format!("run {id}: the gap before block {blocks} is not in the index"));
                    }
                }
            }
        }
        self.report.blocks += blocks;
        self.report.samples += samples;
        let closed = matches!(body.state(), RunState::Finished | RunState::Discarded);
        let counted = (body.block_count, body.sample_count, body.content_crc32c, body.gap_count);
        if closed && counted != (blocks, samples, Some(sum), gaps) {
            self.report
                .problem(format!("run {id}: its blocks are not those it was closed with"));
        }
        let attachment = self.get::<crate::disk::AttachmentRow>(&RowKey::Attachment { uid: *uid })?;
        if attachment.is_none_or(|row| row.open == closed) {
            self.report
                .problem(format!("run {id}: its attachment row does not fit its state"));
        }
        Ok(())
    }

    /// A row that is derived from a record or hangs on it.
    fn derived(&mut self, key: &RowKey, value: &[u8]) -> Result<(), StoreError> {
        let fits = match key {
            RowKey::Newest { kind, create_time, id } => {
                let head: Option<HeadRow> = self.get(&RowKey::Head {
                    kind: *kind,
                    id: id.clone(),
                })?;
                head.is_some_and(|head| head.create_time == create_time.as_nanos())
            }
            RowKey::Purge { purge_time, kind, id } => {
                let head: Option<HeadRow> = self.get(&RowKey::Head {
                    kind: *kind,
                    id: id.clone(),
                })?;
                head.is_some_and(|head| head.purge_time == Some(purge_time.as_nanos()))
            }
            RowKey::Request { request } => self.request(key, *request, value)?,
            RowKey::Owned { uid, request } => {
                let row: Option<RequestRow> = self.get(&RowKey::Request { request: *request })?;
                row.is_some_and(|row| row.uid == uid.as_slice() && row.expire_time.is_none())
            }
            RowKey::Expiry { expire_time, request } => {
                let row: Option<RequestRow> = self.get(&RowKey::Request { request: *request })?;
                row.is_some_and(|row| row.expire_time == Some(expire_time.as_nanos()))
            }
            RowKey::Attachment { uid }
            | RowKey::Samples { uid, .. }
            | RowKey::Gap { uid, .. }
            | RowKey::Seal { uid } => self.runs.contains(uid),
            RowKey::Head { .. }
            | RowKey::Revision { .. }
            | RowKey::Clock
            | RowKey::Importing
            | RowKey::Naming
            | RowKey::Copy { .. } => true,
        };
        if !fits {
            self.report.problem(format!("{key:?} belongs to nothing"));
        }
        Ok(())
    }

    fn request(&mut self, key: &RowKey, request: [u8; 16], value: &[u8]) -> Result<bool, StoreError> {
        let row: RequestRow = crate::rows::decode(&key.bytes(), value)?;
        self.report.requests += 1;
        let index = match row.expire_time {
            None => RowKey::Owned {
                uid: uid_from(&row.uid)?,
                request,
            },
            Some(time) => RowKey::Expiry {
                expire_time: Moment::from_nanos(time),
                request,
            },
        };
        Ok(self.get::<IndexRow>(&index)?.is_some())
    }
}
