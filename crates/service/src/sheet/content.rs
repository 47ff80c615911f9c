//! What stands on a sheet, in finished words: no unit is gained or lost from here on.

/// Everything a sheet says.
#[derive(Debug, Clone, Default)]
pub struct JobSheet {
    /// Who did the work.
    pub shop: String,
    /// Whose machine it is.
    pub rider: String,
    /// Which machine.
    pub machine: String,
    /// What the rider said was wrong.
    pub asked: String,
    /// How it is ridden, in the shop's words.
    pub ridden: String,
    /// Date, mass, use and the like.
    pub facts: Vec<Fact>,
    /// As found and as left, line by line.
    pub settings: Vec<Setting>,
    /// What was concluded, in the order of the work.
    pub verdicts: Vec<Verdict>,
    /// By what it was concluded: the state judged, the rules.
    pub judged: String,
    /// What is not known or not shown, and what would show it.
    pub not_known: Vec<String>,
    /// What was done, in the order it was entered.
    pub work: Vec<String>,
    /// Springs and stacks.
    pub parts: Vec<Part>,
    /// Plots.
    pub pictures: Vec<Picture>,
    /// What was found besides, hazards among it.
    pub concerns: Vec<Concern>,
    /// What to heed on the first ride and after.
    pub cautions: Vec<String>,
    /// What was taken for true.
    pub assumptions: Vec<Assumed>,
    /// The tuner's own words.
    pub notes: String,
    /// Records it was made from, with their revisions.
    pub made_from: Vec<String>,
    /// When it was handed over.
    pub written: Option<When>,
}

/// A moment, in UTC.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct When {
    /// Year of the common era.
    pub year: u16,
    /// 1 to 12.
    pub month: u8,
    /// 1 to 31.
    pub day: u8,
    /// 0 to 23.
    pub hour: u8,
    /// 0 to 59.
    pub minute: u8,
}

/// One figure with what it is.
#[derive(Debug, Clone, Default)]
pub struct Fact {
    /// What.
    pub what: String,
    /// How much, with its unit and, where it matters, its origin.
    pub figure: String,
}

/// One line of the comparison; an empty figure was not taken.
#[derive(Debug, Clone, Default)]
pub struct Setting {
    /// What was read or set.
    pub what: String,
    /// Front, as found.
    pub front_found: String,
    /// Front, as left.
    pub front_left: String,
    /// Rear, as found.
    pub rear_found: String,
    /// Rear, as left.
    pub rear_left: String,
}

/// One conclusion.
#[derive(Debug, Clone, Default)]
pub struct Verdict {
    /// What to do, where, how much: "Rear: softer spring, one step".
    pub words: String,
    /// Whether somebody can be hurt while it is left.
    pub hazard: bool,
    /// How sure that is.
    pub confidence: String,
    /// Why: rule or computation, readings, thresholds.
    pub evidence: Vec<String>,
    /// What to check before.
    pub check_first: Vec<String>,
    /// What would overturn it.
    pub overturned_by: Vec<String>,
    /// What goes with it, or comes before.
    pub besides: Vec<String>,
    /// What to be careful of until it is done.
    pub cautions: Vec<String>,
}

impl Verdict {
    /// Its sentences under their words, those that hold anything.
    pub(super) fn sentences(&self) -> Vec<(&'static str, String)> {
        let sentences = [
            ("Why", self.evidence.join("; ")),
            ("Check first", self.check_first.join("; ")),
            ("With it", self.besides.join("; ")),
            ("Would overturn it", self.overturned_by.join("; ")),
            ("Caution", self.cautions.join(" ")),
        ];
        let held = sentences.into_iter().filter(|(_, words)| !words.trim().is_empty());
        held.collect()
    }

    /// What to do, with how sure that is.
    pub(super) fn head(&self) -> String {
        let hazard = if self.hazard { "Hazard: " } else { "" };
        match self.confidence.trim() {
            "" => format!("{hazard}{}", self.words),
            sure => format!("{hazard}{} (how sure: {sure})", self.words),
        }
    }
}

/// A spring, a stack, a unit.
#[derive(Debug, Clone, Default)]
pub struct Part {
    /// Which one.
    pub title: String,
    /// Its figures.
    pub facts: Vec<Fact>,
    /// Its drawing.
    pub picture: Option<Picture>,
    /// Whether a narrow column does, as of a stack.
    pub narrow: bool,
}

impl Part {
    /// Its figures in one paragraph.
    pub(super) fn facts_in_line(&self) -> String {
        let facts = self.facts.iter().map(|fact| format!("{}: {}", fact.what, fact.figure));
        facts.collect::<Vec<_>>().join("; ")
    }
}

/// A drawing or a plot.
#[derive(Debug, Clone, Default)]
pub struct Picture {
    /// What it shows.
    pub caption: String,
    /// An SVG document with a view box, drawn by this program; text in it is escaped already.
    pub svg: String,
    /// Whether it is a plot, whose lettering is made larger on paper, as on a narrow screen.
    pub plot: bool,
}

/// What was taken for true on one ground.
#[derive(Debug, Clone, Default)]
pub struct Assumed {
    /// What.
    pub what: Vec<String>,
    /// On which ground; empty: none is stated.
    pub source: String,
}

impl Assumed {
    /// `a; b; c (common practice, no source).`
    pub(super) fn words(&self) -> String {
        let what = self.what.join("; ");
        match self.source.trim() {
            "" => format!("{what}."),
            source => format!("{what} ({source})."),
        }
    }
}

/// How grave it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Gravity {
    /// Worth knowing.
    #[default]
    Note,
    /// Something is not as it should be.
    Warning,
    /// Somebody can be hurt.
    Hazard,
}

impl Gravity {
    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Note => "Note",
            Self::Warning => "Warning",
            Self::Hazard => "Hazard",
        }
    }
}

/// A legal but unwelcome result.
#[derive(Debug, Clone, Default)]
pub struct Concern {
    /// How grave.
    pub gravity: Gravity,
    /// What.
    pub message: String,
    /// What to do about it until it is mended.
    pub caution: String,
}

impl When {
    /// A moment of the API; `None` outside the common era's first ten thousand years.
    pub fn of(moment: &prost_types::Timestamp) -> Option<Self> {
        let stated = moment.to_string();
        let part = |from: usize, to: usize| stated.get(from..to)?.parse::<u16>().ok();
        let small = |from: usize, to: usize| u8::try_from(part(from, to)?).ok();
        Some(Self {
            year: part(0, 4)?,
            month: small(5, 7)?,
            day: small(8, 10)?,
            hour: small(11, 13)?,
            minute: small(14, 16)?,
        })
    }

    /// `2026-11-25`.
    pub fn day_words(self) -> String {
        let Self { year, month, day, .. } = self;
        format!("{year:04}-{month:02}-{day:02}")
    }

    /// `2026-11-25 20:09 UTC`.
    pub fn words(self) -> String {
        let Self {
            year,
            month,
            day,
            hour,
            minute,
        } = self;
        format!("{year:04}-{month:02}-{day:02} {hour:02}:{minute:02} UTC")
    }
}

impl Setting {
    /// Whether anything stands in a column.
    pub(super) fn figures(&self) -> [&str; 4] {
        [&self.front_found, &self.front_left, &self.rear_found, &self.rear_left]
    }
}

/// What is only worth knowing, in one paragraph.
pub(super) fn noted(notes: &[&Concern]) -> String {
    let said = notes.iter().map(|note| match note.caution.trim() {
        "" => ended(&note.message),
        caution => format!("{} Caution: {}", ended(&note.message), ended(caution)),
    });
    format!("Noted: {}", said.collect::<Vec<_>>().join(" "))
}

/// A sentence with its full stop.
pub(super) fn ended(sentence: &str) -> String {
    let sentence = sentence.trim();
    if sentence.ends_with(['.', '!', '?']) {
        sentence.to_owned()
    } else {
        format!("{sentence}.")
    }
}

/// Heads of the comparison's columns.
pub(super) const COLUMNS: [&str; 4] = ["Front, as found", "Front, as left", "Rear, as found", "Rear, as left"];
/// The caution of the trade, for a sheet that has none of its own.
pub(super) const CAUTION: &str = "A changed setup is untested until it is ridden: first ride slow, on a closed or quiet \
                                  road, and look at the work again afterwards. The maker's manual and the rules of the \
                                  road come first.";

impl JobSheet {
    /// What stands small at the end, a paragraph each: what is not known, what was assumed, the records.
    pub(super) fn small_print(&self) -> Vec<String> {
        let assumed: Vec<String> = self.assumptions.iter().map(Assumed::words).collect();
        let paragraphs = [
            ("Not known or not shown", self.not_known.join("; "), "."),
            ("Assumed", assumed.join(" "), ""),
            ("Made from", self.made_from.join(", "), "."),
        ];
        let held = paragraphs.into_iter().filter(|(_, words, _)| !words.trim().is_empty());
        held.map(|(what, words, end)| format!("{what}: {words}{end}")).collect()
    }

    /// What stands at the foot.
    pub(super) fn foot(&self) -> String {
        let written = self.written.map(When::words);
        written.map_or_else(|| "Springwright".to_owned(), |when| format!("Springwright, {when}"))
    }

    /// What the sheet is called: in the window, in the document's properties, above every further page.
    pub(super) fn title(&self) -> String {
        let parts: Vec<&str> = [&self.rider, &self.machine]
            .into_iter()
            .map(|part| part.trim())
            .filter(|part| !part.is_empty())
            .collect();
        match parts.join(", ") {
            whose if whose.is_empty() => "Job sheet".to_owned(),
            whose => format!("Job sheet: {whose}"),
        }
    }

    /// Concerns, the gravest first, otherwise in their order.
    pub(super) fn concerns_by_gravity(&self) -> Vec<&Concern> {
        let mut concerns: Vec<_> = self.concerns.iter().collect();
        concerns.sort_by_key(|concern| std::cmp::Reverse(concern.gravity));
        concerns
    }

    /// Its cautions, or that of the trade.
    pub(super) fn cautions_or_usual(&self) -> Vec<&str> {
        if self.cautions.is_empty() {
            vec![CAUTION]
        } else {
            self.cautions.iter().map(String::as_str).collect()
        }
    }

    /// The columns of the comparison that hold anything.
    pub(super) fn columns(&self) -> Vec<usize> {
        let held = |column: usize| {
            let mut settings = self.settings.iter();
            settings.any(|setting| {
                setting
                    .figures()
                    .get(column)
                    .is_some_and(|figure| !figure.trim().is_empty())
            })
        };
        (0..COLUMNS.len()).filter(|column| held(*column)).collect()
    }
}
