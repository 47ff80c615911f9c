//! Laying out: strips of a page, one below the other, and their breaking into pages.
//!
//! Lengths are points (1/72 in), downwards from the upper left corner.

use super::text::{Faces, Line, Weight};

/// Ink, from full to faint; everything is said in words as well.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shade {
    Ink,
    Grey,
    Faint,
    Alarm,
}

/// Something printed, by its place within its strip.
#[derive(Debug, Clone)]
pub(super) enum Mark {
    /// Text on a baseline.
    Text {
        x: f32,
        baseline: f32,
        size: f32,
        shade: Shade,
        line: Line,
    },
    /// A filled box: a rule, or the bar beside a paragraph.
    Bar {
        x: f32,
        y: f32,
        width: f32,
        height: f32,
        shade: Shade,
    },
    /// A picture, by its number.
    Picture {
        x: f32,
        y: f32,
        width: f32,
        height: f32,
        number: usize,
    },
}

/// What is never broken over two pages.
#[derive(Debug, Clone, Default)]
pub(super) struct Strip {
    pub(super) height: f32,
    pub(super) marks: Vec<Mark>,
    /// Stays on one page with the next.
    pub(super) with_next: bool,
}

/// The room between the margins and how large text is in it.
#[derive(Clone, Copy)]
pub(super) struct Room<'a> {
    pub(super) faces: &'a Faces,
    /// From the strip's left edge.
    pub(super) x: f32,
    pub(super) width: f32,
    /// Size of running text.
    pub(super) size: f32,
}

/// How a paragraph looks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Look {
    pub(super) weight: Weight,
    pub(super) shade: Shade,
    /// Share of the running text's size.
    pub(super) scale: f32,
}

pub(super) const PLAIN: Look = Look {
    weight: Weight::Regular,
    shade: Shade::Ink,
    scale: 1.0,
};
pub(super) const STRONG: Look = Look {
    weight: Weight::Bold,
    ..PLAIN
};
pub(super) const SMALL: Look = Look {
    shade: Shade::Grey,
    scale: 0.85,
    ..PLAIN
};

/// Height of a line over the size of its text; ascent over the same.
const LEADING: f32 = 1.28;
const ASCENT: f32 = 0.98;

impl<'a> Room<'a> {
    /// A part of the room: from `x` on, `width` wide.
    pub(super) fn part(self, x: f32, width: f32) -> Room<'a> {
        Room {
            x: self.x + x,
            width,
            ..self
        }
    }

    /// A paragraph, a strip for each of its lines.
    pub(super) fn paragraph(self, text: &str, look: Look) -> Vec<Strip> {
        let width = self.width / (self.size * look.scale);
        let lines = self.faces.broken(text, look.weight, width);
        lines.into_iter().map(|line| self.set(line, look)).collect()
    }

    /// One line, cut where it is too long.
    pub(super) fn single(self, text: &str, look: Look) -> Strip {
        let width = self.width / (self.size * look.scale);
        self.set(self.faces.cut(text, look.weight, width), look)
    }

    fn set(self, line: Line, look: Look) -> Strip {
        let size = self.size * look.scale;
        Strip {
            height: size * LEADING,
            marks: vec![Mark::Text {
                x: self.x,
                baseline: size * ASCENT,
                size,
                shade: look.shade,
                line,
            }],
            with_next: false,
        }
    }

    /// Nothing, so high.
    pub(super) fn gap(self, lines: f32) -> Strip {
        Strip {
            height: self.size * LEADING * lines,
            ..Strip::default()
        }
    }

    /// A faint line over the room's width.
    pub(super) fn rule(self, shade: Shade) -> Strip {
        let bar = Mark::Bar {
            x: self.x,
            y: 0.0,
            width: self.width,
            height: 0.5,
            shade,
        };
        Strip {
            height: 2.0,
            marks: vec![bar],
            with_next: true,
        }
    }
}

/// Several columns of strips as one: what stands beside one another is not broken.
pub(super) fn beside(columns: Vec<Vec<Strip>>) -> Strip {
    let mut whole = Strip::default();
    for column in columns {
        let stacked = stacked(column);
        whole.height = whole.height.max(stacked.height);
        whole.marks.extend(stacked.marks);
    }
    whole
}

/// Strips as one.
pub(super) fn stacked(strips: Vec<Strip>) -> Strip {
    let mut whole = Strip::default();
    for strip in strips {
        whole
            .marks
            .extend(strip.marks.into_iter().map(|mark| mark.lowered(whole.height)));
        whole.height += strip.height;
    }
    whole
}

/// A bar to the left of strips, as long as each of them.
pub(super) fn barred(strips: Vec<Strip>, x: f32, shade: Shade) -> Vec<Strip> {
    let beside_bar = |mut strip: Strip| {
        strip.marks.push(Mark::Bar {
            x,
            y: 0.0,
            width: 2.0,
            height: strip.height,
            shade,
        });
        strip
    };
    strips.into_iter().map(beside_bar).collect()
}

impl Mark {
    pub(super) fn lowered(mut self, by: f32) -> Self {
        match &mut self {
            Self::Text { baseline, .. } => *baseline += by,
            Self::Bar { y, .. } | Self::Picture { y, .. } => *y += by,
        }
        self
    }
}

/// Strips over pages of this height, of which those after the first lose `heading` to their heading.
pub(super) fn pages(strips: Vec<Strip>, height: f32, heading: f32) -> Vec<Vec<Strip>> {
    let mut pages: Vec<Vec<Strip>> = vec![Vec::new()];
    let mut left = height;
    let mut held: Vec<Strip> = Vec::new();
    for strip in strips {
        let holds = strip.with_next;
        held.push(strip);
        if holds {
            continue;
        }
        let needed: f32 = held.iter().map(|strip| strip.height).sum();
        let begun = pages.last().is_some_and(|page| !page.is_empty());
        if needed > left && begun {
            pages.push(Vec::new());
            left = height - heading;
        }
        left -= needed;
        if let Some(page) = pages.last_mut() {
            page.append(&mut held);
        }
    }
    if let Some(page) = pages.last_mut() {
        page.append(&mut held);
    }
    pages
}
