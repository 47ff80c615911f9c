//! Mechanics of a stack of shims clamped at a common radius on a piston face.
//!
//! # One disc
//! Thin plate of thickness `t`, clamp radius `a`, outer radius `b`, lift `w` away from the piston, radial movement `u`:
//!
//! ```text
//! D = E t^3/(12 (1 - nu^2)),  M_r = D (w'' + nu w'/r),  M_t = D (w'/r + nu w'')
//! eps_r = u' + w'^2/2, eps_t = u/r,  C = E t/(1 - nu^2),  N_r = C (eps_r + nu eps_t),  N_t = C (eps_t + nu eps_r)
//! energy = 1/2 int (N_r eps_r + N_t eps_t + M_r w'' + M_t w'/r) 2 pi r dr - int q w 2 pi r dr
//! clamp: w = w' = 0, u = 0 (held) or N_r = 0 (free);   edge: M_r = 0, shear = 0, N_r = 0
//! ```
//!
//! (von Karman; Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed., ch. 13.) Each disc has a membrane
//! of its own: stiffening goes with `w/t` of the single disc. Linear theory alone is wrong by 10 % from a lift of half a
//! shim thickness on and by a factor of 2 at working lifts, which is why it is only a mode here.
//!
//! # Contact
//! At radius `r` only the discs with `b >= r` exist; neighbours among those can touch, with a gap of all that lies between
//! them. Ring force `l >= 0`, gap `>= 0`, `l` times gap `= 0`, without friction. A tilted disc is thicker along the axis:
//! `gap = g + w_j - w_i - (t_i w_i'^2 + t_j w_j'^2)/4`. Seat and stop are rigid rings with the same rule.
//!
//! # Solution
//! Cubic Hermite elements for `w` and `u` on rings common to all discs, every edge a ring; Newton outside, in each step
//! the exact linear complementarity problem of the ring forces inside. A pressure starts from what those before it lead to
//! expect; nothing of that is left in its answer. Every state is checked (forces, gaps, equilibrium) before it is answered.
//! Units inside: mm, N, MPa.
//!
//! # Range and error
//! 1 to 16 shims of 8-60 mm and 0.05-0.60 mm, clamp at least a quarter of the diameter, lift to 1.5 mm. Against axisymmetric
//! finite elements within 1 %, except where those themselves are less sure; with 16 rings the mesh adds up to 0.2 %, with
//! 24 up to 0.05 %. Left out: transverse shear (short overhangs), friction (stated as a band), lobed ports, the give of
//! piston and clamp, discs that are not flat, the change of the pressure field with lift.

mod answer;
mod block;
mod check;
mod contact;
mod design;
mod event;
mod influence;
mod load;
mod mesh;
mod model;
mod newton;
mod plate;
mod request;
mod solution;
mod state;
pub mod text;

pub use design::{
    FRICTION, Face, Layer, MOST_FACES, MOST_PRESSURES, MOST_SHIMS, RadialHold, SPRING_STEEL_MODULUS,
    SPRING_STEEL_POISSON, Seat, Stack, Stop,
};
pub use request::{Method, REPORT_RINGS, Request, SWEEP_RINGS};
pub use solution::{Body, ContactRing, Event, EventKind, Point, Profile, ShimAt, Solved};

use super::ValvingError;

/// Lift of a stack at pressures, with its events and its state at the highest one.
///
/// # Errors
/// [`ValvingError`] where the stack makes no sense, no solution is found, or a solution fails its check.
pub fn solve(request: &Request) -> Result<Solved, ValvingError> {
    answer::of(request)
}
