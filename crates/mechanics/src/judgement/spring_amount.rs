//! How far a spring is changed: thumb and physics in steps of the rack.

use super::adjusters::after_spring;
use super::answer::{Action, Amount, Direction, StepRange, Subject, ThumbAndPhysics, Verdict};
use super::caution;
use super::look::{Desk, Look};
use super::rows::RuleId;
use crate::finding::Code;
use crate::quantity::Quantity;

/// The rates there are: the shop's rack, or assumed steps from the fitted spring on.
pub(super) struct Ladder {
    rates: Vec<f64>,
    step: f64,
}

/// How far measured springs of one mark may be apart, of the rate (common practice, no source).
const ONE_MARK: f64 = 0.03;

/// Rates of the springs at hand, one by one.
fn single_rates<'a>(look: &'a Look<'_>) -> impl Iterator<Item = f64> + 'a {
    let candidates = look.seen.at_hand.iter().flat_map(|at_hand| &at_hand.candidates);
    candidates.flat_map(|one| one.springs.iter().map(|spring| spring.rate.si()))
}

/// How far to go.
pub(super) struct Asked {
    pub(super) amount: Amount,
    pub(super) both: Option<ThumbAndPhysics>,
    /// Rate of one spring at the far end of the amount, over the present one.
    pub(super) rate_factor: Option<f64>,
    /// Whether the amount is a range, to be measured again before a spring is bought.
    pub(super) is_range: bool,
    /// Why no spring does it: the rate physics asks for cannot be had.
    pub(super) out_of_reach: Option<String>,
}

/// What physics asks for.
#[derive(Clone, Copy)]
pub(super) struct Needed {
    /// Rate needed over the present one.
    pub(super) factor: f64,
    /// Whether that is the least that will do, as braking asks, rather than the best.
    pub(super) at_least: bool,
}

impl Ladder {
    pub(super) fn of(look: &Look<'_>, desk: &mut Desk) -> Option<Self> {
        let now = look.rate()?;
        let rack: Vec<f64> = look.seen.rack.iter().map(|rate| rate.si()).collect();
        // Springs of one rate are one rung; those at hand differ a little where they were measured.
        let (mut rates, same) = if rack.is_empty() {
            (single_rates(look).collect(), ONE_MARK)
        } else {
            (rack, 1e-3)
        };
        rates.retain(|k| *k > 0.0);
        rates.sort_by(f64::total_cmp);
        rates.dedup_by(|a, b| (*a - *b).abs() <= same * *b);
        let mut gaps: Vec<f64> = rates.iter().zip(rates.iter().skip(1)).map(|(a, b)| b - a).collect();
        gaps.sort_by(f64::total_cmp);
        if let Some(step) = gaps.get(gaps.len() / 2).copied() {
            return Some(Self { rates, step });
        }
        let id = if look.is_front() {
            RuleId::ForkStep
        } else {
            RuleId::ShockStep
        };
        let step = 1e3 * look.ratio(id);
        desk.assume("rack", format!("no rack: rate steps of {}", look.words.rate(step)));
        Some(Self { rates: vec![now], step })
    }

    /// Place of a rate on the ladder, in steps from its lowest rung; beyond its ends in usual steps.
    fn place(&self, rate: f64) -> f64 {
        let (Some(first), Some(last)) = (self.rates.first(), self.rates.last()) else {
            return 0.0;
        };
        let above = self.rates.partition_point(|k| *k <= rate);
        match (
            above.checked_sub(1).and_then(|k| self.rates.get(k)),
            self.rates.get(above),
        ) {
            (None, _) => (rate - first) / self.step,
            (Some(_), None) => (self.rates.len() - 1) as f64 + (rate - last) / self.step,
            (Some(low), Some(high)) => (above - 1) as f64 + (rate - low) / (high - low),
        }
    }

    /// The rate at a place.
    fn rate(&self, place: f64) -> f64 {
        let (Some(first), Some(last)) = (self.rates.first(), self.rates.last()) else {
            return 0.0;
        };
        let top = (self.rates.len() - 1) as f64;
        if place <= 0.0 {
            return first + place * self.step;
        }
        if place >= top {
            return last + (place - top) * self.step;
        }
        let low = self.rates.get(place.floor() as usize).copied().unwrap_or(*last);
        let high = self.rates.get(place.floor() as usize + 1).copied().unwrap_or(*last);
        low + place.fract() * (high - low)
    }

    /// Steps from one rate to another.
    pub(super) fn steps(&self, from: f64, to: f64) -> f64 {
        self.place(to) - self.place(from)
    }

    /// The rate that many steps on.
    pub(super) fn after(&self, from: f64, steps: f64) -> f64 {
        self.rate(self.place(from) + steps)
    }
}

/// Least steps by thumb.
pub(super) fn thumb(look: &Look<'_>, way: Direction) -> f64 {
    let gentle = look.visit.riding.is_some_and(|riding| !riding.is_hard());
    look.ratio(match (way, gentle) {
        (Direction::Softer, true) => RuleId::SofterGentle,
        (Direction::Softer, false) => RuleId::SofterHard,
        (_, true) => RuleId::StifferGentle,
        (_, false) => RuleId::StifferHard,
    })
}

/// Whole steps physics asks for: the nearest, a half towards the present spring; the next where it is the least that will do.
fn whole(steps: f64, at_least: bool) -> f64 {
    if at_least {
        // A tenth of a step is less than springs of one mark differ by.
        (steps - 0.1).ceil().max(0.0)
    } else {
        (steps - 0.5).ceil().max(0.0)
    }
}

/// The amount of a change that way: by physics where it speaks, never past what it asks for; a range from thumb to physics
/// beyond three steps or 20 %. `None`: physics asks for less than half a step.
pub(super) fn amount(look: &Look<'_>, desk: &mut Desk, way: Direction, needed: Option<Needed>) -> Option<Asked> {
    let thumb = thumb(look, way);
    let fixed = |steps: f64| {
        Amount::Steps(StepRange {
            least: steps,
            most: steps,
        })
    };
    let ladder = Ladder::of(look, desk).zip(look.rate());
    let Some((needed, (ladder, now))) = needed.zip(ladder.as_ref()) else {
        let far = ladder.as_ref().map(|(ladder, now)| (ladder, now, signed(way, thumb)));
        return Some(Asked {
            amount: fixed(thumb),
            both: None,
            rate_factor: far.map(|(ladder, now, steps)| ladder.after(*now, steps) / now),
            is_range: false,
            out_of_reach: None,
        });
    };
    let physics = signed(way, ladder.steps(*now, needed.factor * now));
    let most = whole(physics, needed.at_least);
    if most < 0.5 {
        return None;
    }
    let change = (needed.factor - 1.0).abs();
    let is_range = most > look.ratio(RuleId::AmountSteps) || change > look.ratio(RuleId::AmountChange);
    let least = if is_range { thumb.min(most) } else { most };
    Some(Asked {
        amount: Amount::Steps(StepRange { least, most }),
        both: Some(ThumbAndPhysics {
            thumb,
            physics,
            disagree: (physics - thumb).abs() > look.ratio(RuleId::DisagreementSteps),
        }),
        rate_factor: Some(ladder.after(*now, signed(way, most)) / now),
        is_range,
        out_of_reach: out_of_reach(look, ladder, needed.factor * now),
    })
}

/// Why a rate cannot be had: it lies more than half a step outside what can.
fn out_of_reach(look: &Look<'_>, ladder: &Ladder, wanted: f64) -> Option<String> {
    let (least, most) = look.seen.rates_to_be_had?;
    // What lies on the rack can be had, whatever the suppliers say.
    let there = look.seen.rack.iter().map(|rate| rate.si()).chain(single_rates(look));
    let (least, most) = there.fold((least.si(), most.si()), |(least, most), k| (least.min(k), most.max(k)));
    let beyond = ladder.steps(most, wanted).max(ladder.steps(wanted, least));
    (beyond > 0.5).then(|| {
        format!(
            "the rate needed is {}, and {} to {} can be had for this unit",
            look.words.rate(wanted),
            look.words.rate(least),
            look.words.rate(most)
        )
    })
}

/// Another spring by that amount; another unit where no spring of the rate needed can be had for this one.
pub(super) fn verdict(look: &Look<'_>, way: Direction, asked: &Asked) -> Verdict {
    if let Some(why) = &asked.out_of_reach {
        let mut verdict = look.verdict(Action::Replace, Subject::Unit);
        verdict.direction = Some(way);
        let mut evidence = look.evidence(&[], why);
        evidence.computation = "rate needed against the rates that can be had";
        verdict.evidence.push(evidence);
        verdict
            .check_first
            .push("whether another maker winds that rate for this unit".to_owned());
        verdict.overturned_by.push("a spring of that rate that fits".to_owned());
        verdict.cautions.push(caution::UNTESTED);
        return verdict;
    }
    let mut verdict = look.verdict(Action::Respring, Subject::Spring);
    verdict.direction = Some(way);
    verdict.amount = Some(asked.amount);
    verdict.both = asked.both;
    let wanted = look.target().zip(look.sag()).map(|(target, _)| target.middle());
    verdict.after = asked
        .rate_factor
        .zip(wanted)
        .map(|(rate, total)| after_spring(look, total, rate, None));
    verdict
        .cautions
        .extend([Code::StoredEnergy.caution(), caution::UNTESTED]);
    verdict
}

/// Steps up the ladder of a change that way, and back.
fn signed(way: Direction, steps: f64) -> f64 {
    if way == Direction::Softer { -steps } else { steps }
}
