//! What the invented machines read: rest under their loads, and a road that asks for more as the pace grows.
//!
//! A model of its own, far simpler than the bench's: straight springs, air in each leg as one rate, steady loads of braking and
//! cornering growing with the square of the pace, the road's part with its root. Readings are rounded as a tape is read.

use super::bikes::{Bike, Unit};

/// Standard gravity, m/s2.
const GRAVITY: f64 = 9.80665;
/// The fork's part of the rider.
const FRONT_PART: f64 = 0.37;
/// Air in the fork, both legs, N/mm.
const AIR: f64 = 1.6;
/// How far above the machine's centre of gravity the rider's lies, mm.
const RIDER_ABOVE: f64 = 350.0;
/// What the hand adds to a length, mm, visit after visit.
const HAND: [f64; 7] = [0.4, -0.3, 0.2, -0.4, 0.3, 0.0, -0.2];

/// An end with a spring and a preload; lengths along the leg of a fork, at the wheel of the rear.
pub(super) struct Stand<'a> {
    pub(super) bike: &'a Bike,
    pub(super) front: bool,
    /// Rate of each spring, N/mm.
    pub(super) rate: f64,
    /// Preload, mm.
    pub(super) preload: f64,
}

impl Stand<'_> {
    pub(super) fn unit(&self) -> &Unit {
        if self.front { &self.bike.front } else { &self.bike.rear }
    }

    /// Sprung load at the wheel at rest, N.
    fn load(&self, rider: bool) -> f64 {
        let bike = self.bike;
        let share = bike.gravity_ahead / bike.wheelbase;
        let (own, part) = if self.front {
            (share, FRONT_PART)
        } else {
            (1.0 - share, 1.0 - FRONT_PART)
        };
        let aboard = if rider { part * bike.rider_mass } else { 0.0 };
        GRAVITY * (bike.mass * own - self.unit().unsprung + aboard)
    }

    /// Where it rests under a load at the wheel, mm from full extension.
    fn rest(&self, load: f64) -> f64 {
        let place = if self.front {
            let axial = load * self.bike.rake_degrees.to_radians().cos();
            (axial - 2.0 * self.rate * self.preload) / (2.0 * self.rate + AIR)
        } else {
            let ratio = self.unit().ratio;
            (load / ratio / self.rate - self.preload) / ratio
        };
        place.max(0.0)
    }

    /// Static sag, and total sag.
    pub(super) fn sag(&self) -> (f64, f64) {
        (self.rest(self.load(false)), self.rest(self.load(true)))
    }

    /// Travel used at a pace, with compression at a share of its range from closed.
    pub(super) fn travel_used(&self, pace: f64, compression: f64) -> f64 {
        let bike = self.bike;
        let load = if self.front {
            self.braking_load(pace)
        } else {
            self.load(true) * 1.0_f64.hypot((bike.cornering * pace * pace).min(1.0))
        };
        // Closed compression takes a fifth off what the road does.
        let held = 2.0_f64.powf(0.6 * (compression - 0.5));
        let used = self.rest(load) + self.unit().road * pace.sqrt() * held;
        used.min(self.unit().travel).round()
    }

    /// Load on the fork at the wheel in hard braking, the front wheel doing all of it.
    fn braking_load(&self, pace: f64) -> f64 {
        let bike = self.bike;
        let whole = bike.mass + bike.rider_mass;
        let height = bike.gravity_height + bike.rider_mass * RIDER_ABOVE / whole;
        let deceleration = GRAVITY * deceleration(bike, pace);
        let unsprung = self.unit().unsprung;
        let transfer = whole * deceleration * height / bike.wheelbase;
        let slope = bike.rake_degrees.to_radians().tan();
        self.load(true) + transfer + (whole - unsprung) * deceleration * slope
    }
}

/// Hardest braking at a pace, over standard gravity.
pub(super) fn deceleration(bike: &Bike, pace: f64) -> f64 {
    (bike.braking * pace * pace).min(1.0)
}

/// Hardest cornering at a pace, over standard gravity.
pub(super) fn lateral(bike: &Bike, pace: f64) -> f64 {
    (bike.cornering * pace * pace).min(1.0)
}

/// A length settled after pressing and after lifting, as a tape is read: to half a millimetre.
pub(super) fn settled(length: f64, half_band: f64, visit: usize) -> (f64, f64) {
    let hand = HAND.get(visit % HAND.len()).copied().unwrap_or_default();
    let read = |length: f64| (2.0 * (length + hand)).round() / 2.0;
    (read(length - half_band), read(length + half_band))
}

#[cfg(test)]
mod tests {
    use super::super::bikes::BIKES;
    use super::*;

    #[test]
    fn every_machine_stands_and_rides_within_its_travel() {
        for bike in &BIKES {
            for front in [true, false] {
                let unit = if front { &bike.front } else { &bike.rear };
                let stand = Stand {
                    bike,
                    front,
                    rate: unit.rates[0],
                    preload: unit.preload_range.1,
                };
                let (alone, total) = stand.sag();
                assert!(
                    alone >= 0.0 && alone < total && total < 0.5 * unit.travel,
                    "{} {alone} {total}",
                    bike.id
                );
                let used: Vec<f64> = bike
                    .visits
                    .iter()
                    .map(|visit| stand.travel_used(visit.pace, 0.5))
                    .collect();
                assert!(used.iter().all(|used| (total..=unit.travel).contains(used)), "{used:?}");
                assert!(used.is_sorted(), "a faster rider uses more: {used:?}");
            }
        }
    }
}
