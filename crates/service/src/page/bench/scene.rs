//! What somebody at the bench sees: the newest picture, what stands beside it, the curve. It says what changed since.

use mechanics::quantity::UnitSystem;
use wire::v1;

use super::super::Page;
use super::super::visitor::Visitor;
use super::beside::{self, Beside, Last};
use super::curve::{Curve, Drawn};
use crate::error::ServiceError;

/// What is seen.
pub(super) struct Scene {
    pub(super) units: UnitSystem,
    reply_units: i32,
    /// Without its points.
    pub(super) shown: v1::WatchBenchResponse,
    pub(super) beside: Beside,
    pub(super) curve: Curve,
    /// Whether the curve is the last test's, shown until the next begins.
    pub(super) of_last: bool,
    begun: bool,
}

/// What a picture changed.
pub(super) struct Change {
    /// What stands in words and buttons.
    pub(super) words: bool,
    pub(super) drawn: Drawn,
}

impl Scene {
    /// An empty bench.
    pub(super) fn new(visitor: &Visitor) -> Self {
        Self {
            units: visitor.units,
            reply_units: visitor.reply_units(),
            shown: v1::WatchBenchResponse::default(),
            beside: Beside::default(),
            curve: Curve::new(visitor.units),
            of_last: false,
            begun: false,
        }
    }

    /// Takes a picture in; the first one changes everything.
    pub(super) async fn take(
        &mut self,
        page: &Page,
        mut picture: v1::WatchBenchResponse,
    ) -> Result<Change, ServiceError> {
        let first = !std::mem::replace(&mut self.begun, true);
        let points = picture.points.take().unwrap_or_default();
        let words = first || key(&picture) != key(&self.shown);
        self.shown = picture;
        if words {
            self.beside = beside::look(page, &self.shown, self.reply_units).await?;
        }
        let drawn = if self.rests() {
            self.rest(words)
        } else {
            self.go_on(first, &points)
        };
        Ok(Change { words, drawn })
    }

    /// Until the next test begins the last one's curve stands.
    fn rest(&mut self, changed: bool) -> Drawn {
        if !changed {
            return Drawn::Nothing;
        }
        let last = self.beside.last.as_ref().and_then(Last::curve);
        self.of_last = last.is_some();
        let (points, marks) = last.unwrap_or_default();
        self.curve.show(self.units, &points, marks);
        Drawn::Whole
    }

    fn go_on(&mut self, first: bool, points: &v1::BenchPoints) -> Drawn {
        let marks = self.shown.marks.unwrap_or_default();
        if self.shown.reset || first || std::mem::take(&mut self.of_last) {
            self.of_last = false;
            self.curve.show(self.units, points, marks);
            return Drawn::Whole;
        }
        let drawn = self.curve.take(points);
        if self.curve.mark(marks) { Drawn::Whole } else { drawn }
    }

    /// Whether nothing is being pressed, so that the last test may still be looked at.
    pub(super) fn rests(&self) -> bool {
        self.shown.run.is_empty()
            || self.waits()
            || matches!(self.shown.state(), v1::RunState::Finished | v1::RunState::Discarded)
    }

    /// Whether the instrument waits to be told.
    pub(super) fn waits(&self) -> bool {
        self.shown.instrument() == v1::InstrumentState::Waiting
    }
}

/// What decides over words and buttons.
fn key(shown: &v1::WatchBenchResponse) -> (&str, &str, [i32; 2], bool, i64) {
    let at = [shown.state, shown.instrument];
    (
        &shown.run,
        &shown.spring,
        at,
        shown.tare_mark.is_some(),
        shown.record_change_count,
    )
}
