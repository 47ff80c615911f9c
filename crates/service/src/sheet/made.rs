//! From the records of a visit to the words of a sheet.

use mechanics::quantity::UnitSystem;
use wire::setup::words;
use wire::v1;

use super::content::{Concern, Fact, Gravity, JobSheet, Part, Picture, Setting, When};
use crate::page::words::{entered_in, estimated};

/// What a sheet is made from.
#[derive(Debug, Default)]
pub(crate) struct Gathered {
    pub(crate) rider: Option<v1::Rider>,
    pub(crate) machine: v1::MachineValues,
    pub(crate) visit: v1::VisitValues,
    pub(crate) sheet: v1::JobSheet,
    pub(crate) sags: Vec<SagOf>,
    pub(crate) forecast: Option<v1::ForecastLimitsResponse>,
    pub(crate) used: Vec<v1::UsedRevision>,
    pub(crate) units: UnitSystem,
}

/// Sag of an end at one moment of the visit.
#[derive(Debug)]
pub(crate) struct SagOf {
    /// As left, else as found.
    pub(crate) left: bool,
    pub(crate) end: v1::MachineEnd,
    /// The reply, or why there is none.
    pub(crate) found: Result<v1::ReadSagResponse, String>,
}

const BOTH: [v1::MachineEnd; 2] = [v1::MachineEnd::Front, v1::MachineEnd::Rear];

/// The sheet.
pub(crate) fn sheet(gathered: &Gathered) -> JobSheet {
    let rider = gathered.rider.as_ref();
    let visit = &gathered.visit;
    let written = gathered
        .sheet
        .sheet_time
        .as_ref()
        .or(gathered.sheet.update_time.as_ref());
    let notes = [&visit.notes, &gathered.sheet.notes].map(|notes| notes.trim());
    JobSheet {
        shop: String::new(),
        rider: rider.map(|rider| rider.person_name.clone()).unwrap_or_default(),
        machine: gathered.machine.label.clone(),
        asked: complaints(visit),
        facts: facts(gathered),
        settings: settings(gathered),
        verdicts: Vec::new(),
        parts: BOTH.into_iter().filter_map(|end| part(gathered, end)).collect(),
        pictures: pictures(gathered),
        concerns: concerns(gathered),
        cautions: Vec::new(),
        assumptions: assumptions(gathered),
        notes: notes
            .into_iter()
            .filter(|notes| !notes.is_empty())
            .collect::<Vec<_>>()
            .join("\n"),
        made_from: gathered.used.iter().map(|used| used.name.clone()).collect(),
        written: written.or(visit.visit_time.as_ref()).and_then(When::of),
    }
}

fn complaints(visit: &v1::VisitValues) -> String {
    let Some(found) = &visit.as_found else {
        return String::new();
    };
    let ends = [("front", &found.front), ("rear", &found.rear)];
    let said = ends.into_iter().filter_map(|(name, end)| {
        let complaint = end.as_ref()?.complaint.trim();
        (!complaint.is_empty()).then(|| format!("{name}: {complaint}"))
    });
    said.collect::<Vec<_>>().join("; ")
}

fn facts(gathered: &Gathered) -> Vec<Fact> {
    let visit = &gathered.visit;
    let units = gathered.units;
    let mass = gathered
        .rider
        .as_ref()
        .and_then(|rider| entered_in(rider.mass_with_gear.as_ref(), units));
    let date = visit.visit_time.as_ref().and_then(When::of).map(When::words);
    let pace = visit.pace_ratio.map(|pace| format!("{pace:.2} of the first visit's"));
    let rows = [
        ("Visit", date),
        ("Rider with gear", mass),
        ("Distance", entered_in(visit.distance.as_ref(), units)),
        ("Ridden", riding(visit.riding)),
        ("Pace", pace),
        ("Pace, in words", filled(&visit.pace_note)),
        ("Wheelbase", entered_in(gathered.machine.wheelbase.as_ref(), units)),
    ];
    rows.into_iter()
        .filter_map(|(what, figure)| fact(what, figure))
        .collect()
}

fn fact(what: &str, figure: Option<String>) -> Option<Fact> {
    Some(Fact {
        what: what.to_owned(),
        figure: figure?,
    })
}

fn filled(text: &str) -> Option<String> {
    (!text.trim().is_empty()).then(|| text.to_owned())
}

fn riding(riding: i32) -> Option<String> {
    let word = match v1::Riding::try_from(riding).ok()? {
        v1::Riding::Unspecified => return None,
        v1::Riding::GentleRoad => "gently, on the road",
        v1::Riding::HardRoad => "hard, on the road",
        v1::Riding::Track => "on a closed course",
        v1::Riding::OffRoad => "off the road",
    };
    Some(word.to_owned())
}

/// The state of an end: as found, or as left.
fn state(visit: &v1::VisitValues, end: v1::MachineEnd, left: bool) -> Option<&v1::EndState> {
    let state = if left { &visit.as_left } else { &visit.as_found };
    let state = state.as_ref()?;
    match end {
        v1::MachineEnd::Front => state.front.as_ref(),
        _ => state.rear.as_ref(),
    }
}

/// The four places of a row: front as found and left, rear as found and left.
fn row(what: &str, figure: impl Fn(v1::MachineEnd, bool) -> Option<String>) -> Option<Setting> {
    let [front, rear] = BOTH.map(|end| [false, true].map(|left| figure(end, left).unwrap_or_default()));
    let ([front_found, front_left], [rear_found, rear_left]) = (front, rear);
    let setting = Setting {
        what: what.to_owned(),
        front_found,
        front_left,
        rear_found,
        rear_left,
    };
    setting
        .figures()
        .iter()
        .any(|figure| !figure.is_empty())
        .then_some(setting)
}

fn settings(gathered: &Gathered) -> Vec<Setting> {
    let (visit, units) = (&gathered.visit, gathered.units);
    let sag = |of: fn(&v1::ReadSagResponse) -> Option<&v1::LengthEstimate>| {
        move |end: v1::MachineEnd, left: bool| {
            let found = gathered.sags.iter().find(|sag| sag.end == end && sag.left == left)?;
            estimated(of(found.found.as_ref().ok()?))
        }
    };
    let state_of = |of: fn(&v1::EndState) -> Option<&v1::Length>| {
        move |end: v1::MachineEnd, left: bool| entered_in(of(state(visit, end, left)?), units)
    };
    let mut rows = vec![
        row("Static sag", sag(|sag| sag.static_sag.as_ref())),
        row("Total sag", sag(|sag| sag.total_sag.as_ref())),
        row("Rider’s share", sag(|sag| sag.riders_share.as_ref())),
        row("Preload", state_of(|state| state.preload.as_ref())),
    ];
    for (circuit, name) in CIRCUITS {
        rows.push(row(name, |end, left| {
            adjuster(gathered, state(visit, end, left)?, (end, *circuit))
        }));
    }
    rows.push(row("Travel used", state_of(|state| state.travel_used.as_ref())));
    rows.push(row("Tyre pressure", |end, left| {
        entered_in(state(visit, end, left)?.tyre_gauge_pressure.as_ref(), units)
    }));
    rows.push(row(
        "Fork tubes above the clamp",
        state_of(|state| state.fork_height.as_ref()),
    ));
    rows.push(row("Oil", |end, left| {
        let oils = state(visit, end, left)?
            .oils
            .iter()
            .filter_map(|oil| filled(&oil.grade));
        let oils: Vec<String> = oils.collect();
        (!oils.is_empty()).then(|| oils.join(", "))
    }));
    rows.into_iter().flatten().collect()
}

const CIRCUITS: &[(v1::DampingCircuit, &str)] = &[
    (v1::DampingCircuit::Rebound, "Rebound, from closed"),
    (v1::DampingCircuit::LowSpeedRebound, "Low-speed rebound, from closed"),
    (v1::DampingCircuit::HighSpeedRebound, "High-speed rebound, from closed"),
    (v1::DampingCircuit::Compression, "Compression, from closed"),
    (
        v1::DampingCircuit::LowSpeedCompression,
        "Low-speed compression, from closed",
    ),
    (
        v1::DampingCircuit::HighSpeedCompression,
        "High-speed compression, from closed",
    ),
];

fn unit(machine: &v1::MachineValues, end: v1::MachineEnd) -> Option<&v1::UnitValues> {
    match end {
        v1::MachineEnd::Front => machine.front.as_ref(),
        _ => machine.rear.as_ref(),
    }
}

/// `5 of 24 clicks`, for each leg where they differ.
fn adjuster(
    gathered: &Gathered,
    state: &v1::EndState,
    (end, circuit): (v1::MachineEnd, v1::DampingCircuit),
) -> Option<String> {
    let settings = state
        .adjusters
        .iter()
        .filter(|setting| setting.circuit == circuit as i32);
    let said = settings.filter_map(|setting| {
        let ranges = unit(&gathered.machine, end)
            .map(|unit| unit.adjusters.as_slice())
            .unwrap_or_default();
        let range = ranges
            .iter()
            .find(|range| range.circuit == setting.circuit && range.leg == setting.leg);
        let unit = if setting.unit == 0 {
            range.map_or(0, |range| range.unit)
        } else {
            setting.unit
        };
        let word = match v1::AdjusterUnit::try_from(unit) {
            Ok(v1::AdjusterUnit::Turns) => "turns",
            Ok(v1::AdjusterUnit::Clicks | v1::AdjusterUnit::Unspecified) | Err(_) => "clicks",
        };
        let position = setting.position_from_closed?;
        Some(match range.and_then(|range| range.range_count) {
            Some(range) => format!("{position} of {range} {word}"),
            None => format!("{position} {word}"),
        })
    });
    let said: Vec<String> = said.collect();
    (!said.is_empty()).then(|| said.join(", "))
}

fn part(gathered: &Gathered, end: v1::MachineEnd) -> Option<Part> {
    let unit = unit(&gathered.machine, end)?;
    let word = if end == v1::MachineEnd::Front { "Front" } else { "Rear" };
    let title = match unit.label.trim() {
        "" => word.to_owned(),
        label => format!("{word}: {label}"),
    };
    let units = gathered.units;
    let mut facts: Vec<Fact> = fact("Travel", entered_in(unit.travel.as_ref(), units))
        .into_iter()
        .collect();
    for (index, leg) in unit.legs.iter().enumerate() {
        let place = match (end, unit.legs.len(), index) {
            (v1::MachineEnd::Front, 2, 0) => "left ",
            (v1::MachineEnd::Front, 2, _) => "right ",
            _ => "",
        };
        facts.extend(fact(
            &format!("Spring, {place}rate"),
            entered_in(leg.spring_rate.as_ref(), units),
        ));
        facts.extend(fact(&format!("Spring, {place}record"), filled(&leg.spring)));
        let marked = leg.marking.as_ref().and_then(|marking| filled(&marking.text));
        facts.extend(fact(&format!("Spring, {place}mark"), marked));
        facts.extend(fact(
            &format!("Preload, {place}"),
            entered_in(leg.preload.as_ref(), units),
        ));
        facts.extend(fact("Compression stack", filled(&leg.compression_stack)));
        facts.extend(fact("Rebound stack", filled(&leg.rebound_stack)));
    }
    for fact in &mut facts {
        fact.what = fact.what.trim_end_matches([' ', ',']).to_owned();
    }
    Some(Part {
        title,
        facts,
        picture: None,
    })
}

/// What comes next, as facts and a picture of the cost.
fn pictures(gathered: &Gathered) -> Vec<Picture> {
    let Some(forecast) = &gathered.forecast else {
        return Vec::new();
    };
    if forecast.staircase_svg.is_empty() {
        return Vec::new();
    }
    vec![Picture {
        caption: "Cost against pace: a model’s estimate, with the band of each step".to_owned(),
        svg: forecast.staircase_svg.clone(),
        plot: false,
    }]
}

fn concerns(gathered: &Gathered) -> Vec<Concern> {
    let mut concerns: Vec<Concern> = Vec::new();
    for sag in &gathered.sags {
        let when = if sag.left { "as left" } else { "as found" };
        let end = if sag.end == v1::MachineEnd::Front {
            "front"
        } else {
            "rear"
        };
        match &sag.found {
            Ok(found) => concerns.extend(
                found
                    .findings
                    .iter()
                    .map(|one| concern(one, &format!("{end}, {when}: "))),
            ),
            Err(why) => concerns.push(Concern {
                gravity: Gravity::Note,
                message: format!("{end}, {when}: the sag cannot be told: {why}"),
                caution: String::new(),
            }),
        }
    }
    if let Some(forecast) = &gathered.forecast {
        concerns.extend(forecast.findings.iter().map(|one| concern(one, "looking ahead: ")));
        concerns.extend(forecast.limits.iter().filter_map(limit));
    }
    concerns
}

fn concern(finding: &v1::Finding, before: &str) -> Concern {
    Concern {
        gravity: match finding.severity() {
            v1::Severity::Hazard => Gravity::Hazard,
            v1::Severity::Warning => Gravity::Warning,
            v1::Severity::Note | v1::Severity::Unspecified => Gravity::Note,
        },
        message: format!("{before}{}", finding.message),
        caution: finding.caution.clone(),
    }
}

/// A limit that is met within the paces looked at, as a note.
fn limit(limit: &v1::LimitForecast) -> Option<Concern> {
    let pace = limit.pace_ratio?;
    let when = if pace <= 1.0 {
        "now already".to_owned()
    } else {
        format!("at pace {pace:.2}")
    };
    Some(Concern {
        gravity: Gravity::Note,
        message: format!(
            "looking ahead, {}: {when}; then {}",
            words::placed_limit(limit),
            words::remedy(limit.remedy)
        ),
        caution: String::new(),
    })
}

fn assumptions(gathered: &Gathered) -> Vec<String> {
    let of_sag = gathered
        .sags
        .iter()
        .filter_map(|sag| sag.found.as_ref().ok())
        .flat_map(|found| &found.assumptions);
    let of_forecast = gathered.forecast.iter().flat_map(|forecast| &forecast.assumptions);
    let mut said: Vec<String> = Vec::new();
    for assumption in of_sag.chain(of_forecast) {
        let sentence = format!("{} ({})", assumption.text, assumption.source);
        if !said.contains(&sentence) {
            said.push(sentence);
        }
    }
    said
}
