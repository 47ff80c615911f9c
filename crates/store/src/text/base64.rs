//! Standard base64 with padding (RFC 4648, section 4), strict.

const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

pub(super) fn encode(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let word = (0..3).fold(0_u32, |word, i| {
            word << 8 | u32::from(chunk.get(i).copied().unwrap_or(0))
        });
        for place in 0..4 {
            let digit = (word >> (18 - 6 * place)) & 63;
            let letter = ALPHABET.get(digit as usize).copied().unwrap_or(b'=');
            text.push(if place <= chunk.len() { char::from(letter) } else { '=' });
        }
    }
    text
}

/// `None` for anything that [`encode`] would not have written.
pub(super) fn decode(text: &str) -> Option<Vec<u8>> {
    let (groups, rest) = text.as_bytes().as_chunks::<4>();
    if !rest.is_empty() {
        return None;
    }
    let mut bytes = Vec::with_capacity(groups.len() * 3);
    for group in groups {
        let letters = group.iter().take_while(|letter| **letter != b'=').count();
        let mut word = 0_u32;
        for letter in group {
            word = word << 6 | if *letter == b'=' { 0 } else { digit(*letter)? };
        }
        let [_, a, b, c] = word.to_be_bytes();
        bytes.extend([a, b, c].into_iter().take(letters.checked_sub(1)?));
    }
    // Padding in the middle and stray bits come back as something else.
    (encode(&bytes) == text).then_some(bytes)
}

fn digit(letter: u8) -> Option<u32> {
    let digit = match letter {
        b'A'..=b'Z' => letter - b'A',
        b'a'..=b'z' => letter - b'a' + 26,
        b'0'..=b'9' => letter - b'0' + 52,
        b'+' => 62,
        b'/' => 63,
        _ => return None,
    };
    Some(u32::from(digit))
}
