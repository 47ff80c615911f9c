//! Numbers that nobody chose.

use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// Scrambles a number (the finaliser of SplitMix64, public domain).
pub(crate) fn mix(seed: u64) -> u64 {
    let mut z = seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// A source of pauses and choices: any moment is valid for a kill, so no two runs of the test need be alike.
#[derive(Clone)]
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn new() -> Self {
        let now = SystemTime::now().duration_since(UNIX_EPOCH).unwrap();
        Self(now.as_nanos() as u64)
    }

    pub(crate) fn of(seed: u64) -> Self {
        Self(seed)
    }

    pub(crate) fn next(&mut self) -> u64 {
        self.0 = mix(self.0);
        self.0
    }

    pub(crate) fn below(&mut self, bound: usize) -> usize {
        (self.next() % bound as u64) as usize
    }

    pub(crate) fn between(&mut self, least: Duration, most: Duration) -> Duration {
        least + Duration::from_micros(self.next() % (most - least).as_micros() as u64)
    }
}
