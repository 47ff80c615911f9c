//! Checks of the records protos: request conventions, run headers, blocks.

use mechanics::quantity::{ForceUnit, LengthUnit, PressureUnit, TemperatureUnit, Unit};
use mechanics::quantity::{FrequencyUnit, StiffnessUnit};

use crate::names::{Collection, chosen_id};
use crate::quantity::{Range, entered, unit};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::v1::column::{Quantity, Unit as ColumnUnit};
use crate::violation::{Scope, Violation, Violations};

/// Samples a block may hold: with two columns and a clock about 96 KiB bare, less as stored.
pub const MAX_BLOCK_SAMPLES: usize = 4_096;
/// Columns a run may have.
pub const MAX_COLUMNS: usize = 16;
/// Characters of a short text.
pub const SHORT_TEXT: usize = 200;
/// Characters of free words.
pub const LONG_TEXT: usize = 4_000;
/// Instructions a header may say are obeyed: each once.
const MAX_OBEYS: usize = 4;
/// Points of a frame curve.
pub const MAX_FRAME_POINTS: usize = 1_000;

/// Reads the request id every change carries.
pub fn request_id(text: &str, violations: &mut Violations) -> Option<[u8; 16]> {
    if text.is_empty() {
        violations.push(
            "request_id",
            Reason::ValueMissing,
            "a request_id is required: a UUID, the same for every repeat of this change",
        );
        return None;
    }
    let id = uuid::Uuid::try_parse(text)
        .ok()
        .filter(|id| !id.is_nil())
        .map(uuid::Uuid::into_bytes);
    if id.is_none() {
        violations.push("request_id", Reason::OutOfRange, format_args!("\"{text}\" is no UUID"));
    }
    id
}

/// Page size of a list: 0 is 50, above 500 is 500.
pub fn page_size(asked: i32, violations: &mut Violations) -> usize {
    if asked < 0 {
        violations.push(
            "page_size",
            Reason::OutOfRange,
            format_args!("page_size is {asked}; allowed 0 to 500"),
        );
    }
    match usize::try_from(asked) {
        Ok(0) | Err(_) => 50,
        Ok(size) => size.min(500),
    }
}

/// Checks a text's length, in characters.
pub fn text(value: &str, limit: usize, mut at: Scope<'_>) {
    let count = value.chars().count();
    if count > limit {
        at.push(
            Reason::WrongLength,
            format_args!("{count} characters; allowed 0 to {limit}"),
        );
    }
}

/// Checks a run's header.
pub fn header(header: &v1::RunHeader, mut at: Scope<'_>) {
    text(&header.tester, SHORT_TEXT, at.at("tester"));
    if !header.spring.is_empty() {
        Collection::Springs.id(&header.spring, at.at("spring"));
    }
    chosen_id(&header.run_id, at.at("run_id"));
    obeys(&header.obeys, at.at("obeys"));
    columns(&header.columns, at.at("columns"));
    match &header.kind {
        Some(v1::run_header::Kind::RateTest(test)) => rate_test(test, at.at("rate_test")),
        Some(v1::run_header::Kind::DynoTest(test)) => dyno_test(test, at.at("dyno_test")),
        None => {}
    }
}

fn obeys(obeys: &[i32], mut at: Scope<'_>) {
    for (index, number) in obeys.iter().enumerate().take(MAX_OBEYS) {
        instruction_action(*number, at.index(index));
    }
    let twice = obeys
        .iter()
        .enumerate()
        .any(|(index, number)| obeys.iter().skip(index + 1).any(|other| other == number));
    if twice || obeys.len() > MAX_OBEYS {
        at.push(Reason::Conflict, "an instruction stands here more than once");
    }
}

/// Reads an instruction; unspecified is none.
pub fn instruction_action(number: i32, mut at: Scope<'_>) -> Option<v1::instruction::Action> {
    let action = v1::instruction::Action::try_from(number)
        .ok()
        .filter(|action| *action != v1::instruction::Action::Unspecified);
    if action.is_none() {
        at.push(
            Reason::OutOfRange,
            format_args!("{number} is no instruction; allowed 1 (START), 2 (TARE_MARK), 3 (FINISH), 4 (STOP)"),
        );
    }
    action
}

/// Checks what an instrument says of itself.
pub fn notice(notice: &v1::InstrumentNotice, mut at: Scope<'_>) {
    if v1::InstrumentState::try_from(notice.state).is_err() {
        at.at("state").push(
            Reason::OutOfRange,
            format_args!("state is {}; allowed 0 to 3", notice.state),
        );
    }
    if notice.answers != 0 {
        instruction_action(notice.answers, at.at("answers"));
    }
    text(&notice.text, SHORT_TEXT, at.at("text"));
    if let Some(mark) = &notice.tare_mark {
        tare_mark(mark, at.at("tare_mark"));
    }
}

fn tare_mark(mark: &v1::TareMark, mut at: Scope<'_>) {
    match &mark.load {
        Some(load) => check(Some(load), tare_load(), at.at("load")),
        None => at.at("load").push(Reason::ValueMissing, "a tare needs its load"),
    }
    check(mark.zeroed_load.as_ref(), tare_load(), at.at("zeroed_load"));
}

/// Loads a cell can show with nothing on it.
fn tare_load() -> Range<ForceUnit> {
    Range::between(-1e6, 1e6, ForceUnit::Newton)
}

fn columns(columns: &[v1::Column], mut at: Scope<'_>) {
    if columns.is_empty() || columns.len() > MAX_COLUMNS {
        at.push(
            Reason::WrongLength,
            format_args!("{} columns; allowed 1 to {MAX_COLUMNS}", columns.len()),
        );
    }
    let mut seen = [0_u32; 16];
    for (index, column) in columns.iter().take(MAX_COLUMNS).enumerate() {
        one_column(column, at.index(index));
        let count = usize::try_from(column.quantity)
            .ok()
            .and_then(|quantity| seen.get_mut(quantity));
        if let Some(count) = count {
            *count += 1;
        }
    }
    let of = |quantity: Quantity| {
        usize::try_from(quantity as i32)
            .ok()
            .and_then(|index| seen.get(index))
            .copied()
            .unwrap_or(0)
    };
    for (quantity, name) in [
        (Quantity::Deflection, "DEFLECTION"),
        (Quantity::Load, "LOAD"),
        (Quantity::Elapsed, "ELAPSED"),
        (Quantity::Position, "POSITION"),
        (Quantity::Force, "FORCE"),
    ] {
        if of(quantity) > 1 {
            at.push(
                Reason::Conflict,
                format_args!("{} columns hold {name}; allowed 1", of(quantity)),
            );
        }
    }
    if !columns.is_empty() && of(Quantity::Load) + of(Quantity::Force) == 0 {
        at.push(
            Reason::ValueMissing,
            "no column holds a LOAD or a FORCE; at least one is required",
        );
    }
}

fn one_column(column: &v1::Column, mut at: Scope<'_>) {
    let quantity = Quantity::try_from(column.quantity).unwrap_or(Quantity::Unspecified);
    match (quantity, &column.unit) {
        (Quantity::Unspecified, _) if column.quantity == 0 => at
            .at("quantity")
            .push(Reason::ValueMissing, "what the column holds is required"),
        (Quantity::Unspecified, _) => at.at("quantity").push(
            Reason::OutOfRange,
            format_args!("quantity is {}; allowed 1 to 7", column.quantity),
        ),
        (Quantity::Elapsed, None) => {}
        (Quantity::Elapsed, Some(_)) => at
            .at("unit")
            .push(Reason::Conflict, "ELAPSED counts seconds and takes no unit"),
        (_, None) => at.at("unit").push(Reason::UnitMissing, "the column needs a unit"),
        (Quantity::Deflection | Quantity::Position, Some(ColumnUnit::Length(number))) => {
            check_unit::<LengthUnit>(*number, at.at("length"))
        }
        (Quantity::Load | Quantity::Force, Some(ColumnUnit::Force(number))) => {
            check_unit::<ForceUnit>(*number, at.at("force"))
        }
        (Quantity::Temperature, Some(ColumnUnit::Temperature(number))) => {
            check_unit::<TemperatureUnit>(*number, at.at("temperature"))
        }
        (Quantity::Pressure, Some(ColumnUnit::Pressure(number))) => {
            check_unit::<PressureUnit>(*number, at.at("pressure"))
        }
        (quantity, Some(_)) => at.at("unit").push(
            Reason::Conflict,
            format_args!("{} cannot be in a unit of another dimension", quantity.as_str_name()),
        ),
    }
}

fn check_unit<U: Unit>(number: i32, at: Scope<'_>) {
    unit::<U>(number, at);
}

fn rate_test(test: &v1::RateTest, mut at: Scope<'_>) {
    let newtons = |high| Range::either_sign(high, ForceUnit::Newton);
    check(test.tare_load.as_ref(), newtons(1e6), at.at("tare_load"));
    if let Some(frame) = &test.frame {
        tester_frame(frame, at.at("frame"));
    }
    if let Some(cell) = &test.load_cell {
        load_cell(cell, at.at("load_cell"));
    }
    check(
        test.platen_gap.as_ref(),
        Range::above_zero(5_000.0, LengthUnit::Millimeter),
        at.at("platen_gap"),
    );
    check(
        test.load_resolution.as_ref(),
        Range::from_zero(1e5, ForceUnit::Newton),
        at.at("load_resolution"),
    );
    check(
        test.deflection_resolution.as_ref(),
        Range::from_zero(100.0, LengthUnit::Millimeter),
        at.at("deflection_resolution"),
    );
    count(test.preset_stroke_count, 100, at.at("preset_stroke_count"));
    check(test.temperature.as_ref(), bench_temperature(), at.at("temperature"));
}

fn dyno_test(test: &v1::DynoTest, mut at: Scope<'_>) {
    check(
        test.stroke.as_ref(),
        Range::above_zero(1_000.0, LengthUnit::Millimeter),
        at.at("stroke"),
    );
    check(
        test.frequency.as_ref(),
        Range::above_zero(1_000.0, FrequencyUnit::Hertz),
        at.at("frequency"),
    );
}

/// Temperatures a bench can have.
pub fn bench_temperature() -> Range<TemperatureUnit> {
    Range::between(-60.0, 200.0, TemperatureUnit::DegreeCelsius)
}

/// Checks a frame as entered.
pub fn tester_frame(frame: &v1::TesterFrame, mut at: Scope<'_>) {
    match &frame.give {
        None => {}
        Some(v1::tester_frame::Give::Stiffness(stiffness)) => {
            let mut at = at.at("stiffness");
            match &stiffness.rate {
                Some(rate) => check(
                    Some(rate),
                    Range::above_zero(1e7, StiffnessUnit::NewtonPerMillimeter),
                    at.at("rate"),
                ),
                None => at.at("rate").push(Reason::ValueMissing, "a frame needs its rate"),
            }
            check(
                stiffness.standard_uncertainty.as_ref(),
                Range::from_zero(1e7, StiffnessUnit::NewtonPerMillimeter),
                at.at("standard_uncertainty"),
            );
        }
        Some(v1::tester_frame::Give::Curve(curve)) => frame_curve(curve, at.at("curve")),
    }
}

fn frame_curve(curve: &v1::FrameCurve, mut at: Scope<'_>) {
    check_unit::<ForceUnit>(curve.load_unit, at.at("load_unit"));
    check_unit::<LengthUnit>(curve.give_unit, at.at("give_unit"));
    if curve.loads.len() < 2 || curve.loads.len() > MAX_FRAME_POINTS {
        at.at("loads").push(
            Reason::WrongLength,
            format_args!("{} points; allowed 2 to {MAX_FRAME_POINTS}", curve.loads.len()),
        );
    }
    if curve.gives.len() != curve.loads.len() {
        at.at("gives").push(
            Reason::WrongLength,
            format_args!("{} gives for {} loads", curve.gives.len(), curve.loads.len()),
        );
    }
    finite(&curve.loads, at.at("loads"));
    finite(&curve.gives, at.at("gives"));
    rising(&curve.loads, true, at.at("loads"));
    rising(&curve.gives, false, at.at("gives"));
}

fn rising(values: &[f64], strictly: bool, mut at: Scope<'_>) {
    for (index, pair) in values.windows(2).enumerate() {
        if let [before, after] = pair
            && (after < before || (strictly && after == before))
        {
            at.index(index + 1).push(
                Reason::OutOfRange,
                format_args!(
                    "value is {after} after {before}; allowed {}",
                    if strictly { "strictly rising" } else { "never falling" }
                ),
            );
        }
    }
}

/// Checks a load cell as entered.
pub fn load_cell(cell: &v1::LoadCell, mut at: Scope<'_>) {
    if v1::load_cell::Class::try_from(cell.class).is_err() {
        at.at("class").push(
            Reason::OutOfRange,
            format_args!("class is {}; allowed 0 to 4", cell.class),
        );
    }
    check(
        cell.capacity.as_ref(),
        Range::above_zero(1e6, ForceUnit::Newton),
        at.at("capacity"),
    );
}

/// Checks an optional quantity that is kept as entered.
pub fn check<M: crate::quantity::Message>(message: Option<&M>, range: Range<M::Unit>, at: Scope<'_>) {
    if let Some(message) = message {
        entered(message, range, at);
    }
}

/// Checks a count.
pub fn count(value: i32, limit: i32, mut at: Scope<'_>) {
    if !(0..=limit).contains(&value) {
        at.push(
            Reason::OutOfRange,
            format_args!("value is {value}; allowed 0 to {limit}"),
        );
    }
}

/// Checks bare numbers.
pub fn finite(values: &[f64], mut at: Scope<'_>) {
    // One pass without branches first: good columns are the rule and long.
    if values.iter().all(|value| value.is_finite()) {
        return;
    }
    for (index, value) in values.iter().enumerate().filter(|(_, value)| !value.is_finite()) {
        at.index(index).push(
            Reason::NotFinite,
            format_args!("value is {value}; allowed any finite number"),
        );
    }
}

/// Checks a block against the number of columns its run has.
pub fn block(block: &v1::Block, column_count: usize, mut at: Scope<'_>) {
    if block.number < 1 {
        at.at("number").push(
            Reason::OutOfRange,
            format_args!("number is {}; allowed 1 and more", block.number),
        );
    }
    if block.segment < 0 {
        at.at("segment").push(
            Reason::OutOfRange,
            format_args!("segment is {}; allowed 0 and more", block.segment),
        );
    }
    if block.columns.len() != column_count {
        at.at("columns").push(
            Reason::WrongLength,
            format_args!("{} columns; the run has {column_count}", block.columns.len()),
        );
    }
    let samples = block.columns.first().map_or(0, |column| column.values.len());
    if samples == 0 || samples > MAX_BLOCK_SAMPLES {
        at.at("columns").push(
            Reason::WrongLength,
            format_args!("{samples} samples; allowed 1 to {MAX_BLOCK_SAMPLES}"),
        );
    }
    for (index, column) in block.columns.iter().enumerate().take(MAX_COLUMNS) {
        let mut at = at.at("columns");
        let mut at = at.index(index);
        if column.values.len() != samples {
            at.at("values").push(
                Reason::WrongLength,
                format_args!("{} values; the first column has {samples}", column.values.len()),
            );
        }
        finite(&column.values, at.at("values"));
    }
    if !block.elapsed_ns.is_empty() && block.elapsed_ns.len() != samples {
        at.at("elapsed_ns").push(
            Reason::WrongLength,
            format_args!(
                "{} times for {samples} samples; allowed none or one for each",
                block.elapsed_ns.len()
            ),
        );
    }
    if let Some(gap) = &block.gap_before {
        gap_before(gap, block.number, at.at("gap_before"));
    }
    if let Some(mark) = &block.tare_mark {
        tare_mark(mark, at.at("tare_mark"));
    }
}

fn gap_before(gap: &v1::Gap, number: i64, mut at: Scope<'_>) {
    if gap.block != 0 && gap.block != number {
        at.at("block").push(
            Reason::Conflict,
            format_args!("block is {}; the gap is before block {number}", gap.block),
        );
    }
    if gap.lost_sample_count.is_some_and(|count| count < 0) {
        at.at("lost_sample_count")
            .push(Reason::OutOfRange, "a count is 0 or more");
    }
    text(&gap.cause, SHORT_TEXT, at.at("cause"));
}

/// Reads a moment as JSON can tell it: the years 1 to 9999 (google.protobuf.Timestamp).
pub fn moment(time: Option<&prost_types::Timestamp>, mut at: Scope<'_>) -> Option<(i64, i32)> {
    const FIRST: i64 = -62_135_596_800;
    const LAST: i64 = 253_402_300_799;
    let time = time?;
    if (FIRST..=LAST).contains(&time.seconds) && (0..1_000_000_000).contains(&time.nanos) {
        return Some((time.seconds, time.nanos));
    }
    at.push(
        Reason::OutOfRange,
        format_args!(
            "moment is {} s and {} ns; allowed the years 1 to 9999, nanoseconds 0 to 999,999,999",
            time.seconds, time.nanos
        ),
    );
    None
}

/// The faults of part of a record: what the part leaves out as a whole is not missing.
pub fn of_part(found: Violations, at: &str, given: impl Fn(&str) -> bool, violations: &mut Violations) {
    let faults: Vec<Violation> = found.finish().err().unwrap_or_default();
    let left_out = |one: &Violation| {
        one.reason == Reason::ValueMissing
            && one
                .field
                .strip_prefix(at)
                .and_then(|rest| rest.strip_prefix('.'))
                .is_some_and(|field| !field.contains(['.', '[']) && !given(field))
    };
    faults
        .into_iter()
        .filter(|one| !left_out(one))
        .for_each(|one| violations.add(one));
}
