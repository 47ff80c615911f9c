//! Pressures at which a stack cracks, a stage closes, or the stop is reached.

use super::{Answer, is_seat, megapascals, mm, smallest_gap, sum_of};
use crate::quantity::Quantity;
use crate::valving::ValvingError;
use crate::valving::stack::event;
use crate::valving::stack::model::Contact;
use crate::valving::stack::solution::{Body, Event, EventKind};
use crate::valving::stack::state::State;

/// Events answered, at most.
const MOST_EVENTS: usize = 24;

impl Answer<'_> {
    /// Cracking, then every pair with a gap, then the stop.
    pub(super) fn events(&mut self, states: &[State]) -> Result<Vec<Event>, ValvingError> {
        let mut events = Vec::new();
        let theory = self.solver.theory();
        let seat = |state: &State| sum_of(self.model, state, is_seat);
        if let Some((before, after)) = crossing(states, seat) {
            let state = event::find(&mut self.solver, before, after, seat)?;
            let radius = smallest_gap(self.model, theory, &state, is_seat).map_or(f64::NAN, |(_, radius)| radius);
            events.push(self.event(EventKind::Cracks, &state, (Body::Seat, Body::Shim(self.face())), radius));
        }
        for pair in self.gapped() {
            let of_pair = |contact: &Contact| (contact.lower, contact.upper) == pair && contact.gap > 0.0;
            // Before it closes the gap is above zero, after it the ring force takes over.
            let open = |state: &State| {
                if sum_of(self.model, state, of_pair) > 0.0 {
                    return -1.0;
                }
                smallest_gap(self.model, theory, state, of_pair).map_or(-1.0, |(gap, _)| gap)
            };
            let Some((before, after)) = crossing(states, open) else {
                continue;
            };
            let state = event::find(&mut self.solver, before, after, open)?;
            let radius = smallest_gap(self.model, theory, &state, of_pair).map_or(f64::NAN, |(_, radius)| radius);
            let bodies = (self.body(pair.0, Body::Seat), self.body(pair.1, Body::Stop));
            let kind = if pair.1.is_none() {
                EventKind::StopReached
            } else {
                EventKind::StageCloses
            };
            events.push(self.event(kind, &state, bodies, radius));
            if events.len() >= MOST_EVENTS {
                break;
            }
        }
        events.sort_by(|a, b| a.pressure.si().total_cmp(&b.pressure.si()));
        Ok(events)
    }

    fn face(&self) -> usize {
        self.model.plates.first().map_or(0, |disc| disc.shim)
    }

    /// Pairs that are apart in the flat stack.
    fn gapped(&self) -> Vec<(Option<usize>, Option<usize>)> {
        let mut pairs = Vec::new();
        let apart = self
            .model
            .contacts
            .iter()
            .filter(|contact| contact.lower.is_some() && contact.gap > 0.0);
        for contact in apart {
            let pair = (contact.lower, contact.upper);
            if !pairs.contains(&pair) {
                pairs.push(pair);
            }
        }
        pairs
    }

    fn event(&self, kind: EventKind, state: &State, (lower, upper): (Body, Body), radius: f64) -> Event {
        Event {
            kind,
            pressure: megapascals(state.pressure),
            edge_lift: mm(self.edge_lift(state, 0)),
            lower,
            upper,
            radius: mm(radius),
        }
    }
}

/// Neighbouring states between which a measure goes from above zero to not above it.
fn crossing(states: &[State], measure: impl Fn(&State) -> f64) -> Option<(&State, &State)> {
    let first = states.first()?;
    if !(measure(first) > 0.0) {
        return None;
    }
    let pairs = states.iter().zip(states.iter().skip(1));
    pairs.into_iter().find(|(_, after)| !(measure(after) > 0.0))
}
