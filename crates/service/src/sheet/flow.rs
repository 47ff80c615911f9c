//! The parts of a sheet as strips, in the order they are read.

use super::content::{COLUMNS, Concern, Fact, Gravity, JobSheet, Part, Picture, Setting, ended, noted};
use super::layout::{Look, Mark, PLAIN, Room, SMALL, STRONG, Shade, Strip, barred, beside, stacked};
use super::text::Weight;

/// Between columns, in sizes of the running text.
const GUTTER: f32 = 1.6;
/// Width of the head of a line in the comparison, in widths of a figure.
const HEAD: f32 = 2.0;
/// Columns of figures at the head, at least and at most.
const FACT_COLUMNS: (usize, usize) = (4, 6);
/// Columns of parts and of wide plots, of the others where there are more than two.
const WIDE: usize = 2;
const NARROW: usize = 3;
/// Highest picture, in sizes of the running text.
const PICTURE_HEIGHT: f32 = 19.0;
/// Highest list that stands beside another one, likewise.
const BESIDE_AT_MOST: f32 = 30.0;

/// A sheet being set. Pictures are taken in the order of their numbers.
pub(super) struct Setter<'a> {
    pub(super) room: Room<'a>,
    /// Height over width of every picture, by number.
    pub(super) shapes: &'a [f32],
    /// How high pictures may be, as a share of what they may be at most.
    pub(super) share: f32,
    next_picture: usize,
}

/// The pictures of a sheet in the order they are numbered: as [`Setter::drawn`] sets them.
pub(super) fn pictures(sheet: &JobSheet) -> Vec<&Picture> {
    let drawn = |narrow: bool| {
        let parts = sheet.parts.iter().filter(move |part| part.narrow == narrow);
        parts.filter_map(|part| part.picture.as_ref())
    };
    let plots = |narrow: bool| sheet.pictures.iter().filter(move |picture| picture.plot == narrow);
    let in_order = drawn(false).chain(drawn(true)).chain(plots(true)).chain(plots(false));
    in_order.collect()
}

impl<'a> Setter<'a> {
    pub(super) fn new(room: Room<'a>, shapes: &'a [f32], share: f32) -> Self {
        Self {
            room,
            shapes,
            share,
            next_picture: 0,
        }
    }

    /// All of a sheet.
    pub(super) fn strips(&mut self, sheet: &JobSheet) -> Vec<Strip> {
        let mut strips = self.head(sheet);
        let concerns = sheet.concerns_by_gravity();
        let (hazards, others): (Vec<_>, Vec<_>) = concerns
            .into_iter()
            .partition(|concern| concern.gravity == Gravity::Hazard);
        strips.extend(hazards.into_iter().flat_map(|concern| self.concern(concern)));
        strips.extend(self.settings(&sheet.settings, &sheet.columns()));
        strips.extend(self.verdicts(sheet));
        strips.extend(self.drawn(sheet));
        strips.extend(self.others(&others));
        strips.extend(self.work_and_cautions(sheet));
        if !sheet.notes.trim().is_empty() {
            strips.push(self.room.gap(0.4));
            strips.extend(self.room.paragraph(&format!("Notes: {}", sheet.notes), PLAIN));
        }
        for said in sheet.small_print() {
            strips.push(self.room.gap(0.3));
            strips.extend(self.room.paragraph(&said, SMALL));
        }
        strips
    }

    fn head(&self, sheet: &JobSheet) -> Vec<Strip> {
        let room = self.room;
        let mut strips = Vec::new();
        let shop = match sheet.shop.trim() {
            "" => "Job sheet".to_owned(),
            shop => format!("Job sheet – {shop}"),
        };
        strips.extend(room.paragraph(&shop, SMALL));
        let large = Look { scale: 1.9, ..STRONG };
        for name in [&sheet.rider, &sheet.machine] {
            if !name.trim().is_empty() {
                let scale = if std::ptr::eq(name, &sheet.rider) { 1.9 } else { 1.25 };
                strips.extend(room.paragraph(name, Look { scale, ..large }));
            }
        }
        if !sheet.asked.trim().is_empty() {
            strips.push(room.gap(0.2));
            strips.extend(room.paragraph(&format!("Asked for: {}", sheet.asked), PLAIN));
        }
        if !sheet.ridden.trim().is_empty() {
            strips.extend(room.paragraph(&format!("Ridden: {}", sheet.ridden), PLAIN));
        }
        strips.push(room.gap(0.4));
        let columns = sheet.facts.len().clamp(FACT_COLUMNS.0, FACT_COLUMNS.1);
        strips.extend(self.facts(&sheet.facts, columns));
        strips
    }

    /// Figures side by side, what they are above each.
    fn facts(&self, facts: &[Fact], columns: usize) -> Vec<Strip> {
        let row = |facts: &[Fact]| {
            let cells = facts.iter().enumerate().map(|(column, fact)| {
                let room = self.column(column, columns);
                let mut cell = vec![room.rule(Shade::Faint)];
                cell.extend(room.paragraph(&fact.what, SMALL));
                cell.extend(room.paragraph(&fact.figure, PLAIN));
                cell
            });
            let mut row = beside(cells.collect());
            row.height += self.room.size * 0.25;
            row
        };
        facts.chunks(columns).map(row).collect()
    }

    /// One of several equal columns.
    fn column(&self, column: usize, columns: usize) -> Room<'a> {
        let gutter = self.room.size * GUTTER;
        let width = (self.room.width - gutter * (columns - 1) as f32) / columns as f32;
        self.room.part((width + gutter) * column as f32, width)
    }

    fn settings(&self, settings: &[Setting], columns: &[usize]) -> Vec<Strip> {
        if settings.is_empty() || columns.is_empty() {
            return Vec::new();
        }
        let unit = self.room.width / (columns.len() as f32 + HEAD);
        let gutter = self.room.size * 0.6;
        let place = |index: usize| self.room.part(unit * (index as f32 + HEAD), unit - gutter);
        let line = |what: &str, figures: Vec<&str>, look: Look| {
            let mut cells = vec![self.room.part(0.0, unit * HEAD - gutter).paragraph(what, look)];
            let figures = figures.into_iter().enumerate();
            cells.extend(figures.map(|(index, figure)| place(index).paragraph(figure, look)));
            stacked(vec![beside(cells), self.room.rule(Shade::Faint)])
        };
        let heads = columns.iter().filter_map(|column| COLUMNS.get(*column).copied());
        let mut rows = vec![line("", heads.collect(), SMALL)];
        if let Some(head) = rows.first_mut() {
            head.with_next = true;
        }
        rows.extend(settings.iter().map(|setting| {
            let all = setting.figures();
            let figures = columns.iter().filter_map(|column| all.get(*column).copied());
            let shown = figures.map(|figure| if figure.trim().is_empty() { "–" } else { figure });
            line(&setting.what, shown.collect(), PLAIN)
        }));
        let title = match columns.iter().any(|column| column % 2 == 1) {
            true => "As found and as left",
            false => "As found",
        };
        self.titled(title, rows)
    }

    fn verdicts(&self, sheet: &JobSheet) -> Vec<Strip> {
        let indent = self.room.size;
        let inner = self.room.part(indent, self.room.width - indent);
        let mut body = Vec::new();
        for (index, verdict) in sheet.verdicts.iter().enumerate() {
            let number = if sheet.verdicts.len() > 1 {
                format!("{}. ", index + 1)
            } else {
                String::new()
            };
            let mut one = inner.paragraph(&format!("{number}{}", verdict.head()), STRONG);
            one.iter_mut().for_each(|strip| strip.with_next = true);
            let sentences = verdict.sentences().into_iter();
            let sentences: Vec<String> = sentences
                .map(|(what, words)| format!("{what}: {}", ended(&words)))
                .collect();
            if !sentences.is_empty() {
                one.extend(inner.paragraph(&sentences.join(" "), PLAIN));
            }
            let shade = match (verdict.hazard, index) {
                (true, _) => Shade::Alarm,
                (false, 0) => Shade::Ink,
                (false, _) => Shade::Grey,
            };
            body.extend(barred(one, self.room.x, shade));
            body.push(self.room.gap(0.3));
        }
        if !sheet.judged.trim().is_empty() {
            body.extend(self.room.paragraph(&sheet.judged, SMALL));
        }
        self.titled("What to do, and why", body)
    }

    /// Springs, stacks and plots: what belongs to an end first, then stacks and curves in narrow columns, then what is wide.
    fn drawn(&mut self, sheet: &JobSheet) -> Vec<Strip> {
        let (units, stacks): (Vec<&Part>, Vec<&Part>) = sheet.parts.iter().partition(|part| !part.narrow);
        let (curves, wide): (Vec<&Picture>, Vec<&Picture>) = sheet.pictures.iter().partition(|picture| picture.plot);
        let narrow = if stacks.len() + curves.len() > WIDE {
            NARROW
        } else {
            WIDE
        };
        let cells = |parts: Vec<&'_ Part>, pictures: Vec<&'_ Picture>| {
            let parts = parts.into_iter().cloned();
            let pictures = pictures.into_iter().map(|picture| Part {
                picture: Some(picture.clone()),
                ..Part::default()
            });
            parts.chain(pictures).collect::<Vec<Part>>()
        };
        let mut rows = self.rows(&cells(units, Vec::new()), WIDE);
        rows.extend(self.rows(&cells(stacks, curves), narrow));
        rows.extend(self.rows(&cells(Vec::new(), wide), WIDE));
        let title = match (sheet.parts.is_empty(), sheet.pictures.is_empty()) {
            (false, false) => "Springs, stacks and plots",
            (false, true) => "Springs and stacks",
            _ => "Plots",
        };
        self.titled(title, rows)
    }

    /// Cells side by side.
    fn rows(&mut self, parts: &[Part], columns: usize) -> Vec<Strip> {
        let mut rows = Vec::new();
        for row in parts.chunks(columns) {
            let mut cells = Vec::new();
            for (column, part) in row.iter().enumerate() {
                let room = self.column(column, columns);
                let mut cell = Vec::new();
                if !part.title.trim().is_empty() {
                    cell.extend(room.paragraph(&part.title, STRONG));
                }
                if !part.facts.is_empty() {
                    cell.extend(room.paragraph(&part.facts_in_line(), PLAIN));
                }
                if let Some(picture) = &part.picture {
                    cell.extend(self.picture(room, picture));
                }
                cells.push(cell);
            }
            rows.push(beside(cells));
            rows.push(self.room.gap(0.3));
        }
        rows
    }

    /// What was done beside what to heed; without work the cautions have the whole width.
    fn work_and_cautions(&self, sheet: &JobSheet) -> Vec<Strip> {
        let cautions = sheet.cautions_or_usual();
        if sheet.work.is_empty() {
            return self.list("Cautions", &cautions, self.room);
        }
        let work: Vec<&str> = sheet.work.iter().map(String::as_str).collect();
        let [left, right] = [0, 1].map(|column| self.column(column, WIDE));
        let columns = [
            self.list("Work done", &work, left),
            self.list("Cautions", &cautions, right),
        ];
        // Two long lists are broken over pages one after the other.
        let high = columns
            .iter()
            .map(|list| list.iter().map(|strip| strip.height).sum::<f32>());
        if high.fold(0.0, f32::max) > self.room.size * BESIDE_AT_MOST {
            return [
                self.list("Work done", &work, self.room),
                self.list("Cautions", &cautions, self.room),
            ]
            .concat();
        }
        vec![beside(columns.into())]
    }

    /// A picture with its caption, as large as column and greatest height allow.
    fn picture(&mut self, room: Room<'_>, picture: &Picture) -> Vec<Strip> {
        let number = self.next_picture;
        self.next_picture += 1;
        let shape = self.shapes.get(number).copied().unwrap_or(1.0);
        let height = (room.width * shape).min(room.size * PICTURE_HEIGHT * self.share);
        let (width, height) = (height / shape, height);
        let mark = Mark::Picture {
            x: room.x,
            y: 0.0,
            width,
            height,
            number,
        };
        let mut strips = Vec::new();
        if !picture.caption.trim().is_empty() {
            strips.extend(room.paragraph(&picture.caption, SMALL));
        }
        strips.push(Strip {
            height,
            marks: vec![mark],
            with_next: false,
        });
        strips
    }

    fn concern(&self, concern: &Concern) -> Vec<Strip> {
        let indent = self.room.size;
        let inner = self.room.part(indent, self.room.width - indent);
        let shade = match concern.gravity {
            Gravity::Hazard => Shade::Alarm,
            Gravity::Warning => Shade::Ink,
            Gravity::Note => Shade::Grey,
        };
        let weight = match concern.gravity {
            Gravity::Hazard => Weight::Bold,
            Gravity::Warning | Gravity::Note => Weight::Regular,
        };
        let said = format!("{}: {}", concern.gravity.word(), concern.message);
        let mut strips = inner.paragraph(&said, Look { weight, ..PLAIN });
        if !concern.caution.trim().is_empty() {
            strips.extend(inner.paragraph(&format!("Caution: {}", concern.caution), PLAIN));
        }
        let mut strips = barred(strips, self.room.x, shade);
        strips.insert(0, self.room.gap(0.3));
        strips
    }

    /// Warnings each by itself, what is only worth knowing in one paragraph.
    fn others(&self, concerns: &[&Concern]) -> Vec<Strip> {
        let (notes, grave): (Vec<&Concern>, Vec<&Concern>) =
            concerns.iter().partition(|concern| concern.gravity == Gravity::Note);
        let mut said: Vec<Strip> = grave.into_iter().flat_map(|concern| self.concern(concern)).collect();
        if !notes.is_empty() {
            said.push(self.room.gap(0.3));
            said.extend(self.room.paragraph(&noted(&notes), SMALL));
        }
        said
    }

    fn list(&self, title: &str, sentences: &[&str], room: Room<'_>) -> Vec<Strip> {
        let indent = room.size;
        let inner = room.part(indent, room.width - indent);
        let mut strips = Vec::new();
        for sentence in sentences {
            let mut lines = inner.paragraph(sentence, PLAIN);
            if let (Some(first), Some(dash)) = (lines.first_mut(), room.paragraph("–", PLAIN).pop()) {
                first.marks.extend(dash.marks);
            }
            strips.extend(lines);
        }
        titled(room, title, strips)
    }

    fn titled(&self, title: &str, body: Vec<Strip>) -> Vec<Strip> {
        titled(self.room, title, body)
    }
}

/// A heading with its body; without a body there is none.
fn titled(room: Room<'_>, title: &str, body: Vec<Strip>) -> Vec<Strip> {
    if body.is_empty() {
        return Vec::new();
    }
    let mut gap = room.gap(0.5);
    gap.with_next = true;
    let mut strips = vec![gap];
    let mut heading = room.paragraph(title, Look { scale: 1.15, ..STRONG });
    heading.iter_mut().for_each(|strip| strip.with_next = true);
    strips.extend(heading);
    strips.extend(body);
    strips
}
