//! Text to a store.

use std::io::BufRead;

use prost::Message;

use super::{Moved, Origin, TITLE, TextError, base64};
use crate::disk::{AttachmentRow, ClockRow, CopyRow, IndexRow, RequestRow, RevisionRow, SampleRow, SealRow};
use crate::engine::{Engine, KeyRange, Lane, Order};
use crate::envelope::{MAX_MESSAGE, VERSION};
use crate::error::{StoreError, settle};
use crate::key::{RowKey, Uid};
use crate::moment::Moment;
use crate::record::{Kind, ListOrder, MAX_BODY, RecordId};
use crate::rows::{Change, Snapshot};
use crate::store::{put_revision, uid_from};

/// Longer than the line of the largest record: base64 of a body, and room for the rest.
const MAX_LINE: u64 = (MAX_BODY as u64 / 3 + 64) * 4 + 4_096;
/// Bytes and rows after which what was read is written.
const BATCH_BYTES: usize = 1 << 20;
const BATCH_ROWS: usize = 512;

/// Fills an empty store from text. Only when all of it was read and found whole is the store usable.
///
/// # Errors
/// [`TextError::NotEmpty`], [`TextError::Io`], [`TextError::Line`], [`TextError::Store`].
pub fn import(engine: &dyn Engine, text: &mut dyn BufRead) -> Result<Moved, TextError> {
    if !Snapshot::of(engine)?
        .page(&KeyRange::all(), Order::Ascending, 1)?
        .is_empty()
    {
        return Err(TextError::NotEmpty);
    }
    let mut change = Change::default();
    change.put(&RowKey::Importing, &IndexRow::default());
    commit(engine, change)?;
    let mut import = Import {
        engine,
        change: Change::default(),
        last: None,
    };
    let mut reader = Reader {
        text,
        lines: 0,
        crc32c: 0,
    };
    let origin = read_header(&mut reader)?;
    loop {
        let before = Moved {
            origin: origin.clone(),
            lines: reader.lines,
            crc32c: reader.crc32c,
        };
        let line = reader.line()?;
        if let Some(end) = line.strip_prefix("end ") {
            if end != format!("{} {:08x}", before.lines, before.crc32c) {
                return Err(reader.fault("lines are missing, or were changed"));
            }
            if reader.text.read(&mut [0])? != 0 {
                return Err(reader.fault("text goes on behind its end"));
            }
            import.change.delete(&RowKey::Importing);
            commit(engine, import.change)?;
            return Ok(before);
        }
        import.take(&line).map_err(|what| reader.fault(&what))?;
        import.write_when_full()?;
    }
}

fn commit(engine: &dyn Engine, change: Change) -> Result<(), StoreError> {
    match settle(change.commit(engine, Lane::Bulk))? {
        None => Ok(()),
        Some(_) => Err(StoreError::Conflict),
    }
}

struct Reader<'a> {
    text: &'a mut dyn BufRead,
    lines: u64,
    crc32c: u32,
}

impl Reader<'_> {
    /// The next line without its end.
    fn line(&mut self) -> Result<String, TextError> {
        let mut bytes = Vec::new();
        std::io::Read::take(&mut *self.text, MAX_LINE).read_until(b'\n', &mut bytes)?;
        self.lines += 1;
        self.crc32c = crc32c::crc32c_append(self.crc32c, &bytes);
        match bytes.pop() {
            Some(b'\n') => String::from_utf8(bytes).map_err(|_| self.fault("it is no text")),
            Some(_) => Err(self.fault("it is cut off, or too long")),
            None => Err(self.fault("the text ends before its last line")),
        }
    }

    fn word(&mut self, name: &str) -> Result<String, TextError> {
        let line = self.line()?;
        let word = line.strip_prefix(name).and_then(|rest| rest.strip_prefix(' '));
        word.map(str::to_owned)
            .ok_or_else(|| self.fault(&format!("{name} was expected")))
    }

    fn fault(&self, what: &str) -> TextError {
        TextError::Line {
            number: self.lines,
            what: what.to_owned(),
        }
    }
}

fn read_header(reader: &mut Reader<'_>) -> Result<Origin, TextError> {
    if reader.line()? != TITLE {
        return Err(reader.fault("no export of this program, or of a newer one"));
    }
    let store = reader.word("store")?;
    let sequence = reader
        .word("sequence")?
        .parse()
        .map_err(|_| reader.fault("the sequence is no number"))?;
    Ok(Origin { store, sequence })
}

struct Import<'a> {
    engine: &'a dyn Engine,
    change: Change,
    /// The revision read last: the next one continues it, or begins another record.
    last: Option<(Kind, RecordId, RevisionRow)>,
}

impl Import<'_> {
    fn take(&mut self, line: &str) -> Result<(), String> {
        let (start, sum) = line.rsplit_once(' ').ok_or("it has too few words")?;
        if format!("{:08x}", crc32c::crc32c_append(crc32c::crc32c(start.as_bytes()), b" ")) != sum {
            return Err("its checksum does not fit".into());
        }
        let words: Vec<&str> = start.split(' ').collect();
        let [key @ .., version, message] = words.as_slice() else {
            return Err("it has too few words".into());
        };
        if *version != VERSION.to_string() {
            return Err("written by a newer version of this program".into());
        }
        let message = base64::decode(message).ok_or("its message is no base64")?;
        match key {
            ["clock", "-"] => self.put::<ClockRow>(&RowKey::Clock, &message).map(drop),
            ["revision", kind, id, revision] => self.take_revision(kind, id, revision, &message),
            ["attachment", uid] => self
                .put::<AttachmentRow>(&RowKey::Attachment { uid: bytes(uid)? }, &message)
                .map(drop),
            ["seal", uid] => self
                .put::<SealRow>(&RowKey::Seal { uid: bytes(uid)? }, &message)
                .map(drop),
            ["samples", uid, first] => self.take_samples(bytes(uid)?, first, &message),
            ["request", id] => self.take_request(bytes(id)?, &message),
            ["copy", time] => {
                let copy_time = Moment::from_nanos(time.parse().map_err(|_| "the time is no number")?);
                self.put::<CopyRow>(&RowKey::Copy { copy_time }, &message).map(drop)
            }
            _ => Err("of an unknown kind".into()),
        }
    }

    /// Puts the message as it is, having looked whether it is one.
    fn put<M: Message + Default>(&mut self, key: &RowKey, message: &[u8]) -> Result<M, String> {
        if message.len() > MAX_MESSAGE {
            return Err("too large".into());
        }
        let row = M::decode(message).map_err(|error| error.to_string())?;
        self.change.put_message(key, message);
        Ok(row)
    }

    fn take_revision(&mut self, kind: &str, id: &str, revision: &str, message: &[u8]) -> Result<(), String> {
        let kind = Kind::ALL
            .into_iter()
            .find(|known| known.word() == kind)
            .ok_or("of an unknown kind of record")?;
        let id = RecordId::parse(id).ok_or("the id is none")?;
        let row = RevisionRow::decode(message).map_err(|error| error.to_string())?;
        let before = self
            .last
            .take()
            .filter(|(k, i, _)| (*k, i) == (kind, &id))
            .map(|(_, _, row)| row);
        let first = kind.first_kept(row.revision);
        let wanted = before.as_ref().map_or(first, |before| before.revision + 1);
        if row.revision != wanted || revision != wanted.to_string() {
            return Err(format!("revision {wanted} was expected"));
        }
        if before.as_ref().is_some_and(|before| before.uid != row.uid) {
            return Err("of another record of that name".into());
        }
        let uid = uid_from(&row.uid).map_err(|error| error.to_string())?;
        let index = IndexRow { uid: uid.to_vec() };
        put_revision(&mut self.change, kind, &id, &row);
        if kind.list_order() == ListOrder::NewestFirst {
            let create_time = Moment::from_nanos(row.create_time);
            self.change.put(
                &RowKey::Newest {
                    kind,
                    create_time,
                    id: id.clone(),
                },
                &index,
            );
        }
        let purge = |time: i64| RowKey::Purge {
            purge_time: Moment::from_nanos(time),
            kind,
            id: id.clone(),
        };
        if let Some(old) = before.and_then(|before| before.purge_time) {
            self.change.delete(&purge(old));
        }
        if let Some(new) = row.purge_time {
            self.change.put(&purge(new), &index);
        }
        self.last = Some((kind, id, row));
        Ok(())
    }

    fn take_samples(&mut self, uid: Uid, first: &str, message: &[u8]) -> Result<(), String> {
        let first_block = first.parse().map_err(|_| "the block is no number")?;
        let row: SampleRow = self.put(&RowKey::Samples { uid, first_block }, message)?;
        if row.first_block != first_block {
            return Err("it says it is another block".into());
        }
        for gap in row.blocks.iter().filter_map(|info| info.gap_before.as_ref()) {
            self.change.put(&RowKey::Gap { uid, block: gap.block }, gap);
        }
        Ok(())
    }

    fn take_request(&mut self, request: [u8; 16], message: &[u8]) -> Result<(), String> {
        let row: RequestRow = self.put(&RowKey::Request { request }, message)?;
        let uid = uid_from(&row.uid).map_err(|error| error.to_string())?;
        let index = match row.expire_time {
            None => RowKey::Owned { uid, request },
            Some(time) => RowKey::Expiry {
                expire_time: Moment::from_nanos(time),
                request,
            },
        };
        self.change.put(&index, &IndexRow { uid: uid.to_vec() });
        Ok(())
    }

    fn write_when_full(&mut self) -> Result<(), StoreError> {
        if self.change.bytes() < BATCH_BYTES && self.change.writes() < BATCH_ROWS {
            return Ok(());
        }
        commit(self.engine, std::mem::take(&mut self.change))
    }
}

fn bytes(text: &str) -> Result<[u8; 16], String> {
    let digits = text.len() == 32 && text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'));
    let number = u128::from_str_radix(text, 16).ok().filter(|_| digits);
    number
        .map(u128::to_be_bytes)
        .ok_or_else(|| "16 bytes in hex were expected".into())
}
