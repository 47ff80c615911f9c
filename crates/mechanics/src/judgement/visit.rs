//! What is known of a machine at a visit. Everything may be left out; what is missing is named as what would settle it.

use core::time::Duration;

use super::End;
use crate::chassis::{Candidate, Compared, Element, Path};
use crate::quantity::{Angle, Force, KinematicViscosity, Length, Mass, Preload, SpringRate, Travel, UnitSystem};

/// A machine at a visit.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Visit {
    /// What the machine is used for, and how hard.
    pub riding: Option<Riding>,
    /// The fork; `None`: it is not judged.
    pub front: Option<EndVisit>,
    /// The rear; `None`: it is not judged.
    pub rear: Option<EndVisit>,
    /// The machine as a whole.
    pub whole: Whole,
    /// Units of the words; `None`: metric.
    pub units: Option<UnitSystem>,
}

impl Visit {
    /// An end.
    #[must_use]
    pub fn end(&self, end: End) -> Option<&EndVisit> {
        match end {
            End::Front => self.front.as_ref(),
            End::Rear => self.rear.as_ref(),
        }
    }
}

/// What the machine is used for, and how hard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Riding {
    /// Gentle, on the road.
    GentleRoad,
    /// Hard, on the road.
    HardRoad,
    /// On a closed course.
    Track,
    /// Off the road.
    OffRoad,
}

impl Riding {
    /// Whether travel used says anything.
    #[must_use]
    pub fn is_hard(self) -> bool {
        self != Self::GentleRoad
    }
}

/// Dimensions and masses that braking and attitude need.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Whole {
    /// Wheelbase.
    pub wheelbase: Option<Length>,
    /// Centre of gravity ahead of the rear contact, rider aboard.
    pub gravity_ahead: Option<Length>,
    /// Its height above the ground.
    pub gravity_height: Option<Length>,
    /// Whole mass with rider.
    pub mass: Option<Mass>,
    /// Unsprung mass at the front.
    pub front_unsprung_mass: Option<Mass>,
    /// Fork axis from the vertical.
    pub rake: Option<Angle>,
    /// Hardest deceleration over that of gravity, the front wheel doing all of it.
    pub deceleration_ratio: Option<f64>,
}

/// One end. Lengths are along the leg of a fork, vertical at the axle of the rear.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct EndVisit {
    /// Travel there is.
    pub travel: Option<Travel>,
    /// Sag.
    pub sag: Sag,
    /// Travel used since the last visit.
    pub travel_used: Option<Travel>,
    /// How hard it was ridden for that; `None`: as the visit.
    pub travel_riding: Option<Riding>,
    /// Preload as it stands, axial, of each spring.
    pub preload: Option<Preload>,
    /// Least preload that can be set.
    pub least_preload: Option<Preload>,
    /// Most preload that can be set.
    pub most_preload: Option<Preload>,
    /// Adjusters.
    pub adjusters: Vec<Adjuster>,
    /// Whether it rides harshly.
    pub harsh: Option<bool>,
    /// The oil.
    pub oil: Oil,
    /// How it damps.
    pub damper_type: Option<DamperType>,
    /// Whether it can be opened.
    pub serviceability: Option<Serviceability>,
    /// What was seen of wear.
    pub wear: Vec<Wear>,
    /// Rate of each spring that is fitted: one, or the two legs of a fork.
    pub rates: Vec<SpringRate>,
    /// Spring over wheel, of the rear.
    pub motion_ratio: Option<f64>,
    /// Part of the rider's mass this end carries.
    pub rider_mass: Option<Mass>,
    /// Rates on the shop's rack for this unit.
    pub rack: Vec<SpringRate>,
    /// Least and most rate that can be had for this unit, where that is known.
    pub rates_to_be_had: Option<(SpringRate, SpringRate)>,
    /// Springs that can be fitted, with what their choice needs.
    pub at_hand: Option<SpringsAtHand>,
    /// The rate that sag implies against the spring that is said to be fitted.
    pub compared: Option<Compared>,
    /// Travel left between the end of the travel and coil bind; negative: it binds before the stop.
    pub bind_margin: Option<Length>,
}

/// Springs that can be fitted, with what their choice needs.
#[derive(Debug, Clone, PartialEq)]
pub struct SpringsAtHand {
    /// How the springs follow the wheel; `None`: not known.
    pub path: Option<Path>,
    /// What carries load beside the main springs, of all legs.
    pub others: Vec<Element>,
    /// The fitted main springs as they stand; empty: not known.
    pub fitted: Vec<Element>,
    /// What the springs carry at the wheel, alone and with the rider; `None`: what the fitted springs carry at the sag read.
    pub loads: Option<(Force, Force)>,
    /// Unsprung mass, for where it hangs on a top-out spring.
    pub unsprung_mass: Option<Mass>,
    /// The candidates: all springs that share the load of each.
    pub candidates: Vec<Candidate>,
}

/// Sag as it was found from the readings.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sag {
    /// Extended length less length under the machine's own weight.
    pub static_sag: Option<Length>,
    /// Extended length less length with the rider aboard.
    pub total: Option<Length>,
    /// Standard uncertainty of the static sag; `None`: 0.7 mm, a tape read twice.
    pub static_uncertainty: Option<Length>,
    /// Standard uncertainty of the rider's share; `None`: 0.7 mm.
    pub share_uncertainty: Option<Length>,
    /// Lifted less pressed length, the larger of the loaded states.
    pub spread: Option<Length>,
}

/// Where an adjuster stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Adjuster {
    /// What it acts on.
    pub circuit: Circuit,
    /// Clicks or turns out from fully closed.
    pub position: f64,
    /// Clicks or turns from fully closed to fully open.
    pub range: f64,
    /// Force fully closed and in the middle of the range, over the force at this position, where a model of the damper says
    /// them at its reference velocity.
    pub model: Option<ForceModel>,
    /// Least and most damping factor that a stack of the drawer and the ports allow, where that is known.
    pub factors_to_be_had: Option<(f64, f64)>,
}

/// What a model of the damper says of an adjuster, at its reference velocity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForceModel {
    /// Force fully closed over the force at the position.
    pub closed_over_now: f64,
    /// Force at the position over the force in the middle of the range.
    pub now_over_middle: f64,
}

/// A damping circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Circuit {
    /// Compression or rebound.
    pub stroke: StrokeDirection,
    /// Low or high shaft speed; `None`: one adjuster does it all.
    pub speed: Option<ShaftSpeed>,
}

impl Circuit {
    /// Compression, one adjuster.
    pub const COMPRESSION: Self = Self {
        stroke: StrokeDirection::Compression,
        speed: None,
    };
    /// Rebound, one adjuster.
    pub const REBOUND: Self = Self {
        stroke: StrokeDirection::Rebound,
        speed: None,
    };

    /// In words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match (self.stroke, self.speed) {
            (StrokeDirection::Compression, None) => "compression",
            (StrokeDirection::Compression, Some(ShaftSpeed::Low)) => "low-speed compression",
            (StrokeDirection::Compression, Some(ShaftSpeed::High)) => "high-speed compression",
            (StrokeDirection::Rebound, None) => "rebound",
            (StrokeDirection::Rebound, Some(ShaftSpeed::Low)) => "low-speed rebound",
            (StrokeDirection::Rebound, Some(ShaftSpeed::High)) => "high-speed rebound",
        }
    }
}

/// Direction of the shaft.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum StrokeDirection {
    /// Shortening.
    Compression,
    /// Lengthening.
    Rebound,
}

/// Speed of the shaft a circuit works at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ShaftSpeed {
    /// Low.
    Low,
    /// High.
    High,
}

/// The oil of an end.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Oil {
    /// How old it is.
    pub age: Option<Duration>,
    /// Its viscosity.
    pub viscosity: Option<KinematicViscosity>,
    /// Viscosity of the grade wanted, at the same temperature.
    pub wanted_viscosity: Option<KinematicViscosity>,
    /// Air gap from the top of the tube, of a fork; the worse leg.
    pub air_gap: Option<Length>,
    /// Air gap wanted, measured alike.
    pub wanted_air_gap: Option<Length>,
}

/// How a damper is built.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DamperType {
    /// Holes in a rod, no stack.
    DampingRod,
    /// Cartridge in a fork leg.
    Cartridge,
    /// Single tube.
    SingleTube,
    /// Twin tube.
    TwinTube,
    /// Air spring with a damper.
    Air,
}

/// Whether a unit can be opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Serviceability {
    /// Its valving can be changed.
    Valving,
    /// It can be opened for oil and seals; there is no valving to change.
    OilOnly,
    /// It cannot be opened.
    Sealed,
}

impl Serviceability {
    /// Why the damping of a unit cannot be changed inside; `None`: it can. A damping-rod fork has no stack, but holes that are
    /// drilled and room for an add-on valve (common practice, no source).
    #[must_use]
    pub fn bars_other_damping(self, damper: Option<DamperType>) -> Option<&'static str> {
        match self {
            Self::Sealed => Some("the unit cannot be opened"),
            Self::OilOnly if damper != Some(DamperType::DampingRod) => Some("the unit has no valving to change"),
            Self::OilOnly | Self::Valving => None,
        }
    }
}

/// What was seen of wear.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wear {
    /// Oil leaks past a seal.
    LeakingSeal,
    /// A part is loose.
    LoosePart,
    /// Bushes have play.
    WornBushes,
    /// A rod, shaft or tube is scored or bent.
    DamagedShaft,
    /// The gas charge is lost.
    LostCharge,
    /// Bearings of linkage or swingarm have play or bind.
    LinkageBearings,
}
