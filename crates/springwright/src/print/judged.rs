//! A judgement as a person reads it: the one change first, then every verdict with what speaks for it.

use std::fmt::Write as _;

use wire::setup::words;
use wire::v1;

use super::figures::clean;
use super::said::{assumptions, findings};

/// A setup judged.
pub(super) fn judged(reply: &v1::JudgeSetupResponse) -> String {
    let mut text = String::new();
    let first = reply.first_change.and_then(|index| usize::try_from(index).ok());
    match first.and_then(|index| reply.verdicts.get(index)) {
        Some(first) => {
            let _ = writeln!(text, "first: {}", clean(&first.text));
        }
        None if reply.verdicts.is_empty() => text.push_str("nothing is known that could be judged\n"),
        None => text.push_str("nothing to change\n"),
    }
    for (index, verdict) in reply.verdicts.iter().enumerate() {
        let _ = writeln!(text, "\n{}. {}", index + 1, clean(&verdict.text));
        one(&mut text, verdict);
    }
    for (index, missing) in reply.missing.iter().enumerate() {
        if index == 0 {
            text.push_str("\nit would still help to know\n");
        }
        let end = words::end(missing.end);
        let gap = if end.is_empty() { "" } else { " " };
        let (subject, settles) = (clean(&missing.subject), clean(&missing.settles));
        let _ = writeln!(text, "  {end}{gap}{subject}: {settles}");
    }
    let _ = writeln!(text, "\nrule table {}", clean(&reply.rule_table_version));
    text.push_str(&assumptions(&reply.assumptions));
    text.push_str(&findings(&reply.findings));
    text
}

fn one(text: &mut String, verdict: &v1::Verdict) {
    let mut say = |what: &str, words: &str| {
        let _ = writeln!(text, "   {what:<16}{}", clean(words));
    };
    for evidence in &verdict.evidence {
        say("because", &evidence.text);
    }
    if let Some(v1::verdict::Amount::Steps(steps)) = &verdict.amount
        && let (Some(thumb), Some(physics)) = (steps.thumb_count, steps.physics_count)
    {
        let apart = if steps.disagree { ": they disagree" } else { "" };
        say("steps", &format!("thumb {thumb}, physics {physics:.1}{apart}"));
    }
    if let Some(after) = &verdict.after_spring {
        say(
            "then rebound",
            &format!("{:.3} times; compression as it is", after.rebound_factor),
        );
    }
    if !verdict.waits_for.is_empty() {
        let waits: Vec<String> = verdict.waits_for.iter().map(|index| (index + 1).to_string()).collect();
        say("waits for", &waits.join(", "));
    }
    let check = if verdict.waits_for_check {
        "waits for check"
    } else {
        "check first"
    };
    for words in &verdict.check_first {
        say(check, words);
    }
    for words in &verdict.overturned_by {
        say("overturned by", words);
    }
    for words in &verdict.cautions {
        say("CAUTION", words);
    }
}
