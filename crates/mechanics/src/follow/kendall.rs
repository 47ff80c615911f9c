//! The null distribution of Kendall's S: pairs that rise less pairs that fall, in an order that means nothing.

use crate::estimate::coverage_factor;

/// Points up to which the distribution is exact.
const EXACT: usize = 100;

/// Shares of the `n!` orders with `k` falling pairs, `k` from 0: `p_n(k) = (1/n) sum_(i<n) p_(n-1)(k - i)`.
fn falling_pairs(n: usize) -> Vec<f64> {
    let mut shares = vec![1.0];
    for size in 2..=n {
        let pairs = size * (size - 1) / 2;
        let mut next = Vec::with_capacity(pairs + 1);
        // A window of `size` terms slides along.
        let mut window = 0.0_f64;
        for k in 0..=pairs {
            window += shares.get(k).copied().unwrap_or(0.0);
            if let Some(left) = k.checked_sub(size) {
                window -= shares.get(left).copied().unwrap_or(0.0);
            }
            next.push(window.max(0.0) / size as f64);
        }
        shares = next;
    }
    shares
}

/// Probability of `|S|` at least this large among `n` points without a trend.
pub(super) fn two_sided(n: usize, s: usize) -> f64 {
    if s == 0 || n < 2 {
        return 1.0;
    }
    let pairs = n * (n - 1) / 2;
    if n > EXACT {
        return normal_tail(n, s as f64 - 1.0);
    }
    // S = pairs - 2 k: as far out as s are the orders with at most (pairs - s)/2 falling pairs, and their mirror images.
    let most = pairs.saturating_sub(s) / 2;
    let tail: f64 = falling_pairs(n).iter().take(most + 1).sum();
    (2.0 * tail).min(1.0)
}

/// The rank, from 1, of the lower end of the slope's interval among all pairwise slopes: the least number of falling pairs
/// that a two-sided test at `alpha` still accepts. `None`: it accepts every order, so few points cannot say it.
pub(super) fn least_rank(n: usize, alpha: f64) -> Option<usize> {
    if n < 2 {
        return None;
    }
    if n > EXACT {
        let half_width = coverage_factor(1.0 - alpha, None) * variance(n).sqrt();
        let pairs = (n * (n - 1) / 2) as f64;
        let rank = ((pairs - half_width) / 2.0).floor();
        return (rank >= 1.0).then_some(rank as usize);
    }
    let mut tail = 0.0;
    let mut rank = 0;
    for share in falling_pairs(n) {
        tail += share;
        // Rounding of the sum must not decide what stands exactly on the edge.
        if 2.0 * tail > alpha * (1.0 + 1e-9) {
            break;
        }
        rank += 1;
    }
    (rank > 0).then_some(rank)
}

fn variance(n: usize) -> f64 {
    let n = n as f64;
    n * (n - 1.0) * (2.0 * n + 5.0) / 18.0
}

/// Both tails of the normal distribution beyond `s`, by bisection of its own inverse: accurate to a part in a thousand here.
fn normal_tail(n: usize, s: f64) -> f64 {
    let z = s / variance(n).sqrt();
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if coverage_factor(middle, None) < z {
            low = middle;
        } else {
            high = middle;
        }
    }
    1.0 - low
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every order of five, six and seven points, counted.
    #[test]
    fn shares_are_those_of_all_orders_counted() {
        for n in 2..=7_usize {
            let mut counts = vec![0_u32; n * (n - 1) / 2 + 1];
            let mut order: Vec<usize> = (0..n).collect();
            permute(&mut order, 0, &mut |order| {
                let falls = (0..n).flat_map(|i| (i + 1..n).map(move |j| (i, j)));
                counts[falls.filter(|(i, j)| order[*i] > order[*j]).count()] += 1;
            });
            let all: u32 = counts.iter().sum();
            for (share, count) in falling_pairs(n).iter().zip(&counts) {
                assert!((share - f64::from(*count) / f64::from(all)).abs() < 1e-14, "{n}");
            }
        }
    }

    fn permute(order: &mut Vec<usize>, from: usize, each: &mut impl FnMut(&[usize])) {
        if from == order.len() {
            return each(order);
        }
        for index in from..order.len() {
            order.swap(from, index);
            permute(order, from + 1, each);
            order.swap(from, index);
        }
    }

    #[test]
    fn three_and_four_points_have_no_interval_at_ninety_five_per_cent_and_five_have_all_slopes() {
        assert_eq!([2, 3, 4].map(|n| least_rank(n, 0.05)), [None; 3]);
        assert_eq!(least_rank(5, 0.05), Some(1));
        assert_eq!(least_rank(6, 0.05), Some(2));
        assert!(least_rank(5, 0.01).is_none());
    }

    #[test]
    fn exact_and_approximate_meet() {
        let exact = least_rank(EXACT, 0.05).unwrap() as f64;
        let near = least_rank(EXACT + 1, 0.05).unwrap() as f64;
        assert!((near / exact - 1.0).abs() < 0.03, "{exact} {near}");
        let exact = two_sided(EXACT, 500);
        let near = two_sided(EXACT + 1, 508);
        assert!((near - exact).abs() < 0.005, "{exact} {near}");
    }
}
