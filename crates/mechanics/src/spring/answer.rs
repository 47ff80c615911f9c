//! The answer put together from a run.

use crate::estimate::{Contribution, Coverage, Estimate};
use crate::finding::Code;
use crate::quantity::{Deflection, Energy, FreeLength, Length, Load, Quantity, SpringRate};

use super::bench::{Bench, Said, Settled};
use super::budget::{self, Budgeted, Measured};
use super::contact::Beginning;
use super::line::{Group, Line, fit};
use super::marking::{self, Bench as Marked};
use super::shape::{Bend, Judged};
use super::strokes::{Course, Stroke};
use super::words::Words;
use super::{
    AppliedWindow, Contact, FittedLine, Frame, KneeKind, Reduced, Request, RobustRate, Samples, Shape, SpringError,
    StrokeResult, Window, both, contact, curve, hysteresis, knees, local, robust,
};

/// Strokes from which their own rates say more of the scatter than the residuals do.
const STROKES_FOR_TYPE_A: usize = 3;
/// A robust rate this close to the fitted one is the same rate (common practice, no source).
const ROBUST_DIFFERENCE: f64 = 0.002;
/// Below so many readings a window is thin (common practice, no source).
const THIN: usize = 8;

/// Reduces a run.
pub(super) fn of_samples(request: &Request, samples: &Samples) -> Result<Reduced, SpringError> {
    let mut said = Said::default();
    let bench = Bench::new(request, samples, &mut said)?;
    let mut settled = bench.settle()?;
    // The last that reads the groups in the order taken was the line; robust rates sort theirs.
    let coverage = budget::coverage(request);
    let robust = robust_rate(&mut settled.groups, coverage);
    let line = &settled.line;
    let tare = bench.tare();
    let origin = request.reference_deflection.map_or(0.0, Quantity::si);
    let strokes = strokes(&bench, &settled, &mut said);
    let dilution = dilution(request, line);
    let measured = measured(&bench, &settled, &strokes, dilution);
    let budgeted = budget::rate(request, measured, &mut said.findings, &mut said.assumptions)?;
    let two_point = two_point(&settled);
    say_line(request, &settled, &budgeted, two_point, robust.as_ref(), &mut said);
    let contact = contact_found(&bench, &settled, coverage, &mut said)?;
    let largest = bench.counted().flat_map(|(_, stroke)| bench.readings(stroke));
    let maximum_load = largest.map(|p| p.f).fold(f64::NEG_INFINITY, f64::max) - tare;
    let (knees, shape) = shape(&bench, &settled, coverage, &mut said);
    let give = |load: f64| match request.frame {
        Frame::Rate { rate, .. } => load / rate.si(),
        Frame::Rigid | Frame::Curve { .. } => 0.0,
    };
    let from = settled.contact.unwrap_or(0.0);
    let maximum_deflection = settled.travel.largest - from - give(maximum_load);
    let free_length = contact
        .as_ref()
        .zip(request.platen_gap)
        .map(|(contact, gap)| reversed::<FreeLength>(gap.si(), &contact.deflection, 0.0));
    let solid_length = knees
        .iter()
        .find(|knee| knee.kind == KneeKind::Bind)
        .zip(request.platen_gap);
    let solid_length =
        solid_length.map(|(knee, gap)| reversed::<Length>(gap.si(), &knee.deflection, give(knee.load.si())));
    let friction = hysteresis::friction(&settled.groups, line, origin, tare, coverage);
    let (stored, lost) = curve::energies(&bench, &settled, give(maximum_load) * maximum_load / 2.0);
    say_friction(request, line, friction.as_ref(), lost, tare, &mut said);
    say_energy(stored, &mut said);
    let predicted_loads = request
        .predict_at
        .iter()
        .map(|at| predicted(request, line, at.si(), tare))
        .collect();
    let bench_values = Marked {
        rate: &budgeted.rate,
        free_length: free_length.as_ref(),
        maximum_load: Some(Load::from_si(maximum_load)),
    };
    let marking_verdict = marking::verdict(request, &bench_values, &mut said.findings);
    say_defaults(request, &settled, &mut said);
    if let Some(curve) = &request.calibration {
        curve.say(&bench.points, &settled, Words::new(request.units), &mut said);
    }
    Ok(Reduced {
        two_point_rate: two_point.map(|slope| SpringRate::from_si(corrected(slope, request, &budgeted))),
        robust_rate: robust,
        contact,
        free_length,
        solid_length,
        friction,
        knees,
        shape,
        shape_probability: probability_of(shape, settled.judged.as_ref()),
        curve: settled.curve,
        curve_fit: settled
            .judged
            .as_ref()
            .map(|judged| local::curve_fit(judged, tare, coverage)),
        local_rates: settled.local_rates,
        marking_verdict,
        fit: Some(fitted(line, origin, tare)),
        both_errors: both::of_window(request, &settled.groups, line, origin),
        window: Some(AppliedWindow {
            from: Deflection::from_si(settled.cut.from),
            to: Deflection::from_si(settled.cut.to),
            base: settled.cut.base.clone(),
            point_count: line.count,
        }),
        strokes,
        stored_energy: stored.map(Energy::from_si),
        lost_energy: lost.map(Energy::from_si),
        maximum_deflection: Some(Deflection::from_si(maximum_deflection)),
        maximum_load: Some(Load::from_si(maximum_load)),
        dilution_ratio: dilution,
        predicted_loads,
        frame_bias_ratio: budgeted.frame_bias,
        rate: budgeted.rate,
        findings: said.findings,
        assumptions: said.assumptions,
    })
}

/// Takes a frame of one rate off another slope, and brings it to 20 degC like the rate.
fn corrected(slope: f64, request: &Request, budgeted: &Budgeted) -> f64 {
    match request.frame {
        Frame::Rate { rate, .. } => {
            let on_spring = |k: f64| 1.0 / (1.0 / k - 1.0 / rate.si());
            on_spring(slope) * budgeted.warmth
        }
        Frame::Rigid | Frame::Curve { .. } => slope * budgeted.warmth,
    }
}

/// `gap - deflection + give` with the deflection's uncertainty.
fn reversed<Q: Quantity>(gap: f64, deflection: &Estimate<Deflection>, give: f64) -> Estimate<Q> {
    let budget = deflection.budget.iter().map(|row| Contribution {
        source: row.source,
        evaluation: row.evaluation,
        standard_uncertainty: Q::from_si(row.standard_uncertainty.si()),
        sensitivity: row.sensitivity,
        degrees_of_freedom: row.degrees_of_freedom,
    });
    let value = gap - deflection.value.si() + give;
    Estimate::of_budget(
        value,
        budget.collect(),
        Coverage::Stated(deflection.coverage_probability),
    )
}

/// Regression dilution `-1 + 1/(1 + u_s^2/var(s))` from the deflections' noise and last digit, with the variance of the
/// window's deflections about their mean over `n` (Fuller 1987, Measurement Error Models, eq. 1.1.6, from memory).
fn dilution(request: &Request, line: &Line) -> f64 {
    let noise = request.uncertainty.deflection_noise.map_or(0.0, Quantity::si);
    let digit = request.uncertainty.deflection_resolution.map_or(0.0, Quantity::si);
    let ratio = (noise * noise + digit * digit / 12.0) / (line.spread / line.count as f64);
    -ratio / (1.0 + ratio)
}

fn measured(bench: &Bench<'_>, settled: &Settled, strokes: &[StrokeResult], dilution: f64) -> Measured {
    let line = &settled.line;
    let rates: Vec<f64> = strokes
        .iter()
        .filter(|s| !s.preset)
        .filter_map(|s| s.rate.map(Quantity::si))
        .collect();
    let digit = budget::load_digit(bench.request) / 12.0_f64.sqrt();
    let (type_a, dof, source) = if rates.len() >= STROKES_FOR_TYPE_A {
        let count = rates.len() as f64;
        let mean = rates.iter().sum::<f64>() / count;
        let square: f64 = rates.iter().map(|k| (k - mean).powi(2)).sum();
        (
            (square / (count - 1.0) / count).sqrt(),
            count - 1.0,
            "scatter between the strokes",
        )
    } else {
        (line.slope_u, line.dof, "scatter of the loads about the line")
    };
    Measured {
        slope: line.slope,
        type_a,
        dof: (dof > 0.0).then_some(dof),
        source,
        resolution_u: if line.scatter < digit {
            digit / line.spread.sqrt()
        } else {
            0.0
        },
        dilution,
        calibration: bench.request.calibration.as_ref().map(|curve| curve.of_slope(settled)),
    }
}

fn strokes(bench: &Bench<'_>, settled: &Settled, said: &mut Said) -> Vec<StrokeResult> {
    let one = |(number, stroke): (usize, &Stroke)| {
        // A single stroke is what the line was drawn through.
        let slope = if bench.strokes.strokes.len() == 1 {
            Some(settled.line.slope)
        } else {
            fit(&bench.groups(&settled.cut, std::iter::once((number, stroke)))).map(|line| line.slope)
        };
        let (deflection, load) = bench
            .readings(stroke)
            .fold((f64::NEG_INFINITY, f64::NEG_INFINITY), |(s, f), p| {
                (s.max(p.s), f.max(p.f))
            });
        StrokeResult {
            number: number + 1,
            preset: number < bench.first_counted,
            rate: slope.map(SpringRate::from_si),
            maximum_deflection: Deflection::from_si(deflection),
            maximum_load: Load::from_si(load - bench.tare()),
        }
    };
    let strokes: Vec<StrokeResult> = bench.strokes.strokes.iter().enumerate().map(one).collect();
    let counted = strokes
        .iter()
        .filter(|s| !s.preset)
        .filter_map(|s| s.rate.map(Quantity::si));
    let (low, high) = counted.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), k| (l.min(k), h.max(k)));
    let line = &settled.line;
    if high - low > (0.01 * line.slope).max(6.0 * line.slope_u) {
        let words = Words::new(bench.request.units);
        said.find(
            Code::StrokesDiffer,
            "strokes",
            format!(
                "the strokes' rates reach from {} to {}: preset the spring first",
                words.rate(low),
                words.rate(high)
            ),
        );
    }
    strokes
}

/// Rate from the outermost readings of the last press in the window.
fn two_point(settled: &Settled) -> Option<f64> {
    let group = settled.groups.iter().max_by_key(|g| g.course == Course::Press)?;
    let first = group.points.iter().min_by(|a, b| a.s.total_cmp(&b.s))?;
    let last = group.points.iter().max_by(|a, b| a.s.total_cmp(&b.s))?;
    let slope = (last.f - first.f) / (last.s - first.s);
    slope.is_finite().then_some(slope)
}

/// Robust rates of the press with most readings, so that no pair bridges branches or segments.
fn robust_rate(groups: &mut [Group], coverage: Coverage) -> Option<RobustRate> {
    let fullest = groups.iter_mut().max_by_key(|g| fullness(g))?;
    let found = robust::robust(&mut fullest.points, coverage.probability())?;
    Some(RobustRate {
        value: SpringRate::from_si(found.slope),
        intercept: Load::from_si(found.intercept),
        lower: SpringRate::from_si(found.low),
        upper: SpringRate::from_si(found.high),
        repeated_median: found.repeated.map(SpringRate::from_si),
        point_count: found.count,
    })
}

fn fullest(groups: &[Group]) -> Option<&Group> {
    groups.iter().max_by_key(|g| fullness(g))
}

/// A press before a return, then the one with most readings.
fn fullness(group: &Group) -> (bool, usize) {
    (group.course == Course::Press, group.points.len())
}

fn contact_found(
    bench: &Bench<'_>,
    settled: &Settled,
    coverage: Coverage,
    said: &mut Said,
) -> Result<Option<Contact>, SpringError> {
    let Some((no_load, at)) = bench.no_load.as_ref().zip(settled.contact) else {
        return Ok(None);
    };
    let request = bench.request;
    let line = &settled.line;
    let dof = (line.dof > 0.0).then_some(line.dof);
    let friction = line.half_gap.map_or(0.0, |(gap, _)| gap);
    let beginning = settled.beginning.as_ref();
    let per_load = 1.0 / beginning.map_or(line.slope, Beginning::rate);
    let level_dof = (no_load.count > 1).then_some(no_load.count as f64 - 1.0);
    let mut rows = Vec::new();
    let own = match beginning {
        Some(beginning) => beginning.u(no_load.level, friction),
        None => (
            "scatter of the line where it meets the no-load level",
            line.u_at(at) * per_load,
        ),
    };
    let levels = ("scatter of the no-load level", no_load.u() * per_load);
    for ((source, u), dof) in [(own, dof), (levels, level_dof)] {
        if u > 0.0 {
            rows.push(Contribution::type_a(source, u, per_load, dof));
        }
    }
    let drift = contact::drift(&bench.points, &bench.strokes, no_load, at);
    if let Some(drift) = drift {
        let permitted = request.load_cell.class.zip(request.load_cell.capacity);
        let permitted = permitted.map(|(class, capacity)| class.zero_limit_ratio() * capacity.si());
        if let Some(permitted) = permitted
            && drift.abs() > permitted
        {
            return Err(SpringError::TareDrift {
                moved: Load::from_si(drift),
                permitted: Load::from_si(permitted),
            });
        }
        let span = line.slope * (settled.travel.largest - at);
        if drift.abs() > (3.0 * no_load.u()).max(0.002 * span) {
            let text = format!("the no-load level moved by {}", Words::new(request.units).force(drift));
            said.find(Code::TareDrift, "tare", text);
        }
    }
    Ok(Some(Contact {
        deflection: Estimate::of_budget(at, rows, coverage),
        tare: Load::from_si(no_load.level),
        tare_noise: no_load.noise.map(Load::from_si),
        tare_drift: drift.map(Load::from_si),
    }))
}

fn shape(bench: &Bench<'_>, settled: &Settled, coverage: Coverage, said: &mut Said) -> (Vec<super::Knee>, Shape) {
    let tare = bench.tare();
    let words = Words::new(bench.request.units);
    let mut found = Vec::new();
    let judged = settled.judged.as_ref().filter(|_| bench.strokes.ordered);
    if let Some(judged) = judged {
        found.extend(changes(judged, tare, coverage));
    }
    say_changes(&found, judged, words, said);
    if let Some(bind) = &settled.bind {
        found.push(knees::answer(bind, tare, coverage));
        let text = format!(
            "the coils close at {} and {}",
            words.length(bind.at),
            words.force(bind.load - tare)
        );
        said.find(Code::CoilBind, "samples", text);
        say_bind(bench.request, bind.at - settled.contact.unwrap_or(0.0), said);
    }
    let bound = settled.bind.map_or(f64::INFINITY, |bind| bind.at);
    let entered = settled.contact.is_some_and(|contact| settled.cut.from < contact - 1e-9);
    if settled.cut.to > bound || entered {
        let text = format!(
            "the window from {} to {} reaches into coil bind or before contact: the rate is none of the working coils",
            words.length(settled.cut.from),
            words.length(settled.cut.to)
        );
        said.find(Code::WindowBeyondStraight, "window", text);
    }
    (found, shape_of(bench, settled, judged))
}

/// The changes of the rate that are knees; a curve that bends throughout has none.
fn changes(judged: &Judged, tare: f64, coverage: Coverage) -> Vec<super::Knee> {
    let chosen = judged.line().filter(|_| judged.bent.is_none());
    let Some(line) = chosen else { return Vec::new() };
    let line = local::broken_line(line, judged, tare, coverage);
    let rates = line.rates.iter().zip(line.rates.iter().skip(1));
    line.breaks
        .into_iter()
        .zip(line.loads)
        .zip(rates)
        .map(|((deflection, load), (before, after))| super::Knee {
            kind: KneeKind::RateChange,
            deflection,
            load,
            rate_before: before.value,
            rate_after: after.value,
        })
        .collect()
}

fn say_changes(knees: &[super::Knee], judged: Option<&Judged>, words: Words, said: &mut Said) {
    for knee in knees {
        said.find(
            Code::RateChange,
            "samples",
            format!(
                "the rate changes at {} from {} to {}: one rate does not describe this spring",
                words.length(knee.deflection.value.si()),
                words.rate(knee.rate_before.si()),
                words.rate(knee.rate_after.si())
            ),
        );
    }
    if judged.is_some_and(|judged| judged.bent.is_some()) {
        said.find(
            Code::RateChange,
            "samples",
            "the rate changes throughout the travel: one rate does not describe this spring".to_owned(),
        );
    }
}

fn shape_of(bench: &Bench<'_>, settled: &Settled, judged: Option<&Judged>) -> Shape {
    let straight = if settled.bind.is_some() {
        Shape::StraightToBind
    } else {
        Shape::Straight
    };
    let few = settled.line.count < THIN && bench.request.curve.segment_count.is_none();
    let Some(judged) = judged.filter(|_| !few) else {
        return if few || !bench.strokes.ordered {
            Shape::Undetermined
        } else {
            straight
        };
    };
    let rates = judged.line().map(|line| line.rates.as_slice()).unwrap_or_default();
    let rising = rates.windows(2).all(|pair| pair.first() < pair.last());
    match (judged.bent, judged.chosen) {
        (Some(Bend::Rising), _) => Shape::Progressive,
        (Some(Bend::Other), _) => Shape::Undetermined,
        (None, 1) => straight,
        (None, 2) if rising => Shape::DualRate,
        (None, _) if rising => Shape::Progressive,
        (None, _) => Shape::Undetermined,
    }
}

/// How likely the shape is; a shape that was not decided has no probability.
fn probability_of(shape: Shape, judged: Option<&Judged>) -> Option<f64> {
    judged?.probability.filter(|_| shape != Shape::Undetermined)
}

fn say_bind(request: &Request, travel: f64, said: &mut Said) {
    let lengths = request.geometry.free_length.zip(request.geometry.solid_length);
    if let Some((free, solid)) = lengths
        && travel < 0.95 * (free.si() - solid.si())
    {
        let words = Words::new(request.units);
        let text = format!(
            "the coils close after {}, free less solid length promises {}",
            words.length(travel),
            words.length(free.si() - solid.si())
        );
        said.find(Code::BindEarly, "geometry.solid_length", text);
    }
}

fn say_line(
    request: &Request,
    settled: &Settled,
    budgeted: &Budgeted,
    two_point: Option<f64>,
    robust: Option<&RobustRate>,
    said: &mut Said,
) {
    let line = &settled.line;
    let words = Words::new(request.units);
    if line.dof <= 0.0 {
        let text = format!(
            "{} readings in the window: a rate, and no sign of its scatter",
            line.count
        );
        said.find(Code::NoScatter, "window", text);
    } else if line.count < THIN {
        said.find(
            Code::FewPoints,
            "window",
            format!("{} readings in the window", line.count),
        );
    }
    if line.effective < line.count as f64 {
        let text = format!(
            "neighbouring readings err alike: {} readings count as {:.1}",
            line.count, line.effective
        );
        said.find(Code::CorrelatedResiduals, "samples", text);
    }
    // Compared with the line through the same readings. A wild reading widens the line's own interval, not the robust one.
    let dof = (line.dof > 0.0).then_some(line.dof);
    let reach = crate::estimate::coverage_factor(budgeted.rate.coverage_probability, dof) * line.slope_u;
    let same = fullest(&settled.groups).and_then(|group| fit(std::slice::from_ref(group)));
    if let (Some(robust), Some(same)) = (robust, same)
        && (robust.value.si() / same.slope - 1.0).abs() > ROBUST_DIFFERENCE
        && ((robust.value.si() - same.slope).abs() > reach
            || same.slope < robust.lower.si()
            || same.slope > robust.upper.si())
    {
        let text = format!(
            "the robust rate {} and the fitted rate {} differ by more than the scatter explains: look for wild readings; \
             none was left out",
            words.rate(robust.value.si()),
            words.rate(same.slope)
        );
        said.find(Code::WildPoints, "samples", text);
    }
    if let Some(two_point) = two_point
        && (two_point / line.slope - 1.0).abs() > 0.01
        && line.count > 2
    {
        let text = format!(
            "the window's two ends alone give {}, the line {}",
            words.rate(two_point),
            words.rate(line.slope)
        );
        said.find(Code::TwoPointDiffers, "window", text);
    }
}

fn say_friction(
    request: &Request,
    line: &Line,
    friction: Option<&super::Friction>,
    lost: Option<f64>,
    tare: f64,
    said: &mut Said,
) {
    let words = Words::new(request.units);
    if let Some(friction) = friction {
        let force = friction.force.value.si();
        if force > 0.05 * (line.level - tare).abs() {
            let text = format!(
                "friction of {} under a mean load of {}",
                words.force(force),
                words.force(line.level - tare)
            );
            said.find(Code::FrictionLarge, "samples", text);
        }
        if force < -3.0 * friction.force.standard_uncertainty.si() && force < 0.0 {
            let text = format!("the return lies {} above the press", words.force(-2.0 * force));
            said.find(Code::EnergyGained, "samples", text);
        }
        said.assume(
            "samples",
            "the rate is the slope common to press and return, friction is half their gap and constant".to_owned(),
            "Coulomb friction",
        );
    } else if lost.is_some() {
        let text = "the return has too few readings in the window: the rate is that of the press".to_owned();
        said.find(Code::ReturnUnusable, "samples", text);
    }
}

fn say_energy(stored: Option<f64>, said: &mut Said) {
    if let Some(stored) = stored
        && stored > super::load::HURTS
    {
        let text = format!("pressed to its largest deflection the spring stores {stored:.0} J");
        said.find(Code::StoredEnergy, "samples", text);
    }
}

fn say_defaults(request: &Request, settled: &Settled, said: &mut Said) {
    if request.uncertainty.coverage_probability.is_none() {
        said.assume(
            "uncertainty.coverage_probability",
            "0.95 by Student's t where the scatter dominates, else a coverage factor of 2".to_owned(),
            "JCGM 100:2008, 6.3.3 and G.6.6",
        );
    }
    if request.window == Window::default() {
        said.assume(
            "window",
            settled.cut.base.clone(),
            "JIS B 2702:1987, 3.1(3), for the 30 to 70 %; of the load or of the deflection, recollections of EN 13906-1 differ",
        );
    }
}

fn predicted(request: &Request, line: &Line, at: f64, tare: f64) -> Estimate<Load> {
    let load = line.at(at) - tare;
    let mut rows = Vec::new();
    let u = line.u_at(at);
    if u > 0.0 {
        let dof = (line.dof > 0.0).then_some(line.dof);
        rows.push(Contribution::type_a(
            "scatter about the line, intercept and slope with their covariance",
            u,
            1.0,
            dof,
        ));
    }
    if let Some(curve) = &request.calibration {
        rows.extend(curve.of_load(load + tare, tare).rows(load, 1.0));
    }
    let scale = budget::load_scale_limit(request).unwrap_or(0.0) / 3.0_f64.sqrt();
    if scale > 0.0 {
        rows.push(Contribution::type_b("load scale (relative)", scale * load, load));
    }
    Estimate::of_budget(load, rows, budget::coverage(request))
}

fn fitted(line: &Line, origin: f64, tare: f64) -> FittedLine {
    FittedLine {
        slope: SpringRate::from_si(line.slope),
        slope_standard_uncertainty: SpringRate::from_si(line.slope_u),
        intercept: Load::from_si(line.at(origin)),
        intercept_standard_uncertainty: Load::from_si(line.u_at(origin)),
        correlation_factor: line.correlation(origin),
        residual_standard_deviation: Load::from_si(line.scatter),
        point_count: line.count,
        effective_point_count: line.effective,
        degrees_of_freedom: line.dof,
        zero_load_deflection: Deflection::from_si(line.center + (tare - line.level) / line.slope),
        explained_ratio: line.explained,
    }
}
