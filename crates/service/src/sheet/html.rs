//! The sheet as a document for a browser: it stands alone, and prints on the chosen paper.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::Paper;
use super::content::{COLUMNS, Concern, Fact, Gravity, JobSheet, Part, Picture, ended, noted};

const STYLE: &str = include_str!("sheet.css");

/// The style of a sheet, for the content policy of the page that shows it.
pub(super) fn style(paper: Paper) -> String {
    let size = match paper {
        Paper::A4 => "A4",
        Paper::Letter => "letter",
    };
    format!("@page {{ size: {size}; margin: 14mm; }}\n{STYLE}")
}

pub(super) fn document(sheet: &JobSheet, paper: Paper) -> String {
    let title = sheet.title();
    let concerns = sheet.concerns_by_gravity();
    let (hazards, others): (Vec<_>, Vec<_>) = concerns
        .into_iter()
        .partition(|concern| concern.gravity == Gravity::Hazard);
    let document = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(style(paper))) }
            }
            body {
                main.full[is_full(sheet)] {
                    (head(sheet))
                    (concerns_list(&hazards))
                    (settings(sheet))
                    (verdicts(sheet))
                    (drawings(sheet))
                    (findings(&others))
                    div.grid {
                        @if !sheet.work.is_empty() {
                            section { h2 { "Work done" } ul { @for one in &sheet.work { li { bdi { (one) } } } } }
                        }
                        section {
                            h2 { "Cautions" }
                            ul { @for caution in sheet.cautions_or_usual() { li { bdi { (caution) } } } }
                        }
                    }
                    @if !sheet.notes.trim().is_empty() { p.written { "Notes: " bdi { (sheet.notes) } } }
                    @for said in sheet.small_print() { p.small { bdi { (said) } } }
                    p.small { (sheet.foot()) }
                }
            }
        }
    };
    document.into_string()
}

/// Whether a third column is needed: such a sheet is printed smaller.
fn is_full(sheet: &JobSheet) -> bool {
    let stacks = sheet.parts.iter().filter(|part| part.narrow).count();
    stacks + sheet.pictures.iter().filter(|picture| picture.plot).count() > 2
}

fn head(sheet: &JobSheet) -> Markup {
    html! {
        p.small { "Job sheet" @if !sheet.shop.trim().is_empty() { " – " bdi { (sheet.shop) } } }
        @if !sheet.rider.trim().is_empty() { h1 { bdi { (sheet.rider) } } }
        @if !sheet.machine.trim().is_empty() { p.machine { bdi { (sheet.machine) } } }
        @if !sheet.asked.trim().is_empty() { p { "Asked for: " bdi { (sheet.asked) } } }
        @if !sheet.ridden.trim().is_empty() { p { "Ridden: " bdi { (sheet.ridden) } } }
        @if !sheet.facts.is_empty() { dl.facts { @for fact in &sheet.facts { (shown(fact)) } } }
    }
}

fn shown(fact: &Fact) -> Markup {
    html! { div { dt { (fact.what) } dd { bdi { (fact.figure) } } } }
}

fn settings(sheet: &JobSheet) -> Markup {
    let columns = sheet.columns();
    let left = columns.iter().any(|column| column % 2 == 1);
    html! {
        @if !columns.is_empty() {
            h2 { @if left { "As found and as left" } @else { "As found" } }
            table {
                thead { tr {
                    th scope="col" { "Reading or setting" }
                    @for column in &columns { th scope="col" { (COLUMNS.get(*column).copied().unwrap_or_default()) } }
                } }
                tbody {
                    @for setting in &sheet.settings {
                        tr {
                            th scope="row" { (setting.what) }
                            @for column in &columns {
                                @let figure = setting.figures().get(*column).copied().unwrap_or_default();
                                td { @if figure.trim().is_empty() { "–" } @else { bdi { (figure) } } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn verdicts(sheet: &JobSheet) -> Markup {
    html! {
        @if !sheet.verdicts.is_empty() {
            h2 { "What to do, and why" }
            ol.verdicts {
                @for verdict in &sheet.verdicts {
                    li.hazard[verdict.hazard] {
                        p.words { bdi { (verdict.head()) } }
                        @for (what, words) in verdict.sentences() { p { (what) ": " bdi { (ended(&words)) } } }
                    }
                }
            }
            @if !sheet.judged.trim().is_empty() { p.small { (sheet.judged) } }
        }
    }
}

/// Units first, then stacks and curves in narrow columns, then what is wide.
fn drawings(sheet: &JobSheet) -> Markup {
    let (units, stacks): (Vec<&Part>, Vec<&Part>) = sheet.parts.iter().partition(|part| !part.narrow);
    let (curves, wide): (Vec<&Picture>, Vec<&Picture>) = sheet.pictures.iter().partition(|picture| picture.plot);
    let narrow = !stacks.is_empty() || !curves.is_empty();
    html! {
        @if !sheet.parts.is_empty() || !sheet.pictures.is_empty() { h2 { "Springs, stacks and plots" } }
        @if !units.is_empty() { div.grid { @for unit in units { (part(unit)) } } }
        @if narrow {
            div.grid.narrow[is_full(sheet)] {
                @for stack in stacks { (part(stack)) }
                @for curve in curves { (drawn(curve)) }
            }
        }
        @if !wide.is_empty() { div.grid { @for picture in wide { (drawn(picture)) } } }
    }
}

fn part(part: &Part) -> Markup {
    html! {
        section {
            h3 { bdi { (part.title) } }
            @if !part.facts.is_empty() { p { bdi { (part.facts_in_line()) } } }
            @if let Some(picture) = &part.picture { (drawn(picture)) }
        }
    }
}

/// The drawings are this program's own markup, escaped where they were made.
fn drawn(picture: &Picture) -> Markup {
    html! {
        figure.plot[picture.plot] {
            @if !picture.caption.trim().is_empty() { figcaption { bdi { (picture.caption) } } }
            (PreEscaped(&picture.svg))
        }
    }
}

/// Warnings each by itself, what is only worth knowing in one paragraph.
fn findings(concerns: &[&Concern]) -> Markup {
    let (notes, grave): (Vec<&Concern>, Vec<&Concern>) =
        concerns.iter().partition(|concern| concern.gravity == Gravity::Note);
    html! {
        (concerns_list(&grave))
        @if !notes.is_empty() { p.small { bdi { (noted(&notes)) } } }
    }
}

fn concerns_list(concerns: &[&Concern]) -> Markup {
    html! {
        @if !concerns.is_empty() {
            ul.concerns {
                @for concern in concerns {
                    li.hazard[concern.gravity == Gravity::Hazard] {
                        b { (concern.gravity.word()) } ": " bdi { (concern.message) }
                        @if !concern.caution.trim().is_empty() { p { strong { "Caution: " } bdi { (concern.caution) } } }
                    }
                }
            }
        }
    }
}
