//! Data to stdout, words to stderr.

use std::fmt::{Arguments, Display};
use std::io::{self, BufWriter, StdoutLock, Write};

/// The data channel. A closed pipe comes back as an error, never as a panic.
pub(crate) struct Out {
    writer: BufWriter<StdoutLock<'static>>,
    reader_left: bool,
}

impl Out {
    /// Takes stdout for itself.
    pub(crate) fn stdout() -> Self {
        Self {
            writer: BufWriter::new(io::stdout().lock()),
            reader_left: false,
        }
    }

    /// Writes one line.
    pub(crate) fn line(&mut self, line: impl Display) -> io::Result<()> {
        writeln!(self.writer, "{line}")
    }

    /// Writes text that brings its own line ends.
    pub(crate) fn text(&mut self, text: &str) -> io::Result<()> {
        self.writer.write_all(text.as_bytes())
    }

    /// Hands over what was written.
    pub(crate) fn flush(&mut self) -> io::Result<()> {
        self.writer.flush()
    }

    /// Whether a write found nobody reading any more. Code that knows only a writer turns that into words of its own.
    pub(crate) fn reader_left(&self) -> bool {
        self.reader_left
    }

    fn noted<T>(&mut self, written: io::Result<T>) -> io::Result<T> {
        self.reader_left |= written
            .as_ref()
            .is_err_and(|fault| fault.kind() == io::ErrorKind::BrokenPipe);
        written
    }
}

impl Write for Out {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.writer.write(bytes);
        self.noted(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        let flushed = self.writer.flush();
        self.noted(flushed)
    }
}

/// Says something to the person. Nobody listening is no fault.
pub(crate) fn say(words: Arguments<'_>) {
    let mut stderr = io::stderr().lock();
    let _ = writeln!(stderr, "{words}");
}
