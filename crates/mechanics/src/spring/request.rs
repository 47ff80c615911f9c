//! What is asked of [`reduce`](super::reduce). Every option left out is stated in the reply's assumptions.

use crate::quantity::{
    AbsolutePressure, Deflection, Entered, FrameRate, FreeLength, Length, Load, Quantity, SpringRate, StiffnessUnit,
    Temperature, UnitSystem,
};

use super::LoadCurve;

/// Asks what samples, or a rate measured elsewhere, say of a spring.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// What is reduced.
    pub source: Source,
    /// What the cell shows without load.
    pub tare: Tare,
    /// The calibration loads and tare are read back through; `None`: they are as shown.
    pub calibration: Option<LoadCurve>,
    /// What the tester's frame gives.
    pub frame: Frame,
    /// Which part of the travel the rate is taken over.
    pub window: Window,
    /// What stands on the spring.
    pub marking: Marking,
    /// The tolerance the verdict is given for; `None`: the difference only.
    pub grade: Option<Grade>,
    /// What is known of the errors.
    pub uncertainty: UncertaintyInputs,
    /// What the spring is wound from.
    pub geometry: Geometry,
    /// The load cell.
    pub load_cell: LoadCell,
    /// Which strokes count.
    pub strokes: StrokeRule,
    /// Gap between the platens at deflection 0; gives lengths.
    pub platen_gap: Option<Length>,
    /// Deflections, as read on the tester, at which the fitted line's load is wanted.
    pub predict_at: Vec<Deflection>,
    /// Deflection the intercept is given at; `None`: 0.
    pub reference_deflection: Option<Deflection>,
    /// How the curve is judged.
    pub curve: CurveInputs,
    /// Units of the words in findings and verdict.
    pub units: UnitSystem,
}

impl Request {
    /// Everything left out but the source.
    #[must_use]
    pub fn new(source: Source) -> Self {
        Self {
            source,
            tare: Tare::default(),
            calibration: None,
            frame: Frame::default(),
            window: Window::default(),
            marking: Marking::default(),
            grade: None,
            uncertainty: UncertaintyInputs::default(),
            geometry: Geometry::default(),
            load_cell: LoadCell::default(),
            strokes: StrokeRule::default(),
            platen_gap: None,
            predict_at: Vec::new(),
            reference_deflection: None,
            curve: CurveInputs::default(),
            units: UnitSystem::default(),
        }
    }

    /// Everything left out but the samples.
    #[must_use]
    pub fn of_samples(samples: Samples) -> Self {
        Self::new(Source::Samples(samples))
    }
}

/// What is reduced.
#[derive(Debug, Clone, PartialEq)]
pub enum Source {
    /// Readings.
    Samples(Samples),
    /// A rate measured elsewhere: frame, budget and marking only.
    MeasuredRate(MeasuredRate),
}

/// Readings in the order taken; pressing is positive.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Samples {
    /// Deflections.
    pub deflections: Vec<Deflection>,
    /// Loads, one for each deflection.
    pub loads: Vec<Load>,
    /// Time of each sample, nanoseconds; empty: no clock.
    pub elapsed_ns: Vec<i64>,
    /// Index of the first sample of every further segment, rising.
    pub segment_starts: Vec<usize>,
}

impl Samples {
    /// Samples without clock, one segment.
    #[must_use]
    pub fn new(deflections: Vec<Deflection>, loads: Vec<Load>) -> Self {
        Self {
            deflections,
            loads,
            ..Self::default()
        }
    }

    /// Samples without clock, one segment, from metres and newtons.
    #[must_use]
    pub fn from_si(deflections: &[f64], loads: &[f64]) -> Self {
        Self::new(
            deflections.iter().copied().map(Deflection::from_si).collect(),
            loads.iter().copied().map(Load::from_si).collect(),
        )
    }
}

/// A rate measured elsewhere.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredRate {
    /// The rate as measured, above 0.
    pub rate: SpringRate,
    /// Its type A standard uncertainty, 0 or more.
    pub standard_uncertainty: SpringRate,
    /// Degrees of freedom of that uncertainty; `None`: unlimited.
    pub degrees_of_freedom: Option<f64>,
}

/// What the cell shows without load.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Tare {
    /// Read from the approach before contact; without an approach no tare is taken off.
    #[default]
    Automatic,
    /// This load.
    Level(Load),
    /// The mean of so many samples at the start.
    LeadingSamples(usize),
    /// No tare: loads are as they are, and no contact is sought.
    None,
}

/// What the tester's frame gives under load; what it gives is no deflection of the spring.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Frame {
    /// Taken as rigid.
    #[default]
    Rigid,
    /// One rate over the whole range.
    Rate {
        /// The frame's rate.
        rate: FrameRate,
        /// Its standard uncertainty, 0 or more.
        standard_uncertainty: FrameRate,
    },
    /// A curve measured with a rigid block; subtracted point by point before the window is cut.
    Curve {
        /// Loads, strictly rising, at least 2.
        loads: Vec<Load>,
        /// Give at each load.
        gives: Vec<Deflection>,
    },
}

/// Which part of the travel the rate is taken over; end points inclusive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Window {
    /// By shares of a travel counted from contact.
    Share(ShareWindow),
    /// By deflections as read on the tester.
    Deflections {
        /// Lower end.
        from: Deflection,
        /// Upper end, above the lower.
        to: Deflection,
    },
    /// Every sample.
    AllSamples,
}

impl Default for Window {
    fn default() -> Self {
        Self::Share(ShareWindow::default())
    }
}

/// A window by shares of a travel counted from contact, or from deflection 0 where no contact is sought.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShareWindow {
    /// Lower end, 0 or more.
    pub from_ratio: f64,
    /// Upper end, above the lower, at most 1.
    pub to_ratio: f64,
    /// The travel the shares are of.
    pub base: WindowBase,
}

impl Default for ShareWindow {
    fn default() -> Self {
        Self {
            from_ratio: 0.3,
            to_ratio: 0.7,
            base: WindowBase::default(),
        }
    }
}

/// The travel a window's shares are of.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum WindowBase {
    /// Free to solid where the solid length is known or found, else the travel under the largest load.
    #[default]
    Automatic,
    /// Free to solid.
    FreeToSolid,
    /// From contact to the largest deflection of the test.
    TestTravel,
    /// This travel.
    Travel(Deflection),
}

/// What stands on the spring.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Marking {
    /// Marked rate, as entered.
    pub rate: Option<Entered<StiffnessUnit>>,
    /// The mark as typed, such as "0.95" or "9.5 N/mm"; empty: none.
    pub text: String,
    /// Marked free length.
    pub free_length: Option<FreeLength>,
    /// Load whose permitted deviation is wanted; `None`: the largest of the test.
    pub load: Option<Load>,
}

/// How far a spring may be from its marking.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Grade {
    /// JIS B 2704, cold coiled; needs the active coils, and the index for the free length.
    JisB2704(GradeNumber),
    /// DIN 2095 / EN 15800; formula from memory and unconfirmed. Needs wire, coil, active coils, shear modulus.
    Din2095(GradeNumber),
    /// Permitted deviation of the rate over the marked rate, above 0 and below 1.
    StatedRatio(f64),
}

/// Grade 1 (close) to 3.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GradeNumber {
    /// Close.
    One,
    /// Medium.
    Two,
    /// Wide.
    Three,
}

impl GradeNumber {
    /// From 1, 2 or 3.
    #[must_use]
    pub fn from_number(number: i32) -> Option<Self> {
        match number {
            1 => Some(Self::One),
            2 => Some(Self::Two),
            3 => Some(Self::Three),
            _ => None,
        }
    }
}

/// What the spring is wound from; what is known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Geometry {
    /// Wire diameter.
    pub wire_diameter: Option<Length>,
    /// Mean coil diameter (outside diameter less wire).
    pub mean_coil_diameter: Option<Length>,
    /// Active coils.
    pub active_coil_count: Option<f64>,
    /// Mean coil diameter over wire diameter; `None`: from the two above.
    pub index_ratio: Option<f64>,
    /// Free length.
    pub free_length: Option<FreeLength>,
    /// Solid length; the window counts up to it where it is known.
    pub solid_length: Option<Length>,
    /// Shear modulus of the wire.
    pub shear_modulus: Option<AbsolutePressure>,
}

/// The load cell.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LoadCell {
    /// Its class; gives the load scale's limit where none is stated, and how far the zero may move.
    pub class: Option<CellClass>,
    /// The load at which it ends.
    pub capacity: Option<Load>,
}

/// Accuracy classes of ISO 7500-1 (figures from memory but for the error limits of classes 0.5 and 1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CellClass {
    /// Class 0.5.
    Half,
    /// Class 1.
    One,
    /// Class 2.
    Two,
    /// Class 3.
    Three,
}

/// What is known of the errors.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct UncertaintyInputs {
    /// Probability the expanded uncertainty covers, 0.5 to 0.9999; `None`: 0.95.
    pub coverage_probability: Option<f64>,
    /// Limit of the load scale's error over the load; rectangular. `None`: the load cell's class, else none.
    pub load_scale_limit_ratio: Option<f64>,
    /// Limit of the deflection scale's error over the deflection; rectangular.
    pub deflection_scale_limit_ratio: Option<f64>,
    /// Standard deviation of the noise of a deflection reading.
    pub deflection_noise: Option<Deflection>,
    /// Full width of the last digit of a load.
    pub load_resolution: Option<Load>,
    /// Full width of the last digit of a deflection.
    pub deflection_resolution: Option<Deflection>,
    /// Standard deviation of the noise of a load reading; with that of the deflections the line with errors in both is given.
    pub load_noise: Option<Load>,
    /// Temperature of the spring in the test; corrects to 20 degC by -0.025 % a kelvin (EN 13906-1, from memory).
    pub test_temperature: Option<Temperature>,
}

/// Which strokes count.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StrokeRule {
    /// Strokes at the start that only set the spring; `None`: 0.
    pub preset_stroke_count: Option<usize>,
    /// Travel left out after each reversal; `None`: found from the loads.
    pub reversal_discard: Option<Deflection>,
}

/// How the curve is judged, and where its rate is wanted.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CurveInputs {
    /// Most segments of the broken lines tried, 1 to 4; `None`: 3.
    pub max_segment_count: Option<usize>,
    /// Takes so many segments, 1 to 4, instead of judging; `None`: the readings decide.
    pub segment_count: Option<usize>,
    /// Deflections, as read on the tester, at which the rate is wanted.
    pub rate_at: Vec<Deflection>,
    /// So many places spread evenly from contact to the end or to coil bind, where the rate is wanted too; at most 100.
    pub rate_place_count: Option<usize>,
    /// Readings to either side such a rate is taken over, 1 to 1,000; `None`: a twentieth of the press, 2 to 200.
    pub rate_half_count: Option<usize>,
    /// Standard deviation of a load reading; `None`: the noise stated, else from the scatter.
    pub load_noise: Option<Load>,
}
