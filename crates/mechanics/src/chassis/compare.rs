//! The rate that sag implies against the spring that is supposed to be fitted.

use super::implied::Implied;
use super::{End, SagFound};
use crate::estimate::{Assumption, Estimate};
use crate::finding::{Code, Finding};
use crate::quantity::{Length, Quantity, SpringRate, UnitSystem};
use crate::spring::words::Words;

/// The spring that is supposed to be fitted; of legs, their sum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fitted {
    /// Its rate.
    pub rate: SpringRate,
    /// Its standard uncertainty: of the bench, or the tolerance of the mark over `sqrt(3)`.
    pub standard_uncertainty: SpringRate,
    /// Whether it was measured; else it is what the mark says.
    pub measured: bool,
    /// One step of the rack for this end; `None`: fork 0.5 N/mm a leg, shock 5 N/mm.
    pub step: Option<SpringRate>,
}

/// What the sag shows beside the rate it implies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SagBeside {
    /// Static sag.
    pub static_sag: Option<Length>,
    /// Total sag.
    pub total_sag: Option<Length>,
    /// Rider's share.
    pub riders_share: Option<Length>,
    /// Half-bands of friction: alone, with the rider.
    pub half_bands: (Option<Length>, Option<Length>),
    /// Whether a reading was not paired.
    pub unpaired: bool,
}

impl From<&SagFound> for SagBeside {
    fn from(sag: &SagFound) -> Self {
        let value = |of: &Option<Estimate<Length>>| of.as_ref().map(|of| of.value);
        Self {
            static_sag: value(&sag.static_sag),
            total_sag: value(&sag.total_sag),
            riders_share: value(&sag.riders_share),
            half_bands: sag.half_bands,
            unpaired: sag.unpaired,
        }
    }
}

/// Whether sag and spring agree.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Agreement {
    /// Within the uncertainty, and that is less than a step.
    Agrees,
    /// Within the uncertainty, and that is more than a step.
    CannotTell,
    /// Beyond twice the combined standard uncertainty.
    Disagrees,
}

/// What can make sag and spring disagree.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CauseKind {
    /// Another part of the rider's mass.
    MassShare,
    /// Friction, or a reading taken from one side.
    Friction,
    /// The spring starts late: a top-out spring, or preload that is not what it seems.
    LateStart,
    /// Air in the fork.
    Air,
    /// The linkage's table or ratio.
    Linkage,
    /// Another spring than said, or a wrong mark.
    Spring,
}

/// A cause that fits sign and size.
#[derive(Debug, Clone, PartialEq)]
pub struct Cause {
    /// Which.
    pub kind: CauseKind,
    /// The check that would show it.
    pub check: &'static str,
    /// By how much it can shift the rate sag implies; `None`: by any amount.
    pub reach: Option<SpringRate>,
}

/// Sag against the spring.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// Implied less fitted.
    pub difference: SpringRate,
    /// Its standard uncertainty.
    pub standard_uncertainty: SpringRate,
    /// Whether they agree.
    pub agreement: Agreement,
    /// The step used; of legs, both a step.
    pub step: SpringRate,
    /// Twice the standard uncertainty in steps: what lies within cannot be told.
    pub steps_untold: f64,
    /// Causes that fit a disagreement in sign and size, the cheapest check first.
    pub causes: Vec<Cause>,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// Steps of a rack where none is known, N/m: a leg of a fork, a shock (common practice, no source).
const LEG_STEP: f64 = 500.0;
const SHOCK_STEP: f64 = 5_000.0;
/// How far a mass share may be off in standard uncertainties before something else is looked for.
const FAR: f64 = 3.0;
/// Limit of a motion ratio that was stated without uncertainty (common practice, no source).
const RATIO: f64 = 0.03;
/// Half of what air may carry beside what was taken off, N/m a leg.
const AIR_REACH: f64 = 400.0;

/// Compares the rate that sag implies with the fitted spring.
///
/// They disagree where `|difference| > 2 sqrt(u1^2 + u2^2)`. Causes are listed only where sign and size fit: mass share,
/// friction, late start (looks stiffer only), air (looks stiffer only), linkage, then spring or mark. `None` where only the
/// wheel rate is known. An upper bound below the spring is a disagreement; one above it says nothing.
#[must_use]
pub fn compare(
    implied: &Implied,
    fitted: &Fitted,
    sag: Option<&SagBeside>,
    end: End,
    springs: u32,
    units: UnitSystem,
) -> Option<Compared> {
    let rate = implied.rate.as_ref()?;
    let words = Words::new(units);
    let difference = rate.value.si() - fitted.rate.si();
    let u = rate.standard_uncertainty.si().hypot(fitted.standard_uncertainty.si());
    let mut assumptions = Vec::new();
    let step = fitted.step.map_or_else(
        || {
            let step = match end {
                End::Front => LEG_STEP * f64::from(springs.max(1)),
                End::Rear => SHOCK_STEP,
            };
            assumptions.push(Assumption {
                subject: "step",
                text: format!("a step of the rack is {} for this end", words.rate(step)),
                source: "common practice, no source",
            });
            step
        },
        Quantity::si,
    );
    let beyond = difference.abs() > 2.0 * u;
    let agreement = if beyond && (!implied.upper_bound || difference < 0.0) {
        Agreement::Disagrees
    } else if 2.0 * u > step || implied.upper_bound {
        Agreement::CannotTell
    } else {
        Agreement::Agrees
    };
    let mut compared = Compared {
        difference: SpringRate::from_si(difference),
        standard_uncertainty: SpringRate::from_si(u),
        agreement,
        step: SpringRate::from_si(step),
        steps_untold: 2.0 * u / step,
        causes: Vec::new(),
        findings: Vec::new(),
        assumptions,
    };
    let mark = if fitted.measured { "measured" } else { "marked" };
    match agreement {
        Agreement::Disagrees => {
            compared.causes = causes(implied, sag, difference, springs);
            let text = format!(
                "sag implies {}, the spring is {mark} {}: they differ by {} with an uncertainty of {}",
                words.rate(rate.value.si()),
                words.rate(fitted.rate.si()),
                words.rate(difference.abs()),
                words.rate(2.0 * u)
            );
            compared.findings.push(Finding::new(Code::RateDiffers, text));
        }
        Agreement::CannotTell => {
            let steps = compared.steps_untold.ceil();
            let text = format!(
                "sag implies {} with an uncertainty of {}: it cannot tell within {steps} steps whether the spring is what it is {mark} as",
                words.rate(rate.value.si()),
                words.rate(2.0 * u)
            );
            compared.findings.push(Finding::new(Code::RateCannotTell, text));
        }
        Agreement::Agrees => {}
    }
    Some(compared)
}

fn causes(implied: &Implied, sag: Option<&SagBeside>, difference: f64, springs: u32) -> Vec<Cause> {
    let Some(rate) = implied.rate.as_ref() else {
        return Vec::new();
    };
    let implied_rate = rate.value.si();
    let stiffer = difference > 0.0;
    let part = implied.part.part.si();
    let mass = FAR * implied.part.standard_uncertainty.si() / part * implied_rate;
    let known = |name: &str| {
        rate.budget
            .iter()
            .find(|row| row.source == name)
            .map(|row| row.standard_uncertainty.si())
    };
    let linkage = known("motion ratio").map_or(2.0 * RATIO * implied_rate, |u| FAR * u);
    let late = sag.is_none_or(|sag| {
        let stat = sag.static_sag.map_or(0.0, Quantity::si);
        let most = sag.total_sag.map_or(f64::INFINITY, Quantity::si);
        stat < LATE * most || stat < LATE_LENGTH
    });
    let all = [
        (
            CauseKind::MassShare,
            "weigh this end alone and with the rider aboard in riding position",
            Some(mass),
            true,
        ),
        (
            CauseKind::Friction,
            "read again, settled from either side, front brake off",
            Some(friction(sag, implied_rate)),
            true,
        ),
        (
            CauseKind::LateStart,
            "take preload off and read again; look for a top-out spring that still works at static sag",
            None,
            stiffer && late,
        ),
        (
            CauseKind::Air,
            "measure the oil level of each leg",
            Some(AIR_REACH * f64::from(springs)),
            stiffer && known("air in the fork").is_some(),
        ),
        (
            CauseKind::Linkage,
            "measure the linkage again: shaft length against wheel travel",
            Some(linkage),
            known("motion ratio").is_some() || springs == 1,
        ),
        (
            CauseKind::Spring,
            "take the spring out and measure it on the bench",
            None,
            true,
        ),
    ];
    let fits = all
        .into_iter()
        .filter(|(_, _, reach, sign)| *sign && reach.is_none_or(|reach| reach >= difference.abs()));
    fits.map(|(kind, check, reach, _)| Cause {
        kind,
        check,
        reach: reach.map(SpringRate::from_si),
    })
    .collect()
}

/// Static sag below which a spring may start late: a share of the total, and a length, m (common practice, no source).
const LATE: f64 = 0.15;
const LATE_LENGTH: f64 = 6e-3;

/// How far friction can shift the implied rate: half-bands of both states over the share; half of them where both were read
/// from either side.
fn friction(sag: Option<&SagBeside>, rate: f64) -> f64 {
    let Some(sag) = sag else { return 0.0 };
    let share = sag.riders_share.map_or(f64::INFINITY, Quantity::si);
    let (alone, rider) = sag.half_bands;
    let bands = alone.map_or(0.0, Quantity::si) + rider.map_or(0.0, Quantity::si);
    if sag.unpaired {
        // What hides in a single reading is at least as much as the other state showed.
        return rate * (2.0 * bands).max(UNSEEN) / share;
    }
    rate * 0.5 * bands / share
}

/// Friction that may hide in single readings, m (common practice, no source).
const UNSEEN: f64 = 5e-3;
