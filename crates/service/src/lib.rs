//! Placeholder.

pub mod error;
/// The gRPC door.
pub mod grpc {
    pub mod status;
}
pub mod shell;
