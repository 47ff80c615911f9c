//! Which part of the travel counts.

use crate::quantity::Quantity;

use super::words::Words;
use super::{Request, SpringError, Window, WindowBase};

/// What the window is cut from, metres as read on the tester.
#[derive(Debug, Clone, Copy)]
pub(super) struct Travel {
    /// Contact, where it is sought.
    pub(super) contact: Option<f64>,
    /// Coil bind, where it was found.
    pub(super) bind: Option<f64>,
    /// Largest deflection of the strokes that count.
    pub(super) largest: f64,
    /// Smallest deflection.
    pub(super) smallest: f64,
}

/// A window, ends inclusive.
#[derive(Debug, Clone)]
pub(super) struct Cut {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) base: String,
}

/// Cuts the window. A share window's ends reach out by a billionth of the travel: an end that falls on a reading must not
/// lose it to rounding.
///
/// # Errors
/// [`SpringError::SolidUnknown`] where free to solid is asked for and not known.
pub(super) fn cut(request: &Request, travel: &Travel) -> Result<Cut, SpringError> {
    match request.window {
        Window::AllSamples => Ok(Cut {
            from: travel.smallest,
            to: travel.largest,
            base: "every sample".to_owned(),
        }),
        Window::Deflections { from, to } => Ok(Cut {
            from: from.si(),
            to: to.si(),
            base: "deflections as entered".to_owned(),
        }),
        Window::Share(share) => {
            let (base, words) = base(request, travel, share.base)?;
            let from = travel.contact.unwrap_or(0.0);
            Ok(Cut {
                from: from + share.from_ratio * base,
                to: from + share.to_ratio * base,
                base: format!(
                    "{:.0} to {:.0} % of {}, {}, counted from {}",
                    100.0 * share.from_ratio,
                    100.0 * share.to_ratio,
                    Words::new(request.units).length(base),
                    words,
                    if travel.contact.is_some() {
                        "contact"
                    } else {
                        "deflection 0"
                    }
                ),
            })
        }
    }
}

fn base(request: &Request, travel: &Travel, wanted: WindowBase) -> Result<(f64, &'static str), SpringError> {
    let from = travel.contact.unwrap_or(0.0);
    let lengths = request.geometry.free_length.zip(request.geometry.solid_length);
    let by_lengths = lengths.map(|(free, solid)| (free.si() - solid.si(), "free to solid by the lengths given"));
    let by_bind = travel
        .bind
        .map(|bind| (bind - from, "free to solid by the coil bind found"));
    // Where both are known the shorter counts: beyond the first coil bind nothing is straight.
    let solid = match (by_lengths, by_bind) {
        (Some(lengths), Some(bind)) => Some(if bind.0 < lengths.0 { bind } else { lengths }),
        (lengths, bind) => lengths.or(bind),
    };
    let tested = (travel.largest - from, "the travel of the test");
    match wanted {
        WindowBase::Travel(travel) => Ok((travel.si(), "as entered")),
        WindowBase::TestTravel => Ok(tested),
        WindowBase::FreeToSolid => solid.ok_or(SpringError::SolidUnknown),
        WindowBase::Automatic => Ok(solid.unwrap_or(tested)),
    }
}
