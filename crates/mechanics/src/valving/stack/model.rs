//! The discs of a stack, and which of them can touch where.

use super::block::{Node, at};
use super::design::Plan;
use super::load::Load;
use super::mesh;
use super::plate::{Material, Plate};

/// A ring at which two bodies can touch.
#[derive(Debug, Clone, Copy)]
pub(super) struct Contact {
    /// Its ring.
    pub(super) node: usize,
    /// The body nearer to the piston: a disc, or the seat.
    pub(super) lower: Option<usize>,
    /// The body above it: a disc, or the stop.
    pub(super) upper: Option<usize>,
    /// Gap of the undeformed stack, mm; below zero where the seat stands into the stack.
    pub(super) gap: f64,
}

/// A contact's part on one of its discs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Grip {
    pub(super) contact: usize,
    pub(super) node: usize,
    /// How its force lifts the disc: 1 from below, -1 from above.
    pub(super) lift: f64,
}

/// A stack ready to be solved. Units: mm, N, MPa.
#[derive(Debug, Clone)]
pub(super) struct Model {
    pub(super) clamp: f64,
    pub(super) rings: Vec<f64>,
    pub(super) plates: Vec<Plate>,
    pub(super) contacts: Vec<Contact>,
    /// Force of 1 MPa, N.
    pub(super) load_force: f64,
    /// Thickness of the thickest disc, mm.
    pub(super) thickest: f64,
    /// Contacts of each disc, in the order of the rings.
    pub(super) grips: Vec<Vec<Grip>>,
}

impl Model {
    pub(super) fn new(plan: &Plan, count: usize) -> Self {
        let clamp = plan.clamp;
        let mut breakpoints: Vec<f64> = plan.shims.iter().map(|shim| shim.edge).collect();
        let edge = plan.face().map_or(clamp, |face| face.edge);
        let load = Load {
            annuli: plan.annuli.clone(),
            edge,
        };
        let outer = breakpoints.iter().copied().fold(clamp, f64::max);
        breakpoints.extend(load.corners());
        breakpoints.extend(plan.seat.iter().flat_map(|seat| [seat.inner, seat.outer]));
        breakpoints.extend(plan.stop.iter().flat_map(|stop| [stop.inner, stop.outer]));
        breakpoints.retain(|r| *r <= outer);
        let rings = mesh::rings(clamp, &breakpoints, count);
        let material = Material {
            modulus: plan.modulus,
            poisson: plan.poisson,
            held_radially: plan.held_radially,
        };
        let mut height = 0.0;
        let mut plates = Vec::new();
        for (index, shim) in plan.shims.iter().enumerate() {
            if shim.edge > clamp {
                let nodes = mesh::nearest(&rings, shim.edge) + 1;
                let own = rings.get(..nodes).unwrap_or_default();
                let load = plates.is_empty().then_some(&load);
                plates.push(Plate::new((index, shim.thickness, height), own, material, load));
            }
            height += shim.thickness;
        }
        let contacts = contacts(plan, &rings, &plates, height);
        let grips = (0..plates.len())
            .map(|plate| {
                let grip = |(contact, c): (usize, &Contact)| {
                    let lift = match (c.upper == Some(plate), c.lower == Some(plate)) {
                        (true, _) => 1.0,
                        (_, true) => -1.0,
                        _ => return None,
                    };
                    Some(Grip {
                        contact,
                        node: c.node,
                        lift,
                    })
                };
                contacts.iter().enumerate().filter_map(grip).collect()
            })
            .collect();
        Self {
            clamp,
            rings,
            thickest: plates.iter().map(|plate| plate.thickness).fold(0.0, f64::max),
            plates,
            contacts,
            load_force: load.force(),
            grips,
        }
    }

    /// How far the seat stands higher than the stop leaves room for, and where: such a stack cannot be put together.
    pub(super) fn no_room(&self) -> Option<(f64, f64)> {
        (0..self.rings.len()).find_map(|node| {
            let here = || self.contacts.iter().filter(|contact| contact.node == node);
            let both = here().any(|c| c.lower.is_none()) && here().any(|c| c.upper.is_none());
            let room: f64 = here().map(|contact| contact.gap).sum();
            (both && room < 0.0).then(|| (-room, at(&self.rings, node)))
        })
    }

    /// Lift of a disc at a ring.
    pub(super) fn lift(&self, x: &[Vec<Node>], plate: usize, node: usize) -> f64 {
        x.get(plate)
            .and_then(|x| x.get(node))
            .map_or(f64::NAN, |[lift, ..]| *lift)
    }

    /// Lift of a disc at a radius, by the shapes of its elements.
    pub(super) fn lift_at(&self, x: &[Vec<Node>], plate: usize, radius: f64) -> f64 {
        let spans = self.rings.iter().zip(self.rings.iter().skip(1));
        let within = spans.enumerate().find(|(_, (_, to))| radius <= **to * (1.0 + 1e-12));
        let Some((element, (from, to))) = within else {
            return f64::NAN;
        };
        let ends = x.get(plate).and_then(|x| x.get(element..)?.first_chunk());
        let Some([[a, slope_a, ..], [b, slope_b, ..]]) = ends else {
            return f64::NAN;
        };
        let h = to - from;
        let s = ((radius - from) / h).clamp(0.0, 1.0);
        let (s2, s3) = (s * s, s * s * s);
        (1.0 - 3.0 * s2 + 2.0 * s3) * a
            + h * (s - 2.0 * s2 + s3) * slope_a
            + (3.0 * s2 - 2.0 * s3) * b
            + h * (s3 - s2) * slope_b
    }
}

/// At a radius only the discs that reach it exist. Neighbours among those can touch; their gap is the thickness of all
/// that lies between them. This one rule covers tapers, reversed tapers, crossovers and spacers.
fn contacts(plan: &Plan, rings: &[f64], plates: &[Plate], top: f64) -> Vec<Contact> {
    let mut contacts = Vec::new();
    // Breakpoints that merged moved a little: the ring nearest to an edge stands for it.
    let reaches = |inner: f64, outer: f64, node: usize, spans: bool| {
        spans || node == mesh::nearest(rings, inner) || node == mesh::nearest(rings, outer)
    };
    for (node, radius) in rings.iter().copied().enumerate().skip(1) {
        let here: Vec<(usize, &Plate)> = plates
            .iter()
            .enumerate()
            .filter(|(_, plate)| node < plate.nodes)
            .collect();
        if let (Some(seat), Some((first, plate))) = (
            plan.seat.filter(|s| reaches(s.inner, s.outer, node, s.spans(radius))),
            here.first(),
        ) {
            contacts.push(Contact {
                node,
                lower: None,
                upper: Some(*first),
                gap: plate.height - seat.height_at(radius),
            });
        }
        for ((lower, below), (upper, above)) in here.iter().zip(here.iter().skip(1)) {
            contacts.push(Contact {
                node,
                lower: Some(*lower),
                upper: Some(*upper),
                // The heights are sums; a gap of rounding is none.
                gap: flush(above.height - below.height - below.thickness),
            });
        }
        if let (Some(stop), Some((last, plate))) = (
            plan.stop.filter(|s| reaches(s.inner, s.outer, node, s.spans(radius))),
            here.last(),
        ) {
            contacts.push(Contact {
                node,
                lower: Some(*last),
                upper: None,
                gap: top + stop.clearance - plate.height - plate.thickness,
            });
        }
    }
    contacts
}

fn flush(gap: f64) -> f64 {
    if gap.abs() < 1e-9 { 0.0 } else { gap }
}
