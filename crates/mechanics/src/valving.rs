//! What valving does: the mechanics of shim stacks, the hydraulics of dampers, and damping at the wheel.

#![expect(
    clippy::neg_cmp_op_on_partial_ord,
    reason = "a NaN must fail the comparison: `!(x > 0.0)` refuses it, `x <= 0.0` lets it through"
)]

pub mod compare;
pub mod damper;
mod error;
mod gauss;
pub mod oil;
pub mod ride;
mod root;
pub mod stack;

pub use error::ValvingError;
