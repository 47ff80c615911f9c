//! Every state is checked before it is answered: forces, gaps, equilibrium.

use super::block::{Node, add, most};
use super::model::Model;
use super::newton::{Theory, gap, tilted};
use super::state::State;
use crate::valving::ValvingError;

/// Penetration that is let pass, mm.
const PENETRATION: f64 = 1e-6;
/// Gap under a ring force that is let pass, mm.
const LIFTED: f64 = 1e-6;
/// Force out of balance that is let pass, over the largest force anywhere.
const UNBALANCED: f64 = 1e-6;

/// What the check found, at its worst.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Checked {
    /// Largest penetration, mm.
    pub(super) penetration: f64,
    /// Largest force out of balance over the largest force.
    pub(super) unbalanced: f64,
}

impl Checked {
    pub(super) fn worst(self, other: Self) -> Self {
        Self {
            penetration: self.penetration.max(other.penetration),
            unbalanced: self.unbalanced.max(other.unbalanced),
        }
    }
}

/// Checks a state against what it must obey, from its unknowns and ring forces alone.
///
/// # Errors
/// [`ValvingError::NotVerified`] with the residual.
pub(super) fn check(model: &Model, theory: Theory, state: &State, exact: bool) -> Result<Checked, ValvingError> {
    let refuse = |what: &str, residual: String| ValvingError::NotVerified {
        what: format!("{what} at {} MPa", state.pressure),
        residual,
        steps: state.steps,
    };
    let mut checked = Checked::default();
    for (index, force) in state.forces.iter().enumerate() {
        let gap = gap(model, theory, &state.x, index);
        if !(*force >= 0.0 && force.is_finite()) {
            return Err(refuse("a ring force pulls", format!("{force} N, allowed 0 or more")));
        }
        if !(gap >= -PENETRATION) {
            return Err(refuse(
                "discs penetrate",
                format!("{} mm, allowed {PENETRATION} mm", -gap),
            ));
        }
        if *force > 0.0 && gap > LIFTED {
            return Err(refuse(
                "a ring force acts over a gap",
                format!("{gap} mm, allowed {LIFTED} mm"),
            ));
        }
        checked.penetration = checked.penetration.max(-gap);
    }
    if state.x.iter().flatten().flatten().any(|x| !x.is_finite()) {
        return Err(refuse("a deflection is no number", "NaN".to_owned()));
    }
    // The influence functions are in equilibrium by themselves.
    if !exact {
        checked.unbalanced = unbalanced(model, state);
        if !(checked.unbalanced <= UNBALANCED) {
            let residual = format!("{} of the largest force, allowed {UNBALANCED}", checked.unbalanced);
            return Err(refuse("forces are out of balance", residual));
        }
    }
    Ok(checked)
}

/// Largest force out of balance on any unknown over the largest force there is; moments over force times ring spacing.
fn unbalanced(model: &Model, state: &State) -> f64 {
    let mut largest = state
        .forces
        .iter()
        .fold(state.pressure * model.load_force, |most, force| most.max(*force));
    let mut worst = 0.0_f64;
    let mut rest: Vec<Node> = Vec::new();
    for ((plate, x), grips) in model.plates.iter().zip(&state.x).zip(&model.grips) {
        plate.internal(x, &mut rest);
        // A disc that stretches carries more inside than the load outside: its rounding is counted against that.
        largest = rest.iter().fold(largest, |most, force| most.max(force[2].abs()));
        for (rest, load) in rest.iter_mut().zip(&plate.load) {
            add(rest, -state.pressure, load);
        }
        for grip in grips {
            if let (Some(rest), Some(x), Some(force)) = (
                rest.get_mut(grip.node),
                x.get(grip.node),
                state.forces.get(grip.contact),
            ) {
                rest[0] -= force * grip.lift;
                rest[1] -= force * tilted(plate.thickness, x[1]);
            }
        }
        if let Some(first) = rest.first_mut() {
            for (rest, held) in first.iter_mut().zip(plate.held) {
                if held {
                    *rest = 0.0;
                }
            }
        }
        worst = most(rest.as_flattened().iter().copied().chain([worst]));
    }
    if largest == 0.0 { 0.0 } else { worst / largest }
}
