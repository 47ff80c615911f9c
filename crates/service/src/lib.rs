//! Placeholder.

pub mod error;
pub mod grpc;
pub mod shell;
