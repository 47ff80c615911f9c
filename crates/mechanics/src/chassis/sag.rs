//! Sag from readings: what a machine settles by itself and with its rider.

use super::End;
use super::error::{ChassisError, within};
use super::reading::{self, Handling, Lengths, StateReading, Worth};
use crate::estimate::{Assumption, Estimate};
use crate::finding::{Code, Finding};
use crate::quantity::{Angle, AngleUnit, Length, LengthUnit, Quantity, UnitSystem};
use crate::spring::words::Words;

/// Readings of one end.
#[derive(Debug, Clone, PartialEq)]
pub struct SagRequest {
    /// Which end. A fork is read along its leg, a rear end at the axle.
    pub end: End,
    /// Wheel clear of the ground, at the present preload; read twice the same way where possible.
    pub extended: Vec<Length>,
    /// Machine alone.
    pub alone: Option<StateReading>,
    /// With the rider aboard.
    pub rider: Option<StateReading>,
    /// Full width of the last digit; `None`: 1 mm.
    pub resolution: Option<Length>,
    /// How well the tape is handled.
    pub handling: Handling,
    /// Half-band of friction known for unpaired readings; `None`: that of the other state, else what is usual.
    pub half_band: Option<Length>,
    /// The tape against the movement of the axle: `dz = dL/cos(phi)`; `None`: along it.
    pub tape_slant: Option<Angle>,
    /// Travel in the frame the end is read in, where known.
    pub travel: Option<Length>,
    /// Rake, of a fork: its sag at the wheel is then given too.
    pub rake: Option<Angle>,
    /// Whether this end carries part of the rider's mass as entered: lengthening is then an error, else a finding.
    pub rider_loads_it: bool,
    /// Units of the words.
    pub units: UnitSystem,
}

/// Sag of one end.
#[derive(Debug, Clone, PartialEq)]
pub struct SagFound {
    /// Which end.
    pub end: End,
    /// Length fully extended.
    pub extended: Lengths,
    /// Length alone.
    pub alone: Option<Lengths>,
    /// Length with the rider.
    pub rider: Option<Lengths>,
    /// Extended less alone.
    pub static_sag: Option<Estimate<Length>>,
    /// Extended less with the rider.
    pub total_sag: Option<Estimate<Length>>,
    /// Alone less with the rider: the extended length and its uncertainty cancel.
    pub riders_share: Option<Estimate<Length>>,
    /// Static over total.
    pub static_ratio: Option<f64>,
    /// Total over travel.
    pub total_ratio: Option<f64>,
    /// Whether static sag is zero within its expanded uncertainty.
    pub static_is_zero: bool,
    /// Vertical travel at the wheel per millimetre read: `cos(e)` of a fork, 1 of a rear end.
    pub wheel_factor: f64,
    /// Half-bands of friction of the paired readings: alone, with the rider.
    pub half_bands: (Option<Length>, Option<Length>),
    /// Whether a reading was not paired.
    pub unpaired: bool,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// Lengths that are equal on the tape differ by less than this after a subtraction, m.
const EQUAL: f64 = 1e-9;

/// Spreads from which on friction is noted, and from which on something binds, m (common practice, no source).
const fn spreads(end: End) -> (f64, f64) {
    match end {
        End::Front => (10e-3, 15e-3),
        End::Rear => (5e-3, 8e-3),
    }
}

/// Sag of one end from lengths.
///
/// Length of a state = mean of pressed and lifted; static = extended - alone, total = extended - with rider, **rider's share =
/// alone - with rider**. Uncertainty: resolution `d/sqrt(12)` and handling for each reading, the half-band over `sqrt(3)` for
/// an unpaired one (JCGM 100:2008). Example: 600 extended, 588 and 592 alone, 563.5 and 567.5 aboard: static 10, total 34.5,
/// share 24.5, half-bands 2.
///
/// # Errors
/// [`ChassisError::Contradiction`] beyond the uncertainty only: lifted below pressed, alone longer than extended, sag beyond
/// the travel, the rider lengthening an end that carries part of the rider. [`ChassisError::OutOfRange`].
pub fn read_sag(request: &SagRequest) -> Result<SagFound, ChassisError> {
    let mut assumptions = Vec::new();
    let worth = worth(request, &mut assumptions)?;
    let factor = slant(request.tape_slant)?;
    let extended = reading::extended("extended", &request.extended, worth)?;
    let paired = |given: Option<&StateReading>, field: &str| match given {
        Some(pair @ StateReading::Paired { .. }) => reading::state(field, pair, worth).map(Some),
        _ => Ok(None),
    };
    // A half-band that one state showed serves the other.
    let shown = [
        paired(request.alone.as_ref(), "alone")?,
        paired(request.rider.as_ref(), "rider")?,
    ];
    let known = shown
        .iter()
        .flatten()
        .filter_map(|lengths| lengths.half_band)
        .map(Quantity::si);
    let known = known.fold(None, |most: Option<f64>, band| {
        Some(most.map_or(band, |most| most.max(band)))
    });
    let half_band = unpaired_band(request, known, &mut assumptions)?;
    let worth = Worth { half_band, ..worth };
    let state =
        |given: Option<&StateReading>, field: &str| given.map(|given| reading::state(field, given, worth)).transpose();
    let alone = state(request.alone.as_ref(), "alone")?;
    let rider = state(request.rider.as_ref(), "rider")?;
    let less = |longer: Option<&Lengths>, shorter: Option<&Lengths>, sources| {
        longer
            .zip(shorter)
            .map(|(longer, shorter)| reading::difference(longer, shorter, factor, sources))
    };
    let static_sag = less(Some(&extended), alone.as_ref(), ["extended length", "length alone"]);
    let total_sag = less(
        Some(&extended),
        rider.as_ref(),
        ["extended length", "length with the rider"],
    );
    let riders_share = less(
        alone.as_ref(),
        rider.as_ref(),
        ["length alone", "length with the rider"],
    );
    let value = |of: Option<&Estimate<Length>>| of.map(|estimate| estimate.value.si());
    let (stat, total) = (value(static_sag.as_ref()), value(total_sag.as_ref()));
    let half = |lengths: Option<&Lengths>| {
        lengths
            .and_then(|lengths| lengths.half_band)
            .map(|band| Length::from_si(band.si() * factor))
    };
    let mut found = SagFound {
        end: request.end,
        static_ratio: stat
            .zip(total)
            .filter(|(_, total)| *total > 0.0)
            .map(|(stat, total)| stat / total),
        total_ratio: total.zip(request.travel).map(|(total, travel)| total / travel.si()),
        static_is_zero: static_sag.as_ref().is_some_and(is_zero),
        wheel_factor: wheel_factor(request)?,
        half_bands: (half(alone.as_ref()), half(rider.as_ref())),
        unpaired: [&request.alone, &request.rider]
            .into_iter()
            .flatten()
            .any(|given| matches!(given, StateReading::Single(_))),
        extended,
        alone,
        rider,
        static_sag,
        total_sag,
        riders_share,
        findings: Vec::new(),
        assumptions,
    };
    check(request, &mut found)?;
    say(request, &mut found);
    Ok(found)
}

impl SagFound {
    /// Static and total sag as vertical travel at the wheel.
    #[must_use]
    pub fn at_wheel(&self) -> (Option<Length>, Option<Length>) {
        let of = |sag: Option<&Estimate<Length>>| sag.map(|sag| Length::from_si(sag.value.si() * self.wheel_factor));
        (of(self.static_sag.as_ref()), of(self.total_sag.as_ref()))
    }
}

fn is_zero(sag: &Estimate<Length>) -> bool {
    sag.value.si() <= sag.expanded_uncertainty.si()
}

fn worth(request: &SagRequest, assumptions: &mut Vec<Assumption>) -> Result<Worth, ChassisError> {
    let mm = LengthUnit::Millimeter;
    let resolution = request.resolution.unwrap_or_else(|| {
        assumptions.push(assumption("resolution", "lengths were read to 1 mm".to_owned()));
        Length::from_si(1e-3)
    });
    let resolution = within("resolution", resolution, (0.0, 10.0), mm)?;
    let handling = request.handling.limit();
    within("handling", Length::from_si(handling), (0.0, 20.0), mm)?;
    if request.handling == Handling::Usual {
        let text = "a tape by hand is within 1 mm of the true length, unless repeats show their own scatter".to_owned();
        assumptions.push(assumption("handling", text));
    }
    Ok(Worth {
        resolution,
        handling,
        half_band: 0.0,
    })
}

fn unpaired_band(
    request: &SagRequest,
    known: Option<f64>,
    assumptions: &mut Vec<Assumption>,
) -> Result<f64, ChassisError> {
    let unpaired = [&request.alone, &request.rider].into_iter().flatten();
    let unpaired = unpaired
        .filter(|given| matches!(given, StateReading::Single(_)))
        .count()
        > 0;
    if let Some(given) = request.half_band {
        return within("friction_half_band", given, (0.0, 50.0), LengthUnit::Millimeter);
    }
    if !unpaired {
        return Ok(0.0);
    }
    let (band, whence) = match known {
        Some(band) => (band, "that of the state that was read from both sides"),
        None => (spreads(request.end).0 / 2.0, "what is usual"),
    };
    let text = format!(
        "friction holds an unpaired reading within {:.1} mm to either side, {whence}",
        band * 1e3
    );
    assumptions.push(assumption("friction_half_band", text));
    Ok(band)
}

fn slant(tape: Option<Angle>) -> Result<f64, ChassisError> {
    let Some(tape) = tape else { return Ok(1.0) };
    within("tape_slant", tape, (-60.0, 60.0), AngleUnit::Degree)?;
    Ok(1.0 / tape.si().cos())
}

fn wheel_factor(request: &SagRequest) -> Result<f64, ChassisError> {
    let Some(rake) = request.rake.filter(|_| request.end == End::Front) else {
        return Ok(1.0);
    };
    within("rake", rake, (0.0, 45.0), AngleUnit::Degree)?;
    Ok(rake.si().cos())
}

fn check(request: &SagRequest, found: &mut SagFound) -> Result<(), ChassisError> {
    let words = Words::new(request.units);
    let below_zero = |sag: &Estimate<Length>| sag.value.si() < -sag.expanded_uncertainty.si();
    let length = |lengths: Option<&Lengths>| words.length(lengths.map_or(0.0, |lengths| lengths.length.value.si()));
    let refuse = |field: &str, what: String| {
        Err(ChassisError::Contradiction {
            field: field.to_owned(),
            what,
        })
    };
    let margin = |sag: &Estimate<Length>| words.length(sag.expanded_uncertainty.si());
    if let Some(sag) = found.static_sag.as_ref().filter(|sag| below_zero(sag)) {
        let what = format!(
            "alone reads {}, longer than extended, {}, beyond the uncertainty of {}: read the extended length again, wheel clear of the ground",
            length(found.alone.as_ref()),
            length(Some(&found.extended)),
            margin(sag)
        );
        return refuse("alone", what);
    }
    if let Some(sag) = found.total_sag.as_ref().filter(|sag| below_zero(sag)) {
        let what = format!(
            "with the rider it reads {}, longer than extended, {}, beyond the uncertainty of {}",
            length(found.rider.as_ref()),
            length(Some(&found.extended)),
            margin(sag)
        );
        return refuse("rider", what);
    }
    if let Some(share) = found.riders_share.as_ref().filter(|share| below_zero(share)) {
        let what = format!(
            "with the rider it reads {}, longer than alone, {}, beyond the uncertainty of {}",
            length(found.rider.as_ref()),
            length(found.alone.as_ref()),
            margin(share)
        );
        if request.rider_loads_it {
            return refuse("rider", what);
        }
        let text = format!("{what}; a load behind the rear axle does that");
        found.findings.push(Finding::about(Code::RiderLengthens, "rider", text));
    }
    if let Some(travel) = request.travel {
        within("travel", travel, (1.0, 1_000.0), LengthUnit::Millimeter)?;
        for (sag, field) in [(&found.static_sag, "alone"), (&found.total_sag, "rider")] {
            if let Some(sag) = sag
                .as_ref()
                .filter(|sag| sag.value.si() - sag.expanded_uncertainty.si() > travel.si())
            {
                let what = format!(
                    "{field}: sag of {} is beyond the travel of {}",
                    words.length(sag.value.si()),
                    words.length(travel.si())
                );
                return refuse(field, what);
            }
        }
    }
    Ok(())
}

fn say(request: &SagRequest, found: &mut SagFound) {
    let words = Words::new(request.units);
    let (note, bind) = spreads(request.end);
    for (band, field, state) in [
        (found.half_bands.0, "alone", "alone"),
        (found.half_bands.1, "rider", "with the rider"),
    ] {
        let Some(band) = band else { continue };
        let spread = 2.0 * band.si();
        if spread > bind + EQUAL {
            let text = format!(
                "{state}, lifted and pressed differ by {}: find what binds before anything else is judged",
                words.length(spread)
            );
            found.findings.push(Finding::about(Code::SagBind, field, text));
        } else if spread > note + EQUAL {
            let text = format!(
                "{state}, lifted and pressed differ by {}: much friction",
                words.length(spread)
            );
            found.findings.push(Finding::about(Code::SagSpread, field, text));
        }
    }
    if found.unpaired {
        let text = "read once after pressing and once after lifting: friction hides in a single reading".to_owned();
        found.findings.push(Finding::new(Code::ReadingUnpaired, text));
    }
    if let Some(sag) = found.static_sag.as_ref().filter(|_| found.static_is_zero) {
        let text = format!(
            "static sag is {} within {}: the {} end rests at full extension",
            words.length(sag.value.si().max(0.0)),
            words.length(sag.expanded_uncertainty.si()),
            request.end.word()
        );
        found.findings.push(Finding::about(Code::NoStaticSag, "alone", text));
    }
}

fn assumption(subject: &'static str, text: String) -> Assumption {
    Assumption {
        subject,
        text,
        source: "common practice, no source",
    }
}
