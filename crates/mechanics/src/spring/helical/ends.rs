//! Ends and wires: what the tables say of them.

use super::{Ends, WireMaterial};

impl Ends {
    pub(super) fn dead(self) -> f64 {
        match self {
            Self::Plain => 0.0,
            Self::PlainGround => 1.0,
            Self::Squared | Self::SquaredGround => 2.0,
        }
    }

    pub(super) fn solid(self, d: f64, total: f64) -> f64 {
        match self {
            Self::Plain | Self::Squared => d * (total + 1.0),
            Self::PlainGround | Self::SquaredGround => d * total,
        }
    }

    /// Pitches and wires a free length is made of.
    pub(super) fn parts(self, active: f64) -> (f64, f64) {
        match self {
            Self::Plain => (active, 1.0),
            Self::PlainGround => (active + 1.0, 0.0),
            Self::Squared => (active, 3.0),
            Self::SquaredGround => (active, 2.0),
        }
    }
}

impl WireMaterial {
    /// Shear and Young's modulus, Pa; EN 13906-1, from memory. American tables give 77.2 GPa for oil tempered wire.
    pub(super) fn moduli(self) -> (f64, f64, &'static str) {
        match self {
            Self::PatentedDrawn => (81.5e9, 206e9, "patented drawn wire"),
            Self::OilTempered => (79.5e9, 206e9, "oil tempered wire"),
            Self::Stainless => (73.0e9, 185e9, "stainless wire 1.4310"),
            Self::HotRolled => (78.5e9, 206e9, "hot rolled bar"),
        }
    }
}
