//! Readings of a length, and what they are worth.

use super::error::{ChassisError, within};
use crate::estimate::{Contribution, Coverage, Estimate};
use crate::quantity::{Length, LengthUnit, Quantity};

/// How well the tape is handled: the limit to either side of one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Handling {
    /// A tape by hand: 1 mm to either side (common practice, no source); not added where repeats show the scatter.
    Usual,
    /// This much to either side, 0 allowed; not added where repeats show the scatter.
    Within(Length),
}

/// Handling of a tape where nothing is said, m.
pub(super) const TAPE: f64 = 1e-3;

impl Handling {
    pub(super) fn limit(self) -> f64 {
        match self {
            Self::Usual => TAPE,
            Self::Within(limit) => limit.si(),
        }
    }
}

/// Readings of one length in one state.
#[derive(Debug, Clone, PartialEq)]
pub enum StateReading {
    /// Settled from either side: pressed down and let rise slowly (reads shorter), lifted and let sink slowly (reads longer).
    Paired {
        /// After pressing; repeats allowed.
        pressed: Vec<Length>,
        /// After lifting; repeats allowed.
        lifted: Vec<Length>,
    },
    /// Settled from one side, or by itself; repeats allowed.
    Single(Vec<Length>),
}

/// A length in one state, its resolution and handling taken in.
#[derive(Debug, Clone, PartialEq)]
pub struct Lengths {
    /// Mean of the two sides.
    pub length: Estimate<Length>,
    /// Half of lifted less pressed; none of an unpaired reading.
    pub half_band: Option<Length>,
    pub(super) variance: f64,
    pub(super) dof: Option<f64>,
}

/// What a reading is worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Worth {
    /// Full width of the last digit, m.
    pub(super) resolution: f64,
    /// Limit of handling, m.
    pub(super) handling: f64,
    /// Half-band of friction to be expected of an unpaired reading, m.
    pub(super) half_band: f64,
}

/// Most repeats of one reading.
pub const MOST_REPEATS: usize = 20;

/// A mean with the variance of reading and handling.
struct Mean {
    value: f64,
    variance: f64,
    dof: Option<f64>,
}

/// Mean of repeats: resolution `u = d/sqrt(12)` (JCGM 100, F.2.2.1); handling rectangular, `a/sqrt(3)` (4.3.7), or the scatter
/// of the repeats (4.2). Each reading is rounded and handled by itself, so that both shrink with the count.
fn mean(field: &str, values: &[Length], worth: Worth) -> Result<Mean, ChassisError> {
    let count = values.len();
    if !(1..=MOST_REPEATS).contains(&count) {
        let allowed = format!("1 to {MOST_REPEATS}");
        return Err(ChassisError::out_of_range(field, count as f64, "readings", allowed));
    }
    for value in values {
        within(field, *value, (0.0, 5_000.0), LengthUnit::Millimeter)?;
    }
    let n = count as f64;
    let value = values.iter().map(|value| value.si()).sum::<f64>() / n;
    let squares: f64 = values.iter().map(|other| (other.si() - value).powi(2)).sum();
    let resolution = worth.resolution.powi(2) / 12.0;
    let scattered = (count > 1).then(|| squares / (n - 1.0));
    let each = scattered.unwrap_or_else(|| worth.handling.powi(2) / 3.0);
    Ok(Mean {
        value,
        variance: (resolution + each) / n,
        dof: scattered.map(|_| n - 1.0),
    })
}

pub(super) fn extended(field: &str, values: &[Length], worth: Worth) -> Result<Lengths, ChassisError> {
    let mean = mean(field, values, worth)?;
    Ok(of(mean.value, mean.variance, mean.dof, None))
}

/// A state's length. A pair is its mean and half-band; lifted below pressed beyond the uncertainty is refused as swapped.
pub(super) fn state(field: &str, given: &StateReading, worth: Worth) -> Result<Lengths, ChassisError> {
    match given {
        StateReading::Paired { pressed, lifted } => {
            let down = mean(&format!("{field}.pressed"), pressed, worth)?;
            let up = mean(&format!("{field}.lifted"), lifted, worth)?;
            let spread = up.value - down.value;
            let u = (up.variance + down.variance).sqrt();
            if spread < -2.0 * u {
                let mm = |value: f64| value * 1e3;
                return Err(ChassisError::Contradiction {
                    field: format!("{field}.lifted"),
                    what: format!(
                        "{field}: lifted reads {:.1} mm, shorter than pressed, {:.1} mm, beyond the uncertainty of {:.1} mm: swapped?",
                        mm(up.value),
                        mm(down.value),
                        mm(2.0 * u)
                    ),
                });
            }
            let variance = (up.variance + down.variance) / 4.0;
            let dof = up.dof.zip(down.dof).map(|(a, b)| a + b);
            Ok(of(
                f64::midpoint(up.value, down.value),
                variance,
                dof,
                Some(spread.max(0.0) / 2.0),
            ))
        }
        StateReading::Single(values) => {
            let mean = mean(field, values, worth)?;
            let variance = mean.variance + worth.half_band.powi(2) / 3.0;
            Ok(of(mean.value, variance, None, None))
        }
    }
}

fn of(value: f64, variance: f64, dof: Option<f64>, half_band: Option<f64>) -> Lengths {
    let row = match dof {
        Some(_) => Contribution::type_a("readings", variance.sqrt(), 1.0, dof),
        None => Contribution::type_b("readings", variance.sqrt(), 1.0),
    };
    Lengths {
        length: Estimate::of_budget(value, vec![row], Coverage::of(None)),
        half_band: half_band.map(Length::from_si),
        variance,
        dof,
    }
}

/// Difference of two lengths, times a factor: a sag.
pub(super) fn difference(
    longer: &Lengths,
    shorter: &Lengths,
    factor: f64,
    sources: [&'static str; 2],
) -> Estimate<Length> {
    let rows = [(longer, sources[0]), (shorter, sources[1])].map(|(of, source)| {
        let u = of.variance.sqrt() * factor;
        match of.dof {
            Some(_) => Contribution::type_a(source, u, factor, of.dof),
            None => Contribution::type_b(source, u, factor),
        }
    });
    let value = (longer.length.value.si() - shorter.length.value.si()) * factor;
    Estimate::of_budget(value, rows.to_vec(), Coverage::of(None))
}
