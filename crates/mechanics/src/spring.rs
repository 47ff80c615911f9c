//! What readings say of a spring: its rate with uncertainty, contact, friction, coil bind, and whether it is what it is
//! marked as.

mod answer;
mod assembly;
mod bench;
mod bind;
mod both;
mod budget;
mod calibration;
mod clipping;
mod contact;
mod curve;
mod error;
mod force;
mod gas;
mod grade;
mod helical;
mod hysteresis;
mod knees;
mod least;
mod line;
mod load;
mod load_curve;
mod local;
mod marking;
mod monotone;
mod options;
mod pair;
mod real_gas;
mod reduced;
mod request;
mod robust;
mod samples;
mod scaled;
mod segments;
mod shape;
mod strokes;
mod wheel;
mod window;
pub(crate) mod words;

pub use assembly::{
    Assembly, AssemblyFound, AssemblyPoint, DEEPEST, MOST_PARTS, MOST_TABLE, Part, PartKind, Share, StopEvent,
    evaluate_assembly,
};
pub use both::{UncertainLine, UncertainPoint, fit_uncertain_points};
pub use calibration::{Calibrated, Calibration, ColumnFit, fit_calibration, fit_columns};
pub use error::SpringError;
pub use force::{ForceCurve, ForcePoint};
pub use gas::{
    ChangeKind, Gas, GasChange, GasChanged, GasFound, GasModel, GasPoint, GasRequest, GasSpring, evaluate_gas_change,
    evaluate_gas_spring,
};
pub use grade::{DinSpring, DinTolerance, JisTolerance, din_2095, jis_b_2704};
pub use helical::{
    Design, DesignFound, Ends, GeometryUncertainty, Helical, HelicalPoint, HelicalSpring, Strength, StrengthFound,
    WireMaterial, evaluate_helical,
};
pub use load::{LoadAtLength, SpringValues, load_at_length};
pub use load_curve::{LoadCalibration, LoadCurve};
pub use marking::mark_rates;
pub use pair::{Pair, PairJudged, PairPlace, PairVerdict, judge_pair};
pub use reduced::{
    AppliedWindow, BothErrorsLine, BrokenLine, CURVE_POINTS, Contact, Curve, CurveFit, CurvePoint, Decision,
    FittedLine, Friction, Knee, KneeKind, LocalRate, MarkReading, MarkingVerdict, Reduced, RobustRate, Shape,
    StrokeResult,
};
pub use request::{
    CellClass, CurveInputs, Frame, Geometry, Grade, GradeNumber, LoadCell, Marking, MeasuredRate, Request, Samples,
    ShareWindow, Source, StrokeRule, Tare, UncertaintyInputs, Window, WindowBase,
};
pub use wheel::{Linkage, WheelFound, WheelPoint, WheelSpring, compute_wheel_rate};

/// Reduces samples, or a rate measured elsewhere, to a rate with its uncertainty, and judges it against the marking.
///
/// # Errors
/// [`SpringError`] only where no rate can be given.
pub fn reduce(request: &Request) -> Result<Reduced, SpringError> {
    options::check(request)?;
    match &request.source {
        Source::Samples(samples) => answer::of_samples(request, samples),
        Source::MeasuredRate(given) => of_measured_rate(request, given),
    }
}

fn of_measured_rate(request: &Request, given: &MeasuredRate) -> Result<Reduced, SpringError> {
    let (mut findings, mut assumptions) = (Vec::new(), Vec::new());
    let budgeted = budget::of_measured_rate(request, given, &mut findings, &mut assumptions)?;
    let bench = marking::Bench {
        rate: &budgeted.rate,
        free_length: None,
        maximum_load: None,
    };
    let marking_verdict = marking::verdict(request, &bench, &mut findings);
    Ok(Reduced {
        rate: budgeted.rate,
        two_point_rate: None,
        robust_rate: None,
        contact: None,
        free_length: None,
        solid_length: None,
        friction: None,
        knees: Vec::new(),
        shape: Shape::Undetermined,
        shape_probability: None,
        curve: Curve::default(),
        curve_fit: None,
        local_rates: Vec::new(),
        marking_verdict,
        fit: None,
        both_errors: None,
        window: None,
        strokes: Vec::new(),
        stored_energy: None,
        lost_energy: None,
        maximum_deflection: None,
        maximum_load: None,
        dilution_ratio: 0.0,
        predicted_loads: Vec::new(),
        frame_bias_ratio: budgeted.frame_bias,
        findings,
        assumptions,
    })
}
