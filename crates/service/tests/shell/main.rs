//! The shell through real sockets: what it drops, what it refuses, and how it ends.

mod answers;
mod beside;
mod ending;
mod limits;
mod server;
mod sockets;
