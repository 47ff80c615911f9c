//! What a feed is told: options as typed, and the run's header made of them.

mod line;

use std::path::PathBuf;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use mechanics::quantity::{Entered, ForceUnit, FrequencyUnit, LengthUnit, StiffnessUnit, TemperatureUnit, Unit};
use wire::v1;
use wire::v1::column::Quantity;
use wire::v1::instruction::Action;

use super::columns::Columns;
use super::decode::Separator;
use super::preamble::Declared;
pub(crate) use line::LineOptions;

/// Where a server listens unless told otherwise.
pub(crate) const DEFAULT_SERVER: &str = "http://127.0.0.1:7411";
/// Most samples of a block by the API, whatever its bytes.
const BLOCK_SAMPLES_MAX: usize = 4096;
/// Bytes of a block that samples may fill; the rest of the 64 KiB is for numbers, gap and framing.
const BLOCK_BYTES: usize = 60_000;
/// Largest size of a time by the wire's own coding.
const ELAPSED_BYTES: usize = 10;

/// Records an instrument's readings as a run.
#[derive(Debug, Clone, clap::Args)]
#[command(group = clap::ArgGroup::new("source").required(true).args(["connect", "serial", "scpi", "file", "stdin"]))]
pub(crate) struct Options {
    /// The server to record at
    #[arg(long, default_value = DEFAULT_SERVER)]
    pub(crate) server: String,
    /// Read a tester that listens, HOST:PORT
    #[arg(long, value_name = "HOST:PORT")]
    pub(crate) connect: Option<String>,
    /// Read a file of lines (CSV)
    #[arg(long)]
    pub(crate) file: Option<PathBuf>,
    /// Read standard input; for a file, --file goes on exactly after an interruption, this cannot
    #[arg(long)]
    pub(crate) stdin: bool,
    /// The line to the instrument.
    #[command(flatten)]
    pub(crate) line: LineOptions,
    /// Columns and units, such as "elapsed:us,deflection:mm,load:N"; - leaves one out
    #[arg(long)]
    pub(crate) columns: Option<Columns>,
    /// Between the columns; left out: as the source says, else comma for a file and space for the rest
    #[arg(long, value_enum)]
    pub(crate) separator: Option<Separator>,
    /// Lines at the start to pass over
    #[arg(long, default_value_t = 0)]
    pub(crate) skip_lines: u64,
    /// Damaged lines after which to end; left out: no limit
    #[arg(long)]
    pub(crate) max_malformed: Option<u64>,
    /// Samples in a block, at most
    #[arg(long, default_value_t = 256)]
    pub(crate) block_samples: usize,
    /// Time after which a block is sent anyway, ms
    #[arg(long, default_value_t = 100, value_parser = clap::value_parser!(u64).range(1..=60_000))]
    pub(crate) block_ms: u64,
    /// Where blocks are kept until the run is finished; left out: a file of the source's own in the user's state folder
    #[arg(long)]
    pub(crate) spool: Option<PathBuf>,
    /// How large it may grow, MB
    #[arg(long, default_value_t = 256, value_parser = clap::value_parser!(u64).range(1..=65_536))]
    pub(crate) spool_limit: u64,
    /// Stay at the bench: open the next run for the next spring, until interrupted
    #[arg(long, conflicts_with_all = ["file", "stdin", "run_id"])]
    pub(crate) stay: bool,
    /// Put an unfinished run's spool aside and begin a new run
    #[arg(long)]
    pub(crate) new_run: bool,
    /// How long to wait for the server once the source has ended, s
    #[arg(long, default_value_t = 600)]
    pub(crate) give_up_after_s: u64,
    /// How long to wait for a tester whose connection broke, s
    #[arg(long, default_value_t = 60)]
    pub(crate) source_patience_s: u64,
    /// Print the report as JSON
    #[arg(long)]
    pub(crate) json: bool,
    /// What the run is of
    #[command(flatten)]
    pub(crate) run: RunOptions,
}

/// What stands in a run's header.
#[derive(Debug, Clone, Default, clap::Args)]
pub(crate) struct RunOptions {
    /// The spring on the tester (springs/ID)
    #[arg(long)]
    pub(crate) spring: Option<String>,
    /// Which tester, in the shop's words
    #[arg(long, default_value = "")]
    pub(crate) tester: String,
    /// The run's id; left out: the server chooses
    #[arg(long, default_value = "")]
    pub(crate) run_id: String,
    /// Load shown with nothing on the cell
    #[arg(long, allow_hyphen_values = true)]
    pub(crate) tare: Option<Entered<ForceUnit>>,
    /// The frame's own rate
    #[arg(long)]
    pub(crate) frame: Option<Entered<StiffnessUnit>>,
    /// Its standard uncertainty
    #[arg(long, requires = "frame")]
    pub(crate) frame_uncertainty: Option<Entered<StiffnessUnit>>,
    /// Class of the load cell by ISO 7500-1
    #[arg(long, value_enum)]
    pub(crate) load_cell_class: Option<CellClass>,
    /// Load at which the cell ends
    #[arg(long)]
    pub(crate) load_cell_capacity: Option<Entered<ForceUnit>>,
    /// Gap between the platens at deflection 0
    #[arg(long)]
    pub(crate) platen_gap: Option<Entered<LengthUnit>>,
    /// Last digit of the loads
    #[arg(long)]
    pub(crate) load_resolution: Option<Entered<ForceUnit>>,
    /// Last digit of the deflections
    #[arg(long)]
    pub(crate) deflection_resolution: Option<Entered<LengthUnit>>,
    /// Strokes at the start that only set the spring
    #[arg(long, default_value_t = 0)]
    pub(crate) preset_strokes: i32,
    /// Temperature at the bench
    #[arg(long, allow_hyphen_values = true)]
    pub(crate) temperature: Option<Entered<TemperatureUnit>>,
    /// Peak to peak movement of a dyno's ram
    #[arg(long)]
    pub(crate) stroke: Option<Entered<LengthUnit>>,
    /// How often a second it moves
    #[arg(long)]
    pub(crate) frequency: Option<Entered<FrequencyUnit>>,
}

/// Accuracy classes of load cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum CellClass {
    /// Class 0.5
    #[value(name = "0.5")]
    Half,
    /// Class 1
    #[value(name = "1")]
    One,
    /// Class 2
    #[value(name = "2")]
    Two,
    /// Class 3
    #[value(name = "3")]
    Three,
}

impl Options {
    /// What is said about its lines.
    pub(crate) fn declared(&self) -> Declared {
        Declared {
            // One that is asked says them itself, with the clock it is asked by.
            columns: self.columns.clone().filter(|_| self.line.scpi.is_none()),
            separator: self.separator,
            separator_default: if self.file.is_some() {
                Separator::Comma
            } else {
                Separator::Space
            },
            skip_lines: self.skip_lines,
            // What is asked for is checked before it becomes lines.
            sealed: self.line.checksum && self.line.scpi.is_none(),
            named: false,
        }
    }

    /// Samples in a block, within what one stored value can hold.
    pub(crate) fn block_samples(&self, columns: &Columns) -> usize {
        let bytes = columns.recorded().len() * size_of::<f64>() + ELAPSED_BYTES;
        self.block_samples.clamp(1, BLOCK_SAMPLES_MAX.min(BLOCK_BYTES / bytes))
    }

    /// How often a block is cut at least.
    pub(crate) fn block_time(&self) -> Duration {
        Duration::from_millis(self.block_ms)
    }
}

impl RunOptions {
    /// The header of a new run.
    pub(crate) fn header(&self, columns: &Columns, obeys: &[Action]) -> v1::RunHeader {
        let now = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        let dyno = columns.hold(Quantity::Force) && !columns.hold(Quantity::Load);
        v1::RunHeader {
            tester: self.tester.clone(),
            spring: self.spring.clone().unwrap_or_default(),
            columns: columns.recorded(),
            start_time: Some(v1_time(now)),
            run_id: self.run_id.clone(),
            obeys: obeys.iter().map(|action| *action as i32).collect(),
            kind: Some(if dyno {
                v1::run_header::Kind::DynoTest(v1::DynoTest {
                    stroke: self.stroke.map(length),
                    frequency: self.frequency.map(|entered| v1::Frequency {
                        value: Some(entered.value()),
                        unit: entered.unit().row().number,
                    }),
                })
            } else {
                v1::run_header::Kind::RateTest(self.rate_test())
            }),
            request_id: uuid::Uuid::new_v4().to_string(),
        }
    }

    fn rate_test(&self) -> v1::RateTest {
        let frame = self.frame.map(|rate| v1::TesterFrame {
            give: Some(v1::tester_frame::Give::Stiffness(v1::FrameStiffness {
                rate: Some(stiffness(rate)),
                standard_uncertainty: self.frame_uncertainty.map(stiffness),
            })),
        });
        let cell = (self.load_cell_class.is_some() || self.load_cell_capacity.is_some()).then(|| v1::LoadCell {
            class: self
                .load_cell_class
                .map_or(v1::load_cell::Class::Unspecified, CellClass::wire)
                .into(),
            capacity: self.load_cell_capacity.map(force),
        });
        v1::RateTest {
            tare_load: self.tare.map(force),
            frame,
            load_cell: cell,
            platen_gap: self.platen_gap.map(length),
            load_resolution: self.load_resolution.map(force),
            deflection_resolution: self.deflection_resolution.map(length),
            preset_stroke_count: self.preset_strokes,
            temperature: self.temperature.map(|entered| v1::Temperature {
                value: Some(entered.value()),
                unit: entered.unit().row().number,
            }),
        }
    }
}

impl CellClass {
    fn wire(self) -> v1::load_cell::Class {
        match self {
            Self::Half => v1::load_cell::Class::Half,
            Self::One => v1::load_cell::Class::Class1,
            Self::Two => v1::load_cell::Class::Class2,
            Self::Three => v1::load_cell::Class::Class3,
        }
    }
}

fn v1_time(since_epoch: Duration) -> prost_types::Timestamp {
    prost_types::Timestamp {
        seconds: i64::try_from(since_epoch.as_secs()).unwrap_or(i64::MAX),
        nanos: i32::try_from(since_epoch.subsec_nanos()).unwrap_or(0),
    }
}

fn force(entered: Entered<ForceUnit>) -> v1::Force {
    v1::Force {
        value: Some(entered.value()),
        unit: entered.unit().row().number,
    }
}

fn length(entered: Entered<LengthUnit>) -> v1::Length {
    v1::Length {
        value: Some(entered.value()),
        unit: entered.unit().row().number,
    }
}

fn stiffness(entered: Entered<StiffnessUnit>) -> v1::Stiffness {
    v1::Stiffness {
        value: Some(entered.value()),
        unit: entered.unit().row().number,
    }
}
