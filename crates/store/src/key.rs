//! The keys: what stands where, and in which order a scan meets it.
//!
//! ```text
//! 01 kind id                             head: the newest revision of a record
//! 02 kind id 00 revision:8 part:2        a piece of a revision; scan order is history order
//! 03 kind ~create_time:8 id              index of kinds that are listed newest first
//! 04 purge_time:8 kind id                index of deleted records
//! 05 request_id:16                       what a request id did
//! 06 uid:16 request_id:16                index of the request ids of a record
//! 07 expire_time:8 request_id:16         index of the request ids of purged records
//! 08 uid:16                              which stream may write to a run
//! 09 uid:16 first_block:8                samples of a run: one block, or many once sealed
//! 0A uid:16 block:8                      index of the gaps of a run
//! 0B uid:16                              a finished run that is not sealed yet
//! 0C                                     the newest time seen
//! 0D                                     stands while an import is not complete
//! 0E                                     written anew whenever a damper may have come to name a stack
//! 0F copy_time:8                         a copy of the store that was made
//! ```
//! Numbers are big-endian, times have their sign bit turned, `~` turns every bit: byte order is the order of the values. An id
//! holds no byte 00, so none is the beginning of another's revisions. What belongs to one run hangs on its uid, so that a
//! reuse of the id meets nothing old. Bytes 00 and 10 to FF are free; 00 is the engine's.

use crate::engine::{self, KeyRange};
use crate::moment::Moment;
use crate::record::{Kind, RecordId};

/// The 16 bytes of a record's uid.
pub type Uid = [u8; 16];

/// A key of any row.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum RowKey {
    /// The newest revision of a record.
    Head {
        /// Kind of the record.
        kind: Kind,
        /// Its id.
        id: RecordId,
    },
    /// A piece of a revision.
    Revision {
        /// Kind of the record.
        kind: Kind,
        /// Its id.
        id: RecordId,
        /// Number of the revision, from 1.
        revision: u64,
        /// Number of the piece, from 0.
        part: u16,
    },
    /// Index entry of a record that is listed newest first.
    Newest {
        /// Kind of the record.
        kind: Kind,
        /// When it was made.
        create_time: Moment,
        /// Its id.
        id: RecordId,
    },
    /// Index entry of a deleted record.
    Purge {
        /// When it goes for good.
        purge_time: Moment,
        /// Kind of the record.
        kind: Kind,
        /// Its id.
        id: RecordId,
    },
    /// What a request id did.
    Request {
        /// The request id.
        request: [u8; 16],
    },
    /// Index entry: a request id of a record.
    Owned {
        /// The record's uid.
        uid: Uid,
        /// The request id.
        request: [u8; 16],
    },
    /// Index entry: a request id that will be forgotten.
    Expiry {
        /// When.
        expire_time: Moment,
        /// The request id.
        request: [u8; 16],
    },
    /// Which stream may write to a run.
    Attachment {
        /// The run's uid.
        uid: Uid,
    },
    /// Samples of a run.
    Samples {
        /// The run's uid.
        uid: Uid,
        /// Number of the first block.
        first_block: u64,
    },
    /// Index entry: a gap before a block.
    Gap {
        /// The run's uid.
        uid: Uid,
        /// Number of the block.
        block: u64,
    },
    /// A finished run that is not sealed yet.
    Seal {
        /// The run's uid.
        uid: Uid,
    },
    /// The newest time seen.
    Clock,
    /// Stands while an import is not complete.
    Importing,
    /// Written anew whenever a damper may have come to name a stack.
    Naming,
    /// A copy of the store that was made.
    Copy {
        /// When.
        copy_time: Moment,
    },
}

impl RowKey {
    /// The first byte: which rows it stands among.
    pub fn family(&self) -> u8 {
        match self {
            RowKey::Head { .. } => 0x01,
            RowKey::Revision { .. } => 0x02,
            RowKey::Newest { .. } => 0x03,
            RowKey::Purge { .. } => 0x04,
            RowKey::Request { .. } => 0x05,
            RowKey::Owned { .. } => 0x06,
            RowKey::Expiry { .. } => 0x07,
            RowKey::Attachment { .. } => 0x08,
            RowKey::Samples { .. } => 0x09,
            RowKey::Gap { .. } => 0x0A,
            RowKey::Seal { .. } => 0x0B,
            RowKey::Clock => 0x0C,
            RowKey::Importing => 0x0D,
            RowKey::Naming => 0x0E,
            RowKey::Copy { .. } => 0x0F,
        }
    }

    /// The key as bytes.
    pub fn bytes(&self) -> engine::Key {
        let mut key = vec![self.family()];
        match self {
            RowKey::Head { kind, id } => {
                key.push(kind.byte());
                key.extend(id.as_str().as_bytes());
            }
            RowKey::Revision {
                kind,
                id,
                revision,
                part,
            } => {
                key = revisions_prefix(*kind, id);
                key.extend(revision.to_be_bytes());
                key.extend(part.to_be_bytes());
            }
            RowKey::Newest { kind, create_time, id } => {
                key.push(kind.byte());
                key.extend(ordered(*create_time).map(|byte| !byte));
                key.extend(id.as_str().as_bytes());
            }
            RowKey::Purge { purge_time, kind, id } => {
                key.extend(ordered(*purge_time));
                key.push(kind.byte());
                key.extend(id.as_str().as_bytes());
            }
            RowKey::Request { request } => key.extend(request),
            RowKey::Owned { uid, request } => {
                key.extend(uid);
                key.extend(request);
            }
            RowKey::Expiry { expire_time, request } => {
                key.extend(ordered(*expire_time));
                key.extend(request);
            }
            RowKey::Attachment { uid } | RowKey::Seal { uid } => key.extend(uid),
            RowKey::Samples {
                uid,
                first_block: number,
            }
            | RowKey::Gap { uid, block: number } => {
                key.extend(uid);
                key.extend(number.to_be_bytes());
            }
            RowKey::Copy { copy_time } => key.extend(ordered(*copy_time)),
            RowKey::Clock | RowKey::Importing | RowKey::Naming => {}
        }
        key
    }

    /// From bytes; `None` if they are no key of ours.
    pub fn parse(key: &[u8]) -> Option<RowKey> {
        let (&family, mut rest) = key.split_first()?;
        let rest = &mut rest;
        let row = match family {
            0x01 => RowKey::Head {
                kind: kind(rest)?,
                id: id(rest)?,
            },
            0x02 => revision(rest)?,
            0x03 => RowKey::Newest {
                kind: kind(rest)?,
                create_time: moment(take::<8>(rest)?.map(|byte| !byte)),
                id: id(rest)?,
            },
            0x04 => RowKey::Purge {
                purge_time: moment(take(rest)?),
                kind: kind(rest)?,
                id: id(rest)?,
            },
            0x05 => RowKey::Request { request: take(rest)? },
            0x06 => RowKey::Owned {
                uid: take(rest)?,
                request: take(rest)?,
            },
            0x07 => RowKey::Expiry {
                expire_time: moment(take(rest)?),
                request: take(rest)?,
            },
            0x08 => RowKey::Attachment { uid: take(rest)? },
            0x09 => RowKey::Samples {
                uid: take(rest)?,
                first_block: u64::from_be_bytes(take(rest)?),
            },
            0x0A => RowKey::Gap {
                uid: take(rest)?,
                block: u64::from_be_bytes(take(rest)?),
            },
            0x0B => RowKey::Seal { uid: take(rest)? },
            0x0C => RowKey::Clock,
            0x0D => RowKey::Importing,
            0x0E => RowKey::Naming,
            0x0F => RowKey::Copy {
                copy_time: moment(take(rest)?),
            },
            _ => return None,
        };
        rest.is_empty().then_some(row)
    }
}

fn revision(rest: &mut &[u8]) -> Option<RowKey> {
    let kind = kind(rest)?;
    let end = rest.iter().position(|byte| *byte == 0)?;
    let (mut name, tail) = rest.split_at_checked(end)?;
    *rest = tail.get(1..)?;
    let id = id(&mut name)?;
    let revision = u64::from_be_bytes(take(rest)?);
    Some(RowKey::Revision {
        kind,
        id,
        revision,
        part: u16::from_be_bytes(take(rest)?),
    })
}

fn take<const N: usize>(rest: &mut &[u8]) -> Option<[u8; N]> {
    let (head, tail) = rest.split_first_chunk::<N>()?;
    *rest = tail;
    Some(*head)
}

fn kind(rest: &mut &[u8]) -> Option<Kind> {
    let [byte] = take::<1>(rest)?;
    Kind::of_byte(byte)
}

fn id(rest: &mut &[u8]) -> Option<RecordId> {
    let id = RecordId::parse(std::str::from_utf8(rest).ok()?)?;
    *rest = &[];
    Some(id)
}

const SIGN: u64 = 1 << 63;

fn ordered(moment: Moment) -> [u8; 8] {
    (moment.as_nanos().cast_unsigned() ^ SIGN).to_be_bytes()
}

fn moment(bytes: [u8; 8]) -> Moment {
    Moment::from_nanos((u64::from_be_bytes(bytes) ^ SIGN).cast_signed())
}

fn revisions_prefix(kind: Kind, id: &RecordId) -> Vec<u8> {
    let mut key = vec![0x02, kind.byte()];
    key.extend(id.as_str().as_bytes());
    key.push(0);
    key
}

/// All pieces of all revisions of a record.
pub(crate) fn revisions_of(kind: Kind, id: &RecordId) -> KeyRange {
    KeyRange::prefix(revisions_prefix(kind, id))
}

/// The pieces of one revision.
pub(crate) fn parts_of(kind: Kind, id: &RecordId, revision: u64) -> KeyRange {
    let mut prefix = revisions_prefix(kind, id);
    prefix.extend(revision.to_be_bytes());
    KeyRange::prefix(prefix)
}

/// All rows of a family, or those of them whose key goes on with `more`.
pub(crate) fn family(family: u8, more: &[u8]) -> KeyRange {
    let mut prefix = vec![family];
    prefix.extend(more);
    KeyRange::prefix(prefix)
}

/// The rows of an index of times that are due at `now`.
pub(crate) fn due(family: u8, now: Moment) -> KeyRange {
    let mut end = vec![family];
    end.extend(ordered(Moment::from_nanos(now.as_nanos().saturating_add(1))));
    KeyRange::between(vec![family], end)
}
