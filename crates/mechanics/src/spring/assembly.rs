//! Springs together: side by side, one on another, with stops, preloaded.

use crate::estimate::Assumption;
use crate::finding::{Code, Finding};
use crate::quantity::{
    Deflection, ElasticModulus, Energy, ForceUnit, Length, LengthUnit, Load, Preload, PressureUnit, Quantity,
    SpringRate, StiffnessUnit, Stress, UnitSystem,
};

use super::force::{ForceCurve, ForcePoint};
use super::options::{not_negative, positive};
use super::words::Words;
use super::{SpringError, helical, load};

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

/// A rising polyline from (0, 0), in metres and newtons, and how it goes on.
#[derive(Debug, Clone)]
struct Law {
    knots: Vec<(f64, f64)>,
    /// Rate after the last knot; `None`: closed.
    tail: Option<f64>,
}

/// Steps a table's interval is cut into where it meets other springs.
const FINE: usize = 64;

impl Law {
    fn end(&self) -> (f64, f64) {
        self.knots.last().copied().unwrap_or((0.0, 0.0))
    }

    /// Load at a travel; `None` past closing.
    fn load(&self, s: f64) -> Option<f64> {
        let index = self.knots.partition_point(|knot| knot.0 < s);
        match (
            index.checked_sub(1).and_then(|k| self.knots.get(k)),
            self.knots.get(index),
        ) {
            (_, Some(next)) if next.0 == s => Some(next.1),
            (Some(a), Some(b)) => Some(a.1 + (s - a.0) * (b.1 - a.1) / (b.0 - a.0)),
            (None, Some(first)) => Some(first.1),
            (Some(last), None) => self
                .tail
                .map(|rate| last.1 + rate * (s - last.0))
                .or((s <= last.0 * (1.0 + 1e-12)).then_some(last.1)),
            (None, None) => self.tail.map(|rate| rate * s),
        }
    }

    /// Travel under a load; a closed part stays where it closed.
    fn travel(&self, load: f64) -> f64 {
        let index = self.knots.partition_point(|knot| knot.1 < load);
        match (
            index.checked_sub(1).and_then(|k| self.knots.get(k)),
            self.knots.get(index),
        ) {
            (_, Some(next)) if next.1 == load => next.0,
            (Some(a), Some(b)) => a.0 + (load - a.1) * (b.0 - a.0) / (b.1 - a.1),
            (None, Some(first)) => first.0,
            (Some(last), None) => self.tail.map_or(last.0, |rate| last.0 + (load - last.1) / rate),
            (None, None) => 0.0,
        }
    }

    fn series(parts: &[Self]) -> Self {
        let mut loads: Vec<f64> = parts
            .iter()
            .flat_map(|part| part.knots.iter().map(|knot| knot.1))
            .collect();
        sort_apart(&mut loads);
        let at = |load: &f64| (parts.iter().map(|part| part.travel(*load)).sum(), *load);
        let compliance: f64 = parts.iter().filter_map(|part| part.tail).map(|rate| 1.0 / rate).sum();
        Self {
            knots: loads.iter().map(at).collect(),
            tail: (compliance > 0.0).then(|| 1.0 / compliance),
        }
    }

    fn parallel(parts: &[(Self, f64)]) -> Self {
        let closed = parts
            .iter()
            .filter(|(part, _)| part.tail.is_none())
            .map(|(part, gap)| part.end().0 + gap)
            .fold(f64::INFINITY, f64::min);
        let mut travels: Vec<f64> = parts
            .iter()
            .flat_map(|(part, gap)| part.knots.iter().map(move |knot| knot.0 + gap))
            .filter(|s| *s <= closed)
            .collect();
        sort_apart(&mut travels);
        let load = |s: f64| {
            let each = parts.iter().filter(|(_, gap)| s > *gap);
            each.filter_map(|(part, gap)| part.load(s - gap)).sum::<f64>()
        };
        let rates = parts.iter().filter_map(|(part, _)| part.tail);
        Self {
            knots: travels.iter().map(|s| (*s, load(*s))).collect(),
            tail: closed.is_infinite().then(|| rates.sum()),
        }
    }
}

/// Sorted, without neighbours that differ by rounding only.
fn sort_apart(values: &mut Vec<f64>) {
    values.sort_by(f64::total_cmp);
    values.dedup_by(|b, a| (*b - *a).abs() <= 1e-12 * b.abs());
}

/// Straight pieces as the points of a force curve.
pub(super) fn joined(knots: &[(f64, f64)]) -> Vec<ForcePoint> {
    let rate = |a: Option<&(f64, f64)>, b: Option<&(f64, f64)>| a.zip(b).map(|(a, b)| (b.1 - a.1) / (b.0 - a.0));
    let point = |(index, knot): (usize, &(f64, f64))| {
        let before = rate(index.checked_sub(1).and_then(|k| knots.get(k)), Some(knot));
        let after = rate(Some(knot), knots.get(index + 1));
        let rate = |own: Option<f64>, other: Option<f64>| SpringRate::from_si(own.or(other).unwrap_or(0.0));
        ForcePoint {
            deflection: Deflection::from_si(knot.0),
            load: Load::from_si(knot.1),
            rate_before: rate(before, after),
            rate_after: rate(after, before),
        }
    };
    knots.iter().enumerate().map(point).collect()
}

/// A straight spring up to a travel.
pub(super) fn straight_curve(rate: f64, travel: f64) -> Option<ForceCurve> {
    ForceCurve::new(joined(&[(0.0, 0.0), (travel, rate * travel)]))
}

fn law(part: &Part) -> Law {
    let straight = |k: f64, stop: Option<Length>| match stop.map(Quantity::si) {
        Some(stop) => Law {
            knots: vec![(0.0, 0.0), (stop, k * stop)],
            tail: None,
        },
        None => Law {
            knots: vec![(0.0, 0.0)],
            tail: Some(k),
        },
    };
    match &part.kind {
        PartKind::Straight { rate, stop } => straight(rate.si(), *stop),
        PartKind::Wound { stop, .. } => straight(wound_rate(&part.kind).unwrap_or(0.0), *stop),
        PartKind::Table { .. } => {
            let curve = table(&part.kind);
            let curve = curve.as_ref();
            let pairs = curve.map(ForceCurve::points).unwrap_or_default();
            let fine = pairs.iter().zip(pairs.iter().skip(1)).flat_map(|(a, b)| {
                let (a, b) = (a.deflection.si(), b.deflection.si());
                (0..FINE).map(move |k| a + (b - a) * k as f64 / FINE as f64)
            });
            let places = fine.chain(pairs.last().map(|p| p.deflection.si()));
            let knots = places.filter_map(|s| Some((s, curve?.at(Deflection::from_si(s))?.load.si())));
            Law {
                knots: knots.collect(),
                tail: None,
            }
        }
        PartKind::Series(parts) => Law::series(&parts.iter().map(law).collect::<Vec<_>>()),
        PartKind::Parallel(parts) => {
            let laws = parts.iter().map(|part| (law(part), part.gap.map_or(0.0, Quantity::si)));
            Law::parallel(&laws.collect::<Vec<_>>())
        }
    }
}

fn wound_rate(kind: &PartKind) -> Option<f64> {
    match kind {
        PartKind::Wound {
            wire_diameter,
            mean_coil_diameter,
            active_coil_count,
            shear_modulus,
            ..
        } => {
            let coil = mean_coil_diameter.si();
            Some(helical::rate(
                shear_modulus.si(),
                wire_diameter.si(),
                coil,
                coil,
                *active_coil_count,
            ))
        }
        _ => None,
    }
}

fn table(kind: &PartKind) -> Option<ForceCurve> {
    match kind {
        PartKind::Table { deflections, loads } => ForceCurve::of_table(
            &deflections
                .iter()
                .copied()
                .zip(loads.iter().copied())
                .collect::<Vec<_>>(),
        ),
        _ => None,
    }
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

fn named(part: &Part, place: &str) -> String {
    if part.label.is_empty() {
        place.to_owned()
    } else {
        part.label.clone()
    }
}

/// What every spring below a part bears at its travel, under the load through it.
fn share(part: &Part, place: &str, travel: f64, through: f64, shares: &mut Vec<Share>) {
    match &part.kind {
        PartKind::Series(parts) => {
            for (index, inner) in parts.iter().enumerate() {
                share(
                    inner,
                    &format!("{place}.{}", index + 1),
                    law(inner).travel(through),
                    through,
                    shares,
                );
            }
        }
        PartKind::Parallel(parts) => {
            for (index, inner) in parts.iter().enumerate() {
                let own = (travel - inner.gap.map_or(0.0, Quantity::si)).max(0.0);
                let load = law(inner).load(own).unwrap_or(0.0);
                share(inner, &format!("{place}.{}", index + 1), own, load, shares);
            }
        }
        kind => {
            let load = law(part).load(travel).unwrap_or(0.0);
            let wahl_stress = match kind {
                PartKind::Wound {
                    wire_diameter,
                    mean_coil_diameter,
                    ..
                } => {
                    let (d, coil) = (wire_diameter.si(), mean_coil_diameter.si());
                    Some(Stress::from_si(
                        helical::wahl(coil / d) * helical::stress(load, coil, d),
                    ))
                }
                _ => None,
            };
            shares.push(Share {
                part: named(part, place),
                deflection: Deflection::from_si(travel),
                load: Load::from_si(load),
                wahl_stress,
            });
        }
    }
}

/// A spring of an assembly and the way to it.
struct Leaf {
    name: String,
    closes: Option<f64>,
    /// The load through the assembly's top at which the spring itself closes is only known where all are in line.
    in_line: bool,
    gap: f64,
}

fn leaves(part: &Part, place: &str) -> Vec<Leaf> {
    fn walk(part: &Part, place: &str, in_line: bool, gap: f64, found: &mut Vec<Leaf>) {
        match &part.kind {
            PartKind::Series(parts) => {
                let alone = in_line && gap == 0.0;
                for (index, inner) in parts.iter().enumerate() {
                    walk(inner, &format!("{place}.{}", index + 1), alone, 0.0, found);
                }
            }
            PartKind::Parallel(parts) => {
                for (index, inner) in parts.iter().enumerate() {
                    let own = inner.gap.map_or(0.0, Quantity::si);
                    walk(inner, &format!("{place}.{}", index + 1), false, own, found);
                }
            }
            _ => {
                let law = law(part);
                found.push(Leaf {
                    name: named(part, place),
                    closes: law.tail.is_none().then(|| law.end().1),
                    in_line,
                    gap,
                });
            }
        }
    }
    let mut found = Vec::new();
    walk(part, place, true, 0.0, &mut found);
    found
}

fn stop_of(leaf: &Leaf, law: &Law, preload: f64) -> Option<StopEvent> {
    let load = leaf.closes.filter(|_| leaf.in_line && leaf.gap == 0.0)?;
    let deflection = law.travel(load) - preload;
    (deflection >= 0.0).then(|| StopEvent {
        part: leaf.name.clone(),
        load: Load::from_si(load),
        deflection: Deflection::from_si(deflection),
    })
}

fn say(assembly: &Assembly, found: &mut AssemblyFound) {
    let words = Words::new(assembly.units);
    for point in &found.points {
        let closed = found
            .travel_to_solid
            .is_some_and(|solid| point.deflection.si() >= solid.si() * (1.0 - 1e-9));
        if closed {
            let text = format!("at {} everything is closed", words.length(point.deflection.si()));
            found
                .findings
                .push(Finding::about(Code::AllClosed, "deflections", text));
        }
        if point.energy.si() > load::HURTS {
            let text = format!(
                "at {} the springs store {:.0} J",
                words.length(point.deflection.si()),
                point.energy.si()
            );
            found
                .findings
                .push(Finding::about(Code::StoredEnergy, "deflections", text));
        }
    }
}

fn out_of_range<T>(
    field: &'static str,
    value: f64,
    unit: &'static str,
    allowed: &'static str,
) -> Result<T, SpringError> {
    Err(SpringError::OutOfRange {
        field,
        value,
        unit,
        allowed,
    })
}

fn check(assembly: &Assembly) -> Result<(), SpringError> {
    let mm = LengthUnit::Millimeter;
    let mut count = 0;
    check_part(&assembly.part, 1, &mut count)?;
    assembly.preload.map_or(Ok(()), |p| not_negative("preload", p, mm))?;
    for s in assembly.deflections.iter().chain(&assembly.maximum_deflection) {
        not_negative("deflections", *s, mm)?;
    }
    for load in &assembly.loads {
        not_negative("loads", *load, ForceUnit::Newton)?;
    }
    Ok(())
}

fn check_part(part: &Part, depth: usize, count: &mut usize) -> Result<(), SpringError> {
    let mm = LengthUnit::Millimeter;
    *count += 1;
    if depth > DEEPEST || *count > MOST_PARTS {
        return out_of_range("part", *count as f64, "parts", "at most 64 parts, nested 6 deep");
    }
    part.gap.map_or(Ok(()), |gap| not_negative("part.gap", gap, mm))?;
    match &part.kind {
        PartKind::Straight { rate, stop } => {
            positive("part.straight.rate", *rate, StiffnessUnit::NewtonPerMillimeter)?;
            stop.map_or(Ok(()), |stop| positive("part.straight.stop_travel", stop, mm))
        }
        PartKind::Wound {
            wire_diameter,
            mean_coil_diameter,
            active_coil_count,
            shear_modulus,
            stop,
        } => {
            positive("part.wound.wire_diameter", *wire_diameter, mm)?;
            positive("part.wound.mean_coil_diameter", *mean_coil_diameter, mm)?;
            positive("part.wound.shear_modulus", *shear_modulus, PressureUnit::Megapascal)?;
            if !(*active_coil_count > 0.0 && active_coil_count.is_finite()) {
                return out_of_range("part.wound.active_coil_count", *active_coil_count, "coils", "above 0");
            }
            stop.map_or(Ok(()), |stop| positive("part.wound.stop_travel", stop, mm))
        }
        PartKind::Table { deflections, loads } => check_table(deflections, loads),
        PartKind::Series(parts) | PartKind::Parallel(parts) => {
            if parts.is_empty() {
                return out_of_range("part", 0.0, "parts", "1 or more");
            }
            let beside = matches!(part.kind, PartKind::Parallel(_));
            if beside && parts.iter().all(|part| part.gap.is_some_and(|gap| gap.si() > 0.0)) {
                return out_of_range("part.gap", 1.0, "", "one part beside others without a gap");
            }
            parts.iter().try_for_each(|inner| check_part(inner, depth + 1, count))
        }
    }
}

fn check_table(deflections: &[Deflection], loads: &[Load]) -> Result<(), SpringError> {
    if deflections.len() != loads.len() {
        return Err(SpringError::Mismatched {
            what: "part.table.loads",
            count: loads.len(),
            expected: deflections.len(),
        });
    }
    if !(2..=MOST_TABLE).contains(&loads.len()) {
        return out_of_range("part.table.loads", loads.len() as f64, "points", "2 to 512");
    }
    let rising = |values: &[f64]| values.windows(2).all(|pair| pair.first() < pair.last());
    let s: Vec<f64> = deflections.iter().map(|s| s.si()).collect();
    let f: Vec<f64> = loads.iter().map(|f| f.si()).collect();
    if !s.iter().chain(&f).all(|value| value.is_finite()) {
        return Err(SpringError::NotFinite {
            what: "part.table",
            index: None,
        });
    }
    if !rising(&s) {
        return out_of_range(
            "part.table.deflections",
            s.first().map_or(0.0, |s| s * 1e3),
            "mm",
            "strictly rising",
        );
    }
    if !rising(&f) || f.first().is_some_and(|first| *first < 0.0) {
        return out_of_range(
            "part.table.loads",
            f.first().copied().unwrap_or(0.0),
            "N",
            "strictly rising from 0 or more",
        );
    }
    Ok(())
}
