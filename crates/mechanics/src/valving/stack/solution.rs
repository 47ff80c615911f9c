//! What is known of a stack under pressure.

use crate::estimate::Assumption;
use crate::finding::Finding;
use crate::quantity::{Area, Force, Length, PressureDifference, Stress};

/// A stack at its pressures.
#[derive(Debug, Clone, PartialEq)]
pub struct Solved {
    /// In the order asked for.
    pub points: Vec<Point>,
    /// Cracking and what opened, closed or stopped on the way to the highest pressure, by pressure.
    pub events: Vec<Event>,
    /// Deflected shape of every shim beyond the clamp, at the highest pressure.
    pub profiles: Vec<Profile>,
    /// Rings in contact at the highest pressure.
    pub contacts: Vec<ContactRing>,
    /// Seat force without pressure; 0 without preload.
    pub preload_force: Force,
    /// Radius the oil leaves at: lift over the seat and curtain area are taken there.
    pub exit_radius: Length,
    /// Opening and closing pressure differ from the one answered by up to this share, for friction between the shims.
    pub friction_band_ratio: f64,
    /// Largest penetration the check found.
    pub largest_penetration: Length,
    /// Largest force out of balance the check found, over the largest force.
    pub largest_unbalanced_ratio: f64,
    /// Steps of all solutions.
    pub step_count: usize,
    /// Rings that were used.
    pub ring_count: usize,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// A stack at one pressure.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// Pressure over the face shim.
    pub pressure: PressureDifference,
    /// Lift of the face shim's edge from the flat stack.
    pub edge_lift: Length,
    /// Lift of the face shim over the outer edge of the seat.
    pub seat_lift: Length,
    /// Smallest opening over the seat: 0 while it is closed anywhere.
    pub opening: Length,
    /// Opening times the circumference it is at.
    pub curtain_area: Area,
    /// Force on the seat.
    pub seat_force: Force,
    /// Force on the stop.
    pub stop_force: Force,
    /// Shims beyond the clamp, from the piston.
    pub shims: Vec<ShimAt>,
}

/// A shim at one pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShimAt {
    /// Place in the stack, from the piston, from 0; spacers are counted.
    pub index: usize,
    /// Lift of its edge.
    pub edge_lift: Length,
    /// Stress at the clamp: bending, and stretching where it is tension.
    pub clamp_stress: Stress,
    /// Its bending part.
    pub bending_stress: Stress,
}

/// What touches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Body {
    /// The seat.
    Seat,
    /// A shim by its place.
    Shim(usize),
    /// The stop.
    Stop,
}

/// A ring in contact.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ContactRing {
    /// Nearer to the piston.
    pub lower: Body,
    /// Above it.
    pub upper: Body,
    /// Its radius.
    pub radius: Length,
    /// Its force, all round.
    pub force: Force,
}

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EventKind {
    /// The face shim left the seat all round.
    Cracks,
    /// A gap between two shims closed: the next stage works from here on.
    StageCloses,
    /// The stack reached the stop.
    StopReached,
}

/// Something that happened as the pressure rose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Event {
    /// What.
    pub kind: EventKind,
    /// At this pressure.
    pub pressure: PressureDifference,
    /// Lift of the face shim's edge then.
    pub edge_lift: Length,
    /// Nearer to the piston.
    pub lower: Body,
    /// Above it.
    pub upper: Body,
    /// Where they touched, or parted last.
    pub radius: Length,
}

/// A shim's shape at the highest pressure.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// Place in the stack.
    pub index: usize,
    /// Radii of its rings.
    pub radii: Vec<Length>,
    /// Lifts there.
    pub lifts: Vec<Length>,
}
