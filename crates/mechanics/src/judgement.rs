//! Judging a setup: what to leave, set, service, respring, revalve or replace, in which order, and why.
//!
//! Rules of thumb are rows of a table ([`RuleTable`]); computations are named as such and outrank them. A hazard never waits;
//! otherwise the order is measuring properly, oil and wear, preload, spring, valving, unit, and a verdict waits only for a
//! cause that can make the same reading: oil age never explains sag; oil level, friction and preload can.
//!
//! ```text
//! T0 total sag wanted, U0 = T0 (1 - static share wanted) rider's share wanted
//! k_needed/k_now = U/U0                              from the rider's share U, rear
//! k = F/(preload + 0.9 travel)                       from braking, fork (F along the legs)
//! p2 = p1 + MR (T - T0)                              preload that brings a total T to T0, same spring
//! F(x) = F_open r^(1 - x)                            force at the share left x of an adjuster, without a model
//! F(x)/F(1/2) = r^(1/2 - x)                          damping factor that brings it to the middle
//! c2/c1 = sqrt(k_w2 m2/(k_w1 m1))                    rebound after another spring
//! ```
//!
//! Springs at hand are predicted and ranked by [`choose`](crate::chassis::choose); what keeps hardest braking within its travel
//! comes first. Where [`compare`](crate::chassis::compare) finds that sag and the fitted spring disagree, a spring that sag asks
//! for waits if friction, a late start or air can make the reading.

mod adjusters;
mod answer;
mod at_hand;
mod braking;
mod caution;
mod doubt;
mod hazard;
mod look;
mod order;
mod rows;
mod sag_rules;
mod service;
mod spring_amount;
mod table;
mod travel;
mod visit;
mod wanted;
mod words;

pub use adjusters::factor_to_middle;
pub use answer::{
    Action, AfterSpring, Amount, Confidence, Direction, Evidence, Judgement, Missing, RankedSprings, StepRange,
    Subject, ThumbAndPhysics, Verdict,
};
pub use caution::UNTESTED;
pub use look::stated_sag_uncertainty;
pub use rows::RuleId;
pub use table::{Ends, InForce, OwnRule, PRACTICE, Rule, RuleTable, TABLE_VERSION, TableError, Threshold};
pub use visit::{
    Adjuster, Circuit, DamperType, EndVisit, ForceModel, Oil, Riding, Sag, Serviceability, ShaftSpeed, SpringsAtHand,
    StrokeDirection, Visit, Wear, Whole,
};

pub use wanted::SagWanted;

pub use crate::chassis::End;

use look::{Desk, Look};

/// Judges a visit by a table of rules.
///
/// Nothing is refused: what is missing is named as what would settle it. Lengths of the fork are along its leg, of the rear
/// vertical at the axle. Sources: the rules are common practice; the computations are stated with the module.
#[must_use]
pub fn judge(visit: &Visit, table: &RuleTable) -> Judgement {
    let mut desk = Desk::default();
    for end in [End::Front, End::Rear] {
        let Some(seen) = visit.end(end) else { continue };
        let look = Look::new(end, seen, visit, table);
        service::judge(&look, &mut desk);
        sag_rules::judge(&look, &mut desk);
        hazard::judge(&look, &mut desk);
        travel::judge(&look, &mut desk);
        adjusters::judge(&look, &mut desk);
        at_hand::name(&look, &mut desk);
        order::leave(&look, &mut desk);
        doubt::judge(&look, &mut desk);
    }
    order::ordered(desk, table)
}
