//! What valving does: the mechanics of shim stacks.

mod error;
pub mod stack;

pub use error::ValvingError;
