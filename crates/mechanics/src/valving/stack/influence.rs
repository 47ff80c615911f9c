//! Exact influence functions of a disc for small deflection: the oracle of the elements, and the fast mode.
//!
//! A disc clamped at `a`, free at `b`, under a ring load of 1 N in all at radius `s` lifts by
//!
//! ```text
//! G(r,s) = [K(lo,hi) + 2 F(r) F(s)/A] / (2 pi D),   lo = min(r,s), hi = max(r,s)
//! F(x) = (x^2 - a^2)/4 - (a^2/2) ln(x/a),           A = a^2 + b^2 (1 + nu)/(1 - nu)
//! K = (lo^2 - a^2)/4 + (lo^2/4) ln(hi/lo) - (a^2/4) ln(hi/a) - [(a^2/2) ln(hi/a) + a^2/4] ln(lo/a)
//! M_r(a) = [2 F(s)/A + ln(s/a)] / (2 pi)
//! ```
//!
//! Derived by three integrations of the shear `1/(2 pi r)`; it agrees with Roark's Formulas for Stress and Strain, Table
//! 11.2, cases 1l and 2l, and Timoshenko and Woinowsky-Krieger's table of annular plates.

use std::f64::consts::PI;

use super::block::at;
use super::contact::Contacts;
use super::load::Load;
use super::model::Model;
use super::newton::{Stuck, Theory, gap};
use super::state::State;

/// A disc for small deflection. mm, N, MPa.
#[derive(Debug, Clone, Copy)]
pub(super) struct Disc {
    pub(super) clamp: f64,
    pub(super) edge: f64,
    /// `E t^3 / (12 (1 - nu^2))`, N mm.
    pub(super) bending: f64,
    pub(super) poisson: f64,
}

impl Disc {
    fn f(&self, x: f64) -> f64 {
        let a2 = self.clamp * self.clamp;
        (x * x - a2) / 4.0 - a2 / 2.0 * (x / self.clamp).ln()
    }

    fn a(&self) -> f64 {
        self.clamp * self.clamp + self.edge * self.edge * (1.0 + self.poisson) / (1.0 - self.poisson)
    }

    /// Lift at `r`, mm/N.
    pub(super) fn lift(&self, r: f64, s: f64) -> f64 {
        let (lo, hi) = (r.min(s), r.max(s));
        let a2 = self.clamp * self.clamp;
        let (far, near) = ((hi / self.clamp).ln(), (lo / self.clamp).ln());
        let k =
            (lo * lo - a2) / 4.0 + lo * lo / 4.0 * (hi / lo).ln() - a2 / 4.0 * far - (a2 / 2.0 * far + a2 / 4.0) * near;
        (k + 2.0 * self.f(lo) * self.f(hi) / self.a()) / (2.0 * PI * self.bending)
    }

    /// Slope at `r`, 1/N.
    fn slope(&self, r: f64, s: f64) -> f64 {
        let a2 = self.clamp * self.clamp;
        let curved = 2.0 * self.f(s) / self.a();
        let moment = if r < s {
            curved * (r * r - a2) / 2.0 + r * r / 2.0 * (s / r).ln() + r * r / 4.0
                - a2 / 2.0 * (s / self.clamp).ln()
                - a2 / 4.0
        } else {
            let (b2, nu) = (self.edge * self.edge, self.poisson);
            curved / 2.0 * (r * r + b2 * (1.0 + nu) / (1.0 - nu))
        };
        moment / (2.0 * PI * self.bending * r)
    }

    /// Moment at the clamp, N mm/mm per N; the loaded side is in tension.
    pub(super) fn clamp_moment(&self, s: f64) -> f64 {
        (2.0 * self.f(s) / self.a() + (s / self.clamp).ln()) / (2.0 * PI)
    }

    /// Lift at `r` under unit pressure, mm/MPa: the load in pieces on which everything is smooth.
    pub(super) fn lift_under(&self, load: &Load, r: f64) -> f64 {
        self.under(load, r, |s| self.lift(r, s))
    }

    fn under(&self, load: &Load, r: f64, of_ring: impl Fn(f64) -> f64) -> f64 {
        let mut ends: Vec<f64> = load.corners().chain([r, self.clamp, self.edge]).collect();
        // Four points a piece are exact to degree 7; the logarithms ask for pieces that are short against their radius.
        ends.extend((1..64).map(|k| self.clamp + (self.edge - self.clamp) * f64::from(k) / 64.0));
        ends.retain(|x| (self.clamp..=self.edge).contains(x));
        ends.sort_by(f64::total_cmp);
        let pieces = ends.iter().zip(ends.iter().skip(1)).filter(|(from, to)| to > from);
        pieces
            .map(|(from, to)| {
                let [sum] = load.on_element(*from, *to, |x| [of_ring(from + x * (to - from))]);
                sum
            })
            .sum()
    }
}

/// The load of a stack with the discs as [`Disc`]s.
pub(super) struct Oracle<'a> {
    model: &'a Model,
    discs: Vec<Disc>,
    /// Lift and slope of the face disc at each ring under unit pressure.
    face: Vec<(f64, f64)>,
    contacts: Contacts,
    /// Moment of unit pressure at the face disc's clamp.
    face_moment: f64,
}

impl<'a> Oracle<'a> {
    pub(super) fn new(model: &'a Model, load: &Load, modulus: f64, poisson: f64) -> Self {
        let edge = |nodes: usize| at(&model.rings, nodes.saturating_sub(1));
        let discs: Vec<Disc> = model
            .plates
            .iter()
            .map(|plate| Disc {
                clamp: model.clamp,
                edge: edge(plate.nodes),
                bending: modulus * plate.thickness.powi(3) / (12.0 * (1.0 - poisson * poisson)),
                poisson,
            })
            .collect();
        let (face, face_moment) = match (discs.first(), model.plates.first()) {
            (Some(disc), Some(plate)) => {
                let rings = model.rings.iter().take(plate.nodes).skip(1);
                let own = rings.map(|&r| (disc.lift_under(load, r), disc.under(load, r, |s| disc.slope(r, s))));
                (
                    std::iter::once((0.0, 0.0)).chain(own).collect(),
                    disc.under(load, disc.clamp, |s| disc.clamp_moment(s)),
                )
            }
            _ => (Vec::new(), f64::NAN),
        };
        let mut contacts = Contacts::new(model.contacts.len());
        contacts.give(|give| {
            for (disc, own) in discs.iter().zip(&model.grips) {
                for row in own {
                    for column in own {
                        let lift = disc.lift(at(&model.rings, row.node), at(&model.rings, column.node));
                        give.add(row.contact, column.contact, row.lift * column.lift * lift);
                    }
                }
            }
        });
        Self {
            model,
            discs,
            face,
            contacts,
            face_moment,
        }
    }

    /// The state at a load, with lift and slope at every ring and no radial movement.
    pub(super) fn solve(&mut self, from: &State, pressure: f64) -> Result<State, Stuck> {
        let mut state = State::flat(self.model);
        state.pressure = pressure;
        state.steps = 1;
        state.touching.clone_from(&from.touching);
        for (node, (lift, slope)) in self.face.iter().enumerate() {
            add(&mut state, 0, node, pressure * lift, pressure * slope);
        }
        let gaps: Vec<f64> = (0..self.model.contacts.len())
            .map(|index| gap(self.model, Theory::Small, &state.x, index))
            .collect();
        let forces = self
            .contacts
            .solve(&gaps, &mut state.touching)
            .ok_or(Stuck::Contact { steps: 1 })?;
        for (contact, force) in self
            .model
            .contacts
            .iter()
            .zip(&forces)
            .filter(|(_, force)| **force > 0.0)
        {
            let s = at(&self.model.rings, contact.node);
            for (plate, sign) in [(contact.upper, *force), (contact.lower, -force)] {
                let Some((plate, disc)) = plate.and_then(|plate| Some((plate, self.discs.get(plate)?))) else {
                    continue;
                };
                let nodes = self.model.plates.get(plate).map_or(0, |plate| plate.nodes);
                for (node, &r) in self.model.rings.iter().enumerate().take(nodes).skip(1) {
                    add(&mut state, plate, node, sign * disc.lift(r, s), sign * disc.slope(r, s));
                }
            }
        }
        state.forces = forces;
        Ok(state)
    }

    /// Bending stress at each disc's clamp, MPa.
    pub(super) fn clamp_stress(&self, state: &State, plate: usize) -> f64 {
        let (Some(disc), Some(plate_of)) = (self.discs.get(plate), self.model.plates.get(plate)) else {
            return f64::NAN;
        };
        let own = if plate == 0 {
            state.pressure * self.face_moment
        } else {
            0.0
        };
        let grips = self.model.grips.get(plate).into_iter().flatten();
        let moment: f64 = grips
            .map(|grip| {
                grip.lift * at(&state.forces, grip.contact) * disc.clamp_moment(at(&self.model.rings, grip.node))
            })
            .sum();
        6.0 * (own + moment) / (plate_of.thickness * plate_of.thickness)
    }
}

fn add(state: &mut State, plate: usize, node: usize, lift: f64, slope: f64) {
    if let Some(x) = state.x.get_mut(plate).and_then(|x| x.get_mut(node)) {
        x[0] += lift;
        x[1] += slope;
    }
}
