//! What a judgement says.

use super::End;
use super::rows::RuleId;
use super::visit::Circuit;
use crate::chassis::{Candidate, Ranked};
use crate::estimate::Assumption;
use crate::finding::Finding;
use crate::quantity::{Preload, Travel};

/// A machine judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// Verdicts in the order of the work.
    pub verdicts: Vec<Verdict>,
    /// Index of the one change to make first; `None`: there is none to make.
    pub first: Option<usize>,
    /// What is not known, and what it would settle.
    pub missing: Vec<Missing>,
    /// What is worth knowing beside the verdicts.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
    /// Version of the rule table.
    pub table_version: String,
}

/// What to do.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// What kind of work.
    pub action: Action,
    /// Where.
    pub end: End,
    /// On what.
    pub subject: Subject,
    /// The circuit, where it is about one.
    pub circuit: Option<Circuit>,
    /// Which way.
    pub direction: Option<Direction>,
    /// How much.
    pub amount: Option<Amount>,
    /// Whether somebody can be hurt while it is left.
    pub hazard: bool,
    /// How sure it is.
    pub confidence: Confidence,
    /// What speaks for it.
    pub evidence: Vec<Evidence>,
    /// What thumb and physics each ask for, where both speak.
    pub both: Option<ThumbAndPhysics>,
    /// What a spring change does to rebound and preload.
    pub after: Option<AfterSpring>,
    /// Springs at hand for it, where some were given.
    pub springs: Option<RankedSprings>,
    /// Indices of the verdicts it waits for: their cause can make the same reading.
    pub waits_for: Vec<usize>,
    /// Whether it waits for what is to be checked first: a cheaper cause can make the same reading.
    pub waits_for_check: bool,
    /// What to check before.
    pub check_first: Vec<String>,
    /// What would overturn it.
    pub overturned_by: Vec<String>,
    /// What to be careful of.
    pub cautions: Vec<&'static str>,
}

impl Verdict {
    /// Whether another rate is asked for, be it with another unit.
    pub(super) fn asks_for_spring(&self) -> bool {
        self.subject == Subject::Spring
            || (self.subject == Subject::Unit && matches!(self.direction, Some(Direction::Stiffer | Direction::Softer)))
    }
}

/// What kind of work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Action {
    /// Nothing.
    Leave,
    /// From outside.
    Set,
    /// Oil, seals, bushes, bearings.
    Service,
    /// Another spring.
    Respring,
    /// Other valving.
    Revalve,
    /// Another unit.
    Replace,
}

/// What a verdict is about, in the order of the work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Subject {
    /// Something binds, or is dry.
    Friction,
    /// A worn, loose or leaking part.
    Wear,
    /// The oil, with its level.
    Oil,
    /// Preload.
    Preload,
    /// The spring.
    Spring,
    /// An adjuster.
    Adjuster,
    /// The valving.
    Valving,
    /// The unit.
    Unit,
    /// The end as a whole.
    Whole,
}

/// Which way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Direction {
    /// A stiffer spring.
    Stiffer,
    /// A softer spring.
    Softer,
    /// More preload, or an adjuster towards closed.
    More,
    /// Less preload, or an adjuster towards open.
    Less,
    /// More damping by valving.
    Stronger,
    /// Less damping by valving.
    Weaker,
}

/// How much.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Amount {
    /// Rate steps.
    Steps(StepRange),
    /// Damping over the present one.
    DampingFactor {
        /// The factor.
        factor: f64,
        /// Least, for the range of the assumption.
        least: f64,
        /// Most.
        most: f64,
    },
    /// Preload to set, axial.
    Preload(Preload),
    /// Where to set an adjuster.
    Position {
        /// Clicks or turns from closed.
        from_closed: f64,
        /// Of that many.
        range: f64,
    },
}

/// Rate steps: one number, or a range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepRange {
    /// Least.
    pub least: f64,
    /// Most; the same where it is one number.
    pub most: f64,
}

/// How sure a verdict is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Confidence {
    /// A reading is missing, weak, or within its uncertainty of the threshold.
    Low,
    /// A rule fired.
    Medium,
    /// A rule fired well beyond the uncertainty of the reading, or a computation agrees.
    High,
}

/// What speaks for a verdict.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Evidence {
    /// The rules it was held against; none for a computation or a statement.
    pub rules: Vec<RuleId>,
    /// What was computed, where it is a computation.
    pub computation: &'static str,
    /// Readings against thresholds, in words.
    pub text: String,
}

/// What thumb and physics each ask for, in rate steps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThumbAndPhysics {
    /// By thumb.
    pub thumb: f64,
    /// By physics, not rounded to the rack.
    pub physics: f64,
    /// Whether they are further apart than a step.
    pub disagree: bool,
}

/// What a new spring asks for beside itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AfterSpring {
    /// The rate it was worked out for, of each spring over the present one.
    pub rate_factor: f64,
    /// Rebound over the present one; compression stays.
    pub rebound_factor: f64,
    /// Where the rebound adjuster then belongs, from closed; `None`: not known, or beyond its range.
    pub rebound_position: Option<f64>,
    /// Preload that brings the total sag to the target with that rate; `None`: not known.
    pub preload: Option<Preload>,
}

/// Springs at hand that go a verdict's way, the nearest to the sags wanted first.
#[derive(Debug, Clone, PartialEq)]
pub struct RankedSprings {
    /// Read lengths times this are vertical at the wheel.
    pub wheel_factor: f64,
    /// Total sag now, at the wheel.
    pub present_total: Option<Travel>,
    /// Each with what it would do; those that do it first, at most five.
    pub ranked: Vec<(Candidate, Ranked)>,
}

/// Something that is not known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Missing {
    /// Where; `None`: the machine.
    pub end: Option<End>,
    /// What, as a field of the visit.
    pub what: &'static str,
    /// What it would settle.
    pub settles: &'static str,
}
