//! Data to stdout, words to stderr.

use std::fmt::{Arguments, Display};
use std::io::{self, BufWriter, StdoutLock, Write};

/// The data channel. A closed pipe comes back as an error, never as a panic.
pub(crate) struct Out(BufWriter<StdoutLock<'static>>);

impl Out {
    /// Takes stdout for itself.
    pub(crate) fn stdout() -> Self {
        Self(BufWriter::new(io::stdout().lock()))
    }

    /// Writes one line.
    pub(crate) fn line(&mut self, line: impl Display) -> io::Result<()> {
        writeln!(self.0, "{line}")
    }

    /// Writes text that brings its own line ends.
    pub(crate) fn text(&mut self, text: &str) -> io::Result<()> {
        self.0.write_all(text.as_bytes())
    }

    /// Hands over what was written.
    pub(crate) fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

/// Says something to the person. Nobody listening is no fault.
pub(crate) fn say(words: Arguments<'_>) {
    let mut stderr = io::stderr().lock();
    let _ = writeln!(stderr, "{words}");
}
