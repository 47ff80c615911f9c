//! The gRPC door.

pub mod status;
