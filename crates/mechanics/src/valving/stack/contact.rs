//! The contact problem of one step: a linear complementarity problem.

use super::block::{at, dot};

/// A dense symmetric matrix.
#[derive(Debug, Clone)]
pub(super) struct Dense {
    size: usize,
    entries: Vec<f64>,
}

impl Dense {
    fn new(size: usize) -> Self {
        Self {
            size,
            entries: vec![0.0; size * size],
        }
    }

    fn row(&self, index: usize) -> &[f64] {
        self.entries
            .get(index * self.size..(index + 1) * self.size)
            .unwrap_or_default()
    }

    pub(super) fn add(&mut self, row: usize, column: usize, value: f64) {
        if let Some(entry) = self.entries.get_mut(row * self.size + column) {
            *entry += value;
        }
    }
}

/// A pivot below this share of its diagonal is rounding: the ring's gap already follows from the rings in contact.
const DEPENDENT: f64 = 1e-13;
/// Relative gap that counts as closed.
const CLOSED: f64 = 1e-11;
/// Rounds of the quick exchange before the safe one takes over.
const QUICK: usize = 12;

/// Ring forces `l` with `l >= 0`, `A l + d >= 0`, `l.(A l + d) = 0`, for a symmetric positive definite `A`.
///
/// `A` is the give of gap against force, `d` the gaps without any force. All rings are scaled to a unit diagonal. A few
/// rounds of block exchange (Judice and Pires, 1994) from the last contact set usually end it; where they do not, the
/// primal active set method of Lawson and Hanson (Solving Least Squares Problems, 1974, ch. 23) does: each of its
/// exchanges lowers `l'Al/2 + l'd`, so that it cannot cycle. The factor of the rings in contact is kept from one `d` to the
/// next.
#[derive(Debug, Clone)]
pub(super) struct Contacts {
    /// `A`.
    give: Dense,
    /// What brings each diagonal entry to one from both sides.
    scale: Vec<f64>,
    d: Vec<f64>,
    /// Scaled gap below which a ring counts as penetrating.
    tolerance: f64,
    /// Rings in contact.
    rings: Vec<usize>,
    /// Rows of the lower factor of their part of the scaled matrix, each one longer than the one before.
    factor: Vec<f64>,
}

/// Where a row of the factor begins.
fn start(row: usize) -> usize {
    row * (row + 1) / 2
}

impl Contacts {
    pub(super) fn new(size: usize) -> Self {
        Self {
            give: Dense::new(size),
            scale: vec![f64::NAN; size],
            d: vec![0.0; size],
            tolerance: 0.0,
            rings: Vec::new(),
            factor: Vec::new(),
        }
    }

    /// Takes another `A`, filled from zero.
    pub(super) fn give(&mut self, fill: impl FnOnce(&mut Dense)) {
        self.give.entries.fill(0.0);
        fill(&mut self.give);
        let diagonal = self.give.entries.iter().step_by(self.give.size + 1);
        for (scale, entry) in self.scale.iter_mut().zip(diagonal) {
            *scale = 1.0 / entry.sqrt();
        }
        self.rings.clear();
        self.factor.clear();
    }

    /// Solves for these gaps without any force, from a contact set that is likely. `None` where that does not end within
    /// its bound of steps.
    pub(super) fn solve(&mut self, d: &[f64], touching: &mut [bool]) -> Option<Vec<f64>> {
        self.d.clear();
        self.d.extend_from_slice(d);
        let scaled = d.iter().zip(&self.scale).map(|(d, scale)| (d * scale).abs());
        self.tolerance = CLOSED * scaled.fold(0.0_f64, f64::max);
        let forces = self.quick(touching).or_else(|| self.safe(touching))?;
        for (touches, force) in touching.iter_mut().zip(&forces) {
            *touches = *force > 0.0;
        }
        Some(forces)
    }

    /// Takes a ring in; false where it depends on those that are in.
    fn enter(&mut self, ring: usize) -> bool {
        let (given, own) = (self.give.row(ring), at(&self.scale, ring));
        let first = self.factor.len();
        for (k, other) in self.rings.iter().enumerate() {
            let (known, row) = self.factor.split_at(first);
            let known = known.get(start(k)..=start(k) + k).unwrap_or_default();
            let below = dot(row, known);
            let last = known.last().copied().unwrap_or(f64::NAN);
            let entry = at(given, *other) * own * at(&self.scale, *other);
            self.factor.push((entry - below) / last);
        }
        let row = self.factor.get(first..).unwrap_or_default();
        let pivot = at(given, ring) * own * own - dot(row, row);
        if !(pivot > DEPENDENT) {
            self.factor.truncate(first);
            return false;
        }
        self.factor.push(pivot.sqrt());
        self.rings.push(ring);
        true
    }

    /// Starts again with these rings; those that depend on earlier ones stay out. The factor of those it begins with and
    /// that are in already stands.
    fn restart(&mut self, rings: impl IntoIterator<Item = usize>) {
        let mut rings = rings.into_iter().peekable();
        let mut kept = 0;
        while rings.peek().is_some() && rings.peek() == self.rings.get(kept) {
            rings.next();
            kept += 1;
        }
        self.keep(kept);
        for ring in rings {
            self.enter(ring);
        }
    }

    /// Keeps the first rings alone.
    fn keep(&mut self, count: usize) {
        self.rings.truncate(count);
        self.factor.truncate(start(count));
    }

    /// Takes rings out.
    fn leave(&mut self, leaving: &[usize]) {
        let kept = self
            .rings
            .iter()
            .position(|ring| leaving.contains(ring))
            .unwrap_or(self.rings.len());
        let after: Vec<usize> = self.rings.iter().copied().skip(kept).collect();
        self.keep(kept);
        for ring in after.into_iter().filter(|ring| !leaving.contains(ring)) {
            self.enter(ring);
        }
    }

    fn solve_factored(&self, right: &mut [f64]) {
        let row = |k: usize| self.factor.get(start(k)..=start(k) + k).unwrap_or_default();
        for k in 0..self.rings.len() {
            let known = dot(row(k), right.get(..k).unwrap_or_default());
            if let (Some(value), Some(pivot)) = (right.get_mut(k), row(k).last()) {
                *value = (*value - known) / pivot;
            }
        }
        for k in (0..self.rings.len()).rev() {
            let (before, rest) = right.split_at_mut(k);
            let (Some(value), Some(pivot)) = (rest.first_mut(), row(k).last()) else {
                continue;
            };
            *value /= pivot;
            for (earlier, factor) in before.iter_mut().zip(row(k)) {
                *earlier -= factor * *value;
            }
        }
    }

    /// Forces that close every ring of the set, in the set's order, refined once.
    fn forces(&self) -> Vec<f64> {
        let scaled = |ring: usize, gap: f64| -gap * at(&self.scale, ring);
        let mut forces: Vec<f64> = self.rings.iter().map(|&ring| scaled(ring, at(&self.d, ring))).collect();
        self.solve_factored(&mut forces);
        for (force, ring) in forces.iter_mut().zip(&self.rings) {
            *force *= at(&self.scale, *ring);
        }
        let closed = |row: &[f64]| -> f64 { self.rings.iter().zip(&forces).map(|(&k, f)| at(row, k) * f).sum() };
        let mut rest: Vec<f64> = self
            .rings
            .iter()
            .map(|&ring| scaled(ring, at(&self.d, ring) + closed(self.give.row(ring))))
            .collect();
        self.solve_factored(&mut rest);
        for ((force, rest), ring) in forces.iter_mut().zip(&rest).zip(&self.rings) {
            *force += rest * at(&self.scale, *ring);
        }
        forces
    }

    fn spread(&self, forces: &[f64]) -> Vec<f64> {
        let mut all = vec![0.0; self.d.len()];
        for (&ring, force) in self.rings.iter().zip(forces) {
            if let Some(place) = all.get_mut(ring) {
                *place = *force;
            }
        }
        all
    }

    /// Scaled gaps under these forces; those of the set are zero.
    fn gaps(&self, forces: &[f64]) -> Vec<f64> {
        let mut gaps = self.d.clone();
        for (&ring, force) in self.rings.iter().zip(forces) {
            for (gap, give) in gaps.iter_mut().zip(self.give.row(ring)) {
                *gap += force * give;
            }
        }
        for (gap, scale) in gaps.iter_mut().zip(&self.scale) {
            *gap *= scale;
        }
        for &ring in &self.rings {
            if let Some(gap) = gaps.get_mut(ring) {
                *gap = 0.0;
            }
        }
        gaps
    }

    fn quick(&mut self, touching: &[bool]) -> Option<Vec<f64>> {
        let mut wanted: Vec<bool> = touching.to_vec();
        let mut fewest = usize::MAX;
        let mut worse = 0;
        for _ in 0..QUICK {
            self.restart((0..wanted.len()).filter(|&k| wanted.get(k) == Some(&true)));
            let forces = self.forces();
            let gaps = self.gaps(&forces);
            wanted.fill(false);
            let mut changes = 0;
            for (&ring, force) in self.rings.iter().zip(&forces) {
                if *force > 0.0 {
                    if let Some(place) = wanted.get_mut(ring) {
                        *place = true;
                    }
                } else {
                    changes += 1;
                }
            }
            for (place, gap) in wanted.iter_mut().zip(&gaps) {
                if *gap < -self.tolerance {
                    *place = true;
                    changes += 1;
                }
            }
            if changes == 0 {
                return forces.iter().all(|f| f.is_finite()).then(|| self.spread(&forces));
            }
            // Exchanges that stop getting fewer may go round for ever.
            if changes < fewest {
                fewest = changes;
            } else {
                worse += 1;
                if worse > 3 {
                    return None;
                }
            }
        }
        None
    }

    fn safe(&mut self, touching: &[bool]) -> Option<Vec<f64>> {
        self.restart((0..touching.len()).filter(|&k| touching.get(k) == Some(&true)));
        let mut forces = loop {
            let forces = self.forces();
            let pulling: Vec<usize> = self
                .rings
                .iter()
                .zip(&forces)
                .filter(|(_, force)| !(**force > 0.0))
                .map(|(&ring, _)| ring)
                .collect();
            if pulling.is_empty() {
                break self.spread(&forces);
            }
            self.leave(&pulling);
        };
        let mut refused = vec![false; self.d.len()];
        for _ in 0..20 * self.d.len() + 20 {
            let own: Vec<f64> = self.rings.iter().map(|&ring| at(&forces, ring)).collect();
            let gaps = self.gaps(&own);
            let open = gaps
                .iter()
                .zip(&refused)
                .enumerate()
                .filter(|(_, (_, refused))| !**refused);
            let worst = open
                .min_by(|(_, (a, _)), (_, (b, _))| a.total_cmp(b))
                .map(|(k, (gap, _))| (k, *gap));
            let Some((ring, _)) = worst.filter(|(_, gap)| *gap < -self.tolerance) else {
                return forces.iter().all(|f| f.is_finite()).then_some(forces);
            };
            if !self.enter(ring) {
                mark(&mut refused, ring);
                continue;
            }
            self.settle(&mut forces)?;
            if self.rings.contains(&ring) {
                refused.fill(false);
            } else {
                mark(&mut refused, ring);
            }
        }
        None
    }

    /// Moves from feasible forces towards those of the set, giving up each ring whose force reaches zero on the way.
    fn settle(&mut self, forces: &mut Vec<f64>) -> Option<()> {
        for _ in 0..=self.d.len() {
            let wanted = self.forces();
            let pairs = || {
                self.rings
                    .iter()
                    .zip(&wanted)
                    .map(|(&ring, to)| (ring, at(forces, ring), *to))
            };
            let way = pairs()
                .filter(|(_, _, to)| !(*to > 0.0))
                .map(|(ring, from, to)| (ring, from / (from - to).max(f64::MIN_POSITIVE)))
                .min_by(|a, b| a.1.total_cmp(&b.1));
            let Some((first, share)) = way else {
                *forces = self.spread(&wanted);
                return Some(());
            };
            let moved: Vec<(usize, f64)> = pairs()
                .map(|(ring, from, to)| (ring, from + share * (to - from)))
                .collect();
            let largest = moved.iter().fold(0.0_f64, |most, (_, f)| most.max(*f));
            let leaving: Vec<usize> = moved
                .iter()
                .filter(|(ring, force)| *ring == first || *force <= 1e-14 * largest)
                .map(|(ring, _)| *ring)
                .collect();
            for (ring, force) in &moved {
                if let Some(place) = forces.get_mut(*ring) {
                    *place = if leaving.contains(ring) { 0.0 } else { *force };
                }
            }
            self.leave(&leaving);
        }
        None
    }
}

fn mark(flags: &mut [bool], index: usize) {
    if let Some(flag) = flags.get_mut(index) {
        *flag = true;
    }
}
