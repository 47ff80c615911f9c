//! The contact problem of one step: a linear complementarity problem.

use std::collections::VecDeque;

use super::block::{at, dot, most};

/// Rows of the factor made side by side.
const LANES: usize = 8;

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
    /// `A`, scaled.
    give: Dense,
    /// What brings each diagonal entry to one from both sides.
    scale: Vec<f64>,
    /// Scaled gaps without any force.
    d: Vec<f64>,
    /// Gap below which a ring counts as penetrating.
    tolerance: f64,
    /// Rings in contact.
    rings: Vec<usize>,
    /// Rows of the lower factor of their part of `A`, each one longer than the one before.
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
        let size = self.give.size;
        self.give.entries.fill(0.0);
        fill(&mut self.give);
        let diagonal = self.give.entries.iter().step_by(size + 1);
        for (scale, entry) in self.scale.iter_mut().zip(diagonal) {
            *scale = 1.0 / entry.sqrt();
        }
        for (row, own) in self.give.entries.chunks_exact_mut(size.max(1)).zip(&self.scale) {
            for (entry, other) in row.iter_mut().zip(&self.scale) {
                *entry *= own * other;
            }
        }
        self.rings.clear();
        self.factor.clear();
    }

    /// Solves for these gaps without any force, from a contact set that is likely. `None` where that does not end within
    /// its bound of steps.
    pub(super) fn solve(&mut self, d: &[f64], touching: &mut [bool]) -> Option<Vec<f64>> {
        self.d.clear();
        self.d.extend(d.iter().zip(&self.scale).map(|(d, scale)| d * scale));
        // A ring that stays far open, such as those of a distant stop, says nothing of the gaps that count; only where rounding
        // is in the way it sets what is near enough.
        let counts = self
            .d
            .iter()
            .zip(touching.iter())
            .filter(|(d, touches)| **d < 0.0 || **touches);
        let tolerances = [most(counts.map(|(d, _)| *d)), most(self.d.iter().copied())];
        let mut forces = tolerances.into_iter().find_map(|largest| {
            self.tolerance = CLOSED * largest;
            self.quick(touching).or_else(|| self.safe(touching))
        })?;
        for (touches, force) in touching.iter_mut().zip(&forces) {
            *touches = *force > 0.0;
        }
        for (force, scale) in forces.iter_mut().zip(&self.scale) {
            *force *= scale;
        }
        Some(forces)
    }

    /// Takes rings in, as many as come; those that depend on rings that are in stay out.
    fn enter(&mut self, rings: impl Iterator<Item = usize>) {
        let mut waiting: VecDeque<usize> = rings.collect();
        while !waiting.is_empty() {
            let taken = waiting.len().min(LANES);
            let together: Vec<usize> = waiting.drain(..taken).collect();
            let entered = self.enter_together(&together);
            // The first that did not enter is out; the others try again.
            for ring in together.into_iter().skip(entered + 1).rev() {
                waiting.push_front(ring);
            }
        }
    }

    /// Takes some rings in, up to the first that depends on those before it; how many entered. Their rows of the factor are
    /// made side by side.
    fn enter_together(&mut self, together: &[usize]) -> usize {
        let known = self.rings.len();
        let given = |ring: usize| {
            let row = self.give.row(ring);
            let mut column = [0.0; LANES];
            for (entry, other) in column.iter_mut().zip(together) {
                *entry = at(row, *other);
            }
            column
        };
        let mut columns: Vec<[f64; LANES]> = Vec::with_capacity(known);
        for (index, ring) in self.rings.iter().enumerate() {
            let mut column = given(*ring);
            let row = self.factor.get(start(index)..=start(index) + index).unwrap_or_default();
            let [before @ .., pivot] = row else { return 0 };
            reduce(&mut column, &columns, before);
            columns.push(column.map(|entry| entry / pivot));
        }
        let mut own: Vec<[f64; LANES]> = Vec::with_capacity(LANES);
        for (lane, ring) in together.iter().enumerate() {
            let first = self.factor.len();
            self.factor.extend(columns.iter().map(|column| at(column, lane)));
            let mut column = given(*ring);
            reduce(&mut column, &columns, self.factor.get(first..).unwrap_or_default());
            self.factor.extend(own.iter().map(|column| at(column, lane)));
            reduce(&mut column, &own, self.factor.get(first + known..).unwrap_or_default());
            let square = at(&column, lane);
            if !(square > DEPENDENT) {
                self.factor.truncate(first);
                return lane;
            }
            let pivot = square.sqrt();
            own.push(column.map(|entry| entry / pivot));
            self.factor.push(pivot);
            self.rings.push(*ring);
        }
        together.len()
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
        self.enter(rings);
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
        self.enter(after.into_iter().filter(|ring| !leaving.contains(ring)));
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
            let value = *value;
            for (earlier, factor) in before.iter_mut().zip(row(k)) {
                *earlier -= factor * value;
            }
        }
    }

    /// Forces that close every ring of the set, refined once, and the gaps under them; those of the set are zero.
    fn closing(&self) -> (Vec<f64>, Vec<f64>) {
        let mut forces = vec![0.0; self.d.len()];
        self.close(&self.d, &mut forces);
        let rows = self.give.entries.chunks_exact(self.give.size.max(1));
        let mut gaps: Vec<f64> = rows.zip(&self.d).map(|(row, d)| d + dot(row, &forces)).collect();
        self.close(&gaps, &mut forces);
        for &ring in &self.rings {
            if let Some(gap) = gaps.get_mut(ring) {
                *gap = 0.0;
            }
        }
        (forces, gaps)
    }

    /// Adds the forces that close these gaps at the rings of the set.
    fn close(&self, gaps: &[f64], forces: &mut [f64]) {
        let mut right: Vec<f64> = self.rings.iter().map(|&ring| -at(gaps, ring)).collect();
        self.solve_factored(&mut right);
        for (&ring, force) in self.rings.iter().zip(&right) {
            if let Some(place) = forces.get_mut(ring) {
                *place += force;
            }
        }
    }

    fn quick(&mut self, touching: &[bool]) -> Option<Vec<f64>> {
        let mut wanted: Vec<bool> = touching.to_vec();
        let mut fewest = usize::MAX;
        let mut worse = 0;
        for _ in 0..QUICK {
            self.restart((0..wanted.len()).filter(|&k| wanted.get(k) == Some(&true)));
            let (forces, gaps) = self.closing();
            for ((wanted, force), gap) in wanted.iter_mut().zip(&forces).zip(&gaps) {
                *wanted = *force > 0.0 || *gap < -self.tolerance;
            }
            let pulling = self.rings.iter().filter(|ring| !(at(&forces, **ring) > 0.0)).count();
            let penetrating = gaps.iter().filter(|gap| **gap < -self.tolerance).count();
            let changes = pulling + penetrating;
            if changes == 0 {
                return forces.iter().all(|f| f.is_finite()).then_some(forces);
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
        let (mut forces, mut gaps) = loop {
            let (forces, gaps) = self.closing();
            let pulling: Vec<usize> = self
                .rings
                .iter()
                .copied()
                .filter(|&ring| !(at(&forces, ring) > 0.0))
                .collect();
            if pulling.is_empty() {
                break (forces, gaps);
            }
            self.leave(&pulling);
        };
        let mut refused = vec![false; self.d.len()];
        for _ in 0..20 * self.d.len() + 20 {
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
            if self.enter_together(&[ring]) == 0 {
                mark(&mut refused, ring);
                continue;
            }
            (forces, gaps) = self.settle(forces)?;
            if self.rings.contains(&ring) {
                refused.fill(false);
            } else {
                mark(&mut refused, ring);
            }
        }
        None
    }

    /// Moves from feasible forces to those of the set, giving up each ring whose force reaches zero on the way.
    fn settle(&mut self, from: Vec<f64>) -> Option<(Vec<f64>, Vec<f64>)> {
        let mut forces = from;
        for _ in 0..=self.d.len() {
            let (wanted, gaps) = self.closing();
            let pairs = || {
                self.rings
                    .iter()
                    .map(|&ring| (ring, at(&forces, ring), at(&wanted, ring)))
            };
            let way = pairs()
                .filter(|(_, _, to)| !(*to > 0.0))
                .map(|(ring, from, to)| (ring, from / (from - to).max(f64::MIN_POSITIVE)))
                .min_by(|a, b| a.1.total_cmp(&b.1));
            let Some((first, share)) = way else {
                return Some((wanted, gaps));
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

/// Takes earlier columns, each times its factor, off one.
fn reduce(column: &mut [f64; LANES], earlier: &[[f64; LANES]], factors: &[f64]) {
    // Two sums side by side: one alone would wait for each difference. Copies, because what may lie anywhere would be stored
    // again after each column.
    let (mut even, mut odd) = (*column, [0.0; LANES]);
    let take = |rest: &mut [f64; LANES], other: &[f64; LANES], factor: f64| {
        for (entry, other) in rest.iter_mut().zip(other) {
            *entry -= factor * other;
        }
    };
    let ((columns, last), (pairs, end)) = (earlier.as_chunks::<2>(), factors.as_chunks::<2>());
    for ([a, b], [of_a, of_b]) in columns.iter().zip(pairs) {
        take(&mut even, a, *of_a);
        take(&mut odd, b, *of_b);
    }
    for (other, factor) in last.iter().zip(end) {
        take(&mut even, other, *factor);
    }
    for ((column, even), odd) in column.iter_mut().zip(&even).zip(&odd) {
        *column = even + odd;
    }
}

fn mark(flags: &mut [bool], index: usize) {
    if let Some(flag) = flags.get_mut(index) {
        *flag = true;
    }
}
