//! A trial of the judge: machines with known faults, an independent model of their readings, rounds of work until nothing but
//! settings is asked for. The model in `truth` shares nothing with what is tried.

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
        Ok(())
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
        let judged = judge(&readings::visit(rng, &machine), &table);
        let lines = judged.verdicts.iter().map(|one| {
            let waits = if one.waits_for.is_empty() { "" } else { " (waits)" };
            format!("{one}{waits}")
        });
        said.push(format!("[{}]", lines.collect::<Vec<_>>().join(" | ")));
        let quiet = judged
            .verdicts
            .iter()
            .all(|one| matches!(one.action, Action::Leave | Action::Set));
        if round == 0 {
            begin(&machine, &judged, quiet, tried, &mut wrong);
        }
        moves.extend(work::round(rng, &mut machine, &judged, judge));
        if quiet {
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

/// The first judgement: faultless machines are left alone, faults are named first.
fn begin(machine: &Machine, judged: &Judgement, quiet: bool, tried: &mut Tried, wrong: &mut Vec<String>) {
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
        if !out.is_empty() {
            tried.asked += 1;
            wrong.push(format!("nothing asked, though {}", out.join(", ")));
        }
        return;
    };
    tried.asked += 1;
    if is_true(machine, first) {
        tried.first_true += 1;
    } else {
        wrong.push(format!("first is no fault: {first}"));
    }
}

/// Whether a verdict names a fault that was built in, on its end and its way.
fn is_true(machine: &Machine, verdict: &Verdict) -> bool {
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
        Subject::Preload => preload_is_off(machine, front),
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

/// Preload is a fault where it was moved, or where a small fault of the spring took the total out of its range, or where
/// nothing sags without the rider.
fn preload_is_off(machine: &Machine, front: bool) -> bool {
    let end = machine.end(front);
    let total = end.total();
    let small = machine.has(front, |kind| matches!(kind, Kind::Spring(steps) if steps.abs() < 3.0));
    machine.has(front, |kind| kind == Kind::Preload)
        || end.static_sag() < 2.0
        || (small && !(30.0..=40.0).contains(&total))
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
        waits_for: Vec::new(),
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
