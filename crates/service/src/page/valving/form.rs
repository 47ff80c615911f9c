//! The form of the valving bench.

use maud::{Markup, html};
use wire::v1;
use wire::violation::Violation;

use super::asked::in_rebound;
use super::fields::{self, BESIDES, DAMPER, Field, HOLD, OIL, OTHER, PISTON, PRESENT, SHIMS, STROKE};
use crate::page::form::Posted;

/// Letters of a stack's text, at most.
const LONGEST: &str = "2000";

/// What a field is called.
pub(super) fn label(name: &str) -> &str {
    match name {
        SHIMS => "This stack",
        PRESENT => "Present stack",
        OTHER => "Stack of the other stroke",
        _ => fields::all()
            .find(|field| field.name == name)
            .map_or(name, |field| field.label),
    }
}

/// The form with what is written in it.
pub(super) fn form(posted: &Posted, faults: &[Violation], drawer: &[v1::Stack]) -> Markup {
    let invalid = |name: &str| faults.iter().any(|fault| fault.field == name).then_some("true");
    let line = |field: &Field| {
        let hint = (!field.hint.is_empty()).then(|| format!("{}-hint", field.name));
        html! {
            div.field {
                label for=(field.name) { (field.label) }
                input id=(field.name) name=(field.name) type="text" maxlength="60" autocomplete="off" value=(posted.text(field.name))
                    aria-invalid=[invalid(field.name)] aria-describedby=[hint.as_ref()];
                @if let Some(hint) = &hint { p.hint id=(hint) { (field.hint) } }
            }
        }
    };
    let lines = |fields: &[Field]| html! { div.fields { @for field in fields { (line(field)) } } };
    let stack = |name: &str, hint: Option<&str>| {
        html! {
            div.field {
                label for=(name) { (label(name)) }
                textarea id=(name) name=(name) rows="3" maxlength=(LONGEST) spellcheck="false" autocomplete="off"
                    aria-invalid=[invalid(name)] aria-describedby=[hint] { (posted.text(name)) }
            }
        }
    };
    let choice = |name: &str, label: &str, options: [(&str, &str, bool); 2]| {
        html! {
            div.field {
                label for=(name) { (label) }
                select id=(name) name=(name) {
                    @for (value, shown, chosen) in options { option value=(value) selected[chosen] { (shown) } }
                }
            }
        }
    };
    let (rebound, free) = (in_rebound(posted), posted.text(HOLD) == "free");
    html! {
        form #ask method="get" action="/valving" data-answer="/valving/result" {
            (stack(SHIMS, Some("text-form")))
            p.hint #text-form {
                "From the piston outward: diameter x thickness * count, layers apart by commas, the unit behind the last one: "
                code { "30x0.15*2, 26x0.15 mm" } ". With a bore: " code { "30/12x0.15" } ". A small shim between large ones makes \
                a gap: the next stage. Every number needs its unit; what stands here at first is invented."
            }
            (stack(PRESENT, None))
            @if !drawer.is_empty() {
                p.hint {
                    "A stack of the drawer is written by its name, and has its own piston:"
                    @for stack in drawer {
                        " " code { (stack.name) } @if stack.built { " (built)" }
                    }
                    "."
                }
            }
            (lines(PISTON))
            details {
                summary { "Land, seat, stop, stress" }
                (lines(BESIDES))
                (choice(HOLD, "The clamp holds the shims radially", [("held", "yes", !free), ("free", "no, they slip", free)]))
            }
            details {
                summary { "Damper and oil" }
                (choice(STROKE, "This stack works in", [("rebound", "rebound", rebound), ("compression", "compression", !rebound)]))
                (stack(OTHER, None))
                p.hint { "Both stacks of the piston are taken with the same clamp, ports, seat and bleed." }
                (lines(DAMPER))
                (lines(OIL))
            }
            p.links {
                button.main { "Calculate" }
                button formaction="/valving/section.svg" { "Section as SVG file" }
            }
        }
    }
}
