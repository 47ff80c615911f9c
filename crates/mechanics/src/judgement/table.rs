//! The rules a setup is judged by, as data: shipped rows, and a shop's own thresholds over them.

use core::time::Duration;
use std::fmt;

use super::rows::RuleId;
use crate::quantity::{Angle, AngleUnit, Length, LengthUnit, Quantity, SpringRate, StiffnessUnit};

/// Version of the shipped rows. It grows with every change of a threshold.
pub const TABLE_VERSION: &str = "1.1";

/// What a threshold of the trade rests on.
pub const PRACTICE: &str = "common practice, no source";

/// Seconds of a month, a twelfth of the mean Gregorian year.
pub(super) const MONTH: f64 = 365.2425 * 86_400.0 / 12.0;

/// Which ends a rule speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Ends {
    /// The fork.
    Front,
    /// The shock.
    Rear,
    /// Either.
    Either,
}

impl Ends {
    fn holds(self, other: Self) -> bool {
        self == other || self == Self::Either
    }

    /// In words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Front => "front",
            Self::Rear => "rear",
            Self::Either => "either",
        }
    }
}

/// A threshold with its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Threshold {
    /// A share or a factor.
    Ratio(f64),
    /// Rate steps.
    Steps(f64),
    /// A length.
    Length(Length),
    /// An angle.
    Angle(Angle),
    /// A rate.
    Rate(SpringRate),
    /// An age.
    Age(Duration),
}

impl Threshold {
    /// What it is, in words.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Ratio(_) => "a ratio",
            Self::Steps(_) => "a number of steps",
            Self::Length(_) => "a length",
            Self::Angle(_) => "an angle",
            Self::Rate(_) => "a rate",
            Self::Age(_) => "an age",
        }
    }

    /// The number in the unit rows are written in: mm, deg, N/mm, months, or none.
    pub(super) fn number(&self) -> f64 {
        match self {
            Self::Ratio(value) | Self::Steps(value) => *value,
            Self::Length(length) => length.get(LengthUnit::Millimeter),
            Self::Angle(angle) => angle.get(AngleUnit::Degree),
            Self::Rate(rate) => rate.get(StiffnessUnit::NewtonPerMillimeter),
            Self::Age(age) => age.as_secs_f64() / MONTH,
        }
    }

    fn unit(&self) -> &'static str {
        match self {
            Self::Ratio(_) => "",
            Self::Steps(_) => " steps",
            Self::Length(_) => " mm",
            Self::Angle(_) => " deg",
            Self::Rate(_) => " N/mm",
            Self::Age(_) => " months",
        }
    }

    /// The same kind with another number.
    fn with(&self, number: f64) -> Self {
        match self {
            Self::Ratio(_) => Self::Ratio(number),
            Self::Steps(_) => Self::Steps(number),
            Self::Length(_) => Self::Length(Length::new(number, LengthUnit::Millimeter)),
            Self::Angle(_) => Self::Angle(Angle::new(number, AngleUnit::Degree)),
            Self::Rate(_) => Self::Rate(SpringRate::new(number, StiffnessUnit::NewtonPerMillimeter)),
            Self::Age(_) => Self::Age(Duration::from_secs_f64((number * MONTH).max(0.0))),
        }
    }
}

impl fmt::Display for Threshold {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Four figures are more than any rule of thumb has.
        let number = (self.number() * 1e4).round() / 1e4;
        write!(f, "{number}{}", self.unit())
    }
}

/// A shipped row.
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    /// Which.
    pub id: RuleId,
    /// Where it holds.
    pub ends: Ends,
    /// What it tests.
    pub tests: &'static str,
    /// The threshold.
    pub threshold: Threshold,
    /// The least a shop may put in its place.
    pub least: Threshold,
    /// The most.
    pub most: Threshold,
    /// What it means.
    pub text: &'static str,
    /// What it rests on.
    pub source: &'static str,
}

impl Rule {
    pub(super) fn of(id: RuleId) -> Self {
        let row = id.row();
        Self {
            id,
            ends: row.ends,
            tests: row.tests,
            threshold: row.kind.with(row.default),
            least: row.kind.with(row.sane.0),
            most: row.kind.with(row.sane.1),
            text: row.meaning,
            source: PRACTICE,
        }
    }
}

/// How a shipped row is written down: numbers in mm, deg, N/mm, months.
pub(super) struct Row {
    pub(super) text: &'static str,
    pub(super) ends: Ends,
    pub(super) kind: Kind,
    pub(super) default: f64,
    pub(super) sane: (f64, f64),
    pub(super) tests: &'static str,
    pub(super) meaning: &'static str,
}

#[derive(Debug, Clone, Copy)]
pub(super) enum Kind {
    Ratio,
    Steps,
    Millimeters,
    Degrees,
    NewtonsPerMillimeter,
    Months,
}

impl Kind {
    fn with(self, number: f64) -> Threshold {
        match self {
            Self::Ratio => Threshold::Ratio(number),
            Self::Steps => Threshold::Steps(number),
            Self::Millimeters => Threshold::Length(Length::from_si(0.0)).with(number),
            Self::Degrees => Threshold::Angle(Angle::from_si(0.0)).with(number),
            Self::NewtonsPerMillimeter => Threshold::Rate(SpringRate::from_si(0.0)).with(number),
            Self::Months => Threshold::Age(Duration::ZERO).with(number),
        }
    }
}

/// A shop's own threshold in place of a shipped one.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnRule {
    /// Which rule.
    pub id: String,
    /// The end it is for: the rule's, or one of them. A row without an end is refused.
    pub ends: Option<Ends>,
    /// The threshold.
    pub threshold: Threshold,
}

/// Why a shop's row is refused.
#[derive(Debug, Clone, PartialEq)]
pub enum TableError {
    /// No rule of that id.
    UnknownRule {
        /// Index of the row.
        index: usize,
        /// The id.
        id: String,
    },
    /// No end stands in the row.
    EndMissing {
        /// Index of the row.
        index: usize,
        /// The id.
        id: String,
    },
    /// The rule does not speak of that end.
    OtherEnd {
        /// Index of the row.
        index: usize,
        /// The id.
        id: String,
        /// The rule's ends.
        ends: Ends,
    },
    /// A threshold of another kind.
    WrongUnit {
        /// Index of the row.
        index: usize,
        /// The id.
        id: String,
        /// What it is.
        given: &'static str,
        /// What the rule takes.
        expected: &'static str,
    },
    /// A threshold nobody can mean.
    OutOfRange {
        /// Index of the row.
        index: usize,
        /// The id.
        id: String,
        /// The threshold.
        given: Threshold,
        /// The least.
        least: Threshold,
        /// The most.
        most: Threshold,
    },
    /// The same rule for the same end twice.
    Twice {
        /// Index of the second row.
        index: usize,
        /// The id.
        id: String,
    },
    /// The lower end of a range above its upper one.
    Crossed {
        /// Index of a row of the pair.
        index: usize,
        /// The lower one's id.
        low: &'static str,
        /// The upper one's id.
        high: &'static str,
    },
}

impl TableError {
    /// Index of the row it speaks of.
    #[must_use]
    pub fn index(&self) -> usize {
        match self {
            Self::UnknownRule { index, .. }
            | Self::EndMissing { index, .. }
            | Self::OtherEnd { index, .. }
            | Self::WrongUnit { index, .. }
            | Self::OutOfRange { index, .. }
            | Self::Twice { index, .. }
            | Self::Crossed { index, .. } => *index,
        }
    }
}

impl fmt::Display for TableError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnknownRule { id, .. } => write!(f, "no rule has the id {id}"),
            Self::EndMissing { id, .. } => write!(f, "{id} names no end; front, rear or either is required"),
            Self::OtherEnd { id, ends, .. } => write!(f, "{id} is for the end {}", ends.word()),
            Self::WrongUnit {
                id, given, expected, ..
            } => write!(f, "{id} is {given}; allowed: {expected}"),
            Self::OutOfRange {
                id, given, least, most, ..
            } => write!(f, "{id} is {given}; allowed {least} to {most}"),
            Self::Twice { id, .. } => write!(f, "{id} stands twice for one end"),
            Self::Crossed { low, high, .. } => write!(f, "{low} must stay below {high}"),
        }
    }
}

impl std::error::Error for TableError {}

/// The rules in force.
#[derive(Debug, Clone, PartialEq)]
pub struct RuleTable {
    version: String,
    /// A shop's own thresholds.
    own: Vec<(RuleId, Ends, Threshold)>,
}

/// A row as it holds.
#[derive(Debug, Clone, PartialEq)]
pub struct InForce {
    /// The shipped rule.
    pub rule: Rule,
    /// Where it holds.
    pub ends: Ends,
    /// The threshold that holds.
    pub threshold: Threshold,
    /// Whether it is the shop's own.
    pub own: bool,
}

impl RuleTable {
    /// The rules as shipped.
    #[must_use]
    pub fn shipped() -> Self {
        Self {
            version: TABLE_VERSION.to_owned(),
            own: Vec::new(),
        }
    }

    /// The shipped rules under a shop's own thresholds, of that revision of the shop's table.
    ///
    /// # Errors
    /// Every row that is refused.
    pub fn with(own: &[OwnRule], revision: u64) -> Result<Self, Vec<TableError>> {
        let mut table = Self::shipped();
        if !own.is_empty() {
            table.version = format!("{TABLE_VERSION}+{revision}");
        }
        let mut refused = Vec::new();
        for (index, row) in own.iter().enumerate() {
            match accepted(index, row) {
                Ok(row) if table.own.iter().any(|(id, ends, _)| (*id, *ends) == (row.0, row.1)) => {
                    refused.push(TableError::Twice {
                        index,
                        id: row.0.text().to_owned(),
                    });
                }
                Ok(row) => table.own.push(row),
                Err(error) => refused.push(error),
            }
        }
        table.refuse_crossed(own, &mut refused);
        if refused.is_empty() { Ok(table) } else { Err(refused) }
    }

    fn refuse_crossed(&self, own: &[OwnRule], refused: &mut Vec<TableError>) {
        for (low, high) in RuleId::PAIRS {
            let crossed = [Ends::Front, Ends::Rear]
                .into_iter()
                .any(|end| self.threshold(*low, end).number() >= self.threshold(*high, end).number());
            // A row that was refused is not in force and crosses nothing.
            let index = own.iter().enumerate().position(|(index, row)| {
                let of_pair = row.id == low.text() || row.id == high.text();
                of_pair && refused.iter().all(|one| one.index() != index)
            });
            if let (true, Some(index)) = (crossed, index) {
                refused.push(TableError::Crossed {
                    index,
                    low: low.text(),
                    high: high.text(),
                });
            }
        }
    }

    /// Version of the shipped rows, with the revision of the shop's own where there are some.
    #[must_use]
    pub fn version(&self) -> &str {
        &self.version
    }

    /// Every row as it holds; a row for either end stands again for an end the shop has set apart.
    #[must_use]
    pub fn rows(&self) -> Vec<InForce> {
        let mut rows = Vec::new();
        for id in RuleId::ALL {
            let rule = Rule::of(*id);
            let own = |ends| self.own.iter().find(|row| (row.0, row.1) == (*id, ends));
            let whole = own(rule.ends);
            rows.push(InForce {
                ends: rule.ends,
                threshold: whole.map_or(rule.threshold, |row| row.2),
                own: whole.is_some(),
                rule: rule.clone(),
            });
            let apart = [Ends::Front, Ends::Rear].into_iter().filter(|ends| *ends != rule.ends);
            rows.extend(apart.filter_map(own).map(|row| InForce {
                rule: rule.clone(),
                ends: row.1,
                threshold: row.2,
                own: true,
            }));
        }
        rows
    }

    /// The threshold that holds at an end.
    #[must_use]
    pub fn threshold(&self, id: RuleId, end: Ends) -> Threshold {
        let own = |ends| self.own.iter().find(|row| (row.0, row.1) == (id, ends));
        own(end)
            .or_else(|| own(id.row().ends))
            .map_or_else(|| Rule::of(id).threshold, |row| row.2)
    }
}

fn accepted(index: usize, row: &OwnRule) -> Result<(RuleId, Ends, Threshold), TableError> {
    let id = row.id.clone();
    let Some(rule) = RuleId::of_text(&row.id).map(Rule::of) else {
        return Err(TableError::UnknownRule { index, id });
    };
    let Some(ends) = row.ends else {
        return Err(TableError::EndMissing { index, id });
    };
    if !rule.ends.holds(ends) {
        let ends = rule.ends;
        return Err(TableError::OtherEnd { index, id, ends });
    }
    if std::mem::discriminant(&row.threshold) != std::mem::discriminant(&rule.threshold) {
        return Err(TableError::WrongUnit {
            index,
            id,
            given: row.threshold.kind(),
            expected: rule.threshold.kind(),
        });
    }
    let (given, least, most) = (row.threshold, rule.least, rule.most);
    // A rounding of the unit shall not refuse the limit itself.
    let slack = 1e-9 * most.number().abs();
    if !(given.number() >= least.number() - slack && given.number() <= most.number() + slack) {
        return Err(TableError::OutOfRange {
            index,
            id,
            given,
            least,
            most,
        });
    }
    Ok((rule.id, ends, given))
}
