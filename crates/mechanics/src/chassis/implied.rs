//! The rate of a spring that the rider's share of sag implies.

use super::End;
use super::element::Element;
use super::error::{ChassisError, within};
use super::loads::RidersPart;
use super::path::Path;
use super::suspension::Suspension;
use crate::estimate::{Assumption, Contribution, Coverage, Estimate};
use crate::finding::{Code, Finding};
use crate::quantity::{
    Force, Length, LengthUnit, Preload, Quantity, STANDARD_GRAVITY, SpringRate, Travel, UnitSystem, WheelRate,
};
use crate::spring::words::Words;

/// Rate of the air in a fork leg at sag height where nothing is known of its oil level, and its limits, N/m (common practice,
/// no source).
const AIR: f64 = 800.0;
const AIR_LIMITS: (f64, f64) = (400.0, 1_200.0);

/// The air in a fork.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AirOfFork {
    /// None, or it is among the other elements.
    Known,
    /// In this many legs, its oil level unknown: 0.8 N/mm a leg is taken off, limits 0.4 and 1.2.
    Unknown {
        /// How many.
        legs: u32,
    },
}

/// What an end's spring carries with the machine alone: the scale less the unsprung weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SprungLoad {
    /// At the wheel.
    pub load: Force,
    /// Its standard uncertainty.
    pub standard_uncertainty: Force,
}

/// What a rate is implied from. Sags are vertical travel at the wheel.
#[derive(Debug, Clone, PartialEq)]
pub struct ImpliedRequest {
    /// Which end.
    pub end: End,
    /// How the spring follows the wheel.
    pub path: Path,
    /// Static sag with its standard uncertainty.
    pub static_sag: (Travel, Length),
    /// Rider's share with its standard uncertainty.
    pub riders_share: (Travel, Length),
    /// Whether static sag is zero within its uncertainty.
    pub static_is_zero: bool,
    /// The part of the rider's mass the end carries.
    pub part: RidersPart,
    /// Load alone; `None`: unknown.
    pub sprung_load: Option<SprungLoad>,
    /// Everything that carries load beside the main spring.
    pub others: Vec<Element>,
    /// The air in a fork.
    pub air: AirOfFork,
    /// Length of a top-out spring whose rate is not known, along the axis.
    pub unknown_top_out: Option<Length>,
    /// Springs that share the load.
    pub springs: u32,
    /// Units of the words.
    pub units: UnitSystem,
}

/// The rate that sag implies.
#[derive(Debug, Clone, PartialEq)]
pub struct Implied {
    /// Mean wheel rate between the two positions: `dm g/dz`.
    pub wheel_rate: Estimate<WheelRate>,
    /// Rate of the main spring, of legs their sum; `None` where only the wheel rate is known.
    pub rate: Option<Estimate<SpringRate>>,
    /// The rate of one spring where several share the load.
    pub rate_each: Option<Estimate<SpringRate>>,
    /// How far it is pressed at full extension; `None` where the load alone is not known.
    pub preload: Option<Preload>,
    /// Whether the true rate can only be lower: the rate is at most this.
    pub upper_bound: bool,
    /// What a constant motion ratio would have made of it, where it varies.
    pub with_one_ratio: Option<SpringRate>,
    /// What would settle what is open.
    pub would_settle: Vec<&'static str>,
    /// Part of the rider's mass used.
    pub part: RidersPart,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// Inputs that are varied for the uncertainty, SI.
#[derive(Debug, Clone, Copy)]
struct Given {
    mass: f64,
    z1: f64,
    share: f64,
    load: f64,
}

/// The rate that a rider's share of sag implies.
///
/// `k_w = dm g/dz`, the mean between the two positions. One motion ratio: `k_s = dm g/(dz MR^2)`; else
/// `k_s = [(W2/MR2 - G2) - (W1/MR1 - G1)]/(s2 - s1)`, `W` the sprung load, `G` everything that is not the main spring. Fork:
/// `k_legs = dm g cos(e)/ds`. The naive secant over `MR^2` is a step or more off on a rising-rate linkage. Where static sag is
/// zero, or a top-out spring of unknown rate still works, the rate is only an upper bound. Uncertainty to first order.
/// Example: 52 kg, 24.5 mm, MR 0.46: 98.4 N/mm.
///
/// # Errors
/// [`ChassisError::NotDetermined`] without a rider's share above 0; [`ChassisError::OutOfRange`].
pub fn implied_rate(request: &ImpliedRequest) -> Result<Implied, ChassisError> {
    let mm = LengthUnit::Millimeter;
    within("static_sag", request.static_sag.0, (-1_000.0, 1_000.0), mm)?;
    within("riders_share", request.riders_share.0, (-1_000.0, 1_000.0), mm)?;
    let words = Words::new(request.units);
    let share = request.riders_share.0.si();
    if !(share > 2.0 * request.riders_share.1.si()) {
        let why = format!(
            "the rider's share is {}, not above its uncertainty of {}",
            words.length(share),
            words.length(2.0 * request.riders_share.1.si())
        );
        return Err(ChassisError::NotDetermined {
            field: "riders_share".to_owned(),
            why,
        });
    }
    let others = Suspension::new(request.path.clone(), request.others.clone())?;
    let given = Given {
        mass: request.part.part.si(),
        z1: request.static_sag.0.si().max(0.0),
        share,
        load: request.sprung_load.map_or(0.0, |sprung| sprung.load.si()),
    };
    let mut found = Implied {
        wheel_rate: wheel_rate(request, given),
        rate: None,
        rate_each: None,
        preload: None,
        upper_bound: bounded(request, given),
        with_one_ratio: None,
        would_settle: Vec::new(),
        part: request.part.clone(),
        findings: Vec::new(),
        assumptions: request.part.assumed.clone().into_iter().collect(),
    };
    if request.path.is_straight() || request.sprung_load.is_some() {
        spring_rate(request, &others, given, &mut found);
    }
    settle(request, &mut found);
    if found.upper_bound {
        let (rate, at) = found
            .rate
            .as_ref()
            .map_or((found.wheel_rate.value.si(), " at the wheel"), |rate| {
                (rate.value.si(), "")
            });
        let text = format!(
            "the rate is at most {}{at}: static sag is zero, or a top-out spring works there",
            words.rate(rate)
        );
        found
            .findings
            .push(Finding::about(Code::RateBoundOnly, "static_sag", text));
    }
    Ok(found)
}

/// Whether the first position is not one of the main spring alone.
fn bounded(request: &ImpliedRequest, given: Given) -> bool {
    let stroke = request.path.at(given.z1).stroke;
    let topped = request.unknown_top_out.is_some_and(|length| stroke < length.si());
    request.static_is_zero || topped
}

fn wheel_rate(request: &ImpliedRequest, given: Given) -> Estimate<WheelRate> {
    let rate = given.mass * STANDARD_GRAVITY / given.share;
    let rows = [
        (
            "part of the rider's mass",
            request.part.standard_uncertainty.si(),
            STANDARD_GRAVITY / given.share,
        ),
        ("rider's share", request.riders_share.1.si(), rate / given.share),
    ];
    let rows = rows.map(|(source, u, sensitivity)| Contribution::type_b(source, u * sensitivity, sensitivity));
    Estimate::of_budget(rate, rows.to_vec(), Coverage::of(None))
}

/// Rate of the main spring and its force at the first position, the air not yet taken off.
fn solved(others: &Suspension, given: Given) -> (f64, f64) {
    let path = others.path();
    let (at1, at2) = (path.at(given.z1), path.at(given.z1 + given.share));
    let second = given.load + given.mass * STANDARD_GRAVITY;
    let f1 = given.load / at1.ratio - others.axial(at1.stroke).0;
    let f2 = second / at2.ratio - others.axial(at2.stroke).0;
    ((f2 - f1) / (at2.stroke - at1.stroke), f1)
}

fn spring_rate(request: &ImpliedRequest, others: &Suspension, given: Given, found: &mut Implied) {
    let (whole, force) = solved(others, given);
    let (air, air_u) = match request.air {
        AirOfFork::Known => (0.0, 0.0),
        AirOfFork::Unknown { legs } => {
            let legs = f64::from(legs);
            let text = format!(
                "the air in each leg carries {} (limits {} and {}), its oil level being unknown",
                Words::new(request.units).rate(AIR),
                Words::new(request.units).rate(AIR_LIMITS.0),
                Words::new(request.units).rate(AIR_LIMITS.1)
            );
            found.assumptions.push(Assumption {
                subject: "air",
                text,
                source: "common practice, no source",
            });
            (legs * AIR, legs * (AIR_LIMITS.1 - AIR_LIMITS.0) / 2.0 / 3.0_f64.sqrt())
        }
    };
    let slope = |change: f64, of: fn(Given, f64) -> Given| {
        let up = solved(others, of(given, change)).0;
        let down = solved(others, of(given, -change)).0;
        (up - down) / (2.0 * change)
    };
    let middle = request.path.at(given.z1 + given.share / 2.0).ratio;
    let static_slope = if request.path.is_straight() && request.others.is_empty() {
        0.0
    } else {
        slope(1e-6, |given, d| Given {
            z1: (given.z1 + d).max(0.0),
            ..given
        })
    };
    let load_u = request
        .sprung_load
        .map_or(0.0, |sprung| sprung.standard_uncertainty.si());
    let rows = [
        (
            "part of the rider's mass",
            request.part.standard_uncertainty.si(),
            slope(1e-3, |given, d| Given {
                mass: given.mass + d,
                ..given
            }),
        ),
        (
            "rider's share",
            request.riders_share.1.si(),
            slope(1e-6, |given, d| Given {
                share: given.share + d,
                ..given
            }),
        ),
        ("static sag", request.static_sag.1.si(), static_slope),
        (
            "sprung load alone",
            load_u,
            slope(1.0, |given, d| Given {
                load: given.load + d,
                ..given
            }),
        ),
        ("motion ratio", request.path.ratio_uncertainty(), -2.0 * whole / middle),
        ("air in the fork", air_u, 1.0),
    ];
    let rate = whole - air;
    let estimate = |parts: f64| {
        let rows = rows.iter().filter(|(_, u, sensitivity)| *u * *sensitivity != 0.0);
        let rows = rows.map(|(source, u, slope)| Contribution::type_b(source, u * slope / parts, slope / parts));
        Estimate::of_budget(rate / parts, rows.collect(), Coverage::of(None))
    };
    found.rate = Some(estimate(1.0));
    found.rate_each = (request.springs > 1).then(|| estimate(f64::from(request.springs)));
    if request.sprung_load.is_some() && rate > 0.0 {
        // What air carries at the first position is part of the force there.
        let stroke = request.path.at(given.z1).stroke;
        found.preload = Some(Preload::from_si((force - air * stroke) / rate - stroke));
    }
    if !request.path.is_straight() {
        found.with_one_ratio = Some(SpringRate::from_si(found.wheel_rate.value.si() / (middle * middle)));
    }
}

fn settle(request: &ImpliedRequest, found: &mut Implied) {
    if found.rate.is_none() {
        found
            .would_settle
            .push("the load this wheel carries with the machine alone, and its unsprung mass: the motion ratio varies");
    }
    if found.upper_bound {
        found
            .would_settle
            .push("less preload, until the machine alone settles clear of full extension, and reading again");
    }
    if found.part.assumed.is_some() {
        found
            .would_settle
            .push("weighing this end alone and with the rider aboard in riding position");
    }
    if matches!(request.air, AirOfFork::Unknown { .. }) {
        found
            .would_settle
            .push("the oil level of each leg, and the tubes' diameters");
    }
}
