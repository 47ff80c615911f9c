//! The shell through real sockets: what it drops, what it refuses, and how it ends.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a failing helper fails its test"
)]

mod answers;
mod beside;
mod ending;
mod limits;
mod server;
mod sockets;
