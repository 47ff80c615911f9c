//! An invented job, for the tests of the sheet. No such shop, rider or machine exists.

use service::sheet::{Assumed, Concern, Fact, Gravity, JobSheet, Part, Picture, Setting, Verdict, When};

fn fact(what: &str, figure: &str) -> Fact {
    Fact {
        what: what.to_owned(),
        figure: figure.to_owned(),
    }
}

fn setting(what: &str, figures: [&str; 4]) -> Setting {
    let [front_found, front_left, rear_found, rear_left] = figures.map(str::to_owned);
    Setting {
        what: what.to_owned(),
        front_found,
        front_left,
        rear_found,
        rear_left,
    }
}

/// A straight line over two axes, drawn as simply as it can be.
fn picture(caption: &str) -> Picture {
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 640 440\" font-family=\"system-ui, sans-serif\" \
               font-size=\"15\"><path d=\"M60 20V400H620M60 400L600 40\" fill=\"none\" stroke=\"#0b5e6b\" \
               stroke-width=\"2.5\"/><text x=\"8\" y=\"20\">load in N</text></svg>";
    Picture {
        caption: caption.to_owned(),
        svg: svg.to_owned(),
        plot: true,
    }
}

/// A whole visit, on one page.
pub(super) fn job_sheet() -> JobSheet {
    JobSheet {
        shop: "Atelier Vélinka".to_owned(),
        rider: "Živa Øster-Łukić".to_owned(),
        machine: "Borealis Tern 700 (invented)".to_owned(),
        ridden: "faster than last year".to_owned(),
        asked: "It kicks me out of the seat over short bumps.".to_owned(),
        facts: vec![
            fact("Rider with gear", "84.0 kg (entered)"),
            fact("Use", "hard road"),
            fact("As found", "2026-11-20, 12 400 km"),
            fact("As left", "2026-11-25, 12 460 km"),
        ],
        settings: vec![
            setting("Static sag", ["22 mm", "22 mm", "0 mm", "10 mm"]),
            setting("Total sag", ["36 mm", "36 mm", "40 mm", "34 mm"]),
            setting("Rider’s share", ["14 mm", "14 mm", "40 mm", "24 mm"]),
            setting("Spring", ["9.0 N/mm per leg", "9.0 N/mm per leg", "85 N/mm", "95 N/mm"]),
            setting("Preload", ["12 mm", "12 mm", "22 mm", "9 mm"]),
            setting(
                "Rebound, from closed",
                ["10 of 24 clicks", "", "5 of 24 clicks", "10 of 24 clicks"],
            ),
            setting(
                "Compression, from closed",
                ["", "", "11 of 20 clicks", "11 of 20 clicks"],
            ),
            setting("Travel used", ["71 %", "", "97 %", ""]),
        ],
        verdicts: vec![
            Verdict {
                words: "Rear: stiffer spring, two steps (85 → 95 N/mm)".to_owned(),
                confidence: "likely".to_owned(),
                evidence: vec![
                    "no static sag with the total at the top of its range (table 1, row 7)".to_owned(),
                    "rider’s share 40 mm asks for 95 N/mm ± 5 N/mm".to_owned(),
                ],
                check_first: vec!["preload: read the collar against the thread".to_owned()],
                overturned_by: vec!["a rider heavier by 15 kg than entered".to_owned()],
                ..Verdict::default()
            },
            Verdict {
                words: "Rear: rebound slower by 6 %, one click, to go with the spring".to_owned(),
                evidence: vec!["√(k₂/k₁) = 1.057 keeps the damping ratio".to_owned()],
                ..Verdict::default()
            },
        ],
        judged: "Judged as found, by rule table 1.0.".to_owned(),
        not_known: vec!["front sag, which would settle spring and preload".to_owned()],
        work: vec!["rear: another spring".to_owned()],
        parts: vec![
            Part {
                title: "Rear spring, as left".to_owned(),
                facts: vec![
                    fact("Marked", "95 N/mm"),
                    fact("Measured", "94.2 ± 0.6 N/mm, 0.8 % soft"),
                ],
                picture: None,
                narrow: false,
            },
            Part {
                title: "Rear rebound stack".to_owned(),
                facts: vec![fact("Shims", "30×0.15 ×2, 26×0.15, 22×0.15 mm; clamp 14 mm")],
                picture: None,
                narrow: true,
            },
        ],
        pictures: vec![
            picture("Spring: load against deflection"),
            picture("Damper: force against velocity"),
        ],
        concerns: vec![
            Concern {
                gravity: Gravity::Note,
                message: "the fork’s stiction of 6 mm is usual".to_owned(),
                caution: String::new(),
            },
            Concern {
                gravity: Gravity::Hazard,
                message: "as found, the rear had no static sag: it tops out and can throw the rider".to_owned(),
                caution: "not to be ridden as it was found".to_owned(),
            },
        ],
        cautions: vec!["First ride slow, on a quiet road.".to_owned()],
        assumptions: vec![Assumed {
            what: vec!["oil level of the fork 100 mm".to_owned()],
            source: "common practice, no source".to_owned(),
        }],
        notes: "Torqued by the maker’s manual.".to_owned(),
        made_from: vec!["setups/a1@3".to_owned(), "setups/a1@4".to_owned()],
        written: Some(When {
            year: 2026,
            month: 11,
            day: 25,
            hour: 16,
            minute: 5,
        }),
    }
}
