//! ChooseSpring: request in, reply out.

use mechanics::chassis::{
    Braking, Candidate, CandidateSpring, Choice, ChosenSpring, End, MOST_CANDIDATES, Path, Present, Ranked, Rejection,
    RuledBy, SagTargets, SpringSource, TravelCase,
};
use mechanics::estimate::Assumption;
use mechanics::finding::Finding;
use mechanics::quantity::{
    Deflection, Force, Length, LengthUnit, Mass, MassUnit, Quantity, SpringRate, StiffnessUnit, Travel, UnitSystem,
    WheelRate,
};
use mechanics::spring::{ForceCurve, PartKind};

use super::unit::{EndModel, MARK};
use super::{length, mass, riders};
use crate::names::Collection;
use crate::quantity::{Range, computed, number, optional, required, unit_system};
use crate::records::{SHORT_TEXT, text};
use crate::springs::estimates::{assumptions, findings};
use crate::springs::{assembly, length_range, rate_range};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// Source of what the trade knows.
const PRACTICE: &str = "common practice, no source";

/// Everything that is asked beside machine and candidates.
#[derive(Debug, Clone, Copy)]
pub struct Options {
    /// Which end.
    pub end: Option<End>,
    /// Mass on the ground alone.
    pub mass_alone: Option<Mass>,
    /// With the rider.
    pub mass_with_rider: Option<Mass>,
    /// Rider with gear.
    pub rider: Option<Mass>,
    total: Option<Length>,
    total_tolerance: Option<Length>,
    stat: Option<Length>,
    static_tolerance: Option<Length>,
    /// Total sag now, as read.
    pub present: Option<Length>,
    /// Whether neighbours are tried mixed.
    pub mixed: bool,
    /// The load case.
    pub case: Option<Case>,
    case_share: f64,
    /// Units of computed values.
    pub units: UnitSystem,
}

/// A load case as asked.
#[derive(Debug, Clone, Copy)]
pub enum Case {
    /// Braking: deceleration over gravity, front share, grip.
    Braking(f64, f64, Option<f64>),
    /// Load over that at rest with the rider.
    Load(f64),
}

/// Reads everything but machine and candidates.
pub fn options(message: &v1::ChooseSpringRequest, violations: &mut Violations) -> Options {
    let ground = Range::between(1.0, 1_000.0, MassUnit::Kilogram);
    let sag = Range::above_zero(500.0, LengthUnit::Millimeter);
    let tolerance = Range::above_zero(100.0, LengthUnit::Millimeter);
    let from_zero = super::sag::sags();
    let end = super::end(message.end, violations.at("end"));
    let read = Options {
        end,
        mass_alone: optional(message.mass_alone.as_ref(), ground, violations.at("mass_alone")),
        mass_with_rider: optional(
            message.mass_with_rider.as_ref(),
            ground,
            violations.at("mass_with_rider"),
        ),
        rider: optional(
            message.rider_mass_with_gear.as_ref(),
            riders(),
            violations.at("rider_mass_with_gear"),
        ),
        total: optional(
            message.target_total_sag.as_ref(),
            sag,
            violations.at("target_total_sag"),
        ),
        total_tolerance: optional(
            message.total_sag_tolerance.as_ref(),
            tolerance,
            violations.at("total_sag_tolerance"),
        ),
        stat: optional(
            message.target_static_sag.as_ref(),
            from_zero,
            violations.at("target_static_sag"),
        ),
        static_tolerance: optional(
            message.static_sag_tolerance.as_ref(),
            tolerance,
            violations.at("static_sag_tolerance"),
        ),
        present: optional(
            message.present_total_sag.as_ref(),
            from_zero,
            violations.at("present_total_sag"),
        ),
        mixed: message.mixed_legs,
        case: case(message, end, violations),
        case_share: number(message.travel_case_ratio, 0.1, 1.0, violations.at("travel_case_ratio")).unwrap_or(0.9),
        units: unit_system(message.reply_units, violations.at("reply_units")),
    };
    if message.mass_with_rider.is_none() && message.rider_mass_with_gear.is_none() {
        let text = "the mass with the rider on this wheel, or the rider's own, is required";
        violations.push("mass_with_rider", Reason::ValueMissing, text);
    }
    if let Some((alone, aboard)) = read.mass_alone.zip(read.mass_with_rider)
        && aboard.si() <= alone.si()
    {
        let text = format_args!(
            "with the rider it is {} kg; allowed above {} kg, alone",
            aboard.si(),
            alone.si()
        );
        violations.push("mass_with_rider", Reason::Conflict, text);
    }
    read
}

fn case(message: &v1::ChooseSpringRequest, end: Option<End>, violations: &mut Violations) -> Option<Case> {
    use v1::choose_spring_request::TravelCase as Sent;
    match message.travel_case.as_ref()? {
        Sent::LoadFactor(factor) => number(Some(*factor), 1.0, 5.0, violations.at("load_factor")).map(Case::Load),
        Sent::Braking(given) => {
            let mut at = violations.at("braking");
            if end == Some(End::Rear) {
                at.push(Reason::Conflict, "braking presses the fork; allowed with the front end");
            }
            if given.deceleration_ratio.is_none() {
                at.at("deceleration_ratio")
                    .push(Reason::ValueMissing, "a deceleration is required; allowed 0 to 3");
            }
            let deceleration = number(given.deceleration_ratio, 0.0, 3.0, at.at("deceleration_ratio"));
            let share = number(given.front_braking_ratio, 0.0, 1.0, at.at("front_braking_ratio"));
            let grip = number(given.grip_factor, 0.05, 3.0, at.at("grip_factor"));
            Some(Case::Braking(deceleration?, share.unwrap_or(1.0), grip))
        }
    }
}

/// Checks the candidates, at least so many, and reads those given as values; springs by name are left open.
pub fn candidates(sent: &[v1::SpringCandidate], least: usize, mut at: Scope<'_>) -> Vec<Vec<Option<CandidateSpring>>> {
    use v1::candidate_spring::Source;
    let count = sent.len();
    if !(least..=MOST_CANDIDATES).contains(&count) {
        at.push(
            Reason::WrongLength,
            format_args!("{count} candidates; allowed {least} to {MOST_CANDIDATES}"),
        );
    }
    let mut read = Vec::new();
    for (index, candidate) in sent.iter().take(MOST_CANDIDATES).enumerate() {
        let mut at = at.index(index);
        let mut at = at.at("springs");
        if !(1..=2).contains(&candidate.springs.len()) {
            at.push(
                Reason::WrongLength,
                format_args!("{} springs; allowed 1 or 2", candidate.springs.len()),
            );
        }
        let mut springs = Vec::new();
        for (index, spring) in candidate.springs.iter().take(2).enumerate() {
            let mut at = at.index(index);
            springs.push(match &spring.source {
                None => {
                    at.push(Reason::ValueMissing, "one of spring, values is required");
                    None
                }
                Some(Source::Spring(name)) => {
                    Collection::Springs.revisable(name, at.at("spring"));
                    None
                }
                Some(Source::Values(values)) => spring_values(values, at.at("values")),
            });
        }
        read.push(springs);
    }
    read
}

fn spring_values(values: &v1::CandidateSpringValues, mut at: Scope<'_>) -> Option<CandidateSpring> {
    text(&values.label, SHORT_TEXT, at.at("label"));
    let rate: Option<SpringRate> = required(values.rate.as_ref(), rate_range(), at.at("rate"));
    let uncertainties = Range::from_zero(10_000.0, StiffnessUnit::NewtonPerMillimeter);
    let u: Option<SpringRate> = optional(
        values.rate_standard_uncertainty.as_ref(),
        uncertainties,
        at.at("rate_standard_uncertainty"),
    );
    let mut tolerance = number(values.mark_tolerance_ratio, 0.0, 1.0, at.at("mark_tolerance_ratio"));
    if values.mark_tolerance_ratio.is_some() && values.rate_standard_uncertainty.is_some() {
        let text = "a measured rate has its uncertainty, a marked one its tolerance; allowed one of them";
        at.at("mark_tolerance_ratio").push(Reason::Conflict, text);
        tolerance = None;
    }
    let free: Option<Length> = optional(values.free_length.as_ref(), length_range(), at.at("free_length"));
    let solid: Option<Length> = optional(values.solid_length.as_ref(), length_range(), at.at("solid_length"));
    if let Some((free, solid)) = free.zip(solid)
        && solid.si() >= free.si()
    {
        let text = format_args!(
            "solid length is {} mm; allowed below the free length, {} mm",
            solid.get(LengthUnit::Millimeter),
            free.get(LengthUnit::Millimeter)
        );
        at.at("solid_length").push(Reason::OutOfRange, text);
    }
    let curve = values.curve.as_ref().and_then(|table| curve(table, at.at("curve")));
    let rate = rate?;
    Some(CandidateSpring {
        label: values.label.clone(),
        rate,
        standard_uncertainty: u
            .unwrap_or_else(|| SpringRate::from_si(rate.si() * tolerance.unwrap_or(MARK) / 3.0_f64.sqrt())),
        source: if u.is_some() {
            SpringSource::Measured
        } else {
            SpringSource::Marked
        },
        curve,
        deflection_to_solid: free
            .zip(solid)
            .map(|(free, solid)| Deflection::from_si(free.si() - solid.si())),
    })
}

fn curve(table: &v1::TablePart, mut at: Scope<'_>) -> Option<ForceCurve> {
    let PartKind::Table { deflections, loads } = assembly::table(table, at.here())? else {
        return None;
    };
    let rising = |values: &[f64]| values.windows(2).all(|pair| pair.first() < pair.last());
    let s: Vec<f64> = deflections.iter().map(|s| s.si()).collect();
    let f: Vec<f64> = loads.iter().map(|f| f.si()).collect();
    for (name, values, fine) in [
        ("deflections", &s, s.first().is_some_and(|first| *first == 0.0)),
        ("loads", &f, f.first().is_some_and(|first| *first >= 0.0)),
    ] {
        if !(rising(values) && fine) {
            let text = format_args!("{name} must rise strictly, the deflections from 0, the loads from 0 or more");
            at.at(name).push(Reason::OutOfRange, text);
            return None;
        }
    }
    ForceCurve::of_table(&deflections.into_iter().zip(loads).collect::<Vec<_>>())
}

/// Usual total sag: 35 mm of 110 to 140 mm travel, else a share of it, with a tolerance; m (common practice, no source).
fn usual_total(travel: f64) -> (f64, f64) {
    if (0.110..=0.140).contains(&travel) {
        (35e-3, 5e-3)
    } else {
        (0.29 * travel, 0.04 * travel)
    }
}

/// What is asked of the candidates, in the physics' frame.
pub struct Asked {
    /// Frame of reading: read times this is vertical at the wheel.
    pub factor: f64,
    /// The targets.
    pub targets: SagTargets,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// The targets at the wheel.
pub fn targets(options: &Options, end: End, path: &Path) -> Asked {
    let factor = path.rake().map_or(1.0, |rake| rake.si().cos());
    let read_travel = path.travel().si() / factor;
    let (usual, usual_tolerance) = usual_total(read_travel);
    let total = options.total.map_or(usual, Quantity::si);
    let tolerance = options.total_tolerance.map_or(usual_tolerance, Quantity::si);
    let mut assumptions = Vec::new();
    if options.total.is_none() {
        assumptions.push(Assumption {
            subject: "target_total_sag",
            text: format!("total sag of {:.1} mm at the {} end, as read", total * 1e3, end.word()),
            source: PRACTICE,
        });
    }
    let static_tolerance = options.static_tolerance.map_or(3e-3, Quantity::si);
    let static_sag = options.stat.map(|stat| {
        (
            Travel::from_si(stat.si() * factor),
            Length::from_si(static_tolerance * factor),
        )
    });
    Asked {
        factor,
        targets: SagTargets {
            total: Travel::from_si(total * factor),
            total_tolerance: Length::from_si(tolerance * factor),
            static_sag,
        },
        assumptions,
    }
}

/// The share of travel a load case may use.
pub fn travel_case(options: &Options, load: Force) -> TravelCase {
    TravelCase {
        load,
        share: options.case_share,
    }
}

/// The candidates with both legs filled, then neighbours mixed; and the places each stands for.
pub fn filled(candidates: Vec<Vec<CandidateSpring>>, springs: u32, mixed: bool) -> (Vec<Candidate>, Vec<Vec<i32>>) {
    let count = usize::try_from(springs).unwrap_or(1);
    let place = |index: usize| i32::try_from(index).unwrap_or(i32::MAX);
    let mut filled = Vec::new();
    let mut places = Vec::new();
    for (index, springs) in candidates.iter().enumerate() {
        let both = match springs.as_slice() {
            [only] => vec![only.clone(); count],
            all => all.to_vec(),
        };
        filled.push(Candidate { springs: both });
        places.push(vec![place(index)]);
    }
    if mixed && count == 2 {
        let mut singles: Vec<(usize, &CandidateSpring)> = Vec::new();
        for (index, springs) in candidates.iter().enumerate() {
            if let [only] = springs.as_slice() {
                singles.push((index, only));
            }
        }
        singles.sort_by(|a, b| a.1.rate.si().total_cmp(&b.1.rate.si()));
        for pair in singles.windows(2) {
            let [(a, soft), (b, stiff)] = pair else { continue };
            if filled.len() < MOST_CANDIDATES && soft.rate.si() < stiff.rate.si() {
                filled.push(Candidate {
                    springs: vec![(*soft).clone(), (*stiff).clone()],
                });
                places.push(vec![place(*a), place(*b)]);
            }
        }
    }
    (filled, places)
}

/// How the machine stands now.
pub fn present(
    options: &Options,
    machine: &v1::MachineValues,
    factor: f64,
    wheel_rate: Option<WheelRate>,
) -> Option<Present> {
    let total = options.present?;
    Some(Present {
        total: Travel::from_si(total.si() * factor),
        wheelbase: length(machine.wheelbase.as_ref()),
        wheel_rate,
    })
}

/// Checks that a machine says what a braking case needs.
pub fn needs_balance(machine: &v1::MachineValues, rider: Option<Mass>, violations: &mut Violations, place: &str) {
    let mut at = violations.at(place);
    let needs = [
        ("mass", mass(machine.mass.as_ref()).is_some()),
        ("gravity_height", machine.gravity_height.is_some()),
        ("wheelbase", machine.wheelbase.is_some()),
    ];
    for (name, _) in needs.into_iter().filter(|(_, known)| !known) {
        at.at(name).push(Reason::ValueMissing, "braking needs it");
    }
    if rider.is_none() {
        let text = "braking needs the rider's own mass beside the scale's";
        violations.push("rider_mass_with_gear", Reason::ValueMissing, text);
    }
}

/// What was found beside the ranking.
pub struct Beside<'a> {
    /// The choice as computed.
    pub choice: &'a Choice,
    /// Places of each candidate in the request.
    pub places: &'a [Vec<i32>],
    /// Frame of reading.
    pub factor: f64,
    /// The braking that was computed.
    pub braking: Option<&'a Braking>,
    /// The end.
    pub model: &'a EndModel,
    /// What was assumed on the way.
    pub assumptions: Vec<Assumption>,
}

/// The reply.
pub fn response(chosen: &ChosenSpring, beside: &Beside<'_>, units: UnitSystem) -> v1::ChooseSpringResponse {
    let read = |wheel: f64| Some(computed(Length::from_si(wheel / beside.factor), units));
    let mut assumed = beside.assumptions.clone();
    assumed.extend(beside.model.assumptions.iter().cloned());
    assumed.extend(chosen.assumptions.iter().cloned());
    let mut all: Vec<Finding> = chosen.findings.clone();
    all.extend(beside.choice.path.findings().iter().cloned());
    all.extend(beside.braking.iter().flat_map(|braking| braking.findings.clone()));
    v1::ChooseSpringResponse {
        ranked: chosen.ranked.iter().map(|one| ranked(one, beside, units)).collect(),
        rate_by_sag: chosen.rate_by_sag.map(|rate| computed(rate, units)),
        rate_by_travel_case: chosen.rate_by_case.map(|rate| computed(rate, units)),
        rate_rule: match chosen.ruled_by {
            None => v1::RateRule::Unspecified,
            Some(RuledBy::Sag) => v1::RateRule::Sag,
            Some(RuledBy::Case) => v1::RateRule::TravelCase,
        } as i32,
        target_total_sag: read(beside.choice.targets.total.si()),
        target_static_sag: read(chosen.static_target.0.si()),
        wheel_load_alone: Some(computed(beside.choice.load_alone, units)),
        wheel_load_with_rider: Some(computed(beside.choice.load_with_rider, units)),
        wheel_load_in_case: beside.choice.travel_case.map(|case| computed(case.load, units)),
        findings: findings(&all),
        assumptions: assumptions(&assumed),
        used: Vec::new(),
    }
}

fn ranked(one: &Ranked, beside: &Beside<'_>, units: UnitSystem) -> v1::RankedSpring {
    let springs = beside
        .choice
        .candidates
        .get(one.index)
        .map(|candidate| candidate.springs.as_slice());
    ranked_spring(
        one,
        springs.unwrap_or_default(),
        beside.places.get(one.index).cloned().unwrap_or_default(),
        (beside.factor, beside.choice.present.map(|present| present.total)),
        units,
    )
}

/// A candidate with what it would do. `places` are those in the request, `factor` that from read lengths to the wheel.
pub(super) fn ranked_spring(
    one: &Ranked,
    springs: &[CandidateSpring],
    places: Vec<i32>,
    (factor, present_total): (f64, Option<Travel>),
    units: UnitSystem,
) -> v1::RankedSpring {
    let read = |wheel: f64| Some(computed(Length::from_si(wheel / factor), units));
    let mut labels: Vec<String> = springs.iter().map(|spring| spring.label.clone()).collect();
    labels.dedup();
    let change = present_total.map(|total| one.total_sag.si() - total.si());
    v1::RankedSpring {
        labels,
        candidate_indexes: places,
        rate: Some(computed(one.rate, units)),
        rate_standard_uncertainty: Some(computed(one.standard_uncertainty, units)),
        measured: springs.iter().all(|spring| spring.source == SpringSource::Measured),
        preload: Some(computed(one.preload, units)),
        preload_force: Some(computed(one.preload_force, units)),
        static_sag: read(one.static_sag.0.si()),
        static_sag_standard_uncertainty: read(one.static_sag.1.si()),
        total_sag: read(one.total_sag.si()),
        static_ratio: one.static_ratio,
        wheel_rate: Some(computed(one.wheel_rate, units)),
        travel_case_left: one.case_left.and_then(|left| read(left.si())),
        bind_margin: one.bind_margin.map(|margin| computed(margin, units)),
        pitch_change: one.pitch.as_ref().map(|pitch| computed(pitch.angle, units)),
        wheel_sag_change: change.map(|change| computed(Length::from_si(change), units)),
        rebound_factor: one.rebound_factor,
        distance_factor: one.distance,
        ties_with_best: one.ties_with_best,
        fits: one.fits(),
        rejections: one.rejections.iter().map(rejection).collect(),
        findings: findings(&one.findings),
    }
}

fn rejection(rejection: &Rejection) -> v1::SpringRejection {
    use v1::spring_rejection::Reason as Sent;
    let reason = match rejection {
        Rejection::PreloadBelow(_) => Sent::PreloadBelow,
        Rejection::PreloadAbove(_) => Sent::PreloadAbove,
        Rejection::TotalMissed(_) => Sent::TotalMissed,
        Rejection::NotReachable(_) => Sent::NotReachable,
        Rejection::ToppedOut(_) => Sent::ToppedOut,
        Rejection::Binds(_) => Sent::Binds,
        Rejection::Bottoms(_) => Sent::Bottoms,
    };
    v1::SpringRejection {
        reason: reason as i32,
        text: rejection.text().to_owned(),
    }
}

/// Checks the machine's values as they were sent.
pub fn check_machine(values: &v1::MachineValues, at: Scope<'_>) {
    crate::book::machine::machine_values(values, at);
}

/// A mass that was checked.
pub fn mass_sent(given: Option<&v1::Mass>) -> Option<Mass> {
    mass(given)
}

/// Checks that a mass can be on this end's wheel alone.
pub fn check_loads(alone: Option<Mass>, at: Scope<'_>) {
    let mut at = at;
    if alone.is_none() {
        let text = "the mass this wheel carries alone is required, or the machine's mass, gravity_ahead and wheelbase";
        at.push(Reason::ValueMissing, text);
    }
}
