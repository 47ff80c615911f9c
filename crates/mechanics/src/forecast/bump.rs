//! One bump at many speeds: how shaft velocity and travel grow with the pace.

use super::request::{ForecastEnd, ForecastRequest};
use super::search::SLOWEST;
use crate::chassis::{
    ChassisError, DampingLaw, End, QuarterBike, ResponseRequest, Road, respond, usual_stop_rate, usual_tyre_rate,
};
use crate::quantity::{DampingRate, Mass, Quantity, STANDARD_GRAVITY, Velocity};

/// Paces at which the bump is ridden; between them straight.
const PACES: u32 = 8;
/// Followed after the bump, s: about one swing of the body.
const AFTER: f64 = 0.5;

/// Factors of shaft velocity and of travel against the pace, both 1 at the present pace.
///
/// A bump is the harder at any pace up to the one asked for: on the same roads slower passages stay.
#[derive(Debug, Clone)]
pub(super) struct BumpTable {
    /// Pace, velocity factor, travel factor; rising in all three.
    rows: Vec<(f64, f64, f64)>,
}

impl BumpTable {
    /// Rides the bump; `None` where none was given, or too little is known of the end.
    pub(super) fn of(request: &ForecastRequest, end: End, given: &ForecastEnd) -> Result<Option<Self>, ChassisError> {
        let (Some(bump), Some(damping)) = (request.road.bump, given.wheel_damping) else {
            return Ok(None);
        };
        let sprung = request.balance.sprung_load(end)?.si() / STANDARD_GRAVITY;
        let bike = QuarterBike {
            sprung: Mass::from_si(sprung),
            unsprung: request.balance.unsprung(end),
            suspension: given.suspension.clone(),
            damping: DampingLaw::AtWheel {
                compression: damping,
                rebound: damping,
            },
            tyre_rate: given.tyre_rate.unwrap_or_else(usual_tyre_rate),
            tyre_damping: DampingRate::from_si(0.0),
            stop_rate: usual_stop_rate(),
        };
        let ridden = |pace: f64| {
            let speed = bump.speed.si() * pace;
            let found = respond(&ResponseRequest {
                bike: bike.clone(),
                road: Road::Bump {
                    height: bump.height,
                    length: bump.length,
                    speed: Velocity::from_si(speed),
                },
                seconds: bump.length.si() / speed + AFTER,
                next_bump_seconds: None,
                units: request.units,
            });
            let found = found.map_err(|error| error.below("road.bump"))?;
            let travel = found.most_travel.si() - found.start.si();
            Ok::<_, ChassisError>((found.compression_velocity.si(), travel))
        };
        let paces = (0..=PACES).map(|i| SLOWEST + (request.highest_pace - SLOWEST) * f64::from(i) / f64::from(PACES));
        let mut rows = Vec::new();
        let mut most = (0.0_f64, 0.0_f64);
        for pace in paces {
            let (velocity, travel) = ridden(pace)?;
            most = (most.0.max(velocity), most.1.max(travel));
            rows.push((pace, most.0, most.1));
        }
        Ok(Self::from_rows(rows))
    }

    fn from_rows(rows: Vec<(f64, f64, f64)>) -> Option<Self> {
        let mut table = Self { rows };
        let (velocity, travel) = table.at(1.0);
        if !(velocity > 0.0 && travel > 0.0) {
            return None;
        }
        for row in &mut table.rows {
            row.1 /= velocity;
            row.2 /= travel;
        }
        Some(table)
    }

    /// Factors of velocity and of travel at a pace.
    pub(super) fn at(&self, pace: f64) -> (f64, f64) {
        let after = self.rows.partition_point(|row| row.0 < pace);
        let (Some(high), Some(low)) = (self.rows.get(after), self.rows.get(after.saturating_sub(1))) else {
            return self.rows.last().map_or((1.0, 1.0), |row| (row.1, row.2));
        };
        let width = high.0 - low.0;
        let share = if width > 0.0 { (pace - low.0) / width } else { 0.0 };
        (low.1 + (high.1 - low.1) * share, low.2 + (high.2 - low.2) * share)
    }
}
