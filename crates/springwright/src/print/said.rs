//! What a reply says beside its values.

use std::fmt::Write as _;

use wire::v1::{Assumption, Finding, Severity};

use super::figures::clean;

/// What was assumed, with its source.
pub(super) fn assumptions(assumptions: &[Assumption]) -> String {
    let mut text = String::new();
    for (index, assumption) in assumptions.iter().enumerate() {
        if index == 0 {
            text.push_str("assumed\n");
        }
        let _ = write!(text, "  {}: {}", clean(&assumption.subject), clean(&assumption.text));
        text.push_str(&if assumption.source.is_empty() {
            "\n".to_owned()
        } else {
            format!(" ({})\n", clean(&assumption.source))
        });
    }
    text
}

/// Findings, the gravest last, each with its caution behind it: the last line on the screen is the one that is read.
pub(crate) fn findings(findings: &[Finding]) -> String {
    let mut findings: Vec<_> = findings.iter().collect();
    findings.sort_by_key(|finding| finding.severity);
    let mut text = String::new();
    for finding in &findings {
        let severity = match finding.severity() {
            Severity::Hazard => "HAZARD",
            Severity::Warning => "warning",
            Severity::Note | Severity::Unspecified => "note",
        };
        let field = if finding.field.is_empty() {
            String::new()
        } else {
            format!(", {}", clean(&finding.field))
        };
        let _ = writeln!(
            text,
            "{severity}: {} [{}{field}]",
            clean(&finding.message),
            clean(&finding.code)
        );
    }
    for finding in findings.iter().filter(|finding| !finding.caution.is_empty()) {
        let _ = writeln!(text, "CAUTION: {}", clean(&finding.caution));
    }
    text
}
