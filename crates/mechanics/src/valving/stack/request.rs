//! What is asked of a stack.

use super::design::Stack;
use crate::quantity::PressureDifference;

/// How deflections are computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Method {
    /// Bending and stretching of every shim.
    #[default]
    LargeDeflection,
    /// Bending only, by exact influence functions: right to a lift of half a shim thickness, and fast.
    SmallDeflection,
}

/// Rings over the widest span for answers while a person types.
pub const SWEEP_RINGS: usize = 16;
/// Rings for a report.
pub const REPORT_RINGS: usize = 24;

/// A stack and the pressures it is solved at.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// The stack.
    pub stack: Stack,
    /// Pressures over the face shim, in any order.
    pub pressures: Vec<PressureDifference>,
    /// How deflections are computed.
    pub method: Method,
    /// Rings over the widest span, 6 to 64; `None`: [`REPORT_RINGS`].
    pub ring_count: Option<usize>,
}
