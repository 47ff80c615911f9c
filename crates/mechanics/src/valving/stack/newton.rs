//! Newton steps outside, the exact contact problem inside.
//!
//! A whole step factors every disc's tangent and joins the discs at their rings. As long as the movement shrinks fast, the
//! steps after it go on with those factors: what is out of balance is always taken from the state itself, so that they end
//! where whole steps would.

use super::block::{Chain, Node, PER_NODE, add, at, most};
use super::contact::{Contacts, Dense};
use super::model::{Grip, Model};
use super::plate::{Plate, Tangent};
use super::state::State;

/// Movement of the last whole step below which a solution stands, mm.
const STILL: f64 = 1e-9;
/// Movement of a step with kept factors below which a solution stands, over the largest lift: those converge in proportion
/// alone.
const STILL_KEPT: f64 = 1e-10;
/// Movement below which a solution that rounding keeps from standing is handed to the check, over the largest lift.
const NEARLY: f64 = 1e-7;
/// Newton steps at one load.
const STEPS: usize = 60;
/// Largest movement in a step, over the largest thickness: the membrane is far from what its tangent says beyond.
const REACH: f64 = 3.0;
/// Movement of a whole step up to which its factors are worth a further one, over the largest thickness.
const NEAR: f64 = 0.1;
/// Share of the last movement above which kept factors are given up.
const SLOW: f64 = 0.1;
/// Halvings of a load step that does not end.
const HALVINGS: usize = 10;

/// Which theory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Theory {
    /// Bending only, gaps as undeformed.
    Small,
    /// Membrane, and discs that are thicker along the axis when tilted.
    Large,
}

/// Why a state was not found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Stuck {
    /// Movement of the last step, mm, after so many steps.
    NotStill { movement: f64, steps: usize },
    /// A matrix is not positive definite, or a value is no number.
    NotDefinite { steps: usize },
    /// The contact problem of a step did not end.
    Contact { steps: usize },
}

/// Parts in which a seat is raised into the stack where one go does not end.
const RAISES: u32 = 16;

/// A disc's part of the work.
#[derive(Debug, Clone)]
struct Disc {
    chain: Chain,
    /// Slopes at which it was factored.
    slopes: Vec<f64>,
    /// What the ring forces add to the stiffness of its slopes.
    pressed: Vec<f64>,
    /// What is out of balance, then how the disc moves.
    moves: Vec<Node>,
    /// The same of the ring forces.
    by_forces: Vec<Node>,
}

/// Solves a model at one load after the other, in the same room.
#[derive(Debug, Clone)]
pub(super) struct Newton {
    discs: Vec<Disc>,
    contacts: Contacts,
    gaps: Vec<f64>,
}

impl Newton {
    pub(super) fn new(model: &Model) -> Self {
        let disc = |plate: &Plate| Disc {
            chain: Chain::new(plate.nodes),
            slopes: vec![0.0; plate.nodes],
            pressed: vec![0.0; plate.nodes],
            moves: vec![[0.0; PER_NODE]; plate.nodes],
            by_forces: vec![[0.0; PER_NODE]; plate.nodes],
        };
        Self {
            discs: model.plates.iter().map(disc).collect(),
            contacts: Contacts::new(model.contacts.len()),
            gaps: Vec::with_capacity(model.contacts.len()),
        }
    }

    /// The state at a load, from those at loads before it, the nearest last; the way there is cut where one go does not
    /// end.
    pub(super) fn solve(&mut self, model: &Model, before: &[State], pressure: f64) -> Result<State, Stuck> {
        let Some(from) = before.last() else {
            return Err(Stuck::NotDefinite { steps: 0 });
        };
        if pressure == from.pressure {
            let here = self.at(model, from.clone(), pressure);
            return here.or_else(|_| self.raised(model, from));
        }
        let foreseen = State::foreseen(before, pressure).and_then(|start| self.at(model, start, pressure).ok());
        foreseen.map_or_else(|| self.loaded(model, from, pressure), Ok)
    }

    /// The state at the same load, the seat raised bit by bit.
    fn raised(&mut self, model: &Model, from: &State) -> Result<State, Stuck> {
        let mut state = from.clone();
        let mut steps = 0;
        let mut partly = model.clone();
        for part in 1..=RAISES {
            for (contact, whole) in partly.contacts.iter_mut().zip(&model.contacts) {
                if whole.gap < 0.0 {
                    contact.gap = whole.gap * f64::from(part) / f64::from(RAISES);
                }
            }
            state = self.at(&partly, state, from.pressure)?;
            steps += state.steps;
        }
        state.steps = steps;
        Ok(state)
    }

    fn loaded(&mut self, model: &Model, from: &State, pressure: f64) -> Result<State, Stuck> {
        let mut state = from.clone();
        let mut steps = 0;
        let mut part = pressure - from.pressure;
        let mut halved = 0;
        loop {
            let next = if (pressure - state.pressure).abs() <= part.abs() * (1.0 + 1e-9) {
                pressure
            } else {
                state.pressure + part
            };
            match self.at(model, state.clone(), next) {
                Ok(reached) => {
                    steps += reached.steps;
                    state = reached;
                    if next == pressure {
                        state.steps = steps;
                        return Ok(state);
                    }
                    part *= 2.0;
                }
                Err(stuck) if halved >= HALVINGS || part == 0.0 => return Err(stuck),
                Err(_) => {
                    halved += 1;
                    part *= 0.5;
                }
            }
        }
    }

    /// The state at a load, from a start.
    fn at(&mut self, model: &Model, start: State, pressure: f64) -> Result<State, Stuck> {
        let mut state = start;
        state.pressure = pressure;
        let mut moved = f64::INFINITY;
        let mut kept = false;
        for steps in 1..=STEPS {
            state.steps = steps;
            if !kept {
                self.factor(model, &state).ok_or(Stuck::NotDefinite { steps })?;
            }
            let movement = self.step(model, &mut state).ok_or(Stuck::Contact { steps })?;
            if !movement.is_finite() {
                return Err(Stuck::NotDefinite { steps });
            }
            let whole = movement <= REACH * model.thickest;
            let shrinks = movement / moved;
            if whole && !kept && movement < STILL {
                return Ok(state);
            }
            let largest = most(state.x.iter().flatten().map(|x| x[0]));
            if whole && kept && movement <= STILL_KEPT * largest && shrinks <= SLOW {
                return Ok(state);
            }
            // Rounding sets a floor where rings lie close together; the check decides whether it is low enough.
            let floor = NEARLY * largest.max(0.01);
            if whole && steps > STEPS / 2 && movement < floor && movement >= 0.5 * moved {
                return Ok(state);
            }
            kept = whole
                && if kept {
                    shrinks <= SLOW
                } else {
                    movement <= NEAR * model.thickest
                };
            moved = movement;
        }
        Err(Stuck::NotStill {
            movement: moved,
            steps: STEPS,
        })
    }

    /// Factors of every disc's tangent in a state, and how much each ring gives to a force on another. `None` where a
    /// tangent is not positive definite.
    fn factor(&mut self, model: &Model, state: &State) -> Option<()> {
        for (((disc, plate), grips), x) in self.discs.iter_mut().zip(&model.plates).zip(&model.grips).zip(&state.x) {
            disc.pressed.fill(0.0);
            for grip in grips {
                if let Some(pressed) = disc.pressed.get_mut(grip.node) {
                    *pressed += at(&state.forces, grip.contact) * plate.thickness / 2.0;
                }
            }
            for (slope, x) in disc.slopes.iter_mut().zip(x) {
                *slope = x[1];
            }
            plate.tangent(x, Tangent::Full, &disc.pressed, &mut disc.chain);
            if !disc.chain.factor() {
                plate.tangent(x, Tangent::Stiffened, &disc.pressed, &mut disc.chain);
                if !disc.chain.factor() {
                    return None;
                }
            }
            if !grips.is_empty() {
                disc.chain.invert();
            }
        }
        let discs = &self.discs;
        self.contacts.give(|give| {
            for ((disc, plate), grips) in discs.iter().zip(&model.plates).zip(&model.grips) {
                add_give(give, disc, plate.thickness, grips);
            }
        });
        Some(())
    }

    /// One step; the largest movement. A longer one than [`REACH`] is not taken whole. `None` where its contact problem has
    /// no solution.
    fn step(&mut self, model: &Model, state: &mut State) -> Option<f64> {
        self.gaps.clear();
        let gaps = (0..model.contacts.len()).map(|index| gap(model, Theory::Large, &state.x, index));
        self.gaps.extend(gaps);
        for (((disc, plate), grips), x) in self.discs.iter_mut().zip(&model.plates).zip(&model.grips).zip(&state.x) {
            plate.internal(x, &mut disc.moves);
            for (rest, load) in disc.moves.iter_mut().zip(&plate.load) {
                *rest = rest.map(|force| -force);
                add(rest, state.pressure, load);
            }
            // The factors know the tilt they were made at.
            for grip in grips {
                let (Some(rest), Some(x)) = (disc.moves.get_mut(grip.node), x.get(grip.node)) else {
                    return None;
                };
                let tilt = tilted(plate.thickness, x[1] - at(&disc.slopes, grip.node));
                rest[1] += at(&state.forces, grip.contact) * tilt;
            }
            for (rest, held) in disc.moves.iter_mut().take(1).flatten().zip(plate.held) {
                if held {
                    *rest = 0.0;
                }
            }
            disc.chain.solve(&mut disc.moves);
            for grip in grips {
                let slope = tilted(plate.thickness, at(&disc.slopes, grip.node));
                if let (Some(gap), Some(moves)) = (self.gaps.get_mut(grip.contact), disc.moves.get(grip.node)) {
                    *gap += grip.lift * moves[0] + slope * moves[1];
                }
            }
        }
        state.forces = self.contacts.solve(&self.gaps, &mut state.touching)?;
        for ((disc, plate), grips) in self.discs.iter_mut().zip(&model.plates).zip(&model.grips) {
            disc.by_forces.fill([0.0; PER_NODE]);
            for grip in grips {
                if let Some(moves) = disc.by_forces.get_mut(grip.node) {
                    let force = at(&state.forces, grip.contact);
                    moves[0] += force * grip.lift;
                    moves[1] += force * tilted(plate.thickness, at(&disc.slopes, grip.node));
                }
            }
            if !grips.is_empty() {
                disc.chain.solve(&mut disc.by_forces);
            }
            for (moves, more) in disc.moves.iter_mut().zip(&disc.by_forces) {
                add(moves, 1.0, more);
            }
        }
        let movement = most(self.discs.iter().flat_map(|disc| &disc.moves).map(|moves| moves[0]));
        let share = (REACH * model.thickest / movement).min(1.0);
        for (x, disc) in state.x.iter_mut().zip(&self.discs) {
            for (x, moves) in x.iter_mut().zip(&disc.moves) {
                add(x, share, moves);
            }
        }
        Some(movement)
    }
}

/// Gap at a contact, mm. A tilted disc is thicker along the axis, `t/cos(slope)`: a quarter of `t w'^2` on each side of
/// its middle plane, to the first order that is left out otherwise.
pub(super) fn gap(model: &Model, theory: Theory, x: &[Vec<Node>], index: usize) -> f64 {
    let Some(contact) = model.contacts.get(index) else {
        return f64::NAN;
    };
    let side = |plate: Option<usize>| {
        let Some(plate) = plate else { return (0.0, 0.0) };
        let (Some(disc), Some([lift, slope, ..])) =
            (model.plates.get(plate), x.get(plate).and_then(|x| x.get(contact.node)))
        else {
            return (f64::NAN, f64::NAN);
        };
        let tilted = match theory {
            Theory::Small => 0.0,
            Theory::Large => disc.thickness * slope * slope / 4.0,
        };
        (*lift, tilted)
    };
    let ((below, tilted), (above, tilted_above)) = (side(contact.lower), side(contact.upper));
    contact.gap + above - below - tilted - tilted_above
}

/// How much a gap changes with the slope of a disc beside it.
pub(super) fn tilted(thickness: f64, slope: f64) -> f64 {
    -thickness * slope / 2.0
}

/// Adds what a disc gives at each of its rings to a force on another.
fn add_give(give: &mut Dense, disc: &Disc, thickness: f64, grips: &[Grip]) {
    let rings: Vec<(usize, f64, &[Grip])> = grips
        .chunk_by(|a, b| a.node == b.node)
        .filter_map(|own| {
            let node = own.first()?.node;
            Some((node, tilted(thickness, at(&disc.slopes, node)), own))
        })
        .collect();
    for (index, &(node, tilt, own)) in rings.iter().enumerate() {
        let mut join = |(of_tilt, others): (f64, &[Grip]), [lift, slope]: &[Node; 2], mirrored: bool| {
            let both = of_tilt * tilt * slope[1];
            for by in own {
                for of in others {
                    let lifts = of.lift * (by.lift * lift[0] + tilt * slope[0]);
                    let value = lifts + by.lift * of_tilt * lift[1] + both;
                    give.add(of.contact, by.contact, value);
                    if mirrored {
                        give.add(by.contact, of.contact, value);
                    }
                }
            }
        };
        let here = disc.chain.inverse_at(node);
        join((tilt, own), &here, false);
        let mut nearer = rings.iter().take(index).rev().peekable();
        for (node, columns) in (0..node).rev().zip(disc.chain.towards_first(node, here)) {
            let Some(&&(other, of_tilt, others)) = nearer.peek() else {
                break;
            };
            if other == node {
                join((of_tilt, others), &columns, true);
                nearer.next();
            }
        }
    }
}
