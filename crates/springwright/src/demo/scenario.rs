//! The demo's springs. All of them are invented.

use std::net::SocketAddr;
use std::path::Path;

use clap::{Args, Command, FromArgMatches};
use mechanics::quantity;
use wire::v1;

use crate::fail::Fail;
use crate::{feed, tester};

/// The tester's frame, known and therefore taken off.
const FRAME: &str = "2500 N/mm";
/// What the cell shows with nothing on it.
const TARE: &str = "1.8 N";
/// Gap between the platens at the start: each spring's free length and its approach.
const PLATEN_GAP: &str = "390 mm";
/// What is known of every tester here.
const BENCH: [&str; 12] = [
    "--tare",
    TARE,
    "--frame",
    FRAME,
    "--frame-uncertainty",
    "25 N/mm",
    "--load-cell-class",
    "0.5",
    "--load-cell-capacity",
    "5000 N",
    "--platen-gap",
    PLATEN_GAP,
];

/// An invented spring: what stands on it, and what it really is.
#[derive(Debug, Clone, Copy)]
pub(super) struct Subject {
    pub(super) id: &'static str,
    pub(super) story: &'static str,
    label: &'static str,
    marked_rate: Option<&'static str>,
    marked_free_length: &'static str,
    rate: &'static str,
    knee: Option<Knee>,
    free_length: &'static str,
    solid_length: &'static str,
    approach: &'static str,
    travel: &'static str,
    seed: &'static str,
    /// The other spring of its pair.
    pair: Option<&'static str>,
    /// Its coil, where it is on the record.
    coil: Option<Coil>,
}

/// A coil of round wire, mm.
#[derive(Debug, Clone, Copy)]
struct Coil {
    wire: f64,
    outside: f64,
    active: f64,
}

/// Where its rate rises to another one, and over how much travel.
#[derive(Debug, Clone, Copy)]
struct Knee {
    second_rate: &'static str,
    at: &'static str,
    width: &'static str,
}

/// The legs of the fork that are judged as a pair.
pub(super) const PAIR: [&str; 2] = ["demo-leg-left", "demo-leg-right"];

/// The springs, in the order they are shown.
pub(super) fn subjects() -> [Subject; 8] {
    let sound = Subject {
        id: "demo-true",
        story: "a fork spring that is what it is marked as",
        label: "invented fork spring, left",
        marked_rate: Some("9.5 N/mm"),
        marked_free_length: "380 mm",
        rate: "9.53 N/mm",
        knee: None,
        free_length: "380 mm",
        solid_length: "230 mm",
        approach: "10 mm",
        travel: "110 mm",
        seed: "11",
        pair: Some("demo-mismarked"),
        coil: None,
    };
    let coil = Coil {
        wire: 5.5,
        outside: 35.0,
        active: 40.3,
    };
    let [left, right] = PAIR;
    [
        sound,
        Subject {
            id: "demo-mismarked",
            story: "its twin with the same marking, wound stiffer",
            label: "invented fork spring, right",
            rate: "10.4 N/mm",
            seed: "12",
            pair: Some("demo-true"),
            ..sound
        },
        Subject {
            id: "demo-tired",
            story: "an old spring that has set and gone soft",
            label: "invented fork spring, many years old",
            marked_rate: Some("9.0 N/mm"),
            rate: "8.35 N/mm",
            free_length: "371 mm",
            approach: "19 mm",
            seed: "13",
            pair: None,
            ..sound
        },
        Subject {
            id: "demo-binds",
            story: "a spring whose coils close before the stroke ends",
            label: "invented fork spring, one coil too many",
            marked_rate: Some("9.2 N/mm"),
            rate: "9.2 N/mm",
            solid_length: "283 mm",
            travel: "99 mm",
            seed: "14",
            pair: None,
            ..sound
        },
        Subject {
            id: "demo-dual-rate",
            story: "a spring of two rates: its close-wound end goes solid on the way",
            label: "invented dual-rate spring",
            marked_rate: None,
            rate: "7.0 N/mm",
            knee: Some(Knee {
                second_rate: "11.0 N/mm",
                at: "45 mm",
                width: "0.5 mm",
            }),
            seed: "16",
            pair: None,
            ..sound
        },
        Subject {
            id: "demo-progressive",
            story: "a spring whose pitch changes all along: its rate rises throughout",
            label: "invented progressive spring",
            marked_rate: None,
            rate: "6.0 N/mm",
            knee: Some(Knee {
                second_rate: "14.0 N/mm",
                at: "60 mm",
                width: "25 mm",
            }),
            seed: "17",
            pair: None,
            ..sound
        },
        Subject {
            id: left,
            story: "one leg of a fork, as it was",
            label: "invented pair, left leg",
            marked_rate: Some("9.0 N/mm"),
            rate: "8.98 N/mm",
            seed: "18",
            pair: Some(right),
            coil: Some(coil),
            ..sound
        },
        Subject {
            id: right,
            story: "the other leg of that fork, which has set and gone soft",
            label: "invented pair, right leg",
            marked_rate: Some("9.0 N/mm"),
            rate: "8.62 N/mm",
            free_length: "375 mm",
            approach: "15 mm",
            seed: "19",
            pair: Some(left),
            coil: Some(coil),
            ..sound
        },
    ]
}

impl Subject {
    /// Its name on the rack.
    pub(super) fn spring(&self) -> String {
        spring_named(self.id)
    }

    /// The name of its run.
    pub(super) fn run(&self) -> String {
        format!("runs/{}", self.id)
    }

    /// Puts it on the rack.
    pub(super) fn create(&self) -> Result<v1::CreateSpringRequest, Fail> {
        let marked = self.marked_rate.map(|rate| entered("Stiffness", rate)).transpose()?;
        let (length, length_unit) = entered("Length", self.marked_free_length)?;
        // A tolerance is for what is marked.
        let grade = marked.map(|_| v1::ToleranceGrade {
            system: v1::tolerance_grade::System::StatedRatio.into(),
            rate_tolerance_ratio: Some(0.05),
            ..v1::ToleranceGrade::default()
        });
        Ok(v1::CreateSpringRequest {
            spring: Some(v1::Spring {
                label: self.label.to_owned(),
                marked_rate: marked.map(|(rate, unit)| v1::Stiffness {
                    value: Some(rate),
                    unit,
                }),
                free_length: Some(v1::Length {
                    value: Some(length),
                    unit: length_unit,
                }),
                grade,
                wire_diameter: self.coil.map(|coil| millimeters(coil.wire)),
                outside_diameter: self.coil.map(|coil| millimeters(coil.outside)),
                active_coil_count: self.coil.map(|coil| coil.active),
                total_coil_count: self.coil.map(|coil| coil.active + 2.0),
                notes: "Invented for the demo.".to_owned(),
                pair_spring: self.pair.map(spring_named).unwrap_or_default(),
                ..v1::Spring::default()
            }),
            spring_id: self.id.to_owned(),
            request_id: uuid::Uuid::new_v4().to_string(),
        })
    }

    /// Its run is its test: the rack shows the rate it measured.
    pub(super) fn tested(&self) -> v1::UpdateSpringRequest {
        v1::UpdateSpringRequest {
            spring: Some(v1::Spring {
                name: self.spring(),
                tested_run: self.run(),
                ..v1::Spring::default()
            }),
            update_mask: Some(prost_types::FieldMask {
                paths: vec!["tested_run".to_owned()],
            }),
            request_id: uuid::Uuid::new_v4().to_string(),
        }
    }

    /// The tester it is on, as it would be typed.
    pub(super) fn tester(&self) -> Result<tester::Options, Fail> {
        let mut words = vec![
            "--fast",
            "--rate",
            self.rate,
            "--free-length",
            self.free_length,
            "--solid-length",
            self.solid_length,
            "--travel",
            self.travel,
            "--approach",
            self.approach,
            "--frame-rate",
            FRAME,
            "--seed",
            self.seed,
            "--tare",
            TARE,
        ];
        if let Some(knee) = &self.knee {
            words.extend([
                "--second-rate",
                knee.second_rate,
                "--knee",
                knee.at,
                "--knee-width",
                knee.width,
            ]);
        }
        typed(&words)
    }

    /// The feed from there to the server, as it would be typed.
    pub(super) fn feed(&self, server: SocketAddr, line: SocketAddr, folder: &Path) -> Result<feed::Options, Fail> {
        let (server, line, spring) = (server.to_string(), line.to_string(), self.spring());
        let spool = folder.join(self.id).display().to_string();
        let own = [
            "--server",
            &server,
            "--connect",
            &line,
            "--spool",
            &spool,
            "--spring",
            &spring,
            "--run-id",
            self.id,
            "--tester",
            "simulated tester of the demo",
        ];
        typed(&[own.as_slice(), &BENCH].concat())
    }
}

fn spring_named(id: &str) -> String {
    format!("springs/{id}")
}

/// Asks whether the legs of the fork match, by their tests.
pub(super) fn judge_pair() -> v1::JudgePairRequest {
    let [first, second] = PAIR.map(|id| {
        Some(v1::PairMember {
            source: Some(v1::pair_member::Source::Spring(spring_named(id))),
        })
    });
    v1::JudgePairRequest {
        first,
        second,
        ..v1::JudgePairRequest::default()
    }
}

/// The tester that waits for the page: slow enough to be watched, quick enough to be tried twice.
pub(super) fn waiting_tester() -> Result<tester::Options, Fail> {
    typed(&[
        "--wait",
        "--rate",
        "8.8 N/mm",
        "--free-length",
        "380 mm",
        "--solid-length",
        "230 mm",
        "--travel",
        "110 mm",
        "--approach",
        "10 mm",
        "--press-speed",
        "25 mm/s",
        "--sample-rate-hz",
        "200",
        "--frame-rate",
        FRAME,
        "--seed",
        "15",
        "--tare",
        TARE,
    ])
}

/// The feed that stays at it.
pub(super) fn staying_feed(server: SocketAddr, line: SocketAddr, folder: &Path) -> Result<feed::Options, Fail> {
    let (server, line) = (server.to_string(), line.to_string());
    let spool = folder.join("waiting").display().to_string();
    let own = [
        "--stay",
        "--server",
        &server,
        "--connect",
        &line,
        "--spool",
        &spool,
        "--tester",
        "tester of the demo",
    ];
    typed(&[own.as_slice(), &BENCH].concat())
}

fn millimeters(value: f64) -> v1::Length {
    v1::Length {
        value: Some(value),
        unit: v1::length::Unit::Millimeter.into(),
    }
}

fn entered(dimension: &str, text: &str) -> Result<(f64, i32), Fail> {
    let (value, row) = quantity::read(dimension, text).map_err(|fault| Fail::error(fault.to_string()))?;
    Ok((value, row.number))
}

/// Options as if they had been typed: what the demo runs is what anybody can.
fn typed<Options: Args + FromArgMatches>(words: &[&str]) -> Result<Options, Fail> {
    let command = Options::augment_args(Command::new("demo").no_binary_name(true));
    let matches = command
        .try_get_matches_from(words)
        .map_err(|fault| Fail::error(fault.to_string()))?;
    Options::from_arg_matches(&matches).map_err(|fault| Fail::error(fault.to_string()))
}
