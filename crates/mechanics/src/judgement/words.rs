//! A verdict in one line.

use std::fmt;

use super::answer::{Action, Amount, Confidence, Direction, Subject, Verdict};
use super::at_hand;
use crate::quantity::{LengthUnit, Quantity};

impl Action {
    /// In words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Leave => "leave",
            Self::Set => "set",
            Self::Service => "service",
            Self::Respring => "respring",
            Self::Revalve => "revalve",
            Self::Replace => "replace",
        }
    }
}

impl Subject {
    /// In words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Friction => "friction",
            Self::Wear => "wear",
            Self::Oil => "oil",
            Self::Preload => "preload",
            Self::Spring => "spring",
            Self::Adjuster => "adjuster",
            Self::Valving => "valving",
            Self::Unit => "unit",
            Self::Whole => "as it is",
        }
    }
}

impl Direction {
    /// In words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Stiffer => "stiffer",
            Self::Softer => "softer",
            Self::More => "more",
            Self::Less => "less",
            Self::Stronger => "stronger",
            Self::Weaker => "weaker",
        }
    }
}

impl Confidence {
    /// In words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::Medium => "medium",
            Self::High => "high",
        }
    }
}

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Steps(range) if range.least < range.most => write!(f, "{} to {} steps", range.least, range.most),
            Self::Steps(range) if (range.most - 1.0).abs() < 1e-9 => f.write_str("1 step"),
            Self::Steps(range) => write!(f, "{} steps", range.most),
            Self::DampingFactor { factor, least, most } if least < most => {
                write!(f, "{factor:.2} times ({least:.2}-{most:.2})")
            }
            Self::DampingFactor { factor, .. } => write!(f, "{factor:.2} times"),
            Self::Preload(preload) => write!(f, "to {:.1} mm", preload.get(LengthUnit::Millimeter)),
            Self::Position { from_closed, range } => write!(f, "to {from_closed} of {range} from closed"),
        }
    }
}

/// "respring rear spring, stiffer, 2 to 7 steps; high".
impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.action.word(), self.end.word())?;
        if let Some(circuit) = self.circuit {
            write!(f, " {}", circuit.word())?;
        }
        if self.subject != Subject::Whole {
            write!(f, " {}", self.subject.word())?;
        }
        if let Some(direction) = self.direction {
            write!(f, ", {}", direction.word())?;
        }
        if let Some(amount) = self.amount {
            write!(f, ", {amount}")?;
        }
        if let Some(spring) = at_hand::named_in(self) {
            write!(f, ": {spring}")?;
        }
        write!(f, "; {}", self.confidence.word())?;
        if self.hazard {
            f.write_str("; hazard")?;
        }
        if self.waits_for_check {
            f.write_str("; after a check")?;
        }
        Ok(())
    }
}
