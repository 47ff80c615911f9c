//! A store to text.

use std::io::Write;

use prost::Message;

use super::{Moved, Origin, TITLE, TextError, base64};
use crate::disk::{AttachmentRow, ClockRow, CopyRow, HeadRow, RequestRow, SampleRow, SealRow};
use crate::engine::Order;
use crate::envelope::VERSION;
use crate::error::StoreError;
use crate::key::{self, RowKey, Uid};
use crate::purge::expiry;
use crate::record::{Kind, RecordId};
use crate::rows::{Snapshot, Stored, hex};
use crate::run::sample_range;
use crate::store::{Store, read_revision_row, uid_from, uid_of};

/// Rows read under one view.
const STRIDE: usize = 32;

/// Writes everything in the store as text. The store may be in use: every record is whole, though one may be some changes
/// ahead of another.
///
/// # Errors
/// [`TextError::Io`]; [`TextError::Store`], among them [`StoreError::Damaged`] and, when the store is in use,
/// [`StoreError::Conflict`].
pub fn export(store: &Store, origin: &Origin, out: &mut dyn Write) -> Result<Moved, TextError> {
    let mut text = Text {
        out,
        lines: 0,
        crc32c: 0,
    };
    text.line(TITLE)?;
    text.line(&format!("store {}", origin.store))?;
    text.line(&format!("sequence {}", origin.sequence))?;
    let clock: Option<Stored<ClockRow>> = store.snapshot()?.get(&RowKey::Clock)?;
    if let Some(clock) = clock {
        text.message("clock -", &clock.row)?;
    }
    for kind in Kind::ALL {
        each_row::<HeadRow, _>(store, 0x01, &[kind.byte()], |key, head| match key {
            RowKey::Head { id, .. } if head.purge_begun_time.is_none() => {
                export_record(store, &mut text, kind, &id, &head)
            }
            _ => Ok(()),
        })?;
    }
    each_row::<RequestRow, _>(store, 0x05, &[], |key, row| match key {
        RowKey::Request { request } => {
            let row = ended(&store.snapshot()?, row)?;
            text.message(&format!("request {}", hex(&request)), &row)
        }
        _ => Ok(()),
    })?;
    each_row::<CopyRow, _>(store, 0x0F, &[], |key, row| match key {
        RowKey::Copy { copy_time } => text.message(&format!("copy {}", copy_time.as_nanos()), &row),
        _ => Ok(()),
    })?;
    let moved = Moved {
        origin: origin.clone(),
        lines: text.lines,
        crc32c: text.crc32c,
    };
    text.line(&format!("end {} {:08x}", moved.lines, moved.crc32c))?;
    text.out.flush()?;
    Ok(moved)
}

struct Text<'a> {
    out: &'a mut dyn Write,
    lines: u64,
    crc32c: u32,
}

impl Text<'_> {
    fn line(&mut self, line: &str) -> Result<(), TextError> {
        let line = format!("{line}\n");
        self.out.write_all(line.as_bytes())?;
        self.lines += 1;
        self.crc32c = crc32c::crc32c_append(self.crc32c, line.as_bytes());
        Ok(())
    }

    fn message(&mut self, words: &str, message: &impl Message) -> Result<(), TextError> {
        let line = format!("{words} {VERSION} {} ", base64::encode(&message.encode_to_vec()));
        let sum = crc32c::crc32c(line.as_bytes());
        self.line(&format!("{line}{sum:08x}"))
    }
}

fn each_row<M: Message + Default, F>(store: &Store, family: u8, more: &[u8], mut each: F) -> Result<(), TextError>
where
    F: FnMut(RowKey, M) -> Result<(), TextError>,
{
    let mut range = key::family(family, more);
    loop {
        let rows = store.snapshot()?.rows::<M>(&range, Order::Ascending, STRIDE)?;
        let Some((last, _)) = rows.last() else { return Ok(()) };
        range = range.after(&last.bytes());
        for (key, stored) in rows {
            each(key, stored.row)?;
        }
    }
}

fn export_record(
    store: &Store,
    text: &mut Text<'_>,
    kind: Kind,
    id: &RecordId,
    head: &HeadRow,
) -> Result<(), TextError> {
    for revision in kind.first_kept(head.revision)..=head.revision {
        let (row, _) = match read_revision_row(&store.snapshot()?, kind, id, revision)? {
            Some(found) => found,
            None => return Err(gone(&store.snapshot()?, kind, id, head, revision)?.into()),
        };
        text.message(&format!("revision {} {id} {revision}", kind.word()), &row)?;
    }
    match kind {
        Kind::Run => export_run(store, text, &uid_of(head)?),
        _ => Ok(()),
    }
}

/// A revision that is not there: purged while the export ran, or lost.
fn gone(
    view: &Snapshot<'_>,
    kind: Kind,
    id: &RecordId,
    head: &HeadRow,
    revision: u64,
) -> Result<StoreError, StoreError> {
    let now: Option<Stored<HeadRow>> = view.get(&RowKey::Head { kind, id: id.clone() })?;
    Ok(match now {
        Some(now) if now.row == *head => StoreError::damaged(format!("{} {id}@{revision} is missing", kind.word())),
        _ => StoreError::Conflict,
    })
}

fn export_run(store: &Store, text: &mut Text<'_>, uid: &Uid) -> Result<(), TextError> {
    let (attachment, seal) = {
        let view = store.snapshot()?;
        let attachment: Option<Stored<AttachmentRow>> = view.get(&RowKey::Attachment { uid: *uid })?;
        let seal: Option<Stored<SealRow>> = view.get(&RowKey::Seal { uid: *uid })?;
        (attachment.ok_or(StoreError::Conflict)?, seal)
    };
    let name = hex(uid);
    text.message(&format!("attachment {name}"), &attachment.row)?;
    if let Some(seal) = seal {
        text.message(&format!("seal {name}"), &seal.row)?;
    }
    let mut next = 1;
    loop {
        let range = sample_range(uid, next, u64::MAX);
        let rows = store.snapshot()?.rows::<SampleRow>(&range, Order::Ascending, STRIDE)?;
        if rows.is_empty() {
            return Ok(());
        }
        for (_, Stored { row, .. }) in rows {
            // Sealing has moved blocks into a row before this one while the export ran.
            if row.first_block != next {
                return Err(StoreError::Conflict.into());
            }
            next += row.blocks.len() as u64;
            text.message(&format!("samples {name} {}", row.first_block), &row)?;
        }
    }
}

/// A request id of a record whose purge has begun has its end, whether or not the purge has come to it.
fn ended(view: &Snapshot<'_>, row: RequestRow) -> Result<RequestRow, StoreError> {
    if row.expire_time.is_some() {
        return Ok(row);
    }
    let (kind, id) = (
        u8::try_from(row.kind).ok().and_then(Kind::of_byte),
        RecordId::parse(&row.id),
    );
    let (Some(kind), Some(id)) = (kind, id) else {
        return Err(StoreError::damaged("a request id names no record"));
    };
    let head: Option<Stored<HeadRow>> = view.get(&RowKey::Head { kind, id })?;
    let begun = head.filter(|head| head.row.purge_begun_time.is_some());
    let mine = begun.filter(|head| uid_from(&head.row.uid).ok() == uid_from(&row.uid).ok());
    Ok(RequestRow {
        expire_time: mine.map(|head| expiry(&head.row).as_nanos()),
        ..row
    })
}
