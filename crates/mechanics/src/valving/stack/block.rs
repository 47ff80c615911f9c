//! Symmetric matrices of blocks along the diagonal, four unknowns a node, each node joined to the next alone.
//!
//! An index outside a slice reads as NaN: a slip cannot end the program, and no NaN passes the check of a solution.

/// Unknowns at a node: lift `w`, its slope `w'`, radial movement `u`, its slope `u'`.
pub(super) const PER_NODE: usize = 4;
/// Values at a node, one for each unknown.
pub(super) type Node = [f64; PER_NODE];
/// A block by its rows.
pub(super) type Block = [Node; PER_NODE];

/// A pivot below this share of its diagonal is rounding.
const LOST: f64 = 1e-14;

/// The value there, NaN outside.
pub(super) fn at(values: &[f64], index: usize) -> f64 {
    values.get(index).copied().unwrap_or(f64::NAN)
}

/// Sum of products of pairs, as far as both go. Eight sums side by side: one alone would wait for each addition.
#[inline]
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

/// Adds `k x`.
#[inline]
pub(super) fn add(to: &mut Node, k: f64, x: &Node) {
    for (to, x) in to.iter_mut().zip(x) {
        *to += k * x;
    }
}

/// Sum of the products of four pairs.
#[inline]
pub(super) fn product(a: &Node, b: &Node) -> f64 {
    let ([a0, a1, a2, a3], [b0, b1, b2, b3]) = (a, b);
    (a0 * b0 + a1 * b1) + (a2 * b2 + a3 * b3)
}

/// The largest size among values; NaN where one is no number.
pub(super) fn most(values: impl IntoIterator<Item = f64>) -> f64 {
    let larger = |most: f64, value: f64| {
        if value.abs() > most || value.is_nan() {
            value.abs()
        } else {
            most
        }
    };
    values.into_iter().fold(0.0, larger)
}

/// `A' x`: the rows of `A`, each times its value.
#[inline]
pub(super) fn weighed(rows: &Block, x: &Node) -> Node {
    let mut sum = [0.0; PER_NODE];
    for (row, x) in rows.iter().zip(x) {
        add(&mut sum, *x, row);
    }
    sum
}

/// `A B`.
#[inline]
fn times(a: &Block, b: &Block) -> Block {
    let mut all = [[0.0; PER_NODE]; PER_NODE];
    for (all, row) in all.iter_mut().zip(a) {
        *all = weighed(b, row);
    }
    all
}

#[inline]
fn transposed(block: &Block) -> Block {
    let [[a, b, c, d], [e, f, g, h], [i, j, k, l], [m, n, o, p]] = *block;
    [[a, e, i, m], [b, f, j, n], [c, g, k, o], [d, h, l, p]]
}

#[inline]
fn subtract(from: &mut Block, what: &Block) {
    for (from, what) in from.iter_mut().zip(what) {
        add(from, -1.0, what);
    }
}

/// Inverse of a symmetric block by its `L D L'`; `None` where a pivot is lost against its `diagonal` of before.
fn inverse(block: &Block, diagonal: &Node) -> Option<Block> {
    let [
        [a00, _, _, _],
        [a10, a11, _, _],
        [a20, a21, a22, _],
        [a30, a31, a32, a33],
    ] = *block;
    let r0 = 1.0 / a00;
    let (l10, l20, l30) = (a10 * r0, a20 * r0, a30 * r0);
    let d1 = a11 - l10 * a10;
    let r1 = 1.0 / d1;
    let (b21, b31) = (a21 - l20 * a10, a31 - l30 * a10);
    let (l21, l31) = (b21 * r1, b31 * r1);
    let d2 = a22 - l20 * a20 - l21 * b21;
    let r2 = 1.0 / d2;
    let b32 = a32 - l30 * a20 - l31 * b21;
    let l32 = b32 * r2;
    let d3 = a33 - l30 * a30 - l31 * b31 - l32 * b32;
    let r3 = 1.0 / d3;
    // NaN is refused too.
    if ![a00, d1, d2, d3]
        .iter()
        .zip(diagonal)
        .all(|(pivot, diagonal)| *pivot > diagonal * LOST && *pivot > 0.0)
    {
        return None;
    }
    let (m10, m21, m32) = (-l10, -l21, -l32);
    let (m20, m31) = (-l20 - l21 * m10, -l31 - l32 * m21);
    let m30 = -l30 - l31 * m10 - l32 * m20;
    let (q30, q31, q32) = (r3 * m30, r3 * m31, r3 * m32);
    let (s20, s21) = (r2 * m20, r2 * m21);
    let q22 = r2 + q32 * m32;
    let (q20, q21) = (s20 + q32 * m30, s21 + q32 * m31);
    let q11 = r1 + s21 * m21 + q31 * m31;
    let q10 = r1 * m10 + s21 * m20 + q31 * m30;
    let q00 = r0 + r1 * m10 * m10 + s20 * m20 + q30 * m30;
    Some([
        [q00, q10, q20, q30],
        [q10, q11, q21, q31],
        [q20, q21, q22, q32],
        [q30, q31, q32, r3],
    ])
}

/// Entries of a node: its own block, and the one that joins it to the node before.
#[derive(Debug, Clone, Copy, Default)]
struct Given {
    own: Block,
    /// Row: this node; column: the one before.
    before: Block,
}

/// What the elimination of a node leaves.
#[derive(Debug, Clone, Copy, Default)]
struct Eliminated {
    /// Inverse of what is left of its block once the nodes before are eliminated.
    inverse: Block,
    /// Its block of the unit lower factor, towards the node before.
    factor: Block,
    /// The same by its columns.
    columns: Block,
    /// Its block of the inverse of the whole matrix.
    whole: Block,
}

/// A symmetric matrix over a chain of nodes, and its factors `L D L'` by blocks.
///
/// `S_0 = D_0`, `F_n = O_n S_(n-1)^-1`, `S_n = D_n - F_n O_n'`: forward `t_n = b_n - F_n t_(n-1)`, back
/// `x_n = S_n^-1 t_n - F_(n+1)' x_(n+1)`. Blocks of the inverse: `P_n = S_n^-1 + F_(n+1)' P_(n+1) F_(n+1)` on the diagonal,
/// and `-F_(n+1)'` leads from each to the one above it.
#[derive(Debug, Clone)]
pub(super) struct Chain {
    given: Vec<Given>,
    eliminated: Vec<Eliminated>,
}

impl Chain {
    pub(super) fn new(nodes: usize) -> Self {
        Self {
            given: vec![Given::default(); nodes],
            eliminated: vec![Eliminated::default(); nodes],
        }
    }

    pub(super) fn clear(&mut self) {
        self.given.fill(Given::default());
    }

    /// Adds an element between a node and the next: its parts on lift, on lift and radial movement, on radial movement.
    pub(super) fn add_element(&mut self, first: usize, lift: &Block, both: &Block, radial: &Block) {
        let Some([a, b]) = self.given.get_mut(first..).and_then(<[Given]>::first_chunk_mut) else {
            return;
        };
        let (w, m, u) = (lift, both, radial);
        let own = |[[w00, w01], [w10, w11]]: [[f64; 2]; 2],
                   [[m00, m01], [m10, m11]]: [[f64; 2]; 2],
                   [[u00, u01], [u10, u11]]: [[f64; 2]; 2]| {
            [
                [w00, w01, m00, m01],
                [w10, w11, m10, m11],
                [m00, m10, u00, u01],
                [m01, m11, u10, u11],
            ]
        };
        let low = |x: &Block| [[x[0][0], x[0][1]], [x[1][0], x[1][1]]];
        let high = |x: &Block| [[x[2][2], x[2][3]], [x[3][2], x[3][3]]];
        for (sum, part) in [
            (&mut a.own, own(low(w), low(m), low(u))),
            (&mut b.own, own(high(w), high(m), high(u))),
            (
                &mut b.before,
                [
                    [w[2][0], w[2][1], m[2][0], m[2][1]],
                    [w[3][0], w[3][1], m[3][0], m[3][1]],
                    [m[0][2], m[1][2], u[2][0], u[2][1]],
                    [m[0][3], m[1][3], u[3][0], u[3][1]],
                ],
            ),
        ] {
            for (sum, part) in sum.iter_mut().zip(&part) {
                add(sum, 1.0, part);
            }
        }
    }

    /// Adds to the slope's own entry of a node.
    pub(super) fn add_slope(&mut self, node: usize, value: f64) {
        if let Some(given) = self.given.get_mut(node) {
            given.own[1][1] += value;
        }
    }

    /// Takes unknowns of the first node out: their rows and columns become those of the identity.
    pub(super) fn hold(&mut self, held: [bool; PER_NODE]) {
        let Some(first) = self.given.first_mut() else { return };
        for (index, row) in first.own.iter_mut().enumerate() {
            let own = held.get(index) == Some(&true);
            for (other, (entry, column)) in row.iter_mut().zip(held).enumerate() {
                if own || column {
                    *entry = if own && other == index { 1.0 } else { 0.0 };
                }
            }
        }
        if let Some(second) = self.given.get_mut(1) {
            for row in &mut second.before {
                for (entry, held) in row.iter_mut().zip(held) {
                    if held {
                        *entry = 0.0;
                    }
                }
            }
        }
    }

    /// Eliminates the nodes; false where the matrix is not positive definite.
    pub(super) fn factor(&mut self) -> bool {
        let mut last: Option<Block> = None;
        for (given, left) in self.given.iter().zip(&mut self.eliminated) {
            let mut rest = given.own;
            if let Some(last) = &last {
                left.factor = times(&given.before, last);
                left.columns = transposed(&left.factor);
                subtract(&mut rest, &times(&left.factor, &transposed(&given.before)));
            }
            let [row0, row1, row2, row3] = &given.own;
            let Some(inverse) = inverse(&rest, &[row0[0], row1[1], row2[2], row3[3]]) else {
                return false;
            };
            left.inverse = inverse;
            last = Some(inverse);
        }
        true
    }

    /// Solves for one right side, in place.
    pub(super) fn solve(&self, b: &mut [Node]) {
        let mut last = [0.0; PER_NODE];
        for (b, left) in b.iter_mut().zip(&self.eliminated) {
            let known = weighed(&left.columns, &last);
            add(b, -1.0, &known);
            last = *b;
        }
        let mut known = [0.0; PER_NODE];
        for (b, left) in b.iter_mut().zip(&self.eliminated).rev() {
            *b = weighed(&left.inverse, b);
            add(b, -1.0, &known);
            known = weighed(&left.factor, b);
        }
    }

    /// Makes [`Chain::inverse_at`] and [`Chain::towards_first`] ready.
    pub(super) fn invert(&mut self) {
        let mut beyond: Option<Block> = None;
        for left in self.eliminated.iter_mut().rev() {
            left.whole = left.inverse;
            if let Some(beyond) = &beyond {
                for (whole, beyond) in left.whole.iter_mut().zip(beyond) {
                    add(whole, 1.0, beyond);
                }
            }
            beyond = Some(times(&left.columns, &times(&left.whole, &left.factor)));
        }
    }

    /// Columns of lift and slope of the inverse's block of a node.
    pub(super) fn inverse_at(&self, node: usize) -> [Node; 2] {
        let [lift, slope, ..] = self.eliminated.get(node).map_or([[f64::NAN; 4]; 4], |left| left.whole);
        [lift, slope]
    }

    /// From columns of the inverse at a node to the same columns at each node before it, the nearest first.
    pub(super) fn towards_first(&self, node: usize, columns: [Node; 2]) -> impl Iterator<Item = [Node; 2]> {
        let way = self.eliminated.get(1..=node).unwrap_or_default().iter().rev();
        way.scan(columns, |columns, left| {
            for column in columns.iter_mut() {
                let mut nearer = [0.0; PER_NODE];
                for (row, value) in left.factor.iter().zip(*column) {
                    add(&mut nearer, -value, row);
                }
                *column = nearer;
            }
            Some(*columns)
        })
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

    /// A chain of five nodes from elements that are no multiples of one another, its first lift held.
    fn chain() -> (Chain, Vec<Vec<f64>>) {
        let nodes = 5;
        let mut chain = Chain::new(nodes);
        let mut full = vec![vec![0.0; 4 * nodes]; 4 * nodes];
        chain.clear();
        for element in 0..nodes - 1 {
            let part = |seed: f64, symmetric: bool| -> Block {
                std::array::from_fn(|i| {
                    std::array::from_fn(|j| {
                        let (i, j) = if symmetric { (i.max(j), i.min(j)) } else { (i, j) };
                        let even = (seed + element as f64 + 0.7 * i as f64 + 1.9 * j as f64).sin();
                        if symmetric && i == j { 9.0 + even } else { even }
                    })
                })
            };
            let (lift, both, radial) = (part(0.3, true), part(1.1, false), part(2.3, true));
            chain.add_element(element, &lift, &both, &radial);
            let lifts = [0, 1, 4, 5].map(|k| 4 * element + k);
            let radials = [2, 3, 6, 7].map(|k| 4 * element + k);
            for i in 0..4 {
                for j in 0..4 {
                    full[lifts[i]][lifts[j]] += lift[i][j];
                    full[lifts[i]][radials[j]] += both[i][j];
                    full[radials[j]][lifts[i]] += both[i][j];
                    full[radials[i]][radials[j]] += radial[i][j];
                }
            }
        }
        chain.add_slope(3, 2.5);
        full[13][13] += 2.5;
        chain.hold([true, false, false, false]);
        full[0].fill(0.0);
        for row in &mut full {
            row[0] = 0.0;
        }
        full[0][0] = 1.0;
        assert!(chain.factor());
        (chain, full)
    }

    #[test]
    fn a_chain_solves_what_the_matrix_made() {
        let (chain, full) = chain();
        let wanted: Vec<f64> = (0..20).map(|i| f64::from(i).cos()).collect();
        let made: Vec<f64> = full.iter().map(|row| dot(row, &wanted)).collect();
        let mut b: Vec<Node> = made.as_chunks().0.to_vec();
        chain.solve(&mut b);
        for (got, wanted) in b.as_flattened().iter().zip(&wanted) {
            assert!((got - wanted).abs() < 1e-13, "{got} {wanted}");
        }
    }

    #[test]
    fn columns_of_the_inverse_are_what_a_unit_on_their_node_makes() {
        let (mut chain, _) = chain();
        chain.invert();
        for node in 0..5 {
            for (unknown, own) in chain.inverse_at(node).iter().enumerate() {
                let mut unit = vec![[0.0; 4]; 5];
                unit[node][unknown] = 1.0;
                chain.solve(&mut unit);
                let way = chain.towards_first(node, chain.inverse_at(node));
                let all = std::iter::once(*own).chain(way.map(|columns| columns[unknown]));
                for (got, wanted) in all.zip(unit[..=node].iter().rev()) {
                    for (got, wanted) in got.iter().zip(wanted) {
                        assert!((got - wanted).abs() < 1e-14, "{node} {unknown}: {got} {wanted}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_matrix_that_is_not_positive_definite_is_refused() {
        let (mut chain, _) = chain();
        chain.add_slope(2, -40.0);
        assert!(!chain.factor());
    }
}
