//! Where the curve on a board is at: contact, bind and window, by the same reduction that judges the finished run, from the
//! points that are shown.

use wire::v1;
use wire::v1::reduce_run_request::Source;

use super::board::Board;
use super::reduce::header_defaults;
use super::{Bench, map};

impl Bench {
    /// What the points say; nothing while they do not make a curve yet.
    pub(super) fn marks(
        &self,
        board: &Board,
        points: &[(f64, f64)],
        tare: Option<v1::TareMark>,
    ) -> Option<v1::BenchMarks> {
        let (deflections, loads) = points.iter().copied().unzip();
        let mut request = v1::ReduceRunRequest {
            source: Some(Source::Samples(v1::Samples {
                deflection_unit: map::unit_number(board.axes.deflection?.1),
                deflections,
                load_unit: map::unit_number(board.axes.load.1),
                loads,
                ..Default::default()
            })),
            tare: tare.and_then(|tare| tare.load).map(|load| v1::Tare {
                level: Some(v1::tare::Level::Load(load)),
            }),
            tester: tester_of(self, board),
            reply_units: units(board),
            ..Default::default()
        };
        if let Some(v1::run_header::Kind::RateTest(test)) = &board.header.kind {
            header_defaults(&mut request, test);
        }
        // Too short, not yet pressed: there is nothing to say, and nobody asked.
        let reply = self.reduce_run(request).ok()?;
        let bind = reply
            .knees
            .iter()
            .find(|knee| knee.kind() == v1::knee::Kind::Bind)
            .and_then(|knee| knee.deflection.as_ref());
        let value = |estimate: &v1::LengthEstimate| estimate.value;
        Some(v1::BenchMarks {
            contact: reply
                .contact
                .as_ref()
                .and_then(|contact| contact.deflection.as_ref())
                .and_then(value),
            bind: bind.and_then(value),
            window_from: reply.window.as_ref().and_then(|window| window.from),
            window_to: reply.window.as_ref().and_then(|window| window.to),
            rate: reply.rate.as_ref().and_then(|rate| rate.value),
        })
    }
}

/// The board's tester, where its record is kept: the bench shows what the run will say.
fn tester_of(bench: &Bench, board: &Board) -> String {
    let tester = &board.header.tester;
    if bench.keeps_tester(tester) {
        tester.clone()
    } else {
        String::new()
    }
}

/// The units in which the run is shown.
fn units(board: &Board) -> i32 {
    let inch = board.axes.load.1 == mechanics::quantity::ForceUnit::PoundForce;
    let system = if inch {
        v1::UnitSystem::Inch
    } else {
        v1::UnitSystem::Metric
    };
    system.into()
}
