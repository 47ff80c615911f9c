//! Wheel rate: what a spring is at the wheel.

use crate::estimate::{Assumption, Contribution, Coverage, Estimate};
use crate::finding::{Code, Finding};
use crate::quantity::{
    Angle, AngleUnit, Deflection, Force, Length, LengthUnit, Load, Preload, Quantity, SpringRate, StiffnessUnit,
    Stroke, Travel, UnitSystem, WheelRate,
};

use super::SpringError;
use super::least::{Least, least_squares};
use super::options::{not_negative, positive};
use super::words::Words;

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

/// The linkage at a place: travel, compression, shock length, ratio and its change.
struct Place {
    z: f64,
    s: f64,
    length: Option<f64>,
    ratio: f64,
    change: f64,
    ratio_u: f64,
    change_u: f64,
}

/// Compression as a polynomial over scaled travel, with its covariance.
struct Fitted {
    center: f64,
    scale: f64,
    fit: Least,
    scatter: f64,
    degree: usize,
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

fn places(wheel: &WheelSpring, found: &mut WheelFound) -> Result<Vec<Place>, SpringError> {
    let constant = |ratio: f64| {
        let at = move |z: &Travel| Place::plain(z.si(), ratio * z.si(), ratio, 0.0);
        wheel.travels.iter().map(at).collect::<Vec<_>>()
    };
    Ok(match &wheel.linkage {
        Linkage::ConstantRatio(ratio) => constant(*ratio),
        Linkage::Arms { wheel_arm, spring_arm } => constant(spring_arm.si() / wheel_arm.si()),
        Linkage::Polynomial(coefficients) => {
            found.coefficients.clone_from(coefficients);
            let at = |z: &Travel| {
                let [s, ratio, change] = derivatives(coefficients, z.get(LengthUnit::Millimeter));
                Place::plain(z.si(), s * 1e-3, ratio, change * 1e3)
            };
            wheel.travels.iter().map(at).collect()
        }
        Linkage::Table {
            travels,
            compressions,
            degree,
        } => {
            let fitted = fit_table(travels, compressions, *degree)?;
            let scatter = wheel.compression_uncertainty.map_or(fitted.scatter, Quantity::si);
            found.residual_standard_deviation = Some(Length::from_si(fitted.scatter));
            found.coefficients = fitted.in_millimeters();
            found.assumptions.push(Assumption {
                subject: "linkage.table",
                text: format!("the compressions follow a polynomial of degree {}", fitted.degree),
                source: "least squares",
            });
            wheel.travels.iter().map(|z| fitted.place(z.si(), scatter)).collect()
        }
        Linkage::Swingarm {
            axle_radius,
            lower_mount,
            upper_mount,
        } => {
            let mount = |(x, y): &(Length, Length)| (x.si(), y.si());
            let at = |angle: f64| swingarm(axle_radius.si(), mount(lower_mount), mount(upper_mount), angle);
            let of_travel = |z: &Travel| (z.si() / axle_radius.si()).clamp(-1.0, 1.0).asin();
            let angles = wheel
                .angles
                .iter()
                .map(|angle| angle.si())
                .chain(wheel.travels.iter().map(of_travel));
            let mut places: Vec<Place> = angles.map(at).collect();
            // Compression counts from the first place.
            let first = places.first().map_or(0.0, |place| place.s);
            places.iter_mut().for_each(|place| place.s -= first);
            places
        }
        Linkage::Fork { rake } => {
            let cos = rake.si().cos();
            let strokes = wheel.strokes.iter().map(|x| x.si());
            let strokes = strokes.chain(wheel.travels.iter().map(|z| z.si() / cos));
            strokes.map(|x| Place::plain(x * cos, x, 1.0 / cos, 0.0)).collect()
        }
    })
}

impl Place {
    fn plain(z: f64, s: f64, ratio: f64, change: f64) -> Self {
        Self {
            z,
            s,
            length: None,
            ratio,
            change,
            ratio_u: 0.0,
            change_u: 0.0,
        }
    }
}

/// Value and two derivatives of a polynomial.
fn derivatives(coefficients: &[f64], at: f64) -> [f64; 3] {
    let mut sums = [0.0; 3];
    for c in coefficients.iter().rev() {
        let [value, first, second] = sums;
        sums = [value * at + c, first * at + value, second * at + 2.0 * first];
    }
    sums
}

fn swingarm(radius: f64, lower: (f64, f64), upper: (f64, f64), angle: f64) -> Place {
    let (sin, cos) = angle.sin_cos();
    let (x, y) = (lower.0 * cos - lower.1 * sin, lower.0 * sin + lower.1 * cos);
    // The mount turns about the pivot: its velocity and acceleration for a unit angular velocity.
    let ((vx, vy), (ax, ay)) = ((-y, x), (-x, -y));
    let (dx, dy) = (x - upper.0, y - upper.1);
    let length = dx.hypot(dy);
    let first = (dx * vx + dy * vy) / length;
    let second = (vx * vx + vy * vy + dx * ax + dy * ay - first * first) / length;
    let (z1, z2) = (radius * cos, -radius * sin);
    Place {
        length: Some(length),
        ..Place::plain(
            radius * sin,
            -length,
            -first / z1,
            -(second * z1 - first * z2) / z1.powi(3),
        )
    }
}

fn fit_table(travels: &[Travel], compressions: &[Deflection], degree: Option<usize>) -> Result<Fitted, SpringError> {
    let n = travels.len();
    let needed = degree.map_or(3, |degree| degree + 1);
    if n < needed {
        return Err(SpringError::TooFewPoints { count: n, needed });
    }
    let z: Vec<f64> = travels.iter().map(|z| z.si()).collect();
    let s: Vec<f64> = compressions.iter().map(|s| s.si()).collect();
    let (low, high) = z
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), z| (l.min(*z), h.max(*z)));
    let (center, scale) = (f64::midpoint(low, high), (high - low) / 2.0);
    let fitted = |degree: usize| {
        let column = |k: usize| {
            z.iter()
                .map(|z| ((z - center) / scale).powi(i32::try_from(k).unwrap_or(0)))
                .collect()
        };
        let fit = least_squares(&(0..=degree).map(column).collect::<Vec<_>>(), &s)?;
        let dof = n.saturating_sub(degree + 1);
        let scatter = if dof > 0 { (fit.rss / dof as f64).sqrt() } else { 0.0 };
        Some(Fitted {
            center,
            scale,
            fit,
            scatter,
            degree,
        })
    };
    // Compressions are read to no better than a tenth of a micrometre.
    let floor = n as f64 * 1e-14;
    let score =
        |f: &Fitted| n as f64 * (f.fit.rss.max(floor) / n as f64).ln() + (f.degree as f64 + 1.0) * (n as f64).ln();
    let best = match degree {
        Some(degree) => fitted(degree),
        None => (1..=5.min(n - 2))
            .filter_map(fitted)
            .min_by(|a, b| score(a).total_cmp(&score(b))),
    };
    best.ok_or(SpringError::OutOfRange {
        field: "linkage.table.travels",
        value: low * 1e3,
        unit: "mm",
        allowed: "enough different travels for the degree",
    })
}

impl Fitted {
    fn place(&self, z: f64, scatter: f64) -> Place {
        let t = (z - self.center) / self.scale;
        let [s, first, second] = derivatives(&self.fit.coefficients, t);
        let terms = self.fit.coefficients.len();
        let power = |k: i32, order: i32| -> f64 {
            let factor: i32 = (0..order).map(|j| k - j).product();
            if k < order {
                0.0
            } else {
                f64::from(factor) * t.powi(k - order)
            }
        };
        let u = |order: i32| {
            let row: Vec<f64> = (0..terms)
                .map(|k| power(i32::try_from(k).unwrap_or(0), order))
                .collect();
            let rows = self.fit.covariance.iter().zip(&row);
            let of = |covariances: &Vec<f64>| covariances.iter().zip(&row).map(|(c, r)| c * r).sum::<f64>();
            scatter
                * rows
                    .map(|(covariances, r)| r * of(covariances))
                    .sum::<f64>()
                    .max(0.0)
                    .sqrt()
        };
        Place {
            ratio_u: u(1) / self.scale,
            change_u: u(2) / self.scale.powi(2),
            ..Place::plain(z, s, first / self.scale, second / self.scale.powi(2))
        }
    }

    /// Coefficients over the travel itself, everything in millimetres.
    fn in_millimeters(&self) -> Vec<f64> {
        let (center, scale) = (self.center * 1e3, self.scale * 1e3);
        let mut powers = vec![0.0; self.fit.coefficients.len()];
        for c in self.fit.coefficients.iter().rev() {
            // Times (z - center)/scale, plus the next coefficient.
            let mut next: Vec<f64> = powers.iter().map(|p| -center * p / scale).collect();
            next.iter_mut().skip(1).zip(&powers).for_each(|(n, p)| *n += p / scale);
            if let Some(first) = next.first_mut() {
                *first += c * 1e3;
            }
            powers = next;
        }
        powers
    }
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

fn check(wheel: &WheelSpring) -> Result<(), SpringError> {
    let mm = LengthUnit::Millimeter;
    let refuse = |field, value, unit, allowed| {
        Err(SpringError::OutOfRange {
            field,
            value,
            unit,
            allowed,
        })
    };
    if wheel.rates.is_empty() {
        return refuse("rates", 0.0, "springs", "1 or more");
    }
    for (rate, u) in &wheel.rates {
        not_negative("rates", *rate, StiffnessUnit::NewtonPerMillimeter)?;
        not_negative("rates.standard_uncertainty", *u, StiffnessUnit::NewtonPerMillimeter)?;
    }
    not_negative("preload", wheel.preload, mm)?;
    match &wheel.linkage {
        Linkage::ConstantRatio(ratio) if !(*ratio > 0.0 && *ratio <= 10.0) => {
            refuse("linkage.motion_ratio", *ratio, "", "above 0, up to 10")
        }
        Linkage::Polynomial(c) if c.is_empty() || c.len() > 10 || !c.iter().all(|c| c.is_finite()) => refuse(
            "linkage.polynomial",
            c.len() as f64,
            "coefficients",
            "1 to 10 finite ones",
        ),
        Linkage::Arms { wheel_arm, spring_arm } => {
            positive("linkage.arms.wheel_arm", *wheel_arm, mm)?;
            positive("linkage.arms.spring_arm", *spring_arm, mm)
        }
        Linkage::Table {
            travels,
            compressions,
            degree,
        } => {
            if travels.len() != compressions.len() {
                return Err(SpringError::Mismatched {
                    what: "linkage.table.compressions",
                    count: compressions.len(),
                    expected: travels.len(),
                });
            }
            match degree {
                Some(degree) if !(1..=7).contains(degree) => {
                    refuse("linkage.table.degree", *degree as f64, "", "1 to 7")
                }
                _ => Ok(()),
            }
        }
        Linkage::Swingarm { axle_radius, .. } => {
            positive("linkage.swingarm.axle_radius", *axle_radius, mm)?;
            let steep = wheel.angles.iter().find(|angle| angle.si().abs() > 1.4);
            steep.map_or(Ok(()), |angle| {
                refuse("angles", angle.get(AngleUnit::Degree), "deg", "-80 to 80")
            })
        }
        Linkage::Fork { rake } if !(0.0..1.2).contains(&rake.si()) => {
            refuse("linkage.fork.rake", rake.get(AngleUnit::Degree), "deg", "0 to 68")
        }
        Linkage::ConstantRatio(_) | Linkage::Polynomial(_) | Linkage::Fork { .. } => Ok(()),
    }
}
