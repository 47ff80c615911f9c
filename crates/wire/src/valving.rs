//! Checks of stacks and dampers, and the conversions between the calculations on valving and their messages.

pub mod compare;
pub mod damper;
pub mod drawer;
pub mod evaluate;
pub mod oil;
pub mod solve;
pub mod stack;

#[cfg(test)]
mod invariance;
