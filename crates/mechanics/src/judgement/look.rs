//! One end under the lamp: its readings against the thresholds that hold there, and what has been said so far.

use super::End;
use super::answer::{Action, Confidence, Direction, Evidence, Missing, Subject, Verdict};
use super::rows::RuleId;
use super::table::{Ends, PRACTICE, RuleTable};
use super::visit::{Adjuster, Circuit, DamperType, EndVisit, Riding, Serviceability, StrokeDirection, Visit};
use crate::estimate::Assumption;
use crate::finding::{Code, Finding};
use crate::quantity::{Length, Quantity, UnitSystem};
use crate::spring::words::Words;

/// Lengths that are equal on the tape differ by less than this after a subtraction, m.
pub(super) const EQUAL: f64 = 1e-9;
/// Standard uncertainty of a sag from a tape, each length read twice, m.
const TAPE: f64 = 0.7e-3;

/// Standard uncertainty of a sag that is stated without one: a tape, each length read twice, 0.7 mm (common practice, no
/// source).
#[must_use]
pub fn stated_sag_uncertainty() -> Length {
    Length::from_si(TAPE)
}

/// An end with its table.
pub(super) struct Look<'a> {
    pub(super) end: End,
    pub(super) seen: &'a EndVisit,
    pub(super) visit: &'a Visit,
    table: &'a RuleTable,
    pub(super) words: Words,
}

/// Total sag wanted, m.
pub(super) struct Target {
    pub(super) low: f64,
    pub(super) high: f64,
    /// The rules it comes from.
    pub(super) rules: [RuleId; 2],
}

impl Target {
    pub(super) fn middle(&self) -> f64 {
        f64::midpoint(self.low, self.high)
    }
}

/// Sag that can be judged, m.
#[derive(Clone, Copy)]
pub(super) struct SagSeen {
    pub(super) still: f64,
    pub(super) total: f64,
    pub(super) share: f64,
    pub(super) still_u: f64,
    pub(super) share_u: f64,
}

impl<'a> Look<'a> {
    pub(super) fn new(end: End, seen: &'a EndVisit, visit: &'a Visit, table: &'a RuleTable) -> Self {
        Self {
            end,
            seen,
            visit,
            table,
            words: Words::new(visit.units.unwrap_or(UnitSystem::Metric)),
        }
    }

    pub(super) fn ends(&self) -> Ends {
        match self.end {
            End::Front => Ends::Front,
            End::Rear => Ends::Rear,
        }
    }

    pub(super) fn is_front(&self) -> bool {
        self.end == End::Front
    }

    /// A threshold that is a ratio or a number of steps.
    pub(super) fn ratio(&self, id: RuleId) -> f64 {
        self.table.threshold(id, self.ends()).number()
    }

    /// A threshold that is a length, m.
    pub(super) fn length(&self, id: RuleId) -> f64 {
        1e-3 * self.ratio(id)
    }

    /// "rear-too-stiff-ratio is 1.8".
    pub(super) fn said(&self, id: RuleId) -> String {
        format!("{} is {}", id.text(), self.table.threshold(id, self.ends()))
    }

    pub(super) fn evidence(&self, rules: &[RuleId], text: &str) -> Evidence {
        let said: Vec<String> = rules.iter().map(|id| self.said(*id)).collect();
        Evidence {
            rules: rules.to_vec(),
            computation: "",
            text: if said.is_empty() {
                text.to_owned()
            } else {
                format!("{text} ({})", said.join("; "))
            },
        }
    }

    /// Total sag that is wanted here: millimetres for a road machine with usual travel, else a share of the travel.
    pub(super) fn target(&self) -> Option<Target> {
        let off_road = self.visit.riding == Some(Riding::OffRoad);
        let wanted = self.table.sag_wanted(self.ends(), self.seen.travel, off_road)?;
        Some(Target {
            low: wanted.least.si(),
            high: wanted.most.si(),
            rules: wanted.rules,
        })
    }

    /// Static share wanted: of the rear its target, of a fork what is usual.
    pub(super) fn static_share_wanted(&self) -> f64 {
        let (low, high) = self.static_share_targets();
        f64::midpoint(low, high)
    }

    /// Least and most static share wanted.
    pub(super) fn static_share_targets(&self) -> (f64, f64) {
        let (low, high) = if self.is_front() {
            (RuleId::ForkStaticUsualLow, RuleId::ForkStaticUsualHigh)
        } else {
            (RuleId::RearStaticTargetLow, RuleId::RearStaticTargetHigh)
        };
        (self.ratio(low), self.ratio(high))
    }

    /// Least and most static share that is none to speak of.
    pub(super) fn static_share_limits(&self) -> (f64, f64) {
        let (low, high) = if self.is_front() {
            (RuleId::ForkStaticUsualLow, RuleId::ForkStaticUsualHigh)
        } else {
            (RuleId::RearStaticShareLow, RuleId::RearStaticShareHigh)
        };
        (self.ratio(low), self.ratio(high))
    }

    /// Spread from which on nothing more is judged from sag, with the note before it.
    pub(super) fn spread_rules(&self) -> (RuleId, RuleId) {
        if self.is_front() {
            (RuleId::ForkSpreadNote, RuleId::ForkSpreadBind)
        } else {
            (RuleId::RearSpreadNote, RuleId::RearSpreadBind)
        }
    }

    pub(super) fn binds(&self) -> bool {
        let (_, bind) = self.spread_rules();
        self.seen
            .sag
            .spread
            .is_some_and(|spread| spread.si() > self.length(bind) + EQUAL)
    }

    /// Sag where both states are known and nothing binds.
    pub(super) fn sag(&self) -> Option<SagSeen> {
        let sag = &self.seen.sag;
        let (still, total) = (sag.static_sag?.si(), sag.total?.si());
        (!self.binds()).then(|| SagSeen {
            still,
            total,
            share: total - still,
            still_u: sag.static_uncertainty.map_or(TAPE, Quantity::si),
            share_u: sag.share_uncertainty.map_or(TAPE, Quantity::si),
        })
    }

    /// Static share there would be with the total as wanted: preload moves both sags alike and leaves the rider's share.
    pub(super) fn static_share_at_target(&self) -> Option<(f64, f64)> {
        let (sag, wanted) = (self.sag()?, self.target()?.middle());
        Some(((wanted - sag.share) / wanted, sag.share_u / wanted))
    }

    /// -1: the rider's share says too soft; 1: too stiff; 0: it agrees. A share that is only the least it can be says nothing
    /// of too stiff.
    pub(super) fn share_says(&self) -> Option<i8> {
        let (share, _) = self.static_share_at_target()?;
        let (low, high) = self.static_share_limits();
        match share {
            share if share < low => Some(-1),
            share if share > high => (!self.share_is_least()).then_some(1),
            _ => Some(0),
        }
    }

    /// Whether the machine alone reaches full extension within friction's half-band: the static sag is then no mean of two
    /// sides, and the rider's share is at least what was read.
    pub(super) fn share_is_least(&self) -> bool {
        let half_band = self.seen.sag.spread.map_or(0.0, |spread| 0.5 * spread.si());
        self.sag().is_some_and(|sag| sag.still - half_band <= sag.still_u)
    }

    /// How hard it was ridden for the travel used.
    pub(super) fn travel_riding(&self) -> Option<Riding> {
        self.seen.travel_riding.or(self.visit.riding)
    }

    /// Travel used over travel, in hard use.
    pub(super) fn travel_share(&self) -> Option<f64> {
        let hard = self.travel_riding()?.is_hard();
        let share = self.seen.travel_used?.si() / self.seen.travel?.si();
        (hard && share.is_finite()).then_some(share)
    }

    /// Preload over its range.
    pub(super) fn preload_share(&self) -> Option<f64> {
        let (least, most) = (self.seen.least_preload?.si(), self.seen.most_preload?.si());
        let share = (self.seen.preload?.si() - least) / (most - least);
        share.is_finite().then_some(share)
    }

    /// Spring over wheel; along the leg a fork has none to count.
    pub(super) fn motion_ratio(&self) -> Option<f64> {
        if self.is_front() {
            Some(1.0)
        } else {
            self.seen.motion_ratio.filter(|ratio| *ratio > 0.0)
        }
    }

    /// Rate of one spring: of a fork the mean of the legs.
    pub(super) fn rate(&self) -> Option<f64> {
        let rates = &self.seen.rates;
        let mean = rates.iter().map(|rate| rate.si()).sum::<f64>() / rates.len() as f64;
        (mean > 0.0).then_some(mean)
    }

    /// Whether adjusters say anything: a damping rod has no stack behind them.
    pub(super) fn adjusters_apply(&self) -> bool {
        self.seen.damper_type != Some(DamperType::DampingRod)
    }

    /// The compression adjuster that holds the end up: the only one, or the one at low shaft speed.
    pub(super) fn compression(&self) -> Option<&'a Adjuster> {
        let mut found = self.seen.adjusters.iter();
        found
            .find(|one| {
                one.circuit.stroke == StrokeDirection::Compression && one.circuit.speed != Some(super::ShaftSpeed::High)
            })
            .filter(|_| self.adjusters_apply())
    }

    pub(super) fn rebound(&self) -> Option<&'a Adjuster> {
        let mut found = self.seen.adjusters.iter();
        found
            .find(|one| {
                one.circuit.stroke == StrokeDirection::Rebound && one.circuit.speed != Some(super::ShaftSpeed::High)
            })
            .filter(|_| self.adjusters_apply())
    }

    /// Whether the spring is air: there is none of steel to change.
    pub(super) fn is_air(&self) -> bool {
        self.seen.damper_type == Some(DamperType::Air) && self.seen.rates.is_empty()
    }

    pub(super) fn is_sealed(&self) -> bool {
        self.seen.serviceability == Some(Serviceability::Sealed)
    }

    /// A verdict on this end, to be filled in.
    pub(super) fn verdict(&self, action: Action, subject: Subject) -> Verdict {
        Verdict {
            action,
            end: self.end,
            subject,
            circuit: None,
            direction: None,
            amount: None,
            hazard: false,
            confidence: Confidence::Medium,
            evidence: Vec::new(),
            both: None,
            after: None,
            springs: None,
            waits_for: Vec::new(),
            waits_for_check: false,
            check_first: Vec::new(),
            overturned_by: Vec::new(),
            cautions: Vec::new(),
        }
    }

    /// In words.
    pub(super) fn place(&self) -> &'static str {
        match self.end {
            End::Front => "fork",
            End::Rear => "rear",
        }
    }
}

/// What a verdict waits for, at its own end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Cause {
    pub(super) subject: Subject,
    pub(super) circuit: Option<Circuit>,
}

impl Cause {
    pub(super) fn of(subject: Subject) -> Self {
        Self { subject, circuit: None }
    }
}

/// What was said so far.
#[derive(Default)]
pub(super) struct Desk {
    pub(super) drafts: Vec<(Verdict, Vec<Cause>)>,
    pub(super) findings: Vec<Finding>,
    pub(super) assumptions: Vec<Assumption>,
    pub(super) missing: Vec<Missing>,
}

impl Desk {
    pub(super) fn push(&mut self, verdict: Verdict, waits_for: &[Cause]) {
        self.drafts.push((verdict, waits_for.to_vec()));
    }

    pub(super) fn drafted(&self, end: End, subject: Subject) -> Option<&Verdict> {
        let mut all = self.drafts.iter().map(|(verdict, _)| verdict);
        all.find(|verdict| verdict.end == end && verdict.subject == subject)
    }

    pub(super) fn drafted_mut(&mut self, end: End, subject: Subject) -> Option<&mut Verdict> {
        let mut all = self.drafts.iter_mut().map(|(verdict, _)| verdict);
        all.find(|verdict| verdict.end == end && verdict.subject == subject)
    }

    pub(super) fn has(&self, look: &Look<'_>, subject: Subject) -> bool {
        self.drafted(look.end, subject).is_some()
    }

    /// Way of the spring that was already asked for, or of the unit in its place where no such spring can be had.
    pub(super) fn spring_way(&self, look: &Look<'_>) -> Option<Direction> {
        let mut all = self.drafts.iter().map(|(verdict, _)| verdict);
        all.find(|one| one.end == look.end && one.asks_for_spring())?.direction
    }

    /// The verdict that asks for another spring.
    pub(super) fn spring_mut(&mut self, look: &Look<'_>) -> Option<&mut Verdict> {
        let mut all = self.drafts.iter_mut().map(|(verdict, _)| verdict);
        all.find(|one| one.end == look.end && one.asks_for_spring())
    }

    /// Whether the travel was found too short.
    pub(super) fn travel_is_short(&self, look: &Look<'_>) -> bool {
        let mut all = self.drafts.iter().map(|(verdict, _)| verdict);
        all.any(|one| {
            one.end == look.end
                && one
                    .evidence
                    .iter()
                    .any(|said| said.rules.contains(&RuleId::TravelShort))
        })
    }

    pub(super) fn find(&mut self, code: Code, message: String) {
        self.findings.push(Finding::new(code, message));
    }

    pub(super) fn assume(&mut self, subject: &'static str, text: String) {
        let assumption = Assumption {
            subject,
            text,
            source: PRACTICE,
        };
        if !self.assumptions.contains(&assumption) {
            self.assumptions.push(assumption);
        }
    }

    pub(super) fn miss(&mut self, look: &Look<'_>, what: &'static str, settles: &'static str) {
        let missing = Missing {
            end: Some(look.end),
            what,
            settles,
        };
        if !self.missing.contains(&missing) {
            self.missing.push(missing);
        }
    }
}
