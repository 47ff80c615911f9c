//! Rows of samples: numbers to bytes and back, to the bit.

use pco::ChunkConfig;
use pco::standalone::{simple_compress, simple_decompress};
use prost::Message;

use super::append::numbered;
use super::{Block, MAX_BLOCK_SAMPLES, MAX_COLUMNS, RunTail};
use crate::disk::{BlockInfo, SampleCoding, SampleColumn, SampleRow};
use crate::envelope::MAX_MESSAGE;
use crate::error::StoreError;
use crate::moment::Moment;

/// A block ready to be written.
pub(super) struct PackedBlock {
    pub(super) info: BlockInfo,
    pub(super) message: Vec<u8>,
}

/// Packs the block that follows `tail`: raw, which is fast, or compressed where raw is too large for one value.
pub(super) fn pack_block(now: Moment, block: &Block, tail: &RunTail) -> Result<PackedBlock, StoreError> {
    let sample_count = check_shape(block)?;
    let elapsed = raw(block.elapsed_ns.iter().map(|time| time.to_le_bytes()));
    let columns: Vec<_> = block
        .columns
        .iter()
        .map(|column| raw(column.iter().map(|x| x.to_le_bytes())))
        .collect();
    let sum = |start| {
        columns
            .iter()
            .fold(crc32c::crc32c_append(start, &elapsed.bytes), append_sum)
    };
    let info = BlockInfo {
        segment: block.segment,
        sample_count,
        timed: !block.elapsed_ns.is_empty(),
        receive_time: now.as_nanos(),
        gap_before: block.gap_before.as_ref().map(|gap| numbered(gap, block.number)),
        crc32c: sum(0),
        crc32c_through: sum(tail.crc32c),
        samples_through: tail.sample_count + u64::from(sample_count),
        tare_mark: block.tare_mark,
    };
    let mut row = SampleRow {
        first_block: block.number,
        blocks: vec![info],
        elapsed_ns: Some(elapsed),
        columns,
    };
    if row.encoded_len() > MAX_MESSAGE {
        row.elapsed_ns = Some(code_times(&block.elapsed_ns));
        row.columns = block.columns.iter().map(|column| code_doubles(column)).collect();
    }
    let message = row.encode_to_vec();
    if message.len() > MAX_MESSAGE {
        return Err(StoreError::TooLarge {
            what: "the block",
            size: message.len(),
            limit: MAX_MESSAGE,
        });
    }
    let info = row
        .blocks
        .pop()
        .ok_or_else(|| StoreError::malformed("the row has no block"))?;
    Ok(PackedBlock { info, message })
}

fn append_sum(sum: u32, column: &SampleColumn) -> u32 {
    crc32c::crc32c_append(sum, &column.bytes)
}

fn check_shape(block: &Block) -> Result<u32, StoreError> {
    let count = block.sample_count();
    let fault = |what: &str| Err(StoreError::malformed(format!("block {}: {what}", block.number)));
    if !(1..=MAX_COLUMNS).contains(&block.columns.len()) {
        return fault("it has no column, or too many");
    }
    if !(1..=MAX_BLOCK_SAMPLES).contains(&count) {
        return fault("it has no sample, or too many");
    }
    if block.columns.iter().any(|column| column.len() != count) {
        return fault("its columns are not of one length");
    }
    if !block.elapsed_ns.is_empty() && block.elapsed_ns.len() != count {
        return fault("it has not a time for each sample");
    }
    u32::try_from(count).or_else(|_| fault("too many samples").and(Ok(0)))
}

/// Whether two blocks of one number hold the same, however they came.
pub(super) fn same_content(a: &BlockInfo, b: &BlockInfo) -> bool {
    (
        a.segment,
        a.sample_count,
        a.timed,
        a.crc32c,
        &a.gap_before,
        &a.tare_mark,
    ) == (
        b.segment,
        b.sample_count,
        b.timed,
        b.crc32c,
        &b.gap_before,
        &b.tare_mark,
    )
}

/// Many blocks of one column count as one compressed row.
pub(super) fn pack_many(first_block: u64, infos: &[BlockInfo], blocks: &[Block]) -> SampleRow {
    let elapsed: Vec<i64> = blocks
        .iter()
        .flat_map(|block| block.elapsed_ns.iter().copied())
        .collect();
    let width = blocks.first().map_or(0, |block| block.columns.len());
    let columns = (0..width).map(|index| {
        let columns = blocks.iter().filter_map(|block| block.columns.get(index));
        code_doubles(&columns.flatten().copied().collect::<Vec<_>>())
    });
    SampleRow {
        first_block,
        blocks: infos.to_vec(),
        elapsed_ns: Some(code_times(&elapsed)),
        columns: columns.collect(),
    }
}

/// The blocks of a row; the error says what does not fit.
pub(crate) fn unpack(row: &SampleRow) -> Result<Vec<Block>, String> {
    let total = row.blocks.iter().map(|info| info.sample_count as usize).sum();
    let timed = row
        .blocks
        .iter()
        .filter(|info| info.timed)
        .map(|info| info.sample_count as usize)
        .sum();
    let times = match &row.elapsed_ns {
        Some(column) => read_times(column, timed)?,
        None => read_times(&SampleColumn::default(), timed)?,
    };
    let columns = row
        .columns
        .iter()
        .map(|column| read_doubles(column, total))
        .collect::<Result<Vec<_>, _>>()?;
    let (mut times, mut columns) = (times.as_slice(), columns.iter().map(Vec::as_slice).collect::<Vec<_>>());
    let mut blocks = Vec::with_capacity(row.blocks.len());
    for (number, info) in (row.first_block..).zip(&row.blocks) {
        let count = info.sample_count as usize;
        let elapsed_ns = cut(&mut times, if info.timed { count } else { 0 });
        let columns = columns.iter_mut().map(|column| cut(column, count)).collect();
        let block = Block {
            number,
            segment: info.segment,
            elapsed_ns,
            columns,
            gap_before: info.gap_before.clone(),
            tare_mark: info.tare_mark,
            receive_time: Moment::from_nanos(info.receive_time),
        };
        match checksum(&block) == info.crc32c {
            true => blocks.push(block),
            false => return Err(format!("the samples of block {number} do not have its checksum")),
        }
    }
    Ok(blocks)
}

fn cut<T: Copy>(rest: &mut &[T], count: usize) -> Vec<T> {
    let (head, tail) = rest.split_at(count.min(rest.len()));
    *rest = tail;
    head.to_vec()
}

/// CRC-32C over the samples of a block, as the protocol defines it.
fn checksum(block: &Block) -> u32 {
    continue_checksum(0, block)
}

/// Goes on with the checksum of a run.
pub(crate) fn continue_checksum(sum: u32, block: &Block) -> u32 {
    let mut bytes = Vec::with_capacity(8 * block.sample_count() * (block.columns.len() + 1));
    bytes.extend(block.elapsed_ns.iter().flat_map(|time| time.to_le_bytes()));
    bytes.extend(block.columns.iter().flatten().flat_map(|x| x.to_le_bytes()));
    crc32c::crc32c_append(sum, &bytes)
}

fn raw(words: impl ExactSizeIterator<Item = [u8; 8]>) -> SampleColumn {
    let mut bytes = Vec::with_capacity(8 * words.len());
    words.for_each(|word| bytes.extend_from_slice(&word));
    SampleColumn {
        coding: SampleCoding::Raw.into(),
        bytes,
    }
}

fn coded(coding: SampleCoding, bytes: Vec<u8>) -> SampleColumn {
    SampleColumn {
        coding: coding.into(),
        bytes,
    }
}

/// Compressed, if that returns the times; else raw.
fn code_times(times: &[i64]) -> SampleColumn {
    let packed = simple_compress(times, &ChunkConfig::default())
        .ok()
        .filter(|_| !times.is_empty());
    packed
        .map(|bytes| coded(SampleCoding::Pco, bytes))
        .filter(|column| read_times(column, times.len()).is_ok_and(|back| back == times))
        .unwrap_or_else(|| raw(times.iter().map(|time| time.to_le_bytes())))
}

/// Compressed as doubles, or as the bits of doubles, if that returns every bit; else raw.
fn code_doubles(values: &[f64]) -> SampleColumn {
    let bits: Vec<u64> = values.iter().map(|value| value.to_bits()).collect();
    let returns = |column: &SampleColumn| {
        read_doubles(column, values.len())
            .is_ok_and(|back| back.iter().map(|value| value.to_bits()).eq(bits.iter().copied()))
    };
    let doubles = || {
        simple_compress(values, &ChunkConfig::default())
            .ok()
            .map(|bytes| coded(SampleCoding::Pco, bytes))
    };
    let words = || {
        simple_compress(&bits, &ChunkConfig::default())
            .ok()
            .map(|bytes| coded(SampleCoding::PcoBits, bytes))
    };
    doubles()
        .filter(returns)
        .or_else(|| words().filter(returns))
        .unwrap_or_else(|| raw(bits.iter().map(|word| word.to_le_bytes())))
}

fn read_times(column: &SampleColumn, count: usize) -> Result<Vec<i64>, String> {
    let times: Vec<i64> = match column.coding() {
        SampleCoding::Pco => simple_decompress(&column.bytes).map_err(|error| error.to_string())?,
        SampleCoding::Raw => words(&column.bytes).map(i64::from_le_bytes).collect(),
        SampleCoding::Unspecified if column.bytes.is_empty() => Vec::new(),
        SampleCoding::Unspecified | SampleCoding::PcoBits => return Err("times of an unknown coding".into()),
    };
    counted(times, count)
}

fn read_doubles(column: &SampleColumn, count: usize) -> Result<Vec<f64>, String> {
    let values: Vec<f64> = match column.coding() {
        SampleCoding::Pco => simple_decompress(&column.bytes).map_err(|error| error.to_string())?,
        SampleCoding::PcoBits => {
            let bits: Vec<u64> = simple_decompress(&column.bytes).map_err(|error| error.to_string())?;
            bits.into_iter().map(f64::from_bits).collect()
        }
        SampleCoding::Raw => words(&column.bytes).map(f64::from_le_bytes).collect(),
        SampleCoding::Unspecified => return Err("a column of an unknown coding".into()),
    };
    counted(values, count)
}

fn words(bytes: &[u8]) -> impl Iterator<Item = [u8; 8]> {
    bytes.as_chunks::<8>().0.iter().copied()
}

fn counted<T>(values: Vec<T>, count: usize) -> Result<Vec<T>, String> {
    match values.len() == count {
        true => Ok(values),
        false => Err(format!("{} values where {count} were to be", values.len())),
    }
}
