//! A feed that stays at the bench: one run after the other, each for the spring that is on the tester then.

use std::path::Path;
use std::time::Duration;

use super::beginning::{put_aside, spool_path};
use super::record::{Controls, RecordError};
use super::{FeedError, FeedReport, Options, run_with};

/// How long a tester that is not there is left alone.
const LOOK_AGAIN: Duration = Duration::from_secs(1);

/// What to do after a run.
enum After {
    /// Open the next one.
    Next,
    /// The same, but not at once.
    Later,
}

/// Feeds one run after the other until told to end. Every finished run is told.
///
/// # Errors
/// [`FeedError`]: nothing the next run would not meet again.
pub(crate) async fn stay(
    mut options: Options,
    controls: Controls,
    mut finished: impl FnMut(&FeedReport),
) -> Result<(), FeedError> {
    let path = spool_path(&options)?;
    let mut absent = false;
    loop {
        // A run that is full ends by its own token, not the stay.
        let outcome = run_with(options.clone(), controls.child()).await;
        options.new_run = false;
        let over = controls.finish.is_cancelled() || controls.leave.is_cancelled();
        let after = match outcome {
            Ok(report) => {
                finished(&report);
                // The next spring is another one, until somebody says which.
                options.run.spring = None;
                After::Next
            }
            Err(_) if over && !path.exists() => return Ok(()),
            Err(error) if over => return Err(error),
            Err(error) => went_wrong(error, &path, &mut absent)?,
        };
        if over {
            return Ok(());
        }
        if matches!(after, After::Next) {
            absent = false;
            continue;
        }
        tokio::select! {
            () = tokio::time::sleep(LOOK_AGAIN) => {}
            () = controls.finish.cancelled() => return Ok(()),
            () = controls.leave.cancelled() => return Ok(()),
        }
    }
}

/// What a run that was not finished leaves behind, and whether the next one may do better.
fn went_wrong(error: FeedError, path: &Path, absent: &mut bool) -> Result<After, FeedError> {
    match &error {
        // Given up at the bench, on purpose: what was kept of it is not wanted.
        FeedError::Record { error: refused, .. } if refused.is_of("RUN_CLOSED") => {
            tracing::warn!("{refused}: given up at the bench");
            remove(path)?;
            Ok(After::Next)
        }
        // Waited for too long, or gone: another run takes its place.
        FeedError::Record { error: refused, .. }
            if ["NOT_RESUMABLE", "NOT_FOUND", "DELETED"]
                .iter()
                .any(|reason| refused.is_of(reason)) =>
        {
            tracing::warn!("{refused}");
            put_aside(path)?;
            Ok(After::Later)
        }
        // The tester was restarted within a test. What came before is the server's; the bench finishes or discards it.
        FeedError::OtherTest { .. }
        | FeedError::Record {
            error: RecordError::LeftOpen,
            ..
        } => {
            tracing::warn!("{error}");
            put_aside(path)?;
            Ok(After::Later)
        }
        FeedError::Source { .. } | FeedError::NoSamples => {
            if !std::mem::replace(absent, true) {
                tracing::warn!("{error}; looking again every {} s", LOOK_AGAIN.as_secs());
            }
            Ok(After::Later)
        }
        _ => Err(error),
    }
}

fn remove(path: &Path) -> Result<(), FeedError> {
    match std::fs::remove_file(path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(super::spool::SpoolError::Io {
            path: path.to_owned(),
            error,
        }
        .into()),
        Ok(()) | Err(_) => Ok(()),
    }
}
