//! The form and what comes out of it.

use maud::{Markup, html};
use mechanics::quantity::{ForceUnit, LengthUnit, StiffnessUnit, Unit, UnitSystem};
use wire::quantity::Message;
use wire::v1;
use wire::violation::Violation;

use super::super::form::{Posted, unit_name};
use super::super::plot::{Axis, Line, Look, Plot};
use super::super::said;
use super::super::words::{Origin, computed, origin, row};
use super::ask::{ROWS, field_of};
use super::{Found, Outcome};

/// The whole view.
pub(super) fn shown(posted: &Posted, outcome: &Outcome, others: &[(String, String)], units: UnitSystem) -> Markup {
    let faults = match outcome {
        Outcome::Faults(faults) => faults.as_slice(),
        _ => &[],
    };
    let form = Form { posted, faults, units };
    html! {
        h1 { "Springs together" }
        p {
            "Put springs of the rack, or rates as typed, side by side or one on another. A soft helper under a main spring is one on \
             another with the travel after which it closes; a nested spring of another length is side by side and joins in after the \
             difference."
        }
        div.two {
            div #result aria-live="polite" {
                @match outcome {
                    Outcome::Nothing => p.hint { "What they do together is drawn here." },
                    Outcome::Faults(faults) => (told(faults)),
                    Outcome::Refused(error) => div.notice role="alert" { p { bdi { (error) } } },
                    Outcome::Found(found) => (result(found)),
                }
            }
            (form.shown(others))
        }
    }
}

fn told(faults: &[Violation]) -> Markup {
    html! {
        div.notice role="alert" {
            p { "Look at:" }
            ul { @for fault in faults { li { a href={ "#" (field_of(fault)) } { bdi { (fault.description) } } } } }
        }
    }
}

/// Deflection, load and the rates before and after, of every knot; all in the reply's own units.
fn knots(reply: &v1::EvaluateAssemblyResponse) -> Vec<(f64, f64, f64, f64)> {
    let knot = |knot: &v1::ForceKnot| {
        Some((
            knot.deflection?.value?,
            knot.load?.value?,
            knot.rate_before?.value?,
            knot.rate_after?.value?,
        ))
    };
    reply.knots.iter().filter_map(knot).collect()
}

fn axis<U: Unit>(name: &'static str, number: i32) -> Option<Axis> {
    let row = U::from_number(number)?.row();
    Some(Axis {
        name,
        unit: row.symbol,
        decimals: row.decimals,
    })
}

fn force_plot(found: &Found) -> Option<Plot> {
    let first = found.together.knots.first()?;
    let mut lines = vec![Line {
        label: "all together".to_owned(),
        look: Look::Press,
        points: knots(&found.together).iter().map(|knot| (knot.0, knot.1)).collect(),
    }];
    lines.extend(found.air.as_ref().map(|air| {
        Line {
            label: "air alone".to_owned(),
            look: Look::OtherPress,
            points: air
                .points
                .iter()
                .filter_map(|point| Some((point.stroke?.value?, point.force?.value?)))
                .collect(),
        }
    }));
    Some(Plot {
        id: "force",
        title: "Force of the springs together".to_owned(),
        description: "Force against travel from the fitted position.".to_owned(),
        x: axis::<LengthUnit>("travel", first.deflection?.unit)?,
        y: axis::<ForceUnit>("force", first.load?.unit)?,
        lines,
        marks: Vec::new(),
    })
}

fn rate_plot(found: &Found) -> Option<Plot> {
    let first = found.together.knots.first()?;
    // A step at every knot: the rate before it, then the one after.
    let knots = knots(&found.together);
    let inner = knots.iter().flat_map(|knot| [(knot.0, knot.2), (knot.0, knot.3)]);
    let count = knots.len() * 2;
    let points = inner.skip(1).take(count.saturating_sub(2)).collect();
    Some(Plot {
        id: "rate",
        title: "Rate of the springs together".to_owned(),
        description: "Rate against travel from the fitted position.".to_owned(),
        x: axis::<LengthUnit>("travel", first.deflection?.unit)?,
        y: axis::<StiffnessUnit>("rate", first.rate_after?.unit)?,
        lines: vec![Line {
            label: "all together".to_owned(),
            look: Look::Press,
            points,
        }],
        marks: Vec::new(),
    })
}

fn result(found: &Found) -> Markup {
    let reply = &found.together;
    let closes = computed(reply.travel_to_solid.as_ref()).filter(|_| found.air.is_none());
    html! {
        dl.figures {
            (row("Rate at first", computed(reply.initial_rate.as_ref()), Origin::Computed))
            (row("Force of the preload", computed(reply.preload_force.as_ref()), Origin::Computed))
            (row("Everything closed after", closes, Origin::Computed))
        }
        @if let Some(plot) = force_plot(found) { (plot.figure()) }
        @if let Some(plot) = rate_plot(found) { (plot.figure()) }
        (places(reply))
        (stops(reply))
        (said::findings(&reply.findings))
        @if let Some(air) = &found.air { (said::findings(&air.findings)) }
        (said::caution_beside(&reply.findings))
        (said::assumptions(&assumed(found)))
    }
}

/// What was assumed of the springs and of the air.
fn assumed(found: &Found) -> Vec<v1::Assumption> {
    let air = found.air.iter().flat_map(|air| &air.assumptions);
    found.together.assumptions.iter().chain(air).cloned().collect()
}

fn places(reply: &v1::EvaluateAssemblyResponse) -> Markup {
    html! {
        div.scroll tabindex="0" role="group" aria-label="Along the travel" {
            table {
                caption { "Along the travel, from the fitted position " (origin(Origin::Computed)) }
                thead {
                    tr { th scope="col" { "Travel" } th scope="col" { "Force" } th scope="col" { "Rate" } th scope="col" { "Energy taken up" } }
                }
                tbody {
                    @for point in &reply.points {
                        tr {
                            th scope="row" { (computed(point.deflection.as_ref()).unwrap_or_default()) }
                            td { (computed(point.load.as_ref()).unwrap_or_default()) }
                            td { (computed(point.rate_after.as_ref()).unwrap_or_default()) }
                            td { (computed(point.energy.as_ref()).unwrap_or_default()) }
                        }
                    }
                }
            }
        }
    }
}

fn stops(reply: &v1::EvaluateAssemblyResponse) -> Markup {
    html! {
        @if !reply.stops.is_empty() {
            p { "What closes on the way, in that order:" }
            ul {
                @for stop in &reply.stops {
                    li {
                        bdi { (stop.part) } " at " (computed(stop.deflection.as_ref()).unwrap_or_default())
                        ", " (computed(stop.load.as_ref()).unwrap_or_default())
                    }
                }
            }
        }
    }
}

/// The form, with what is written in it.
struct Form<'a> {
    posted: &'a Posted,
    faults: &'a [Violation],
    units: UnitSystem,
}

impl Form<'_> {
    fn shown(&self, others: &[(String, String)]) -> Markup {
        let in_line = self.posted.text("arrangement") == "line";
        html! {
            form #combine method="get" action="/combine" {
                div.fields {
                    div.field.wide {
                        label for="arrangement" { "Arrangement" }
                        select #arrangement name="arrangement" {
                            option value="side" selected[!in_line] { "side by side: forces add" }
                            option value="line" selected[in_line] { "one on another: travels add" }
                        }
                    }
                }
                @for row in 1..=ROWS {
                    fieldset.spring-row {
                        legend { "Spring " (row) }
                        div.fields {
                            (self.choice(row, others))
                            (self.quantity::<v1::Stiffness>(&format!("rate{row}"), "or its rate"))
                            (self.quantity::<v1::Length>(&format!("stop{row}"), "Closes after"))
                            (self.quantity::<v1::Length>(&format!("gap{row}"), "Joins in after"))
                        }
                    }
                }
                div.fields {
                    (self.quantity::<v1::Length>("preload", "Preload"))
                    (self.quantity::<v1::Length>("travel", "Travel"))
                }
                details open[!self.posted.text("air_gap").is_empty()] {
                    summary { "Air over the oil of a fork leg" }
                    div.fields {
                        (self.quantity::<v1::Length>("air_gap", "Air gap, leg fully collapsed"))
                        (self.quantity::<v1::Length>("seal", "Diameter at the seal"))
                        (self.quantity::<v1::Length>("bore", "Diameter where the gap is measured"))
                        (self.quantity::<v1::Volume>("spring_volume", "Steel above the oil"))
                        div.field {
                            label for="exponent" { "Exponent of the gas" }
                            input #exponent name="exponent" type="text" inputmode="decimal" maxlength="12" value=(self.posted.text("exponent"))
                                aria-invalid=[self.invalid("exponent")] aria-describedby="exponent-hint";
                            p.hint #exponent-hint { "1.0 slow, 1.4 fast; left out: 1.2" }
                        }
                    }
                }
                button.main { "Draw" }
            }
        }
    }

    fn invalid(&self, name: &str) -> Option<&'static str> {
        self.faults
            .iter()
            .any(|fault| field_of(fault) == name)
            .then_some("true")
    }

    fn choice(&self, row: usize, others: &[(String, String)]) -> Markup {
        let name = format!("spring{row}");
        let chosen = self.posted.text(&name);
        let known = chosen.is_empty() || others.iter().any(|(name, _)| name == chosen);
        html! {
            div.field {
                label for=(name) { "Of the rack" }
                select id=(name) name=(name) aria-invalid=[self.invalid(&name)] {
                    option value="" { "none" }
                    @if !known { option value=(chosen) selected { (chosen) } }
                    @for (name, called) in others { option value=(name) selected[name == chosen] { (called) } }
                }
            }
        }
    }

    fn quantity<M: Message>(&self, name: &str, label: &str) -> Markup {
        let written = self.posted.text(&unit_name(name)).to_owned();
        let chosen = M::Unit::from_symbol(&written).unwrap_or(M::Unit::of_system(self.units));
        html! {
            div.field {
                label for=(name) { (label) }
                div.with-unit {
                    input id=(name) name=(name) type="text" inputmode="decimal" maxlength="60" value=(self.posted.text(name))
                        aria-invalid=[self.invalid(name)];
                    select name=(unit_name(name)) aria-label={ "Unit of " (label.to_lowercase()) } {
                        @for unit in M::Unit::ALL { option selected[*unit == chosen] { (unit.row().symbol) } }
                    }
                }
            }
        }
    }
}
