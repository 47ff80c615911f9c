//! The physics of the suspension bench: springs, valving and the chassis they carry.
//!
//! This crate knows `uom` and nothing of the program around it: no wire, store, clock, thread, environment or log.
//! The same input gives the same bits out.

pub mod chassis;
pub mod estimate;
pub mod finding;
pub mod follow;
pub mod forecast;
pub mod judgement;
pub mod live;
pub mod quantity;
pub mod spring;
pub mod valving;
