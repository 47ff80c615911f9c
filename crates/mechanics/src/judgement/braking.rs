//! What hard braking asks of a fork.

use super::look::Look;
use super::rows::RuleId;
use crate::chassis::{Balance, CenterOfGravity, braking};
use crate::quantity::{Force, Mass, Quantity, STANDARD_GRAVITY};

/// A fork in the hardest braking, all at the limit, the front wheel doing all of it.
pub(super) struct Braked {
    /// Force along the legs, N.
    pub(super) force: f64,
    /// The same as a vertical load at the wheel.
    pub(super) wheel_load: Force,
    /// Stroke it is pressed to with the springs as they are, m; not above the travel.
    pub(super) stroke: f64,
    /// Rate of one spring that keeps it within the share of the travel, N/m.
    pub(super) rate: f64,
}

/// The rate that keeps the stroke within a share of the travel is the force over preload and that stroke. The air's part is
/// left out, which asks for a little too much.
pub(super) fn braked(look: &Look<'_>) -> Option<Braked> {
    let whole = &look.visit.whole;
    let balance = Balance {
        gravity: CenterOfGravity {
            mass: whole.mass?,
            ahead: whole.gravity_ahead?,
            height: whole.gravity_height?,
        },
        wheelbase: whole.wheelbase?,
        front_unsprung: whole.front_unsprung_mass?,
        // It carries nothing of the front.
        rear_unsprung: Mass::from_si(0.0),
    };
    let deceleration = whole.deceleration_ratio? * STANDARD_GRAVITY;
    let pressed = braking(&balance, whole.rake?, deceleration, 1.0, None).ok()?;
    let force = pressed.axial_force.si();
    let travel = look.seen.travel?.si();
    let preload = look.seen.preload?.si();
    let legs = look.seen.rates.len() as f64;
    let now = look.rate()? * legs;
    let room = preload + look.ratio(RuleId::BrakingTravel) * travel;
    let rate = force / room / legs;
    (look.is_front() && rate.is_finite() && rate > 0.0).then(|| Braked {
        force,
        wheel_load: pressed.wheel_load,
        stroke: (force / now - preload).clamp(0.0, travel),
        rate,
    })
}
