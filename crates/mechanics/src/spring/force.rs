//! A force curve: what everything that carries load along one axis comes to.

use crate::quantity::{Deflection, Energy, Load, Quantity, SpringRate};

use super::monotone;

/// A point of a [`ForceCurve`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForcePoint {
    /// Deflection.
    pub deflection: Deflection,
    /// Load there.
    pub load: Load,
    /// Rate just before.
    pub rate_before: SpringRate,
    /// Rate just after; another one at a knot.
    pub rate_after: SpringRate,
}

/// Load against deflection along one axis, with the rate: a cubic between points that keeps load and rate of both.
///
/// With `h` the spacing, `t = (s - s0)/h`: `F = (1 + 2t)(1 - t)^2 F0 + t(1 - t)^2 h k0 + t^2(3 - 2t) F1 + t^2(t - 1) h k1`
/// (Hermite). Straight parts are exact, tables are the monotone interpolation, smooth curves are as close as their points.
#[derive(Debug, Clone, PartialEq)]
pub struct ForceCurve {
    points: Vec<ForcePoint>,
}

impl ForceCurve {
    /// From points in strictly rising order of deflection, at least two; `None` otherwise.
    #[must_use]
    pub fn new(points: Vec<ForcePoint>) -> Option<Self> {
        let finite = points.iter().all(|p| {
            let figures = [p.deflection.si(), p.load.si(), p.rate_before.si(), p.rate_after.si()];
            figures.iter().all(|figure| figure.is_finite())
        });
        let rising = points.windows(2).all(|pair| match pair {
            [a, b] => a.deflection < b.deflection,
            _ => true,
        });
        (points.len() >= 2 && finite && rising).then_some(Self { points })
    }

    /// The monotone interpolation of a table (Fritsch and Butland 1984): no overshoot, the table's points kept. For drawing
    /// and for loads; a rate is not read closer than the table's spacing.
    #[must_use]
    pub fn of_table(table: &[(Deflection, Load)]) -> Option<Self> {
        let plain: Vec<(f64, f64)> = table.iter().map(|(s, f)| (s.si(), f.si())).collect();
        let slopes = monotone::slopes(&plain);
        let points = table.iter().zip(slopes).map(|((deflection, load), slope)| ForcePoint {
            deflection: *deflection,
            load: *load,
            rate_before: SpringRate::from_si(slope),
            rate_after: SpringRate::from_si(slope),
        });
        Self::new(points.collect())
    }

    /// Its points.
    #[must_use]
    pub fn points(&self) -> &[ForcePoint] {
        &self.points
    }

    /// Smallest and largest deflection.
    #[must_use]
    pub fn reach(&self) -> (Deflection, Deflection) {
        let end = |point: Option<&ForcePoint>| point.map_or(Deflection::from_si(0.0), |p| p.deflection);
        (end(self.points.first()), end(self.points.last()))
    }

    /// Load and rates just before and after a deflection; `None` outside the curve.
    #[must_use]
    pub fn at(&self, deflection: Deflection) -> Option<ForcePoint> {
        let s = deflection.si();
        let index = self.points.partition_point(|p| p.deflection.si() < s);
        let next = self.points.get(index)?;
        if next.deflection.si() == s {
            return Some(*next);
        }
        let piece = Piece::of(self.points.get(index.checked_sub(1)?)?, next);
        let rate = SpringRate::from_si(piece.rate(s));
        Some(ForcePoint {
            deflection,
            load: Load::from_si(piece.load(s)),
            rate_before: rate,
            rate_after: rate,
        })
    }

    /// Energy taken up from the smallest deflection of the curve to this one, the integral of the load; `None` outside.
    #[must_use]
    pub fn energy(&self, to: Deflection) -> Option<Energy> {
        let s = to.si();
        self.at(to)?;
        let pairs = self.points.iter().zip(self.points.iter().skip(1));
        let parts = pairs.take_while(|(a, _)| a.deflection.si() < s).map(|(a, b)| {
            let piece = Piece::of(a, b);
            piece.energy(s.min(b.deflection.si()))
        });
        Some(Energy::from_si(parts.sum::<f64>() + 0.0))
    }

    /// The deflection at which it first carries a load, by bisection; `None` where it never does. Its first deflection where
    /// it carries as much from the start.
    #[must_use]
    pub fn deflection_under(&self, load: Load) -> Option<Deflection> {
        let wanted = load.si();
        let first = self.points.first()?;
        if first.load.si() >= wanted {
            return Some(first.deflection);
        }
        let pair = self.points.iter().zip(self.points.iter().skip(1));
        let (a, b) = pair.into_iter().find(|(_, b)| b.load.si() >= wanted)?;
        let piece = Piece::of(a, b);
        let (mut low, mut high) = (a.deflection.si(), b.deflection.si());
        for _ in 0..200 {
            let middle = f64::midpoint(low, high);
            if middle <= low || middle >= high {
                break;
            }
            if piece.load(middle) < wanted {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(Deflection::from_si(high))
    }
}

/// The cubic between two points.
struct Piece {
    s0: f64,
    h: f64,
    f0: f64,
    f1: f64,
    m0: f64,
    m1: f64,
}

impl Piece {
    fn of(a: &ForcePoint, b: &ForcePoint) -> Self {
        let h = b.deflection.si() - a.deflection.si();
        Self {
            s0: a.deflection.si(),
            h,
            f0: a.load.si(),
            f1: b.load.si(),
            m0: h * a.rate_after.si(),
            m1: h * b.rate_before.si(),
        }
    }

    /// As a power series in `t`: constant, linear, quadratic, cubic.
    fn powers(&self) -> [f64; 4] {
        let rise = self.f1 - self.f0;
        [
            self.f0,
            self.m0,
            3.0 * rise - 2.0 * self.m0 - self.m1,
            self.m0 + self.m1 - 2.0 * rise,
        ]
    }

    fn load(&self, s: f64) -> f64 {
        let t = (s - self.s0) / self.h;
        let [a, b, c, d] = self.powers();
        a + t * (b + t * (c + t * d))
    }

    fn rate(&self, s: f64) -> f64 {
        let t = (s - self.s0) / self.h;
        let [_, b, c, d] = self.powers();
        (b + t * (2.0 * c + t * 3.0 * d)) / self.h
    }

    fn energy(&self, s: f64) -> f64 {
        let t = (s - self.s0) / self.h;
        let [a, b, c, d] = self.powers();
        self.h * t * (a + t * (b / 2.0 + t * (c / 3.0 + t * d / 4.0)))
    }
}
