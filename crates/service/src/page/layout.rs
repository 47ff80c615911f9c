//! The frame around every view: head, way to the other views, units.

use maud::{DOCTYPE, Markup, html};
use mechanics::quantity::UnitSystem;

use super::assets::{self, Asset};
use super::visitor::Visitor;

/// Where a view belongs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Section {
    /// Nowhere: a refusal.
    None,
    /// What is being pressed now.
    Bench,
    /// The springs.
    Rack,
    /// The recorded runs.
    Runs,
    /// Springs put together.
    Combine,
    /// Stacks of shims.
    Valving,
    /// The machines of the book.
    Machines,
}

const SECTIONS: &[(Section, &str, &str)] = &[
    (Section::Bench, "/", "Bench"),
    (Section::Rack, "/rack", "Rack"),
    (Section::Runs, "/runs", "Runs"),
    (Section::Combine, "/combine", "Combine"),
    (Section::Valving, "/valving", "Valving"),
    (Section::Machines, "/machines", "Machines"),
];

/// What is around a view.
pub(super) struct Frame<'a> {
    /// What the view shows, in a few words.
    pub(super) title: &'a str,
    /// Where it belongs.
    pub(super) section: Section,
    /// Who looks; `None`: units cannot be chosen here.
    pub(super) visitor: Option<&'a Visitor>,
    /// Scripts besides the common one.
    pub(super) scripts: &'a [&'static Asset],
}

/// The whole document.
pub(super) fn framed(frame: &Frame<'_>, main: Markup) -> String {
    let document = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (frame.title) " – Springwright" }
                link rel="icon" href=(assets::ICON.address()) type="image/svg+xml";
                link rel="stylesheet" href=(assets::STYLE.address());
                script defer src=(assets::COMMON.address()) {}
                @for script in frame.scripts { script defer src=(script.address()) {} }
            }
            body {
                a.skip href="#main" { "Skip to the content" }
                header.top {
                    span.brand { "Springwright" }
                    nav aria-label="Views" {
                        ul {
                            @for (section, address, name) in SECTIONS {
                                li { a href=(address) aria-current=[(*section == frame.section).then_some("page")] { (name) } }
                            }
                        }
                    }
                    @if let Some(visitor) = frame.visitor { (units(visitor)) }
                }
                main #main tabindex="-1" { (main) }
            }
        }
    };
    document.into_string()
}

/// The choice of units: two buttons, of which the chosen one is pressed.
fn units(visitor: &Visitor) -> Markup {
    let choices = [
        (UnitSystem::Metric, "metric", "mm, N"),
        (UnitSystem::Inch, "inch", "in, lbf"),
    ];
    html! {
        form.units method="post" action="/units" {
            fieldset {
                legend { "Units" }
                input type="hidden" name="back" value=(visitor.here);
                @for (system, value, shown) in choices {
                    button name="units" value=(value) aria-pressed=(system == visitor.units) { (shown) }
                }
            }
        }
    }
}
