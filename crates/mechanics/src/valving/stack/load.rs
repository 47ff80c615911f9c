//! Pressure on the face shim.

use std::f64::consts::PI;

use crate::valving::gauss::GAUSS;

/// One port annulus under unit pressure: `coverage` from `inner` to `outer`, then a straight fall to zero at `end`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Annulus {
    pub(super) inner: f64,
    pub(super) outer: f64,
    pub(super) end: f64,
    pub(super) coverage: f64,
}

/// Unit pressure on the face shim, up to its edge.
#[derive(Debug, Clone)]
pub(super) struct Load {
    pub(super) annuli: Vec<Annulus>,
    pub(super) edge: f64,
}

impl Load {
    /// A stretch of radii over which the pressure is straight: start, end, pressures there.
    fn stretches(&self) -> impl Iterator<Item = (f64, f64, f64, f64)> {
        let edge = self.edge;
        self.annuli
            .iter()
            .flat_map(|a| {
                [
                    (a.inner, a.outer, a.coverage, a.coverage),
                    (a.outer, a.end, a.coverage, 0.0),
                ]
            })
            .filter_map(move |(from, to, at_from, at_to)| {
                let end = to.min(edge);
                let cut = at_from + (at_to - at_from) * (end - from) / (to - from);
                (end > from).then_some((from, end, at_from, cut))
            })
    }

    /// Integral of pressure times shape over the part of an element it lies on. Exact: the integrand has degree 5.
    pub(super) fn on_element<const N: usize>(&self, from: f64, to: f64, shape: impl Fn(f64) -> [f64; N]) -> [f64; N] {
        let mut sum = [0.0; N];
        for (start, end, at_start, at_end) in self.stretches() {
            let (low, high) = (start.max(from), end.min(to));
            if high <= low {
                continue;
            }
            for (x, part) in GAUSS {
                let r = low + x * (high - low);
                let pressure = at_start + (at_end - at_start) * (r - start) / (end - start);
                let weight = pressure * 2.0 * PI * r * part * (high - low);
                for (sum, shape) in sum.iter_mut().zip(shape((r - from) / (to - from))) {
                    *sum += weight * shape;
                }
            }
        }
        sum
    }

    /// Force of 1 MPa, N.
    pub(super) fn force(&self) -> f64 {
        let [force] = self.on_element(0.0, self.edge, |_| [1.0]);
        force
    }

    /// Radii at which the pressure has a corner.
    pub(super) fn corners(&self) -> impl Iterator<Item = f64> {
        self.annuli.iter().flat_map(|a| [a.inner, a.outer, a.end])
    }
}
