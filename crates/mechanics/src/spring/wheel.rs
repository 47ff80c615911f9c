//! Wheel rate: what a spring is at the wheel.

mod check;
mod linkage;

use crate::estimate::{Assumption, Contribution, Coverage, Estimate};
use crate::finding::{Code, Finding};
use crate::quantity::{
    Angle, Deflection, Force, Length, Load, Preload, Quantity, SpringRate, Stroke, Travel, UnitSystem, WheelRate,
};

use super::SpringError;
use super::words::Words;
use check::check;
use linkage::places;

/// How the spring follows the wheel.
#[derive(Debug, Clone, PartialEq)]
pub enum Linkage {
    /// One motion ratio throughout, spring over wheel.
    ConstantRatio(f64),
    /// A spring on an arm: the wheel's arm and the spring's, both from the pivot.
    Arms {
        /// From the pivot to the wheel.
        wheel_arm: Length,
        /// From the pivot to the spring, at right angles to it.
        spring_arm: Length,
    },
    /// `s = c0 + c1 z + c2 z^2 + ...` in millimetres.
    Polynomial(Vec<f64>),
    /// Measured pairs of wheel travel and spring compression, fitted by a polynomial of a degree.
    Table {
        /// Wheel travel.
        travels: Vec<Travel>,
        /// Spring compression at each.
        compressions: Vec<Deflection>,
        /// Degree, 1 to 7; `None`: the one with the least information criterion, up to 5.
        degree: Option<usize>,
    },
    /// A swingarm with the shock from arm to frame; the pivot is the origin, x to the rear axle's side, y up.
    Swingarm {
        /// From the pivot to the axle.
        axle_radius: Length,
        /// Lower mount in the arm's own frame, the arm along x.
        lower_mount: (Length, Length),
        /// Upper mount in the frame of the machine.
        upper_mount: (Length, Length),
    },
    /// A fork on an inclined axis: the wheel moves along the axis.
    Fork {
        /// Axis against the vertical.
        rake: Angle,
    },
}

/// A spring on its linkage.
#[derive(Debug, Clone, PartialEq)]
pub struct WheelSpring {
    /// The linkage.
    pub linkage: Linkage,
    /// Rates of the springs, each with its standard uncertainty: one, or the two legs of a fork.
    pub rates: Vec<(SpringRate, SpringRate)>,
    /// How far the spring is pressed at wheel travel 0; of a swingarm, at its first angle.
    pub preload: Preload,
    /// A further axial force, such as of gas, with its rate, at every place.
    pub further: Option<(Load, SpringRate)>,
    /// Wheel travels at which it is wanted; of a fork, see `strokes`.
    pub travels: Vec<Travel>,
    /// Arm angles at which a swingarm is wanted, up positive.
    pub angles: Vec<Angle>,
    /// Strokes of a fork, or axial forces, at which it is wanted.
    pub strokes: Vec<Stroke>,
    /// Axial force of a fork whose vertical force is wanted.
    pub axial_force: Option<Load>,
    /// Standard uncertainty of a measured compression.
    pub compression_uncertainty: Option<Length>,
    /// Probability expanded uncertainties cover.
    pub coverage_probability: Option<f64>,
    /// Units of the words.
    pub units: UnitSystem,
}

/// What is found at the wheel.
#[derive(Debug, Clone, PartialEq)]
pub struct WheelFound {
    /// Where it was wanted.
    pub points: Vec<WheelPoint>,
    /// The polynomial of the linkage, c0, c1, ..., in millimetres.
    pub coefficients: Vec<f64>,
    /// Residual standard deviation of a fitted table.
    pub residual_standard_deviation: Option<Length>,
    /// Vertical force of the axial force asked for.
    pub vertical_force: Option<Force>,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// A place of the wheel's travel.
#[derive(Debug, Clone, PartialEq)]
pub struct WheelPoint {
    /// Wheel travel.
    pub travel: Travel,
    /// Spring compression from fitted, without preload.
    pub compression: Deflection,
    /// Length between the mounts, of a swingarm.
    pub shock_length: Option<Length>,
    /// Spring over wheel.
    pub motion_ratio: f64,
    /// Its change with the travel, 1/m.
    pub motion_ratio_change: f64,
    /// Whole spring force, preload in it.
    pub spring_force: Load,
    /// Vertical force at the wheel.
    pub wheel_force: Force,
    /// Wheel rate: `k MR^2 + F dMR/dz`.
    pub wheel_rate: Estimate<WheelRate>,
    /// `k MR^2` alone.
    pub rate_without_geometry: WheelRate,
}

/// The wheel rate of a spring on a linkage.
///
/// Virtual work: `F_w = F_s MR`, `k_w = k_s MR^2 + F_s dMR/dz` with `MR = ds/dz`, z upward. `F_s` is the whole spring force.
/// A table of compressions is fitted and differentiated twice; its uncertainty goes with the derivatives. A fork at rake
/// `eps`: `z = x cos(eps)`, `F_z = F/cos(eps)`, `k_z = k/cos^2(eps)`, the legs' rates added. No friction, no braking.
/// Example: 9 N/mm a leg, two legs, 24 deg: 21.57 N/mm.
///
/// # Errors
/// [`SpringError::OutOfRange`], [`SpringError::Mismatched`], [`SpringError::TooFewPoints`].
pub fn compute_wheel_rate(wheel: &WheelSpring) -> Result<WheelFound, SpringError> {
    check(wheel)?;
    let k: f64 = wheel.rates.iter().map(|(rate, _)| rate.si()).sum();
    let u = wheel.rates.iter().map(|(_, u)| u.si()).fold(0.0, f64::hypot);
    let mut found = WheelFound {
        points: Vec::new(),
        coefficients: Vec::new(),
        residual_standard_deviation: None,
        vertical_force: None,
        findings: Vec::new(),
        assumptions: vec![Assumption {
            subject: "linkage",
            text: "no friction, no braking or drive; vertical load at the wheel".to_owned(),
            source: "common practice, no source",
        }],
    };
    let places = places(wheel, &mut found)?;
    let coverage = Coverage::of(wheel.coverage_probability);
    let (further, further_rate) = wheel.further.map_or((0.0, 0.0), |(f, k)| (f.si(), k.si()));
    for place in &places {
        let pressed = wheel.preload.si() + place.s;
        // A spring that is not pressed lifts off instead of pulling.
        let (spring, own) = if pressed >= 0.0 { (k * pressed, k) } else { (0.0, 0.0) };
        let force = spring + further;
        let straight = (own + further_rate) * place.ratio * place.ratio;
        let rate = straight + force * place.change;
        let rows = [
            (
                "spring rate",
                u,
                place.ratio * place.ratio + pressed.max(0.0) * place.change,
            ),
            ("motion ratio", place.ratio_u, 2.0 * (own + further_rate) * place.ratio),
            ("change of the motion ratio", place.change_u, force),
        ];
        let rows = rows.into_iter().filter(|(_, u, sensitivity)| *u * *sensitivity != 0.0);
        let rows = rows.map(|(source, u, sensitivity)| Contribution::type_b(source, sensitivity * u, sensitivity));
        found.points.push(WheelPoint {
            travel: Travel::from_si(place.z),
            compression: Deflection::from_si(place.s),
            shock_length: place.length.map(Length::from_si),
            motion_ratio: place.ratio,
            motion_ratio_change: place.change,
            spring_force: Load::from_si(force),
            wheel_force: Force::from_si(force * place.ratio),
            wheel_rate: Estimate::of_budget(rate, rows.collect(), coverage),
            rate_without_geometry: WheelRate::from_si(straight),
        });
    }
    if let (Linkage::Fork { rake }, Some(axial)) = (&wheel.linkage, wheel.axial_force) {
        found.vertical_force = Some(Force::from_si(axial.si() / rake.si().cos()));
    }
    say(wheel, &mut found);
    Ok(found)
}

fn say(wheel: &WheelSpring, found: &mut WheelFound) {
    let words = Words::new(wheel.units);
    for point in &found.points {
        let at = words.length(point.travel.si());
        let (rate, straight) = (point.wheel_rate.value.si(), point.rate_without_geometry.si());
        if rate <= 0.0 && point.spring_force.si() > 0.0 {
            let text = format!(
                "at {at} the wheel rate is {}: the travel falls through",
                words.rate(rate)
            );
            found
                .findings
                .push(Finding::about(Code::WheelRateNegative, "linkage", text));
        } else if (rate - straight).abs() > 0.1 * straight.abs() {
            let text = format!(
                "at {at} the geometry makes {} of {}",
                words.rate(rate - straight),
                words.rate(rate)
            );
            found
                .findings
                .push(Finding::about(Code::GeometryShareLarge, "linkage", text));
        }
    }
    if let [(a, ua), (b, ub)] = wheel.rates.as_slice()
        && (a.si() - b.si()).abs() > (0.02 * a.si().max(b.si())).max(2.0 * ua.si().hypot(ub.si()))
    {
        let text = format!(
            "the legs differ: {} and {}; the wheel feels their sum",
            words.rate(a.si()),
            words.rate(b.si())
        );
        found.findings.push(Finding::about(Code::PairDiffers, "rates", text));
    }
}
