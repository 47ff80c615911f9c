//! Blocks on disk before they are sent, so that a feed which dies goes on where it was.
//!
//! A file of records after the eight bytes `SPRWSPL1`. A record is its length and its CRC-32C, both 32-bit little-endian,
//! then that many bytes of a protobuf message (`format::Record`); the checksum covers the length too. First the head, then
//! perhaps a checkpoint, then blocks by number, last an end. Records are only appended. What the server holds durably
//! is left behind by writing head, checkpoint and the remaining blocks into a new file and renaming it over.
//!
//! A block may be sent only after [`Spool::sync`]: were it sent first and lost here, a restarted feed could build another
//! block of the same number.

use std::collections::VecDeque;
use std::fmt;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use wire::v1;

use super::intake::{Draft, Missing};
use format::{Ended, Entry, Kept, Kind, MAGIC, ends_within_head, frame, next, scan};
pub(crate) use format::{Head, Mark};
use medium::Medium;

mod format;
mod medium;

/// Bytes left behind worth a rewrite.
const REWRITE_BYTES: u64 = 8 * 1024 * 1024;
/// Bytes of a file that tell whether it has a whole head: the sign of a spool and the head's length.
const HEAD_SEEN: u64 = 12;
/// A gap's words, at most (records.proto).
const CAUSE_CHARS_MAX: usize = 200;

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
    Full(Box<Draft>),
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

    /// Whether a feed was killed while it began this spool: the file ends within its head, so nothing was kept in it yet.
    pub(crate) fn was_hardly_begun(path: &Path) -> bool {
        let beginning = || {
            let file = std::fs::File::open(path)?;
            let length = file.metadata()?.len();
            let mut bytes = Vec::new();
            file.take(HEAD_SEEN).read_to_end(&mut bytes)?;
            Ok::<_, std::io::Error>((bytes, length))
        };
        beginning().is_ok_and(|(bytes, length)| ends_within_head(&bytes, length))
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
            tare,
            place,
            clock,
        } = draft;
        let block = v1::Block {
            number: last.number + 1,
            segment: clock.segment,
            elapsed_ns,
            columns: columns.into_iter().map(|values| v1::ValueColumn { values }).collect(),
            gap_before: gap(&missing, last.number + 1),
            tare_mark: tare,
        };
        let mark = last.after(&block, place, clock);
        let kept = Kept {
            block: Some(block),
            mark: Some(mark),
        };
        let bytes = frame(Kind::Kept(kept.clone()));
        if self.end + bytes.len() as u64 > self.limit {
            let block = kept.block.unwrap_or_default();
            return Ok(Offered::Full(Box::new(Draft {
                elapsed_ns: block.elapsed_ns,
                columns: block.columns.into_iter().map(|column| column.values).collect(),
                missing,
                tare,
                place,
                clock,
            })));
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

#[cfg(test)]
mod tests;
