//! The curve that draws itself: drawn whole when its frame or what is marked on it changes, lengthened in between. The
//! page's script only appends.

use mechanics::quantity::{Deflection, ForceUnit, LengthUnit, Load, Quantity, Unit, UnitSystem};
use wire::v1;

use super::super::plot::{Axis, Line, Look, Mark, More, Plot};

/// How far beyond what was reached the frame goes, so that it need not grow at every reading.
const GROWTH: f64 = 1.35;
/// Share of the frame a movement goes back by before it is a return and no noise.
const TURN: f64 = 0.01;
/// Share of the frame by which a mark has to move to be drawn elsewhere.
const MOVED: f64 = 0.004;

/// What became of points that came.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Drawn {
    /// Nothing.
    Nothing,
    /// The picture is to be drawn anew.
    Whole,
    /// Its last line is longer by so much.
    More(More),
}

/// A movement of the platen one way.
#[derive(Debug, Clone)]
struct Branch {
    press: bool,
    points: Vec<(f64, f64)>,
    /// The farthest it went.
    turn: f64,
}

/// A curve in the units of whoever looks at it.
#[derive(Debug, Clone)]
pub(super) struct Curve {
    length: LengthUnit,
    force: ForceUnit,
    /// Deflection and load the frame goes to.
    reach: (f64, f64),
    /// The lowest that was read, below 0.
    low: (f64, f64),
    branches: Vec<Branch>,
    marks: v1::BenchMarks,
}

impl Curve {
    /// An empty one.
    pub(super) fn new(system: UnitSystem) -> Self {
        let (length, force) = (LengthUnit::of_system(system), ForceUnit::of_system(system));
        Self {
            length,
            force,
            // An empty bench shows a frame of a usual size.
            reach: (
                Deflection::new(20.0, LengthUnit::Millimeter).get(length),
                Load::new(200.0, ForceUnit::Newton).get(force),
            ),
            low: (0.0, 0.0),
            branches: Vec::new(),
            marks: v1::BenchMarks::default(),
        }
    }

    /// Begins again with these points and marks.
    pub(super) fn show(&mut self, system: UnitSystem, points: &v1::BenchPoints, marks: v1::BenchMarks) {
        *self = Self::new(system);
        self.marks = marks;
        self.take(points);
    }

    /// Takes points in the run's own units.
    pub(super) fn take(&mut self, points: &v1::BenchPoints) -> Drawn {
        let units = LengthUnit::from_number(points.deflection_unit).zip(ForceUnit::from_number(points.load_unit));
        let Some((length, force)) = units else {
            return Drawn::Nothing;
        };
        let lines = self.branches.len();
        let (mut grown, mut fresh) = (false, Vec::with_capacity(points.loads.len()));
        for (s, f) in points.deflections.iter().zip(&points.loads) {
            let point = (
                Deflection::new(*s, length).get(self.length),
                Load::new(*f, force).get(self.force),
            );
            grown |= self.grow(point);
            self.draw(point);
            fresh.push(point);
        }
        if grown || lines != self.branches.len() {
            return Drawn::Whole;
        }
        match (fresh.is_empty(), lines.checked_sub(1)) {
            (false, Some(last)) => Drawn::More(self.plot().more(self.reach, last, &fresh)),
            _ => Drawn::Nothing,
        }
    }

    /// Takes marks; whether they moved so far that it shows.
    pub(super) fn mark(&mut self, marks: v1::BenchMarks) -> bool {
        let places = |marks: &v1::BenchMarks| {
            [marks.contact, marks.bind, marks.window_from, marks.window_to].map(|length| self.place(length))
        };
        let moved = places(&marks)
            .into_iter()
            .zip(places(&self.marks))
            .any(|(now, before)| match (now, before) {
                (Some(now), Some(before)) => (now - before).abs() > MOVED * self.reach.0,
                (now, before) => now.is_some() != before.is_some(),
            });
        if moved {
            self.marks = marks;
        }
        moved
    }

    /// Widens the frame where a point lies beyond it.
    fn grow(&mut self, point: (f64, f64)) -> bool {
        let mut grown = false;
        for (value, reach, low) in [
            (point.0, &mut self.reach.0, &mut self.low.0),
            (point.1, &mut self.reach.1, &mut self.low.1),
        ] {
            if value > *reach {
                *reach = value * GROWTH;
                grown = true;
            }
            if value < *low {
                *low = value * GROWTH;
                grown = true;
            }
        }
        grown
    }

    /// Lengthens the line of the way the platen moves, or begins one where it turned.
    fn draw(&mut self, point: (f64, f64)) {
        let noise = TURN * self.reach.0;
        let Some(branch) = self.branches.last_mut() else {
            self.branches.push(Branch {
                press: true,
                points: vec![point],
                turn: point.0,
            });
            return;
        };
        let back = if branch.press {
            branch.turn - point.0
        } else {
            point.0 - branch.turn
        };
        if back > noise {
            let from = branch.points.last().copied().unwrap_or(point);
            let press = !branch.press;
            self.branches.push(Branch {
                press,
                points: vec![from, point],
                turn: point.0,
            });
            return;
        }
        branch.turn = if branch.press {
            branch.turn.max(point.0)
        } else {
            branch.turn.min(point.0)
        };
        branch.points.push(point);
    }

    fn place(&self, length: Option<v1::Length>) -> Option<f64> {
        let length = length?;
        Some(Deflection::new(length.value?, LengthUnit::from_number(length.unit)?).get(self.length))
    }

    /// The picture as it is.
    pub(super) fn plot(&self) -> Plot {
        let line = |branch: &Branch| Line {
            label: if branch.press { "press" } else { "return" }.to_owned(),
            look: if branch.press { Look::Press } else { Look::Return },
            points: branch.points.clone(),
        };
        let window = self.place(self.marks.window_from).zip(self.place(self.marks.window_to));
        let band = window.map(|(from, to)| Mark::Band {
            label: "window",
            from,
            to,
        });
        let at = |label, length| self.place(length).map(|x| Mark::At { label, x });
        let places = [at("contact", self.marks.contact), at("coil bind", self.marks.bind)];
        Plot {
            id: "live",
            title: "Load against deflection".to_owned(),
            description: "The spring on the tester; the figures beside it are the newest readings.".to_owned(),
            x: Axis {
                name: "deflection",
                unit: self.length.row().symbol,
                decimals: self.length.row().decimals,
            },
            y: Axis {
                name: "load",
                unit: self.force.row().symbol,
                decimals: self.force.row().decimals,
            },
            lines: self.branches.iter().map(line).collect(),
            marks: band.into_iter().chain(places.into_iter().flatten()).collect(),
        }
    }

    /// How far its frame goes.
    pub(super) fn reach(&self) -> (f64, f64) {
        self.reach
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(points: &[(f64, f64)]) -> v1::BenchPoints {
        let (deflections, loads) = points.iter().copied().unzip();
        v1::BenchPoints {
            deflection_unit: v1::length::Unit::Millimeter.into(),
            load_unit: v1::force::Unit::Newton.into(),
            deflections,
            loads,
        }
    }

    /// A stroke of 30 mm with a platen that trembles at its end.
    fn stroke() -> Vec<(f64, f64)> {
        let up = (0..100).map(|i| f64::from(i) * 0.3);
        let rest = [29.71, 29.69, 29.72, 29.7];
        let down = (1..100).map(|i| 29.7 - f64::from(i) * 0.3);
        up.chain(rest).chain(down).map(|s| (s, 9.0 * s)).collect()
    }

    #[test]
    fn appended_pieces_end_in_the_drawing_as_a_whole() {
        let mut curve = Curve::new(UnitSystem::Metric);
        let mut drawn = String::new();
        let (mut whole, mut pieces) = (0, 0);
        for part in stroke().chunks(7) {
            match curve.take(&points(part)) {
                Drawn::Whole => {
                    whole += 1;
                    drawn = curve.plot().growing(curve.reach()).into_string();
                }
                Drawn::More(more) => {
                    pieces += 1;
                    let end = format!("id=\"{}\"", more.line);
                    assert!(drawn.contains(&end), "{end} of {more:?}");
                    let (before, after) = drawn.split_once(&end).unwrap();
                    let after = after.replacen("\" data-points", &format!("{}\" data-points", more.places), 1);
                    let after = after.replacen("\" data-said", &format!("{}\" data-said", more.values), 1);
                    drawn = format!("{before}{end}{after}");
                }
                Drawn::Nothing => panic!("points were not drawn"),
            }
        }
        assert_eq!(drawn, curve.plot().growing(curve.reach()).into_string());
        assert!(whole < 8 && pieces > 20, "{whole} {pieces}");
        let plot = curve.plot();
        let looks: Vec<_> = plot.lines.iter().map(|line| line.look).collect();
        assert_eq!(looks, [Look::Press, Look::Return]);
        // The return begins where the press ended.
        assert_eq!(plot.lines[0].points.last(), plot.lines[1].points.first());
    }

    #[test]
    fn marks_are_drawn_anew_only_when_it_shows() {
        let mark = |mm: f64| v1::BenchMarks {
            contact: Some(v1::Length {
                value: Some(mm),
                unit: v1::length::Unit::Millimeter.into(),
            }),
            ..Default::default()
        };
        let mut curve = Curve::new(UnitSystem::Inch);
        assert!(curve.mark(mark(10.0)) && !curve.mark(mark(10.01)) && curve.mark(mark(11.0)));
        curve.take(&points(&[(0.0, 0.0), (254.0, 100.0)]));
        let drawn = curve.plot().growing(curve.reach()).into_string();
        assert!(
            drawn.contains("deflection in in") && drawn.contains("contact"),
            "{drawn}"
        );
    }
}
