//! What valving does: the mechanics of shim stacks, the hydraulics of dampers, and damping at the wheel.

pub mod compare;
pub mod damper;
mod error;
mod gauss;
pub mod oil;
pub mod ride;
mod root;
pub mod stack;

pub use error::ValvingError;
