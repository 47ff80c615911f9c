//! Plots: a typed curve in display units becomes an SVG picture. Pure: what is drawn depends on the plot alone.
//!
//! Every line has its own dash and label, so nothing rests on colour. Colours stand as attributes and are those of
//! print; the page's style overrides them, dark or light, and no style attribute is needed. The points stand beside
//! the picture as text, from which the script reads values for pointer and keyboard.

mod draw;
mod scale;

use maud::{Markup, html};

/// Most points of one line; more are thinned.
pub(crate) const MAX_POINTS: usize = 256;

/// A picture of lines over two axes.
#[derive(Debug, Clone)]
pub(crate) struct Plot {
    /// Begins the ids of its parts; another one for each plot of a view.
    pub(crate) id: &'static str,
    /// What it shows, in a few words.
    pub(crate) title: String,
    /// What is to be seen in it, for those who do not see it.
    pub(crate) description: String,
    /// To the right.
    pub(crate) x: Axis,
    /// Upwards.
    pub(crate) y: Axis,
    /// The lines, at most four.
    pub(crate) lines: Vec<Line>,
    /// What is marked on it.
    pub(crate) marks: Vec<Mark>,
}

/// An axis and the unit of its figures.
#[derive(Debug, Clone)]
pub(crate) struct Axis {
    /// What it is: "deflection".
    pub(crate) name: &'static str,
    /// Symbol of its unit.
    pub(crate) unit: &'static str,
    /// Decimals a value is read with.
    pub(crate) decimals: usize,
}

/// One line.
#[derive(Debug, Clone)]
pub(crate) struct Line {
    /// Beside its sample in the key: "pressing".
    pub(crate) label: String,
    /// How it is drawn.
    pub(crate) look: Look,
    /// Its points in order, in the units of the axes. Points that are not finite are left out.
    pub(crate) points: Vec<(f64, f64)>,
}

/// How a line is drawn: the dash tells the four apart, the colour the two springs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Look {
    /// First colour, solid.
    Press,
    /// First colour, dashed.
    Return,
    /// Second colour, dash and dot.
    OtherPress,
    /// Second colour, dotted.
    OtherReturn,
}

/// Something marked on the plot.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Mark {
    /// A stretch of the x axis, such as the window.
    Band {
        /// Its word.
        label: &'static str,
        /// Lower end.
        from: f64,
        /// Upper end.
        to: f64,
    },
    /// A place on the x axis that is known to so much.
    About {
        /// Its word.
        label: &'static str,
        /// Where.
        x: f64,
        /// How far it may be off.
        expanded: f64,
    },
    /// A height on the y axis, such as a limit.
    Level {
        /// Its word.
        label: String,
        /// Where.
        y: f64,
    },
    /// What lies between two lines, such as the uncertainty of a third.
    Ribbon {
        /// The lower line.
        low: Vec<(f64, f64)>,
        /// The upper line, over the same places.
        high: Vec<(f64, f64)>,
    },
    /// A place on the x axis, such as contact or coil bind.
    At {
        /// Its word.
        label: &'static str,
        /// Where.
        x: f64,
    },
}

/// What a line grows by, for the script to append.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct More {
    /// Id of the line.
    pub(crate) line: String,
    /// Appended to its places.
    pub(crate) places: String,
    /// Appended to its points as text.
    pub(crate) values: String,
}

impl Plot {
    /// The picture alone, as it stands in a file.
    pub(crate) fn svg(&self) -> Markup {
        draw::svg(self)
    }

    /// The picture alone, with axes that go at least so far: it may grow without being drawn anew.
    pub(crate) fn growing(&self, reach: (f64, f64)) -> Markup {
        draw::growing(self, reach)
    }

    /// What lengthens a line of a picture drawn by [`Plot::growing`]; its points are not yet counted as the plot's.
    pub(crate) fn more(&self, reach: (f64, f64), line: usize, points: &[(f64, f64)]) -> More {
        draw::more(self, reach, line, points)
    }

    /// The picture in a view, with words said of each point of each line beside its value.
    pub(crate) fn figure_noted(&self, notes: &[Vec<String>]) -> Markup {
        html! {
            figure.plot {
                (draw::noted(self, notes))
                output.reading aria-live="polite" {}
            }
        }
    }

    /// The picture in a view, with a line below it in which the script tells the value under pointer or keyboard.
    pub(crate) fn figure(&self) -> Markup {
        html! {
            figure.plot {
                (self.svg())
                output.reading aria-live="polite" {}
            }
        }
    }
}

/// Points without those that cannot be drawn, thinned evenly; first and last are kept.
pub(crate) fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let finite: Vec<_> = points
        .iter()
        .copied()
        .filter(|(x, y)| x.is_finite() && y.is_finite())
        .collect();
    let count = finite.len();
    if count <= MAX_POINTS {
        return finite;
    }
    (0..MAX_POINTS)
        .filter_map(|index| finite.get(index * (count - 1) / (MAX_POINTS - 1)).copied())
        .collect()
}
