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
    marked_rate: &'static str,
    marked_free_length: &'static str,
    rate: &'static str,
    free_length: &'static str,
    solid_length: &'static str,
    approach: &'static str,
    travel: &'static str,
    seed: &'static str,
}

/// The springs, in the order they are shown.
pub(super) fn subjects() -> [Subject; 4] {
    let sound = Subject {
        id: "demo-true",
        story: "a fork spring that is what it is marked as",
        label: "invented fork spring, left",
        marked_rate: "9.5 N/mm",
        marked_free_length: "380 mm",
        rate: "9.53 N/mm",
        free_length: "380 mm",
        solid_length: "230 mm",
        approach: "10 mm",
        travel: "110 mm",
        seed: "11",
    };
    [
        sound,
        Subject {
            id: "demo-mismarked",
            story: "its twin with the same marking, wound stiffer",
            label: "invented fork spring, right",
            rate: "10.4 N/mm",
            seed: "12",
            ..sound
        },
        Subject {
            id: "demo-tired",
            story: "an old spring that has set and gone soft",
            label: "invented fork spring, many years old",
            marked_rate: "9.0 N/mm",
            rate: "8.35 N/mm",
            free_length: "371 mm",
            approach: "19 mm",
            seed: "13",
            ..sound
        },
        Subject {
            id: "demo-binds",
            story: "a spring whose coils close before the stroke ends",
            label: "invented fork spring, one coil too many",
            marked_rate: "9.2 N/mm",
            rate: "9.2 N/mm",
            solid_length: "283 mm",
            travel: "99 mm",
            seed: "14",
            ..sound
        },
    ]
}

impl Subject {
    /// Its name on the rack.
    pub(super) fn spring(&self) -> String {
        format!("springs/{}", self.id)
    }

    /// The name of its run.
    pub(super) fn run(&self) -> String {
        format!("runs/{}", self.id)
    }

    /// Puts it on the rack.
    pub(super) fn create(&self) -> Result<v1::CreateSpringRequest, Fail> {
        let (rate, rate_unit) = entered("Stiffness", self.marked_rate)?;
        let (length, length_unit) = entered("Length", self.marked_free_length)?;
        Ok(v1::CreateSpringRequest {
            spring: Some(v1::Spring {
                label: self.label.to_owned(),
                marked_rate: Some(v1::Stiffness {
                    value: Some(rate),
                    unit: rate_unit,
                }),
                free_length: Some(v1::Length {
                    value: Some(length),
                    unit: length_unit,
                }),
                grade: Some(v1::ToleranceGrade {
                    system: v1::tolerance_grade::System::StatedRatio.into(),
                    rate_tolerance_ratio: Some(0.05),
                    ..v1::ToleranceGrade::default()
                }),
                notes: "Invented for the demo.".to_owned(),
                ..v1::Spring::default()
            }),
            spring_id: self.id.to_owned(),
            request_id: uuid::Uuid::new_v4().to_string(),
        })
    }

    /// The tester it is on, as it would be typed.
    pub(super) fn tester(&self) -> Result<tester::Options, Fail> {
        typed(&[
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
        ])
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
