//! Fonts of the system, for letters that the compiled-in font lacks.
//!
//! A font with every script is far too large to compile in; most systems have one. Which is taken depends on what is installed:
//! on one machine the same sheet is the same document. Fonts of pictures alone, without outlines, are left aside.

use std::collections::BTreeSet;
use std::sync::OnceLock;

use krilla::text::Font;
use rustybuzz::ttf_parser;
use usvg::fontdb::{Database, ID, Style, Weight};

/// Fonts taken at most; a sheet with more scripts names what is left.
const MOST: usize = 6;

/// A font of the system.
pub(super) struct Fallback {
    data: Vec<u8>,
    index: u32,
    /// As the document embeds it.
    pub(super) embedded: Font,
    pub(super) units: f32,
    /// The letters it is taken for.
    pub(super) letters: BTreeSet<char>,
}

impl Fallback {
    /// For shaping; parsed anew, as it borrows.
    pub(super) fn shaping(&self) -> Option<rustybuzz::Face<'_>> {
        rustybuzz::Face::from_slice(&self.data, self.index)
    }
}

/// Every font of the system, looked for once.
pub(super) fn system() -> &'static Database {
    static SYSTEM: OnceLock<Database> = OnceLock::new();
    SYSTEM.get_or_init(|| {
        let mut fonts = Database::new();
        fonts.load_system_fonts();
        fonts
    })
}

/// Fonts that together have as many of the letters as can be had, each for those the ones before it lack.
pub(super) fn covering(fonts: &Database, letters: &BTreeSet<char>) -> Vec<Fallback> {
    let mut wanted = letters.clone();
    let mut found = Vec::new();
    while !wanted.is_empty() && found.len() < MOST {
        let most = order(fonts)
            .into_iter()
            .map(|id| (id, had(fonts, id, &wanted)))
            .filter(|(_, had)| !had.is_empty())
            // The first of those that have most: the order is that of the names.
            .reduce(|best, next| if next.1.len() > best.1.len() { next } else { best });
        let Some((id, had)) = most else { break };
        wanted.retain(|letter| !had.contains(letter));
        found.extend(load(fonts, id, had));
    }
    found
}

/// Upright fonts of usual weight first, then by name: which comes first does not depend on the folder's order.
fn order(fonts: &Database) -> Vec<ID> {
    let mut faces: Vec<_> = fonts.faces().collect();
    faces.sort_by_key(|face| {
        let plain = (
            face.style == Style::Normal,
            face.weight == Weight::NORMAL,
            !face.monospaced,
        );
        (std::cmp::Reverse(plain), face.post_script_name.clone(), face.index)
    });
    faces.into_iter().map(|face| face.id).collect()
}

/// Which of the letters a font has outlines for.
fn had(fonts: &Database, id: ID, letters: &BTreeSet<char>) -> BTreeSet<char> {
    let look = |data: &[u8], index: u32| {
        let face = ttf_parser::Face::parse(data, index).ok()?;
        let tables = face.tables();
        let outlined = tables.glyf.is_some() || tables.cff.is_some() || tables.cff2.is_some();
        let had = letters.iter().filter(|letter| face.glyph_index(**letter).is_some());
        outlined.then(|| had.copied().collect())
    };
    fonts.with_face_data(id, look).flatten().unwrap_or_default()
}

fn load(fonts: &Database, id: ID, letters: BTreeSet<char>) -> Option<Fallback> {
    let (data, index) = fonts.with_face_data(id, |data, index| (data.to_vec(), index))?;
    let embedded = Font::new(data.clone().into(), index)?;
    rustybuzz::Face::from_slice(&data, index)?;
    Some(Fallback {
        units: embedded.units_per_em(),
        data,
        index,
        embedded,
        letters,
    })
}

#[cfg(test)]
mod tests {
    use super::super::text;
    use super::*;

    #[test]
    fn a_font_is_taken_for_the_letters_it_has_and_none_for_those_nobody_has() {
        let mut fonts = Database::new();
        fonts.load_font_data(text::BOLD.to_vec());
        fonts.load_font_data(text::REGULAR.to_vec());
        let letters = BTreeSet::from(['a', 'Ж', '\u{10fffd}']);
        let found = covering(&fonts, &letters);
        // The upright one of usual weight has both, and the other one is not needed.
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].letters, BTreeSet::from(['a', 'Ж']));
        assert!(found[0].shaping().is_some());
        assert!(covering(&Database::new(), &letters).is_empty());
    }
}
