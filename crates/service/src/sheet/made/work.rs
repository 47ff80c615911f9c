//! What was done, and what was predicted of it.

use wire::setup::words;
use wire::v1;

use super::{Gathered, short};

/// Work in the order it was entered, then predictions.
pub(super) fn done(gathered: &Gathered) -> Vec<String> {
    let work = gathered.visit.work.iter().map(one);
    let predicted = gathered.visit.predictions.iter().filter_map(|prediction| {
        let value = short(prediction.value.as_ref(), gathered.units)?;
        let spread = short(prediction.standard_uncertainty.as_ref(), gathered.units);
        let spread = spread.map_or_else(String::new, |spread| format!(", standard uncertainty {spread}"));
        let source = match prediction.source.trim() {
            "" => String::new(),
            source => format!(" ({source})"),
        };
        Some(format!(
            "Predicted of it: {} {value}{spread}{source}",
            words::prediction(prediction)
        ))
    });
    work.chain(predicted).collect()
}

/// `rear, left leg: service; new oil 10W; seals were hard`.
fn one(work: &v1::WorkDone) -> String {
    let leg = match work.leg {
        Some(1) => ", left leg",
        Some(2) => ", right leg",
        _ => "",
    };
    let circuits: Vec<&str> = work.circuits.iter().map(|circuit| words::circuit(*circuit)).collect();
    let mut said = vec![words::remedy(work.remedy).to_owned()];
    if !circuits.is_empty() {
        said = vec![format!("{} ({})", words::remedy(work.remedy), circuits.join(", "))];
    }
    if let Some(oil) = work.oil.as_ref().filter(|oil| !oil.grade.trim().is_empty()) {
        said.push(format!("new oil {}", oil.grade.trim()));
    }
    if !work.text.trim().is_empty() {
        said.push(work.text.trim().to_owned());
    }
    format!("{}{leg}: {}", words::end(work.end), said.join("; "))
}
