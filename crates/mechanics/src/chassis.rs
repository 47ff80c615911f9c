//! The machine on its suspension: sag, the rate it implies, positions of rest, springs to choose, loads and response.
//!
//! Frames: *wheel* is vertical at the axle, *axial* along a fork leg or shock shaft. `z` is wheel travel from full extension
//! (bump positive), `s` axial travel, `MR = ds/dz`. `b` is the distance of the centre of gravity ahead of the rear contact,
//! `h` its height, `L` the wheelbase, `e` the rake from the vertical.

#![expect(
    clippy::neg_cmp_op_on_partial_ord,
    reason = "a NaN must fail the comparison: `!(x > 0.0)` refuses it, `x <= 0.0` lets it through"
)]

mod choose;
mod compare;
mod element;
mod error;
mod implied;
mod inverse;
mod loads;
mod path;
mod reading;
mod response;
mod rest;
mod sag;
mod suspension;

pub use choose::{
    Candidate, CandidateSpring, Choice, ChosenSpring, MOST_CANDIDATES, Present, Ranked, Rejection, RuledBy, SagTargets,
    SpringSource, TravelCase, choose,
};
pub use compare::{Agreement, Cause, CauseKind, Compared, Fitted, SagBeside, compare};
pub use element::{Air, Element};
pub use error::ChassisError;
pub use implied::{AirOfFork, Implied, ImpliedRequest, SprungLoad, implied_rate};
pub use inverse::{Rest, SpringFound, spring_for_rests};
pub use loads::{
    Balance, Braking, CenterOfGravity, MassPart, Pitch, RiderMass, RidersPart, WheelLoads, braking, combine,
    cornering_factor, damping_factor_after_respring, pitch, rear_lift, riders_part, wheel_loads,
};
pub use path::Path;
pub use reading::{Handling, Lengths, MOST_REPEATS, StateReading};
pub use response::{
    DampingLaw, LONGEST, MOST_VELOCITIES, QuarterBike, Responded, ResponseRequest, Road, TracePoint, assumed_rates,
    natural_frequencies, packing, respond, usual_stop_rate, usual_tyre_rate,
};
pub use rest::{Equilibrium, RestState, Root};
pub use sag::{SagFound, SagRequest, read_sag};
pub use suspension::{AtTravel, MOST_ELEMENTS, Suspension};

/// An end of the machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum End {
    /// Fork.
    Front,
    /// Shock.
    Rear,
}

impl End {
    /// In words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Front => "front",
            Self::Rear => "rear",
        }
    }
}
