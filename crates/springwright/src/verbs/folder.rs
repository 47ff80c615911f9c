//! Verbs on the folder of a store that nobody serves.

use std::fs::File;
use std::io::{BufReader, BufWriter};
use std::path::Path;

use service::maintenance;

use crate::args::{ExportArgs, FolderArgs, ImportArgs};
use crate::fail::{Answer, Ended, Fail};
use crate::out::{Out, say};
use crate::progress::reading;

/// Writes everything of a store as text.
pub(crate) fn export(args: &ExportArgs) -> Ended {
    if args.to == Path::new("-") {
        let mut out = Out::stdout();
        let exported = maintenance::export(&args.store, &mut out);
        if out.reader_left() {
            return Err(Fail::ReaderLeft);
        }
        exported.map_err(|fault| Fail::error(fault.to_string()))?;
        out.flush()?;
        note_copy(&args.store, "standard output")?;
    } else {
        let at = |fault| Fail::at(args.to.display(), fault);
        let mut out = BufWriter::new(File::create_new(&args.to).map_err(at)?);
        let exported = maintenance::export(&args.store, &mut out).map_err(|fault| Fail::error(fault.to_string()));
        let exported = exported.and_then(|_| {
            out.into_inner()
                .map_err(|fault| at(fault.into_error()))?
                .sync_all()
                .map_err(at)
        });
        if let Err(fault) = exported {
            // Half a backup must not be taken for one.
            let _ = std::fs::remove_file(&args.to);
            return Err(fault);
        }
        maintenance::note_backup(&args.store, &args.to).map_err(|fault| Fail::error(fault.to_string()))?;
        note_copy(&args.store, &args.to.display().to_string())?;
    }
    say(format_args!("exported {}", args.store.display()));
    Ok(Answer::Yes)
}

fn note_copy(store: &Path, place: &str) -> Result<(), Fail> {
    maintenance::note_copy(store, place).map_err(|fault| Fail::error(fault.to_string()))
}

/// Makes a store from an export.
pub(crate) fn import(args: &ImportArgs) -> Ended {
    let imported = if args.from == Path::new("-") {
        maintenance::import(&args.store, &mut BufReader::new(std::io::stdin()))
    } else {
        maintenance::import(
            &args.store,
            &mut BufReader::new(reading(
                File::open(&args.from).map_err(|fault| Fail::at(args.from.display(), fault))?,
                0,
            )),
        )
    };
    imported.map_err(|fault| Fail::error(fault.to_string()))?;
    say(format_args!("imported into {}", args.store.display()));
    Ok(Answer::Yes)
}

/// Reads everything and checks it.
pub(crate) fn verify(args: &FolderArgs) -> Ended {
    let report = maintenance::verify(&args.store).map_err(|fault| Fail::error(fault.to_string()))?;
    let mut out = Out::stdout();
    out.line(format_args!(
        "{} records, {} revisions, {} blocks, {} samples, {} problems",
        report.records, report.revisions, report.blocks, report.samples, report.problem_count
    ))?;
    for problem in &report.problems {
        out.line(format_args!("{problem}"))?;
    }
    out.flush()?;
    Ok(if report.is_sound() { Answer::Yes } else { Answer::No })
}

/// Rewrites a store without what it no longer needs.
pub(crate) fn compact(args: &FolderArgs) -> Ended {
    let done = maintenance::compact(&args.store).map_err(|fault| Fail::error(fault.to_string()))?;
    say(format_args!(
        "{} keys; {} bytes before, {} after",
        done.keys, done.before, done.after
    ));
    Ok(Answer::Yes)
}
