//! Tolerance grades of published standards.

use crate::quantity::{AbsolutePressure, Force, FreeLength, Length, Load, Quantity};

use super::GradeNumber;

/// Permitted deviations by JIS B 2704, cold coiled compression springs of round wire.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JisTolerance {
    /// Of the rate, over the rate.
    pub rate_ratio: f64,
    /// Of a load at a height, over the load.
    pub load_ratio: f64,
    /// Of the free length; `None` where free length or index is not known, or the index is outside 4 to 15.
    pub free_length: Option<Length>,
}

/// Table look-up: JIS B 2704, annex 2 (former JIS B 2707), as reproduced by spring makers.
///
/// Rate and load: 5, 10, 15 % with 3 to 10 active coils, 4, 8, 12 % above 10. Free length: percent of the free length but
/// no less than a minimum, by index 4 to 8 and over 8 to 15. `None` below 3 active coils. Example: grade 2, 8 coils, index
/// 6, 250 mm: 10 %, 10 %, 5.0 mm.
#[must_use]
pub fn jis_b_2704(
    grade: GradeNumber,
    active_coil_count: f64,
    index_ratio: Option<f64>,
    free_length: Option<FreeLength>,
) -> Option<JisTolerance> {
    if active_coil_count.is_nan() || active_coil_count < 3.0 {
        return None;
    }
    let few = active_coil_count <= 10.0;
    let ratio = match (grade, few) {
        (GradeNumber::One, true) => 0.05,
        (GradeNumber::Two, true) => 0.10,
        (GradeNumber::Three, true) => 0.15,
        (GradeNumber::One, false) => 0.04,
        (GradeNumber::Two, false) => 0.08,
        (GradeNumber::Three, false) => 0.12,
    };
    let tolerance_of_length = |length: FreeLength| {
        let index = index_ratio?;
        let close = (4.0..=8.0).contains(&index);
        let wide = index > 8.0 && index <= 15.0;
        if !close && !wide {
            return None;
        }
        let (share, least) = match (grade, close) {
            (GradeNumber::One, true) => (0.01, 0.2e-3),
            (GradeNumber::Two, true) => (0.02, 0.5e-3),
            (GradeNumber::Three, true) => (0.04, 0.7e-3),
            (GradeNumber::One, false) => (0.015, 0.3e-3),
            (GradeNumber::Two, false) => (0.03, 0.7e-3),
            (GradeNumber::Three, false) => (0.055, 0.8e-3),
        };
        Some(Length::from_si(f64::max(share * length.si(), least)))
    };
    Some(JisTolerance {
        rate_ratio: ratio,
        load_ratio: ratio,
        free_length: free_length.and_then(tolerance_of_length),
    })
}

/// The spring a DIN 2095 tolerance is worked out for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DinSpring {
    /// Wire diameter.
    pub wire_diameter: Length,
    /// Mean coil diameter.
    pub mean_coil_diameter: Length,
    /// Active coils.
    pub active_coil_count: f64,
    /// Shear modulus.
    pub shear_modulus: AbsolutePressure,
}

/// Permitted deviations by DIN 2095 / EN 15800, unconfirmed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DinTolerance {
    /// Factor aF, newtons.
    pub load_factor: f64,
    /// Factor kF.
    pub coil_factor: f64,
    /// Permitted deviation of the load.
    pub load: Force,
    /// Permitted deviation of the free length.
    pub free_length: Length,
}

/// `AF = (aF kF + 1.5 F/100) Q`, `AL0 = (aF kF/R) Q`, `Q = 0.63, 1.0, 1.6`, `kF = -1/(3 n^2) + 8/(5 n) + 0.803`,
/// `aF = 65.92 d^3.3/D^1.6 [-0.84 (w/10)^3 + 3.781 (w/10)^2 - 4.244 (w/10) + 2.274]`, `w = D/d`, `R = G d^4/(8 D^3 n)`; d, D in
/// mm, F and aF in N, R in N/mm. DIN 2095:1973 / EN 15800:2008 from memory: no readable source confirms the formula.
/// Range (scope of the standard): 0.07 <= d <= 16 mm, 0.63 <= D <= 200 mm, n >= 2, 4 <= w <= 20; `None` outside.
/// Example: d 5, D 40, n 8, G 81,500 MPa, 500 N, grade 2: AF 39.13 N, AL0 2.544 mm.
#[must_use]
pub fn din_2095(grade: GradeNumber, spring: &DinSpring, load: Load) -> Option<DinTolerance> {
    let (d, coil) = (spring.wire_diameter.si() * 1e3, spring.mean_coil_diameter.si() * 1e3);
    let n = spring.active_coil_count;
    let w = coil / d;
    let within = (0.07..=16.0).contains(&d) && (0.63..=200.0).contains(&coil) && n >= 2.0 && (4.0..=20.0).contains(&w);
    if !within {
        return None;
    }
    let quality = match grade {
        GradeNumber::One => 0.63,
        GradeNumber::Two => 1.0,
        GradeNumber::Three => 1.6,
    };
    let tenth = w / 10.0;
    let shape = -0.84 * tenth.powi(3) + 3.781 * tenth.powi(2) - 4.244 * tenth + 2.274;
    let load_factor = 65.92 * d.powf(3.3) / coil.powf(1.6) * shape;
    let coil_factor = -1.0 / (3.0 * n * n) + 8.0 / (5.0 * n) + 0.803;
    let rate = spring.shear_modulus.si() * 1e-6 * d.powi(4) / (8.0 * coil.powi(3) * n);
    Some(DinTolerance {
        load_factor,
        coil_factor,
        load: Force::from_si((load_factor * coil_factor + 1.5 * load.si().abs() / 100.0) * quality),
        free_length: Length::from_si(load_factor * coil_factor / rate * quality * 1e-3),
    })
}
