//! Plots: sag on the travel, share left of the adjusters, curves of springs and dampers, what comes next.

use mechanics::judgement::{Ends, RuleId, RuleTable, Threshold};
use mechanics::quantity::{LengthUnit, Quantity as _, Travel, Unit as _};
use wire::setup::words;
use wire::v1;

use super::{BOTH, Gathered, Record, end_word, settings};
use crate::drawing::{self, OnRange, OnTravel};
use crate::page::curve;
use crate::page::plot::Plot;
use crate::page::valving::plots::strokes;
use crate::sheet::content::Picture;

/// Every plot something is known of; what would show the others is told.
pub(super) fn pictures(gathered: &Gathered, not_known: &mut Vec<String>) -> Vec<Picture> {
    let mut pictures = Vec::new();
    let mut want = |found: Vec<Picture>, missing: &str| {
        if found.is_empty() {
            not_known.push(missing.to_owned());
        }
        pictures.extend(found);
    };
    want(
        sag(gathered),
        "sag on the travel: travel, and lengths extended, alone and with the rider would show it",
    );
    want(
        shares(gathered),
        "share left: adjusters with their range and where they stood would show it",
    );
    want(
        BOTH.into_iter().filter_map(|end| spring_curve(gathered, end)).collect(),
        "curves of the springs: a test of a spring of the rack would show them",
    );
    let dampers = BOTH
        .into_iter()
        .filter_map(|end| damper_curve(gathered, end, not_known));
    let dampers: Vec<Picture> = dampers.collect();
    if dampers.is_empty() {
        not_known.push("force against velocity: a damper of the drawer would show it".to_owned());
    }
    pictures.extend(dampers);
    pictures.extend(stairs(gathered));
    pictures
}

/// What comes next, as a picture of the cost.
fn stairs(gathered: &Gathered) -> Option<Picture> {
    let svg = &gathered.forecast.as_ref()?.staircase_svg;
    (!svg.is_empty()).then(|| Picture {
        caption: "Cost against pace: a model’s estimate, with the band of each step".to_owned(),
        svg: svg.clone(),
        plot: false,
    })
}

fn ends_of(end: v1::MachineEnd) -> Ends {
    if end == v1::MachineEnd::Front {
        Ends::Front
    } else {
        Ends::Rear
    }
}

/// Both moments of both ends, where travel and sag are known.
fn sag(gathered: &Gathered) -> Vec<Picture> {
    let moments = BOTH.into_iter().flat_map(|end| [(end, false), (end, true)]);
    let rows: Vec<OnTravel> = moments
        .filter_map(|(end, left)| on_travel(gathered, end, left))
        .collect();
    if rows.is_empty() {
        return Vec::new();
    }
    vec![Picture {
        caption: "Sag on the travel. Dark: static; light: rider’s share; bracket: total wanted; mark: travel used"
            .to_owned(),
        svg: drawing::sag(&rows).into_string(),
        plot: false,
    }]
}

fn on_travel(gathered: &Gathered, end: v1::MachineEnd, left: bool) -> Option<OnTravel> {
    let unit = LengthUnit::of_system(gathered.units);
    let value = |given: Option<&v1::Length>| Some(wire::quantity::stated(given)?.in_unit(unit).value());
    let travel = value(gathered.unit(end, left)?.travel.as_ref()).filter(|travel| *travel > 0.0)?;
    let sag = gathered.sag(end, left);
    let estimate = |of: fn(&v1::ReadSagResponse) -> Option<&v1::LengthEstimate>| value(of(sag?)?.value.as_ref());
    let static_sag = estimate(|sag| sag.static_sag.as_ref());
    let total_sag = estimate(|sag| sag.total_sag.as_ref());
    let used = value(gathered.state(end, left).and_then(|state| state.travel_used.as_ref()));
    if total_sag.is_none() && used.is_none() {
        return None;
    }
    let off_road = gathered.visit.riding == v1::Riding::OffRoad as i32;
    let wanted = gathered.rules.as_ref().and_then(|rules| {
        let wanted = rules.sag_wanted(ends_of(end), Some(Travel::new(travel, unit)), off_road)?;
        Some((wanted.least.get(unit), wanted.most.get(unit)))
    });
    let places = unit.row().decimals.saturating_sub(2);
    let mut said = Vec::new();
    for (word, figure) in [("static", static_sag), ("total", total_sag), ("used", used)] {
        said.extend(figure.map(|figure| format!("{word} {figure:.places$}")));
    }
    let when = if left { "as left" } else { "as found" };
    Some(OnTravel {
        label: format!("{}, {when}", end_word(end).to_lowercase()),
        travel,
        static_sag,
        total_sag,
        used,
        wanted: total_sag.and(wanted),
        words: format!("{} of {travel:.places$} {}", said.join(", "), unit.row().symbol),
    })
}

/// Every adjuster with a range.
fn shares(gathered: &Gathered) -> Vec<Picture> {
    let mut rows: Vec<OnRange> = Vec::new();
    for end in BOTH {
        for (circuit, _) in settings::CIRCUITS {
            let [found, left] = [false, true].map(|left| position(gathered, (end, left), *circuit));
            let Some((_, range)) = left.or(found) else { continue };
            let said = |at: Option<(f64, f64)>| at.map(|(at, _)| at.to_string());
            let positions: Vec<String> = match (said(found), said(left)) {
                (Some(found), Some(left)) if found == left => vec![found],
                (found, left) => found.into_iter().chain(left).collect(),
            };
            rows.push(OnRange {
                label: format!("{} {}", end_word(end).to_lowercase(), words::circuit(*circuit as i32)),
                found: found.map(|(at, range)| at / range),
                left: left.map(|(at, range)| at / range),
                limit: limit(gathered, end),
                words: format!("{} of {range}", positions.join("→")),
            });
        }
    }
    if rows.is_empty() {
        return Vec::new();
    }
    vec![Picture {
        caption: "Share left, from closed. Ring: as found; dot: as left; grey: near the limit".to_owned(),
        svg: drawing::shares(&rows).into_string(),
        plot: false,
    }]
}

/// Share from closed at which an adjuster is near its limit.
fn limit(gathered: &Gathered, end: v1::MachineEnd) -> f64 {
    let threshold = |rules: &RuleTable| rules.threshold(RuleId::AdjusterNearLimit, ends_of(end));
    match gathered.rules.as_ref().map(threshold) {
        Some(Threshold::Ratio(ratio)) => ratio,
        _ => 0.25,
    }
}

/// Where an adjuster stands, and its range; of legs that differ the first.
fn position(
    gathered: &Gathered,
    (end, left): (v1::MachineEnd, bool),
    circuit: v1::DampingCircuit,
) -> Option<(f64, f64)> {
    let mut settings = gathered.state(end, left)?.adjusters.iter();
    let setting = settings.find(|setting| setting.circuit == circuit as i32)?;
    let mut ranges = gathered.unit(end, left)?.adjusters.iter();
    let range = ranges.find(|range| range.circuit == circuit as i32)?.range_count?;
    Some((setting.position_from_closed?, range)).filter(|(_, range)| *range > 0.0)
}

fn picture(caption: String, plot: &Plot) -> Picture {
    Picture {
        caption,
        svg: plot.svg().into_string(),
        plot: true,
    }
}

/// The tests of an end's springs: of legs that differ over one another.
fn spring_curve(gathered: &Gathered, end: v1::MachineEnd) -> Option<Picture> {
    let legs = &gathered.unit(end, true)?.legs;
    let mut names: Vec<&str> = legs.iter().map(|leg| leg.spring.as_str()).collect();
    names.dedup();
    let tested = names.into_iter().filter_map(|name| {
        let spring = Record::of(&gathered.fitted.springs, name)?;
        spring.tested.as_ref()
    });
    let tested: Vec<&v1::ReduceRunResponse> = tested.collect();
    let (caption, plot) = match tested.as_slice() {
        [left, right, ..] => (
            "Springs of the fork on the bench",
            curve::of_two("Load against deflection", [("left", left), ("right", right)])?,
        ),
        [only] if end == v1::MachineEnd::Front => (
            "Fork spring on the bench",
            curve::of_run("Load against deflection", only)?,
        ),
        [only] => (
            "Shock spring on the bench",
            curve::of_run("Load against deflection", only)?,
        ),
        [] => return None,
    };
    let id = if end == v1::MachineEnd::Front {
        "front-curve"
    } else {
        "rear-curve"
    };
    Some(picture(caption.to_owned(), &Plot { id, ..plot }))
}

/// Force against velocity of the first damper of an end.
fn damper_curve(gathered: &Gathered, end: v1::MachineEnd, not_known: &mut Vec<String>) -> Option<Picture> {
    let mut legs = gathered.unit(end, true)?.legs.iter();
    let damper = legs.find_map(|leg| Record::of(&gathered.fitted.dampers, &leg.damper))?;
    let word = end_word(end);
    match &damper.evaluated {
        Err(why) => {
            not_known.push(format!("{} force against velocity: {why}", word.to_lowercase()));
            None
        }
        Ok(evaluated) => {
            let id = if end == v1::MachineEnd::Front {
                "front-force"
            } else {
                "rear-force"
            };
            let caption = format!("{word} damper, by its record: without gas force");
            Some(picture(caption, &strokes(evaluated, id, gathered.units)))
        }
    }
}
