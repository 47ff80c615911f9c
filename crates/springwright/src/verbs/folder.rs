//! Verbs that open a store's folder themselves; nothing else but `serve` and `demo` does.

use crate::args::{ExportArgs, FolderArgs, ImportArgs};
use crate::fail::{Ended, Fail};

/// Writes everything in a store as text.
pub(crate) fn export(args: &ExportArgs) -> Ended {
    Err(Fail::error(format!("{}: {}", args.store.display(), args.to.display())))
}

/// Makes a store from an export.
pub(crate) fn import(args: &ImportArgs) -> Ended {
    Err(Fail::error(format!(
        "{}: {}",
        args.store.display(),
        args.from.display()
    )))
}

/// Reads everything and checks it.
pub(crate) fn verify(args: &FolderArgs) -> Ended {
    Err(Fail::error(format!("{}", args.store.display())))
}

/// Rewrites a store without what it no longer needs.
pub(crate) fn compact(args: &FolderArgs) -> Ended {
    Err(Fail::error(format!("{}", args.store.display())))
}
