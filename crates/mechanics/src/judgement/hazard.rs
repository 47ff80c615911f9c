//! What cannot wait.

use super::answer::{Action, Confidence, Subject};
use super::caution;
use super::look::{Desk, Look};
use super::visit::Wear;
use crate::finding::Code;
use crate::quantity::Quantity;

/// A leaking or loose part, and a spring that binds before the stop, come first. (An end without static sag is found with the
/// sag.)
pub(super) fn judge(look: &Look<'_>, desk: &mut Desk) {
    for wear in [Wear::LeakingSeal, Wear::LoosePart] {
        if look.seen.wear.contains(&wear) {
            unsafe_part(look, desk, wear);
        }
    }
    if look.seen.bind_margin.is_some_and(|margin| margin.si() < 0.0) {
        binds(look, desk);
    }
}

fn unsafe_part(look: &Look<'_>, desk: &mut Desk, wear: Wear) {
    let (text, today, action, subject) = match wear {
        Wear::LeakingSeal if look.is_sealed() => (
            "oil leaks past a seal of a unit that cannot be opened",
            "today: do not ride with oil near tyre or brake; clean both before the next ride",
            Action::Replace,
            Subject::Unit,
        ),
        Wear::LeakingSeal => (
            "oil leaks past a seal",
            "today: do not ride with oil near tyre or brake; clean both before the next ride",
            Action::Service,
            Subject::Wear,
        ),
        _ => (
            "a part is loose",
            "today: do not ride until the part is fastened to the maker's torque",
            Action::Service,
            Subject::Wear,
        ),
    };
    let mut verdict = look.verdict(action, subject);
    verdict.hazard = true;
    verdict.confidence = Confidence::High;
    verdict.evidence.push(look.evidence(&[], text));
    verdict.check_first.push(today.to_owned());
    verdict.cautions.push(caution::UNSAFE_PART);
    verdict
        .overturned_by
        .push("a second look that finds it dry and tight".to_owned());
    desk.push(verdict, &[]);
}

fn binds(look: &Look<'_>, desk: &mut Desk) {
    let margin = look.seen.bind_margin.map_or(0.0, Quantity::si);
    let text = format!(
        "the spring binds {} before the end of the travel",
        look.words.length(-margin)
    );
    let today = "today: do not ride it hard; less preload, or a spring with more travel to coil bind";
    if let Some(verdict) = desk.drafted_mut(look.end, Subject::Spring) {
        verdict.hazard = true;
        verdict.evidence.push(look.evidence(&[], &text));
        verdict.check_first.insert(0, today.to_owned());
        verdict.cautions.push(Code::BindsInTravel.caution());
        return;
    }
    let mut verdict = look.verdict(Action::Respring, Subject::Spring);
    verdict.hazard = true;
    verdict.evidence.push(look.evidence(&[], &text));
    verdict.check_first.push(today.to_owned());
    verdict.cautions.push(Code::BindsInTravel.caution());
    verdict
        .overturned_by
        .push("a solid length measured on the tester".to_owned());
    desk.push(verdict, &[]);
}
