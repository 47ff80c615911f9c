//! Newton steps outside, the exact contact problem inside.

use super::band::{Band, at};
use super::contact::{self, Dense};
use super::model::Model;
use super::plate::{PER_NODE, Tangent};

/// Right sides solved together.
const LANES: usize = 8;
/// Movement of the last step below which a solution stands, mm.
const STILL: f64 = 1e-9;
/// Movement below which a solution that rounding keeps from standing is handed to the check, over the largest lift.
const NEARLY: f64 = 1e-7;
/// Newton steps at one load.
const STEPS: usize = 60;
/// Largest movement in a step, over the largest thickness: the membrane is far from what its tangent says beyond.
const REACH: f64 = 3.0;
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

/// A stack at a load.
#[derive(Debug, Clone)]
pub(super) struct State {
    /// Load, MPa.
    pub(super) pressure: f64,
    /// Unknowns of each disc.
    pub(super) x: Vec<Vec<f64>>,
    /// Ring forces, N.
    pub(super) forces: Vec<f64>,
    pub(super) touching: Vec<bool>,
    /// Newton steps taken for it.
    pub(super) steps: usize,
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

impl State {
    /// Undeformed, no force anywhere.
    pub(super) fn flat(model: &Model) -> Self {
        Self {
            pressure: 0.0,
            x: model.plates.iter().map(|plate| vec![0.0; plate.size()]).collect(),
            forces: vec![0.0; model.contacts.len()],
            touching: vec![false; model.contacts.len()],
            steps: 0,
        }
    }
}

/// The state at a load, from the state at another one; the way there is cut where one go does not end.
pub(super) fn solve(model: &Model, theory: Theory, from: &State, pressure: f64) -> Result<State, Stuck> {
    if pressure == from.pressure {
        return Solver::new(model, theory)
            .at(from, pressure)
            .or_else(|_| raised(model, theory, from));
    }
    loaded(model, theory, from, pressure)
}

/// Parts in which a seat is raised into the stack where one go does not end.
const RAISES: u32 = 16;

/// The state at the same load, the seat raised bit by bit.
fn raised(model: &Model, theory: Theory, from: &State) -> Result<State, Stuck> {
    let mut state = from.clone();
    let mut steps = 0;
    for part in 1..=RAISES {
        let mut partly = model.clone();
        for contact in partly.contacts.iter_mut().filter(|contact| contact.gap < 0.0) {
            contact.gap *= f64::from(part) / f64::from(RAISES);
        }
        state = Solver::new(&partly, theory).at(&state, from.pressure)?;
        steps += state.steps;
    }
    state.steps = steps;
    Ok(state)
}

fn loaded(model: &Model, theory: Theory, from: &State, pressure: f64) -> Result<State, Stuck> {
    let mut state = from.clone();
    let mut solver = Solver::new(model, theory);
    let mut steps = 0;
    let mut part = pressure - from.pressure;
    let mut halved = 0;
    loop {
        let next = if (pressure - state.pressure).abs() <= part.abs() * (1.0 + 1e-9) {
            pressure
        } else {
            state.pressure + part
        };
        match solver.at(&state, next) {
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

struct Solver<'a> {
    model: &'a Model,
    theory: Theory,
    bands: Vec<Band>,
}

/// A contact's part on a disc: its entries on lift and slope of its ring.
#[derive(Debug, Clone, Copy)]
struct Grip {
    contact: usize,
    node: usize,
    lift: f64,
    slope: f64,
}

impl<'a> Solver<'a> {
    fn new(model: &'a Model, theory: Theory) -> Self {
        Self {
            model,
            theory,
            bands: model.plates.iter().map(|plate| Band::new(plate.size())).collect(),
        }
    }

    fn at(&mut self, from: &State, pressure: f64) -> Result<State, Stuck> {
        let mut state = from.clone();
        state.pressure = pressure;
        let mut moved = f64::INFINITY;
        for steps in 1..=STEPS {
            state.steps = steps;
            let (movement, whole) = self.step(&mut state, steps)?;
            if !movement.is_finite() {
                return Err(Stuck::NotDefinite { steps });
            }
            if whole && (movement < STILL || self.theory == Theory::Small) {
                return Ok(state);
            }
            // Rounding sets a floor where rings lie close together; the check decides whether it is low enough.
            if whole && steps > STEPS / 2 && movement < NEARLY * largest(&state.x).max(0.01) && movement >= 0.5 * moved
            {
                return Ok(state);
            }
            moved = movement;
        }
        Err(Stuck::NotStill {
            movement: moved,
            steps: STEPS,
        })
    }

    /// One step; the largest movement, and whether it was taken whole.
    fn step(&mut self, state: &mut State, steps: usize) -> Result<(f64, bool), Stuck> {
        let model = self.model;
        let size = model.contacts.len();
        let mut give = Dense::new(size);
        let mut gaps: Vec<f64> = (0..size)
            .map(|index| gap(model, self.theory, &state.x, index))
            .collect();
        let mut loads = Vec::with_capacity(model.plates.len());
        let mut grips = Vec::with_capacity(model.plates.len());
        for (index, plate) in model.plates.iter().enumerate() {
            let (Some(band), Some(x)) = (self.bands.get_mut(index), state.x.get(index)) else {
                return Err(Stuck::NotDefinite { steps });
            };
            let pressed = pressed(model, self.theory, index, &state.forces);
            let kind = if self.theory == Theory::Small {
                Tangent::Bending
            } else {
                Tangent::Full
            };
            plate.tangent(x, kind, &pressed, band);
            if !band.factor() {
                plate.tangent(x, Tangent::Stiffened, &pressed, band);
                if !band.factor() {
                    return Err(Stuck::NotDefinite { steps });
                }
            }
            let internal = plate.internal(x, self.theory == Theory::Large);
            let mut out: Vec<[f64; 1]> = internal
                .iter()
                .zip(&plate.load)
                .enumerate()
                .map(|(unknown, (f, load))| {
                    [if plate.is_held(unknown) {
                        0.0
                    } else {
                        state.pressure * load - f
                    }]
                })
                .collect();
            band.forward(&mut out, 0);
            let own = grips_of(model, self.theory, index, x);
            let columns = half_columns(band, &own, plate.size());
            add_give(&mut give, &own, &columns);
            for (block, owners) in columns.iter().zip(own.chunks(LANES)) {
                for (lane, grip) in owners.iter().enumerate() {
                    let rows = block.rows.iter().zip(&out).skip(block.from);
                    let change: f64 = rows.map(|(row, [y])| at(row, lane) * y).sum();
                    if let Some(gap) = gaps.get_mut(grip.contact) {
                        *gap += change;
                    }
                }
            }
            loads.push(out);
            grips.push((own, columns));
        }
        let forces = contact::solve(&give, &gaps, &mut state.touching).ok_or(Stuck::Contact { steps })?;
        let mut moves = Vec::with_capacity(loads.len());
        for ((band, mut out), (own, columns)) in self.bands.iter().zip(loads).zip(&grips) {
            for (block, owners) in columns.iter().zip(own.chunks(LANES)) {
                let share: Vec<f64> = owners.iter().map(|grip| at(&forces, grip.contact)).collect();
                if share.iter().all(|force| *force == 0.0) {
                    continue;
                }
                for ([y], row) in out.iter_mut().zip(&block.rows).skip(block.from) {
                    *y += share.iter().zip(row).map(|(force, entry)| force * entry).sum::<f64>();
                }
            }
            band.backward(&mut out);
            moves.push(out);
        }
        let movement = moves
            .iter()
            .flat_map(|out| out.iter().step_by(PER_NODE))
            .fold(
                0.0_f64,
                |most, [dw]| if dw.is_nan() { f64::NAN } else { most.max(dw.abs()) },
            );
        let share = match self.theory {
            Theory::Small => 1.0,
            Theory::Large => (REACH * model.thickest / movement).min(1.0),
        };
        for (x, out) in state.x.iter_mut().zip(&moves) {
            for (x, [dx]) in x.iter_mut().zip(out) {
                *x += share * dx;
            }
        }
        state.forces = forces;
        Ok((movement, share >= 1.0))
    }
}

fn largest(x: &[Vec<f64>]) -> f64 {
    x.iter()
        .flat_map(|x| x.iter().step_by(PER_NODE))
        .fold(0.0, |most, w| most.max(w.abs()))
}

/// Gap at a contact, mm. A tilted disc is thicker along the axis, `t/cos(slope)`: a quarter of `t w'^2` on each side of
/// its middle plane, to the first order that is left out otherwise.
pub(super) fn gap(model: &Model, theory: Theory, x: &[Vec<f64>], index: usize) -> f64 {
    let Some(contact) = model.contacts.get(index) else {
        return f64::NAN;
    };
    let side = |plate: Option<usize>| {
        let Some(plate) = plate else { return (0.0, 0.0) };
        let (Some(x), Some(disc)) = (x.get(plate), model.plates.get(plate)) else {
            return (f64::NAN, f64::NAN);
        };
        let slope = at(x, contact.node * PER_NODE + 1);
        let tilted = match theory {
            Theory::Small => 0.0,
            Theory::Large => disc.thickness * slope * slope / 4.0,
        };
        (at(x, contact.node * PER_NODE), tilted)
    };
    let ((below, tilted), (above, tilted_above)) = (side(contact.lower), side(contact.upper));
    contact.gap + above - below - tilted - tilted_above
}

/// What the ring forces add to each slope's stiffness of a disc through the tilted thickness.
fn pressed(model: &Model, theory: Theory, plate: usize, forces: &[f64]) -> Vec<f64> {
    let Some(disc) = model.plates.get(plate) else {
        return Vec::new();
    };
    let mut pressed = vec![0.0; disc.nodes];
    if theory == Theory::Large {
        for &index in model.of_plate.get(plate).into_iter().flatten() {
            if let Some(contact) = model.contacts.get(index)
                && let Some(place) = pressed.get_mut(contact.node)
            {
                *place += at(forces, index) * disc.thickness / 2.0;
            }
        }
    }
    pressed
}

fn grips_of(model: &Model, theory: Theory, plate: usize, x: &[f64]) -> Vec<Grip> {
    let thickness = model.plates.get(plate).map_or(f64::NAN, |disc| disc.thickness);
    let grip = |&index: &usize| {
        let contact = model.contacts.get(index)?;
        let slope = at(x, contact.node * PER_NODE + 1);
        Some(Grip {
            contact: index,
            node: contact.node,
            lift: if contact.upper == Some(plate) { 1.0 } else { -1.0 },
            slope: if theory == Theory::Large {
                -thickness * slope / 2.0
            } else {
                0.0
            },
        })
    };
    model
        .of_plate
        .get(plate)
        .into_iter()
        .flatten()
        .filter_map(grip)
        .collect()
}

/// Some columns of `L^-1 E`, zero above `from`.
struct Block {
    from: usize,
    rows: Vec<[f64; LANES]>,
}

/// `L^-1 E` of a disc's contacts: the give is its product with itself, and the second half of the solve is done once.
fn half_columns(band: &Band, grips: &[Grip], size: usize) -> Vec<Block> {
    let block = |owners: &[Grip]| {
        let from = owners.first().map_or(0, |grip| grip.node * PER_NODE);
        let mut rows = vec![[0.0; LANES]; size];
        for (lane, grip) in owners.iter().enumerate() {
            for (unknown, value) in [
                (grip.node * PER_NODE, grip.lift),
                (grip.node * PER_NODE + 1, grip.slope),
            ] {
                if let Some(entry) = rows.get_mut(unknown).and_then(|row| row.get_mut(lane)) {
                    *entry = value;
                }
            }
        }
        band.forward(&mut rows, from);
        Block { from, rows }
    };
    grips.chunks(LANES).map(block).collect()
}

fn add_give(give: &mut Dense, grips: &[Grip], columns: &[Block]) {
    let owners = || columns.iter().zip(grips.chunks(LANES)).enumerate();
    for (first, (a, rows)) in owners() {
        for (second, (b, others)) in owners().take(first + 1) {
            let mut square = [[0.0; LANES]; LANES];
            for (left, right) in a.rows.iter().zip(&b.rows).skip(a.from.max(b.from)) {
                for (sums, left) in square.iter_mut().zip(left) {
                    for (sum, right) in sums.iter_mut().zip(right) {
                        *sum += left * right;
                    }
                }
            }
            for (row, sums) in rows.iter().zip(&square) {
                for (column, sum) in others.iter().zip(sums) {
                    give.add(row.contact, column.contact, *sum);
                    if second < first {
                        give.add(column.contact, row.contact, *sum);
                    }
                }
            }
        }
    }
}
