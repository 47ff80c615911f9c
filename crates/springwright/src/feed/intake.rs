//! From lines to drafts of blocks: counts, cuts, notices when the clock went back. Reads and waits for nothing.

use wire::v1;

use super::decode::{self, Complaint, Format, Line, Note, RawLine, Sample, Splitter};
use super::seal;

/// Complaints kept word for word; the rest are only counted.
pub(crate) const COMPLAINTS_KEPT: usize = 5;
/// Damaged lines that cut the block they stand in, so that the gap has its exact place. Beyond so many the line is
/// noise, and the gap is told before the block it fell into.
const EXACT_GAPS_MAX: u64 = 100;
/// Data lines without a single sample among them after which the format must be wrong.
const HOPELESS_LINES: u64 = 100;

/// Where the source stands after a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Place {
    /// Lines, notes and blanks included.
    pub(crate) line: u64,
    /// Bytes.
    pub(crate) offset: u64,
    /// Lines that were neither notes nor blank, damaged ones included.
    pub(crate) data_lines: u64,
    /// Of these, damaged ones.
    pub(crate) malformed: u64,
}

/// Where the tester's clock stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Clock {
    /// The segment.
    pub(crate) segment: i32,
    /// Reading at the segment's first sample.
    pub(crate) zero_ns: Option<i64>,
    /// Latest reading.
    pub(crate) latest_ns: Option<i64>,
}

/// What is missing before a draft.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Missing {
    /// Samples known to be lost.
    pub(crate) lost: u64,
    /// Whether more may be lost than is known.
    pub(crate) uncounted: bool,
    /// Why, most recent last.
    pub(crate) causes: Vec<String>,
}

/// Causes named in one gap: a gap's words are bounded.
const CAUSES_MAX: usize = 3;

impl Missing {
    /// Adds lost samples.
    pub(crate) fn add(&mut self, lost: Option<u64>, cause: &str) {
        self.lost += lost.unwrap_or(0);
        self.uncounted |= lost.is_none();
        if self.causes.len() < CAUSES_MAX && !self.causes.iter().any(|known| known == cause) {
            self.causes.push(cause.to_owned());
        }
    }

    /// Whether nothing is missing.
    pub(crate) fn is_nothing(&self) -> bool {
        self.causes.is_empty()
    }

    /// Takes over what was missing before something that is missing itself.
    pub(crate) fn prepend(&mut self, before: Self) {
        let after = std::mem::replace(self, before);
        self.lost += after.lost;
        self.uncounted |= after.uncounted;
        for cause in after.causes {
            self.add(Some(0), &cause);
        }
    }
}

/// Samples of one segment, on their way to become a block.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Draft {
    /// From the segment's start; empty: no clock.
    pub(crate) elapsed_ns: Vec<i64>,
    /// One for each column.
    pub(crate) columns: Vec<Vec<f64>>,
    /// What is missing before.
    pub(crate) missing: Missing,
    /// The tare from its first sample on, where that changed.
    pub(crate) tare: Option<v1::TareMark>,
    /// Where the source stands after the last sample.
    pub(crate) place: Place,
    /// Where its clock stands then.
    pub(crate) clock: Clock,
}

impl Draft {
    /// Samples in it.
    pub(crate) fn len(&self) -> usize {
        self.columns.first().map_or(0, Vec::len)
    }
}

/// Why the intake ends the feed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Unreadable {
    /// The source is written with decimal commas.
    DecimalComma {
        /// Where it first shows.
        line: u64,
        /// What was found.
        complaint: Complaint,
    },
    /// No line of the first many could be read.
    NothingReadable {
        /// The first line.
        line: u64,
        /// What was wrong with it.
        complaint: Complaint,
    },
    /// More damaged lines than allowed.
    TooManyMalformed {
        /// The limit.
        limit: u64,
    },
}

/// What a source that can be told says of itself between its readings.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Event {
    /// It waits to be started.
    Waiting,
    /// It has begun.
    Started,
    /// It set its zero.
    Tare(v1::TareMark),
    /// It does not do what it was told, and why.
    Refused(String),
}

/// A damaged line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Damaged {
    /// Its number, from 1.
    pub(crate) line: u64,
    /// What is wrong with it.
    pub(crate) complaint: Complaint,
}

/// What an intake is told from the start.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Rules {
    /// How lines are read.
    pub(crate) format: Format,
    /// Lines at the start that are passed over.
    pub(crate) skip_lines: u64,
    /// Samples in a block, at most.
    pub(crate) block_samples: usize,
    /// Damaged lines, at most.
    pub(crate) malformed_max: Option<u64>,
}

/// Turns arriving bytes into drafts.
#[derive(Debug)]
pub(crate) struct Intake {
    rules: Rules,
    splitter: Splitter,
    place: Place,
    /// Before the line at hand: whatever stops there reads that line again.
    before: Place,
    clock: Clock,
    draft: Draft,
    samples: u64,
    complaints: Vec<Damaged>,
    events: Vec<Event>,
    ended: bool,
    /// The end was said before every reading had come.
    short: bool,
    /// The last line that could not be told from noise.
    suspect: Option<String>,
    /// Gaps told by numbers.
    gaps: u64,
}

impl Intake {
    /// Begins at a place; the first line, unless a recording is taken up again.
    pub(crate) fn new(rules: Rules, place: Place, clock: Clock) -> Self {
        let columns = rules.format.columns.recorded().len();
        Self {
            draft: Draft {
                columns: vec![Vec::new(); columns],
                ..Draft::default()
            },
            rules,
            splitter: Splitter::default(),
            place,
            before: place,
            clock,
            samples: 0,
            complaints: Vec::new(),
            events: Vec::new(),
            ended: false,
            short: false,
            suspect: None,
            gaps: 0,
        }
    }

    /// Where the source stands after the last whole line.
    pub(crate) fn place(&self) -> Place {
        self.place
    }

    /// Whether the source said that the test is over.
    pub(crate) fn ended(&self) -> bool {
        self.ended
    }

    /// Whether the source said that the test is over and some of its readings never came: it can say them again.
    pub(crate) fn ended_short(&mut self) -> bool {
        std::mem::take(&mut self.short)
    }

    /// Takes the test for over.
    pub(crate) fn end(&mut self) {
        self.ended = true;
    }

    /// Whether there was a sample.
    pub(crate) fn any_sample(&self) -> bool {
        let damaged = if self.rules.format.sealed {
            0
        } else {
            self.place.malformed
        };
        self.place.data_lines > damaged
    }

    /// What the source said of itself since this was asked last.
    pub(crate) fn events(&mut self) -> Vec<Event> {
        std::mem::take(&mut self.events)
    }

    /// The first damaged lines.
    pub(crate) fn complaints(&self) -> &[Damaged] {
        &self.complaints
    }

    /// Takes bytes; gives the drafts that became full.
    ///
    /// # Errors
    /// [`Unreadable`] where going on would record nothing but damage.
    pub(crate) fn take(&mut self, bytes: &[u8]) -> Result<Vec<Draft>, Unreadable> {
        let mut full = Vec::new();
        for raw in self.splitter.take(bytes) {
            if self.ended {
                break;
            }
            self.line(&raw, &mut full)?;
        }
        Ok(full)
    }

    /// The source ended. A last line without its end counts only where nothing can have cut it off.
    ///
    /// # Errors
    /// As [`Intake::take`].
    pub(crate) fn source_ended(&mut self, last_line_counts: bool) -> Result<Vec<Draft>, Unreadable> {
        let mut full = Vec::new();
        match self.splitter.rest() {
            Some(raw) if last_line_counts => self.line(&raw, &mut full)?,
            Some(raw) if !self.ended => {
                self.before = self.place;
                self.place.line += 1;
                self.place.offset += raw.length;
                self.place.data_lines += 1;
                self.damaged(Complaint::Unfinished, &mut full)?;
            }
            Some(_) | None => {}
        }
        full.extend(self.cut());
        Ok(full)
    }

    /// Forgets the unfinished line: the source will say it again.
    pub(crate) fn line_will_be_repeated(&mut self) {
        self.splitter = Splitter::default();
    }

    /// The line to the source was down and whatever it said meanwhile is lost: a new segment.
    pub(crate) fn line_restarted(&mut self, cause: &str) -> Option<Draft> {
        let before = self.cut();
        self.splitter = Splitter::default();
        // Before the first sample there is no segment to part from.
        if self.samples > 0 || self.clock.latest_ns.is_some() || self.place.data_lines > 0 {
            self.next_segment();
            self.draft.missing.add(None, cause);
        }
        before
    }

    /// What there is of the present draft.
    pub(crate) fn cut(&mut self) -> Option<Draft> {
        if self.draft.len() == 0 {
            return None;
        }
        let empty = Draft {
            columns: vec![Vec::new(); self.draft.columns.len()],
            ..Draft::default()
        };
        let mut draft = std::mem::replace(&mut self.draft, empty);
        draft.clock = self.clock;
        draft.place = self.place;
        Some(draft)
    }

    fn line(&mut self, raw: &RawLine, full: &mut Vec<Draft>) -> Result<(), Unreadable> {
        self.before = self.place;
        self.place.line += 1;
        self.place.offset += raw.length;
        if self.place.line <= self.rules.skip_lines {
            return Ok(());
        }
        if self.rules.format.sealed {
            return self.sealed_line(raw.bytes.as_deref(), full);
        }
        let read = raw.bytes.as_deref().ok_or(Complaint::TooLong).and_then(decode::line);
        match read {
            Ok(Line::Blank) => Ok(()),
            Ok(Line::Note(note)) => {
                self.note(note, full);
                Ok(())
            }
            Ok(Line::Data(text)) => {
                self.place.data_lines += 1;
                match decode::sample(text, &self.rules.format) {
                    Ok(sample) => self.sample(&sample, full),
                    Err(complaint) => self.damaged(complaint, full)?,
                }
                Ok(())
            }
            Err(complaint) => {
                self.place.data_lines += 1;
                self.damaged(complaint, full)
            }
        }
    }

    /// A line that says which reading it is, and whether it came as it was sent: what is missing is counted by the numbers,
    /// and what comes again is passed over.
    fn sealed_line(&mut self, bytes: Option<&[u8]>, full: &mut Vec<Draft>) -> Result<(), Unreadable> {
        let Some(bytes) = bytes else {
            return self.broken(Complaint::TooLong);
        };
        if bytes.is_empty() {
            return Ok(());
        }
        let Some(line) = seal::open(bytes) else {
            return self.broken(Complaint::Checksum);
        };
        match decode::line(line.text) {
            Ok(Line::Blank) => Ok(()),
            Ok(Line::Note(Note::End)) if line.number > self.place.data_lines => {
                self.short = true;
                Ok(())
            }
            Ok(Line::Note(note)) => {
                self.note(note, full);
                Ok(())
            }
            Ok(Line::Data(_)) if line.number <= self.place.data_lines => Ok(()),
            Ok(Line::Data(text)) => {
                self.missed(line.number - self.place.data_lines - 1, full);
                self.place.data_lines = line.number;
                match decode::sample(text, &self.rules.format) {
                    Ok(sample) => self.sample(&sample, full),
                    Err(complaint) => self.damaged(complaint, full)?,
                }
                Ok(())
            }
            Err(complaint) => self.broken(complaint),
        }
    }

    /// A line that cannot be told from noise; whether a reading was in it, the next number says.
    fn broken(&mut self, complaint: Complaint) -> Result<(), Unreadable> {
        self.place.malformed += 1;
        self.within_limit()?;
        if self.samples == 0 && self.place.malformed >= HOPELESS_LINES {
            return Err(self.hopeless(complaint));
        }
        self.suspect = Some(format!("line {}: {complaint}", self.place.line));
        self.complain(complaint);
        Ok(())
    }

    /// Readings between the last one and this one that did not come.
    fn missed(&mut self, count: u64, full: &mut Vec<Draft>) {
        let suspect = self.suspect.take();
        if count == 0 {
            return;
        }
        self.gaps += 1;
        if self.gaps <= EXACT_GAPS_MAX {
            full.extend(self.cut_before_this_line());
        }
        let cause = suspect.unwrap_or_else(|| "readings that did not come".to_owned());
        self.draft.missing.add(Some(count), &cause);
    }

    fn within_limit(&self) -> Result<(), Unreadable> {
        match self.rules.malformed_max {
            Some(limit) if self.place.malformed > limit => Err(Unreadable::TooManyMalformed { limit }),
            Some(_) | None => Ok(()),
        }
    }

    fn hopeless(&self, complaint: Complaint) -> Unreadable {
        let line = self.place.line;
        let first = self.complaints.first().cloned().unwrap_or(Damaged { line, complaint });
        Unreadable::NothingReadable {
            line: first.line,
            complaint: first.complaint,
        }
    }

    fn complain(&mut self, complaint: Complaint) {
        if self.complaints.len() < COMPLAINTS_KEPT {
            self.complaints.push(Damaged {
                line: self.place.line,
                complaint,
            });
        }
    }

    fn note(&mut self, note: Note<'_>, full: &mut Vec<Draft>) {
        match note {
            Note::End => self.ended = true,
            Note::Waiting => self.events.push(Event::Waiting),
            Note::Started => self.events.push(Event::Started),
            Note::Refused(why) => self.events.push(Event::Refused(why.to_owned())),
            Note::Tare(load) => {
                let Some(mark) = self.zeroed(load) else { return };
                // Readings of two zeros never share a block.
                full.extend(self.cut());
                self.draft.tare = Some(mark);
                self.events.push(Event::Tare(mark));
            }
            Note::Columns(_)
            | Note::Separator(_)
            | Note::Test(_)
            | Note::ResumeFromLine
            | Note::From(_)
            | Note::Sealed
            | Note::Obeys(_)
            | Note::Other => {}
        }
    }

    /// The mark of a source that takes a load off its own readings; words that are no load are only words.
    fn zeroed(&self, load: &str) -> Option<v1::TareMark> {
        let load = load.parse::<f64>().ok().filter(|load| load.is_finite())?;
        let columns = self.rules.format.columns.recorded();
        let unit = columns.iter().find_map(|column| match column.unit {
            Some(v1::column::Unit::Force(unit)) => Some(unit),
            _ => None,
        })?;
        let force = |value| v1::Force {
            value: Some(value),
            unit,
        };
        Some(v1::TareMark {
            load: Some(force(0.0)),
            zeroed_load: Some(force(load)),
        })
    }

    fn sample(&mut self, sample: &Sample, full: &mut Vec<Draft>) {
        if let (Some(now), Some(latest)) = (sample.clock_ns, self.clock.latest_ns)
            && now < latest
        {
            full.extend(self.cut_before_this_line());
            self.next_segment();
            self.draft.missing.add(None, "the tester's clock went back");
        }
        if let Some(now) = sample.clock_ns {
            let zero = *self.clock.zero_ns.get_or_insert(now);
            self.clock.latest_ns = Some(now);
            self.draft.elapsed_ns.push(now.saturating_sub(zero));
        }
        for (column, value) in self.draft.columns.iter_mut().zip(&sample.values) {
            column.push(*value);
        }
        self.samples += 1;
        if self.draft.len() >= self.rules.block_samples {
            full.extend(self.cut());
        }
    }

    /// The draft up to the line before: taken up again there, this line and what it means are not forgotten.
    fn cut_before_this_line(&mut self) -> Option<Draft> {
        let mut draft = self.cut()?;
        draft.place = self.before;
        Some(draft)
    }

    fn next_segment(&mut self) {
        self.clock = Clock {
            segment: self.clock.segment.saturating_add(1),
            zero_ns: None,
            latest_ns: None,
        };
    }

    fn damaged(&mut self, complaint: Complaint, full: &mut Vec<Draft>) -> Result<(), Unreadable> {
        let line = self.place.line;
        self.place.malformed += 1;
        if self.samples == 0 && self.place.malformed == self.place.data_lines {
            if complaint.is_decimal_comma() {
                return Err(Unreadable::DecimalComma { line, complaint });
            }
            if self.place.malformed >= HOPELESS_LINES {
                return Err(self.hopeless(complaint));
            }
        }
        self.within_limit()?;
        if self.place.malformed <= EXACT_GAPS_MAX {
            full.extend(self.cut_before_this_line());
        }
        self.draft.missing.add(Some(1), &format!("line {line}: {complaint}"));
        self.complain(complaint);
        Ok(())
    }
}

#[cfg(test)]
mod tests;
