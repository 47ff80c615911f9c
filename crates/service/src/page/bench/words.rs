//! Figures and states of the bench in words.

use mechanics::quantity::{Quantity as _, SpringRate, Unit, UnitSystem};
use wire::quantity::Message;
use wire::v1;
use wire::v1::instruction::Action;

use super::super::words::{entered, quantity};

/// What stands where nothing is known yet.
pub(super) const NOTHING: &str = "–";

/// A big figure: the number alone; its unit stands beside it and does not move.
pub(super) fn figure<M: Message>(message: Option<&M>, units: UnitSystem) -> String {
    let Some(read) = quantity(message) else {
        return NOTHING.to_owned();
    };
    let unit = M::Unit::of_system(units);
    // Adding 0 makes "-0.0" a plain zero.
    format!("{:.*}", unit.row().decimals, read.in_unit(unit).value() + 0.0)
}

/// The sign of a quantity's unit.
pub(super) fn symbol<M: Message>(units: UnitSystem) -> &'static str {
    M::Unit::of_system(units).row().symbol
}

/// The rate so far: over the window once there is one, before that over the latest movement.
pub(super) fn rate(shown: &v1::WatchBenchResponse) -> Option<v1::Stiffness> {
    let latest = shown.reading.as_ref().and_then(|reading| reading.rate);
    // A slope at the turn or before contact is none of the spring's.
    let latest = latest.filter(|rate| quantity(Some(rate)).is_some_and(|rate| SpringRate::of(rate).si() > 0.0));
    shown.marks.as_ref().and_then(|marks| marks.rate).or(latest)
}

/// Where the test stands, in a few words.
pub(super) fn state(shown: &v1::WatchBenchResponse) -> &'static str {
    use v1::{InstrumentState as At, RunState};
    if shown.run.is_empty() {
        return "No tester is connected";
    }
    match (shown.state(), shown.instrument()) {
        (RunState::Recording, At::Waiting) => "Ready, waiting for the start",
        (RunState::Recording, At::Stopped) => "Stopped: keep this test or discard it",
        (RunState::Recording, At::Sampling | At::Unspecified) => "Measuring",
        (RunState::Interrupted, _) => "Interrupted: the feed is gone",
        (RunState::Finished, _) => "Finished",
        // The feed was ended while it waited.
        (RunState::Discarded, _) if is_empty(shown) => "No tester is connected",
        (RunState::Discarded, _) => "Discarded",
        (RunState::Unspecified, _) => "Unknown",
    }
}

/// Whether nothing was recorded.
pub(super) fn is_empty(shown: &v1::WatchBenchResponse) -> bool {
    shown.reading.as_ref().is_none_or(|reading| reading.sample_count == 0) && shown.durable_through == 0
}

/// How the instrument took the last instruction; and the tare, which stays in force.
pub(super) fn answer(shown: &v1::WatchBenchResponse) -> String {
    let tare = shown.tare_mark.as_ref().map(|mark| {
        let load = entered(mark.zeroed_load.as_ref().or(mark.load.as_ref()));
        load.map_or("Tare taken.".to_owned(), |load| {
            format!("Tare taken: {load} counts as no load.")
        })
    });
    let refused = shown.notice.as_ref().filter(|notice| notice.refused).map(|notice| {
        let what = match notice.answers() {
            Action::Start => "Not started",
            Action::TareMark => "Not tared",
            Action::Finish => "Not finished",
            Action::Stop => "Not stopped",
            Action::Unspecified => "Not done",
        };
        format!("{what}: {}.", notice.text)
    });
    [refused, tare].into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// How much is safe.
pub(super) fn kept(shown: &v1::WatchBenchResponse) -> String {
    match shown.reading.as_ref().map_or(0, |reading| reading.sample_count) {
        0 => String::new(),
        count => format!("{count} readings, safe on disk through block {}", shown.durable_through),
    }
}
