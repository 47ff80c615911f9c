//! At which pace a limit is met.

use super::machine::{Bench, World};

/// The slowest pace looked at: a limit met below it is said to be met long since.
pub(super) const SLOWEST: f64 = 0.5;
/// Pieces the paces are cut into; in each a limit is met once.
const PIECES: u32 = 48;
/// Halvings within a piece: below a millionth of the pace.
const HALVINGS: u32 = 16;

/// A limit that can be met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Watched {
    /// All the travel.
    Travel(usize),
    /// The spring binds.
    Bind(usize),
    /// A quarter of the range of a circuit.
    Quarter(usize, usize),
    /// None of it.
    Gone(usize, usize),
    /// The ports rule.
    Ports(usize, usize),
    /// The rear tops out under braking.
    TopOut(usize),
}

/// Near the limit: a quarter of the range left, inclusive (common practice, no source).
const QUARTER: f64 = 0.25;

impl Watched {
    /// What is left before the limit at a pace; 0 and below: it is met. `None` where it does not apply.
    pub(super) fn margin(self, bench: &Bench<'_>, world: &World, pace: f64) -> Option<f64> {
        match self {
            Self::Travel(end) => Some(bench.ends.get(end)?.travel - bench.end_at(world, end, pace)?.used?),
            Self::Bind(end) => Some(bench.ends.get(end)?.bind? - bench.end_at(world, end, pace)?.used?),
            Self::Quarter(end, circuit) => Some(bench.circuit_at(world, (end, circuit), pace)?.share - QUARTER),
            Self::Gone(end, circuit) => Some(bench.circuit_at(world, (end, circuit), pace)?.share),
            Self::Ports(end, circuit) => {
                let given = bench.ends.get(end)?.given.circuits.get(circuit)?;
                let now = given
                    .velocity
                    .map_or(super::machine::VELOCITY, crate::quantity::Quantity::si);
                let ratio = bench.circuit_at(world, (end, circuit), pace)?.velocity_ratio;
                Some(given.port_limited_from.map(crate::quantity::Quantity::si)? - now * ratio)
            }
            Self::TopOut(end) => {
                let (own, given) = (world.ends.get(end)?, bench.ends.get(end)?);
                Some(bench.unloaded(world, pace) - given.carry.extended() * own.stiffness)
            }
        }
    }

    /// The pace at which it is first met, from [`SLOWEST`] to the highest; `None`: not within them.
    pub(super) fn met(self, bench: &Bench<'_>, world: &World) -> Option<f64> {
        let highest = bench.request.highest_pace;
        let open = |pace: f64| self.margin(bench, world, pace).is_none_or(|margin| margin > 0.0);
        let place = |piece: u32| SLOWEST + (highest - SLOWEST) * f64::from(piece) / f64::from(PIECES);
        let first = (0..=PIECES).find(|piece| !open(place(*piece)))?;
        let Some(before) = first.checked_sub(1) else {
            return Some(SLOWEST);
        };
        let (mut low, mut high) = (place(before), place(first));
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            if open(middle) { low = middle } else { high = middle }
        }
        Some(high)
    }
}

/// All limits a bench can meet.
pub(super) fn watched(bench: &Bench<'_>) -> Vec<Watched> {
    let mut watched = Vec::new();
    for (index, end) in bench.ends.iter().enumerate() {
        if end.given.travel_used.is_some() {
            watched.push(Watched::Travel(index));
            watched.extend(end.bind.map(|_| Watched::Bind(index)));
        }
        for (circuit, given) in end.given.circuits.iter().enumerate() {
            watched.push(Watched::Quarter(index, circuit));
            watched.push(Watched::Gone(index, circuit));
            watched.extend(given.port_limited_from.map(|_| Watched::Ports(index, circuit)));
        }
        if end.end == crate::chassis::End::Rear {
            watched.push(Watched::TopOut(index));
        }
    }
    watched
}
