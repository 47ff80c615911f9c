//! How far a long file is read: a bar on stderr, where somebody sits before it.

use std::fs::File;
use std::io::Read;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressFinish, ProgressStyle};

/// Files below this are read before a bar could be looked at.
const LONG: u64 = 4 << 20;

/// A file that shows how far it was read, from `done` bytes on. Nothing is drawn where stderr is no terminal.
pub(crate) fn reading(file: File, done: u64) -> impl Read + Send + 'static {
    let length = file.metadata().map_or(0, |metadata| metadata.len());
    let bar = if length >= LONG {
        ProgressBar::with_draw_target(Some(length), ProgressDrawTarget::stderr())
    } else {
        ProgressBar::hidden()
    };
    // A fault of the template is a fault of this line; the bar then has its own looks.
    if let Ok(style) = ProgressStyle::with_template("{bar:40} {bytes} of {total_bytes}, {eta} left") {
        bar.set_style(style);
    }
    bar.set_position(done);
    bar.with_finish(ProgressFinish::AndClear).wrap_read(file)
}
