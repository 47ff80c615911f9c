//! From the records of a visit to the words of a sheet.

mod findings;
mod judged;
mod parts;
mod plots;
mod settings;
mod work;

use mechanics::judgement::RuleTable;
use mechanics::quantity::{Entered, Unit as _, UnitSystem};
use wire::quantity::Message;
use wire::setup::words;
use wire::v1;

use super::content::{Fact, JobSheet, When};
use crate::page::words::distance;

/// What a sheet is made from.
#[derive(Debug, Default)]
pub(crate) struct Gathered {
    pub(crate) rider: Option<v1::Rider>,
    /// The machine with what was fitted as found and as left.
    pub(crate) machines: [v1::MachineValues; 2],
    pub(crate) visit: v1::VisitValues,
    pub(crate) sheet: v1::JobSheet,
    pub(crate) sags: Vec<SagOf>,
    /// What JudgeSetup says of the machine as found, or why it says nothing; left out: nothing was entered as found.
    pub(crate) judged: Option<Result<v1::JudgeSetupResponse, String>>,
    /// The rules it was judged by.
    pub(crate) rules: Option<RuleTable>,
    /// Records of the rack and the drawer that the machine names.
    pub(crate) fitted: Fitted,
    pub(crate) forecast: Option<v1::ForecastLimitsResponse>,
    pub(crate) used: Vec<v1::UsedRevision>,
    pub(crate) units: UnitSystem,
}

/// What is fitted, by the names the machine has for it.
#[derive(Debug, Default)]
pub(crate) struct Fitted {
    pub(crate) springs: Vec<Record<Spring>>,
    pub(crate) stacks: Vec<Record<v1::Stack>>,
    pub(crate) dampers: Vec<Record<Damper>>,
}

/// A record, or why it cannot be had.
#[derive(Debug)]
pub(crate) struct Record<T> {
    pub(crate) name: String,
    pub(crate) found: Result<T, String>,
}

/// A spring of the rack.
#[derive(Debug)]
pub(crate) struct Spring {
    pub(crate) entered: v1::Spring,
    /// Its test reduced; left out: none is named, or it cannot be reduced.
    pub(crate) tested: Option<v1::ReduceRunResponse>,
}

/// A damper of the drawer.
#[derive(Debug)]
pub(crate) struct Damper {
    pub(crate) entered: v1::Damper,
    /// Its force against velocity, or why it is not known.
    pub(crate) evaluated: Result<v1::EvaluateDamperResponse, String>,
}

impl<T> Record<T> {
    /// The record of a name, where it could be read.
    pub(crate) fn of<'a>(records: &'a [Self], name: &str) -> Option<&'a T> {
        let mut records = records.iter();
        records.find(|record| record.name == name)?.found.as_ref().ok()
    }
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

impl Gathered {
    /// The machine as it was found, or as it left.
    fn machine(&self, left: bool) -> &v1::MachineValues {
        let [found, as_left] = &self.machines;
        if left { as_left } else { found }
    }

    /// What is fitted to an end.
    fn unit(&self, end: v1::MachineEnd, left: bool) -> Option<&v1::UnitValues> {
        let machine = self.machine(left);
        match end {
            v1::MachineEnd::Front => machine.front.as_ref(),
            _ => machine.rear.as_ref(),
        }
    }

    /// The state of an end: as found, or as left.
    fn state(&self, end: v1::MachineEnd, left: bool) -> Option<&v1::EndState> {
        let state = if left {
            &self.visit.as_left
        } else {
            &self.visit.as_found
        };
        let state = state.as_ref()?;
        match end {
            v1::MachineEnd::Front => state.front.as_ref(),
            _ => state.rear.as_ref(),
        }
    }

    /// Sag of an end, where it could be read.
    fn sag(&self, end: v1::MachineEnd, left: bool) -> Option<&v1::ReadSagResponse> {
        let mut sags = self.sags.iter();
        let sag = sags.find(|sag| sag.end == end && sag.left == left)?;
        sag.found.as_ref().ok()
    }
}

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
    let mut not_known = judged::not_known(gathered);
    let parts = parts::parts(gathered, &mut not_known);
    let pictures = plots::pictures(gathered, &mut not_known);
    JobSheet {
        shop: String::new(),
        rider: rider.map(|rider| rider.person_name.clone()).unwrap_or_default(),
        machine: gathered.machine(true).label.clone(),
        asked: complaints(visit),
        ridden: visit.pace_note.trim().to_owned(),
        facts: facts(gathered),
        settings: settings::settings(gathered),
        verdicts: judged::verdicts(gathered),
        judged: judged::by(gathered),
        not_known,
        work: work::done(gathered),
        parts,
        pictures,
        concerns: findings::concerns(gathered),
        cautions: judged::cautions(gathered),
        assumptions: findings::assumptions(gathered),
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
        .and_then(|rider| short(rider.mass_with_gear.as_ref(), units));
    let date = visit.visit_time.as_ref().and_then(When::of).map(When::day_words);
    let pace = visit.pace_ratio.map(|pace| format!("{pace:.2}"));
    let rows = [
        ("Visit", date),
        ("Rider with gear", mass),
        ("Distance", distance(visit.distance.as_ref(), units)),
        ("Use", filled(words::riding(visit.riding))),
        ("Pace, first visit 1", pace),
        ("Wheelbase", short(gathered.machine(true).wheelbase.as_ref(), units)),
    ];
    rows.into_iter()
        .filter_map(|(what, figure)| fact(what, figure))
        .collect()
}

/// As somebody entered it, in the units chosen where those are others, without idle zeros: `120 mm`, `1.5 in (38.1 mm)`.
fn short<M: Message>(given: Option<&M>, units: UnitSystem) -> Option<String> {
    let words = |entered: Entered<M::Unit>| {
        let row = entered.unit().row();
        let figure = format!("{:.*}", row.decimals, entered.value());
        let figure = plain(&figure);
        format!("{figure} {}", row.symbol)
    };
    let entered = wire::quantity::stated(given)?;
    let chosen = M::Unit::of_system(units);
    let own = words(entered);
    Some(if chosen == entered.unit() {
        own
    } else {
        format!("{own} ({})", words(entered.in_unit(chosen)))
    })
}

/// A figure without idle zeros behind its point.
fn plain(figure: &str) -> &str {
    if figure.contains('.') {
        figure.trim_end_matches('0').trim_end_matches('.')
    } else {
        figure
    }
}

/// A figure, where there is one.
fn fact(what: &str, figure: Option<String>) -> Option<Fact> {
    Some(Fact {
        what: what.to_owned(),
        figure: figure?,
    })
}

/// A text, where there is one.
fn filled(text: &str) -> Option<String> {
    (!text.trim().is_empty()).then(|| text.to_owned())
}

/// An end with a capital.
fn end_word(end: v1::MachineEnd) -> &'static str {
    if end == v1::MachineEnd::Front { "Front" } else { "Rear" }
}
