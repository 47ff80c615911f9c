//! What the bench answered, drawn and told.

use maud::{Markup, html};
use mechanics::quantity::{Quantity as _, Unit as _, UnitSystem, VolumeUnit};
use mechanics::valving::stack::Stack;
use wire::quantity::Message;
use wire::v1;
use wire::violation::Violations;

use super::found::{Damped, Found, of_stroke};
use super::plots::{self, stroke};
use crate::drawing::{Section, section, size};
use crate::error::ServiceError;
use crate::page::said;
use crate::page::words::{Origin, origin, quantity};

/// What is shown: the answer, and what it was asked of.
pub(super) struct Shown<'a> {
    /// The stack that is planned.
    pub(super) stack: &'a v1::Stack,
    /// The damper of the drawer it works in.
    pub(super) fitted: Option<&'a v1::Damper>,
    /// The stack that is there.
    pub(super) present: Option<&'a v1::Stack>,
    /// Whether the stack works in rebound.
    pub(super) rebound: bool,
    /// What the bench says.
    pub(super) found: &'a Found,
    /// Units of the view.
    pub(super) units: UnitSystem,
}

/// A quantity with more places than its unit usually has; a dash where there is none.
fn fine<M: Message>(message: Option<&M>, more: usize) -> String {
    quantity(message).map_or("–".to_owned(), |found| {
        format!("{found:.*}", found.unit().row().decimals + more)
    })
}

/// A stress: nobody reads a part of a megapascal.
fn whole(stress: Option<&v1::Pressure>) -> String {
    quantity(stress).map_or("–".to_owned(), |stress| format!("{stress:.0}"))
}

/// A change in per cent with its direction in words.
fn change(ratio: f64, (less, more): (&str, &str)) -> String {
    let per_cent = 100.0 * (ratio - 1.0);
    match per_cent {
        change if !change.is_finite() => "–".to_owned(),
        change if change.abs() < 0.05 => "no change".to_owned(),
        change if change < 0.0 => format!("{:.1} % {less}", -change),
        change => format!("{change:.1} % {more}"),
    }
}

const SOFTER: (&str, &str) = ("softer", "stiffer");

fn typed(stack: &v1::Stack) -> Option<Stack> {
    wire::valving::stack::stack(stack, Violations::new().root())
}

impl Shown<'_> {
    /// The answer in a sentence.
    pub(super) fn headline(&self) -> String {
        let Some(point) = self.found.solved.points.last() else {
            return String::new();
        };
        let mut said = format!(
            "At {} the edge of the face shim lifts {}, and the stack is open by {}",
            fine(point.pressure.as_ref(), 0),
            fine(point.edge_lift.as_ref(), 1),
            fine(point.opening.as_ref(), 1)
        );
        let opens = self
            .found
            .solved
            .events
            .iter()
            .find(|event| event.kind() == v1::stack_event::Kind::Cracks);
        if let Some(opens) = opens {
            said.push_str(&format!("; it opens at {}", fine(opens.pressure.as_ref(), 0)));
        }
        let highest = self
            .found
            .compared
            .as_ref()
            .and_then(|compared| compared.stack_differences.last());
        if let Some(ratio) = highest.and_then(|at| at.stiffness_ratio) {
            said.push_str(
                &format!(". It is {} than the present stack there", change(ratio, SOFTER))
                    .replace("no change than", "as stiff as"),
            );
        }
        said + "."
    }

    /// Everything below it.
    pub(super) fn shown(&self) -> Markup {
        html! {
            div.pieces {
                section aria-labelledby="h-section" {
                    h2 #h-section { "Section" }
                    @if let Some(stack) = typed(self.stack) {
                        figure.section tabindex="0" role="group" aria-label="Section of the stack, to scale" { (section(&Section { stack: &stack, solved: Some(&self.found.solved), units: self.units, id: "stack", brief: false })) }
                    }
                }
                section aria-labelledby="h-shims" {
                    h2 #h-shims { "Shims at this pressure " (origin(Origin::Computed)) }
                    (self.shims())
                    (self.events())
                }
                section aria-labelledby="h-lift" {
                    h2 #h-lift { "Lift against pressure " (origin(Origin::Computed)) }
                    (plots::lift(self.found, self.units).figure())
                }
                section aria-labelledby="h-stacks" {
                    h2 #h-stacks { "Against the present stack " (origin(Origin::Computed)) }
                    (self.stacks())
                    (self.thumb())
                }
                @match &self.found.damped {
                    None => section { p.hint { "Without a bore nothing is said of forces." } },
                    Some(Err(error)) => section { (refused(error)) },
                    Some(Ok(damped)) => (self.damper(damped)),
                }
            }
            (said::findings(&self.findings()))
            (caution())
            (said::assumptions(&self.assumptions()))
        }
    }

    fn shims(&self) -> Markup {
        let Some(point) = self.found.solved.points.last() else {
            return html! {};
        };
        let sizes: Vec<String> = self.sizes();
        let limit = quantity(self.stack.stress_limit.as_ref());
        let share = |shim: &v1::ShimState| {
            let stress = quantity(shim.clamp_stress.as_ref())?;
            let limit = limit?.in_unit(stress.unit());
            Some(format!("{:.0} %", 100.0 * stress.value() / limit.value()))
        };
        html! {
            div.scroll tabindex="0" role="group" aria-label="Shims" {
                table {
                    caption { "From the piston outward, whose shim is 0; stress at the clamp, nominal: a real clamp has a rounded edge" }
                    thead { tr {
                        th scope="col" { "Shim" } th scope="col" { "Edge lifts" } th scope="col" { "Stress" }
                        @if limit.is_some() { th scope="col" { "Of its limit" } }
                    } }
                    tbody {
                        @for shim in &point.shims {
                            @let index = usize::try_from(shim.shim_index).unwrap_or(usize::MAX);
                            tr {
                                th scope="row" { (shim.shim_index) @if let Some(size) = sizes.get(index) { ": " (size) } }
                                td { (fine(shim.edge_lift.as_ref(), 1)) }
                                td { (whole(shim.clamp_stress.as_ref())) }
                                @if limit.is_some() { td { (share(shim).unwrap_or_default()) } }
                            }
                        }
                    }
                }
            }
        }
    }

    /// The size of each single shim.
    fn sizes(&self) -> Vec<String> {
        use mechanics::quantity::LengthUnit;
        let unit = LengthUnit::of_system(self.units);
        let layers = typed(self.stack).map(|stack| stack.layers).unwrap_or_default();
        let each = layers.iter().flat_map(|layer| {
            let size = format!("{} {}", size(layer, unit), unit.row().symbol);
            std::iter::repeat_n(size, layer.count)
        });
        each.collect()
    }

    fn events(&self) -> Markup {
        let events = &self.found.solved.events;
        html! {
            @if !events.is_empty() {
                dl.figures {
                    @for event in events {
                        div {
                            dt { (event_words(event)) }
                            dd { (fine(event.pressure.as_ref(), 0)) ", edge lifted " (fine(event.edge_lift.as_ref(), 1)) }
                        }
                    }
                }
            }
        }
    }

    fn stacks(&self) -> Markup {
        let Some(compared) = &self.found.compared else {
            return html! { p.hint { "Write the present stack to compare with it." } };
        };
        html! {
            div.scroll tabindex="0" role="group" aria-label="Both stacks" {
                table {
                    caption { "Opening at low, middle and high pressure. Stiffer: it takes so much more pressure for the opening of the present stack" }
                    thead { tr {
                        th scope="col" { "Pressure" } th scope="col" { "Present" } th scope="col" { "This stack" } th scope="col" { "This stack is" }
                    } }
                    tbody {
                        @for at in &compared.stack_differences {
                            tr {
                                th scope="row" { (fine(at.pressure.as_ref(), 0)) }
                                td { (fine(at.first_opening.as_ref(), 1)) }
                                td { (fine(at.second_opening.as_ref(), 1)) }
                                td { (at.stiffness_ratio.map_or("–".to_owned(), |ratio| change(ratio, SOFTER))) }
                            }
                        }
                    }
                }
            }
        }
    }

    /// The trade's rule beside the answer.
    fn thumb(&self) -> Markup {
        let sum = |stack: &v1::Stack| Some(typed(stack)?.cube_sum().get(VolumeUnit::Milliliter) * 1e3);
        let own = sum(self.stack);
        let both = self.present.and_then(sum).zip(own);
        html! {
            @if let Some(own) = own {
                p.hint {
                    "Rule of thumb: the thicknesses cubed sum to " (format!("{own:.4}")) " mm³"
                    @if let Some((present, own)) = both { ", which would make it " (change(own / present, SOFTER)) }
                    ". The rule is blind to diameters, clamp, ports and stretching; the table above is solved. "
                    (origin(Origin::Computed))
                }
            }
        }
    }

    fn damper(&self, damped: &Damped) -> Markup {
        let (plot, said) = plots::force(damped, self.rebound, self.units);
        html! {
            section aria-labelledby="h-force" {
                h2 #h-force { "Force against velocity " (origin(Origin::Computed)) }
                @if let Some(fitted) = self.fitted { p.hint { "In " bdi { (of_drawer(fitted)) } "." } }
                (plot.figure_noted(&said))
            }
            section aria-labelledby="h-forces" {
                h2 #h-forces { "At low, middle and high speed " (origin(Origin::Computed)) }
                (self.forces(damped))
                (paths(damped))
            }
            @if let Some(plot) = plots::difference(damped, self.rebound, self.units) {
                section aria-labelledby="h-change" {
                    h2 #h-change { "Change of the force " (origin(Origin::Computed)) }
                    (plot.figure())
                }
            }
            section aria-labelledby="h-oil" {
                h2 #h-oil { "Oil and gas " (origin(Origin::Computed)) }
                (oil(damped))
                (marks(damped))
            }
        }
    }

    fn forces(&self, damped: &Damped) -> Markup {
        let Some(compared) = &damped.compared else {
            return html! {};
        };
        let rows = of_stroke(compared.damper_differences.iter(), self.rebound, |at| {
            at.shaft_velocity.as_ref()
        });
        let size = |force: Option<&v1::Force>| {
            let force = quantity(force)?;
            Some(format!("{:.1} {}", force.value().abs(), force.unit().row().symbol))
        };
        html! {
            div.scroll tabindex="0" role="group" aria-label="Forces" {
                table {
                    caption { "Damping force in " (stroke(self.rebound)) ", gas force left out" }
                    thead { tr {
                        th scope="col" { "Velocity" } th scope="col" { "Present" } th scope="col" { "This stack" } th scope="col" { "This stack damps" }
                    } }
                    tbody {
                        @for at in rows {
                            tr {
                                th scope="row" { (speed(at.shaft_velocity.as_ref())) }
                                td { (size(at.first_force.as_ref()).unwrap_or_default()) }
                                td { (size(at.second_force.as_ref()).unwrap_or_default()) }
                                td { (at.force_ratio.map_or("–".to_owned(), |ratio| change(ratio, ("less", "more")))) }
                            }
                        }
                    }
                }
            }
        }
    }

    fn findings(&self) -> Vec<v1::Finding> {
        let stacks = self.found.solved.findings.iter();
        let damper = self
            .found
            .damped
            .iter()
            .flatten()
            .flat_map(|damped| &damped.evaluated.findings);
        let mut findings: Vec<v1::Finding> = Vec::new();
        for finding in stacks.chain(damper) {
            // The damper's stack is the same stack, seen at other pressures.
            if !findings.iter().any(|known| known.message == finding.message) {
                findings.push(finding.clone());
            }
        }
        findings
    }

    fn assumptions(&self) -> Vec<v1::Assumption> {
        let damper = self
            .found
            .damped
            .iter()
            .flatten()
            .flat_map(|damped| &damped.evaluated.assumptions);
        self.found.solved.assumptions.iter().chain(damper).cloned().collect()
    }
}

/// A damper of the drawer in a few words.
fn of_drawer(damper: &v1::Damper) -> String {
    let label = if damper.label.is_empty() { "" } else { ", " };
    let gas = damper.gas.as_ref().and_then(|gas| gas.charge_gauge_pressure.as_ref());
    format!(
        "{}{label}{}: bore {}, shaft {}, gas {} gauge",
        damper.name,
        damper.label,
        fine(damper.bore.as_ref(), 0),
        fine(damper.shaft_diameter.as_ref(), 0),
        fine(gas, 0)
    )
}

/// A velocity without its direction.
fn speed(velocity: Option<&v1::Velocity>) -> String {
    quantity(velocity).map_or(String::new(), |v| {
        format!(
            "{:.*} {}",
            v.unit().row().decimals,
            v.value().abs(),
            v.unit().row().symbol
        )
    })
}

/// Where the oil goes.
fn paths(damped: &Damped) -> Markup {
    let points = [true, false].into_iter().flat_map(|rebound| {
        let named = damped.named(rebound).iter();
        named.map(move |point| (rebound, point, plots::shares(point)))
    });
    html! {
        div.scroll tabindex="0" role="group" aria-label="Paths of the oil" {
            table {
                caption { "Where the oil goes, and what the ports in series take of the pressure drop" }
                thead { tr {
                    th scope="col" { "Stroke, velocity" } th scope="col" { "Force" } th scope="col" { "Stack" } th scope="col" { "Bleed" } th scope="col" { "Band" }
                    th scope="col" { "Ports, of the drop" }
                } }
                tbody {
                    @for (rebound, point, shares) in points {
                        tr {
                            th scope="row" { (stroke(rebound)) ", " (speed(point.shaft_velocity.as_ref())) @if point.cavitates { " (cavitates)" } }
                            td { (format!("{:.1}", plots::damping(point))) }
                            @for share in shares.unwrap_or_default() { td { (format!("{share:.0} %")) } }
                        }
                    }
                }
            }
        }
    }
}

fn oil(damped: &Damped) -> Markup {
    let evaluated = &damped.evaluated;
    let oil = evaluated.oil.as_ref();
    html! {
        dl.figures {
            div { dt { "Viscosity now" } dd { (fine(oil.and_then(|oil| oil.viscosity.as_ref()), 0)) " at " (fine(oil.and_then(|oil| oil.temperature.as_ref()), 0)) } }
            div { dt { "Least gas charge for these strokes, gauge" } dd { (fine(evaluated.least_charge_gauge_pressure.as_ref(), 0)) } }
            div { dt { "Lowest pressure above the least allowed" } dd { (fine(evaluated.cavitation_margin.as_ref(), 0)) } }
        }
    }
}

fn marks(damped: &Damped) -> Markup {
    use v1::CircuitPlace as Place;
    use v1::velocity_mark::Kind;
    let words = |mark: &v1::VelocityMark| {
        let what = match mark.kind() {
            Kind::Opens => "opens",
            Kind::Stage => "begins its next stage",
            Kind::Stop => "reaches its stop",
            Kind::Unspecified => "changes",
        };
        let place = match mark.place() {
            Place::Compression | Place::BaseCompression => "compression",
            Place::Rebound | Place::BaseRebound => "rebound",
            Place::Unspecified => "damper",
        };
        format!("The {place} stack {what} at")
    };
    html! {
        dl.figures {
            @for mark in &damped.evaluated.marks {
                div { dt { (words(mark)) } dd { (speed(mark.shaft_velocity.as_ref())) } }
            }
        }
    }
}

fn event_words(event: &v1::StackEvent) -> String {
    use v1::contact_body::Body;
    let place = |body: Option<&v1::ContactBody>| match body.and_then(|body| body.body) {
        Some(Body::ShimIndex(index)) => format!("shim {index}"),
        Some(Body::Seat(_)) => "the seat".to_owned(),
        Some(Body::Stop(_)) => "the stop".to_owned(),
        None => "a part".to_owned(),
    };
    match event.kind() {
        v1::stack_event::Kind::Cracks => "It leaves the seat at".to_owned(),
        _ => format!(
            "{} meets {} at",
            capital(&place(event.lower.as_ref())),
            place(event.upper.as_ref())
        ),
    }
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters
        .next()
        .map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

/// Why a part of the answer is missing.
pub(super) fn refused(error: &ServiceError) -> Markup {
    html! {
        div.notice {
            p { bdi { (error) } }
            @if let ServiceError::InvalidFields(faults) = error {
                ul { @for fault in faults { li { bdi { (fault.description) } } } }
            }
        }
    }
}

/// The caution of the trade, where valving is changed.
fn caution() -> Markup {
    html! {
        p.hint {
            "Before a damper is opened: discharge its gas, mind the pressure that stays in it, and take the load of the spring \
             off the shaft. Refill with dry nitrogen only. Wear eye protection. The maker's manual comes first. What is \
             computed is a prediction: ride slowly at first, where nobody else is."
        }
    }
}
