//! Setting text: which glyphs a line is made of and how wide it is.
//!
//! The font is DejaVu Sans Condensed (licence beside it), compiled in: Latin, Greek, Cyrillic, Armenian, Georgian,
//! Hebrew, Arabic and the signs of the trade. A character it lacks is taken from a font of the system; where none has it, it
//! is printed as a frame, and the sheet names it; the sheet for a browser shows it.

use std::cell::RefCell;
use std::collections::{BTreeSet, HashMap};

use krilla::text::{Font, GlyphId, KrillaGlyph};
use rustybuzz::{Direction, UnicodeBuffer};
use unicode_bidi::BidiInfo;

use super::fallback::{self, Fallback};

pub(super) static REGULAR: &[u8] = include_bytes!("fonts/DejaVuSansCondensed.ttf");
pub(super) static BOLD: &[u8] = include_bytes!("fonts/DejaVuSansCondensed-Bold.ttf");

/// Longest text set at once, in bytes; a field of the API is shorter.
const MAX_TEXT: usize = 16_384;

/// How heavy a letter is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Weight {
    Regular,
    Bold,
}

/// Both weights of the font.
pub(super) struct Faces {
    regular: Face,
    bold: Face,
    /// For what both lack.
    others: Vec<Fallback>,
    /// Widths of words that were set: a sheet is laid out in several sizes, and its words stay the same.
    widths: RefCell<HashMap<(Weight, String), f32>>,
}

/// Which font a letter is set in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Source {
    /// The compiled-in one, in this weight.
    Own(Weight),
    /// One of the system.
    System(usize),
}

struct Face {
    shaping: rustybuzz::Face<'static>,
    /// As the document embeds it.
    embedded: Font,
    units: f32,
}

/// A line of text set in one weight, in widths of the font's size.
#[derive(Debug, Clone)]
pub(super) struct Line {
    pub(super) runs: Vec<Run>,
    pub(super) width: f32,
}

/// A stretch of one direction, in the order it is read on paper.
#[derive(Debug, Clone)]
pub(super) struct Run {
    pub(super) font: Font,
    pub(super) text: String,
    pub(super) glyphs: Vec<KrillaGlyph>,
    pub(super) width: f32,
}

impl Faces {
    /// `None` only if the compiled-in font were no font.
    pub(super) fn load() -> Option<Self> {
        Some(Self {
            regular: Face::load(REGULAR)?,
            bold: Face::load(BOLD)?,
            others: Vec::new(),
            widths: RefCell::default(),
        })
    }

    /// With fonts of the system for what the words lack.
    pub(super) fn for_words<'a>(mut self, words: impl Iterator<Item = &'a str>) -> Self {
        let lacking: BTreeSet<char> = words.flat_map(|words| self.lacking(words)).collect();
        if !lacking.is_empty() {
            self.others = fallback::covering(fallback::system(), &lacking);
        }
        self
    }

    fn of(&self, weight: Weight) -> &Face {
        match weight {
            Weight::Regular => &self.regular,
            Weight::Bold => &self.bold,
        }
    }

    /// The font a letter is set in.
    fn source(&self, letter: char, weight: Weight) -> Source {
        let other = match weight {
            Weight::Regular => Weight::Bold,
            Weight::Bold => Weight::Regular,
        };
        if let Some(own) = [weight, other].into_iter().find(|weight| self.of(*weight).has(letter)) {
            return Source::Own(own);
        }
        let system = self.others.iter().position(|other| other.letters.contains(&letter));
        system.map_or(Source::Own(weight), Source::System)
    }

    /// Stretches of text that are set in one font.
    fn stretches<'t>(&self, text: &'t str, weight: Weight) -> Vec<(Source, &'t str)> {
        let mut stretches: Vec<(Source, usize)> = Vec::new();
        for (at, letter) in text.char_indices() {
            // What joins, and spaces, stay with the letter before.
            let follows = !stretches.is_empty() && (letter == ' ' || invisible(letter));
            let source = self.source(letter, weight);
            if !follows && stretches.last().is_none_or(|(last, _)| *last != source) {
                stretches.push((source, at));
            }
        }
        let ends = stretches.iter().skip(1).map(|(_, at)| *at).chain([text.len()]);
        let pieces = stretches.iter().zip(ends);
        pieces
            .filter_map(|((source, from), to)| Some((*source, text.get(*from..to)?)))
            .collect()
    }

    fn run(&self, source: Source, text: &str, right_to_left: bool) -> Option<Run> {
        match source {
            Source::Own(weight) => {
                let face = self.of(weight);
                Some(shaped(&face.shaping, (&face.embedded, face.units), text, right_to_left))
            }
            Source::System(index) => {
                let other = self.others.get(index)?;
                let shaping = other.shaping()?;
                Some(shaped(&shaping, (&other.embedded, other.units), text, right_to_left))
            }
        }
    }

    /// Sets one line; text that is to be broken goes through [`Faces::broken`].
    pub(super) fn line(&self, text: &str, weight: Weight) -> Line {
        let text = printable(text);
        let bidi = BidiInfo::new(&text, None);
        let mut runs = Vec::new();
        for paragraph in &bidi.paragraphs {
            let (levels, ranges) = bidi.visual_runs(paragraph, paragraph.range.clone());
            for range in ranges {
                let right_to_left = levels.get(range.start).is_some_and(|level| level.is_rtl());
                let stretch = text.get(range).unwrap_or_default();
                let mut stretches = self.stretches(stretch, weight);
                if right_to_left {
                    stretches.reverse();
                }
                runs.extend(
                    stretches
                        .into_iter()
                        .filter_map(|(source, text)| self.run(source, text, right_to_left)),
                );
            }
        }
        Line {
            width: runs.iter().map(|run| run.width).sum(),
            runs,
        }
    }

    /// Sets text in lines no wider than `width`, in widths of the font's size. A word that is wider is broken.
    pub(super) fn broken(&self, text: &str, weight: Weight, width: f32) -> Vec<Line> {
        let mut lines = Vec::new();
        for paragraph in text.split('\n') {
            let mut open = String::new();
            let mut taken = 0.0;
            for word in printable(paragraph).split_whitespace() {
                for piece in self.pieces(word, weight, width) {
                    let gap = if open.is_empty() { 0.0 } else { self.width(" ", weight) };
                    let wide = self.width(&piece, weight);
                    if !open.is_empty() && taken + gap + wide > width {
                        lines.push(self.line(&open, weight));
                        open = piece;
                        taken = wide;
                    } else {
                        if gap > 0.0 {
                            open.push(' ');
                        }
                        open.push_str(&piece);
                        taken += gap + wide;
                    }
                }
            }
            lines.push(self.line(&open, weight));
        }
        lines
    }

    /// As much of a text as one line takes, with a sign where it was cut.
    pub(super) fn cut(&self, text: &str, weight: Weight, width: f32) -> Line {
        let whole = self.line(text, weight);
        if whole.width <= width {
            return whole;
        }
        let letters: Vec<char> = printable(text).chars().collect();
        let begun = |count: usize| letters.iter().take(count).chain(&['…']).collect::<String>();
        let counts: Vec<usize> = (0..letters.len()).collect();
        let fitting = counts.partition_point(|count| self.width(&begun(*count), weight) <= width);
        self.line(&begun(fitting.saturating_sub(1)), weight)
    }

    /// A word, or what it must be broken into.
    fn pieces(&self, word: &str, weight: Weight, width: f32) -> Vec<String> {
        if self.width(word, weight) <= width {
            return vec![word.to_owned()];
        }
        let mut pieces = vec![String::new()];
        let mut taken = 0.0;
        for letter in word.chars() {
            let wide = self.width(letter.encode_utf8(&mut [0; 4]), weight);
            if taken + wide > width && taken > 0.0 {
                pieces.push(String::new());
                taken = 0.0;
            }
            taken += wide;
            if let Some(piece) = pieces.last_mut() {
                piece.push(letter);
            }
        }
        pieces
    }

    fn width(&self, text: &str, weight: Weight) -> f32 {
        let key = (weight, text.to_owned());
        if let Some(width) = self.widths.borrow().get(&key) {
            return *width;
        }
        let width = self.line(text, weight).width;
        self.widths.borrow_mut().insert(key, width);
        width
    }

    /// Characters of a text that no font here has.
    pub(super) fn lacking(&self, text: &str) -> BTreeSet<char> {
        let had = |letter: &char| match self.source(*letter, Weight::Regular) {
            Source::Own(weight) => self.of(weight).has(*letter),
            Source::System(_) => true,
        };
        let letters = printable(text);
        letters
            .chars()
            .filter(|letter| !had(letter) && !invisible(*letter))
            .collect()
    }
}

/// Joiners and variation selectors: nothing is seen of them.
fn invisible(letter: char) -> bool {
    matches!(letter, '\u{200b}'..='\u{200d}' | '\u{fe00}'..='\u{fe0f}')
}

impl Face {
    fn load(data: &'static [u8]) -> Option<Self> {
        let shaping = rustybuzz::Face::from_slice(data, 0)?;
        let embedded = Font::new(data.into(), 0)?;
        let units = embedded.units_per_em();
        Some(Self {
            shaping,
            embedded,
            units,
        })
    }

    fn has(&self, letter: char) -> bool {
        self.shaping.glyph_index(letter).is_some()
    }
}

fn shaped(face: &rustybuzz::Face<'_>, (font, per_em): (&Font, f32), text: &str, right_to_left: bool) -> Run {
    let mut buffer = UnicodeBuffer::new();
    buffer.push_str(text);
    buffer.guess_segment_properties();
    buffer.set_direction(match right_to_left {
        true => Direction::RightToLeft,
        false => Direction::LeftToRight,
    });
    let shaped = rustybuzz::shape(face, &[], buffer);
    let mut starts: Vec<usize> = shaped.glyph_infos().iter().map(|info| info.cluster as usize).collect();
    starts.sort_unstable();
    let em = |units: i32| units as f32 / per_em;
    let glyphs: Vec<KrillaGlyph> = shaped
        .glyph_infos()
        .iter()
        .zip(shaped.glyph_positions())
        .map(|(info, position)| {
            let start = info.cluster as usize;
            let after = starts.iter().find(|next| **next > start).copied();
            KrillaGlyph::new(
                GlyphId::new(info.glyph_id),
                em(position.x_advance),
                em(position.x_offset),
                em(position.y_offset),
                em(position.y_advance),
                start..after.unwrap_or(text.len()),
                None,
            )
        })
        .collect();
    let width = shaped
        .glyph_positions()
        .iter()
        .map(|position| em(position.x_advance))
        .sum();
    Run {
        font: font.clone(),
        text: text.to_owned(),
        glyphs,
        width,
    }
}

/// Text without what has no place on paper: control characters, and marks that would turn the reading direction of what
/// follows. Overlong text is cut, with a sign.
pub(super) fn printable(text: &str) -> String {
    let mut kept: String = text
        .chars()
        .map(|letter| if letter.is_whitespace() { ' ' } else { letter })
        .filter(|letter| !letter.is_control() && !turns(*letter))
        .scan(0, |taken, letter| {
            *taken += letter.len_utf8();
            (*taken <= MAX_TEXT).then_some(letter)
        })
        .collect();
    if text.len() > MAX_TEXT {
        kept.push('…');
    }
    kept
}

fn turns(letter: char) -> bool {
    matches!(letter, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
}
