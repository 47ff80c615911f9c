//! The sheet as a PDF.
//!
//! Text is real text in a subset of the font, so it can be searched and copied; pictures are the same drawings as on
//! the page. Nothing in the document depends on the moment of writing but the sheet's own date.

use std::collections::BTreeSet;
use std::fmt;
use std::sync::Arc;

use krilla::Document;
use krilla::color::rgb;
use krilla::geom::{PathBuilder, Point, Rect, Size, Transform};
use krilla::metadata::{DateTime, Metadata};
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::Fill;
use krilla::surface::Surface;
use krilla_svg::{SurfaceExt as _, SvgSettings};
use usvg::{Tree, fontdb};

use super::Paper;
use super::content::{JobSheet, Picture, When};
use super::fallback;
use super::flow::{self, Setter};
use super::layout::{Mark, PLAIN, Room, SMALL, STRONG, Shade, Strip, pages, stacked};
use super::text::{self, Faces, Line, printable};

/// Margins, in points: what printers of offices can print on, with room for a binder.
const MARGIN: f32 = 36.0;
/// Room for the foot of a page, below its body.
const FOOT: f32 = 18.0;
/// Sizes of running text tried, in points, with the share of their height pictures have: the first that needs one page, else
/// the very first on several.
const FITS: [(f32, f32); 6] = [
    (9.0, 1.0),
    (8.6, 0.95),
    (8.2, 0.9),
    (7.8, 0.85),
    (7.4, 0.8),
    (7.0, 0.72),
];
/// Lettering of plots on paper, in the plot's own units; the plot leaves room for it.
const PLOT_STYLE: &str = "svg { font-size: 24px }";
/// Characters named that no font has.
const NAMED: usize = 12;

/// Why a sheet cannot be written.
#[derive(Debug)]
pub enum SheetFault {
    /// The compiled-in font cannot be read.
    Font,
    /// A picture is not the SVG it should be.
    Picture {
        /// Its caption.
        caption: String,
        /// What its reader says.
        reason: String,
    },
    /// The document cannot be written.
    Document(String),
}

impl fmt::Display for SheetFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Font => f.write_str("the sheet's font cannot be read"),
            Self::Picture { caption, reason } => write!(f, "the picture {caption:?} cannot be read: {reason}"),
            Self::Document(reason) => write!(f, "the sheet cannot be written: {reason}"),
        }
    }
}

impl std::error::Error for SheetFault {}

/// A sheet laid out.
struct Set {
    pages: Vec<Strip>,
    size: f32,
}

/// What is drawn from: fonts and pictures.
struct Stock {
    faces: Faces,
    trees: Vec<Tree>,
    /// Height over width of each.
    shapes: Vec<f32>,
}

pub(super) fn document(sheet: &JobSheet, paper: Paper) -> Result<Vec<u8>, SheetFault> {
    // A font of the system that cannot be written is done without.
    written(sheet, paper, true).or_else(|_| written(sheet, paper, false))
}

fn written(sheet: &JobSheet, paper: Paper, of_system: bool) -> Result<Vec<u8>, SheetFault> {
    let (width, height) = points(paper);
    let stock = Stock::of(sheet, of_system)?;
    let set = fitted(sheet, &stock, (width, height));
    let mut document = Document::new();
    document.set_metadata(metadata(sheet));
    let count = set.pages.len();
    for (index, page) in set.pages.iter().enumerate() {
        let settings = PageSettings::from_wh(width, height).ok_or_else(|| broken("the paper has no extent"))?;
        let mut leaf = document.start_page_with(settings);
        let mut surface = leaf.surface();
        draw(&mut surface, &stock, page, (MARGIN, MARGIN));
        let foot = foot(sheet, &stock.faces, &set, (width, index, count));
        draw(&mut surface, &stock, &foot, (MARGIN, height - MARGIN - set.size));
        surface.finish();
        leaf.finish();
    }
    document.finish().map_err(broken)
}

fn broken(reason: impl fmt::Display) -> SheetFault {
    SheetFault::Document(reason.to_string())
}

/// ISO 216 A4 and letter size, in points.
fn points(paper: Paper) -> (f32, f32) {
    match paper {
        Paper::A4 => (595.276, 841.89),
        Paper::Letter => (612.0, 792.0),
    }
}

fn metadata(sheet: &JobSheet) -> Metadata {
    let metadata = Metadata::new()
        .title(printable(&sheet.title()))
        .language("en".to_owned())
        .creator("Springwright".to_owned());
    let metadata = match sheet.written {
        Some(when) => metadata.creation_date(date(when)),
        None => metadata,
    };
    match sheet.shop.trim() {
        "" => metadata,
        shop => metadata.authors(vec![printable(shop)]),
    }
}

fn date(when: When) -> DateTime {
    let day = DateTime::new(when.year).month(when.month).day(when.day);
    let minute = day.hour(when.hour).minute(when.minute).second(0);
    minute.utc_offset_hour(0).utc_offset_minute(0)
}

impl Stock {
    fn of(sheet: &JobSheet, of_system: bool) -> Result<Self, SheetFault> {
        let mut faces = Faces::load().ok_or(SheetFault::Font)?;
        let drawn = flow::pictures(sheet).into_iter().map(|picture| picture.svg.as_str());
        let mut fonts = fontdb::Database::new();
        if of_system {
            if drawn.clone().any(|svg| !faces.lacking(svg).is_empty()) {
                fonts = fallback::system().clone();
            }
            faces = faces.for_words(words(sheet).into_iter());
        }
        fonts.load_font_data(text::REGULAR.to_vec());
        fonts.load_font_data(text::BOLD.to_vec());
        let family = family(&fonts).ok_or(SheetFault::Font)?;
        fonts.set_sans_serif_family(&family);
        let fonts = Arc::new(fonts);
        let read = |picture: &Picture| tree(picture, &fonts, &family);
        let trees: Vec<Tree> = flow::pictures(sheet).into_iter().map(read).collect::<Result<_, _>>()?;
        let shapes = trees
            .iter()
            .map(|tree| (tree.size().height() / tree.size().width()).clamp(0.02, 50.0));
        Ok(Self {
            faces,
            shapes: shapes.collect(),
            trees,
        })
    }
}

fn family(fonts: &fontdb::Database) -> Option<String> {
    let (name, _) = fonts.faces().next()?.families.first()?;
    Some(name.clone())
}

fn tree(picture: &Picture, fonts: &Arc<fontdb::Database>, family: &str) -> Result<Tree, SheetFault> {
    let options = usvg::Options {
        font_family: family.to_owned(),
        fontdb: Arc::clone(fonts),
        style_sheet: picture.plot.then(|| PLOT_STYLE.to_owned()),
        ..usvg::Options::default()
    };
    Tree::from_str(&picture.svg, &options).map_err(|error| SheetFault::Picture {
        caption: picture.caption.clone(),
        reason: error.to_string(),
    })
}

/// The sheet on one page in the largest text that allows it, else on as many as it needs in the largest.
fn fitted(sheet: &JobSheet, stock: &Stock, paper: (f32, f32)) -> Set {
    let [largest, smaller @ ..] = FITS;
    let first = set(sheet, stock, paper, largest);
    let fits = |fit: &(f32, f32)| Some(set(sheet, stock, paper, *fit)).filter(|set| set.pages.len() == 1);
    // What is long is found out at once: where the smallest text does not do, none does.
    if first.pages.len() == 1 || smaller.last().and_then(fits).is_none() {
        return first;
    }
    smaller.iter().find_map(fits).unwrap_or(first)
}

fn set(sheet: &JobSheet, stock: &Stock, (width, height): (f32, f32), (size, share): (f32, f32)) -> Set {
    let room = Room {
        faces: &stock.faces,
        x: 0.0,
        width: width - 2.0 * MARGIN,
        size,
    };
    let mut strips = Setter::new(room, &stock.shapes, share).strips(sheet);
    strips.extend(lacking(sheet, room));
    let heading = room.single(&format!("Continued – {}", sheet.title()), STRONG);
    let heading = stacked(vec![heading, room.gap(0.5)]);
    let body = height - 2.0 * MARGIN - FOOT;
    let pages = pages(strips, body, heading.height)
        .into_iter()
        .enumerate()
        .map(|(index, strips)| {
            let before = (index > 0).then(|| heading.clone());
            stacked(before.into_iter().chain(strips).collect())
        });
    Set {
        pages: pages.collect(),
        size,
    }
}

/// Says which characters could not be printed.
fn lacking(sheet: &JobSheet, room: Room<'_>) -> Vec<Strip> {
    let mut letters = BTreeSet::new();
    for words in words(sheet) {
        letters.extend(room.faces.lacking(words));
    }
    if letters.is_empty() {
        return Vec::new();
    }
    let codes = letters
        .iter()
        .take(NAMED)
        .map(|letter| format!("U+{:04X}", u32::from(*letter)));
    let more = if letters.len() > NAMED { " and others" } else { "" };
    let said = format!(
        "Printed as a frame, because no font here has them: {}{more}. The sheet for a browser may show them.",
        codes.collect::<Vec<_>>().join(", ")
    );
    room.paragraph(&said, SMALL)
}

/// Everything on a sheet that somebody may have typed, or that says again what was typed.
fn words(sheet: &JobSheet) -> Vec<&str> {
    let mut words = vec![
        sheet.shop.as_str(),
        &sheet.rider,
        &sheet.machine,
        &sheet.asked,
        &sheet.ridden,
        &sheet.notes,
    ];
    let facts = sheet.parts.iter().flat_map(|part| &part.facts).chain(&sheet.facts);
    words.extend(facts.flat_map(|fact| [fact.what.as_str(), &fact.figure]));
    words.extend(sheet.parts.iter().map(|part| part.title.as_str()));
    words.extend(sheet.settings.iter().flat_map(|setting| setting.figures()));
    words.extend(
        sheet
            .concerns
            .iter()
            .flat_map(|concern| [concern.message.as_str(), &concern.caution]),
    );
    let listed = [&sheet.work, &sheet.cautions, &sheet.not_known, &sheet.made_from];
    words.extend(listed.into_iter().flatten().map(String::as_str));
    for verdict in &sheet.verdicts {
        let said = [
            &verdict.evidence,
            &verdict.check_first,
            &verdict.overturned_by,
            &verdict.besides,
        ];
        words.push(&verdict.words);
        words.extend(said.into_iter().flatten().map(String::as_str));
    }
    words.extend(sheet.pictures.iter().map(|picture| picture.caption.as_str()));
    words
}

fn foot(sheet: &JobSheet, faces: &Faces, set: &Set, (width, index, count): (f32, usize, usize)) -> Strip {
    let room = Room {
        faces,
        x: 0.0,
        width: width - 2.0 * MARGIN,
        size: set.size,
    };
    let mut foot = stacked(vec![room.single(&sheet.foot(), SMALL)]);
    let page = faces.line(&format!("Page {} of {count}", index + 1), PLAIN.weight);
    let size = set.size * SMALL.scale;
    let baseline = foot.marks.iter().find_map(|mark| match mark {
        Mark::Text { baseline, .. } => Some(*baseline),
        Mark::Bar { .. } | Mark::Picture { .. } => None,
    });
    foot.marks.push(Mark::Text {
        x: room.width - page.width * size,
        baseline: baseline.unwrap_or(size),
        size,
        shade: SMALL.shade,
        line: page,
    });
    foot
}

fn draw(surface: &mut Surface<'_>, stock: &Stock, strip: &Strip, (left, top): (f32, f32)) {
    for mark in &strip.marks {
        match mark {
            Mark::Text {
                x,
                baseline,
                size,
                shade,
                line,
            } => {
                surface.set_fill(Some(ink(*shade)));
                write(surface, line, (left + x, top + baseline), *size);
            }
            Mark::Bar {
                x,
                y,
                width,
                height,
                shade,
            } => {
                surface.set_fill(Some(ink(*shade)));
                fill(surface, (left + x, top + y), (*width, *height));
            }
            Mark::Picture {
                x,
                y,
                width,
                height,
                number,
            } => {
                let size = Size::from_wh(*width, *height);
                if let (Some(tree), Some(size)) = (stock.trees.get(*number), size) {
                    surface.push_transform(&Transform::from_translate(left + x, top + y));
                    surface.draw_svg(tree, size, SvgSettings::default());
                    surface.pop();
                }
            }
        }
    }
}

fn write(surface: &mut Surface<'_>, line: &Line, (mut x, y): (f32, f32), size: f32) {
    for run in &line.runs {
        surface.draw_glyphs(
            Point::from_xy(x, y),
            &run.glyphs,
            run.font.clone(),
            &run.text,
            size,
            false,
        );
        x += run.width * size;
    }
}

fn fill(surface: &mut Surface<'_>, (x, y): (f32, f32), (width, height): (f32, f32)) {
    let mut path = PathBuilder::new();
    if let Some(rect) = Rect::from_xywh(x, y, width, height) {
        path.push_rect(rect);
    }
    if let Some(path) = path.finish() {
        surface.draw_path(&path);
    }
}

fn ink(shade: Shade) -> Fill {
    let (red, green, blue) = match shade {
        Shade::Ink => (0x1d, 0x23, 0x26),
        Shade::Grey => (0x52, 0x5c, 0x61),
        Shade::Faint => (0xc9, 0xc6, 0xbd),
        Shade::Alarm => (0x9d, 0x1f, 0x1f),
    };
    Fill {
        paint: rgb::Color::new(red, green, blue).into(),
        opacity: NormalizedF32::ONE,
        rule: Default::default(),
    }
}
