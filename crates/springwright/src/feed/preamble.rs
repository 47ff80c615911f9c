//! What a source says about itself before its first sample, against what the command line says about it.

use std::fmt;

use wire::v1::instruction::Action;

use super::columns::{Columns, ColumnsError};
use super::decode::{self, Complaint, Format, Line, Note, Separator, Splitter};
use super::seal;

/// Bytes in which a source must have come to its first data.
const PREAMBLE_BYTES_MAX: usize = 64 * 1024;

/// What the command line says about a source's lines.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Declared {
    /// Columns and units.
    pub(crate) columns: Option<Columns>,
    /// What stands between them.
    pub(crate) separator: Option<Separator>,
    /// What stands between them where nobody says.
    pub(crate) separator_default: Separator,
    /// Lines at the start that are passed over.
    pub(crate) skip_lines: u64,
    /// Whether each line ends with number and checksum.
    pub(crate) sealed: bool,
    /// Whether it is known to name its test first: what comes before is left over from another connection.
    pub(crate) named: bool,
}

/// What is known of a source before its first sample.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Preamble {
    /// How its lines are read.
    pub(crate) format: Format,
    /// Whether it can leave out lines on request.
    pub(crate) resumes: bool,
    /// Which test it says it is; empty: it does not say.
    pub(crate) test: String,
    /// Lines it says it left out.
    pub(crate) from: u64,
    /// What it does when it is told to.
    pub(crate) obeys: Vec<Action>,
    /// Whether a line of it was damaged, as its checksum tells.
    damaged: bool,
}

impl Preamble {
    /// Whether it may have said more than was understood.
    pub(crate) fn is_damaged(&self) -> bool {
        self.damaged
    }
}

/// Why a source cannot be read at all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum PreambleError {
    /// Nobody says what the columns are.
    NoColumns,
    /// The source's own header cannot be used.
    Columns(ColumnsError),
    /// The source's own separator is none.
    Separator(String),
    /// Source and command line disagree.
    Contradiction {
        /// By the source.
        source: String,
        /// By the command line.
        declared: String,
    },
    /// Its numbers are written with commas.
    DecimalComma {
        /// The line.
        line: u64,
        /// What was found.
        complaint: Complaint,
    },
}

impl fmt::Display for PreambleError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoColumns => write!(
                f,
                "nobody says what the columns are; add --columns \"elapsed:us,deflection:mm,load:N\" with the units as they are"
            ),
            Self::Columns(error) => write!(f, "the source's own header: {error}"),
            Self::Separator(name) => write!(
                f,
                "the source's own header: \"{name}\" is no separator; known: space, comma, semicolon, tab"
            ),
            Self::Contradiction { source, declared } => write!(
                f,
                "the source says its columns are {source}, the command line says {declared}; one of them is wrong"
            ),
            Self::DecimalComma { line, complaint } => write!(f, "line {line}: {complaint}"),
        }
    }
}

impl std::error::Error for PreambleError {}

/// What the bytes up to here say about the source; none: its first data is still to come.
///
/// # Errors
/// [`PreambleError`].
pub(crate) fn preamble(bytes: &[u8], ended: bool, declared: &Declared) -> Result<Option<Preamble>, PreambleError> {
    let mut said = Said::default();
    let mut first = None;
    let mut splitter = Splitter::default();
    let mut lines = splitter.take(bytes);
    if ended || bytes.len() >= PREAMBLE_BYTES_MAX {
        lines.extend(splitter.rest());
    }
    for (number, raw) in (1u64..).zip(&lines) {
        if number <= declared.skip_lines {
            continue;
        }
        let opened = raw.bytes.as_deref().and_then(seal::open);
        let text = match (&opened, declared.sealed) {
            (Some(opened), _) => Some(opened.text),
            // Damage among the notes: others may still say enough.
            (None, true) => {
                said.damaged = true;
                continue;
            }
            (None, false) => raw.bytes.as_deref(),
        };
        match text.map(decode::line) {
            Some(Ok(Line::Blank)) => {}
            Some(Ok(Line::Note(Note::End | Note::Waiting | Note::Started))) => {
                first = Some((number, None));
                break;
            }
            Some(Ok(Line::Note(note))) => said.note(&note)?,
            Some(Ok(Line::Data(_))) if declared.sealed && declared.named && said.test.is_empty() => said.damaged = true,
            Some(Ok(Line::Data(text))) => {
                first = Some((number, Some(text)));
                break;
            }
            // Damage is for the intake to count.
            Some(Err(_)) | None => {
                first = Some((number, None));
                break;
            }
        }
    }
    let enough = ended || bytes.len() >= PREAMBLE_BYTES_MAX;
    let Some((number, text)) = first.or(enough.then_some((0, None))) else {
        return Ok(None);
    };
    let preamble = said.decide(declared)?;
    match text.map(|text| decode::sample(text, &preamble.format)) {
        Some(Err(complaint)) if complaint.is_decimal_comma() => Err(PreambleError::DecimalComma {
            line: number,
            complaint,
        }),
        Some(_) | None => Ok(Some(preamble)),
    }
}

#[derive(Debug, Default)]
struct Said {
    columns: Option<Columns>,
    separator: Option<Separator>,
    resumes: bool,
    sealed: bool,
    test: String,
    from: u64,
    obeys: Vec<Action>,
    damaged: bool,
}

impl Said {
    fn note(&mut self, note: &Note<'_>) -> Result<(), PreambleError> {
        match note {
            Note::Columns(text) => self.columns = Some(text.parse().map_err(PreambleError::Columns)?),
            Note::Separator(name) => {
                let separator = Separator::named(name).ok_or_else(|| PreambleError::Separator((*name).to_owned()))?;
                self.separator = Some(separator);
            }
            Note::Test(test) => self.test = (*test).to_owned(),
            Note::ResumeFromLine => self.resumes = true,
            Note::From(from) => self.from = *from,
            Note::Obeys(words) => self.obeys = obeyed(words),
            Note::Sealed => self.sealed = true,
            Note::End | Note::Waiting | Note::Started | Note::Tare(_) | Note::Refused(_) | Note::Other => {}
        }
        Ok(())
    }

    fn decide(self, declared: &Declared) -> Result<Preamble, PreambleError> {
        let columns = match (self.columns, &declared.columns) {
            (Some(source), Some(declared)) if source.fields() != declared.fields() => {
                return Err(PreambleError::Contradiction {
                    source: source.to_string(),
                    declared: declared.to_string(),
                });
            }
            (Some(columns), _) => columns,
            (None, Some(columns)) => columns.clone(),
            (None, None) => return Err(PreambleError::NoColumns),
        };
        let separator = declared
            .separator
            .or(self.separator)
            .unwrap_or(declared.separator_default);
        Ok(Preamble {
            format: Format {
                columns,
                separator,
                sealed: declared.sealed || self.sealed,
            },
            resumes: self.resumes,
            test: self.test,
            from: self.from,
            obeys: self.obeys,
            damaged: self.damaged,
        })
    }
}

/// What a source's own words for its commands mean; others may follow one day.
fn obeyed(words: &str) -> Vec<Action> {
    let meant = |word| match word {
        "start" => Some(Action::Start),
        "tare" => Some(Action::TareMark),
        "stop" => Some(Action::Stop),
        _ => None,
    };
    words.split_ascii_whitespace().filter_map(meant).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn declared(columns: Option<&str>) -> Declared {
        Declared {
            columns: columns.map(|text| text.parse().unwrap()),
            separator: None,
            separator_default: Separator::Space,
            skip_lines: 0,
            sealed: false,
            named: false,
        }
    }

    #[test]
    fn a_source_that_says_its_columns_needs_nobody_else_to() {
        let text = b"# test ab12\n# columns deflection:mm,load:N\n# separator tab\n# resume from-line\n# from 7\n1\t";
        assert_eq!(preamble(text, false, &declared(None)), Ok(None));
        let read = preamble(&[text.as_slice(), b"2\n"].concat(), false, &declared(None))
            .unwrap()
            .unwrap();
        assert_eq!(
            (read.format.separator, read.resumes, read.test.as_str(), read.from),
            (Separator::Tab, true, "ab12", 7)
        );
    }

    #[test]
    fn nobody_saying_the_units_is_refused_and_so_is_a_contradiction() {
        assert_eq!(
            preamble(b"1 2\n", false, &declared(None)),
            Err(PreambleError::NoColumns)
        );
        let contradiction = preamble(b"# columns load:lbf\n1\n", false, &declared(Some("load:N"))).unwrap_err();
        assert!(matches!(contradiction, PreambleError::Contradiction { .. }));
        assert!(
            preamble(b"1 2\n", false, &declared(Some("deflection:mm,load:N")))
                .unwrap()
                .is_some()
        );
    }

    #[test]
    fn decimal_commas_are_refused_before_anything_is_recorded() {
        let csv = Declared {
            separator: Some(Separator::Semicolon),
            skip_lines: 1,
            ..declared(Some("deflection:mm,load:N"))
        };
        let fault = preamble(b"s;F\n1,5;3\n", false, &csv).unwrap_err().to_string();
        assert_eq!(
            fault,
            "line 2: deflection has a decimal comma; the decimal sign is a point: write 1.5"
        );
    }
}
