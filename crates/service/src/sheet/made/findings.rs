//! What was found besides, and what was taken for true.

use wire::setup::words;
use wire::v1;

use super::Gathered;
use crate::sheet::content::{Assumed, Concern, Gravity};

/// What was found besides, hazards among it. What the judge says of the machine as found, the reading of its sag does not say
/// again.
pub(super) fn concerns(gathered: &Gathered) -> Vec<Concern> {
    let mut concerns: Vec<Concern> = Vec::new();
    let judged = gathered.judged.iter().flatten();
    let judged: Vec<&v1::Finding> = judged.flat_map(|reply| &reply.findings).collect();
    let of_sag = |finding: &v1::Finding| {
        let found = gathered.sags.iter().filter(|sag| !sag.left);
        let mut found = found.flat_map(|sag| sag.found.iter().flat_map(|found| &found.findings));
        found.any(|one| one.message == finding.message)
    };
    for finding in judged.iter().filter(|finding| !of_sag(finding)) {
        concerns.push(concern(finding, ""));
    }
    for sag in &gathered.sags {
        let when = if sag.left { "as left" } else { "as found" };
        let end = if sag.end == v1::MachineEnd::Front {
            "front"
        } else {
            "rear"
        };
        match &sag.found {
            Ok(found) => {
                let again = |one: &&v1::Finding| {
                    let mut judged = judged.iter();
                    sag.left || !judged.any(|said| said.code == one.code && said.message != one.message)
                };
                let found = found.findings.iter().filter(again);
                concerns.extend(found.map(|one| concern(one, &format!("{end}, {when}: "))));
            }
            Err(why) => concerns.push(Concern {
                gravity: Gravity::Note,
                message: format!("{end}, {when}: the sag cannot be told: {why}"),
                caution: String::new(),
            }),
        }
    }
    if let Some(forecast) = &gathered.forecast {
        concerns.extend(forecast.findings.iter().map(|one| concern(one, "looking ahead: ")));
        concerns.extend(forecast.limits.iter().filter_map(limit));
    }
    concerns
}

fn concern(finding: &v1::Finding, before: &str) -> Concern {
    Concern {
        gravity: match finding.severity() {
            v1::Severity::Hazard => Gravity::Hazard,
            v1::Severity::Warning => Gravity::Warning,
            v1::Severity::Note | v1::Severity::Unspecified => Gravity::Note,
        },
        message: format!("{before}{}", finding.message),
        caution: finding.caution.clone(),
    }
}

/// A limit that is met within the paces looked at, as a note.
fn limit(limit: &v1::LimitForecast) -> Option<Concern> {
    let pace = limit.pace_ratio?;
    let when = if pace <= 1.0 {
        "now already".to_owned()
    } else {
        format!("at pace {pace:.2}")
    };
    Some(Concern {
        gravity: Gravity::Note,
        message: format!(
            "looking ahead, {}: {when}; then {}",
            words::placed_limit(limit),
            words::remedy(limit.remedy)
        ),
        caution: String::new(),
    })
}

/// What was taken for true, each once.
pub(super) fn assumptions(gathered: &Gathered) -> Vec<Assumed> {
    let judged = gathered.judged.iter().flatten().flat_map(|reply| &reply.assumptions);
    let sags = gathered.sags.iter().filter_map(|sag| sag.found.as_ref().ok());
    let of_sag = sags.flat_map(|found| &found.assumptions);
    let of_forecast = gathered.forecast.iter().flat_map(|forecast| &forecast.assumptions);
    let mut said: Vec<Assumed> = Vec::new();
    for assumption in judged.chain(of_sag).chain(of_forecast) {
        match said.iter_mut().find(|assumed| assumed.source == assumption.source) {
            Some(assumed) if assumed.what.contains(&assumption.text) => {}
            Some(assumed) => assumed.what.push(assumption.text.clone()),
            None => said.push(Assumed {
                source: assumption.source.clone(),
                what: vec![assumption.text.clone()],
            }),
        }
    }
    said
}
