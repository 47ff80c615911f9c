//! What a forecast says.

use super::band::{self, Found};
use super::cost;
use super::machine::{Bench, CircuitAt, EndAt, REACH, VELOCITY, World};
use super::request::{Damping, ForecastCircuit, ForecastRequest, Money};
use super::scaling;
use super::search::Watched;
use crate::chassis::{End, assumed_rates, cornering_factor};
use crate::estimate::Assumption;
use crate::finding::{Code, Finding};
use crate::judgement::{Action, Circuit};
use crate::quantity::{Force, Quantity, STANDARD_GRAVITY, Travel};
use crate::spring::words::Words;

/// Which kind of limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// All the travel is used.
    TravelUsed,
    /// The spring binds before the stop.
    Bind,
    /// A quarter of an adjuster's range is left.
    QuarterLeft,
    /// Nothing of it is left.
    RangeGone,
    /// The ports rule, not the stack.
    PortLimited,
    /// The rear reaches full extension under braking.
    TopOut,
}

/// A limit and the pace at which it is met.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    /// Which.
    pub kind: Kind,
    /// Where.
    pub end: End,
    /// Of which circuit.
    pub circuit: Option<Circuit>,
    /// The pace; below 1 it is met already. `None`: beyond the highest pace.
    pub pace: Option<f64>,
    /// Lower end of the 95 % band; `None`: beyond the highest pace.
    pub low: Option<f64>,
    /// Upper end; `None`: beyond the highest pace.
    pub high: Option<f64>,
    /// What removes it.
    pub remedy: Action,
    /// Why.
    pub why: String,
}

/// A step of cost against pace.
#[derive(Debug, Clone, PartialEq)]
pub struct CostStep {
    /// Index of the limit that asks for it.
    pub limit: usize,
    /// From this pace on.
    pub pace: f64,
    /// Band of the limit.
    pub low: Option<f64>,
    /// Band of the limit.
    pub high: Option<f64>,
    /// What is done.
    pub remedy: Action,
    /// Where.
    pub end: End,
    /// The price list's words.
    pub label: Option<String>,
    /// Its price; `None`: not on the list.
    pub price: Option<Money>,
    /// All of it so far, without what has no price.
    pub total: Money,
}

/// Paces from which on something no longer grows; `None`: not up to the highest pace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plateaus {
    /// Braking meets grip.
    pub braking_grip: Option<f64>,
    /// Braking lifts the rear.
    pub rear_lift: Option<f64>,
    /// Cornering meets grip.
    pub cornering_grip: Option<f64>,
}

/// The machine at a pace.
#[derive(Debug, Clone, PartialEq)]
pub struct PacePoint {
    /// The pace.
    pub pace: f64,
    /// Of rms suspension velocity and travel on a random road.
    pub road_factor: f64,
    /// Of a bump's velocity at the tyre: the upper bound for the shaft.
    pub bump_bound: f64,
    /// Deceleration, m/s2.
    pub deceleration: f64,
    /// Deceleration at which the rear lifts, m/s2.
    pub rear_lift: f64,
    /// Lateral acceleration, m/s2.
    pub lateral: f64,
    /// What the springs carry in the corner over what they carry upright.
    pub load_factor: f64,
    /// Ends.
    pub ends: Vec<EndPoint>,
}

/// An end at a pace.
#[derive(Debug, Clone, PartialEq)]
pub struct EndPoint {
    /// Which.
    pub end: End,
    /// Load its spring carries in the hardest steady case, at the wheel.
    pub load: Force,
    /// Where it stands in it.
    pub steady: Travel,
    /// Travel used, up to the travel.
    pub used: Option<Travel>,
    /// The same over the travel.
    pub used_ratio: Option<f64>,
    /// Rate wanted over the rate fitted.
    pub rate_factor: f64,
    /// Its circuits.
    pub circuits: Vec<CircuitPoint>,
}

/// A circuit at a pace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CircuitPoint {
    /// Which.
    pub circuit: Circuit,
    /// Of the shaft's velocity.
    pub velocity_factor: f64,
    /// Of the damping wanted.
    pub damping_factor: f64,
    /// Share of the range left; below 0 it cannot be had.
    pub share_left: f64,
}

/// Which limit comes first.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// Limits in the order of the pace.
    pub limits: Vec<Limit>,
    /// Cost against pace.
    pub steps: Vec<CostStep>,
    /// Where growth ends.
    pub plateaus: Plateaus,
    /// At the paces asked for.
    pub points: Vec<PacePoint>,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

pub(super) fn answer(request: &ForecastRequest, bench: &Bench<'_>, found: Vec<Found>) -> Forecast {
    let world = band::best(request, bench);
    let mut limits: Vec<Limit> = found.iter().filter_map(|found| limit(bench, &world, found)).collect();
    let key = |limit: &Limit| (limit.pace.unwrap_or(f64::INFINITY), limit.low.unwrap_or(f64::INFINITY));
    limits.sort_by(|a, b| {
        let ((a, a_low), (b, b_low)) = (key(a), key(b));
        a.total_cmp(&b).then(a_low.total_cmp(&b_low))
    });
    Forecast {
        steps: cost::staircase(&limits, &request.prices),
        plateaus: plateaus(request, bench, &world),
        points: request.paces.iter().map(|pace| point(bench, &world, *pace)).collect(),
        findings: findings(request, bench, &world),
        assumptions: assumptions(request, bench),
        limits,
    }
}

fn limit(bench: &Bench<'_>, world: &World, found: &Found) -> Option<Limit> {
    let (kind, end, circuit) = match found.watched {
        Watched::Travel(end) => (Kind::TravelUsed, end, None),
        Watched::Bind(end) => (Kind::Bind, end, None),
        Watched::Quarter(end, circuit) => (Kind::QuarterLeft, end, Some(circuit)),
        Watched::Gone(end, circuit) => (Kind::RangeGone, end, Some(circuit)),
        Watched::Ports(end, circuit) => (Kind::PortLimited, end, Some(circuit)),
        Watched::TopOut(end) => (Kind::TopOut, end, None),
    };
    let at = found.pace.unwrap_or(bench.request.highest_pace);
    let (index, circuit_index) = (end, circuit);
    let bench_end = bench.ends.get(end)?;
    let circuit = circuit
        .and_then(|circuit| bench_end.given.circuits.get(circuit))
        .map(|given| given.circuit);
    let state = bench.end_at(world, index, at)?;
    let damping = circuit_index.and_then(|circuit| bench.circuit_at(world, (index, circuit), at));
    Some(Limit {
        kind,
        end: bench_end.end,
        circuit,
        pace: found.pace,
        low: found.low,
        high: found.high,
        remedy: kind.remedy(bench_end.given.can_be_revalved),
        why: why(bench, kind, at, &state, damping.as_ref()),
    })
}

fn why(bench: &Bench<'_>, kind: Kind, pace: f64, end: &EndAt, circuit: Option<&CircuitAt>) -> String {
    let words = Words::new(bench.request.units);
    let at = format!("at pace {pace:.2}");
    let damping = circuit.map(|circuit| {
        format!(
            "{at} the shaft moves {:.2} times as fast and the damping wanted is {:.2} times the present one: {:.0} % of \
             the range is left",
            circuit.velocity_ratio,
            circuit.damping_factor,
            // Just past its end is none, never less than none.
            100.0 * circuit.share.max(0.0)
        )
    });
    match kind {
        Kind::TravelUsed | Kind::Bind => format!(
            "{at} the hardest steady load is {} at the wheel, the end stands at {} and moves to {}",
            words.force(end.load),
            words.length(end.steady),
            words.length(end.used.unwrap_or(end.steady))
        ),
        Kind::QuarterLeft | Kind::RangeGone => damping.unwrap_or(at),
        Kind::PortLimited => {
            let ratio = circuit.map_or(1.0, |circuit| circuit.velocity_ratio);
            format!("{at} the shaft moves {ratio:.2} times as fast, where the ports rule and no stack changes much")
        }
        Kind::TopOut => format!("{at} braking unloads the rear so far that it reaches full extension"),
    }
}

fn plateaus(request: &ForecastRequest, bench: &Bench<'_>, world: &World) -> Plateaus {
    let grip = world.grip * STANDARD_GRAVITY;
    let lift = bench.rear_lift(world, STANDARD_GRAVITY);
    let within = |limit: f64, now: f64| {
        let pace = (limit / now).sqrt();
        (pace <= request.highest_pace).then_some(pace)
    };
    let [of_grip, of_lift] = [grip, lift].map(|limit| within(limit, world.deceleration));
    Plateaus {
        braking_grip: of_grip.filter(|_| grip <= lift),
        rear_lift: of_lift.filter(|_| lift < grip),
        cornering_grip: within(grip, world.lateral),
    }
}

fn point(bench: &Bench<'_>, world: &World, pace: f64) -> PacePoint {
    let lateral = scaling::lateral_at(pace, world.lateral, world.grip);
    let ends = bench.ends.iter().enumerate();
    let ends = ends.filter_map(|(index, end)| {
        let at = bench.end_at(world, index, pace)?;
        let circuits = end.given.circuits.iter().enumerate();
        let used = at.used.map(|used| used.min(end.travel));
        Some(EndPoint {
            end: end.end,
            load: Force::from_si(at.load),
            steady: Travel::from_si(at.steady),
            used: used.map(Travel::from_si),
            used_ratio: used.map(|used| used / end.travel),
            rate_factor: at.rate,
            circuits: circuits
                .filter_map(|(circuit, given)| {
                    let at = bench.circuit_at(world, (index, circuit), pace)?;
                    Some(CircuitPoint {
                        circuit: given.circuit,
                        velocity_factor: at.velocity_ratio,
                        damping_factor: at.damping_factor,
                        share_left: at.share,
                    })
                })
                .collect(),
        })
    });
    PacePoint {
        pace,
        road_factor: scaling::road_factor(pace, world.waviness),
        bump_bound: pace,
        deceleration: bench.deceleration(world, pace),
        rear_lift: bench.rear_lift(world, STANDARD_GRAVITY),
        lateral,
        load_factor: cornering_factor(lateral),
        ends: ends.collect(),
    }
}

fn findings(request: &ForecastRequest, bench: &Bench<'_>, world: &World) -> Vec<Finding> {
    let mut findings = Vec::new();
    let words = Words::new(request.units);
    let (grip, lift) = (world.grip * STANDARD_GRAVITY, bench.rear_lift(world, STANDARD_GRAVITY));
    if world.deceleration > lift {
        let text = format!(
            "the rear wheel lifts at {:.2} g: the {:.2} g entered for now is more than that",
            lift / STANDARD_GRAVITY,
            world.deceleration / STANDARD_GRAVITY
        );
        findings.push(Finding::about(Code::RearLifts, "riding.deceleration_ratio", text));
    }
    if world.deceleration.max(world.lateral) > grip {
        let text = "what is entered for now is more than the grip entered".to_owned();
        findings.push(Finding::about(Code::BeyondGrip, "riding.grip_factor", text));
    }
    for (index, end) in bench.ends.iter().enumerate() {
        let Some(at) = bench.end_at(world, index, 1.0) else {
            continue;
        };
        let measured = end.given.travel_used.map(Quantity::si);
        if let Some(measured) = measured.filter(|measured| *measured < at.steady) {
            let text = format!(
                "{}: the steady loads alone press it to {}, and {} were measured: its spring carries more, or it is not \
                 ridden as hard as entered",
                end.end.word(),
                words.length(at.steady),
                words.length(measured)
            );
            findings.push(Finding::about(Code::SteadyBeyondMeasured, end.end.word(), text));
        }
        findings.extend(opening(bench, world, index));
    }
    findings
}

/// A damper that grows faster than the pace asks for runs out of range towards open, not towards closed.
fn opening(bench: &Bench<'_>, world: &World, index: usize) -> Vec<Finding> {
    let Some(end) = bench.ends.get(index) else {
        return Vec::new();
    };
    let highest = bench.request.highest_pace;
    let circuits = end.given.circuits.iter().enumerate();
    let opens = circuits.filter_map(|(circuit, given)| {
        let at = bench.circuit_at(world, (index, circuit), highest)?;
        let text = format!(
            "{} {}: at pace {highest:.2} its force has grown more than the damping wanted; it is opened as the pace rises",
            end.end.word(),
            given.circuit.word()
        );
        (at.damping_factor < 1.0).then(|| Finding::about(Code::DampingGrowsFaster, end.end.word(), text))
    });
    opens.collect()
}

fn assumptions(request: &ForecastRequest, bench: &Bench<'_>) -> Vec<Assumption> {
    let derived = |subject, text: String| Assumption {
        subject,
        text,
        source: "derived",
    };
    let mut assumptions = vec![
        derived(
            "road",
            format!(
                "rms suspension velocity and travel grow with p^{:.3} (waviness {}), linear suspension, equivalent damping \
                 kept up",
                (request.road.waviness - 1.0) / 2.0,
                request.road.waviness
            ),
        ),
        derived(
            "riding",
            "the same braking distances and the same lines: accelerations grow with p^2 up to grip and to the lift of the \
             rear wheel; no anti-lift of the rear brake, no chain pull"
                .to_owned(),
        ),
    ];
    if request.riding.front_share >= 1.0 {
        let text = "the front wheel does all the braking, as it does at the limit".to_owned();
        assumptions.push(derived("riding.front_braking_ratio", text));
    }
    for end in &bench.ends {
        for given in &end.given.circuits {
            assumptions.extend(of_circuit(end.end, end.bump.is_some(), given));
        }
    }
    let tyres: Vec<_> = bench.ends.iter().filter(|end| end.bump.is_some()).collect();
    if let Some(first) = tyres.first() {
        // One that is not known is enough to say what was taken.
        let unknown = tyres.iter().any(|end| end.given.tyre_rate.is_none());
        let known = first.given.tyre_rate.filter(|_| !unknown);
        assumptions.extend(assumed_rates(known, request.units));
    }
    assumptions
}

fn of_circuit(end: End, bump: bool, given: &ForecastCircuit) -> Vec<Assumption> {
    let name = format!("{} {}", end.word(), given.circuit.word());
    let practice = |subject, text| Assumption {
        subject,
        text,
        source: "common practice, no source",
    };
    let mut assumptions = Vec::new();
    if given.reach.is_empty() {
        let (best, low, high) = REACH;
        let text = format!("{name}: closed, the force is {best} times that fully open ({low} to {high})");
        assumptions.push(practice("circuits.closed_to_open_force_ratio", text));
    }
    if given.velocity.is_none() && (matches!(given.damping, Damping::Curve(_)) || given.port_limited_from.is_some()) {
        let text = format!("{name}: the shaft moves at {VELOCITY} m/s in hard riding");
        assumptions.push(practice("circuits.shaft_velocity", text));
    }
    if given.bump_rules && !bump {
        let text =
            format!("{name}: the shaft's velocity grows with the pace, an upper bound without a model of the bump");
        assumptions.push(practice("circuits.bump_rules", text));
    }
    assumptions
}
