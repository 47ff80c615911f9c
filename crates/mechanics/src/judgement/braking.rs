//! What hard braking asks of a fork.

use super::look::Look;
use super::rows::RuleId;
use crate::quantity::{Quantity, STANDARD_GRAVITY};

/// A fork in the hardest braking, all at the limit, the front wheel doing all of it.
pub(super) struct Braked {
    /// Force along the legs, N.
    pub(super) force: f64,
    /// Stroke it is pressed to with the springs as they are, m; not above the travel.
    pub(super) stroke: f64,
    /// Rate of one spring that keeps it within the share of the travel, N/m.
    pub(super) rate: f64,
}

/// Force along the legs `(N - m_u g) cos(e) + (X - m_u a) sin(e)`, with `N = m (g b + a h)/L`, `X = m a`; the rate that keeps
/// the stroke within a share of the travel is the force over preload and that stroke. The air's part is left out, which
/// asks for a little too much.
pub(super) fn braked(look: &Look<'_>) -> Option<Braked> {
    let whole = &look.visit.whole;
    let (m, unsprung) = (whole.mass?.si(), whole.front_unsprung_mass?.si());
    let (b, h, wheelbase) = (
        whole.gravity_ahead?.si(),
        whole.gravity_height?.si(),
        whole.wheelbase?.si(),
    );
    let a = whole.deceleration_ratio? * STANDARD_GRAVITY;
    let (sin, cos) = whole.rake?.si().sin_cos();
    let load = m * (STANDARD_GRAVITY * b + a * h) / wheelbase;
    let force = (load - unsprung * STANDARD_GRAVITY) * cos + (m - unsprung) * a * sin;
    let travel = look.seen.travel?.si();
    let preload = look.seen.preload?.si();
    let legs = look.seen.rates.len() as f64;
    let now = look.rate()? * legs;
    let room = preload + look.ratio(RuleId::BrakingTravel) * travel;
    let rate = force / room / legs;
    (look.is_front() && rate.is_finite() && rate > 0.0).then(|| Braked {
        force,
        stroke: (force / now - preload).clamp(0.0, travel),
        rate,
    })
}
