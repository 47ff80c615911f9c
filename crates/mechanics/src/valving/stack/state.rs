//! A stack at a load, and what several lead to expect at another.

use super::block::{Node, PER_NODE, add, at};
use super::model::Model;

/// Sum of the weights of earlier states above which a load lies too far from them to be foreseen.
const FAR: f64 = 20.0;

/// A stack at a load.
#[derive(Debug, Clone)]
pub(super) struct State {
    /// Load, MPa.
    pub(super) pressure: f64,
    /// Unknowns of each disc.
    pub(super) x: Vec<Vec<Node>>,
    /// Ring forces, N.
    pub(super) forces: Vec<f64>,
    pub(super) touching: Vec<bool>,
    /// Newton steps taken for it.
    pub(super) steps: usize,
}

impl State {
    /// Undeformed, no force anywhere.
    pub(super) fn flat(model: &Model) -> Self {
        Self {
            pressure: 0.0,
            x: model
                .plates
                .iter()
                .map(|plate| vec![[0.0; PER_NODE]; plate.nodes])
                .collect(),
            forces: vec![0.0; model.contacts.len()],
            touching: vec![false; model.contacts.len()],
            steps: 0,
        }
    }

    /// What the last of some states, at rising loads, lead to expect at a further one: a cubic through four of them, or
    /// less where they are fewer. `None` where the load lies far from them. It is a start, and nothing of it is left in a solution.
    pub(super) fn foreseen(before: &[Self], pressure: f64) -> Option<Self> {
        let weights = |states: &[Self]| -> Option<Vec<f64>> {
            let others = |own: usize| states.iter().enumerate().filter(move |(k, _)| *k != own);
            let weight = |(own, state): (usize, &Self)| -> f64 {
                let each =
                    others(own).map(|(_, other)| (pressure - other.pressure) / (state.pressure - other.pressure));
                each.product()
            };
            let weights: Vec<f64> = states.iter().enumerate().map(weight).collect();
            let sum: f64 = weights.iter().map(|weight| weight.abs()).sum();
            (sum <= FAR).then_some(weights)
        };
        let last = before.last()?;
        let (states, weights) = [4, 3, 2].into_iter().find_map(|count| {
            let states = before.get(before.len().checked_sub(count)?..)?;
            Some((states, weights(states)?))
        })?;
        let mut start = last.clone();
        let parts = || states.iter().zip(&weights);
        for (disc, x) in start.x.iter_mut().enumerate() {
            x.fill([0.0; PER_NODE]);
            for (state, weight) in parts() {
                for (x, from) in x.iter_mut().zip(state.x.get(disc)?) {
                    add(x, *weight, from);
                }
            }
        }
        for (contact, force) in start.forces.iter_mut().enumerate() {
            let foreseen: f64 = parts().map(|(state, weight)| weight * at(&state.forces, contact)).sum();
            *force = foreseen.max(0.0);
        }
        Some(start)
    }
}
