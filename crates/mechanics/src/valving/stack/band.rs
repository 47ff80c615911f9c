//! Symmetric band matrices and their Cholesky factors.
//!
//! An index outside a slice reads as NaN: a slip cannot end the program, and no NaN passes the check of a solution.

/// The value there, NaN outside.
pub(super) fn at(values: &[f64], index: usize) -> f64 {
    values.get(index).copied().unwrap_or(f64::NAN)
}

/// Sum of products of pairs, as far as both go. Eight sums side by side: one alone would wait for each addition.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let ((blocks, _), (others, _)) = (a.as_chunks::<8>(), b.as_chunks::<8>());
    let both = blocks.len().min(others.len());
    let mut sums = [0.0; 8];
    for (a, b) in blocks.iter().zip(others) {
        for (sum, (a, b)) in sums.iter_mut().zip(a.iter().zip(b)) {
            *sum += a * b;
        }
    }
    // Past the whole blocks of the shorter one.
    let ends = a.iter().skip(8 * both).zip(b.iter().skip(8 * both));
    sums.iter().sum::<f64>() + ends.map(|(a, b)| a * b).sum::<f64>()
}

/// Half the band of a disc's matrix: four unknowns a node, two nodes an element.
pub(super) const HALF: usize = 7;
const ROW: usize = HALF + 1;

/// A symmetric matrix of half band [`HALF`], by rows of its lower triangle; after [`Band::factor`] the factor `L` of `L L'`.
#[derive(Debug, Clone)]
pub(super) struct Band {
    rows: Vec<[f64; ROW]>,
}

impl Band {
    pub(super) fn new(size: usize) -> Self {
        Self {
            rows: vec![[0.0; ROW]; size],
        }
    }

    pub(super) fn clear(&mut self) {
        self.rows.fill([0.0; ROW]);
    }

    /// Adds to the lower triangle; entries above the diagonal are the mirror and left out.
    pub(super) fn add(&mut self, row: usize, column: usize, value: f64) {
        if let Some(place) = row.checked_sub(column).and_then(|below| HALF.checked_sub(below))
            && let Some(entry) = self.rows.get_mut(row).and_then(|entries| entries.get_mut(place))
        {
            *entry += value;
        }
    }

    /// Takes an unknown out: its row and column become those of the identity.
    pub(super) fn fix(&mut self, index: usize) {
        if let Some(row) = self.rows.get_mut(index) {
            *row = [0.0; ROW];
            row[HALF] = 1.0;
        }
        for below in 1..=HALF {
            if let Some(entry) = self
                .rows
                .get_mut(index + below)
                .and_then(|row| row.get_mut(HALF - below))
            {
                *entry = 0.0;
            }
        }
    }

    /// Cholesky factor in place; false where a pivot is not above zero.
    pub(super) fn factor(&mut self) -> bool {
        for index in 0..self.rows.len() {
            let (done, rest) = self.rows.split_at_mut(index);
            let Some(row) = rest.first_mut() else { return false };
            for below in (1..=HALF.min(index)).rev() {
                let Some(other) = done.get(index - below) else {
                    return false;
                };
                let place = HALF - below;
                let (left, entry) = row.split_at_mut(place);
                let known = dot(left, other.get(below..HALF).unwrap_or_default());
                if let Some(entry) = entry.first_mut() {
                    *entry = (*entry - known) / other[HALF];
                }
            }
            let pivot = row[HALF] - row.iter().take(HALF).map(|l| l * l).sum::<f64>();
            // NaN is refused too.
            if !(pivot > row[HALF] * 1e-14) {
                return false;
            }
            row[HALF] = pivot.sqrt();
        }
        true
    }

    /// Solves `L y = b` for several right sides at once, from the first row that is not zero on.
    pub(super) fn forward<const R: usize>(&self, b: &mut [[f64; R]], from: usize) {
        for (index, row) in self.rows.iter().enumerate().skip(from) {
            let (done, rest) = b.split_at_mut(index.min(b.len()));
            let Some(here) = rest.first_mut() else { return };
            let reach = HALF.min(index);
            let known = done.get(index - reach..).unwrap_or_default();
            let factors = row.get(HALF - reach..HALF).unwrap_or_default();
            for (factor, known) in factors.iter().zip(known) {
                for (here, known) in here.iter_mut().zip(known) {
                    *here -= factor * known;
                }
            }
            for here in here.iter_mut() {
                *here /= row[HALF];
            }
        }
    }

    /// Solves `L' x = y`.
    pub(super) fn backward<const R: usize>(&self, y: &mut [[f64; R]]) {
        for (index, row) in self.rows.iter().enumerate().rev() {
            let (before, rest) = y.split_at_mut(index.min(y.len()));
            let Some(here) = rest.first_mut() else { continue };
            for here in here.iter_mut() {
                *here /= row[HALF];
            }
            let reach = HALF.min(index);
            let earlier = before.get_mut(index - reach..).unwrap_or_default();
            let factors = row.get(HALF - reach..HALF).unwrap_or_default();
            for (factor, earlier) in factors.iter().zip(earlier) {
                for (earlier, here) in earlier.iter_mut().zip(here.iter()) {
                    *earlier -= factor * here;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn products_are_summed_as_far_as_both_go() {
        let a: Vec<f64> = (0..21).map(f64::from).collect();
        for (left, right) in [(21, 21), (21, 3), (7, 21), (16, 9), (0, 5)] {
            let wanted: f64 = a.iter().take(left.min(right)).map(|x| x * x).sum();
            assert_eq!(dot(&a[..left], &a[..right]), wanted, "{left} {right}");
        }
    }

    #[test]
    fn factor_solves_what_the_matrix_made() {
        let size = 23;
        let entry = |i: usize, j: usize| {
            let (i, j) = (i.max(j) as f64, i.min(j) as f64);
            if i == j { 9.0 + i * 0.1 } else { (i * 0.7 + j).sin() }
        };
        let mut band = Band::new(size);
        for i in 0..size {
            for j in i.saturating_sub(HALF)..=i {
                band.add(i, j, entry(i, j));
            }
        }
        let wanted: Vec<f64> = (0..size).map(|i| (i as f64).cos()).collect();
        let mut b: Vec<[f64; 1]> = (0..size)
            .map(|i| {
                let near = (0..size).filter(|&j| i.abs_diff(j) <= HALF);
                [near.map(|j| entry(i, j) * wanted[j]).sum()]
            })
            .collect();
        assert!(band.factor());
        band.forward(&mut b, 0);
        band.backward(&mut b);
        for ([got], wanted) in b.iter().zip(&wanted) {
            assert!((got - wanted).abs() < 1e-12, "{got} {wanted}");
        }
    }
}
