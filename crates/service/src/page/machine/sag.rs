//! Sag at once: what the readings say before anything is judged.

use maud::{Markup, html};
use mechanics::chassis::End;
use wire::v1;

use super::words::{ENDS, heading, state_of};
use crate::bench::Bench;
use crate::page::words::{Origin, estimated, per_cent, row};

/// Sag of the ends whose readings are all there; what contradicts itself is told by the judgement.
pub(super) fn read(
    bench: &Bench,
    machine: &v1::MachineValues,
    state: &v1::SetupState,
    rider_mass: Option<v1::Mass>,
    reply_units: i32,
) -> Vec<(End, v1::ReadSagResponse)> {
    let of = |end: End| {
        let asked = v1::ReadSagRequest {
            source: Some(v1::read_sag_request::Source::Values(v1::SagValues {
                readings: Some(state_of(Some(state), end)?.sag?),
                machine: Some(machine.clone()),
                rider_mass_with_gear: rider_mass,
            })),
            end: match end {
                End::Front => v1::MachineEnd::Front,
                End::Rear => v1::MachineEnd::Rear,
            } as i32,
            reply_units,
            ..Default::default()
        };
        Some((end, bench.read_sag(asked).ok()?))
    };
    ENDS.into_iter().filter_map(of).collect()
}

/// The figures.
pub(super) fn shown(sags: &[(End, v1::ReadSagResponse)]) -> Markup {
    html! {
        @for (end, sag) in sags {
            p.part { (heading(*end)) @if *end == End::Front { ", along the leg" } @else { ", at the axle" } }
            dl.figures {
                (row("Static sag", estimated(sag.static_sag.as_ref()), Origin::Measured))
                (row("Total sag", estimated(sag.total_sag.as_ref()), Origin::Measured))
                (row("Rider's share", estimated(sag.riders_share.as_ref()), Origin::Measured))
                (row("Static over total", sag.static_ratio.map(per_cent), Origin::Computed))
                (row("Rate the share implies", implied(sag), Origin::Computed))
                (row("Fitted", fitted(sag), Origin::Entered))
            }
        }
    }
}

fn implied(sag: &v1::ReadSagResponse) -> Option<String> {
    let implied = sag.implied.as_ref()?;
    match estimated(implied.spring_rate_each.as_ref().or(implied.spring_rate.as_ref())) {
        Some(rate) if implied.upper_bound => Some(format!("at most {rate}")),
        Some(rate) => Some(rate),
        None => Some(format!("{} at the wheel", estimated(implied.wheel_rate.as_ref())?)),
    }
}

fn fitted(sag: &v1::ReadSagResponse) -> Option<String> {
    use v1::fitted_comparison::Agreement;
    let compared = sag.comparison.as_ref()?;
    let rate = crate::page::words::computed(compared.fitted_rate.as_ref())?;
    let words = match compared.agreement() {
        Agreement::Agrees => "the sag agrees",
        Agreement::CannotTell => "the sag cannot tell to a step",
        Agreement::Disagrees => "the sag disagrees",
        Agreement::Unspecified => "not compared",
    };
    Some(format!("{rate} together: {words}"))
}
