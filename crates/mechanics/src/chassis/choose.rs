//! Choosing a spring from a rack: every candidate with what it would do, the best first.

mod candidate;
mod rank;

use super::error::{ChassisError, within};
use super::inverse::{Rest, spring_for_rests};
use super::loads::Pitch;
use super::path::Path;
use super::suspension::Suspension;
use super::{Element, End};
use crate::estimate::Assumption;
use crate::finding::{Code, Finding};
use crate::quantity::{
    Deflection, Force, Length, LengthUnit, Load, Mass, Preload, Quantity, SpringRate, Travel, UnitSystem, WheelRate,
};
use crate::spring::ForceCurve;
use crate::spring::words::Words;

/// Most candidates of one choice.
pub const MOST_CANDIDATES: usize = 500;

/// Where a spring's rate comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SpringSource {
    /// From the bench.
    Measured,
    /// From the mark, with its tolerance.
    Marked,
}

/// A spring of the rack.
#[derive(Debug, Clone, PartialEq)]
pub struct CandidateSpring {
    /// What it is called.
    pub label: String,
    /// Its rate.
    pub rate: SpringRate,
    /// Standard uncertainty of the rate.
    pub standard_uncertainty: SpringRate,
    /// Where the rate comes from.
    pub source: SpringSource,
    /// Load against deflection from free length, where it is no straight line.
    pub curve: Option<ForceCurve>,
    /// How far it can be pressed from free length until its coils close.
    pub deflection_to_solid: Option<Deflection>,
}

/// A candidate: one spring, or one for each leg, which may differ.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The springs that share the load.
    pub springs: Vec<CandidateSpring>,
}

/// What is aimed at, as vertical travel at the wheel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SagTargets {
    /// Total sag.
    pub total: Travel,
    /// How far off it may be.
    pub total_tolerance: Length,
    /// Static sag and how far off it may be; `None`: by the usual share of the total.
    pub static_sag: Option<(Travel, Length)>,
}

/// A load case in which travel shall be left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TravelCase {
    /// Vertical load at the wheel, without the unsprung weight.
    pub load: Force,
    /// Share of the travel it may use.
    pub share: f64,
}

/// How the machine stands now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Present {
    /// Total sag of this end now, at the wheel.
    pub total: Travel,
    /// Wheelbase.
    pub wheelbase: Option<Length>,
    /// Wheel rate at ride height now.
    pub wheel_rate: Option<WheelRate>,
}

/// Asks for a spring.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// Which end.
    pub end: End,
    /// How the springs follow the wheel.
    pub path: Path,
    /// Everything that carries load beside the main springs, of all legs.
    pub others: Vec<Element>,
    /// What the springs carry with the machine alone, at the wheel.
    pub load_alone: Force,
    /// With the rider.
    pub load_with_rider: Force,
    /// Unsprung mass, for where it hangs on a top-out spring.
    pub unsprung_mass: Option<Mass>,
    /// What is aimed at.
    pub targets: SagTargets,
    /// Least and most preload that can be set, mm of spring at full extension; equal: it cannot be set.
    pub preload_limits: Option<(Preload, Preload)>,
    /// A load case in which travel shall be left.
    pub travel_case: Option<TravelCase>,
    /// How the machine stands now.
    pub present: Option<Present>,
    /// The candidates.
    pub candidates: Vec<Candidate>,
    /// Units of the words.
    pub units: UnitSystem,
}

/// Why a candidate does not do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Rejection {
    /// It needs less preload than can be set.
    PreloadBelow(String),
    /// It needs more preload than can be set.
    PreloadAbove(String),
    /// The preload cannot be set, and with it the total misses its target.
    TotalMissed(String),
    /// Other springs carry the load alone, or the curve never carries it.
    NotReachable(String),
    /// No static sag.
    ToppedOut(String),
    /// Its coils close before the stop.
    Binds(String),
    /// It rests on the stop.
    Bottoms(String),
}

impl Rejection {
    /// In words.
    #[must_use]
    pub fn text(&self) -> &str {
        match self {
            Self::PreloadBelow(text)
            | Self::PreloadAbove(text)
            | Self::TotalMissed(text)
            | Self::NotReachable(text)
            | Self::ToppedOut(text)
            | Self::Binds(text)
            | Self::Bottoms(text) => text,
        }
    }
}

/// A candidate and what it would do.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranked {
    /// Its place in the request.
    pub index: usize,
    /// Rate of all its springs together.
    pub rate: SpringRate,
    /// Standard uncertainty of it.
    pub standard_uncertainty: SpringRate,
    /// Preload of each spring that reaches the total, or the one preload there is.
    pub preload: Preload,
    /// Load of all springs at full extension.
    pub preload_force: Load,
    /// Static sag at the wheel, with its standard uncertainty from the rate.
    pub static_sag: (Travel, Length),
    /// Total sag at the wheel.
    pub total_sag: Travel,
    /// Static over total.
    pub static_ratio: f64,
    /// Wheel rate with the rider, the whole end's.
    pub wheel_rate: WheelRate,
    /// Travel used in the load case.
    pub case_travel: Option<Travel>,
    /// Travel left in it.
    pub case_left: Option<Travel>,
    /// How much further the tightest spring can be pressed at full travel.
    pub bind_margin: Option<Length>,
    /// Change of attitude against now, the other end as it is.
    pub pitch: Option<Pitch>,
    /// What rebound damping is multiplied by against now.
    pub rebound_factor: Option<f64>,
    /// Distance from the targets in units of their tolerances.
    pub distance: f64,
    /// Standard uncertainty of the distance.
    pub distance_uncertainty: f64,
    /// Whether the uncertainty cannot part it from the best.
    pub ties_with_best: bool,
    /// Why it does not do; empty: it does.
    pub rejections: Vec<Rejection>,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
}

impl Ranked {
    /// Whether it does.
    #[must_use]
    pub fn fits(&self) -> bool {
        self.rejections.is_empty()
    }

    /// Whether the uncertainty of both cannot part it from a nearer one: their distances differ by at most twice it.
    #[must_use]
    pub fn ties_with(&self, nearer: &Self) -> bool {
        let u = self.distance_uncertainty.hypot(nearer.distance_uncertainty);
        self.distance - nearer.distance <= 2.0 * u
    }
}

/// What rules the rate wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RuledBy {
    /// Sag.
    Sag,
    /// The load case.
    Case,
}

/// The candidates, ranked.
#[derive(Debug, Clone, PartialEq)]
pub struct ChosenSpring {
    /// Those that do first, the nearest first; then the others.
    pub ranked: Vec<Ranked>,
    /// The rate that meets both sag targets exactly; `None` where none does.
    pub rate_by_sag: Option<SpringRate>,
    /// The rate that meets total sag and keeps the load case within its share of travel.
    pub rate_by_case: Option<SpringRate>,
    /// Which is larger.
    pub ruled_by: Option<RuledBy>,
    /// Static target used, at the wheel, with its tolerance.
    pub static_target: (Travel, Length),
    /// What is unwelcome of the list as a whole.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// Usual static share of the total with its tolerance (common practice, no source); of a fork for information only, so wide.
const fn usual_share(end: End) -> (f64, f64) {
    match end {
        End::Front => (0.6, 0.1),
        End::Rear => (0.29, 0.04),
    }
}

/// Predicts every candidate and ranks them by distance from the targets in units of tolerance.
///
/// Preload: `F(s + x0) = W/MR - G` at the target total, so that a stiffer spring at equal total sag shows **more** static sag.
/// Rejected where that preload cannot be set, where its coils close before the stop, where no static sag is left. The margin
/// to coil bind should be the larger of 3 mm and 5 % of the travel.
///
/// # Errors
/// [`ChassisError::OutOfRange`].
pub fn choose(choice: &Choice) -> Result<ChosenSpring, ChassisError> {
    let mut assumptions = Vec::new();
    check(choice)?;
    let static_target = static_target(choice, &mut assumptions);
    let others = Suspension::new(choice.path.clone(), choice.others.clone())?;
    let mut ranked = Vec::with_capacity(choice.candidates.len());
    for (index, given) in choice.candidates.iter().enumerate() {
        ranked.push(candidate::predicted(choice, static_target, (index, given))?);
    }
    let mut findings = Vec::new();
    rank::sort(&mut ranked, &choice.candidates, &mut findings);
    let (rate_by_sag, rate_by_case) = wanted(choice, &others, static_target.0);
    let ruled_by = rate_by_sag
        .zip(rate_by_case)
        .map(|(sag, case)| if case > sag { RuledBy::Case } else { RuledBy::Sag });
    let ruled_by = ruled_by
        .or(rate_by_sag.map(|_| RuledBy::Sag))
        .or(rate_by_case.map(|_| RuledBy::Case));
    if !ranked.iter().any(Ranked::fits) {
        let text = "no candidate reaches the targets within what can be set".to_owned();
        findings.push(Finding::about(Code::NoneFits, "candidates", text));
    }
    Ok(ChosenSpring {
        ranked,
        rate_by_sag,
        rate_by_case,
        ruled_by,
        static_target,
        findings,
        assumptions,
    })
}

/// The rates that sag and the load case ask for.
fn wanted(choice: &Choice, others: &Suspension, static_target: Travel) -> (Option<SpringRate>, Option<SpringRate>) {
    let rest = |travel: f64, load: Force| Rest {
        travel: Travel::from_si(travel),
        load,
    };
    let total = choice.targets.total.si();
    let alone = rest(static_target.si(), choice.load_alone);
    let rider = rest(total, choice.load_with_rider);
    let by_sag = spring_for_rests(others, alone, rider).ok().map(|found| found.rate);
    let by_case = choice.travel_case.and_then(|case| {
        let end = rest(case.share * choice.path.travel().si(), case.load);
        spring_for_rests(others, rider, end).ok().map(|found| found.rate)
    });
    (by_sag, by_case)
}

fn static_target(choice: &Choice, assumptions: &mut Vec<Assumption>) -> (Travel, Length) {
    if let Some(given) = choice.targets.static_sag {
        return given;
    }
    let (share, tolerance) = usual_share(choice.end);
    let total = choice.targets.total.si();
    let words = Words::new(choice.units);
    assumptions.push(Assumption {
        subject: "targets.static_sag",
        text: format!(
            "static sag of {} within {}: {share} of the total at the {} end",
            words.length(share * total),
            words.length(tolerance * total),
            choice.end.word()
        ),
        source: "common practice, no source",
    });
    (Travel::from_si(share * total), Length::from_si(tolerance * total))
}

fn check(choice: &Choice) -> Result<(), ChassisError> {
    let count = choice.candidates.len();
    if !(1..=MOST_CANDIDATES).contains(&count) {
        let allowed = format!("1 to {MOST_CANDIDATES}");
        return Err(ChassisError::out_of_range(
            "candidates",
            count as f64,
            "candidates",
            allowed,
        ));
    }
    let mm = LengthUnit::Millimeter;
    let travel = choice.path.travel().get(mm);
    within("targets.total_sag", choice.targets.total, (0.1, travel), mm)?;
    within(
        "targets.total_tolerance",
        choice.targets.total_tolerance,
        (0.01, travel),
        mm,
    )?;
    if let Some((target, tolerance)) = choice.targets.static_sag {
        within("targets.static_sag", target, (0.0, choice.targets.total.get(mm)), mm)?;
        within("targets.static_tolerance", tolerance, (0.01, travel), mm)?;
    }
    let newtons = crate::quantity::ForceUnit::Newton;
    within("load_alone", choice.load_alone, (0.1, 50_000.0), newtons)?;
    within("load_with_rider", choice.load_with_rider, (0.1, 50_000.0), newtons)?;
    if let Some((least, most)) = choice.preload_limits
        && !(least <= most)
    {
        let allowed = format!("at least the least, {} mm", least.get(mm));
        return Err(ChassisError::out_of_range("most_preload", most.get(mm), "mm", allowed));
    }
    for (index, candidate) in choice.candidates.iter().enumerate() {
        if !(1..=2).contains(&candidate.springs.len()) {
            let field = format!("candidates[{index}].springs");
            return Err(ChassisError::out_of_range(
                field,
                candidate.springs.len() as f64,
                "springs",
                "1 or 2",
            ));
        }
    }
    Ok(())
}
