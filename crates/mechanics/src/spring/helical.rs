//! A helical compression spring from its geometry.

mod check;
mod ends;
mod geometry;
mod strength;

use std::f64::consts::PI;

use crate::estimate::{Assumption, Contribution, Coverage, Estimate};
use crate::finding::{Code, Finding};
use crate::quantity::{
    Deflection, Density, ElasticModulus, Energy, FreeLength, Frequency, Length, Load, Mass, Quantity, SpringRate,
    Stress, Temperature, UnitSystem,
};

use super::force::{ForceCurve, ForcePoint};
use super::words::Words;
use super::{SpringError, load};
use check::check;
use geometry::{active, buckling, curve, density, lengths, moduli, seating};
use strength::{designed, strong};

/// How the ends are made. Shigley, 9th ed., Table 10-1 (from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ends {
    /// Plain: `Nt = n`, `L0 = p n + d`, `Ls = d (Nt + 1)`.
    Plain,
    /// Plain and ground: `Nt = n + 1`, `L0 = p (n + 1)`, `Ls = d Nt`.
    PlainGround,
    /// Squared (closed): `Nt = n + 2`, `L0 = p n + 3 d`, `Ls = d (Nt + 1)`.
    Squared,
    /// Squared and ground: `Nt = n + 2`, `L0 = p n + 2 d`, `Ls = d Nt`.
    SquaredGround,
}

/// Wires with a shear modulus of their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WireMaterial {
    /// Music or patented hard drawn wire (EN 10270-1).
    PatentedDrawn,
    /// Oil tempered carbon, chrome-vanadium or chrome-silicon wire (EN 10270-2).
    OilTempered,
    /// Stainless 1.4310 (EN 10270-3).
    Stainless,
    /// Hot rolled bar (EN 10089).
    HotRolled,
}

/// How strong the wire is: `Sut = A/(d/d1)^m`, shear yield at a share of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strength {
    /// Tensile strength of wire of the reference diameter.
    pub tensile_constant: Stress,
    /// Reference diameter: 1 mm, or 1 in where the table is in inches.
    pub reference_diameter: Length,
    /// Exponent m, 0 to 1.
    pub exponent: f64,
    /// Torsional yield strength over tensile strength, above 0 up to 1.
    pub shear_yield_ratio: f64,
}

/// What a spring is to be designed for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Design {
    /// Load.
    pub load: Load,
    /// Deflection under it.
    pub deflection: Deflection,
    /// Permitted shear stress, Wahl's factor in it.
    pub permitted_stress: Stress,
    /// Gap left between neighbouring coils under the load.
    pub coil_gap: Length,
}

/// A helical spring, and where it is wanted.
#[derive(Debug, Clone, PartialEq)]
pub struct Helical {
    /// Wire diameter.
    pub wire_diameter: Length,
    /// Mean coil diameter: outside less wire. Of a conical spring, at its small end.
    pub mean_coil_diameter: Length,
    /// Mean coil diameter at the large end of a conical spring.
    pub large_end_diameter: Option<Length>,
    /// Coils that work; else from the total coils and the ends, or the number of gaps.
    pub active_coil_count: Option<f64>,
    /// All coils; else from the active ones and the ends.
    pub total_coil_count: Option<f64>,
    /// How the ends are made.
    pub ends: Option<Ends>,
    /// Free length; else from the pitch.
    pub free_length: Option<FreeLength>,
    /// Pitch of the active coils; else from the free length.
    pub pitch: Option<Length>,
    /// Clear gap of each active coil, for a spring of variable pitch.
    pub coil_gaps: Vec<Length>,
    /// Shear modulus; else of the material.
    pub shear_modulus: Option<ElasticModulus>,
    /// Young's modulus, for buckling; else of the material.
    pub elastic_modulus: Option<ElasticModulus>,
    /// The wire; `None` with a shear modulus given, else oil tempered.
    pub material: Option<WireMaterial>,
    /// Density; else 7,850 kg/m3.
    pub density: Option<Density>,
    /// Seating coefficient of buckling: 0.5 both ends on flat guided platens, 0.707 one hinged, 1 both hinged, 2 one free.
    pub seating_factor: Option<f64>,
    /// Temperature of the spring.
    pub temperature: Option<Temperature>,
    /// Strength of the wire.
    pub strength: Option<Strength>,
    /// What it is to be designed for.
    pub design: Option<Design>,
    /// Deflections at which it is wanted.
    pub deflections: Vec<Deflection>,
    /// Loads at which it is wanted.
    pub loads: Vec<Load>,
    /// Standard uncertainties of wire, coil diameter, active coils and shear modulus.
    pub uncertainty: GeometryUncertainty,
    /// Probability expanded uncertainties cover.
    pub coverage_probability: Option<f64>,
    /// Units of the words.
    pub units: UnitSystem,
}

/// Standard uncertainties of a geometry.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct GeometryUncertainty {
    /// Of the wire diameter.
    pub wire_diameter: Option<Length>,
    /// Of the mean coil diameter.
    pub mean_coil_diameter: Option<Length>,
    /// Of the active coils.
    pub active_coil_count: Option<f64>,
    /// Of the shear modulus over the modulus.
    pub shear_modulus_ratio: Option<f64>,
}

/// What a helical spring is.
#[derive(Debug, Clone, PartialEq)]
pub struct HelicalSpring {
    /// Rate of all coils open, with the uncertainty of the geometry.
    pub rate: Estimate<SpringRate>,
    /// Shear modulus that was used.
    pub shear_modulus: ElasticModulus,
    /// Young's modulus that was used.
    pub elastic_modulus: ElasticModulus,
    /// Mean coil diameter over wire diameter.
    pub index_ratio: f64,
    /// Wahl's factor `(4C - 1)/(4C - 4) + 0.615/C`.
    pub wahl_factor: f64,
    /// Bergstraesser's factor `(4C + 2)/(4C - 3)`.
    pub bergstraesser_factor: f64,
    /// Coils that work.
    pub active_coil_count: f64,
    /// All coils, where the ends are known.
    pub total_coil_count: Option<f64>,
    /// Free length, where it or the pitch is known.
    pub free_length: Option<FreeLength>,
    /// Pitch, where it or the free length is known.
    pub pitch: Option<Length>,
    /// Solid length, where the ends are known.
    pub solid_length: Option<Length>,
    /// Travel from free to solid.
    pub travel_to_solid: Option<Deflection>,
    /// Load at solid.
    pub solid_load: Option<Load>,
    /// Shear stress at solid without correction.
    pub solid_stress: Option<Stress>,
    /// Mass of the active coils.
    pub active_mass: Mass,
    /// Lowest surge frequency, both ends held: `sqrt(k/m)/2`.
    pub surge_frequency: Frequency,
    /// The same by the rounded constant of EN 13906-1: `3560 d/(n D^2) sqrt(G/rho)`.
    pub surge_frequency_rounded: Frequency,
    /// Lowest surge frequency, one end free: `sqrt(k/m)/4`.
    pub surge_frequency_one_free: Frequency,
    /// Free length up to which it never buckles.
    pub stable_length: Length,
    /// The short rule for steel: `2.63 D/nu`.
    pub stable_length_rule: Length,
    /// Deflection at which it buckles; `None`: never, or the free length is not known.
    pub buckling_deflection: Option<Deflection>,
    /// What the strength permits.
    pub strength: Option<StrengthFound>,
    /// What the design asks for.
    pub design: Option<DesignFound>,
    /// Rate of one coil alone.
    pub coil_rate: SpringRate,
    /// Load against deflection from free to solid, where that is known.
    pub curve: Option<ForceCurve>,
    /// Where it was wanted: at the deflections, then at the loads.
    pub points: Vec<HelicalPoint>,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// What the strength of the wire permits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrengthFound {
    /// Tensile strength.
    pub tensile_strength: Stress,
    /// Torsional yield strength.
    pub shear_yield_strength: Stress,
    /// Load at yield, Bergstraesser's factor in it.
    pub yield_load: Load,
    /// Free length of a spring that just yields when solid, where the ends are known.
    pub longest_free_length: Option<FreeLength>,
    /// Pitch of that spring.
    pub longest_pitch: Option<Length>,
}

/// What a design asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DesignFound {
    /// Thinnest wire at this index: `sqrt(8 F C K/(pi tau))` with Wahl's factor.
    pub least_wire_diameter: Length,
    /// Active coils that give the deflection: `G d s/(8 F C^3)`.
    pub wanted_active_coil_count: f64,
    /// Deflection of the spring as given under the load.
    pub deflection: Deflection,
    /// Solid length and deflection and gaps together: the free length, where the ends are known.
    pub free_length: Option<FreeLength>,
    /// Free length over the spaces between all coils.
    pub pitch: Option<Length>,
}

/// A helical spring at a deflection.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HelicalPoint {
    /// Deflection from free.
    pub deflection: Deflection,
    /// Load.
    pub load: Load,
    /// Rate just before.
    pub rate_before: SpringRate,
    /// Rate just after.
    pub rate_after: SpringRate,
    /// Length, where the free length is known.
    pub length: Option<Length>,
    /// Shear stress without correction, for static loads.
    pub stress: Stress,
    /// With Wahl's factor, for repeated loads.
    pub wahl_stress: Stress,
    /// With Bergstraesser's factor.
    pub bergstraesser_stress: Stress,
    /// Energy stored from free.
    pub energy: Energy,
}

/// Change of the shear modulus a kelvin (EN 13906-1, from memory).
const WARMTH: f64 = -0.000_25;

/// `k = G d^4/(8 D^3 n)`; conical, until the first coil closes, `k = G d^4/(2 n (D1 + D2)(D1^2 + D2^2))`.
pub(super) fn rate(g: f64, d: f64, small: f64, large: f64, n: f64) -> f64 {
    g * d.powi(4) / (2.0 * n * (small + large) * (small * small + large * large))
}

/// Wahl's factor at an index.
pub(super) fn wahl(c: f64) -> f64 {
    (4.0 * c - 1.0) / (4.0 * c - 4.0) + 0.615 / c
}

/// `8 F D/(pi d^3)`.
pub(super) fn stress(load: f64, coil: f64, d: f64) -> f64 {
    8.0 * load * coil / (PI * d.powi(3))
}

/// A helical compression spring of round wire.
///
/// Rate `k = G d^4/(8 D^3 n)`, stress `tau = K 8 F D/(pi d^3)`, energy the integral of the load, surge `sqrt(k/m)/2` with
/// `m = rho pi^2 d^2 D n/4`. Buckling (EN 13906-1 and Shigley 10-10, the same expression):
/// `s_k = L0/2/(1 - G/E) [1 - sqrt(1 - (1 - G/E)/(1/2 + G/E) (pi D/(nu L0))^2)]`, never where no root is real; always stable up
/// to `(pi D/nu) sqrt(2 (E - G)/(2 G + E))`. Variable pitch: coils of one rate in series, each until its gap is closed.
/// The curvature of the wire and the rise of the coils are left out: the two books differ in the sign of a correction below
/// 1.5 % above an index of 6. Example: d 5, D 40, n 5, G 81,370 MPa: 19.866 N/mm (Bhandari 10.1).
///
/// # Errors
/// [`SpringError::OutOfRange`] or [`SpringError::NotFinite`] for values that make no spring.
pub fn evaluate_helical(spring: &Helical) -> Result<HelicalSpring, SpringError> {
    check(spring)?;
    let mut assumptions = vec![Assumption {
        subject: "mean_coil_diameter",
        text: "round wire; curvature and rise of the coils change the rate by less than 1.5 % above an index of 6 and are \
               left out"
            .to_owned(),
        source: "Wahl and Shigley differ in the sign of the correction",
    }];
    let (g, e) = moduli(spring, &mut assumptions);
    let (d, small) = (spring.wire_diameter.si(), spring.mean_coil_diameter.si());
    let large = spring.large_end_diameter.map_or(small, Quantity::si);
    let n = active(spring)?;
    let c = large / d;
    let total = spring.total_coil_count.or(spring.ends.map(|ends| n + ends.dead()));
    let solid = spring.ends.zip(total).map(|(ends, total)| ends.solid(d, total));
    let (free, pitch) = lengths(spring, n, solid);
    let k = rate(g, d, small, large, n);
    let rho = density(spring, &mut assumptions);
    let mean = f64::midpoint(small, large);
    let mass = rho * PI * PI * d * d * mean * n / 4.0;
    let nu = seating(spring, &mut assumptions);
    let ratio = g / e;
    let curve = curve(spring, k, n, free.zip(solid));
    let travel = curve.as_ref().map(|curve| curve.reach().1);
    let solid_load = curve.as_ref().and_then(|curve| Some(curve.points().last()?.load));
    let mut found = HelicalSpring {
        rate: with_uncertainty(spring, k, n),
        shear_modulus: ElasticModulus::from_si(g),
        elastic_modulus: ElasticModulus::from_si(e),
        index_ratio: c,
        wahl_factor: wahl(c),
        bergstraesser_factor: (4.0 * c + 2.0) / (4.0 * c - 3.0),
        active_coil_count: n,
        total_coil_count: total,
        free_length: free.map(FreeLength::from_si),
        pitch: pitch.map(Length::from_si),
        solid_length: solid.map(Length::from_si),
        travel_to_solid: travel,
        solid_load,
        solid_stress: solid_load.map(|load| Stress::from_si(stress(load.si(), large, d))),
        active_mass: Mass::from_si(mass),
        surge_frequency: Frequency::from_si((k / mass).sqrt() / 2.0),
        surge_frequency_rounded: Frequency::from_si(
            3560.0 * (d * 1e3) / (n * (mean * 1e3).powi(2)) * (g * 1e-6 / (rho * 1e-3)).sqrt(),
        ),
        surge_frequency_one_free: Frequency::from_si((k / mass).sqrt() / 4.0),
        stable_length: Length::from_si(PI * mean / nu * (2.0 * (e - g) / (2.0 * g + e)).sqrt()),
        stable_length_rule: Length::from_si(2.63 * mean / nu),
        buckling_deflection: free
            .and_then(|free| buckling(free, mean, nu, ratio))
            .map(Deflection::from_si),
        strength: None,
        design: None,
        coil_rate: SpringRate::from_si(k * n),
        curve,
        points: Vec::new(),
        findings: Vec::new(),
        assumptions,
    };
    found.strength = spring.strength.map(|strength| strong(spring, &strength, &found, large));
    found.design = spring.design.map(|design| designed(spring, &design, &found, k));
    found.points = points(spring, &found, large)?;
    say(spring, &mut found);
    Ok(found)
}

fn with_uncertainty(spring: &Helical, k: f64, n: f64) -> Estimate<SpringRate> {
    let given = &spring.uncertainty;
    let (d, coil) = (spring.wire_diameter.si(), spring.mean_coil_diameter.si());
    let rows = [
        ("wire diameter", given.wire_diameter.map(Quantity::si), 4.0 * k / d),
        (
            "mean coil diameter",
            given.mean_coil_diameter.map(Quantity::si),
            -3.0 * k / coil,
        ),
        ("active coils", given.active_coil_count, -k / n),
        ("shear modulus (relative)", given.shear_modulus_ratio, k),
    ];
    let rows = rows
        .into_iter()
        .filter_map(|(source, u, sensitivity)| Some((source, u.filter(|u| *u > 0.0)?, sensitivity)))
        .map(|(source, u, sensitivity)| Contribution::type_b(source, sensitivity * u, sensitivity));
    Estimate::of_budget(k, rows.collect(), Coverage::of(spring.coverage_probability))
}

fn points(spring: &Helical, found: &HelicalSpring, large: f64) -> Result<Vec<HelicalPoint>, SpringError> {
    let k = found.rate.value.si();
    let mut asked: Vec<(&'static str, f64)> = spring.deflections.iter().map(|s| ("deflections", s.si())).collect();
    for load in &spring.loads {
        let on_curve = found.curve.as_ref().and_then(|curve| curve.deflection_under(*load));
        asked.push(("loads", on_curve.map_or(load.si() / k, Quantity::si)));
    }
    let d = spring.wire_diameter.si();
    let at = |(field, s): (&'static str, f64)| {
        let deflection = Deflection::from_si(s);
        let straight = ForcePoint {
            deflection,
            load: Load::from_si(k * s),
            rate_before: SpringRate::from_si(k),
            rate_after: SpringRate::from_si(k),
        };
        let on_curve = found.curve.as_ref().and_then(|curve| curve.at(deflection));
        if on_curve.is_none() && !spring.coil_gaps.is_empty() {
            return Err(SpringError::OutOfRange {
                field,
                value: s * 1e3,
                unit: "mm",
                allowed: "0 to the sum of the gaps",
            });
        }
        let here = on_curve.unwrap_or(straight);
        let plain = stress(here.load.si(), large, d);
        let energy = found.curve.as_ref().and_then(|curve| curve.energy(deflection));
        Ok(HelicalPoint {
            deflection,
            load: here.load,
            rate_before: here.rate_before,
            rate_after: here.rate_after,
            length: found.free_length.map(|free| Length::from_si(free.si() - s)),
            stress: Stress::from_si(plain),
            wahl_stress: Stress::from_si(plain * found.wahl_factor),
            bergstraesser_stress: Stress::from_si(plain * found.bergstraesser_factor),
            energy: energy.unwrap_or_else(|| Energy::from_si(k * s * s / 2.0)),
        })
    };
    asked.into_iter().map(at).collect()
}

fn say(spring: &Helical, found: &mut HelicalSpring) {
    let words = Words::new(spring.units);
    let mut findings = Vec::new();
    if !(4.0..=20.0).contains(&found.index_ratio) {
        let text = format!(
            "an index of {:.1}: springs are wound between 4 and 20",
            found.index_ratio
        );
        findings.push(Finding::about(Code::IndexUnusual, "mean_coil_diameter", text));
    }
    for point in &found.points {
        let s = words.length(point.deflection.si());
        if let Some(travel) = found.travel_to_solid.filter(|travel| point.deflection > *travel) {
            let text = format!("{s} is beyond solid at {}", words.length(travel.si()));
            findings.push(Finding::about(Code::BelowSolid, "deflections", text));
        }
        if let Some(buckles) = found.buckling_deflection.filter(|at| point.deflection > *at) {
            let text = format!(
                "at {s} it buckles unless it is guided: from {} on",
                words.length(buckles.si())
            );
            findings.push(Finding::about(Code::Buckles, "seating_factor", text));
        }
        if let Some(strength) = found.strength.filter(|strength| point.load > strength.yield_load) {
            let text = format!(
                "at {s} the wire is past yield, {}",
                words.force(strength.yield_load.si())
            );
            findings.push(Finding::about(Code::SpringOverstressed, "strength", text));
        }
        if point.energy.si() > load::HURTS {
            let text = format!("at {s} the spring stores {:.0} J", point.energy.si());
            findings.push(Finding::about(Code::StoredEnergy, "deflections", text));
        }
    }
    if let (Some(strength), Some(solid)) = (found.strength, found.solid_load)
        && solid > strength.yield_load
    {
        let text = format!("pressed solid it carries {}, past yield", words.force(solid.si()));
        findings.push(Finding::about(Code::SpringOverstressed, "strength", text));
    }
    found.findings.extend(findings);
}
