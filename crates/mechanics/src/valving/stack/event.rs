//! Pressures at which something happens.

use super::answer::Solver;
use super::state::State;
use crate::valving::ValvingError;

/// Relative width at which an event's pressure stands.
const WIDTH: f64 = 1e-7;
/// Solutions spent on one event.
const TRIES: usize = 40;

/// The pressure at which `measure`, above zero in `before`, reaches zero. It is not above zero at `after`.
///
/// What is measured (the force on a seat, a gap that closes) is smooth up to the event and constant after it: the secant
/// of the two last states before it points at it; a bisection now and then keeps the bracket shrinking.
pub(super) fn find(
    solver: &mut Solver<'_>,
    before: &State,
    after: &State,
    measure: impl Fn(&State) -> f64,
) -> Result<State, ValvingError> {
    let (mut low, mut high) = (before.clone(), after.clone());
    let mut value = measure(&low);
    let mut earlier: Option<(f64, f64)> = None;
    for round in 0..TRIES {
        let width = high.pressure - low.pressure;
        if width <= WIDTH * high.pressure {
            break;
        }
        let middle = low.pressure + 0.5 * width;
        let secant = earlier.map(|(p, m)| low.pressure + value * (low.pressure - p) / (m - value));
        let next = match secant {
            Some(p) if p > low.pressure && p < high.pressure && round % 4 != 3 => {
                // A hair beyond the guess: a good guess then ends the search from both sides.
                (p + 0.3 * WIDTH * p).min(high.pressure - 0.1 * width)
            }
            _ => middle,
        };
        let (state, _) = solver.at(std::slice::from_ref(&low), next)?;
        let found = measure(&state);
        if found > 0.0 {
            earlier = Some((low.pressure, value));
            value = found;
            low = state;
        } else {
            high = state;
        }
    }
    Ok(high)
}
