//! Linear least squares by orthogonal columns.

/// What least squares gives.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Least {
    pub(super) coefficients: Vec<f64>,
    /// `(X'X)^-1`.
    pub(super) covariance: Vec<Vec<f64>>,
    pub(super) rss: f64,
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// `min |y - X c|` by Gram-Schmidt with every column made orthogonal twice, which is as stable as Householder's QR (Giraud,
/// Langou and Rozloznik 2005, from memory); columns are scaled to length 1 first. `None` where the columns are not
/// independent to working precision.
pub(super) fn least_squares(columns: &[Vec<f64>], y: &[f64]) -> Option<Least> {
    if columns.len() > y.len() {
        return None;
    }
    let lengths: Vec<f64> = columns.iter().map(|column| dot(column, column).sqrt()).collect();
    let mut orthogonal: Vec<Vec<f64>> = Vec::with_capacity(columns.len());
    // Column k of R, entries 0 to k.
    let mut upper: Vec<Vec<f64>> = Vec::with_capacity(columns.len());
    for (column, length) in columns.iter().zip(&lengths) {
        let mut rest: Vec<f64> = column.iter().map(|value| value / length).collect();
        let mut entries = vec![0.0; orthogonal.len()];
        for _ in 0..2 {
            for (entry, direction) in entries.iter_mut().zip(&orthogonal) {
                let share = dot(&rest, direction);
                rest.iter_mut().zip(direction).for_each(|(r, d)| *r -= share * d);
                *entry += share;
            }
        }
        let left = dot(&rest, &rest).sqrt();
        if left.is_nan() || left < 1e-14 {
            return None;
        }
        rest.iter_mut().for_each(|value| *value /= left);
        entries.push(left);
        orthogonal.push(rest);
        upper.push(entries);
    }
    let mut rest = y.to_vec();
    let mut right = vec![0.0; columns.len()];
    for _ in 0..2 {
        for (entry, direction) in right.iter_mut().zip(&orthogonal) {
            let share = dot(&rest, direction);
            rest.iter_mut().zip(direction).for_each(|(r, d)| *r -= share * d);
            *entry += share;
        }
    }
    let unscaled = |solution: Vec<f64>| solution.iter().zip(&lengths).map(|(c, length)| c / length).collect();
    let coefficients: Vec<f64> = unscaled(back_substituted(&upper, right));
    let unit = |k: usize| {
        (0..columns.len())
            .map(|j| f64::from(u8::from(j == k)))
            .collect::<Vec<_>>()
    };
    // Rows of R^-1 transposed: column k of R^-1.
    let inverse: Vec<Vec<f64>> = (0..columns.len())
        .map(|k| unscaled(back_substituted(&upper, unit(k))))
        .collect();
    let entry = |i: usize, j: usize| -> f64 {
        inverse
            .iter()
            .filter_map(|column| Some(column.get(i)? * column.get(j)?))
            .sum()
    };
    let rows = 0..columns.len();
    let covariance = rows
        .clone()
        .map(|i| rows.clone().map(|j| entry(i, j)).collect())
        .collect();
    let rss = dot(&rest, &rest);
    coefficients.iter().all(|c: &f64| c.is_finite()).then_some(Least {
        coefficients,
        covariance,
        rss,
    })
}

/// Solves `R x = b`; column k of R holds its entries 0 to k.
fn back_substituted(upper: &[Vec<f64>], mut right: Vec<f64>) -> Vec<f64> {
    let mut solution = vec![0.0; right.len()];
    for (k, column) in upper.iter().enumerate().rev() {
        let Some((pivot, above)) = column.split_last() else {
            continue;
        };
        let value = right.get(k).copied().unwrap_or(0.0) / pivot;
        right.iter_mut().zip(above).for_each(|(r, entry)| *r -= value * entry);
        if let Some(slot) = solution.get_mut(k) {
            *slot = value;
        }
    }
    solution
}
