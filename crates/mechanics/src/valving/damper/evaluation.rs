//! What is asked of a damper, and what is answered.

use super::design::{DamperDesign, Place};
use super::{DamperState, Recentred};
use crate::estimate::Assumption;
use crate::finding::Finding;
use crate::quantity::{
    AbsolutePressure, DampingRate, Force, Load, Mass, SpringRate, Stroke, Temperature, Velocity, WheelRate,
};
use crate::valving::oil::{Oil, OilAt};
use crate::valving::ride::Linkage;
use crate::valving::stack::Solved;

/// Velocities evaluated at a time, at most.
pub const MOST_VELOCITIES: usize = 400;

/// What the damper is joined to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wheel {
    /// Linkage or rake.
    pub linkage: Linkage,
    /// Spring at the damper, or of both legs of a fork.
    pub spring_rate: SpringRate,
    /// Load on it at ride height; counts where the motion ratio changes.
    pub spring_load: Load,
    /// Sprung mass on this end.
    pub mass: Mass,
    /// Dampers side by side: 2 for a fork whose legs are alike.
    pub damper_count: u32,
    /// Peak velocity at the wheel the damping is taken over.
    pub peak_velocity: Velocity,
    /// A spring that is to replace it.
    pub new_spring_rate: Option<SpringRate>,
    /// Sprung mass then; `None`: the same.
    pub new_mass: Option<Mass>,
}

/// A damper and what is asked of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Evaluation {
    /// The damper.
    pub design: DamperDesign,
    /// The oil.
    pub oil: Oil,
    /// Its temperature.
    pub temperature: Temperature,
    /// Stroke from full extension.
    pub stroke: Stroke,
    /// Velocities, compression positive.
    pub velocities: Vec<Velocity>,
    /// Pressure no side of the oil may fall below.
    pub lowest_pressure: AbsolutePressure,
    /// What it is joined to.
    pub wheel: Option<Wheel>,
    /// Velocity every statement about clicks is made at.
    pub reference_velocity: Velocity,
}

/// One point of the curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Velocity.
    pub velocity: Velocity,
    /// The damper there.
    pub state: DamperState,
    /// `d ln F/d ln v` of the hydraulic force; `None` at rest.
    pub exponent: Option<f64>,
    /// A side falls below the lowest pressure: the real force is smaller.
    pub cavitates: bool,
}

/// A velocity that matters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Of which circuit.
    pub place: Place,
    /// What happens there.
    pub kind: MarkKind,
    /// Velocity, compression positive.
    pub velocity: Velocity,
}

/// What happens at a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarkKind {
    /// The stack opens.
    Opens,
    /// A further stage of it closes on.
    Stage,
    /// It reaches its stop.
    Stop,
}

/// An adjuster's effect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AdjusterEffect {
    /// Of which circuit.
    pub place: Place,
    /// Clicks from closed.
    pub position: f64,
    /// Clicks from closed to open.
    pub range: f64,
    /// What one click inward adds at the reference velocity.
    pub force_per_click: Force,
    /// What the valving must do to bring it to half its range.
    pub recentred: Recentred,
}

/// Damping at the wheel over one stroke or both.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WheelDamping {
    /// Energy-equivalent rate.
    pub rate: DampingRate,
    /// Damping ratio.
    pub ratio: f64,
    /// Overshoot of a step.
    pub overshoot: f64,
    /// Time until a step stays within 5 %, s; `None` without damping.
    pub settle_seconds: Option<f64>,
}

/// What reaches the wheel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtWheel {
    /// Damper travel over wheel travel.
    pub motion_ratio: f64,
    /// Wheel rate.
    pub rate: WheelRate,
    /// Natural frequency, cycles a second.
    pub frequency: f64,
    /// Compression.
    pub compression: WheelDamping,
    /// Rebound.
    pub rebound: WheelDamping,
    /// Both.
    pub both: WheelDamping,
    /// Damping the new spring needs over the present one, at the same damping ratio.
    pub respring_factor: Option<f64>,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Evaluated {
    /// In the order asked for.
    pub points: Vec<CurvePoint>,
    /// Velocities that matter, by velocity.
    pub marks: Vec<Mark>,
    /// The oil at its temperature.
    pub oil: OilAt,
    /// Least charge at full extension for the fastest strokes asked for.
    pub least_charge: AbsolutePressure,
    /// Lowest pressure anywhere over the curve less the lowest allowed, Pa.
    pub cavitation_margin: f64,
    /// Adjusters.
    pub adjusters: Vec<AdjusterEffect>,
    /// At the wheel.
    pub wheel: Option<AtWheel>,
    /// Stacks, as far as they were solved.
    pub stacks: Vec<(Place, Solved)>,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}
