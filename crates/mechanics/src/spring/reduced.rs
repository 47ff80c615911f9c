//! What [`reduce`](super::reduce) answers.

use crate::estimate::{Assumption, Estimate};
use crate::finding::Finding;
use crate::quantity::{Deflection, Energy, Entered, Force, FreeLength, Length, Load, SpringRate, StiffnessUnit};

/// What the readings say of the spring. What a rate measured elsewhere cannot say is `None` or empty.
#[derive(Debug, Clone, PartialEq)]
pub struct Reduced {
    /// The rate with its budget, frame taken off.
    pub rate: Estimate<SpringRate>,
    /// Rate from the two ends of the window alone, frame taken off.
    pub two_point_rate: Option<SpringRate>,
    /// Robust rates beside it.
    pub robust_rate: Option<RobustRate>,
    /// Contact and tare; `None` where none was sought or found.
    pub contact: Option<Contact>,
    /// Free length, where the platen gap is known.
    pub free_length: Option<Estimate<FreeLength>>,
    /// Solid length, where the platen gap is known and the spring bound.
    pub solid_length: Option<Estimate<Length>>,
    /// Friction, where press and return were both seen.
    pub friction: Option<Friction>,
    /// Knees; coil bind among them.
    pub knees: Vec<Knee>,
    /// The curve's shape.
    pub shape: Shape,
    /// How likely that shape is among those that were compared: weights `exp(-I/2)` of the information `I` of every broken line
    /// and bent curve, a step that does not stand out counting for the simpler shape (Schwarz 1978; from memory). `None` where it
    /// was not judged.
    pub shape_probability: Option<f64>,
    /// The curve, for drawing: deflections as read on the tester less a measured frame curve's give, tare taken off.
    pub curve: Curve,
    /// The broken lines through the press, and how many segments it bears out; `None` below eight readings.
    pub curve_fit: Option<CurveFit>,
    /// Rates where they were asked for.
    pub local_rates: Vec<LocalRate>,
    /// Against the marking.
    pub marking_verdict: Option<MarkingVerdict>,
    /// The line of the window.
    pub fit: Option<FittedLine>,
    /// The same with errors in both variables, where the noise of both is stated.
    pub both_errors: Option<BothErrorsLine>,
    /// The window as applied.
    pub window: Option<AppliedWindow>,
    /// Every stroke.
    pub strokes: Vec<StrokeResult>,
    /// Energy stored at the largest deflection.
    pub stored_energy: Option<Energy>,
    /// Energy lost over one press and return, where both were seen.
    pub lost_energy: Option<Energy>,
    /// Largest deflection from contact.
    pub maximum_deflection: Option<Deflection>,
    /// Largest load, tare taken off.
    pub maximum_load: Option<Load>,
    /// Relative bias of the slope from noise of the deflections (Fuller 1987, eq. 1.1.6); 0 without noise.
    pub dilution_ratio: f64,
    /// Loads of the fitted line where asked for, in that order.
    pub predicted_loads: Vec<Estimate<Load>>,
    /// Relative bias of the rate had the frame not been taken off.
    pub frame_bias_ratio: Option<f64>,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// The straight line of the window: load = intercept + slope (deflection - reference). The intercept holds the tare:
/// loads are as the cell showed them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FittedLine {
    /// Slope, before the correction for a frame of one rate.
    pub slope: SpringRate,
    /// Standard uncertainty of the slope from the scatter.
    pub slope_standard_uncertainty: SpringRate,
    /// Load at the reference deflection.
    pub intercept: Load,
    /// Its standard uncertainty.
    pub intercept_standard_uncertainty: Load,
    /// Correlation of the two.
    pub correlation_factor: f64,
    /// Residual standard deviation.
    pub residual_standard_deviation: Load,
    /// Points in the window.
    pub point_count: usize,
    /// Points that count after the residuals' serial correlation.
    pub effective_point_count: f64,
    /// Degrees of freedom.
    pub degrees_of_freedom: f64,
    /// Deflection at which the line meets the no-load level.
    pub zero_load_deflection: Deflection,
    /// Share of the loads' variance the line explains.
    pub explained_ratio: f64,
}

/// The line of the window with errors in both variables. Of the fitted slope's kind: a frame of one rate is not taken off, and
/// every reading counts for itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BothErrorsLine {
    /// Slope.
    pub slope: SpringRate,
    /// Its standard uncertainty from the noises stated.
    pub slope_standard_uncertainty: SpringRate,
    /// Load at the reference deflection.
    pub intercept: Load,
    /// Its standard uncertainty.
    pub intercept_standard_uncertainty: Load,
    /// Weighted square sum of the residuals over its degrees of freedom: near 1 where the noises stated are the readings' own.
    pub misfit_ratio: Option<f64>,
    /// Slope over that of the ordinary line, less 1.
    pub slope_difference_ratio: f64,
}

/// Rates that single wild points do not move. Of the fitted slope's kind: a frame of one rate is not taken off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RobustRate {
    /// Median of pairwise slopes (Theil 1950, Sen 1968).
    pub value: SpringRate,
    /// Median load less rate times median deflection.
    pub intercept: Load,
    /// Lower end of the interval from Kendall's S at the coverage probability.
    pub lower: SpringRate,
    /// Upper end.
    pub upper: SpringRate,
    /// Repeated median (Siegel 1982); `None` above 2,000 points.
    pub repeated_median: Option<SpringRate>,
    /// Points it was taken over: bins of the window above 2,000 points.
    pub point_count: usize,
}

/// Where the platen met the spring.
#[derive(Debug, Clone, PartialEq)]
pub struct Contact {
    /// Deflection at contact: the loaded line meets the no-load level.
    pub deflection: Estimate<Deflection>,
    /// No-load level.
    pub tare: Load,
    /// Standard deviation of the no-load readings; `None` where the level was given.
    pub tare_noise: Option<Load>,
    /// How far the no-load level moved over the run, where it could be read again.
    pub tare_drift: Option<Load>,
}

/// What press and return differ by (Coulomb model: one slope, two intercepts).
#[derive(Debug, Clone, PartialEq)]
pub struct Friction {
    /// Half the gap between the branches.
    pub force: Estimate<Force>,
    /// Slope common to both branches.
    pub rate: SpringRate,
    /// Load of the mean line at the reference deflection.
    pub mean_intercept: Load,
    /// Rate of the press alone.
    pub press_rate: SpringRate,
    /// Rate of the return alone.
    pub return_rate: SpringRate,
    /// Rate of both pooled into one line; biased, for comparison only.
    pub pooled_rate: SpringRate,
}

/// A place where the rate changes. As read on the tester: a frame of one rate is not taken off.
#[derive(Debug, Clone, PartialEq)]
pub struct Knee {
    /// What it is.
    pub kind: KneeKind,
    /// Where, as read on the tester.
    pub deflection: Estimate<Deflection>,
    /// Load there, tare taken off.
    pub load: Load,
    /// Rate before.
    pub rate_before: SpringRate,
    /// Rate after.
    pub rate_after: SpringRate,
}

/// What a knee is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KneeKind {
    /// Coils close: nothing is left to press.
    Bind,
    /// The rate changes within the travel.
    RateChange,
}

/// What the curve is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// Straight as far as it was pressed.
    Straight,
    /// Straight up to coil bind.
    StraightToBind,
    /// Two straight parts, the second the stiffer.
    DualRate,
    /// The rate rises throughout, or more than once.
    Progressive,
    /// Not decided from these samples.
    Undetermined,
}

/// Load against deflection, at most [`CURVE_POINTS`] points a branch, each in order of deflection.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Curve {
    /// Pressing.
    pub press: Vec<CurvePoint>,
    /// Returning.
    pub returning: Vec<CurvePoint>,
    /// A smooth curve through the press that never falls: the monotone interpolation of means. For drawing only.
    pub smooth: Vec<CurvePoint>,
}

/// Most points of a curve's branch: more than a drawing can show.
pub const CURVE_POINTS: usize = 512;

/// A point of the curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Deflection.
    pub deflection: Deflection,
    /// Load.
    pub load: Load,
}

/// The window as it was applied.
#[derive(Debug, Clone, PartialEq)]
pub struct AppliedWindow {
    /// Lower end as read on the tester.
    pub from: Deflection,
    /// Upper end.
    pub to: Deflection,
    /// The base in words.
    pub base: String,
    /// Points in it.
    pub point_count: usize,
}

/// One press of the spring.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrokeResult {
    /// 1, 2, 3 ... in order.
    pub number: usize,
    /// Whether it only set the spring.
    pub preset: bool,
    /// Its own rate in the window; `None` where too little of it lies there.
    pub rate: Option<SpringRate>,
    /// Its largest deflection.
    pub maximum_deflection: Deflection,
    /// Its largest load, tare taken off.
    pub maximum_load: Load,
}

/// Whether the spring is what it is marked as (decision rules: JCGM 106:2012, guarded acceptance and refusal).
#[derive(Debug, Clone, PartialEq)]
pub struct MarkingVerdict {
    /// The decision for the rate; `None` without a tolerance: the difference only.
    pub decision: Option<Decision>,
    /// The marked rate as entered, or as chosen among the readings.
    pub marked_rate: Option<Entered<StiffnessUnit>>,
    /// The mark as typed.
    pub marking_text: String,
    /// Every sensible reading of a mark without a unit.
    pub readings: Vec<MarkReading>,
    /// Measured less marked, over marked.
    pub difference_ratio: f64,
    /// Expanded uncertainty of that.
    pub difference_expanded_uncertainty_ratio: f64,
    /// Permitted deviation of the rate over the marked rate, where there is a tolerance.
    pub rate_tolerance_ratio: Option<f64>,
    /// Lowest rate permitted.
    pub lower_limit: Option<SpringRate>,
    /// Highest rate permitted.
    pub upper_limit: Option<SpringRate>,
    /// Probability that the rate is within the limits.
    pub conformance_probability: Option<f64>,
    /// Permitted deviation of a load over the load at a length, where the grade has one.
    pub load_tolerance_ratio: Option<f64>,
    /// Permitted deviation of the free length, where the grade has one.
    pub free_length_tolerance: Option<Length>,
    /// Permitted deviation of a load, at the largest load of the test, where the grade gives a force.
    pub load_tolerance: Option<Force>,
    /// The decision rule in words.
    pub rule: String,
    /// The verdict in words.
    pub words: String,
    /// Intermediate factor aF of the DIN 2095 formula, newtons.
    pub din_load_factor: Option<f64>,
    /// Intermediate factor kF of the DIN 2095 formula.
    pub din_coil_factor: Option<f64>,
}

/// A decision of conformity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decision {
    /// Within the tolerance, uncertainty taken off.
    Accepted,
    /// Outside the tolerance by more than the uncertainty.
    Refused,
    /// The uncertainty reaches over a limit.
    CannotTell,
}

/// A reading of a mark that has no unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarkReading {
    /// The mark in this unit.
    pub rate: Entered<StiffnessUnit>,
    /// Measured less marked, over marked.
    pub difference_ratio: f64,
    /// Whether the bench value chose it.
    pub chosen: bool,
}

/// Broken lines through the press of the deepest stroke, between seating and coil bind.
#[derive(Debug, Clone, PartialEq)]
pub struct CurveFit {
    /// The best broken lines of 1, 2, ... segments.
    pub lines: Vec<BrokenLine>,
    /// Segments the readings bear out.
    pub chosen_segment_count: usize,
    /// `((RSS1 - RSS2)/2)/(RSS2/(n - 4))`; not F-distributed, because the break was searched. For comparison only.
    pub break_f_ratio: Option<f64>,
    /// Readings, or means of them above 4,000.
    pub point_count: usize,
    /// Readings that count after the residuals' serial correlation.
    pub effective_point_count: f64,
}

/// A broken line: straight segments that meet.
#[derive(Debug, Clone, PartialEq)]
pub struct BrokenLine {
    /// Where they meet, as read on the tester.
    pub breaks: Vec<Estimate<Deflection>>,
    /// Loads there, tare taken off.
    pub loads: Vec<Load>,
    /// Rates of the segments, one more than breaks.
    pub rates: Vec<Estimate<SpringRate>>,
    /// Residual square sum, N2.
    pub residual_square_sum: f64,
    /// Residual standard deviation.
    pub residual_standard_deviation: Load,
    /// Bayesian information `n ln(RSS/n) + p ln n` with `p = 2K` parameters; too easily persuaded of a knee.
    pub information: f64,
    /// The same with `p = 3K - 1`, because breaks were searched.
    pub searched_information: f64,
}

/// The rate at a place of the press.
#[derive(Debug, Clone, PartialEq)]
pub struct LocalRate {
    /// Middle of the readings it was taken over.
    pub deflection: Deflection,
    /// Slope of the line through them.
    pub rate: Estimate<SpringRate>,
    /// Standard uncertainty the same place would have from two neighbours alone.
    pub two_point_standard_uncertainty: SpringRate,
    /// Readings it was taken over.
    pub point_count: usize,
}
