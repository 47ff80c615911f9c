//! The shop does what it was told; everything moved is written down.

use mechanics::judgement::{Action, Amount, Circuit, Confidence, Direction, Judgement, RuleTable, Subject, Verdict};
use mechanics::quantity::{LengthUnit, Quantity, StiffnessUnit};
use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::readings;
use super::truth::{End, Machine};

/// What was moved, signed, with the name of what it is.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Move {
    pub(super) what: String,
    pub(super) by: f64,
}

/// Does every verdict that waits for nothing, in the order given.
pub(super) fn round(
    rng: &mut ChaCha8Rng,
    machine: &mut Machine,
    judged: &Judgement,
    judge: &dyn Fn(&mechanics::judgement::Visit, &RuleTable) -> Judgement,
) -> Vec<Move> {
    let mut moves = Vec::new();
    let table = RuleTable::shipped();
    let ready = |verdict: &&Verdict| verdict.waits_for.is_empty() && !verdict.waits_for_check;
    for verdict in judged.verdicts.iter().filter(ready) {
        let told = if is_measured_again(verdict) {
            let mut read = || {
                let again = judge(&readings::visit(rng, machine), &table);
                again.verdicts.into_iter().find(|one| {
                    (one.end, one.subject, one.direction) == (verdict.end, verdict.subject, verdict.direction)
                })
            };
            // Where a second reading does not bear it out, a third one decides.
            match read().or_else(read) {
                None => continue,
                Some(again) if change(machine, &again) < change(machine, verdict) => again,
                Some(_) => verdict.clone(),
            }
        } else {
            verdict.clone()
        };
        carry_out(rng, machine, &told, &mut moves);
    }
    moves
}

/// A spring is measured for again before it is bought where its amount is a range or the verdict is not sure.
fn is_measured_again(verdict: &Verdict) -> bool {
    let is_range = matches!(verdict.amount, Some(Amount::Steps(range)) if range.least < range.most);
    verdict.action == Action::Respring && (is_range || verdict.confidence == Confidence::Low)
}

/// The rate a verdict names of what is at hand, N/mm of one spring, with its preload, mm.
fn named(verdict: &Verdict) -> Option<(f64, f64)> {
    let (candidate, ranked) = verdict
        .springs
        .as_ref()?
        .ranked
        .first()
        .filter(|(_, ranked)| ranked.fits())?;
    let rate = candidate.springs.first()?.rate.get(StiffnessUnit::NewtonPerMillimeter);
    Some((rate, ranked.preload.get(LengthUnit::Millimeter)))
}

/// The rate a verdict asks for: of the spring it names, else by the most of its steps.
fn asked(end: &End, verdict: &Verdict) -> f64 {
    let by_steps = || {
        let most = match verdict.amount {
            Some(Amount::Steps(range)) => range.most.max(1.0),
            _ => 1.0,
        };
        let way = if verdict.direction == Some(Direction::Softer) {
            -1.0
        } else {
            1.0
        };
        end.rate + way * most * end.step
    };
    named(verdict).map_or_else(by_steps, |(rate, _)| rate).max(end.step)
}

/// How far a verdict goes from the rate there is.
fn change(machine: &Machine, verdict: &Verdict) -> f64 {
    let end = machine.end(verdict.end == mechanics::judgement::End::Front);
    (asked(end, verdict) - end.rate).abs()
}

fn carry_out(rng: &mut ChaCha8Rng, machine: &mut Machine, verdict: &Verdict, moves: &mut Vec<Move>) {
    let is_front = verdict.end == mechanics::judgement::End::Front;
    let place = verdict.end.word();
    let end = machine.end_mut(is_front);
    match (verdict.action, verdict.subject) {
        (Action::Leave, _) => {}
        (Action::Set, Subject::Preload) => set_preload(end, verdict, place, moves),
        (Action::Set, _) => set_adjuster(end, verdict, place, moves),
        (Action::Service, Subject::Friction) => end.friction = end.usual_friction,
        (Action::Service, Subject::Wear) => end.is_worn = false,
        (Action::Service, _) => {
            let gap = end.right_gap - end.gap;
            if gap.abs() > 4.0 {
                moves.push(Move {
                    what: format!("{place} oil level"),
                    by: gap,
                });
            }
            end.oil_months = 0.0;
            end.gap = end.right_gap;
            free(end);
        }
        (Action::Respring, _) => respring(end, verdict, place, moves),
        (Action::Revalve, _) => {
            if let (Some(Amount::DampingFactor { factor, .. }), Some(circuit)) = (verdict.amount, verdict.circuit) {
                // A stack is built to a few percent.
                let built = factor * rng.random_range(0.95..1.05);
                let one = circuit_mut(end, circuit);
                one.valving *= built;
                one.fixed = None;
                moves.push(Move {
                    what: format!("{place} {} valving", circuit.word()),
                    by: built.ln(),
                });
            }
        }
        (Action::Replace, _) => {
            for circuit in [Circuit::COMPRESSION, Circuit::REBOUND] {
                circuit_mut(end, circuit).valving = (end.rate / end.right_rate).sqrt() * rng.random_range(0.95..1.05);
            }
            end.is_worn = false;
            end.is_sealed = false;
            end.oil_months = 0.0;
            end.friction = end.usual_friction;
            end.gap = end.right_gap;
            free(end);
        }
    }
}

/// The rider finds the settings anew.
fn free(end: &mut End) {
    end.compression.fixed = None;
    end.rebound.fixed = None;
}

fn circuit_mut(end: &mut End, circuit: Circuit) -> &mut super::truth::Circuit {
    if circuit.stroke == Circuit::REBOUND.stroke {
        &mut end.rebound
    } else {
        &mut end.compression
    }
}

fn set_preload(end: &mut End, verdict: &Verdict, place: &str, moves: &mut Vec<Move>) {
    let before = end.preload;
    match verdict.amount {
        Some(Amount::Preload(preload)) => end.preload = (preload.get(LengthUnit::Millimeter) * 2.0).round() / 2.0,
        // Without an amount: until it sags a little by itself.
        _ if verdict.direction == Some(Direction::Less) => {
            while end.static_sag() < 5.0 && end.preload > 0.0 {
                end.preload -= 0.5;
            }
        }
        _ => {}
    }
    // Millimetres at the wheel count, of this spring.
    let by = (end.preload - before) / end.motion;
    moves.push(Move {
        what: format!("{place} preload of {:.2}", end.rate),
        by,
    });
}

fn set_adjuster(end: &mut End, verdict: &Verdict, place: &str, moves: &mut Vec<Move>) {
    if let (Some(Amount::Position { from_closed, .. }), Some(circuit)) = (verdict.amount, verdict.circuit) {
        let before = end.position(circuit.stroke == Circuit::REBOUND.stroke);
        circuit_mut(end, circuit).fixed = Some(from_closed);
        moves.push(Move {
            what: format!("{place} {} adjuster", circuit.word()),
            by: from_closed - before,
        });
    }
}

fn respring(end: &mut End, verdict: &Verdict, place: &str, moves: &mut Vec<Move>) {
    let preload = named(verdict).map(|(_, preload)| preload).or_else(|| {
        let after = verdict.after?.preload?;
        Some(after.get(LengthUnit::Millimeter))
    });
    let rate = asked(end, verdict);
    moves.push(Move {
        what: format!("{place} spring"),
        by: (rate - end.rate) / end.step,
    });
    end.rate = rate;
    if let Some(preload) = preload {
        end.preload = preload.clamp(0.0, end.most_preload);
    }
    free(end);
}
