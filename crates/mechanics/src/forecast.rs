//! Looking ahead: which limit comes first as the pace rises, when, how sure that is, and what it costs.
//!
//! Pace `p` multiplies the speed on the same roads; 1 is now. Everything here is a model's estimate.
//!
//! ```text
//! random road, spectrum G n^-w    rms suspension velocity and travel x p^((w-1)/2)
//! a bump                          through the quarter bike at both speeds; without one, velocity x p is an upper bound
//! the same braking distance       a = a_1 p^2 up to grip mu g and rear lift g (L - b)/h
//! the same line                   a = a_1 p^2 up to grip; springs carry the load x sqrt(g^2 + a^2)/g
//! both at once                    inside the friction circle a_x^2 + a_y^2 <= (mu g)^2
//! fork at the wheel               (N_f - m_uf g) + (X - m_uf a) tan e
//! travel used                     steady position(p) + (measured now - steady position now) x scaling
//! damping wanted                  c_eq(v_1)/c_eq(v_1 q) sqrt(k_2/k_1); for F ~ v^alpha  q^(1-alpha) sqrt(k_2/k_1)
//! adjuster                        F(x) = F_open r^(1-x): share left x - ln(damping wanted)/ln r
//! ```
//!
//! The road's scaling holds for a linear suspension, as long as the adjuster keeps the equivalent damping up. It is an
//! exact one for `w = 2`: the velocity of such a road is white, the mean power into the tyre spring does not depend on the
//! suspension, and the damper turns all of it to heat, so that `c_eq v_rms^2` grows with `p` whatever the damper's curve.
//! Waviness: ISO 8608 (reference spectrum, w = 2). Damping ratio and equivalent damping: [`crate::valving::ride`].

mod answer;
mod band;
mod bump;
mod carry;
mod cost;
mod machine;
mod request;
mod scaling;
mod search;

pub use answer::{CircuitPoint, CostStep, EndPoint, Forecast, Kind, Limit, PacePoint, Plateaus};
pub use request::{
    Bump, Damping, ForecastCircuit, ForecastEnd, ForecastRequest, MOST_CIRCUITS, MOST_PACES, Money, Price, Riding,
    Road, Sureness,
};
pub use scaling::{damping_factor, deceleration_at, lateral_at, road_factor, share_left};

use crate::chassis::ChassisError;

/// Forecasts which limits are met, in the order of the pace.
///
/// Bands cover 95 % and come from 256 points of a fixed low-discrepancy sequence over the uncertain inputs: the same
/// request gives the same bits. A limit that is met at the present pace already is given with the pace at which it was
/// met. Costs: every remedy is paid once, at the first limit that asks for it.
///
/// # Errors
/// [`ChassisError`] naming the field.
pub fn forecast(request: &ForecastRequest) -> Result<Forecast, ChassisError> {
    request.check()?;
    let bench = machine::Bench::of(request)?;
    let limits = band::limits(request, &bench);
    Ok(answer::answer(request, &bench, limits))
}
