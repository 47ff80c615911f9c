//! Springs together: side by side, one on another, with stops, preloaded.

mod check;
mod law;
mod of_run;
mod shares;

use crate::estimate::Assumption;
use crate::finding::{Code, Finding};
use crate::quantity::{
    Deflection, ElasticModulus, Energy, Length, Load, Preload, Quantity, SpringRate, Stress, UnitSystem,
};

use super::force::ForceCurve;
use super::options::out_of_range;
use super::words::Words;
use super::{SpringError, load};
use check::check;
use law::{Law, law, table};
use shares::{leaves, share, stop_of};

pub(super) use law::{joined, straight_curve};

/// Most parts of an assembly, and how deep they nest.
pub const MOST_PARTS: usize = 64;
/// Deepest nesting.
pub const DEEPEST: usize = 6;
/// Most points of a table.
pub const MOST_TABLE: usize = 512;

/// A part of an assembly.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// What it is called; empty: its place.
    pub label: String,
    /// What it is.
    pub kind: PartKind,
    /// Travel before it joins in, beside others: the difference of free lengths.
    pub gap: Option<Length>,
}

/// What a part is.
#[derive(Debug, Clone, PartialEq)]
pub enum PartKind {
    /// A straight spring.
    Straight {
        /// Its rate, above 0.
        rate: SpringRate,
        /// Travel after which it is closed; `None`: never.
        stop: Option<Length>,
    },
    /// A helical spring by its geometry.
    Wound {
        /// Wire diameter.
        wire_diameter: Length,
        /// Mean coil diameter.
        mean_coil_diameter: Length,
        /// Active coils.
        active_coil_count: f64,
        /// Shear modulus.
        shear_modulus: ElasticModulus,
        /// Travel after which it is closed; `None`: never.
        stop: Option<Length>,
    },
    /// A table of loads, rising from load 0 or more; interpolated without overshoot.
    Table {
        /// Deflections, strictly rising from 0.
        deflections: Vec<Deflection>,
        /// Loads, strictly rising.
        loads: Vec<Load>,
    },
    /// One on another: the same load through all.
    Series(Vec<Part>),
    /// Side by side: the same travel for all.
    Parallel(Vec<Part>),
}

/// Asks for an assembly.
#[derive(Debug, Clone, PartialEq)]
pub struct Assembly {
    /// What it is made of.
    pub part: Part,
    /// How far it is pressed when fitted between its stops.
    pub preload: Option<Preload>,
    /// Deflections from the fitted position at which it is wanted.
    pub deflections: Vec<Deflection>,
    /// Loads at which it is wanted.
    pub loads: Vec<Load>,
    /// Deflection the curve is drawn to, where nothing closes before.
    pub maximum_deflection: Option<Deflection>,
    /// Units of the words.
    pub units: UnitSystem,
}

/// What an assembly does.
#[derive(Debug, Clone, PartialEq)]
pub struct AssemblyFound {
    /// Load against deflection from the fitted position.
    pub curve: ForceCurve,
    /// Load below which nothing moves.
    pub preload_force: Load,
    /// Rate of the first movement.
    pub initial_rate: SpringRate,
    /// Deflection at which everything is closed; `None`: never.
    pub travel_to_solid: Option<Deflection>,
    /// Parts that close, ordered by load.
    pub stops: Vec<StopEvent>,
    /// Where it was wanted: at the deflections, then at the loads.
    pub points: Vec<AssemblyPoint>,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// A part that closes.
#[derive(Debug, Clone, PartialEq)]
pub struct StopEvent {
    /// Which.
    pub part: String,
    /// Load through the assembly.
    pub load: Load,
    /// Deflection of the assembly from the fitted position.
    pub deflection: Deflection,
}

/// An assembly at a deflection.
#[derive(Debug, Clone, PartialEq)]
pub struct AssemblyPoint {
    /// Deflection from the fitted position; 0 where a load does not move it.
    pub deflection: Deflection,
    /// Load.
    pub load: Load,
    /// Rate just before.
    pub rate_before: SpringRate,
    /// Rate just after.
    pub rate_after: SpringRate,
    /// Energy stored from the fitted position.
    pub energy: Energy,
    /// What each spring of it bears.
    pub shares: Vec<Share>,
}

/// What one spring bears.
#[derive(Debug, Clone, PartialEq)]
pub struct Share {
    /// Which.
    pub part: String,
    /// Deflection of the spring itself.
    pub deflection: Deflection,
    /// Load of the spring itself; what its stop carries is not in it.
    pub load: Load,
    /// Shear stress with Wahl's factor, of a spring given by its geometry.
    pub wahl_stress: Option<Stress>,
}

/// What springs together do.
///
/// One on another `s(F) = Sum min(F/k_i, t_i)`, so parts close in order of the load `k_i t_i`; side by side
/// `F(s) = Sum F_i(s - gap_i)`. A preload `p` shifts the curve and changes no rate: `F = F0(p + s)`, and nothing moves below
/// `F0(p)`. A table alone is its monotone interpolation; among others it is cut into 64 straight steps an interval.
/// Example: 40 and 120 N/mm one on another, the first closed after 25 mm: 30 N/mm up to 1,000 N at 33.33 mm, then 120 N/mm.
///
/// # Errors
/// [`SpringError::OutOfRange`] or [`SpringError::NotFinite`] for values that make no assembly.
pub fn evaluate_assembly(assembly: &Assembly) -> Result<AssemblyFound, SpringError> {
    check(assembly)?;
    let law = law(&assembly.part);
    let preload = assembly.preload.map_or(0.0, Quantity::si);
    let solid = law.tail.is_none().then(|| law.end().0 - preload);
    if solid.is_some_and(|solid| solid <= 0.0) {
        return out_of_range(
            "preload",
            preload * 1e3,
            "mm",
            "below the travel at which everything is closed",
        );
    }
    let curve = curve(assembly, &law, preload, solid)?;
    let preload_force = law.load(preload).unwrap_or(0.0);
    let first = curve.points().first().map_or(0.0, |point| point.rate_after.si());
    let leaves = leaves(&assembly.part, "part");
    let mut stops: Vec<StopEvent> = leaves.iter().filter_map(|leaf| stop_of(leaf, &law, preload)).collect();
    stops.sort_by(|a, b| a.load.si().total_cmp(&b.load.si()));
    let mut found = AssemblyFound {
        curve,
        preload_force: Load::from_si(preload_force),
        initial_rate: SpringRate::from_si(first),
        travel_to_solid: solid.map(Deflection::from_si),
        stops,
        points: Vec::new(),
        findings: Vec::new(),
        assumptions: vec![Assumption {
            subject: "part",
            text: "springs without friction, mass or coil bind other than their stops".to_owned(),
            source: "common practice, no source",
        }],
    };
    for deflection in &assembly.deflections {
        found.points.push(point(assembly, &found, &law, deflection.si())?);
    }
    for load in &assembly.loads {
        let s = (law.travel(load.si()) - preload).max(0.0);
        let s = exact(&found, *load).unwrap_or(s);
        found.points.push(point(assembly, &found, &law, s)?);
    }
    say(assembly, &mut found);
    Ok(found)
}

/// The deflection under a load on the curve itself, where a table makes it other than its straight steps.
fn exact(found: &AssemblyFound, load: Load) -> Option<f64> {
    found.curve.deflection_under(load).map(Quantity::si)
}

fn curve(assembly: &Assembly, law: &Law, preload: f64, solid: Option<f64>) -> Result<ForceCurve, SpringError> {
    let asked = assembly
        .deflections
        .iter()
        .chain(&assembly.maximum_deflection)
        .map(|s| s.si());
    let loads = assembly.loads.iter().map(|load| law.travel(load.si()) - preload);
    let furthest = asked.chain(loads).fold(0.0, f64::max);
    // A spring that never closes is drawn as far as it was asked for, and a little past its last knot.
    let far = solid.unwrap_or_else(|| furthest.max(1.25 * (law.end().0 - preload)).max(1e-3));
    let whole = table(&assembly.part.kind).filter(|_| preload == 0.0);
    let found = whole.or_else(|| {
        let mut knots = vec![(0.0, law.load(preload)?)];
        let within = law
            .knots
            .iter()
            .filter(|knot| knot.0 > preload && knot.0 - preload < far);
        knots.extend(within.map(|knot| (knot.0 - preload, knot.1)));
        knots.push((far, law.load(preload + far)?));
        knots.dedup_by(|b, a| (b.0 - a.0).abs() <= 1e-12 * far);
        ForceCurve::new(joined(&knots))
    });
    found.ok_or(SpringError::OutOfRange {
        field: "part",
        value: far * 1e3,
        unit: "mm",
        allowed: "an assembly that carries load over some travel",
    })
}

fn point(assembly: &Assembly, found: &AssemblyFound, law: &Law, s: f64) -> Result<AssemblyPoint, SpringError> {
    let deflection = Deflection::from_si(s);
    let Some(here) = found.curve.at(deflection) else {
        return out_of_range(
            "deflections",
            s * 1e3,
            "mm",
            "0 to the travel at which everything is closed",
        );
    };
    let energy = found.curve.energy(deflection).unwrap_or_else(|| Energy::from_si(0.0));
    let total = s + assembly.preload.map_or(0.0, Quantity::si);
    let mut shares = Vec::new();
    share(
        &assembly.part,
        "part",
        total,
        law.load(total).unwrap_or(0.0),
        &mut shares,
    );
    Ok(AssemblyPoint {
        deflection,
        load: here.load,
        rate_before: here.rate_before,
        rate_after: here.rate_after,
        energy,
        shares,
    })
}

/// Each once, at the place where it is worst: a curve asked for in many places would say it as often.
fn say(assembly: &Assembly, found: &mut AssemblyFound) {
    let words = Words::new(assembly.units);
    let worst = |wanted: &dyn Fn(&&AssemblyPoint) -> bool| {
        let points = found.points.iter().filter(wanted);
        points.max_by(|a, b| a.energy.si().total_cmp(&b.energy.si()))
    };
    let solid = found.travel_to_solid.map(Quantity::si);
    let mut said = Vec::new();
    if let Some(point) = worst(&|point| solid.is_some_and(|solid| point.deflection.si() >= solid * (1.0 - 1e-9))) {
        let text = format!("at {} everything is closed", words.length(point.deflection.si()));
        said.push(Finding::about(Code::AllClosed, "deflections", text));
    }
    if let Some(point) = worst(&|point| point.energy.si() > load::HURTS) {
        let text = format!(
            "at {} the springs store {:.0} J",
            words.length(point.deflection.si()),
            point.energy.si()
        );
        said.push(Finding::about(Code::StoredEnergy, "deflections", text));
    }
    found.findings.extend(said);
}
