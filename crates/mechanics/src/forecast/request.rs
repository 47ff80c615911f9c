//! What a forecast starts from.

use crate::chassis::End;
use crate::chassis::{Balance, ChassisError, Suspension};
use crate::judgement::{Action, Circuit};
use crate::quantity::{
    DampingRate, Force, Length, LengthUnit, Quantity, Stroke, Travel, Unit, UnitSystem, Velocity, VelocityUnit,
    WheelRate,
};

/// Adjusters of one end.
pub const MOST_CIRCUITS: usize = 4;
/// Paces asked for.
pub const MOST_PACES: usize = 64;
/// Readings of a damper's curve and of an adjuster's reach.
pub(super) const MOST_POINTS: usize = 64;
/// Rows of the price list.
pub(super) const MOST_PRICES: usize = 200;

/// A machine with its rider, how it is ridden, and what the shop charges.
#[derive(Debug, Clone, PartialEq)]
pub struct ForecastRequest {
    /// Machine with rider.
    pub balance: Balance,
    /// The fork.
    pub front: Option<ForecastEnd>,
    /// The shock.
    pub rear: Option<ForecastEnd>,
    /// How it is ridden now.
    pub riding: Riding,
    /// Where.
    pub road: Road,
    /// How sure what belongs to no end is.
    pub sureness: Sureness,
    /// What remedies cost.
    pub prices: Vec<Price>,
    /// The highest pace looked at, above 1.
    pub highest_pace: f64,
    /// Paces at which the scalings are wanted.
    pub paces: Vec<f64>,
    /// Units of the words.
    pub units: UnitSystem,
}

/// One end as it is now.
#[derive(Debug, Clone, PartialEq)]
pub struct ForecastEnd {
    /// What carries it.
    pub suspension: Suspension,
    /// Wheel travel used at the present pace, from full extension; `None`: travel is not forecast.
    pub travel_used: Option<Travel>,
    /// Its standard uncertainty.
    pub travel_used_uncertainty: Length,
    /// Relative standard uncertainty of the force that carries the end.
    pub rate_uncertainty: f64,
    /// Axial travel at which the spring binds.
    pub bind: Option<Stroke>,
    /// Its adjusters.
    pub circuits: Vec<ForecastCircuit>,
    /// Whether its damping can be changed inside; where it cannot, another unit takes the place of other valving.
    pub can_be_revalved: bool,
    /// Rate of the tyre, for the bump.
    pub tyre_rate: Option<WheelRate>,
    /// Equivalent damping at the wheel, for the bump.
    pub wheel_damping: Option<DampingRate>,
}

/// How a damper's force grows with the velocity of its shaft.
#[derive(Debug, Clone, PartialEq)]
pub enum Damping {
    /// `F ~ v^alpha`, with the standard uncertainty of the exponent.
    Power {
        /// The exponent.
        exponent: f64,
        /// Its standard uncertainty.
        standard_uncertainty: f64,
    },
    /// Force against velocity, both rising from above 0, at the present setting.
    Curve(Vec<(Velocity, Force)>),
}

/// One adjuster and the damping it governs.
#[derive(Debug, Clone, PartialEq)]
pub struct ForecastCircuit {
    /// Which.
    pub circuit: Circuit,
    /// Clicks or turns from closed.
    pub position: f64,
    /// Clicks or turns from closed to open.
    pub range: f64,
    /// Standard uncertainty of the position; `None`: half a click, rectangular.
    pub position_uncertainty: Option<f64>,
    /// Closed over open force, at velocities; empty: 2, limits 1.3 and 4, assumed.
    pub reach: Vec<(Velocity, f64)>,
    /// The damper.
    pub damping: Damping,
    /// Velocity of the shaft in hard riding now; `None`: 0.3 m/s, assumed.
    pub velocity: Option<Velocity>,
    /// Velocity of the shaft from which on the ports rule, not the stack.
    pub port_limited_from: Option<Velocity>,
    /// Whether the bump rules its velocity, else the random road.
    pub bump_rules: bool,
}

/// How the machine is ridden now, accelerations in m/s2.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Riding {
    /// Hardest braking.
    pub deceleration: f64,
    /// The front wheel's share of it.
    pub front_share: f64,
    /// Hardest cornering.
    pub lateral: f64,
    /// Braking and cornering at once.
    pub together: Option<(f64, f64)>,
    /// Friction coefficient of tyre and road.
    pub grip: f64,
}

/// The road.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Road {
    /// Waviness.
    pub waviness: f64,
    /// A bump met at the present pace.
    pub bump: Option<Bump>,
}

/// A bump, a haversine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bump {
    /// Height.
    pub height: Length,
    /// Length.
    pub length: Length,
    /// Speed over it at the present pace.
    pub speed: Velocity,
}

/// Standard uncertainties of what belongs to no end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sureness {
    /// Of the accelerations, relative.
    pub accelerations: f64,
    /// Of the grip, absolute.
    pub grip: f64,
    /// Of the waviness, absolute.
    pub waviness: f64,
    /// Of the height of the centre of gravity.
    pub height: Length,
    /// Of its distance ahead of the rear contact.
    pub ahead: Length,
}

/// Whole and billionths, exact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Money {
    /// Billionths.
    pub nanos: i128,
}

/// What a remedy costs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Price {
    /// What the shop calls it.
    pub label: String,
    /// What is done.
    pub remedy: Action,
    /// Where; `None`: at either end.
    pub end: Option<End>,
    /// The price.
    pub amount: Money,
}

impl ForecastRequest {
    /// An end.
    #[must_use]
    pub fn end(&self, end: End) -> Option<&ForecastEnd> {
        match end {
            End::Front => self.front.as_ref(),
            End::Rear => self.rear.as_ref(),
        }
    }

    pub(super) fn check(&self) -> Result<(), ChassisError> {
        let Riding {
            deceleration,
            front_share,
            lateral,
            together,
            grip,
        } = self.riding;
        number("highest_pace", self.highest_pace, 1.01, 3.0, "")?;
        number("riding.deceleration", deceleration, 0.0, 20.0, "m/s2")?;
        number("riding.lateral_acceleration", lateral, 0.0, 20.0, "m/s2")?;
        number("riding.front_braking_ratio", front_share, 0.0, 1.0, "")?;
        number("riding.grip_factor", grip, 0.05, 3.0, "")?;
        if let Some((braking, lateral)) = together {
            number("riding.together_deceleration", braking, 0.0, 20.0, "m/s2")?;
            number("riding.together_lateral_acceleration", lateral, 0.0, 20.0, "m/s2")?;
        }
        number("road.waviness", self.road.waviness, 1.0, 4.0, "")?;
        self.sureness.check()?;
        if let Some(bump) = &self.road.bump {
            bump.check()?;
        }
        counted("prices", self.prices.len(), MOST_PRICES)?;
        counted("paces", self.paces.len(), MOST_PACES)?;
        for (index, pace) in self.paces.iter().enumerate() {
            number(&format!("paces[{index}]"), *pace, 0.3, 3.0, "")?;
        }
        for end in [End::Front, End::Rear] {
            if let Some(given) = self.end(end) {
                given.check().map_err(|error| error.below(end.word()))?;
            }
        }
        Ok(())
    }
}

impl Sureness {
    fn check(&self) -> Result<(), ChassisError> {
        number("sureness.acceleration_ratio", self.accelerations, 0.0, 0.5, "")?;
        number("sureness.grip_factor", self.grip, 0.0, 0.5, "")?;
        number("sureness.waviness", self.waviness, 0.0, 0.5, "")?;
        length("sureness.cg_height", self.height, 0.0, 200.0)?;
        length("sureness.cg_ahead_of_rear_contact", self.ahead, 0.0, 200.0)
    }
}

impl Bump {
    fn check(&self) -> Result<(), ChassisError> {
        length("road.bump.height", self.height, 0.1, 500.0)?;
        length("road.bump.length", self.length, 1.0, 20_000.0)?;
        velocity("road.bump.speed", self.speed, 0.1, 120.0)
    }
}

impl ForecastEnd {
    fn check(&self) -> Result<(), ChassisError> {
        let travel = self.suspension.path().travel().get(LengthUnit::Millimeter);
        if let Some(used) = self.travel_used {
            length("travel_used", Length::from_si(used.si()), 0.0, travel)?;
        }
        length("travel_used_uncertainty", self.travel_used_uncertainty, 0.0, 50.0)?;
        number("rate_uncertainty_ratio", self.rate_uncertainty, 0.0, 0.5, "")?;
        if let Some(bind) = self.bind {
            length("bind", Length::from_si(bind.si()), 1.0, 1_000.0)?;
        }
        counted("circuits", self.circuits.len(), MOST_CIRCUITS)?;
        for (index, circuit) in self.circuits.iter().enumerate() {
            circuit
                .check()
                .map_err(|error| error.below(&format!("circuits[{index}]")))?;
            let before = self.circuits.iter().take(index);
            if before.map(|other| other.circuit).any(|other| other == circuit.circuit) {
                return Err(ChassisError::Contradiction {
                    field: format!("circuits[{index}].circuit"),
                    what: format!("{} stands in the list twice", circuit.circuit.word()),
                });
            }
        }
        if let Some(rate) = self.tyre_rate {
            number("tyre_rate", rate.si() / 1e3, 10.0, 2_000.0, "N/mm")?;
        }
        if let Some(damping) = self.wheel_damping {
            number("wheel_damping", damping.si(), 1.0, 100_000.0, "N*s/m")?;
        }
        Ok(())
    }
}

impl ForecastCircuit {
    fn check(&self) -> Result<(), ChassisError> {
        number("range_count", self.range, 0.1, 1_000.0, "")?;
        number("position_from_closed", self.position, 0.0, self.range, "")?;
        if let Some(u) = self.position_uncertainty {
            number("position_uncertainty", u, 0.0, self.range, "")?;
        }
        if let Some(v) = self.velocity {
            velocity("shaft_velocity", v, 0.001, 10.0)?;
        }
        if let Some(v) = self.port_limited_from {
            velocity("port_limited_from", v, 0.001, 20.0)?;
        }
        counted("reach", self.reach.len(), MOST_POINTS)?;
        let velocities = self.reach.iter().map(|(v, _)| *v);
        rising("reach", velocities)?;
        for (index, (_, ratio)) in self.reach.iter().enumerate() {
            number(
                &format!("reach[{index}].closed_to_open_force_ratio"),
                *ratio,
                1.01,
                100.0,
                "",
            )?;
        }
        match &self.damping {
            Damping::Power {
                exponent,
                standard_uncertainty,
            } => {
                number("exponent", *exponent, 0.1, 3.0, "")?;
                number("exponent_uncertainty", *standard_uncertainty, 0.0, 1.0, "")
            }
            Damping::Curve(points) => {
                counted("curve", points.len(), MOST_POINTS)?;
                if points.len() < 2 {
                    return Err(ChassisError::out_of_range(
                        "curve",
                        points.len() as f64,
                        "points",
                        "2 or more",
                    ));
                }
                rising("curve", points.iter().map(|(v, _)| *v))?;
                let pairs = points.iter().zip(points.iter().skip(1));
                let falls = points.iter().any(|(_, f)| !(f.si() > 0.0))
                    || pairs.into_iter().any(|((_, a), (_, b))| !(b.si() > a.si()));
                if falls {
                    let what = "the forces of a curve are above 0 and rise".to_owned();
                    return Err(ChassisError::Contradiction {
                        field: "curve".to_owned(),
                        what,
                    });
                }
                Ok(())
            }
        }
    }
}

fn number(field: &str, value: f64, low: f64, high: f64, unit: &'static str) -> Result<(), ChassisError> {
    if (low..=high).contains(&value) {
        return Ok(());
    }
    Err(ChassisError::out_of_range(
        field,
        value,
        unit,
        format!("{low} to {high} {unit}").trim_end(),
    ))
}

fn length(field: &str, value: Length, low: f64, high: f64) -> Result<(), ChassisError> {
    let unit = LengthUnit::Millimeter;
    number(field, value.get(unit), low, high, unit.row().symbol)
}

fn velocity(field: &str, value: Velocity, low: f64, high: f64) -> Result<(), ChassisError> {
    let unit = VelocityUnit::MeterPerSecond;
    number(field, value.get(unit), low, high, unit.row().symbol)
}

fn counted(field: &str, count: usize, most: usize) -> Result<(), ChassisError> {
    if count <= most {
        return Ok(());
    }
    Err(ChassisError::out_of_range(
        field,
        count as f64,
        "entries",
        format!("at most {most}"),
    ))
}

/// Velocities from above 0, each above the one before.
fn rising(field: &str, velocities: impl Iterator<Item = Velocity>) -> Result<(), ChassisError> {
    let mut before = 0.0;
    for (index, v) in velocities.enumerate() {
        if !(v.si() > before && v.si() <= 20.0) {
            let allowed = "above the one before, up to 20 m/s";
            return Err(ChassisError::out_of_range(
                format!("{field}[{index}].velocity"),
                v.si(),
                "m/s",
                allowed,
            ));
        }
        before = v.si();
    }
    Ok(())
}
