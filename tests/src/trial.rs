//! A trial of the judge: machines with known faults, an independent model of their readings, rounds of work until nothing but
//! settings is asked for. The model in `truth` shares nothing with what is tried.
//!
//! A round: the machine is read and judged; readings the judge names as what would settle it are taken, with their own error,
//! and it is judged again; every verdict that waits for nothing is done. Sag that is to be read again with less preload is read
//! in the next round: this one is then no end. A spring that is not sure, or of which the amount is a range, is measured for
//! again before it is bought, and not bought where two more readings do not bear it out. The spring that is named of the rack is
//! fitted with the preload it is named with. Nothing is read that nobody asked for.
//!
//! The first verdict is that of the first judgement, before anything was asked for and read. It counts as true only where it
//! names a fault that was built in, on its end and its way. How often it is at least the least change that cures it is told
//! beside it: preload for a spring that is off, where preload alone does as much for the end's targets as the right spring, or
//! where the end does not sag by itself, which never waits. Machines whose faults take nothing out of its target, and of which
//! nothing was asked, have no first verdict: they are counted apart. A fault that nobody had read counts against the judge.
//!
//! The end is judged in the model's truth, not in readings: sags and spread to 1.5 mm, an oil level to 8 mm of the one wanted,
//! damping to a quarter, the share left of an adjuster to 0.05, travel used to 2 % beyond the limits of its rule.

mod making;
mod readings;
mod truth;
mod work;

use std::fmt;

use mechanics::judgement::{
    Action, Amount, Confidence, Direction, End, Judgement, RuleTable, StepRange, Subject, Verdict, Visit, judge,
};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use truth::{Kind, Machine};
use work::Move;

/// What judges a visit.
pub type Judge = dyn Fn(&Visit, &RuleTable) -> Judgement;

/// What came of a trial.
#[derive(Debug, Default)]
pub struct Tried {
    /// Machines, those without a fault, those with one whose first verdict is judged.
    pub machines: usize,
    /// Without a fault.
    pub faultless: usize,
    /// With a fault whose first verdict asks for something, or should.
    pub asked: usize,
    /// Ended in leave or set within faults + 2 rounds.
    pub ended: usize,
    /// Ended, and the machine then meets its targets.
    pub on_target: usize,
    /// Without anything moved back by more than half of what it was moved.
    pub steady: usize,
    /// Faultless, and left or set at once.
    pub left_alone: usize,
    /// The first verdict is a true fault.
    pub first_true: usize,
    /// It is none, and cures what is out of target all the same.
    pub first_cures: usize,
    /// With faults that take nothing out of its target, and nothing was asked.
    pub unseen: usize,
    /// Readings that were taken because they were asked for.
    pub asked_readings: usize,
    /// What went wrong, by machine.
    pub failures: Vec<String>,
}

/// What a judge has to reach.
const ENDED: f64 = 0.98;
const LEFT_ALONE: f64 = 0.95;
const FIRST_TRUE: f64 = 0.90;

impl Tried {
    fn shares(&self) -> [(&'static str, usize, usize, f64); 5] {
        [
            ("ended in leave or set in time", self.ended, self.machines, ENDED),
            ("ended on target", self.on_target, self.machines, ENDED),
            ("moved nothing back", self.steady, self.machines, 1.0),
            (
                "faultless, left or set at once",
                self.left_alone,
                self.faultless,
                LEFT_ALONE,
            ),
            ("first verdict is a true fault", self.first_true, self.asked, FIRST_TRUE),
        ]
    }

    /// Whether every gate is reached.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.shares()
            .iter()
            .all(|(_, good, all, gate)| *good as f64 >= gate * *all as f64)
    }
}

impl fmt::Display for Tried {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for failure in &self.failures {
            writeln!(f, "{failure}")?;
        }
        for (what, good, all, gate) in self.shares() {
            let share = 100.0 * good as f64 / all.max(1) as f64;
            writeln!(
                f,
                "{what:<34} {good:>5} of {all:>5}  {share:6.2} %  wanted {:.0} %",
                100.0 * gate
            )?;
        }
        writeln!(
            f,
            "first verdict no fault, and yet the least change that cures it: {}; faults that take nothing out of its target: {}; \
             readings taken because they were asked for: {}",
            self.first_cures, self.unseen, self.asked_readings
        )
    }
}

/// Tries the judge as it is.
#[must_use]
pub fn run(seed: u64, machines: usize) -> Tried {
    run_with(seed, machines, &|visit, table| judge(visit, table))
}

/// Tries a judge.
#[must_use]
pub fn run_with(seed: u64, machines: usize, judge: &Judge) -> Tried {
    let mut tried = Tried::default();
    for number in 0..machines {
        // Each machine by its own seed, so that one can be looked at alone.
        let mut rng = ChaCha8Rng::seed_from_u64(seed.wrapping_mul(1_000_003).wrapping_add(number as u64));
        let count = rng.random_range(0..=4);
        let machine = making::machine(&mut rng, count);
        one(&mut rng, machine, number, judge, &mut tried);
    }
    tried
}

fn one(rng: &mut ChaCha8Rng, mut machine: Machine, number: usize, judge: &Judge, tried: &mut Tried) {
    let table = RuleTable::shipped();
    let faults = machine.faults.clone();
    let mut said = Vec::new();
    let mut moves: Vec<Move> = Vec::new();
    let mut ended = false;
    let mut wrong = Vec::new();
    tried.machines += 1;
    for round in 0..=faults.len() + 2 {
        let mut judged = judge(&readings::visit(rng, &machine), &table);
        if round == 0 {
            begin(&machine, &judged, tried, &mut wrong);
        }
        let taken = readings::asked_for(&mut machine, &judged);
        if !taken.is_empty() {
            tried.asked_readings += taken.len();
            said.push(format!("read because asked for: {}", taken.join(", ")));
            judged = judge(&readings::visit(rng, &machine), &table);
        }
        let lines = judged.verdicts.iter().map(|one| {
            let waits = if one.waits_for.is_empty() { "" } else { " (waits)" };
            format!("{one}{waits}")
        });
        said.push(format!("[{}]", lines.collect::<Vec<_>>().join(" | ")));
        let quiet = is_quiet(&judged);
        moves.extend(work::round(rng, &mut machine, &judged, judge));
        // Sag that is to be read again after the setting is read again.
        let again = judged.missing.iter().any(|one| one.what == "sag");
        if quiet && !again {
            ended = true;
            break;
        }
    }
    tried.ended += usize::from(ended);
    if !ended {
        wrong.push("did not end in time".to_owned());
    }
    let out = machine.out_of_target();
    tried.on_target += usize::from(ended && out.is_empty());
    if ended && !out.is_empty() {
        wrong.push(format!("off target: {}", out.join(", ")));
    }
    match moved_back(&moves) {
        Some(what) => wrong.push(format!("moved back: {what}")),
        None => tried.steady += 1,
    }
    if !wrong.is_empty() {
        let faults: Vec<String> = faults
            .iter()
            .map(|fault| format!("{} {:?}", if fault.is_front { "front" } else { "rear" }, fault.kind))
            .collect();
        let said = said.join("\n      ");
        tried.failures.push(format!(
            "{number}: {}\n    faults: {}\n      {said}",
            wrong.join("; "),
            faults.join(", ")
        ));
    }
}

/// Whether nothing but settings is asked for.
fn is_quiet(judged: &Judgement) -> bool {
    let mut all = judged.verdicts.iter();
    all.all(|one| matches!(one.action, Action::Leave | Action::Set))
}

/// The first judgement: faultless machines are left alone, faults are named first.
fn begin(machine: &Machine, judged: &Judgement, tried: &mut Tried, wrong: &mut Vec<String>) {
    let quiet = is_quiet(judged);
    if machine.faults.is_empty() {
        tried.faultless += 1;
        tried.left_alone += usize::from(quiet);
        if !quiet {
            wrong.push("faultless, and not left alone".to_owned());
        }
        return;
    }
    let first = judged.first.and_then(|index| judged.verdicts.get(index));
    let out = machine.out_of_target();
    let Some(first) = first else {
        // A fault that takes nothing out of its target cannot be read.
        if out.is_empty() {
            tried.unseen += 1;
        } else {
            tried.asked += 1;
            wrong.push(format!("nothing asked, though {}", out.join(", ")));
        }
        return;
    };
    tried.asked += 1;
    if names_fault(machine, first) {
        tried.first_true += 1;
    } else {
        let cures = first.subject == Subject::Preload && preload_cures(machine, first.end == End::Front);
        tried.first_cures += usize::from(cures);
        wrong.push(format!("first is no fault: {first}"));
    }
}

/// Whether a verdict names a fault that was built in, on its end and its way.
fn names_fault(machine: &Machine, verdict: &Verdict) -> bool {
    let front = verdict.end == End::Front;
    let more = matches!(verdict.direction, Some(Direction::Stiffer | Direction::Stronger));
    let rebound = verdict
        .circuit
        .is_some_and(|one| one.stroke == mechanics::judgement::Circuit::REBOUND.stroke);
    // A factor below 1 is a circuit that is too weak.
    let circuit = |kind: Kind, weak: bool| match kind {
        Kind::Rebound(factor) => rebound && (factor < 1.0) == weak,
        Kind::Compression(factor) => !rebound && (factor < 1.0) == weak,
        Kind::Sealed => rebound && weak,
        _ => false,
    };
    match verdict.subject {
        Subject::Friction => machine.has(front, |kind| kind == Kind::Friction),
        Subject::Wear => machine.has(front, |kind| kind == Kind::Worn),
        Subject::Oil => machine.has(front, |kind| matches!(kind, Kind::OldOil | Kind::Level)),
        Subject::Spring => machine.has(front, |kind| match kind {
            Kind::Spring(steps) => (steps < 0.0) == more,
            _ => false,
        }),
        Subject::Preload => machine.has(front, |kind| kind == Kind::Preload),
        Subject::Valving => machine.has(front, |kind| circuit(kind, more)),
        Subject::Adjuster => {
            let closer = verdict.direction == Some(Direction::More);
            machine.has(front, |kind| circuit(kind, closer))
        }
        Subject::Unit => {
            machine.has(front, |kind| matches!(kind, Kind::Worn | Kind::Sealed))
                || machine.has(front, |kind| circuit(kind, more))
        }
        Subject::Whole => false,
    }
}

/// Whether a spring that is off shows as preload only: preload alone then leaves no more outside the end's targets than the
/// right spring would, or nothing sags without the rider, and taking preload out cannot wait.
fn preload_cures(machine: &Machine, front: bool) -> bool {
    let end = machine.end(front);
    let cured = end.wound_to(35.0);
    let right = truth::End {
        rate: end.right_rate,
        ..end.clone()
    };
    let out = |end: &truth::End| end.faults(machine.is_hard()).len();
    machine.has(front, |kind| matches!(kind, Kind::Spring(_)))
        && (end.static_sag() < 2.0 || out(&cured) <= out(&right.wound_to(35.0)))
}

/// The first thing that was moved back by more than half of what it had been moved.
fn moved_back(moves: &[Move]) -> Option<String> {
    // Less than a click, half a millimetre or 3 % is no move.
    let least = |what: &str| if what.contains("valving") { 0.03 } else { 0.75 };
    moves.iter().enumerate().find_map(|(index, later)| {
        let before: f64 = moves
            .iter()
            .take(index)
            .filter(|one| one.what == later.what)
            .map(|one| one.by)
            .sum();
        let back =
            before * later.by < 0.0 && later.by.abs() > before.abs() / 2.0 && later.by.abs() > least(&later.what);
        back.then(|| format!("{} by {:.1} after {before:.1}", later.what, later.by))
    })
}

/// A verdict of a judge that does not look.
fn blind(end: End, action: Action, subject: Subject, direction: Option<Direction>) -> Verdict {
    Verdict {
        action,
        end,
        subject,
        circuit: None,
        direction,
        amount: direction.map(|_| Amount::Steps(StepRange { least: 1.0, most: 1.0 })),
        hazard: false,
        confidence: Confidence::High,
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

fn blindly(verdicts: Vec<Verdict>, first: Option<usize>) -> Judgement {
    Judgement {
        verdicts,
        first,
        missing: Vec::new(),
        findings: Vec::new(),
        assumptions: Vec::new(),
        table_version: String::new(),
    }
}

/// A judge that always answers leave.
#[must_use]
pub fn always_leave(_: &Visit, _: &RuleTable) -> Judgement {
    let leave = |end| blind(end, Action::Leave, Subject::Whole, None);
    blindly(vec![leave(End::Front), leave(End::Rear)], None)
}

/// A judge that always answers respring.
#[must_use]
pub fn always_respring(_: &Visit, _: &RuleTable) -> Judgement {
    let spring = |end| blind(end, Action::Respring, Subject::Spring, Some(Direction::Stiffer));
    blindly(vec![spring(End::Front), spring(End::Rear)], Some(0))
}
