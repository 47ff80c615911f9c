//! How an end's spring follows its wheel over the whole travel.

use super::error::{ChassisError, within};
use crate::estimate::coverage_factor;
use crate::finding::{Code, Finding};
use crate::quantity::{
    Angle, AngleUnit, Deflection, Length, LengthUnit, Load, Preload, Quantity, SpringRate, Stroke, Travel, UnitSystem,
};
use crate::spring::words::Words;
use crate::spring::{ForceCurve, ForcePoint, Linkage, WheelFound, WheelSpring, compute_wheel_rate};

/// Readings a linkage's table needs, and share of the travel they have to span.
const FEWEST_READINGS: usize = 6;
const SPANNED: f64 = 0.9;
/// Readings from which on a cubic is tried.
const FOR_CUBIC: usize = 8;
/// Share of the readings' span a linkage may be carried on beyond them.
const CARRIED_ON: f64 = 0.05;
/// Pieces a swingarm's path is cut into; with both compression and ratio kept at their ends the error is below a nanometre.
const PIECES: u32 = 256;
/// Places at which a motion ratio is checked to be above 0.
const CHECKED: u32 = 128;

/// Wheel travel against axial travel, from full extension to the stop.
#[derive(Debug, Clone, PartialEq)]
pub struct Path {
    kind: Kind,
    travel: f64,
    rake: Option<Angle>,
    ratio_uncertainty: f64,
    table: bool,
    findings: Vec<Finding>,
}

#[derive(Debug, Clone, PartialEq)]
enum Kind {
    Straight(f64),
    /// Powers of the wheel travel in metres, from the first on.
    Powers(Vec<f64>),
    Drawn(ForceCurve),
}

/// A place on a path, SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub(super) stroke: f64,
    pub(super) ratio: f64,
    pub(super) change: f64,
}

impl Path {
    /// A fork: `s = z/cos(e)`, so that `MR = 1/cos(e)`.
    ///
    /// # Errors
    /// [`ChassisError::OutOfRange`] for a rake beyond 45 degrees or a travel of nothing.
    pub fn fork(rake: Angle, axial_travel: Stroke) -> Result<Self, ChassisError> {
        within("rake", rake, (0.0, 45.0), AngleUnit::Degree)?;
        let axial = within("axial_travel", axial_travel, (1.0, 1_000.0), LengthUnit::Millimeter)?;
        let cos = rake.si().cos();
        Ok(Self {
            kind: Kind::Straight(1.0 / cos),
            travel: axial * cos,
            rake: Some(rake),
            ratio_uncertainty: 0.0,
            table: false,
            findings: Vec::new(),
        })
    }

    /// A linkage over the travel of its wheel.
    ///
    /// A table of readings is fitted by least squares with degree 2, with degree 3 where 8 readings or more gain
    /// significantly by it (Student's t of the cubic term at 95 %); it needs 6 readings over 90 % of the travel and may be
    /// carried on by 5 % of their span. A table whose degree is given is fitted as said. `extended` is a swingarm's angle at
    /// full extension. The readings' uncertainty is that of the fit, or `ratio_uncertainty` where a ratio was given.
    ///
    /// # Errors
    /// [`ChassisError::OutOfRange`] for too few readings and a motion ratio that is not above 0 somewhere in the travel.
    pub fn of_linkage(
        linkage: &Linkage,
        travel: Travel,
        extended: Option<Angle>,
        ratio_uncertainty: f64,
    ) -> Result<Self, ChassisError> {
        if let Linkage::Fork { rake } = linkage {
            return Self::fork(*rake, Stroke::from_si(travel.si() / rake.si().cos()));
        }
        let length = within("travel", travel, (1.0, 1_000.0), LengthUnit::Millimeter)?;
        let mut path = Self {
            kind: Kind::Straight(1.0),
            travel: length,
            rake: None,
            ratio_uncertainty,
            table: matches!(linkage, Linkage::Table { .. }),
            findings: Vec::new(),
        };
        path.kind = match linkage {
            Linkage::ConstantRatio(_) | Linkage::Arms { .. } => {
                let found = asked(linkage, vec![travel], Vec::new())?;
                Kind::Straight(found.points.first().map_or(0.0, |point| point.motion_ratio))
            }
            Linkage::Polynomial(coefficients) => powers(coefficients),
            Linkage::Table { .. } => path.fitted(linkage)?,
            Linkage::Swingarm { axle_radius, .. } => drawn(linkage, length, *axle_radius, extended)?,
            Linkage::Fork { .. } => path.kind.clone(),
        };
        path.check_ratio()?;
        Ok(path)
    }

    /// Wheel travel from full extension to the stop.
    #[must_use]
    pub fn travel(&self) -> Travel {
        Travel::from_si(self.travel)
    }

    /// Axial travel from full extension to the stop.
    #[must_use]
    pub fn axial_travel(&self) -> Stroke {
        Stroke::from_si(self.at(self.travel).stroke)
    }

    /// Rake, of a fork.
    #[must_use]
    pub fn rake(&self) -> Option<Angle> {
        self.rake
    }

    /// Motion ratio at a wheel travel.
    #[must_use]
    pub fn motion_ratio(&self, travel: Travel) -> f64 {
        self.at(travel.si()).ratio
    }

    /// Standard uncertainty of the motion ratio.
    #[must_use]
    pub fn ratio_uncertainty(&self) -> f64 {
        self.ratio_uncertainty
    }

    /// Whether it was fitted to readings.
    #[must_use]
    pub fn is_of_readings(&self) -> bool {
        self.table
    }

    /// Whether one motion ratio holds throughout.
    #[must_use]
    pub fn is_straight(&self) -> bool {
        matches!(self.kind, Kind::Straight(_))
    }

    /// What is unwelcome about it.
    #[must_use]
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }

    /// Axial travel at a wheel travel.
    #[must_use]
    pub fn stroke_at(&self, travel: Travel) -> Stroke {
        Stroke::from_si(self.at(travel.si()).stroke)
    }

    /// Wheel travel at an axial travel, by bisection to the last bits; the stop's where it lies beyond.
    #[must_use]
    pub fn travel_at(&self, stroke: Stroke) -> Travel {
        Travel::from_si(self.wheel_travel(stroke.si()))
    }

    pub(super) fn wheel_travel(&self, stroke: f64) -> f64 {
        if let Kind::Straight(ratio) = self.kind {
            return stroke / ratio;
        }
        let (mut low, mut high) = (0.0, self.travel);
        if stroke <= 0.0 {
            return 0.0;
        }
        for _ in 0..200 {
            let middle = f64::midpoint(low, high);
            if middle <= low || middle >= high {
                break;
            }
            if self.at(middle).stroke < stroke {
                low = middle;
            } else {
                high = middle;
            }
        }
        f64::midpoint(low, high)
    }

    pub(super) fn at(&self, z: f64) -> Place {
        match &self.kind {
            Kind::Straight(ratio) => Place {
                stroke: ratio * z,
                ratio: *ratio,
                change: 0.0,
            },
            Kind::Powers(powers) => {
                let mut sums = [0.0; 3];
                for c in powers.iter().rev().chain([&0.0]) {
                    let [value, first, second] = sums;
                    sums = [value * z + c, first * z + value, second * z + 2.0 * first];
                }
                let [stroke, ratio, change] = sums;
                Place { stroke, ratio, change }
            }
            Kind::Drawn(curve) => drawn_at(curve, z, self.travel),
        }
    }

    fn fitted(&mut self, linkage: &Linkage) -> Result<Kind, ChassisError> {
        let Linkage::Table {
            travels,
            compressions,
            degree,
        } = linkage
        else {
            return Ok(self.kind.clone());
        };
        let count = travels.len();
        if count < FEWEST_READINGS {
            let allowed = format!("{FEWEST_READINGS} or more");
            return Err(ChassisError::out_of_range(
                "linkage.table.travels",
                count as f64,
                "readings",
                allowed,
            ));
        }
        let (low, high) = travels.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), z| {
            (l.min(z.si()), h.max(z.si()))
        });
        if high - low < SPANNED * self.travel {
            let allowed = format!(
                "readings over at least {:.1} mm, nine tenths of the travel",
                SPANNED * self.travel * 1e3
            );
            let span = (high - low) * 1e3;
            return Err(ChassisError::out_of_range("linkage.table.travels", span, "mm", allowed));
        }
        let beyond = (self.travel - high).max(low);
        if beyond > CARRIED_ON * (high - low) {
            let allowed = format!("at most {:.1} mm beyond the readings", CARRIED_ON * (high - low) * 1e3);
            return Err(ChassisError::out_of_range(
                "linkage.table.travels",
                beyond * 1e3,
                "mm",
                allowed,
            ));
        }
        let of_degree = |degree: usize| {
            let table = Linkage::Table {
                travels: travels.clone(),
                compressions: compressions.clone(),
                degree: Some(degree),
            };
            asked(&table, vec![Travel::from_si(self.travel / 2.0)], Vec::new())
        };
        let found = match degree {
            Some(degree) => of_degree(*degree)?,
            None => {
                let square = of_degree(2)?;
                if count >= FOR_CUBIC {
                    let cubic = of_degree(3)?;
                    if gains(&square, &cubic, count) { cubic } else { square }
                } else {
                    square
                }
            }
        };
        self.ratio_uncertainty = self.ratio_uncertainty.hypot(uncertainty_of_ratio(&found));
        if beyond > 0.0 {
            let text = format!("the linkage is carried on {:.1} mm beyond its readings", beyond * 1e3);
            self.findings
                .push(Finding::about(Code::LinkageCarriedOn, "linkage", text));
        }
        Ok(powers(&found.coefficients))
    }

    fn check_ratio(&self) -> Result<(), ChassisError> {
        let at = |k: u32| self.travel * f64::from(k) / f64::from(CHECKED);
        let bad = (0..=CHECKED).map(at).find(|z| {
            let ratio = self.at(*z).ratio;
            !(ratio.is_finite() && ratio > 0.0)
        });
        match bad {
            None => Ok(()),
            Some(z) => {
                let allowed = format!(
                    "above 0 over the whole travel; it is not at {}",
                    Words::new(UnitSystem::Metric).length(z)
                );
                Err(ChassisError::out_of_range(
                    "linkage.motion_ratio",
                    self.at(z).ratio,
                    "",
                    allowed,
                ))
            }
        }
    }
}

/// Coefficients in millimetres as powers in metres, without the constant: travel counts from full extension.
fn powers(coefficients: &[f64]) -> Kind {
    let scaled = coefficients.iter().enumerate().skip(1);
    let scaled = scaled.map(|(k, c)| c * 1e3_f64.powi(i32::try_from(k).unwrap_or(0)) * 1e-3);
    Kind::Powers(scaled.collect())
}

fn drawn(linkage: &Linkage, travel: f64, radius: Length, extended: Option<Angle>) -> Result<Kind, ChassisError> {
    let Some(extended) = extended else {
        return Err(ChassisError::NotDetermined {
            field: "linkage.swingarm.extended_angle".to_owned(),
            why: "a swingarm needs its angle at full extension".to_owned(),
        });
    };
    let bottom = extended.si().sin();
    let top = bottom + travel / radius.si();
    if !(bottom > -0.98 && top < 0.98) {
        let allowed = "an arm within 80 deg of level over the whole travel";
        let degrees = extended.get(AngleUnit::Degree);
        return Err(ChassisError::out_of_range(
            "linkage.swingarm.extended_angle",
            degrees,
            "deg",
            allowed,
        ));
    }
    let share = |k: u32| f64::from(k) / f64::from(PIECES);
    let angles = (0..=PIECES).map(|k| Angle::from_si((bottom + share(k) * travel / radius.si()).asin()));
    let found = asked(linkage, Vec::new(), angles.collect())?;
    let point = |(k, point): (u32, &crate::spring::WheelPoint)| ForcePoint {
        deflection: Deflection::from_si(share(k) * travel),
        load: Load::from_si(point.compression.si()),
        rate_before: SpringRate::from_si(point.motion_ratio),
        rate_after: SpringRate::from_si(point.motion_ratio),
    };
    let curve = ForceCurve::new((0..).zip(&found.points).map(point).collect());
    curve.map(Kind::Drawn).ok_or_else(|| ChassisError::NotFinite {
        field: "linkage.swingarm".to_owned(),
    })
}

fn drawn_at(curve: &ForceCurve, z: f64, travel: f64) -> Place {
    let within = z.clamp(0.0, travel);
    let at = |z: f64| curve.at(Deflection::from_si(z.clamp(0.0, travel)));
    let step = travel / f64::from(PIECES);
    let ratio = |z: f64| at(z).map_or(0.0, |point| point.rate_after.si());
    let (low, high) = ((within - step).max(0.0), (within + step).min(travel));
    let here = at(within);
    let rate = ratio(within);
    Place {
        stroke: here.map_or(0.0, |point| point.load.si()) + rate * (z - within),
        ratio: rate,
        change: (ratio(high) - ratio(low)) / (high - low),
    }
}

fn asked(linkage: &Linkage, travels: Vec<Travel>, angles: Vec<Angle>) -> Result<WheelFound, ChassisError> {
    Ok(compute_wheel_rate(&WheelSpring {
        linkage: linkage.clone(),
        rates: vec![(SpringRate::from_si(1.0), SpringRate::from_si(0.0))],
        preload: Preload::from_si(0.0),
        further: None,
        travels,
        angles,
        strokes: Vec::new(),
        axial_force: None,
        compression_uncertainty: None,
        coverage_probability: None,
        units: UnitSystem::Metric,
    })?)
}

/// The uncertainty of the ratio behind that of a wheel rate.
fn uncertainty_of_ratio(found: &WheelFound) -> f64 {
    let rows = found.points.iter().flat_map(|point| &point.wheel_rate.budget);
    rows.filter(|row| row.source == "motion ratio" && row.sensitivity != 0.0)
        .map(|row| row.standard_uncertainty.si() / row.sensitivity.abs())
        .fold(0.0, f64::max)
}

/// Whether the cubic term is significant: `F = (RSS2 - RSS3)/(RSS3/(n - 4))` above Student's t squared.
fn gains(square: &WheelFound, cubic: &WheelFound, count: usize) -> bool {
    let sum = |found: &WheelFound, terms: usize| {
        let scatter = found.residual_standard_deviation.map_or(0.0, Quantity::si);
        scatter * scatter * count.saturating_sub(terms) as f64
    };
    let (before, after) = (sum(square, 3), sum(cubic, 4));
    let dof = count.saturating_sub(4) as f64;
    let t = coverage_factor(0.95, Some(dof));
    // Readings are made to no better than a micrometre: below that nothing is gained.
    before > count as f64 * 1e-12 && (before - after) * dof > t * t * after
}
