//! Blocks on disk before they are sent, so that a feed which dies goes on where it was.
//!
//! A file of records after the eight bytes `SPRWSPL1`. A record is its length and its CRC-32C, both 32-bit little-endian,
//! then that many bytes of a protobuf message [`Record`]; the checksum covers the length too. First the head, then
//! perhaps a checkpoint, then blocks by number, last an end. Records are only appended. What the server holds durably
//! is left behind by writing head, checkpoint and the remaining blocks into a new file and renaming it over.
//!
//! A block may be sent only after [`Spool::sync`]: were it sent first and lost here, a restarted feed could build another
//! block of the same number.

use std::collections::VecDeque;
use std::fmt;
use std::io::Read;
use std::path::{Path, PathBuf};

use prost::Message;
use wire::v1;

use super::intake::{Clock, Draft, Missing, Place};
use medium::Medium;

mod medium;

const MAGIC: &[u8; 8] = b"SPRWSPL1";
/// Length and checksum before each record.
const FRAME_BYTES: u64 = 8;
/// A record beyond this is damage: a block is at most 64 KiB, a head less.
const RECORD_BYTES_MAX: u32 = 128 * 1024;
/// Bytes left behind worth a rewrite.
const REWRITE_BYTES: u64 = 8 * 1024 * 1024;
/// A gap's words, at most (records.proto).
const CAUSE_CHARS_MAX: usize = 200;

/// One record of the file.
#[derive(Clone, PartialEq, prost::Message)]
struct Record {
    #[prost(oneof = "Kind", tags = "1, 2, 3, 4")]
    kind: Option<Kind>,
}

#[derive(Clone, PartialEq, prost::Oneof)]
enum Kind {
    #[prost(message, boxed, tag = "1")]
    Head(Box<Head>),
    #[prost(message, tag = "2")]
    Checkpoint(Mark),
    #[prost(message, tag = "3")]
    Kept(Kept),
    #[prost(message, tag = "4")]
    Ended(Ended),
}

/// What a feed must know to take the recording up again.
#[derive(Clone, PartialEq, prost::Message)]
pub(crate) struct Head {
    /// The source, as the feed names it.
    #[prost(string, tag = "1")]
    pub(crate) source: String,
    /// Its columns.
    #[prost(string, tag = "2")]
    pub(crate) columns: String,
    /// What stands between them.
    #[prost(string, tag = "3")]
    pub(crate) separator: String,
    /// Lines at its start that are passed over.
    #[prost(uint64, tag = "4")]
    pub(crate) skip_lines: u64,
    /// Whether it can leave out lines on request.
    #[prost(bool, tag = "5")]
    pub(crate) resumes: bool,
    /// Which test it says it is.
    #[prost(string, tag = "6")]
    pub(crate) test: String,
    /// The run's header with its request id.
    #[prost(message, optional, tag = "7")]
    pub(crate) header: Option<v1::RunHeader>,
}

/// Where everything stands after a block.
#[derive(Clone, Copy, PartialEq, prost::Message)]
pub(crate) struct Mark {
    /// The block; 0 before the first.
    #[prost(int64, tag = "1")]
    pub(crate) number: i64,
    /// Samples up to its end.
    #[prost(int64, tag = "2")]
    pub(crate) samples: i64,
    /// Checksum up to its end, as the finish states it.
    #[prost(fixed32, tag = "3")]
    pub(crate) crc32c: u32,
    /// Gaps up to its end.
    #[prost(int64, tag = "4")]
    pub(crate) gaps: i64,
    /// Segment of its samples.
    #[prost(int32, tag = "5")]
    segment: i32,
    #[prost(int64, optional, tag = "6")]
    zero_ns: Option<i64>,
    #[prost(int64, optional, tag = "7")]
    latest_ns: Option<i64>,
    #[prost(uint64, tag = "8")]
    line: u64,
    #[prost(uint64, tag = "9")]
    offset: u64,
    #[prost(uint64, tag = "10")]
    data_lines: u64,
    #[prost(uint64, tag = "11")]
    malformed: u64,
}

impl Mark {
    /// Where the source stands.
    pub(crate) fn place(&self) -> Place {
        Place {
            line: self.line,
            offset: self.offset,
            data_lines: self.data_lines,
            malformed: self.malformed,
        }
    }

    /// Where its clock stands.
    pub(crate) fn clock(&self) -> Clock {
        Clock {
            segment: self.segment,
            zero_ns: self.zero_ns,
            latest_ns: self.latest_ns,
        }
    }

    /// The mark after one more block.
    fn after(&self, block: &v1::Block, place: Place, clock: Clock) -> Self {
        let mut crc32c = self.crc32c;
        for elapsed in &block.elapsed_ns {
            crc32c = crc32c::crc32c_append(crc32c, &elapsed.to_le_bytes());
        }
        for value in block.columns.iter().flat_map(|column| &column.values) {
            crc32c = crc32c::crc32c_append(crc32c, &value.to_le_bytes());
        }
        let samples = block.columns.first().map_or(0, |column| column.values.len());
        Self {
            number: block.number,
            samples: self.samples + i64::try_from(samples).unwrap_or(i64::MAX),
            crc32c,
            gaps: self.gaps + i64::from(block.gap_before.is_some()),
            segment: clock.segment,
            zero_ns: clock.zero_ns,
            latest_ns: clock.latest_ns,
            line: place.line,
            offset: place.offset,
            data_lines: place.data_lines,
            malformed: place.malformed,
        }
    }
}

#[derive(Clone, PartialEq, prost::Message)]
struct Kept {
    #[prost(message, optional, tag = "1")]
    block: Option<v1::Block>,
    #[prost(message, optional, tag = "2")]
    mark: Option<Mark>,
}

#[derive(Clone, Copy, PartialEq, prost::Message)]
struct Ended {}

/// Why a spool cannot be used.
#[derive(Debug)]
pub(crate) enum SpoolError {
    /// The disk said no.
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        error: std::io::Error,
    },
    /// Not a spool at all, or nothing of its head is left.
    NoHead(PathBuf),
    /// Another feed works with it.
    InUse(PathBuf),
    /// A block that was kept reads damaged now.
    BlockDamaged(i64),
}

impl fmt::Display for SpoolError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Io { path, error } => write!(f, "spool {}: {error}", path.display()),
            Self::NoHead(path) => write!(
                f,
                "{} is no spool, or its head is damaged; move it away to begin a new run",
                path.display()
            ),
            Self::InUse(path) => write!(f, "spool {} is in use by another feed", path.display()),
            Self::BlockDamaged(number) => write!(f, "block {number} reads damaged from the spool"),
        }
    }
}

impl std::error::Error for SpoolError {}

/// What was dropped when a spool was opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Dropped {
    /// From which byte on.
    pub(crate) at: u64,
    /// How many bytes.
    pub(crate) bytes: u64,
    /// Why.
    pub(crate) reason: &'static str,
}

impl fmt::Display for Dropped {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "spool: {} from byte {} on; {} bytes dropped",
            self.reason, self.at, self.bytes
        )
    }
}

#[derive(Debug, Clone)]
struct Entry {
    mark: Mark,
    offset: u64,
    length: u64,
}

/// The blocks of one run that the server may not hold yet.
#[derive(Debug)]
pub(crate) struct Spool {
    medium: Medium,
    head: Head,
    /// The last block left behind.
    floor: Mark,
    entries: VecDeque<Entry>,
    end: u64,
    limit: u64,
    ended: bool,
}

/// What became of a draft.
#[derive(Debug)]
pub(crate) enum Offered {
    /// It is a block now.
    Taken,
    /// There is no room.
    Full(Draft),
}

impl Spool {
    /// Begins a spool where there is none.
    ///
    /// # Errors
    /// [`SpoolError::Io`], [`SpoolError::InUse`].
    pub(crate) fn create(path: &Path, head: Head, limit: u64) -> Result<Self, SpoolError> {
        Self::begin(Medium::create(path)?, head, limit)
    }

    /// A spool in memory: for a sender that cannot go on after its own end anyway.
    pub(crate) fn in_memory(head: Head, limit: u64) -> Result<Self, SpoolError> {
        Self::begin(Medium::Memory(Vec::new()), head, limit)
    }

    fn begin(mut medium: Medium, head: Head, limit: u64) -> Result<Self, SpoolError> {
        let mut bytes = MAGIC.to_vec();
        bytes.extend(frame(Kind::Head(Box::new(head.clone()))));
        medium.append(0, &bytes)?;
        medium.sync()?;
        Ok(Self {
            medium,
            head,
            floor: Mark::default(),
            entries: VecDeque::new(),
            end: bytes.len() as u64,
            limit,
            ended: false,
        })
    }

    /// Opens a spool as a feed left it, dead or alive. A torn or damaged tail is dropped and told.
    ///
    /// # Errors
    /// [`SpoolError`].
    pub(crate) fn open(path: &Path, limit: u64) -> Result<(Self, Option<Dropped>), SpoolError> {
        Self::reopen(Medium::open(path)?, limit)
    }

    fn reopen(mut medium: Medium, limit: u64) -> Result<(Self, Option<Dropped>), SpoolError> {
        let length = medium.length()?;
        let scan = scan(&mut medium.reader()?);
        let Some(head) = scan.head else {
            return Err(SpoolError::NoHead(medium.path()));
        };
        let dropped = scan.fault.map(|reason| Dropped {
            at: scan.good,
            bytes: length.saturating_sub(scan.good),
            reason,
        });
        if dropped.is_some() {
            medium.truncate(scan.good)?;
        }
        // A killed feed may have written without having synced.
        medium.sync()?;
        let spool = Self {
            medium,
            head,
            floor: scan.floor,
            entries: scan.entries,
            end: scan.good,
            limit,
            ended: scan.ended,
        };
        Ok((spool, dropped))
    }

    /// What the recording was begun with.
    pub(crate) fn head(&self) -> &Head {
        &self.head
    }

    /// Whether the source was read to its end.
    pub(crate) fn ended(&self) -> bool {
        self.ended
    }

    /// Where everything stands after the last block.
    pub(crate) fn last(&self) -> Mark {
        self.entries.back().map_or(self.floor, |entry| entry.mark)
    }

    /// Where everything stood after a block, unless it was left behind long ago.
    pub(crate) fn mark(&self, number: i64) -> Option<Mark> {
        if number == self.floor.number {
            return Some(self.floor);
        }
        self.entry(number).map(|entry| entry.mark)
    }

    fn entry(&self, number: i64) -> Option<&Entry> {
        let index = usize::try_from(number - self.floor.number - 1).ok()?;
        self.entries.get(index)
    }

    /// Makes a draft the next block. It is kept only after [`Spool::sync`].
    ///
    /// # Errors
    /// [`SpoolError::Io`].
    pub(crate) fn offer(&mut self, draft: Draft) -> Result<Offered, SpoolError> {
        let last = self.last();
        let Draft {
            elapsed_ns,
            columns,
            missing,
            place,
            clock,
        } = draft;
        let block = v1::Block {
            number: last.number + 1,
            segment: clock.segment,
            elapsed_ns,
            columns: columns.into_iter().map(|values| v1::ValueColumn { values }).collect(),
            gap_before: gap(&missing, last.number + 1),
        };
        let mark = last.after(&block, place, clock);
        let kept = Kept {
            block: Some(block),
            mark: Some(mark),
        };
        let bytes = frame(Kind::Kept(kept.clone()));
        if self.end + bytes.len() as u64 > self.limit {
            let block = kept.block.unwrap_or_default();
            return Ok(Offered::Full(Draft {
                elapsed_ns: block.elapsed_ns,
                columns: block.columns.into_iter().map(|column| column.values).collect(),
                missing,
                place,
                clock,
            }));
        }
        self.medium.append(self.end, &bytes)?;
        self.entries.push_back(Entry {
            mark,
            offset: self.end,
            length: bytes.len() as u64,
        });
        self.end += bytes.len() as u64;
        Ok(Offered::Taken)
    }

    /// Notes that the source was read to its end.
    ///
    /// # Errors
    /// [`SpoolError::Io`].
    pub(crate) fn end(&mut self) -> Result<(), SpoolError> {
        if !self.ended {
            let bytes = frame(Kind::Ended(Ended {}));
            self.medium.append(self.end, &bytes)?;
            self.end += bytes.len() as u64;
            self.ended = true;
        }
        Ok(())
    }

    /// What was offered survives from here on.
    ///
    /// # Errors
    /// [`SpoolError::Io`]; nothing since the last sync counts as kept then.
    pub(crate) fn sync(&mut self) -> Result<(), SpoolError> {
        self.medium.sync()
    }

    /// A kept block.
    ///
    /// # Errors
    /// [`SpoolError::BlockDamaged`] also where it was left behind: a server that asks for it lost what it had acknowledged.
    pub(crate) fn read(&mut self, number: i64) -> Result<v1::Block, SpoolError> {
        let damaged = || SpoolError::BlockDamaged(number);
        let entry = self.entry(number).cloned().ok_or_else(damaged)?;
        let bytes = self.medium.read(entry.offset, entry.length)?;
        match next(&mut bytes.as_slice()) {
            Ok(Some((Kind::Kept(kept), _))) => kept.block.ok_or_else(damaged),
            Ok(_) | Err(_) => Err(damaged()),
        }
    }

    /// Leaves behind what the server holds, once that is worth it or room is needed.
    ///
    /// # Errors
    /// [`SpoolError::Io`]; the old file is whole then.
    pub(crate) fn leave_behind(&mut self, durable_through: i64, need_room: bool) -> Result<(), SpoolError> {
        let count = usize::try_from(durable_through - self.floor.number)
            .unwrap_or(0)
            .min(self.entries.len());
        let Some(last) = count.checked_sub(1).and_then(|index| self.entries.get(index)) else {
            return Ok(());
        };
        let tail = last.offset + last.length;
        // Rewriting what remains must not cost more than what it frees.
        let worth = if need_room { self.limit / 4 } else { REWRITE_BYTES };
        if tail < worth || tail < self.end - tail {
            return Ok(());
        }
        let floor = last.mark;
        let mut start = MAGIC.to_vec();
        start.extend(frame(Kind::Head(Box::new(self.head.clone()))));
        start.extend(frame(Kind::Checkpoint(floor)));
        self.medium.replace(&start, tail)?;
        let moved = tail - start.len() as u64;
        self.entries.drain(..count);
        for entry in &mut self.entries {
            entry.offset -= moved;
        }
        self.floor = floor;
        self.end -= moved;
        Ok(())
    }

    /// The run is finished at the server: nothing of this is needed any more.
    ///
    /// # Errors
    /// [`SpoolError::Io`].
    pub(crate) fn remove(&mut self) -> Result<(), SpoolError> {
        self.medium.remove()
    }
}

fn gap(missing: &Missing, block: i64) -> Option<v1::Gap> {
    if missing.is_nothing() {
        return None;
    }
    let lost = i64::try_from(missing.lost).unwrap_or(i64::MAX);
    Some(v1::Gap {
        block,
        lost_sample_count: (!missing.uncounted).then_some(lost),
        duration: None,
        cause: missing.causes.join("; ").chars().take(CAUSE_CHARS_MAX).collect(),
    })
}

fn frame(kind: Kind) -> Vec<u8> {
    let payload = Record { kind: Some(kind) }.encode_to_vec();
    // A record is bounded far below 4 GiB by the block's own bounds.
    let length = u32::try_from(payload.len()).unwrap_or(u32::MAX).to_le_bytes();
    let checksum = crc32c::crc32c_append(crc32c::crc32c(&length), &payload).to_le_bytes();
    [length.as_slice(), checksum.as_slice(), payload.as_slice()].concat()
}

#[derive(Debug, Default)]
struct Scan {
    head: Option<Head>,
    floor: Mark,
    entries: VecDeque<Entry>,
    ended: bool,
    /// Bytes up to the end of the last good record.
    good: u64,
    fault: Option<&'static str>,
}

fn scan(reader: &mut impl Read) -> Scan {
    let mut scan = Scan::default();
    let mut magic = [0; 8];
    if reader.read_exact(&mut magic).is_err() || &magic != MAGIC {
        scan.fault = Some("no spool");
        return scan;
    }
    scan.good = MAGIC.len() as u64;
    loop {
        let outcome = match next(reader) {
            Ok(None) => return scan,
            Ok(Some((kind, length))) => scan.take(kind, length),
            Err(reason) => Err(reason),
        };
        if let Err(reason) = outcome {
            scan.fault = Some(reason);
            return scan;
        }
    }
}

impl Scan {
    fn take(&mut self, kind: Kind, length: u64) -> Result<(), &'static str> {
        let last = self.entries.back().map_or(self.floor, |entry| entry.mark);
        match kind {
            Kind::Head(head) if self.head.is_none() => self.head = Some(*head),
            Kind::Checkpoint(mark) if self.head.is_some() && last == Mark::default() => self.floor = mark,
            Kind::Kept(Kept {
                block: Some(block),
                mark: Some(mark),
            }) if self.head.is_some()
                && !self.ended
                && block.number == last.number + 1
                && mark == last.after(&block, mark.place(), mark.clock()) =>
            {
                self.entries.push_back(Entry {
                    mark,
                    offset: self.good,
                    length,
                });
            }
            Kind::Ended(_) if self.head.is_some() => self.ended = true,
            Kind::Head(_) | Kind::Checkpoint(_) | Kind::Kept(_) | Kind::Ended(_) => {
                return Err("a record that does not follow the one before");
            }
        }
        self.good += length;
        Ok(())
    }
}

/// The next record and how many bytes it took; none at the end.
fn next(reader: &mut impl Read) -> Result<Option<(Kind, u64)>, &'static str> {
    let mut frame = Vec::with_capacity(8);
    let torn = |_| "a torn record";
    reader.take(FRAME_BYTES).read_to_end(&mut frame).map_err(torn)?;
    if frame.is_empty() {
        return Ok(None);
    }
    let Some((length_bytes, checksum)) = frame.split_first_chunk::<4>() else {
        return Err("a torn record");
    };
    let Ok(checksum) = <[u8; 4]>::try_from(checksum) else {
        return Err("a torn record");
    };
    let length = u32::from_le_bytes(*length_bytes);
    if length > RECORD_BYTES_MAX {
        return Err("a damaged record");
    }
    let mut payload = Vec::new();
    reader.take(u64::from(length)).read_to_end(&mut payload).map_err(torn)?;
    if payload.len() as u64 != u64::from(length) {
        return Err("a torn record");
    }
    if crc32c::crc32c_append(crc32c::crc32c(length_bytes), &payload) != u32::from_le_bytes(checksum) {
        return Err("a damaged record");
    }
    match Record::decode(payload.as_slice()) {
        Ok(Record { kind: Some(kind) }) => Ok(Some((kind, FRAME_BYTES + u64::from(length)))),
        Ok(Record { kind: None }) | Err(_) => Err("a record of a kind this program does not know"),
    }
}

#[cfg(test)]
mod tests;
