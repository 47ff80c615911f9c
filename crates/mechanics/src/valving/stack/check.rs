//! Every state is checked before it is answered: forces, gaps, equilibrium.

use super::band::at;
use super::model::Model;
use super::newton::{State, Theory, gap};
use super::plate::PER_NODE;
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
    if state.x.iter().flatten().any(|x| !x.is_finite()) {
        return Err(refuse("a deflection is no number", "NaN".to_owned()));
    }
    // The influence functions are in equilibrium by themselves.
    if !exact {
        checked.unbalanced = unbalanced(model, theory, state);
        if !(checked.unbalanced <= UNBALANCED) {
            let residual = format!("{} of the largest force, allowed {UNBALANCED}", checked.unbalanced);
            return Err(refuse("forces are out of balance", residual));
        }
    }
    Ok(checked)
}

/// Largest force out of balance on any unknown over the largest force there is; moments over force times ring spacing.
fn unbalanced(model: &Model, theory: Theory, state: &State) -> f64 {
    let mut rest: Vec<Vec<f64>> = Vec::with_capacity(model.plates.len());
    let mut largest = state.pressure * model.load_force;
    for (plate, x) in model.plates.iter().zip(&state.x) {
        let internal = plate.internal(x, theory == Theory::Large);
        let balance = internal
            .iter()
            .zip(&plate.load)
            .map(|(f, load)| f - state.pressure * load);
        rest.push(balance.collect());
    }
    for (contact, force) in model.contacts.iter().zip(&state.forces) {
        largest = largest.max(*force);
        for (plate, sign) in [(contact.upper, 1.0), (contact.lower, -1.0)] {
            let Some((rest, (x, disc))) =
                plate.and_then(|p| Some((rest.get_mut(p)?, (state.x.get(p)?, model.plates.get(p)?))))
            else {
                continue;
            };
            let unknown = contact.node * PER_NODE;
            let tilt = match theory {
                Theory::Small => 0.0,
                Theory::Large => -disc.thickness * at(x, unknown + 1) / 2.0,
            };
            for (offset, share) in [(0, sign), (1, tilt)] {
                if let Some(place) = rest.get_mut(unknown + offset) {
                    *place -= force * share;
                }
            }
        }
    }
    // A disc that stretches carries more inside than the load outside: its rounding is counted against that.
    let inside = model.plates.iter().zip(&state.x).map(|(plate, x)| {
        let internal = plate.internal(x, theory == Theory::Large);
        internal
            .iter()
            .skip(2)
            .step_by(PER_NODE)
            .fold(0.0_f64, |most, f| most.max(f.abs()))
    });
    let largest = inside.fold(largest, f64::max);
    if largest == 0.0 {
        return 0.0;
    }
    let worst = model.plates.iter().zip(&rest).flat_map(|(plate, rest)| {
        rest.iter()
            .enumerate()
            .map(|(unknown, f)| if plate.is_held(unknown) { 0.0 } else { f.abs() })
    });
    worst.fold(0.0_f64, |most, f| if f.is_nan() { f64::NAN } else { most.max(f) }) / largest
}
