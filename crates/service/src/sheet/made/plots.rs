//! Plots.

use super::Gathered;
use crate::sheet::content::Picture;

/// What comes next, as a picture of the cost.
pub(super) fn pictures(gathered: &Gathered, _not_known: &mut Vec<String>) -> Vec<Picture> {
    let stairs = gathered.forecast.iter().map(|forecast| &forecast.staircase_svg);
    let stairs = stairs.filter(|svg| !svg.is_empty()).map(|svg| Picture {
        caption: "Cost against pace: a model’s estimate, with the band of each step".to_owned(),
        svg: svg.clone(),
        plot: false,
    });
    stairs.collect()
}
