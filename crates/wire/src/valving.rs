//! Checks of stacks, and the conversions between the calculations on valving and their messages.

pub mod solve;
pub mod stack;
