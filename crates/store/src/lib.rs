//! Records, their history and the engine that keeps their bytes.

pub mod engine;
