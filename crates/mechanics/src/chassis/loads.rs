//! Masses, wheel loads, braking, cornering, attitude.

use super::End;
use super::error::{ChassisError, number_within, within};
use crate::finding::{Code, Finding};
use crate::quantity::{
    Angle, AngleUnit, Force, Length, LengthUnit, Mass, MassUnit, Quantity, STANDARD_GRAVITY, Travel, UnitSystem,
    WheelRate,
};
use crate::spring::words::Words;

/// A mass with the place of its centre of gravity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MassPart {
    /// The mass.
    pub mass: Mass,
    /// Ahead of the rear contact.
    pub ahead: Length,
    /// Above the ground.
    pub height: Length,
}

/// Masses together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CenterOfGravity {
    /// Whole mass.
    pub mass: Mass,
    /// Mean distance ahead of the rear contact, mass-weighted.
    pub ahead: Length,
    /// Mean height.
    pub height: Length,
}

/// Masses together: `m = Sum m_i`, `b` and `h` mass-weighted. Nothing weighs nothing, at no place.
#[must_use]
pub fn combine(parts: &[MassPart]) -> CenterOfGravity {
    let sum = |of: fn(&MassPart) -> f64| parts.iter().map(|part| part.mass.si() * of(part)).sum::<f64>() + 0.0;
    let mass = sum(|_| 1.0);
    let mean = |of: fn(&MassPart) -> f64| if mass > 0.0 { sum(of) / mass } else { 0.0 };
    CenterOfGravity {
        mass: Mass::from_si(mass),
        ahead: Length::from_si(mean(|part| part.ahead.si())),
        height: Length::from_si(mean(|part| part.height.si())),
    }
}

/// A machine on its two wheels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// Everything, with rider where one is meant.
    pub gravity: CenterOfGravity,
    /// Wheelbase.
    pub wheelbase: Length,
    /// Unsprung mass of the front end.
    pub front_unsprung: Mass,
    /// Unsprung mass of the rear end.
    pub rear_unsprung: Mass,
}

/// Loads on the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WheelLoads {
    /// Front; below 0 the wheel has lifted.
    pub front: Force,
    /// Rear.
    pub rear: Force,
}

impl Balance {
    fn check(&self) -> Result<(), ChassisError> {
        let mm = LengthUnit::Millimeter;
        within("wheelbase", self.wheelbase, (300.0, 3_000.0), mm)?;
        let base = self.wheelbase.get(mm);
        within("cg_ahead_of_rear_contact", self.gravity.ahead, (0.0, base), mm)?;
        within("cg_height", self.gravity.height, (0.0, 2_000.0), mm)?;
        within("mass", self.gravity.mass, (1.0, 3_000.0), MassUnit::Kilogram)?;
        let whole = self.gravity.mass.get(MassUnit::Kilogram);
        within(
            "front_unsprung_mass",
            self.front_unsprung,
            (0.0, whole),
            MassUnit::Kilogram,
        )?;
        within(
            "rear_unsprung_mass",
            self.rear_unsprung,
            (0.0, whole),
            MassUnit::Kilogram,
        )?;
        Ok(())
    }

    /// Unsprung mass of an end.
    #[must_use]
    pub fn unsprung(&self, end: End) -> Mass {
        match end {
            End::Front => self.front_unsprung,
            End::Rear => self.rear_unsprung,
        }
    }

    /// What an end's spring carries at rest, at the wheel: the ground's load without the unsprung weight.
    ///
    /// # Errors
    /// [`ChassisError::OutOfRange`].
    pub fn sprung_load(&self, end: End) -> Result<Force, ChassisError> {
        let loads = wheel_loads(self, 0.0)?;
        let ground = match end {
            End::Front => loads.front,
            End::Rear => loads.rear,
        };
        Ok(Force::from_si(ground.si() - self.unsprung(end).si() * STANDARD_GRAVITY))
    }
}

/// Loads on the ground at a forward acceleration in m/s2, below 0 when braking:
/// `N_f = m g b/L - m a h/L`, `N_r = m g (L - b)/L + m a h/L` (moments about the contacts).
///
/// # Errors
/// [`ChassisError::OutOfRange`].
pub fn wheel_loads(balance: &Balance, acceleration: f64) -> Result<WheelLoads, ChassisError> {
    balance.check()?;
    number_within("acceleration", acceleration, -50.0, 50.0)?;
    let (m, b, h, l) = (
        balance.gravity.mass.si(),
        balance.gravity.ahead.si(),
        balance.gravity.height.si(),
        balance.wheelbase.si(),
    );
    let transfer = m * acceleration * h / l;
    Ok(WheelLoads {
        front: Force::from_si(m * STANDARD_GRAVITY * b / l - transfer),
        rear: Force::from_si(m * STANDARD_GRAVITY * (l - b) / l + transfer),
    })
}

/// Deceleration in m/s2 at which the rear wheel lifts: `g (L - b)/h`, moments about the front contact.
///
/// # Errors
/// [`ChassisError::OutOfRange`].
pub fn rear_lift(balance: &Balance) -> Result<f64, ChassisError> {
    balance.check()?;
    let height = balance.gravity.height.si();
    Ok(STANDARD_GRAVITY * (balance.wheelbase.si() - balance.gravity.ahead.si()) / height.max(1e-9))
}

/// A stop on the brakes.
#[derive(Debug, Clone, PartialEq)]
pub struct Braking {
    /// Load on the ground at the front.
    pub front_load: Force,
    /// At the rear; not below 0.
    pub rear_load: Force,
    /// Force along the fork's axis.
    pub axial_force: Force,
    /// The same as a vertical load at the wheel: axial over `cos(e)`.
    pub wheel_load: Force,
    /// What the rear spring carries at the wheel; not below 0.
    pub rear_sprung_load: Force,
    /// Deceleration at which the rear lifts, m/s2.
    pub rear_lift: f64,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
}

/// The fork under braking: `(N_f - m_u g) cos(e) + (X - m_u |a|) sin(e)` along its axis, `X` the front wheel's braking force.
///
/// The caliper's torque closes inside the unsprung parts. The whole transfer `m |a| h/L` comes whichever wheel brakes. Without
/// the sine the dive of a common fork is halved. Anti-lift of the rear brake and chain pull are left out.
/// Deceleration in m/s2; `front_share` is the front wheel's share of the braking force; `grip` the friction coefficient.
///
/// # Errors
/// [`ChassisError::OutOfRange`].
pub fn braking(
    balance: &Balance,
    rake: Angle,
    deceleration: f64,
    front_share: f64,
    grip: Option<f64>,
) -> Result<Braking, ChassisError> {
    within("rake", rake, (0.0, 45.0), AngleUnit::Degree)?;
    number_within("deceleration", deceleration, 0.0, 30.0)?;
    number_within("front_braking_ratio", front_share, 0.0, 1.0)?;
    let lift = rear_lift(balance)?;
    let loads = wheel_loads(balance, -deceleration)?;
    let mass = balance.gravity.mass.si();
    let unsprung = balance.front_unsprung.si();
    let along = front_share * mass * deceleration;
    let (sin, cos) = rake.si().sin_cos();
    let axial = (loads.front.si() - unsprung * STANDARD_GRAVITY) * cos + (along - unsprung * deceleration) * sin;
    let mut findings = Vec::new();
    if deceleration > lift {
        let text = format!("braking with {deceleration:.1} m/s2: the rear wheel lifts from {lift:.1} m/s2 on");
        findings.push(Finding::about(Code::RearLifts, "deceleration", text));
    }
    if let Some(grip) = grip {
        number_within("grip", grip, 0.05, 3.0)?;
        if deceleration > grip * STANDARD_GRAVITY {
            let text = format!(
                "braking with {deceleration:.1} m/s2: grip ends at {:.1} m/s2",
                grip * STANDARD_GRAVITY
            );
            findings.push(Finding::about(Code::BeyondGrip, "deceleration", text));
        }
    }
    let rear = loads.rear.si() - balance.rear_unsprung.si() * STANDARD_GRAVITY;
    Ok(Braking {
        front_load: loads.front,
        rear_load: Force::from_si(loads.rear.si().max(0.0)),
        axial_force: Force::from_si(axial),
        wheel_load: Force::from_si(axial / cos),
        rear_sprung_load: Force::from_si(rear.max(0.0)),
        rear_lift: lift,
        findings,
    })
}

/// What springs carry in a steady corner over what they carry upright: `sqrt(g^2 + a^2)/g`, the lateral acceleration in m/s2.
#[must_use]
pub fn cornering_factor(lateral_acceleration: f64) -> f64 {
    STANDARD_GRAVITY.hypot(lateral_acceleration) / STANDARD_GRAVITY
}

/// How the attitude changes with a change of ride height.
#[derive(Debug, Clone, PartialEq)]
pub struct Pitch {
    /// Change of wheel travel used at the front; more sag is positive.
    pub front: Travel,
    /// At the rear.
    pub rear: Travel,
    /// `(dz_rear - dz_front)/L`: positive when the rear settles more, which makes the steering slower.
    pub angle: Angle,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
}

/// Attitude from which on a change is cautioned (common practice, no source).
const STEEP: f64 = 0.3;

/// The change of attitude that a change of sag at both ends makes.
///
/// # Errors
/// [`ChassisError::OutOfRange`].
pub fn pitch(front: Travel, rear: Travel, wheelbase: Length) -> Result<Pitch, ChassisError> {
    within("wheelbase", wheelbase, (300.0, 3_000.0), LengthUnit::Millimeter)?;
    let angle = Angle::from_si((rear.si() - front.si()) / wheelbase.si());
    let degrees = angle.get(AngleUnit::Degree);
    let mut findings = Vec::new();
    if degrees.abs() > STEEP {
        let words = Words::new(UnitSystem::Metric);
        let lower = if degrees > 0.0 { "the rear" } else { "the front" };
        let text = format!(
            "{lower} comes down by {:.2} deg against the other end (front {}, rear {})",
            degrees.abs(),
            words.length(front.si()),
            words.length(rear.si())
        );
        findings.push(Finding::new(Code::AttitudeChanges, text));
    }
    Ok(Pitch {
        front,
        rear,
        angle,
        findings,
    })
}

/// The part of the rider's mass an end carries: what is known of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RiderMass {
    /// The end was weighed alone and with the rider aboard in riding position.
    Weighed {
        /// The end's scale, machine alone.
        alone: Mass,
        /// The same with the rider.
        aboard: Mass,
        /// Standard uncertainty of one weighing; `None`: 0.5 kg.
        standard_uncertainty: Option<Mass>,
    },
    /// The part itself, with its standard uncertainty.
    Stated {
        /// The part this end carries.
        part: Mass,
        /// Its standard uncertainty.
        standard_uncertainty: Mass,
    },
    /// The rider's mass with gear, shared by what is usual.
    Usual {
        /// With gear.
        rider: Mass,
    },
}

/// The part of the rider's mass an end carries.
#[derive(Debug, Clone, PartialEq)]
pub struct RidersPart {
    /// The part.
    pub part: Mass,
    /// Its standard uncertainty.
    pub standard_uncertainty: Mass,
    /// Whether it was assumed.
    pub assumed: Option<crate::estimate::Assumption>,
}

/// Usual share of the rider that the rear carries, and its standard uncertainty (common practice, no source).
const REAR_SHARE: (f64, f64) = (0.63, 0.07);
/// Standard uncertainty of a weighing where none is stated, kg (common practice, no source).
const SCALE: f64 = 0.5;

/// The part of the rider's mass an end carries: two weighings, else a stated part, else the usual share (rear 0.63 with a
/// standard uncertainty of 0.07, fork the rest), said to be assumed.
///
/// # Errors
/// [`ChassisError::OutOfRange`] for a part that is not above 0.
pub fn riders_part(end: End, given: &RiderMass) -> Result<RidersPart, ChassisError> {
    let (part, u, assumed) = match given {
        RiderMass::Weighed {
            alone,
            aboard,
            standard_uncertainty,
        } => {
            let scale = standard_uncertainty.map_or(SCALE, Quantity::si);
            let text = format!("each weighing is good to {SCALE} kg (standard uncertainty)");
            let assumed = standard_uncertainty.is_none().then(|| assumption(text));
            (aboard.si() - alone.si(), scale * std::f64::consts::SQRT_2, assumed)
        }
        RiderMass::Stated {
            part,
            standard_uncertainty,
        } => (part.si(), standard_uncertainty.si(), None),
        RiderMass::Usual { rider } => {
            let (rear, u) = REAR_SHARE;
            let share = match end {
                End::Rear => rear,
                End::Front => 1.0 - rear,
            };
            let text = format!(
                "the {} end carries {share:.2} of the rider, standard uncertainty {u}: weigh it alone and with the rider aboard",
                end.word()
            );
            (share * rider.si(), u * rider.si(), Some(assumption(text)))
        }
    };
    within("rider", Mass::from_si(part), (0.1, 500.0), MassUnit::Kilogram)?;
    within("rider", Mass::from_si(u), (0.0, 500.0), MassUnit::Kilogram)?;
    Ok(RidersPart {
        part: Mass::from_si(part),
        standard_uncertainty: Mass::from_si(u),
        assumed,
    })
}

fn assumption(text: String) -> crate::estimate::Assumption {
    crate::estimate::Assumption {
        subject: "rider",
        text,
        source: "common practice, no source",
    }
}

/// What rebound damping is multiplied by after a change of spring so that the damping ratio stays:
/// `sqrt(k_w2 m2/(k_w1 m1))`, full wheel rates at ride height, sprung mass of that end with the rider. Compression stays as it
/// is unless it is judged wrong by itself.
///
/// # Errors
/// [`ChassisError::OutOfRange`] for rates or masses that are not above 0.
pub fn damping_factor_after_respring(
    (old_rate, new_rate): (WheelRate, WheelRate),
    (old_mass, new_mass): (Mass, Mass),
) -> Result<f64, ChassisError> {
    let kilo = MassUnit::Kilogram;
    let rates = (1e-3, 10_000.0);
    let unit = crate::quantity::StiffnessUnit::NewtonPerMillimeter;
    within("old_wheel_rate", old_rate, rates, unit)?;
    within("new_wheel_rate", new_rate, rates, unit)?;
    within("old_mass", old_mass, (0.1, 3_000.0), kilo)?;
    within("new_mass", new_mass, (0.1, 3_000.0), kilo)?;
    Ok(crate::valving::ride::factor_for_spring(
        (old_rate, new_rate),
        (old_mass, new_mass),
    ))
}
