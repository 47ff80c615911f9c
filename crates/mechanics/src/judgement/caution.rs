//! What to be careful of, beside the cautions of findings.

/// A unit is opened.
pub(super) const OPENED: &str = "Discharge any gas before a unit is opened, fill with dry nitrogen only; hot oil, eye protection; the maker's manual comes \
     first.";
/// A leaking or loose part.
pub(super) const UNSAFE_PART: &str =
    "A leaking or loose part can cost grip or steering without warning: do not ride it until it is put right.";
/// A setup nobody has ridden.
pub const UNTESTED: &str = "An untested setup: first ride slowly, on a closed or quiet road.";
