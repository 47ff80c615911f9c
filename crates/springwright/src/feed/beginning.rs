//! How a recording begins: a new one with its source's own words, an unfinished one with those of its spool.

use std::path::{Path, PathBuf};

use super::columns::Columns;
use super::decode::{Format, Separator};
use super::intake::{Clock, Place};
use super::options::Options;
use super::outbox::Outbox;
use super::preamble::Declared;
use super::reader::{self, Opened};
use super::source::{Source, Start};
use super::spool::{Head, Spool, SpoolError};
use super::{FeedError, MEGABYTE};
use wire::v1::instruction::Action;

/// One spool for one source: the same command finds it again.
pub(super) fn spool_path(options: &Options) -> Result<PathBuf, FeedError> {
    if let Some(path) = &options.spool {
        return Ok(path.clone());
    }
    let folder = |name: &str| {
        std::env::var_os(name)
            .filter(|value| !value.is_empty())
            .map(PathBuf::from)
    };
    let state = folder("XDG_STATE_HOME").or_else(|| Some(folder("HOME")?.join(".local/state")));
    let print = crc32c::crc32c(options.source().to_string().as_bytes());
    let state = state.ok_or(FeedError::NoStateFolder)?;
    Ok(state.join("springwright").join(format!("feed-{print:08x}.spool")))
}

/// Nothing unfinished is ever deleted: it gets another name.
pub(super) fn put_aside(path: &Path) -> Result<(), FeedError> {
    if !path.exists() {
        return Ok(());
    }
    let aside = |number: u32| {
        let mut name = path.as_os_str().to_owned();
        name.push(format!(".aside-{number}"));
        PathBuf::from(name)
    };
    let free = (1..u32::MAX).map(aside).find(|path| !path.exists());
    let to = free.unwrap_or_else(|| aside(0));
    std::fs::rename(path, &to).map_err(|error| SpoolError::Io {
        path: path.to_owned(),
        error,
    })?;
    tracing::warn!("the unfinished run's spool is now {}", to.display());
    Ok(())
}

/// A recording ready to go: spool and, unless it was read to its end before, source.
pub(super) struct Begun {
    pub(super) outbox: Outbox,
    pub(super) head: Head,
    pub(super) source: Option<(Opened, Format, Place, Clock)>,
    pub(super) resumed: bool,
    pub(super) restarted: bool,
}

pub(super) async fn begin(options: &Options, path: &Path) -> Result<Begun, FeedError> {
    let limit = options.spool_limit * MEGABYTE;
    let source = options.source();
    if path.exists() {
        match Spool::open(path, limit) {
            Ok((spool, dropped)) => {
                if let Some(dropped) = dropped {
                    tracing::warn!("{dropped}");
                }
                return take_up(options, source, spool, path).await;
            }
            Err(SpoolError::NoHead(_)) if Spool::was_hardly_begun(path) => {
                tracing::warn!("a feed was killed before it had kept anything; this one begins again");
                put_aside(path)?;
            }
            Err(error) => return Err(error.into()),
        }
    }
    let opened = reader::first(&source, &options.declared()).await?;
    let format = opened.preamble.format.clone();
    let head = Head {
        source: source.to_string(),
        columns: format.columns.to_string(),
        separator: format.separator.name().to_owned(),
        skip_lines: options.skip_lines,
        resumes: opened.preamble.resumes,
        test: opened.preamble.test.clone(),
        sealed: format.sealed,
        header: Some(options.run.header(&format.columns, &obeys(&opened.preamble.obeys))),
    };
    let spool = Spool::create(path, head.clone(), limit)?;
    Ok(Begun {
        outbox: Outbox::new(spool),
        head,
        source: Some((opened, format, Place::default(), Clock::default())),
        resumed: false,
        restarted: false,
    })
}

/// What a bench may tell the feed: to end a run is in the feed's own power, to begin one and to set the zero is the
/// instrument's.
fn obeys(instrument: &[Action]) -> Vec<Action> {
    let of_instrument = [Action::Start, Action::TareMark]
        .into_iter()
        .filter(|action| instrument.contains(action));
    of_instrument.chain([Action::Finish, Action::Stop]).collect()
}

async fn take_up(options: &Options, source: Source, spool: Spool, path: &Path) -> Result<Begun, FeedError> {
    let head = spool.head().clone();
    if head.source != source.to_string() {
        return Err(FeedError::OtherSource {
            spool: path.to_owned(),
            begun_with: head.source,
        });
    }
    tracing::info!("taking up an unfinished run; what it is of stands in its spool, not in this command");
    let unknown = || FeedError::Spool(SpoolError::NoHead(path.to_owned()));
    let format = Format {
        columns: head.columns.parse::<Columns>().map_err(|_| unknown())?,
        separator: Separator::named(&head.separator).ok_or_else(unknown)?,
        sealed: head.sealed,
    };
    let (place, clock) = (spool.last().place(), spool.last().clock());
    let opened = if spool.ended() {
        None
    } else {
        let start = match source {
            Source::File(_) => Start::Byte(place.offset),
            _ if source.is_line() && head.resumes => Start::Line(place.data_lines),
            _ => Start::Now,
        };
        let declared = Declared {
            skip_lines: head.skip_lines.saturating_sub(place.line),
            ..known(&format, options)
        };
        let opened = reader::open(&source, start, &declared).await?;
        Some((opened, format, place, clock))
    };
    let restarted = source.is_live() && !head.resumes;
    Ok(Begun {
        outbox: Outbox::new(spool),
        head,
        source: opened,
        resumed: true,
        restarted,
    })
}

pub(super) fn known(format: &Format, options: &Options) -> Declared {
    Declared {
        columns: Some(format.columns.clone()),
        separator: Some(format.separator),
        sealed: format.sealed,
        ..options.declared()
    }
}
