//! One disc: cubic Hermite elements of a thin plate with its own membrane.

use std::f64::consts::PI;

use super::band::{Band, at};
use super::load::Load;
use crate::valving::gauss::GAUSS;

/// Unknowns at a node: lift `w`, its slope `w'`, radial movement `u`, its slope `u'`.
pub(super) const PER_NODE: usize = 4;
/// Unknowns of an element.
const PER_ELEMENT: usize = 2 * PER_NODE;

type Vector = [f64; PER_ELEMENT];
type Square = [Vector; PER_ELEMENT];

/// An element at one of its Gauss points.
#[derive(Debug, Clone)]
struct Point {
    /// `2 pi r dr` of the point.
    weight: f64,
    /// Slope `w'` from the unknowns; `u'` has the same entries two places on.
    slope: Vector,
    /// `u'` from the unknowns.
    stretch: Vector,
    /// `u/r` from the unknowns.
    hoop: Vector,
}

#[derive(Debug, Clone)]
struct Element {
    points: [Point; 4],
    bending: Square,
}

/// Hermite shapes at `x` of 0..1 on an element of length `h`: of the value, its first and its second derivative.
fn shapes(x: f64, h: f64) -> [[f64; 4]; 3] {
    let (x2, x3) = (x * x, x * x * x);
    [
        [
            1.0 - 3.0 * x2 + 2.0 * x3,
            h * (x - 2.0 * x2 + x3),
            3.0 * x2 - 2.0 * x3,
            h * (x3 - x2),
        ],
        [
            6.0 * (x2 - x) / h,
            1.0 - 4.0 * x + 3.0 * x2,
            6.0 * (x - x2) / h,
            3.0 * x2 - 2.0 * x,
        ],
        [
            (12.0 * x - 6.0) / (h * h),
            (6.0 * x - 4.0) / h,
            (6.0 - 12.0 * x) / (h * h),
            (6.0 * x - 2.0) / h,
        ],
    ]
}

/// Shapes as a row over the element's unknowns, for `w` or for `u`.
fn spread([a, b, c, d]: [f64; 4], radial: bool) -> Vector {
    if radial {
        [0.0, 0.0, a, b, 0.0, 0.0, c, d]
    } else {
        [a, b, 0.0, 0.0, c, d, 0.0, 0.0]
    }
}

fn product(a: &Vector, b: &Vector) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Adds `k (a b')`.
fn add_outer(square: &mut Square, k: f64, a: &Vector, b: &Vector) {
    for (row, a) in square.iter_mut().zip(a) {
        let factor = k * a;
        for (entry, b) in row.iter_mut().zip(b) {
            *entry += factor * b;
        }
    }
}

/// `a + nu b`.
fn coupled(a: &Vector, nu: f64, b: &Vector) -> Vector {
    let mut sum = *a;
    for (a, b) in sum.iter_mut().zip(b) {
        *a += nu * b;
    }
    sum
}

/// How the tangent of the membrane is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Tangent {
    /// No membrane: small deflection.
    Bending,
    /// As it is.
    Full,
    /// Without the softening of compressed parts, so that it is always positive definite.
    Stiffened,
}

/// A disc beyond the clamp.
#[derive(Debug, Clone)]
pub(super) struct Plate {
    /// Place in the stack, from the piston, spacers counted.
    pub(super) shim: usize,
    /// Thickness, mm.
    pub(super) thickness: f64,
    /// Height of its lower face above the piston face in the undeformed stack, mm.
    pub(super) height: f64,
    /// Rings from the clamp to its edge.
    pub(super) nodes: usize,
    poisson: f64,
    /// Membrane stiffness `E t / (1 - nu^2)`, N/mm.
    membrane: f64,
    elements: Vec<Element>,
    /// Unknowns that the clamp holds.
    held: Vec<usize>,
    /// Force of 1 MPa on the unknowns.
    pub(super) load: Vec<f64>,
}

/// What a disc is made of, and how it is held.
#[derive(Debug, Clone, Copy)]
pub(super) struct Material {
    pub(super) modulus: f64,
    pub(super) poisson: f64,
    pub(super) held_radially: bool,
}

impl Plate {
    pub(super) fn new(
        (shim, thickness, height): (usize, f64, f64),
        rings: &[f64],
        material: Material,
        load: Option<&Load>,
    ) -> Self {
        let Material {
            modulus,
            poisson,
            held_radially,
        } = material;
        let membrane = modulus * thickness / (1.0 - poisson * poisson);
        let bending = membrane * thickness * thickness / 12.0;
        let spans = || rings.iter().zip(rings.iter().skip(1));
        let elements = spans()
            .map(|(from, to)| Element::new(*from, *to, bending, poisson))
            .collect();
        let mut force = vec![0.0; rings.len() * PER_NODE];
        if let Some(load) = load {
            for (element, (from, to)) in spans().enumerate() {
                let given = load.on_element(*from, *to, |x| shapes(x, to - from)[0]);
                for (given, offset) in given.into_iter().zip([0, 1, 4, 5]) {
                    if let Some(place) = force.get_mut(element * PER_NODE + offset) {
                        *place += given;
                    }
                }
            }
        }
        Self {
            shim,
            thickness,
            height,
            nodes: rings.len(),
            poisson,
            membrane,
            elements,
            held: if held_radially { vec![0, 1, 2] } else { vec![0, 1] },
            load: force,
        }
    }

    pub(super) fn size(&self) -> usize {
        self.nodes * PER_NODE
    }

    pub(super) fn is_held(&self, unknown: usize) -> bool {
        self.held.contains(&unknown)
    }

    /// Internal force on every unknown, the clamp's reactions included.
    pub(super) fn internal(&self, state: &[f64], membrane: bool) -> Vec<f64> {
        let mut force = vec![0.0; self.size()];
        for (index, element) in self.elements.iter().enumerate() {
            let x = local(state, index);
            let mut own: Vector = std::array::from_fn(|_| 0.0);
            for (own, row) in own.iter_mut().zip(&element.bending) {
                *own = product(row, &x);
            }
            if membrane {
                for point in &element.points {
                    let (slope, radial, hoop) = self.stretches(point, &x);
                    let weight = point.weight * self.membrane;
                    let tension = weight * (radial + self.poisson * hoop);
                    let around = weight * (hoop + self.poisson * radial);
                    for (own, (a, (b, c))) in own
                        .iter_mut()
                        .zip(point.slope.iter().zip(point.stretch.iter().zip(&point.hoop)))
                    {
                        *own += tension * (slope * a + b) + around * c;
                    }
                }
            }
            if let Some(places) = force.get_mut(index * PER_NODE..) {
                for (place, own) in places.iter_mut().zip(own) {
                    *place += own;
                }
            }
        }
        force
    }

    /// Slope, radial strain `u' + w'^2/2` and hoop strain `u/r`.
    fn stretches(&self, point: &Point, x: &Vector) -> (f64, f64, f64) {
        let slope = product(&point.slope, x);
        (
            slope,
            product(&point.stretch, x) + 0.5 * slope * slope,
            product(&point.hoop, x),
        )
    }

    /// The tangent with the clamp's unknowns taken out; `pressed` is added to each slope.
    pub(super) fn tangent(&self, state: &[f64], kind: Tangent, pressed: &[f64], into: &mut Band) {
        into.clear();
        for (index, element) in self.elements.iter().enumerate() {
            let mut square = element.bending;
            if kind == Tangent::Bending {
                // A small stiffness keeps the unknowns of the membrane, which are not moved, in the matrix.
                for unknown in [2, 3, 6, 7] {
                    into.add(index * PER_NODE + unknown, index * PER_NODE + unknown, 1.0);
                }
            } else {
                self.add_membrane(element, &local(state, index), kind, &mut square);
            }
            for (i, row) in square.iter().enumerate() {
                for (j, entry) in row.iter().take(i + 1).enumerate() {
                    into.add(index * PER_NODE + i, index * PER_NODE + j, *entry);
                }
            }
        }
        for (node, pressed) in pressed.iter().enumerate() {
            into.add(node * PER_NODE + 1, node * PER_NODE + 1, *pressed);
        }
        for unknown in &self.held {
            into.fix(*unknown);
        }
    }

    fn add_membrane(&self, element: &Element, x: &Vector, kind: Tangent, square: &mut Square) {
        for point in &element.points {
            let (slope, radial, hoop) = self.stretches(point, x);
            let weight = point.weight * self.membrane;
            let mut along = point.stretch;
            for (along, a) in along.iter_mut().zip(&point.slope) {
                *along += slope * a;
            }
            add_outer(square, weight, &along, &coupled(&along, self.poisson, &point.hoop));
            add_outer(square, weight, &point.hoop, &coupled(&point.hoop, self.poisson, &along));
            let tension = weight * (radial + self.poisson * hoop);
            let tension = if kind == Tangent::Stiffened {
                tension.max(0.0)
            } else {
                tension
            };
            add_outer(square, tension, &point.slope, &point.slope);
        }
    }

    /// Bending and membrane stress at the clamp, MPa, from its reactions: `6 M/t^2` and `N/t` with `M`, `N` per length.
    pub(super) fn clamp_stress(&self, internal: &[f64], clamp: f64) -> (f64, f64) {
        let around = 2.0 * PI * clamp;
        let moment = -at(internal, 1) / around;
        let tension = if self.is_held(2) {
            -at(internal, 2) / around
        } else {
            0.0
        };
        (
            6.0 * moment / (self.thickness * self.thickness),
            tension / self.thickness,
        )
    }
}

impl Element {
    fn new(from: f64, to: f64, stiffness: f64, poisson: f64) -> Self {
        let h = to - from;
        let mut bending = [[0.0; PER_ELEMENT]; PER_ELEMENT];
        let points = GAUSS.map(|(x, part)| {
            let r = from + x * h;
            let weight = 2.0 * PI * r * h * part;
            let [value, first, second] = shapes(x, h);
            let radial = spread(second, false);
            let around = spread(first.map(|s| s / r), false);
            add_outer(
                &mut bending,
                weight * stiffness,
                &radial,
                &coupled(&radial, poisson, &around),
            );
            add_outer(
                &mut bending,
                weight * stiffness,
                &around,
                &coupled(&around, poisson, &radial),
            );
            Point {
                weight,
                slope: spread(first, false),
                stretch: spread(first, true),
                hoop: spread(value.map(|s| s / r), true),
            }
        });
        Self { points, bending }
    }
}

/// The unknowns of an element.
fn local(state: &[f64], element: usize) -> Vector {
    let own = state.get(element * PER_NODE..).unwrap_or_default();
    let mut x = [f64::NAN; PER_ELEMENT];
    for (x, own) in x.iter_mut().zip(own) {
        *x = *own;
    }
    x
}
