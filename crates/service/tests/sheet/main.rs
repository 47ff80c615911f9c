//! The job sheet, read back by programs that are not ours: poppler's pdftotext and pdfinfo.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test all through")]

mod invented;

use std::io::Write as _;
use std::process::{Command, Stdio};

use service::sheet::{JobSheet, Paper};

fn read_by(program: &str, arguments: &[&str], pdf: &[u8]) -> String {
    let mut child = Command::new(program)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{program}: {error}; Debian's poppler-utils has it, tests/run installs it"));
    child.stdin.take().unwrap().write_all(pdf).unwrap();
    let read = child.wait_with_output().unwrap();
    assert!(read.status.success());
    String::from_utf8(read.stdout).unwrap()
}

/// The text of a PDF, with every white space one space.
fn text(pdf: &[u8]) -> String {
    let text = read_by("pdftotext", &["-layout", "-", "-"], pdf);
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Where `SPRINGWRIGHT_PICTURES` names a folder, the sheet is kept there to be looked at.
fn kept(name: &str, document: &[u8]) {
    if let Some(folder) = std::env::var_os("SPRINGWRIGHT_PICTURES") {
        std::fs::write(std::path::Path::new(&folder).join(name), document).unwrap();
    }
}

fn info(pdf: &[u8], what: &str) -> String {
    let info = read_by("pdfinfo", &["-"], pdf);
    let line = info.lines().find_map(|line| line.strip_prefix(what));
    line.unwrap_or_else(|| panic!("no {what} in {info}")).trim().to_owned()
}

#[test]
fn a_visit_is_one_page_that_can_be_searched() {
    let sheet = invented::job_sheet();
    let pdf = sheet.pdf(Paper::A4).unwrap();
    kept("job-sheet.pdf", &pdf);
    kept("job-sheet.html", sheet.html(Paper::A4).as_bytes());
    assert_eq!(info(&pdf, "Pages:"), "1");
    assert_eq!(info(&pdf, "Page size:"), "595.276 x 841.89 pts (A4)");
    assert_eq!(
        info(&pdf, "Title:"),
        "Job sheet: Živa Øster-Łukić, Borealis Tern 700 (invented)"
    );
    assert_eq!(
        info(&sheet.pdf(Paper::Letter).unwrap(), "Page size:"),
        "612 x 792 pts (letter)"
    );
    let text = text(&pdf);
    for said in [
        "Atelier Vélinka",
        "Živa Øster-Łukić",
        "Hazard: as found, the rear had no static sag",
        "As found and as left",
        "Rebound, from closed 10 of 24 clicks – 5 of 24 clicks 10 of 24 clicks",
        "1. Rear: stiffer spring, two steps (85 → 95 N/mm)",
        "Check first: preload: read the collar against the thread",
        "√(k₂/k₁) = 1.057",
        "94.2 ± 0.6 N/mm",
        "load in N",
        "First ride slow, on a quiet road.",
        "2026-11-25 16:05 UTC",
        "Page 1 of 1",
    ] {
        assert!(text.contains(said), "{said:?} is not in {text}");
    }
    // A hazard comes before everything that can wait.
    assert!(text.find("Hazard") < text.find("As found and as left"));
    assert!(pdf.len() < 120_000, "{} bytes: the fonts are subsets", pdf.len());
}

#[test]
fn the_same_sheet_is_the_same_document() {
    let sheet = invented::job_sheet();
    assert!(sheet.pdf(Paper::A4).unwrap() == sheet.pdf(Paper::A4).unwrap());
    assert_eq!(sheet.html(Paper::A4), sheet.html(Paper::A4));
}

#[test]
fn what_does_not_fit_goes_on_under_a_heading() {
    let mut sheet = invented::job_sheet();
    sheet.notes = (1..=150).map(|line| format!("Line {line} of the notes.\n")).collect();
    let pdf = sheet.pdf(Paper::A4).unwrap();
    kept("job-sheet-long.pdf", &pdf);
    let pages: usize = info(&pdf, "Pages:").parse().unwrap();
    assert!(pages > 1);
    let text = text(&pdf);
    let heading = "Continued – Job sheet: Živa Øster-Łukić, Borealis Tern 700 (invented)";
    assert_eq!(text.matches(heading).count(), pages - 1);
    for line in 1..=150 {
        assert!(text.contains(&format!("Line {line} of the notes.")), "line {line}");
    }
    assert!(text.contains(&format!("Page {pages} of {pages}")));
}

#[test]
fn names_are_written_as_they_are_and_do_nothing() {
    let hostile = "\"><script>alert(1)</script>&amp;\u{0}\u{7}\u{202e}\u{2066}]]>";
    let long = "W".repeat(5_000);
    let sheet = JobSheet {
        shop: hostile.to_owned(),
        rider: format!("Ольга Ωmega אבג שלום {long}"),
        machine: "漢字 \u{10fffd}".to_owned(),
        notes: hostile.to_owned(),
        ..invented::job_sheet()
    };
    let html = sheet.html(Paper::A4);
    assert!(!html.contains("<script") && html.contains("&lt;script&gt;alert(1)&lt;/script&gt;&amp;amp;"));
    let pdf = sheet.pdf(Paper::Letter).unwrap();
    kept("job-sheet-hostile.pdf", &pdf);
    let text = text(&pdf);
    for said in ["<script>alert(1)</script>&amp;", "Ольга Ωmega"] {
        assert!(text.contains(said), "{said:?} is not in {text}");
    }
    // The letters of a word that reads from the right stand in their order, whichever way the reader turns them.
    assert!(text.contains("שלום") || text.contains("םולש"), "{text}");
    // A letter that no font has is named; another one is set in a font of the system or named as well.
    assert!(text.contains("no font here has them: "), "{text}");
    assert!(text.contains("U+10FFFD"), "{text}");
    for (letter, code) in [("漢", "U+6F22"), ("字", "U+5B57")] {
        assert!(text.contains(letter) || text.contains(code), "{letter} is lost: {text}");
    }
}

#[test]
fn an_empty_sheet_is_a_sheet() {
    let pdf = JobSheet::default().pdf(Paper::A4).unwrap();
    let text = text(&pdf);
    assert!(
        text.contains("Job sheet") && text.contains("maker’s manual") || text.contains("maker's manual"),
        "{text}"
    );
}
