//! One disc: cubic Hermite elements of a thin plate with its own membrane.

use std::f64::consts::PI;

use super::block::{Block, Chain, Node, PER_NODE, add, product, weighed};
use super::load::Load;
use crate::valving::gauss::GAUSS;

/// An element at one of its Gauss points.
#[derive(Debug, Clone, Copy)]
struct Point {
    /// Membrane stiffness times `2 pi r dr` of the point.
    weight: f64,
    /// Slope `w'` from the element's lifts and slopes.
    slope: Node,
    /// `u' + nu u/r` from its radial movements.
    pull: Node,
}

/// Its unknowns are `w, w'` at both ends and `u, u'` at both ends, four and four.
#[derive(Debug, Clone, Copy)]
struct Element {
    points: [Point; 4],
    /// Stiffness of the lifts in bending.
    bending: Block,
    /// Stiffness of the radial movements; the slopes alone join the two.
    stretching: Block,
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

/// Adds `k (a b')`.
fn add_outer(block: &mut Block, k: f64, a: &Node, b: &Node) {
    for (row, a) in block.iter_mut().zip(a) {
        add(row, k * a, b);
    }
}

/// `a + nu b`.
fn coupled(a: &Node, nu: f64, b: &Node) -> Node {
    let mut sum = *a;
    add(&mut sum, nu, b);
    sum
}

/// How the tangent of the membrane is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Tangent {
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
    elements: Vec<Element>,
    /// Unknowns of the first node that the clamp holds.
    pub(super) held: [bool; PER_NODE],
    /// Force of 1 MPa on the unknowns.
    pub(super) load: Vec<Node>,
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
        let spans = || rings.iter().zip(rings.iter().skip(1));
        let elements = spans()
            .map(|(from, to)| Element::new(*from, *to, thickness, material))
            .collect();
        let mut force = vec![[0.0; PER_NODE]; rings.len()];
        if let Some(load) = load {
            for (element, (from, to)) in spans().enumerate() {
                let given = load.on_element(*from, *to, |x| shapes(x, to - from)[0]);
                add_lifts(&mut force, element, &given);
            }
        }
        Self {
            shim,
            thickness,
            height,
            nodes: rings.len(),
            elements,
            held: [true, true, material.held_radially, false],
            load: force,
        }
    }

    /// Elements with their unknowns in a state: lifts and radial movements.
    fn with_unknowns<'a>(&'a self, state: &'a [Node]) -> impl Iterator<Item = (&'a Element, Node, Node)> {
        let ends = state.iter().zip(state.iter().skip(1));
        self.elements.iter().zip(ends).map(|(element, (a, b))| {
            let ([w0, s0, u0, v0], [w1, s1, u1, v1]) = (*a, *b);
            (element, [w0, s0, w1, s1], [u0, v0, u1, v1])
        })
    }

    /// Internal force on every unknown, the clamp's reactions included.
    pub(super) fn internal(&self, state: &[Node], force: &mut Vec<Node>) {
        force.clear();
        force.resize(self.nodes, [0.0; PER_NODE]);
        for (index, (element, lifts, radials)) in self.with_unknowns(state).enumerate() {
            let (lifting, pulling) = element.internal(&lifts, &radials);
            add_lifts(force, index, &lifting);
            add_radials(force, index, &pulling);
        }
    }

    /// The tangent with the clamp's unknowns taken out; `pressed` is added to each slope.
    pub(super) fn tangent(&self, state: &[Node], kind: Tangent, pressed: &[f64], into: &mut Chain) {
        into.clear();
        for (index, (element, lifts, radials)) in self.with_unknowns(state).enumerate() {
            let (lift, both) = element.tangent(&lifts, &radials, kind);
            into.add_element(index, &lift, &both, &element.stretching);
        }
        for (node, pressed) in pressed.iter().enumerate() {
            into.add_slope(node, *pressed);
        }
        into.hold(self.held);
    }

    /// Bending and membrane stress at the clamp, MPa, from its reactions: `6 M/t^2` and `N/t` with `M`, `N` per length.
    pub(super) fn clamp_stress(&self, state: &[Node], pressure: f64, clamp: f64) -> (f64, f64) {
        let around = 2.0 * PI * clamp;
        let (Some((element, lifts, radials)), Some(load)) = (self.with_unknowns(state).next(), self.load.first())
        else {
            return (f64::NAN, f64::NAN);
        };
        let (lifting, pulling) = element.internal(&lifts, &radials);
        let moment = -(lifting[1] - pressure * load[1]) / around;
        let tension = if self.held[2] { -pulling[0] / around } else { 0.0 };
        (
            6.0 * moment / (self.thickness * self.thickness),
            tension / self.thickness,
        )
    }
}

/// Adds an element's forces on its lifts.
fn add_lifts(force: &mut [Node], element: usize, &[w0, s0, w1, s1]: &Node) {
    if let Some([a, b]) = force.get_mut(element..).and_then(<[Node]>::first_chunk_mut) {
        a[0] += w0;
        a[1] += s0;
        b[0] += w1;
        b[1] += s1;
    }
}

/// Adds an element's forces on its radial movements.
fn add_radials(force: &mut [Node], element: usize, &[u0, v0, u1, v1]: &Node) {
    if let Some([a, b]) = force.get_mut(element..).and_then(<[Node]>::first_chunk_mut) {
        a[2] += u0;
        a[3] += v0;
        b[2] += u1;
        b[3] += v1;
    }
}

impl Element {
    fn new(from: f64, to: f64, thickness: f64, material: Material) -> Self {
        let h = to - from;
        let nu = material.poisson;
        let membrane = material.modulus * thickness / (1.0 - nu * nu);
        let stiffness = membrane * thickness * thickness / 12.0;
        let (mut bending, mut stretching) = ([[0.0; PER_NODE]; PER_NODE], [[0.0; PER_NODE]; PER_NODE]);
        let points = GAUSS.map(|(x, part)| {
            let r = from + x * h;
            let area = 2.0 * PI * r * h * part;
            let [value, first, second] = shapes(x, h);
            // Both energies are of one form: what happens along the radius and around it, each with `nu` of the other.
            for (to, weight, along, around) in [
                (&mut bending, area * stiffness, second, first.map(|s| s / r)),
                (&mut stretching, area * membrane, first, value.map(|s| s / r)),
            ] {
                add_outer(to, weight, &along, &coupled(&along, nu, &around));
                add_outer(to, weight, &around, &coupled(&around, nu, &along));
            }
            Point {
                weight: area * membrane,
                slope: first,
                pull: coupled(&first, nu, &value.map(|s| s / r)),
            }
        });
        Self {
            points,
            bending,
            stretching,
        }
    }

    /// Forces on the lifts and on the radial movements. The slope adds `w'^2/2` to the radial strain.
    fn internal(&self, lifts: &Node, radials: &Node) -> (Node, Node) {
        let (mut lifting, mut pulling) = (weighed(&self.bending, lifts), weighed(&self.stretching, radials));
        for point in &self.points {
            let slope = product(&point.slope, lifts);
            let strain = 0.5 * slope * slope;
            let tension = point.weight * (product(&point.pull, radials) + strain);
            add(&mut lifting, tension * slope, &point.slope);
            add(&mut pulling, point.weight * strain, &point.pull);
        }
        (lifting, pulling)
    }

    /// Tangent of the lifts, and of the lifts by the radial movements.
    fn tangent(&self, lifts: &Node, radials: &Node, kind: Tangent) -> (Block, Block) {
        let (mut lift, mut both) = (self.bending, [[0.0; PER_NODE]; PER_NODE]);
        for point in &self.points {
            let slope = product(&point.slope, lifts);
            let tension = point.weight * (product(&point.pull, radials) + 0.5 * slope * slope);
            let tension = if kind == Tangent::Stiffened {
                tension.max(0.0)
            } else {
                tension
            };
            let along = point.weight * slope;
            add_outer(&mut lift, along * slope + tension, &point.slope, &point.slope);
            add_outer(&mut both, along, &point.slope, &point.pull);
        }
        (lift, both)
    }
}
