//! What is said of what was typed: the judgement as found and as left, or the faults in its place.

use maud::{Markup, html};
use wire::v1;
use wire::violation::Violation;

use super::fields::{self, Moment};
use super::kept::Kept;
use super::{judged, sag};
use crate::bench::Bench;
use crate::error::ServiceError;
use crate::page::form::Posted;
use crate::page::visitor::Visitor;

/// What is said of what was typed.
pub(super) struct Told {
    /// In a sentence.
    pub(super) headline: String,
    /// The rest.
    pub(super) body: Markup,
    /// What is not known.
    pub(super) missing: Markup,
    /// The same of the machine as it left.
    pub(super) left: Markup,
    /// Faults, each at its field.
    pub(super) faults: Vec<Violation>,
}

impl Told {
    /// No judgement, and why.
    fn none(headline: &str, body: Markup, faults: Vec<Violation>) -> Self {
        Self {
            headline: headline.to_owned(),
            body,
            missing: html! {},
            left: html! {},
            faults,
        }
    }
}

/// Judges what was typed. Whatever is wrong is said in place of the judgement: what was written stays.
pub(super) fn told(bench: &Bench, kept: &Kept, posted: &Posted, visitor: &Visitor) -> Told {
    let typed = match fields::read(posted, kept) {
        Ok(typed) => typed,
        Err(faults) => return faulty(faults, kept),
    };
    let rider_mass = kept.rider_mass().or(typed.rider_mass);
    let judge = |machine: &v1::MachineValues, state: &v1::SetupState| {
        let asked = judged::Asked {
            machine: machine.clone(),
            state: state.clone(),
            riding: typed.visit.riding,
            rider_mass,
            details: typed.details.clone(),
            deceleration: typed.deceleration,
            time: typed.visit.visit_time,
            reply_units: visitor.reply_units(),
        };
        judged::judge(bench, asked)
    };
    let [machine, machine_left] = &kept.fitted;
    let reply = match judge(machine, &typed.found) {
        Ok(reply) => reply,
        Err(ServiceError::InvalidFields(faults)) => {
            return faulty(fields::at_fields(faults, Moment::Found, posted, kept), kept);
        }
        Err(error) => {
            let body = html! { div.notice { p { bdi { (error) } } } };
            return Told::none("No judgement.", body, Vec::new());
        }
    };
    let left = typed.left.clone();
    let left = left.map(|left| judge(machine_left, &fields::as_found_but(left, &typed.found)));
    if let Some(Err(ServiceError::InvalidFields(faults))) = left {
        return faulty(fields::at_fields(faults, Moment::Left, posted, kept), kept);
    }
    let sags = sag::read(bench, machine, &typed.found, rider_mass, visitor.reply_units());
    Told {
        headline: judged::headline(&reply),
        body: html! { (sag::shown(&sags)) (judged::shown(&reply)) },
        missing: judged::missing(&reply),
        left: html! { @if let Some(Ok(left)) = &left { (judged::shown_left(left)) } },
        faults: Vec::new(),
    }
}

fn faulty(faults: Vec<Violation>, kept: &Kept) -> Told {
    let body = look_at(&faults, kept);
    Told::none(
        "No judgement: something that was written cannot be taken.",
        body,
        faults,
    )
}

/// Faults, each with the way to its field.
pub(super) fn look_at(faults: &[Violation], kept: &Kept) -> Markup {
    html! {
        div.notice {
            p { "Look at:" }
            ul { @for fault in faults { li { a href={ "#" (fault.field) } { bdi { (fields::label(&fault.field, kept)) ": " (fault.description) } } } } }
        }
    }
}

/// The judgement, as the script finds it.
pub(super) fn result(told: &Told) -> Markup {
    let faults: Vec<&str> = told.faults.iter().map(|fault| fault.field.as_str()).collect();
    html! {
        div #result data-said=(told.headline) data-faults=(faults.join(" ")) { (told.body) }
    }
}

/// What is not known, as the script finds it.
pub(super) fn missing(told: &Told) -> Markup {
    html! { div #missing data-part { (told.missing) } }
}

/// What is said of the machine as it left, as the script finds it.
pub(super) fn left(told: &Told) -> Markup {
    html! { div #left-judged data-part { (told.left) } }
}
