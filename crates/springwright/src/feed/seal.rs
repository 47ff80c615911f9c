//! Lines with a number and a checksum at their end: `TEXT*NUMBER*CHECKSUM`.
//!
//! A bare line says nothing of its own health. A wrong count of fields, letters in a number, a number that is not finite:
//! that much shows. A digit that was changed, lost or doubled does not, nor a line end that was lost where the fields still
//! come out right: such a line is taken for the reading it looks like. Where the way to the instrument can garble what it
//! carries, only a checksum keeps wrong readings out, and only a number tells how many are missing.
//!
//! The number counts the readings of the test up to and with this line, from 1; on a note, those said before it. The checksum
//! is CRC-32C (RFC 9260, appendix A), eight lower-case hexadecimal digits, over everything before the last `*`. It finds every
//! burst of up to 32 bits; of other damage one line in 2^32 passes.

/// A line whose checksum is right.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Sealed<'a> {
    /// What it says.
    pub(crate) text: &'a [u8],
    /// Readings up to and with it.
    pub(crate) number: u64,
}

/// Opens a line without its end; none: its checksum is not right, or it has none.
pub(crate) fn open(line: &[u8]) -> Option<Sealed<'_>> {
    let star = |bytes: &[u8]| bytes.iter().rposition(|byte| *byte == b'*');
    let (covered, checksum) = line.split_at_checked(star(line)?)?;
    let checksum = std::str::from_utf8(checksum.get(1..)?).ok()?;
    let lower = |c: char| matches!(c, '0'..='9' | 'a'..='f');
    if checksum.len() != 8 || !checksum.chars().all(lower) {
        return None;
    }
    if u32::from_str_radix(checksum, 16).ok()? != crc32c::crc32c(covered) {
        return None;
    }
    let (text, number) = covered.split_at_checked(star(covered)?)?;
    let number = std::str::from_utf8(number.get(1..)?).ok()?;
    Some(Sealed {
        text,
        number: number.parse().ok()?,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Drawn by hand: `crc32c("10 0.1 0.3*7")` by the definition, bit by bit.
    fn by_definition(bytes: &[u8]) -> u32 {
        let step = |crc: u32| if crc & 1 == 1 { crc >> 1 ^ 0x82F6_3B78 } else { crc >> 1 };
        !bytes.iter().fold(u32::MAX, |crc, byte| {
            (0..8).fold(crc ^ u32::from(*byte), |crc, _| step(crc))
        })
    }

    fn sealed(text: &str, number: u64) -> Vec<u8> {
        let covered = format!("{text}*{number}");
        format!("{covered}*{:08x}", by_definition(covered.as_bytes())).into_bytes()
    }

    #[test]
    fn a_sealed_line_opens_and_a_bare_one_does_not() {
        let line = sealed("10 0.1 0.3", 7);
        let opened = open(&line).unwrap();
        assert_eq!((opened.text, opened.number), (b"10 0.1 0.3".as_slice(), 7));
        for bare in ["10 0.1 0.3", "*", "**", "10*7*", "10 0.1 0.3*7*00000000", ""] {
            assert_eq!(open(bare.as_bytes()), None, "{bare}");
        }
    }

    proptest! {
        #[test]
        fn no_single_damage_passes(at in 0usize..40, bit in 0u8..8, kind in 0u8..4, other in any::<u8>()) {
            let line = sealed("123456 78.90 -1234.5", 42);
            let mut damaged = line.clone();
            let at = at % line.len();
            match kind {
                0 => damaged[at] ^= 1 << bit,
                1 => drop(damaged.remove(at)),
                2 => damaged.insert(at, other),
                _ => damaged.extend_from_within(at..),
            }
            prop_assume!(damaged != line);
            prop_assert_eq!(open(&damaged), None);
        }
    }
}
