//! The form of the valving bench.

use maud::{Markup, html};
use wire::violation::Violation;

use super::asked::in_rebound;
use super::fields::{
    self, BESIDES, DAMPER, FITTED, Field, HOLD, OIL, OTHER, PISTON, PRESENT, SHIMS, STATE, STROKE, STROKES,
};
use super::found::Drawer;
use crate::page::form::Posted;

/// Letters of a stack's text, at most.
const LONGEST: &str = "2000";

/// What a field is called.
pub(super) fn label(name: &str) -> &str {
    match name {
        SHIMS => "This stack",
        PRESENT => "Present stack",
        OTHER => "Stack of the other stroke",
        FITTED => "Damper of the drawer",
        STROKE => "This stack works in",
        HOLD => "The clamp holds the shims radially",
        _ => fields::all()
            .find(|field| field.name == name)
            .map_or(name, |field| field.label),
    }
}

/// The form with what is written in it.
pub(super) fn form(posted: &Posted, faults: &[Violation], drawer: &Drawer) -> Markup {
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
    let choice = |name: &str, options: [(&str, &str, bool); 2]| {
        html! {
            div.field {
                label for=(name) { (label(name)) }
                select id=(name) name=(name) {
                    @for (value, shown, chosen) in options { option value=(value) selected[chosen] { (shown) } }
                }
            }
        }
    };
    let (rebound, free) = (in_rebound(posted), posted.text(HOLD) == "free");
    let named = !posted.text(FITTED).is_empty();
    // A damper of the drawer has its own: what was written stays in the form, out of sight.
    let own = |fields: &[Field]| html! { div data-without=(FITTED) hidden[named] { (lines(fields)) } };
    html! {
        form #ask method="get" action="/valving" data-answer="/valving/result" {
            (stack(SHIMS, Some("text-form")))
            p.hint #text-form {
                "From the piston outward: diameter x thickness * count, layers apart by commas, the unit behind the last one: "
                code { "30x0.15*2, 26x0.15 mm" } ". With a bore: " code { "30/12x0.15" } ". A small shim between large ones makes \
                a gap: the next stage. Every number needs its unit; what stands here at first is invented."
            }
            div data-without=(FITTED) hidden[named] { (stack(PRESENT, None)) }
            @if !drawer.stacks.is_empty() {
                p.hint {
                    "A stack of the drawer is written by its name, and has its own piston:"
                    @for stack in &drawer.stacks {
                        " " code { (stack.name) } @if stack.built { " (built)" }
                    }
                    "."
                }
            }
            (lines(STATE))
            (choice(STROKE, [("rebound", "rebound", rebound), ("compression", "compression", !rebound)]))
            (fitted(posted, drawer, invalid(FITTED)))
            (own(PISTON))
            details data-without=(FITTED) hidden[named] {
                summary { "Land, seat, stop, stress" }
                (lines(BESIDES))
                (choice(HOLD, [("held", "yes", !free), ("free", "no, they slip", free)]))
            }
            details {
                summary { "Damper and oil" }
                div data-without=(FITTED) hidden[named] {
                    (stack(OTHER, None))
                    p.hint { "Both stacks of the piston are taken with the same clamp, ports, seat and bleed." }
                }
                (lines(STROKES))
                (own(DAMPER))
                (own(OIL))
            }
            p.links {
                button.main { "Calculate" }
                button formaction="/valving/section.svg" { "Section as SVG file" }
            }
        }
    }
}

/// Where a damper of the drawer is named.
fn fitted(posted: &Posted, drawer: &Drawer, invalid: Option<&str>) -> Markup {
    html! {
        div.field {
            label for=(FITTED) { (label(FITTED)) }
            input id=(FITTED) name=(FITTED) type="text" maxlength="100" autocomplete="off" spellcheck="false" value=(posted.text(FITTED))
                aria-invalid=[invalid] aria-describedby="damper-hint" list="dampers";
            datalist #dampers {
                @for damper in &drawer.dampers { option value=(damper.name) { (damper.label) } }
            }
            p.hint #damper-hint {
                "Piston, oil, gas and present stack are then its own; with no stack written it is looked at as it is. Left out: \
                what stands below."
            }
        }
    }
}

/// What is written in the form, for paper, where the form is not; of another damper nothing is said.
pub(super) fn in_print(posted: &Posted) -> Markup {
    let named = !posted.text(FITTED).is_empty();
    let of_another = |name: &str| {
        let asked = STATE.iter().chain(STROKES).any(|field| field.name == name);
        !asked && ![SHIMS, STROKE, FITTED].contains(&name)
    };
    let texts = [SHIMS, PRESENT, STROKE, FITTED, OTHER, HOLD].into_iter();
    let names = texts.chain(fields::all().map(|field| field.name));
    let written = names.filter(|name| !(posted.text(name).is_empty() || named && of_another(name)));
    html! {
        section.printed {
            h2 { "As written" }
            dl.figures { @for name in written { div { dt { (label(name)) } dd { bdi { (posted.text(name)) } } } } }
        }
    }
}
