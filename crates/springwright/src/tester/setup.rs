//! What is on the simulated tester and how it is driven: options as typed, then checked.

use std::fmt;
use std::net::SocketAddr;

use super::door::Manner;
use mechanics::quantity::{Entered, ForceUnit, LengthUnit, StiffnessUnit, Unit, VelocityUnit};

/// Longest test, in readings: as long as the longest run a server takes.
const READINGS_MAX: f64 = 10_000_000.0;

/// The simulated tester's options.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct Options {
    /// Where to listen; port 0: any free one, printed as "listening ADDRESS"
    #[arg(long, default_value = "127.0.0.1:0")]
    pub(crate) listen: SocketAddr,
    /// Open a pseudo-terminal instead, printed as "line DEVICE": a serial line without a wire
    #[arg(long, conflicts_with_all = ["print", "listen", "scpi"])]
    pub(crate) pty: bool,
    /// Answer SCPI messages at this address instead; port 0: any free one, printed as "listening ADDRESS"
    #[arg(long, value_name = "ADDR", conflicts_with_all = ["print", "listen", "wait", "once", "checksum"])]
    pub(crate) scpi: Option<SocketAddr>,
    /// End each line with its number and a checksum
    #[arg(long)]
    pub(crate) checksum: bool,
    /// Print the test's lines instead of listening
    #[arg(long)]
    pub(crate) print: bool,
    /// End after one client had a whole test
    #[arg(long)]
    pub(crate) once: bool,
    /// Wait for `start` before each press, and press again for the next
    #[arg(long, conflicts_with_all = ["print", "once"])]
    pub(crate) wait: bool,
    /// Send without pacing
    #[arg(long, conflicts_with = "speed")]
    pub(crate) fast: bool,
    /// How many times faster than real
    #[arg(long, default_value_t = 1.0)]
    pub(crate) speed: f64,
    /// Seed of the noise
    #[arg(long, default_value_t = 1)]
    pub(crate) seed: u64,
    /// The spring's true rate
    #[arg(long, default_value = "9.5 N/mm")]
    pub(crate) rate: Entered<StiffnessUnit>,
    /// Its length unloaded
    #[arg(long, default_value = "230 mm")]
    pub(crate) free_length: Entered<LengthUnit>,
    /// Its length with all coils closed
    #[arg(long, default_value = "120 mm")]
    pub(crate) solid_length: Entered<LengthUnit>,
    /// Rate beyond the knee of a dual-rate or progressive spring
    #[arg(long, requires = "knee")]
    pub(crate) second_rate: Option<Entered<StiffnessUnit>>,
    /// How far it is pressed at the knee
    #[arg(long, requires = "second_rate")]
    pub(crate) knee: Option<Entered<LengthUnit>>,
    /// Over how much travel the knee is spread
    #[arg(long, default_value = "1 mm")]
    pub(crate) knee_width: Entered<LengthUnit>,
    /// Travel over which the end coils seat
    #[arg(long, default_value = "1.5 mm")]
    pub(crate) seating: Entered<LengthUnit>,
    /// Friction between coils, seats and guides
    #[arg(long, default_value = "3 N")]
    pub(crate) friction: Entered<ForceUnit>,
    /// Loss in the material, as a share of the load
    #[arg(long, default_value_t = 0.002)]
    pub(crate) hysteresis: f64,
    /// Travel over which friction turns round after a reversal
    #[arg(long, default_value = "0.3 mm")]
    pub(crate) reversal: Entered<LengthUnit>,
    /// The frame's own rate; left out: rigid
    #[arg(long)]
    pub(crate) frame_rate: Option<Entered<StiffnessUnit>>,
    /// What the frame gives at first, before its joints are tight
    #[arg(long, default_value = "0 mm")]
    pub(crate) frame_slack: Entered<LengthUnit>,
    /// Gap between platen and spring at the start
    #[arg(long, default_value = "3 mm")]
    pub(crate) approach: Entered<LengthUnit>,
    /// How far to press; left out: 85 % of free less solid length
    #[arg(long)]
    pub(crate) travel: Option<Entered<LengthUnit>>,
    /// How fast to press
    #[arg(long, default_value = "10 mm/s")]
    pub(crate) press_speed: Entered<VelocityUnit>,
    /// Strokes
    #[arg(long, default_value_t = 2)]
    pub(crate) strokes: u32,
    /// Rest at both ends of a stroke, s
    #[arg(long, default_value_t = 0.5)]
    pub(crate) dwell_s: f64,
    /// Readings a second
    #[arg(long, default_value_t = 100.0)]
    pub(crate) sample_rate_hz: f64,
    /// Load shown with nothing on the cell
    #[arg(long, default_value = "0 N", allow_hyphen_values = true)]
    pub(crate) tare: Entered<ForceUnit>,
    /// How far the load's zero moves in a minute
    #[arg(long, default_value = "0 N", allow_hyphen_values = true)]
    pub(crate) drift_per_minute: Entered<ForceUnit>,
    /// Standard deviation of the load's noise
    #[arg(long, default_value = "0.3 N")]
    pub(crate) noise: Entered<ForceUnit>,
    /// Standard deviation of the deflection's noise
    #[arg(long, default_value = "0.005 mm")]
    pub(crate) deflection_noise: Entered<LengthUnit>,
    /// Last digit of the load; its unit is the line's
    #[arg(long, default_value = "0.1 N")]
    pub(crate) resolution: Entered<ForceUnit>,
    /// Last digit of the deflection; its unit is the line's
    #[arg(long, default_value = "0.01 mm")]
    pub(crate) deflection_resolution: Entered<LengthUnit>,
    /// Load at which the cell ends
    #[arg(long, default_value = "5000 N")]
    pub(crate) capacity: Entered<ForceUnit>,
    /// Between the columns
    #[arg(long, value_enum, default_value_t = Between::Space)]
    pub(crate) separator: Between,
    /// Readings that never reach the line, FIRST:COUNT
    #[arg(long, value_parser = lost)]
    pub(crate) lose: Option<Lost>,
    /// Reading at which the tester's clock starts again from 0
    #[arg(long)]
    pub(crate) restart_clock_at: Option<u64>,
}

/// What stands between two columns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Between {
    /// A blank.
    Space,
    /// A comma.
    Comma,
    /// A semicolon.
    Semicolon,
    /// A tabulator.
    Tab,
}

/// Readings that never reach the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Lost {
    /// The first of them, counted from 0.
    pub(crate) first: u64,
    /// How many.
    pub(crate) count: u64,
}

fn lost(text: &str) -> Result<Lost, String> {
    let hint = || format!("\"{text}\" is not FIRST:COUNT, such as 1000:50");
    let (first, count) = text.split_once(':').ok_or_else(hint)?;
    Ok(Lost {
        first: first.parse().map_err(|_| hint())?,
        count: count.parse().map_err(|_| hint())?,
    })
}

/// How fast lines leave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Pace {
    /// As fast as they are taken.
    Fast,
    /// So many times faster than real.
    Times(f64),
}

impl Options {
    /// How connections are served.
    pub(crate) fn manner(&self) -> Manner {
        match (self.wait, self.once) {
            (true, _) => Manner::Waiting,
            (false, true) => Manner::Once,
            (false, false) => Manner::Each,
        }
    }

    /// How fast lines leave.
    pub(crate) fn pace(&self) -> Pace {
        if self.fast { Pace::Fast } else { Pace::Times(self.speed) }
    }
}

/// A checked set-up. Lengths in mm, loads in N, times in s: the model's own units, which never leave this module.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Setup {
    pub(super) seed: u64,
    pub(super) rate: f64,
    pub(super) solid_deflection: f64,
    pub(super) knee: Option<Knee>,
    pub(super) seating: f64,
    pub(super) friction: f64,
    pub(super) hysteresis: f64,
    pub(super) reversal: f64,
    pub(super) frame_rate: Option<f64>,
    pub(super) frame_slack: f64,
    pub(super) approach: f64,
    pub(super) travel: f64,
    pub(super) press_speed: f64,
    pub(super) strokes: u32,
    pub(super) dwell: f64,
    pub(super) sample_rate: f64,
    pub(super) tare: f64,
    pub(super) drift_per_second: f64,
    pub(super) noise: f64,
    pub(super) deflection_noise: f64,
    pub(super) resolution: Entered<ForceUnit>,
    pub(super) deflection_resolution: Entered<LengthUnit>,
    pub(super) capacity: f64,
    pub(super) separator: Between,
    pub(super) lose: Option<Lost>,
    pub(super) restart_clock_at: Option<u64>,
    pub(super) checksum: bool,
}

/// The knee of a dual-rate spring.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Knee {
    pub(super) rate: f64,
    pub(super) at: f64,
    pub(super) width: f64,
}

/// What is wrong with a set-up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum SetupError {
    /// A value is outside its range.
    OutOfRange {
        /// The option.
        option: &'static str,
        /// What it was, with its unit.
        value: String,
        /// What is allowed.
        allowed: &'static str,
    },
    /// The test would be longer than any run.
    TooLong {
        /// How many readings it would have.
        readings: String,
    },
}

impl fmt::Display for SetupError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OutOfRange { option, value, allowed } => write!(f, "--{option} is {value}; allowed: {allowed}"),
            Self::TooLong { readings } => write!(f, "the test would have {readings} readings; allowed: 10000000"),
        }
    }
}

impl std::error::Error for SetupError {}

fn mm(length: Entered<LengthUnit>) -> f64 {
    length.in_unit(LengthUnit::Millimeter).value()
}

fn newton(force: Entered<ForceUnit>) -> f64 {
    force.in_unit(ForceUnit::Newton).value()
}

fn newton_per_mm(rate: Entered<StiffnessUnit>) -> f64 {
    rate.in_unit(StiffnessUnit::NewtonPerMillimeter).value()
}

const ABOVE_ZERO: &str = "above 0";
const ZERO_OR_MORE: &str = "0 or more";

fn check(option: &'static str, value: &dyn fmt::Display, allowed: &'static str, ok: bool) -> Result<(), SetupError> {
    if ok {
        Ok(())
    } else {
        Err(SetupError::OutOfRange {
            option,
            value: value.to_string(),
            allowed,
        })
    }
}

fn above_zero<U: Unit>(option: &'static str, value: Entered<U>) -> Result<(), SetupError> {
    check(option, &value, ABOVE_ZERO, value.value() > 0.0)
}

fn zero_or_more<U: Unit>(option: &'static str, value: Entered<U>) -> Result<(), SetupError> {
    check(option, &value, ZERO_OR_MORE, value.value() >= 0.0)
}

impl TryFrom<&Options> for Setup {
    type Error = SetupError;

    fn try_from(options: &Options) -> Result<Self, SetupError> {
        check_spring(options)?;
        check_drive(options)?;
        let solid_deflection = mm(options.free_length) - mm(options.solid_length);
        let setup = Self {
            seed: options.seed,
            rate: newton_per_mm(options.rate),
            solid_deflection,
            knee: options.second_rate.zip(options.knee).map(|(rate, at)| Knee {
                rate: newton_per_mm(rate),
                at: mm(at),
                width: mm(options.knee_width),
            }),
            seating: mm(options.seating),
            friction: newton(options.friction),
            hysteresis: options.hysteresis,
            reversal: mm(options.reversal),
            frame_rate: options.frame_rate.map(newton_per_mm),
            frame_slack: mm(options.frame_slack),
            approach: mm(options.approach),
            travel: options.travel.map_or(0.85 * solid_deflection, mm),
            press_speed: options.press_speed.in_unit(VelocityUnit::MillimeterPerSecond).value(),
            strokes: options.strokes,
            dwell: options.dwell_s,
            sample_rate: options.sample_rate_hz,
            tare: newton(options.tare),
            drift_per_second: newton(options.drift_per_minute) / 60.0,
            noise: newton(options.noise),
            deflection_noise: mm(options.deflection_noise),
            resolution: options.resolution,
            deflection_resolution: options.deflection_resolution,
            capacity: newton(options.capacity),
            separator: options.separator,
            lose: options.lose,
            restart_clock_at: options.restart_clock_at,
            checksum: options.checksum,
        };
        let readings = super::stroke::Strokes::of(&setup).duration() * setup.sample_rate;
        if readings < READINGS_MAX {
            Ok(setup)
        } else {
            Err(SetupError::TooLong {
                readings: format!("{readings:.0}"),
            })
        }
    }
}

fn check_spring(options: &Options) -> Result<(), SetupError> {
    above_zero("rate", options.rate)?;
    above_zero("solid-length", options.solid_length)?;
    check(
        "free-length",
        &options.free_length,
        "above the solid length",
        mm(options.free_length) > mm(options.solid_length),
    )?;
    if let Some(rate) = options.second_rate {
        above_zero("second-rate", rate)?;
    }
    if let Some(knee) = options.knee {
        above_zero("knee", knee)?;
    }
    above_zero("knee-width", options.knee_width)?;
    zero_or_more("seating", options.seating)?;
    zero_or_more("friction", options.friction)?;
    check(
        "hysteresis",
        &options.hysteresis,
        "0 to 0.5",
        (0.0..=0.5).contains(&options.hysteresis),
    )?;
    above_zero("reversal", options.reversal)
}

fn check_drive(options: &Options) -> Result<(), SetupError> {
    if let Some(rate) = options.frame_rate {
        above_zero("frame-rate", rate)?;
    }
    zero_or_more("frame-slack", options.frame_slack)?;
    zero_or_more("approach", options.approach)?;
    if let Some(travel) = options.travel {
        above_zero("travel", travel)?;
    }
    above_zero("press-speed", options.press_speed)?;
    check(
        "strokes",
        &options.strokes,
        "1 to 1000",
        (1..=1000).contains(&options.strokes),
    )?;
    check(
        "dwell-s",
        &options.dwell_s,
        "0 to 3600",
        (0.0..=3600.0).contains(&options.dwell_s),
    )?;
    check(
        "sample-rate-hz",
        &options.sample_rate_hz,
        "0.1 to 100000",
        (0.1..=100_000.0).contains(&options.sample_rate_hz),
    )?;
    check(
        "speed",
        &options.speed,
        "0.001 to 100000",
        (0.001..=100_000.0).contains(&options.speed),
    )?;
    zero_or_more("noise", options.noise)?;
    zero_or_more("deflection-noise", options.deflection_noise)?;
    above_zero("resolution", options.resolution)?;
    above_zero("deflection-resolution", options.deflection_resolution)?;
    above_zero("capacity", options.capacity)
}
