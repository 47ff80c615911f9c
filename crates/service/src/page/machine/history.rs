//! What a machine's visits say one after the other: the visits, shares left with their trend, two setups compared.

use maud::{Markup, html};
use mechanics::chassis::End;
use mechanics::quantity::{Entered, LengthUnit, Unit as _, UnitSystem};
use wire::v1;

use super::form::told;
use super::kept::{self, Kept, id_of, time_of};
use super::words::{ENDS, heading, riding};
use crate::bench::Bench;
use crate::error::ServiceError;
use crate::page::plot::{Axis, Line, Look, Mark, Plot};
use crate::page::words::{Origin, computed, estimated, moment, origin, quantity};

/// Revisions of a visit that are told, newest first.
const REVISIONS: i32 = 20;

/// Points of a line that are drawn: those of the newest visits.
const DRAWN: usize = 60;

/// What is asked of the history.
#[derive(Default)]
pub(super) struct Asked {
    /// Visits that are compared, by id.
    pub(super) compare: Vec<String>,
    /// Where the visits shown begin; empty: with the newest.
    pub(super) from: String,
}

/// What the book says of the visits.
pub(super) struct History {
    /// The visits shown, the newest first, and where those before them begin.
    visits: Vec<v1::Setup>,
    next: String,
    followed: Result<v1::FollowMachineResponse, ServiceError>,
    /// What the visit that is worked on was before, newest first.
    revisions: Vec<v1::Setup>,
    /// The two that were chosen, and what differs between them.
    compared: Option<Result<v1::CompareSetupsResponse, ServiceError>>,
    /// Which were chosen, as the query names them.
    chosen: Vec<String>,
}

/// Reads it.
pub(super) fn read(bench: &Bench, kept: &Kept, asked: Asked, reply_units: i32) -> Result<History, ServiceError> {
    let (visits, next) = match asked.from.as_str() {
        "" => (kept.setups.clone(), kept.next.clone()),
        from => kept::visits(bench, &kept.machine.name, from)?,
    };
    let followed = bench.follow_machine(v1::FollowMachineRequest {
        source: Some(v1::follow_machine_request::Source::Machine(kept.machine.name.clone())),
        reply_units,
        ..Default::default()
    });
    let revisions = match &kept.setup {
        None => Vec::new(),
        Some(setup) => {
            let asked = v1::ListSetupRevisionsRequest {
                name: setup.name.clone(),
                page_size: REVISIONS,
                ..Default::default()
            };
            bench.list_setup_revisions(asked)?.revisions
        }
    };
    Ok(History {
        visits,
        next,
        followed,
        revisions,
        compared: compare(bench, &asked.compare, reply_units),
        chosen: asked.compare,
    })
}

/// Two visits as they were left; one alone: as it was found and as it was left.
fn compare(
    bench: &Bench,
    chosen: &[String],
    reply_units: i32,
) -> Option<Result<v1::CompareSetupsResponse, ServiceError>> {
    use v1::setup_side::Moment;
    let side = |id: &String, moment: Moment| {
        Some(v1::SetupSide {
            source: Some(v1::setup_side::Source::Setup(format!("setups/{id}"))),
            moment: moment as i32,
        })
    };
    let (first, second) = match chosen {
        [] => return None,
        [only] => (side(only, Moment::AsFound), side(only, Moment::AsLeft)),
        // Chosen in a list that has the newest first.
        [newer, older, ..] => (side(older, Moment::Unspecified), side(newer, Moment::Unspecified)),
    };
    Some(bench.compare_setups(v1::CompareSetupsRequest {
        first,
        second,
        reply_units,
    }))
}

impl History {
    /// The history of a machine.
    pub(super) fn shown(&self, kept: &Kept, units: UnitSystem) -> Markup {
        html! {
            section aria-labelledby="h-history" {
                h2 #h-history { "History" }
                @if kept.setups.is_empty() { p { "No visit is recorded yet." } } @else {
                    (self.visits(kept, units))
                    (self.revisions(kept))
                }
                (self.differences(kept))
                (self.trends(units))
            }
        }
    }

    fn visits(&self, kept: &Kept, units: UnitSystem) -> Markup {
        let worked = kept.setup.as_ref().map(|setup| setup.name.as_str());
        html! {
            form method="get" action={ "/machines/" (kept.id()) "#h-history" } {
                @if let Some(worked) = worked { input type="hidden" name="setup" value=(id_of(worked)); }
                table.cards {
                    caption { "Choose two to see what differs between them as they were left; one alone: as found and as left." }
                    thead { tr {
                        th scope="col" { "Compare" } th scope="col" { "Visit" } th scope="col" { "Ridden" }
                        th scope="col" { "Pace" } th scope="col" { "Recorded" } th scope="col" { "Job sheet" }
                    } }
                    tbody { @for setup in &self.visits { (self.visit(kept, setup, worked, units)) } }
                }
                p { button { "Compare the chosen" } }
            }
            @if !self.next.is_empty() { p { a href=(older(kept, &self.next)) { "Older visits" } " (all of them count in the trends)" } }
        }
    }

    fn visit(&self, kept: &Kept, setup: &v1::Setup, worked: Option<&str>, units: UnitSystem) -> Markup {
        let none = v1::VisitValues::default();
        let visit = setup.visit.as_ref().unwrap_or(&none);
        let id = id_of(&setup.name);
        let here = worked == Some(setup.name.as_str());
        let (page, sheet) = (
            format!("/machines/{}", kept.id()),
            format!("/machines/{}/sheet/{id}", kept.id()),
        );
        let pace = visit.pace_ratio.map(|pace| format!("{pace:.2} of the first visit's"));
        html! {
            tr {
                td data-label="Compare" {
                    input type="checkbox" name="compare" value=(id) checked[self.chosen.iter().any(|chosen| chosen == id)]
                        aria-label={ "Compare the visit " (id) };
                }
                th scope="row" {
                    a href={ (page) "?setup=" (id) } aria-current=[here.then_some("true")] { (moment(time_of(setup).as_ref())) }
                    @if here { " " span.origin { "worked on" } }
                }
                td data-label="Ridden" {
                    @if let Some(distance) = ridden_words(visit.distance.as_ref(), units) { (distance) }
                    @if !riding(visit.riding).is_empty() { br; (riding(visit.riding)) }
                }
                td data-label="Pace" {
                    @if let Some(pace) = &pace { (pace) br; }
                    bdi { (visit.pace_note) }
                }
                td data-label="Recorded" {
                    (recorded(visit)) ", revision " (setup.revision)
                    @for work in &visit.work { br; (told(work)) }
                }
                td data-label="Job sheet" {
                    a href=(sheet) aria-label={ "Sheet of " (id) } { "Sheet" } " "
                    a href={ (sheet) ".pdf" } aria-label={ "PDF of the sheet of " (id) } { "PDF" }
                }
            }
        }
    }

    fn revisions(&self, kept: &Kept) -> Markup {
        html! {
            @if let Some(setup) = kept.setup.as_ref().filter(|_| self.revisions.len() > 1) {
                details {
                    summary { "Revisions of this visit" }
                    ul {
                        @for revision in &self.revisions {
                            @let address = format!("/machines/{}?setup={}@{}", kept.id(), id_of(&setup.name), revision.revision);
                            li {
                                a href=(address) { "revision " (revision.revision) } ", " (moment(revision.update_time.as_ref())) ", "
                                @if let Some(visit) = &revision.visit { (recorded(visit)) } @else { "nothing recorded" }
                            }
                        }
                    }
                }
            }
        }
    }

    fn differences(&self, kept: &Kept) -> Markup {
        let Some(compared) = &self.compared else {
            return html! {};
        };
        let day = |id: &String| {
            let mut known = self.visits.iter().chain(&kept.setups);
            let found = known.find(|setup| id_of(&setup.name) == id);
            html! { (moment(found.and_then(time_of).as_ref())) }
        };
        html! {
            h3 #differences { "What differs" }
            p.hint {
                @match self.chosen.as_slice() {
                    [only] => { (day(only)) ": from as found to as left" }
                    [newer, older, ..] => { "From " (day(older)) " to " (day(newer)) ", as they were left" }
                    [] => {}
                }
            }
            @match compared {
                Err(error) => div.notice { p { bdi { (error) } } },
                Ok(reply) if reply.differences.is_empty() => p { "Nothing that is recorded differs." },
                Ok(reply) => table.cards {
                    thead { tr { th scope="col" { "What" } th scope="col" { "First" } th scope="col" { "Second" } th scope="col" { "Change" } } }
                    tbody {
                        @for one in &reply.differences {
                            tr {
                                th.name scope="row" { bdi { (one.label) } }
                                td data-label="First" { bdi { (one.first) } }
                                td data-label="Second" { bdi { (one.second) } }
                                td data-label="Change" { bdi { (one.change) } }
                            }
                        }
                    }
                },
            }
        }
    }

    fn trends(&self, units: UnitSystem) -> Markup {
        let reply = match &self.followed {
            Ok(reply) => reply,
            Err(error) => return html! { div.notice { p { bdi { (error) } } } },
        };
        html! {
            @if !reply.trends.is_empty() {
                h3 { "Share left of each adjuster " (origin(Origin::Computed)) }
                ul { @for trend in &reply.trends { li { (trend.text) } } }
                div.ends { @for end in ENDS { @if let Some(plot) = shares(reply, end, units) { (plot.figure()) } } }
            }
            (predictions(&reply.predictions))
            @for assumption in &reply.assumptions { p.hint { (assumption.text) " (" (assumption.source) ")." } }
        }
    }
}

/// The way to the visits before those shown.
fn older(kept: &Kept, token: &str) -> String {
    let mut query = form_urlencoded::Serializer::new(format!("/machines/{}?", kept.id()));
    if let Some(setup) = &kept.setup {
        query.append_pair("setup", id_of(&setup.name));
    }
    query.append_pair("page", token);
    format!("{}#h-history", query.finish())
}

fn recorded(visit: &v1::VisitValues) -> &'static str {
    match (&visit.as_found, &visit.as_left) {
        (Some(_), Some(_)) => "as found and as left",
        (Some(_), None) => "as found",
        (None, Some(_)) => "as left",
        (None, None) => "no settings",
    }
}

/// The unit distances are drawn in.
fn ridden(units: UnitSystem) -> LengthUnit {
    match units {
        UnitSystem::Metric => LengthUnit::Kilometer,
        UnitSystem::Inch => LengthUnit::Mile,
    }
}

/// A distance as it was entered, and in the unit chosen where that is another.
pub(super) fn ridden_words(distance: Option<&v1::Length>, units: UnitSystem) -> Option<String> {
    let entered: Entered<LengthUnit> = quantity(distance)?;
    let unit = ridden(units);
    if entered.unit() == unit {
        return Some(entered.to_string());
    }
    Some(format!("{entered} ({:.0})", entered.in_unit(unit)))
}

/// Shares left of the circuits of an end against distance; none where fewer than two are known.
fn shares(reply: &v1::FollowMachineResponse, end: End, units: UnitSystem) -> Option<Plot> {
    const LOOKS: [Look; 4] = [Look::Press, Look::OtherPress, Look::Return, Look::OtherReturn];
    let sent = match end {
        End::Front => v1::MachineEnd::Front,
        End::Rear => v1::MachineEnd::Rear,
    };
    let unit = ridden(units);
    let of_end: Vec<&v1::ShareTrend> = reply.trends.iter().filter(|trend| trend.end() == sent).collect();
    let mut lines: Vec<Line> = Vec::new();
    for (trend, look) in of_end.iter().zip(LOOKS) {
        let at = |distance: &v1::Length| {
            quantity(Some(distance)).map(|found: Entered<LengthUnit>| found.in_unit(unit).value())
        };
        let known = |point: &v1::SharePoint| Some((at(point.distance.as_ref()?)?, 100.0 * point.share_ratio));
        let skipped = trend.points.len().saturating_sub(DRAWN);
        let points: Vec<(f64, f64)> = trend.points.iter().skip(skipped).filter_map(known).collect();
        if points.len() > 1 {
            lines.push(Line {
                label: wire::setup::words::circuit(trend.circuit).to_owned(),
                look,
                points,
            });
        }
    }
    let limit = of_end.first()?.limit_ratio;
    if lines.is_empty() {
        return None;
    }
    let (id, title) = match end {
        End::Front => ("front-shares", "Front: share of the range left"),
        End::Rear => ("rear-shares", "Rear: share of the range left"),
    };
    Some(Plot {
        id,
        title: title.to_owned(),
        description: format!(
            "{}: position from closed over range, against the distance ridden.",
            heading(end)
        ),
        x: Axis {
            name: "ridden",
            unit: unit.row().symbol,
            decimals: 0,
        },
        y: Axis {
            name: "left",
            unit: "%",
            decimals: 0,
        },
        lines,
        marks: vec![Mark::Level {
            label: format!("near the limit, {:.0} %", 100.0 * limit),
            y: 100.0 * limit,
        }],
    })
}

/// What was predicted beside what was measured after the work.
fn predictions(checks: &[v1::PredictionCheck]) -> Markup {
    use v1::prediction::Subject;
    let words = |prediction: &v1::Prediction| {
        let subject = match prediction.subject() {
            Subject::StaticSag => "static sag",
            Subject::TotalSag => "total sag",
            Subject::RidersShare => "rider's share of the sag",
            Subject::TravelUsed => "travel used",
            Subject::Unspecified => "a length",
        };
        format!("{} {subject}", wire::setup::words::end(prediction.end))
    };
    html! {
        @if !checks.is_empty() {
            h3 { "Predicted and measured" }
            ul {
                @for check in checks {
                    @let none = v1::Prediction::default();
                    @let prediction = check.prediction.as_ref().unwrap_or(&none);
                    li {
                        (words(prediction)) ": predicted " (computed(prediction.value.as_ref()).unwrap_or_default())
                        @match estimated(check.measured.as_ref()) {
                            Some(measured) => {
                                ", measured " (measured) ", " (computed(check.difference.as_ref()).unwrap_or_default()) " apart"
                                @if check.differs { ": more than the uncertainty" } @else { ": within the uncertainty" }
                            }
                            None => ", not measured yet",
                        }
                    }
                }
            }
        }
    }
}
