//! Records on the wire and in the store are the same things in two languages; these are the plain words for each.

pub mod tester;

use mechanics::quantity::Unit;
use store::record as disk;
use store::{Kind, Moment, RecordId, RunBody, Saved, SpringBody};
use wire::names::Collection;
use wire::quantity::Message;
use wire::v1;

use super::board::Standing;

/// Nanoseconds of a second.
const SECOND: i64 = 1_000_000_000;

/// The name of a record.
pub fn name(kind: Kind, id: &RecordId) -> String {
    let collection = match kind {
        Kind::Spring => Collection::Springs,
        Kind::Run => Collection::Runs,
        Kind::Tester => Collection::Testers,
        Kind::ShimLot => Collection::ShimLots,
        Kind::Stack => Collection::Stacks,
        Kind::Damper => Collection::Dampers,
        Kind::Rider => Collection::Riders,
        Kind::Machine => Collection::Machines,
        Kind::Setup => Collection::Setups,
        Kind::JobSheet => Collection::JobSheets,
        Kind::RuleTable => return "ruleTable".to_owned(),
        Kind::PriceList => return "priceList".to_owned(),
    };
    collection.name(id.as_str())
}

/// A count of the store's as the wire has it.
pub fn signed(count: u64) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

/// A unit's number on the wire.
pub fn unit_number<U: Unit>(unit: U) -> i32 {
    unit.row().number
}

/// A span of time.
pub fn duration(nanos: i64) -> prost_types::Duration {
    prost_types::Duration {
        seconds: nanos / SECOND,
        nanos: i32::try_from(nanos % SECOND).unwrap_or(0),
    }
}

/// A moment.
pub fn timestamp(moment: Moment) -> prost_types::Timestamp {
    let nanos = moment.as_nanos();
    prost_types::Timestamp {
        seconds: nanos.div_euclid(SECOND),
        nanos: i32::try_from(nanos.rem_euclid(SECOND)).unwrap_or(0),
    }
}

/// A moment of the API, as the store takes it; the ends of its range where it lies beyond.
pub fn moment(timestamp: &prost_types::Timestamp) -> Moment {
    let seconds = timestamp.seconds.saturating_mul(SECOND);
    Moment::from_nanos(seconds.saturating_add(i64::from(timestamp.nanos)))
}

/// Where a run stands.
pub fn state(standing: Standing) -> v1::RunState {
    match standing {
        Standing::Recording => v1::RunState::Recording,
        Standing::Interrupted => v1::RunState::Interrupted,
        Standing::Finished => v1::RunState::Finished,
        Standing::Discarded => v1::RunState::Discarded,
    }
}

pub(super) fn kept<M: Message>(message: &Option<M>) -> Option<disk::Quantity> {
    let (value, unit) = message.as_ref()?.parts();
    Some(disk::Quantity { value: value?, unit })
}

pub(super) fn given<M: Message>(kept: &Option<disk::Quantity>) -> Option<M> {
    kept.as_ref().map(|kept| M::from_parts(kept.value, kept.unit))
}

/// A spring as it is kept. Names of other records are kept without their collection.
pub fn spring_body(spring: &v1::Spring) -> SpringBody {
    SpringBody {
        label: spring.label.clone(),
        marked_rate: kept(&spring.marked_rate),
        marking_text: spring.marking_text.clone(),
        grade: spring.grade.map(|grade| disk::ToleranceGrade {
            system: grade.system,
            grade: grade.grade,
            rate_tolerance_ratio: grade.rate_tolerance_ratio,
        }),
        free_length: kept(&spring.free_length),
        solid_length: kept(&spring.solid_length),
        wire_diameter: kept(&spring.wire_diameter),
        outside_diameter: kept(&spring.outside_diameter),
        inside_diameter: kept(&spring.inside_diameter),
        active_coil_count: spring.active_coil_count,
        total_coil_count: spring.total_coil_count,
        rack_place: spring.rack_place.clone(),
        notes: spring.notes.clone(),
        pair_spring: bare(Collection::Springs, &spring.pair_spring),
        tested_run: bare(Collection::Runs, &spring.tested_run),
    }
}

/// A message with what the store adds to every record: its first eight fields, but for those that tables of a shop have not.
macro_rules! stamped {
    ($message:expr, $name:expr, $saved:expr, [$($ended:ident),*]) => {{
        let (mut told, saved) = ($message, $saved);
        told.name = $name;
        told.uid.clone_from(&saved.uid);
        told.etag = saved.etag();
        told.revision = $crate::bench::map::signed(saved.revision);
        told.create_time = Some($crate::bench::map::timestamp(saved.create_time));
        told.update_time = Some($crate::bench::map::timestamp(saved.update_time));
        $(told.$ended = saved.$ended.map($crate::bench::map::timestamp);)*
        told
    }};
}
pub(super) use stamped;

/// A spring as it is told.
pub fn spring(saved: &Saved<SpringBody>) -> v1::Spring {
    let body = &saved.body;
    let entered = v1::Spring {
        label: body.label.clone(),
        marked_rate: given(&body.marked_rate),
        marking_text: body.marking_text.clone(),
        grade: body.grade.as_ref().map(|grade| v1::ToleranceGrade {
            system: grade.system,
            grade: grade.grade,
            rate_tolerance_ratio: grade.rate_tolerance_ratio,
        }),
        free_length: given(&body.free_length),
        solid_length: given(&body.solid_length),
        wire_diameter: given(&body.wire_diameter),
        outside_diameter: given(&body.outside_diameter),
        inside_diameter: given(&body.inside_diameter),
        active_coil_count: body.active_coil_count,
        total_coil_count: body.total_coil_count,
        rack_place: body.rack_place.clone(),
        notes: body.notes.clone(),
        pair_spring: named(Collection::Springs, &body.pair_spring),
        tested_run: named(Collection::Runs, &body.tested_run),
        ..Default::default()
    };
    let name = Collection::Springs.name(saved.id.as_str());
    stamped!(entered, name, saved, [delete_time, purge_time])
}

/// An id without its collection; empty stays empty.
pub fn bare(collection: Collection, name: &str) -> String {
    name.strip_prefix(collection.segment())
        .and_then(|rest| rest.strip_prefix('/'))
        .unwrap_or_default()
        .to_owned()
}

/// A name of an id; empty stays empty.
pub fn named(collection: Collection, id: &str) -> String {
    if id.is_empty() {
        String::new()
    } else {
        collection.name(id)
    }
}

fn wall_clock(time: &prost_types::Timestamp) -> disk::WallClock {
    disk::WallClock {
        seconds: time.seconds,
        nanos: time.nanos,
    }
}

fn wall_clock_of(time: &disk::WallClock) -> prost_types::Timestamp {
    prost_types::Timestamp {
        seconds: time.seconds,
        nanos: time.nanos,
    }
}

/// A header as it is kept.
pub fn header(header: &v1::RunHeader) -> disk::RunHeader {
    use v1::column::Unit as On;
    let unit = |column: &v1::Column| match column.unit {
        Some(On::Length(unit) | On::Force(unit) | On::Temperature(unit) | On::Pressure(unit)) => unit,
        None => 0,
    };
    disk::RunHeader {
        tester: header.tester.clone(),
        spring: bare(Collection::Springs, &header.spring),
        columns: header
            .columns
            .iter()
            .map(|column| disk::RunColumn {
                quantity: column.quantity,
                unit: unit(column),
            })
            .collect(),
        start_time: header.start_time.as_ref().map(wall_clock),
        run_id: header.run_id.clone(),
        obeys: header.obeys.clone(),
        kind: header.kind.as_ref().map(|kind| match kind {
            v1::run_header::Kind::RateTest(test) => disk::run_header::Kind::RateTest(rate_test(test)),
            v1::run_header::Kind::DynoTest(test) => disk::run_header::Kind::DynoTest(disk::DynoTest {
                stroke: kept(&test.stroke),
                frequency: kept(&test.frequency),
            }),
        }),
    }
}

fn rate_test(test: &v1::RateTest) -> disk::RateTest {
    disk::RateTest {
        tare_load: kept(&test.tare_load),
        frame: test.frame.as_ref().map(tester::frame),
        load_cell: test.load_cell.as_ref().map(tester::cell),
        platen_gap: kept(&test.platen_gap),
        load_resolution: kept(&test.load_resolution),
        deflection_resolution: kept(&test.deflection_resolution),
        preset_stroke_count: test.preset_stroke_count,
        temperature: kept(&test.temperature),
    }
}

/// A header as it is told.
pub fn header_of(header: &disk::RunHeader) -> v1::RunHeader {
    v1::RunHeader {
        tester: header.tester.clone(),
        spring: named(Collection::Springs, &header.spring),
        columns: header.columns.iter().map(column_of).collect(),
        start_time: header.start_time.as_ref().map(wall_clock_of),
        run_id: header.run_id.clone(),
        obeys: header.obeys.clone(),
        kind: header.kind.as_ref().map(|kind| match kind {
            disk::run_header::Kind::RateTest(test) => v1::run_header::Kind::RateTest(rate_test_of(test)),
            disk::run_header::Kind::DynoTest(test) => v1::run_header::Kind::DynoTest(v1::DynoTest {
                stroke: given(&test.stroke),
                frequency: given(&test.frequency),
            }),
        }),
        request_id: String::new(),
    }
}

fn column_of(column: &disk::RunColumn) -> v1::Column {
    use v1::column::{Quantity, Unit as On};
    let unit = match Quantity::try_from(column.quantity) {
        Ok(Quantity::Deflection | Quantity::Position) => Some(On::Length(column.unit)),
        Ok(Quantity::Load | Quantity::Force) => Some(On::Force(column.unit)),
        Ok(Quantity::Temperature) => Some(On::Temperature(column.unit)),
        Ok(Quantity::Pressure) => Some(On::Pressure(column.unit)),
        Ok(Quantity::Elapsed | Quantity::Unspecified) | Err(_) => None,
    };
    v1::Column {
        quantity: column.quantity,
        unit,
    }
}

/// The settings of a rate test as they are told.
pub fn rate_test_of(test: &disk::RateTest) -> v1::RateTest {
    v1::RateTest {
        tare_load: given(&test.tare_load),
        frame: test.frame.as_ref().map(tester::frame_of),
        load_cell: test.load_cell.as_ref().map(tester::cell_of),
        platen_gap: given(&test.platen_gap),
        load_resolution: given(&test.load_resolution),
        deflection_resolution: given(&test.deflection_resolution),
        preset_stroke_count: test.preset_stroke_count,
        temperature: given(&test.temperature),
    }
}

/// A run as it is told.
pub fn run(
    saved: &Saved<RunBody>,
    state: v1::RunState,
    block_count: u64,
    sample_count: u64,
    gaps: &[disk::Gap],
) -> v1::Run {
    let body = &saved.body;
    let entered = v1::Run {
        spring: named(Collection::Springs, &body.spring),
        state: state as i32,
        header: body.header.as_ref().map(header_of),
        block_count: signed(block_count),
        sample_count: signed(sample_count),
        gaps: gaps.iter().map(gap_of).collect(),
        content_digest: body
            .content_crc32c
            .map(|crc| crc.to_be_bytes().to_vec().into())
            .unwrap_or_default(),
        finish_time: body.finish_time.map(|nanos| timestamp(Moment::from_nanos(nanos))),
        notes: body.notes.clone(),
        ..Default::default()
    };
    let name = Collection::Runs.name(saved.id.as_str());
    stamped!(entered, name, saved, [delete_time, purge_time])
}

fn gap_of(gap: &disk::Gap) -> v1::Gap {
    v1::Gap {
        block: signed(gap.block),
        lost_sample_count: gap.lost_sample_count,
        duration: gap.duration.as_ref().map(|span| prost_types::Duration {
            seconds: span.seconds,
            nanos: span.nanos,
        }),
        cause: gap.cause.clone(),
    }
}

/// A block as it is kept; its values are moved.
pub fn block(block: v1::Block) -> store::Block {
    store::Block {
        number: u64::try_from(block.number).unwrap_or(0),
        segment: u32::try_from(block.segment).unwrap_or(0),
        elapsed_ns: block.elapsed_ns,
        columns: block.columns.into_iter().map(|column| column.values).collect(),
        gap_before: block.gap_before.map(|gap| disk::Gap {
            block: 0,
            lost_sample_count: gap.lost_sample_count,
            duration: gap.duration.map(|span| disk::Span {
                seconds: span.seconds,
                nanos: span.nanos,
            }),
            cause: gap.cause,
        }),
        tare_mark: block.tare_mark.as_ref().map(|mark| disk::TareMark {
            load: kept(&mark.load),
            zeroed_load: kept(&mark.zeroed_load),
        }),
        ..store::Block::default()
    }
}

/// A block as it is told; its values are moved.
pub fn block_of(block: store::Block) -> v1::Block {
    v1::Block {
        number: signed(block.number),
        segment: i32::try_from(block.segment).unwrap_or(i32::MAX),
        elapsed_ns: block.elapsed_ns,
        columns: block
            .columns
            .into_iter()
            .map(|values| v1::ValueColumn { values })
            .collect(),
        gap_before: block.gap_before.as_ref().map(gap_of),
        tare_mark: block.tare_mark.as_ref().map(tare_mark_of),
    }
}

/// A tare as it is told.
pub fn tare_mark_of(mark: &disk::TareMark) -> v1::TareMark {
    v1::TareMark {
        load: given(&mark.load),
        zeroed_load: given(&mark.zeroed_load),
    }
}
