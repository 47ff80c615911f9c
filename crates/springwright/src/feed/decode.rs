//! Bytes to lines, lines to samples or typed complaints. Nothing here reads, waits or remembers a source.

use std::fmt;

use super::columns::{ClockUnit, Columns, Field};

/// Longest line taken: a hundred columns of sane digits fit, an endless line does not fill the memory.
pub(crate) const LINE_BYTES_MAX: usize = 4096;
/// Clocks beyond this are no clocks (about 290 years, the end of a 64-bit count of nanoseconds).
const CLOCK_NANOSECONDS_MAX: f64 = 9.2e18;
/// How much of a faulty field a complaint repeats.
const QUOTED_CHARS: usize = 40;

/// What stands between two columns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Separator {
    /// Blanks and tabulators, any number of them.
    Space,
    /// One comma.
    Comma,
    /// One semicolon.
    Semicolon,
    /// One tabulator.
    Tab,
}

impl Separator {
    /// As a source's header and the spool write it.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Space => "space",
            Self::Comma => "comma",
            Self::Semicolon => "semicolon",
            Self::Tab => "tab",
        }
    }

    /// The one written so.
    pub(crate) fn named(name: &str) -> Option<Self> {
        [Self::Space, Self::Comma, Self::Semicolon, Self::Tab]
            .into_iter()
            .find(|separator| separator.name() == name)
    }

    fn split(self, line: &str) -> Vec<&str> {
        match self {
            Self::Space => line.split_ascii_whitespace().collect(),
            Self::Comma => line.split(',').collect(),
            Self::Semicolon => line.split(';').collect(),
            Self::Tab => line.split('\t').collect(),
        }
    }
}

/// How a source's lines are to be read.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Format {
    /// Its columns.
    pub(crate) columns: Columns,
    /// What stands between them.
    pub(crate) separator: Separator,
    /// Whether each line ends with its number and checksum (`seal`).
    pub(crate) sealed: bool,
}

/// One line's readings.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Sample {
    /// By the tester's clock, whatever its zero.
    pub(crate) clock_ns: Option<i64>,
    /// In the units declared, in the run's order of columns.
    pub(crate) values: Vec<f64>,
}

/// Why a line is no sample.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Complaint {
    /// Not UTF-8.
    NotText,
    /// Longer than [`LINE_BYTES_MAX`].
    TooLong,
    /// Too few or too many fields.
    FieldCount {
        /// As declared.
        expected: usize,
        /// In the line.
        found: usize,
        /// Twice as many and commas between: a decimal comma looks like that.
        comma: bool,
    },
    /// A field that is no number.
    NoNumber {
        /// The column's name.
        column: String,
        /// The field.
        text: String,
    },
    /// A comma where the decimal point belongs.
    DecimalComma {
        /// The column's name.
        column: String,
        /// The field as it should read.
        hint: String,
    },
    /// NaN, infinite, or a clock beyond any clock.
    NotFinite {
        /// The column's name.
        column: String,
        /// The field.
        text: String,
    },
    /// The checksum at its end is not that of the line.
    Checksum,
    /// The source ended within the line.
    Unfinished,
}

impl fmt::Display for Complaint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotText => write!(f, "not text (UTF-8)"),
            Self::TooLong => write!(f, "longer than {LINE_BYTES_MAX} bytes"),
            Self::FieldCount { expected, found, comma } => {
                write!(f, "{found} fields instead of {expected}")?;
                if *comma {
                    write!(f, "; the decimal sign is a point, not a comma")?;
                }
                Ok(())
            }
            Self::NoNumber { column, text } => write!(f, "{column} \"{text}\" is no number"),
            Self::DecimalComma { column, hint } => {
                write!(
                    f,
                    "{column} has a decimal comma; the decimal sign is a point: write {hint}"
                )
            }
            Self::NotFinite { column, text } => write!(f, "{column} \"{text}\" is not a finite number"),
            Self::Checksum => write!(f, "its checksum is not right"),
            Self::Unfinished => write!(f, "cut off before its end"),
        }
    }
}

impl Complaint {
    /// Whether it shows a decimal comma: a matter of the source's form, not of one damaged line.
    pub(crate) fn is_decimal_comma(&self) -> bool {
        matches!(self, Self::DecimalComma { .. } | Self::FieldCount { comma: true, .. })
    }
}

/// What a source says about itself in a line that starts with `#`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Note<'a> {
    /// Its columns and units.
    Columns(&'a str),
    /// What stands between them.
    Separator(&'a str),
    /// Which test this is; the same word promises the same readings.
    Test(&'a str),
    /// It can leave out the first lines on request.
    ResumeFromLine,
    /// It left out so many.
    From(u64),
    /// What it does when it is told to.
    Obeys(&'a str),
    /// It begins when it is told to.
    Waiting,
    /// Each of its lines ends with number and checksum.
    Sealed,
    /// It has begun.
    Started,
    /// It set its zero: it takes so much off its loads from here on.
    Tare(&'a str),
    /// It does not do what it was told.
    Refused(&'a str),
    /// The test is over.
    End,
    /// Words.
    Other,
}

/// A line without its end: a note, nothing, or a sample.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Line<'a> {
    /// Nothing in it.
    Blank,
    /// Something about the source.
    Note(Note<'a>),
    /// Anything else: to be read as a sample.
    Data(&'a str),
}

/// Tells what kind of line it is.
///
/// # Errors
/// [`Complaint::NotText`].
pub(crate) fn line(bytes: &[u8]) -> Result<Line<'_>, Complaint> {
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let text = std::str::from_utf8(bytes).map_err(|_| Complaint::NotText)?;
    match text.trim().strip_prefix('#') {
        Some(words) => Ok(Line::Note(note(words.trim()))),
        None if text.trim().is_empty() => Ok(Line::Blank),
        // Not trimmed: a tabulator at the end may stand before a last, empty field.
        None => Ok(Line::Data(text)),
    }
}

fn note(words: &str) -> Note<'_> {
    let (first, rest) = words.split_once(' ').unwrap_or((words, ""));
    let rest = rest.trim();
    match (first, rest) {
        ("columns", columns) if !columns.is_empty() => Note::Columns(columns),
        ("separator", separator) if !separator.is_empty() => Note::Separator(separator),
        ("test", test) if !test.is_empty() => Note::Test(test),
        ("resume", "from-line") => Note::ResumeFromLine,
        ("checksum", "crc32c") => Note::Sealed,
        ("from", number) => number.parse().map_or(Note::Other, Note::From),
        ("obeys", words) => Note::Obeys(words),
        ("waiting", "") => Note::Waiting,
        ("started", "") => Note::Started,
        ("tare", load) if !load.is_empty() => Note::Tare(load),
        ("refused:", why) => Note::Refused(why),
        ("end", _) => Note::End,
        _ => Note::Other,
    }
}

/// Reads a sample.
///
/// # Errors
/// The first [`Complaint`] about it.
pub(crate) fn sample(text: &str, format: &Format) -> Result<Sample, Complaint> {
    let fields = format.columns.fields();
    let texts = format.separator.split(text);
    if texts.len() != fields.len() {
        let comma = format.separator == Separator::Comma && texts.len() == 2 * fields.len();
        return Err(Complaint::FieldCount {
            expected: fields.len(),
            found: texts.len(),
            comma,
        });
    }
    let mut sample = Sample {
        clock_ns: None,
        values: Vec::with_capacity(fields.len()),
    };
    for (index, (field, text)) in fields.iter().zip(texts).enumerate() {
        let name = || format.columns.name(index).to_owned();
        match field {
            Field::Skipped => {}
            Field::Value(_) => sample.values.push(number(text, &name)?),
            Field::Elapsed(unit) => sample.clock_ns = Some(clock(text, *unit, &name)?),
        }
    }
    Ok(sample)
}

fn clock(text: &str, unit: ClockUnit, column: &dyn Fn() -> String) -> Result<i64, Complaint> {
    // Whole numbers stay whole: a double cannot count the nanoseconds since 1970.
    if let Ok(whole) = text.trim().parse::<i64>()
        && let Some(nanoseconds) = whole.checked_mul(unit.nanoseconds() as i64)
    {
        return Ok(nanoseconds);
    }
    let nanoseconds = number(text, column)? * unit.nanoseconds();
    if nanoseconds.abs() > CLOCK_NANOSECONDS_MAX {
        return Err(Complaint::NotFinite {
            column: column(),
            text: quoted(text),
        });
    }
    Ok(nanoseconds.round() as i64)
}

fn number(text: &str, column: &dyn Fn() -> String) -> Result<f64, Complaint> {
    let text = text.trim();
    let text = text
        .strip_prefix('"')
        .and_then(|text| text.strip_suffix('"'))
        .unwrap_or(text);
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        Ok(_) => Err(Complaint::NotFinite {
            column: column(),
            text: quoted(text),
        }),
        Err(_) => {
            let pointed = text.replacen(',', ".", 1);
            Err(if pointed != text && pointed.parse::<f64>().is_ok() {
                Complaint::DecimalComma {
                    column: column(),
                    hint: quoted(&pointed),
                }
            } else {
                Complaint::NoNumber {
                    column: column(),
                    text: quoted(text),
                }
            })
        }
    }
}

fn quoted(text: &str) -> String {
    text.chars()
        .take(QUOTED_CHARS)
        .collect::<String>()
        .escape_debug()
        .to_string()
}

/// Cuts bytes into lines as they arrive.
#[derive(Debug, Default)]
pub(crate) struct Splitter {
    part: Vec<u8>,
    /// Bytes of the unfinished line, those that were dropped included.
    pending: u64,
}

/// A whole line.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct RawLine {
    /// Its bytes without the line's end; none: it was too long.
    pub(crate) bytes: Option<Vec<u8>>,
    /// Bytes it took in the source, its end included.
    pub(crate) length: u64,
}

impl Splitter {
    /// Takes bytes; gives the lines that ended in them.
    pub(crate) fn take(&mut self, bytes: &[u8]) -> Vec<RawLine> {
        let mut lines = Vec::new();
        for piece in bytes.split_inclusive(|byte| *byte == b'\n') {
            self.pending += piece.len() as u64;
            let content = piece.strip_suffix(b"\n").unwrap_or(piece);
            // One byte more than allowed is kept: it is how a line that is too long shows.
            let room = (LINE_BYTES_MAX + 1).saturating_sub(self.part.len());
            self.part.extend(content.iter().take(room));
            if piece.ends_with(b"\n") {
                lines.extend(self.rest());
            }
        }
        lines
    }

    /// What is left without a line's end.
    pub(crate) fn rest(&mut self) -> Option<RawLine> {
        let length = std::mem::take(&mut self.pending);
        let mut bytes = std::mem::take(&mut self.part);
        if bytes.ends_with(b"\r") {
            bytes.pop();
        }
        (length > 0).then(|| RawLine {
            bytes: (bytes.len() <= LINE_BYTES_MAX).then_some(bytes),
            length,
        })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn format(columns: &str, separator: Separator) -> Format {
        Format {
            columns: columns.parse().unwrap(),
            separator,
            sealed: false,
        }
    }

    fn bench() -> Format {
        format("elapsed:us,deflection:mm,load:N", Separator::Space)
    }

    #[test]
    fn a_line_becomes_a_sample_in_its_declared_units() {
        let expected = Sample {
            clock_ns: Some(1_500_000),
            values: vec![12.5, -0.3],
        };
        assert_eq!(sample("1500  12.50\t-0.3", &bench()).unwrap(), expected);
        let wall = format("elapsed:ns,load:N", Separator::Space);
        assert_eq!(
            sample("1700000000123456789 2", &wall).unwrap().clock_ns,
            Some(1_700_000_000_123_456_789)
        );
        let csv = format("load:N,-,elapsed:ms,deflection:mm", Separator::Comma);
        let expected = Sample {
            clock_ns: Some(1_500_000),
            values: vec![-0.3, 12.5],
        };
        assert_eq!(sample("\"-0.3\",a note , 1.5,12.5", &csv).unwrap(), expected);
    }

    #[test]
    fn every_fault_of_a_line_is_named() {
        let fault = |text: &str| sample(text, &bench()).unwrap_err().to_string();
        assert_eq!(fault("1 2"), "2 fields instead of 3");
        assert_eq!(fault("1 2 x"), "load \"x\" is no number");
        assert_eq!(fault("1 NaN 3"), "deflection \"NaN\" is not a finite number");
        assert_eq!(fault("1 2 1e999"), "load \"1e999\" is not a finite number");
        assert_eq!(fault("1e30 2 3"), "elapsed \"1e30\" is not a finite number");
        assert_eq!(
            fault("1 2,5 3"),
            "deflection has a decimal comma; the decimal sign is a point: write 2.5"
        );
        let csv = format("deflection:mm,load:N", Separator::Comma);
        assert!(sample("1,5,3,25", &csv).unwrap_err().is_decimal_comma());
        assert_eq!(line(b"1 2 \xff"), Err(Complaint::NotText));
    }

    #[test]
    fn notes_blanks_and_byte_order_marks_are_no_samples() {
        assert_eq!(
            line(b"\xEF\xBB\xBF# columns load:N"),
            Ok(Line::Note(Note::Columns("load:N")))
        );
        assert_eq!(line(b"# end 12"), Ok(Line::Note(Note::End)));
        assert_eq!(line(b"#resume from-line"), Ok(Line::Note(Note::ResumeFromLine)));
        assert_eq!(line(b"# from 70"), Ok(Line::Note(Note::From(70))));
        assert_eq!(line(b"# columns"), Ok(Line::Note(Note::Other)));
        assert_eq!(line(b" \t"), Ok(Line::Blank));
    }

    proptest! {
        #[test]
        fn no_bytes_upset_the_decoder(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
            let mut splitter = Splitter::default();
            let mut lines = splitter.take(&bytes);
            lines.extend(splitter.rest());
            prop_assert_eq!(lines.iter().map(|line| line.length).sum::<u64>(), bytes.len() as u64);
            for raw in lines {
                if let Ok(Line::Data(text)) = line(&raw.bytes.unwrap())
                    && let Ok(sample) = sample(text, &bench())
                {
                    prop_assert!(sample.values.len() == 2 && sample.values.iter().all(|value| value.is_finite()));
                }
            }
        }

        #[test]
        fn nearly_right_lines_never_give_what_is_not_finite(text in "[0-9eE+.,;naifNI \t\"-]{0,40}") {
            for separator in [Separator::Space, Separator::Comma, Separator::Semicolon, Separator::Tab] {
                match sample(&text, &format("elapsed:s,deflection:mm,load:N", separator)) {
                    Ok(sample) => prop_assert!(sample.values.iter().all(|value| value.is_finite())),
                    Err(complaint) => prop_assert!(!complaint.to_string().is_empty()),
                }
            }
        }

        #[test]
        fn what_is_printed_reads_back_to_the_last_bit(clock in -1_000_000_000_000i64..1_000_000_000_000, load in -1e6f64..1e6) {
            let read = sample(&format!("{clock} 0 {load}"), &bench()).unwrap();
            prop_assert_eq!((read.clock_ns, read.values[1]), (Some(clock * 1000), load));
        }

        #[test]
        fn cuts_between_arrivals_change_nothing(bytes in "([ -~]{0,20}(\r?\n)?){0,20}", cut in 0usize..400) {
            let bytes = bytes.as_bytes();
            let (first, second) = bytes.split_at(cut.min(bytes.len()));
            let (mut whole, mut parts) = (Splitter::default(), Splitter::default());
            let at_once = whole.take(bytes);
            let mut in_two = parts.take(first);
            in_two.extend(parts.take(second));
            prop_assert_eq!(at_once, in_two);
        }
    }

    #[test]
    fn an_endless_line_is_dropped_and_the_next_one_read() {
        let mut splitter = Splitter::default();
        for _ in 0..1000 {
            assert!(splitter.take(&[b'7'; 1000]).is_empty());
        }
        assert!(splitter.part.len() <= LINE_BYTES_MAX + 1);
        let lines = splitter.take(b"\n1 2 3\n");
        assert_eq!((lines[0].bytes.as_ref(), lines[0].length), (None, 1_000_001));
        assert_eq!(lines[1].bytes.as_deref(), Some(b"1 2 3".as_slice()));
    }
}
