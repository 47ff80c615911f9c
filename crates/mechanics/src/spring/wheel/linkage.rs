//! How the spring follows the wheel.

use crate::estimate::Assumption;
use crate::quantity::{Deflection, Length, LengthUnit, Quantity, Travel};

use super::super::SpringError;
use super::super::least::{Least, least_squares};
use super::{Linkage, WheelFound, WheelSpring};

/// The linkage at a place: travel, compression, shock length, ratio and its change.
pub(super) struct Place {
    pub(super) z: f64,
    pub(super) s: f64,
    pub(super) length: Option<f64>,
    pub(super) ratio: f64,
    pub(super) change: f64,
    pub(super) ratio_u: f64,
    pub(super) change_u: f64,
}

/// Compression as a polynomial over scaled travel, with its covariance.
pub(super) struct Fitted {
    pub(super) center: f64,
    pub(super) scale: f64,
    pub(super) fit: Least,
    pub(super) scatter: f64,
    pub(super) degree: usize,
}

pub(super) fn places(wheel: &WheelSpring, found: &mut WheelFound) -> Result<Vec<Place>, SpringError> {
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
    pub(super) fn plain(z: f64, s: f64, ratio: f64, change: f64) -> Self {
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
pub(super) fn derivatives(coefficients: &[f64], at: f64) -> [f64; 3] {
    let mut sums = [0.0; 3];
    for c in coefficients.iter().rev() {
        let [value, first, second] = sums;
        sums = [value * at + c, first * at + value, second * at + 2.0 * first];
    }
    sums
}

pub(super) fn swingarm(radius: f64, lower: (f64, f64), upper: (f64, f64), angle: f64) -> Place {
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

pub(super) fn fit_table(
    travels: &[Travel],
    compressions: &[Deflection],
    degree: Option<usize>,
) -> Result<Fitted, SpringError> {
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
    pub(super) fn place(&self, z: f64, scatter: f64) -> Place {
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
    pub(super) fn in_millimeters(&self) -> Vec<f64> {
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
