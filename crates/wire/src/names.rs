//! Names of records: `springs/a7`, `springs/a7@12`.

use crate::v1::ViolationReason as Reason;
use crate::violation::Scope;

/// A record's id, and a revision where one is named.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Name {
    /// Without the collection.
    pub id: String,
    /// `@n`.
    pub revision: Option<u64>,
}

/// A collection of records.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Collection {
    /// `springs/`.
    Springs,
    /// `runs/`.
    Runs,
    /// `testers/`.
    Testers,
    /// `shimLots/`.
    ShimLots,
    /// `stacks/`.
    Stacks,
    /// `dampers/`.
    Dampers,
    /// `riders/`.
    Riders,
    /// `machines/`.
    Machines,
    /// `setups/`.
    Setups,
    /// `jobSheets/`.
    JobSheets,
}

impl Collection {
    /// The part before the slash.
    pub fn segment(self) -> &'static str {
        match self {
            Self::Springs => "springs",
            Self::Runs => "runs",
            Self::Testers => "testers",
            Self::Stacks => "stacks",
            Self::Dampers => "dampers",
            Self::Riders => "riders",
            Self::Machines => "machines",
            Self::Setups => "setups",
            Self::JobSheets => "jobSheets",
            Self::ShimLots => "shimLots",
        }
    }

    /// The name of an id in this collection.
    pub fn name(self, id: &str) -> String {
        format!("{}/{id}", self.segment())
    }

    /// Reads a name, without a revision.
    pub fn id(self, text: &str, at: Scope<'_>) -> Option<String> {
        self.read(text, false, at).map(|name| name.id)
    }

    /// Reads a name; a revision may follow.
    pub fn revisable(self, text: &str, at: Scope<'_>) -> Option<Name> {
        self.read(text, true, at)
    }

    fn read(self, text: &str, revisable: bool, mut at: Scope<'_>) -> Option<Name> {
        let segment = self.segment();
        if text.is_empty() {
            at.push(
                Reason::ValueMissing,
                format_args!("a name is required: {segment}/{{id}}"),
            );
            return None;
        }
        let parsed = parse(segment, text).filter(|name| revisable || name.revision.is_none());
        if parsed.is_none() {
            let with_revision = if revisable {
                format!(" or {segment}/{{id}}@{{revision}}")
            } else {
                String::new()
            };
            at.push(Reason::UnknownName, format_args!("\"{}\" is no name; write {segment}/{{id}}{with_revision}, id [a-z][a-z0-9-]{{0,61}}[a-z0-9] or a UUID", shown(text)));
        }
        parsed
    }
}

/// Reads an id chosen by the client; empty leaves the choice to the server.
pub fn chosen_id(text: &str, mut at: Scope<'_>) -> Option<String> {
    if text.is_empty() {
        return None;
    }
    if is_chosen(text) {
        return Some(text.to_owned());
    }
    at.push(
        Reason::OutOfRange,
        format_args!("\"{}\" is no id; write [a-z][a-z0-9-]{{0,61}}[a-z0-9]", shown(text)),
    );
    None
}

fn parse(segment: &str, text: &str) -> Option<Name> {
    let rest = text.strip_prefix(segment)?.strip_prefix('/')?;
    let (id, revision) = match rest.split_once('@') {
        Some((id, digits)) => (id, Some(digits.parse().ok().filter(|n| *n >= 1)?)),
        None => (rest, None),
    };
    (is_chosen(id) || is_uuid(id)).then(|| Name {
        id: id.to_owned(),
        revision,
    })
}

fn is_chosen(id: &str) -> bool {
    let lower = |c: u8| c.is_ascii_lowercase();
    let inner = |c: u8| c.is_ascii_lowercase() || c.is_ascii_digit() || c == b'-';
    let end = |c: u8| c.is_ascii_lowercase() || c.is_ascii_digit();
    match id.as_bytes() {
        [first, middle @ .., last] => id.len() <= 63 && lower(*first) && middle.iter().all(|c| inner(*c)) && end(*last),
        _ => false,
    }
}

fn is_uuid(id: &str) -> bool {
    id.len() == 36
        && id.bytes().enumerate().all(|(i, c)| {
            if matches!(i, 8 | 13 | 18 | 23) {
                c == b'-'
            } else {
                matches!(c, b'0'..=b'9' | b'a'..=b'f')
            }
        })
}

/// At most 80 characters of something hostile.
fn shown(text: &str) -> String {
    text.chars().take(80).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_what_the_api_says() {
        for good in ["a7", "fork-left", "ab", &"a".repeat(63)] {
            assert!(parse("springs", &format!("springs/{good}")).is_some(), "{good}");
        }
        for bad in ["a", "7a", "A7", "a_b", "a-", "", "a7/b", &"a".repeat(64)] {
            assert!(parse("springs", &format!("springs/{bad}")).is_none(), "{bad}");
        }
        assert_eq!(parse("springs", "springs/a7@12").unwrap().revision, Some(12));
        assert!(parse("springs", "springs/a7@0").is_none());
        assert!(parse("springs", "runs/a7").is_none());
        assert!(parse("runs", "runs/1b4e28ba-2fa1-41d2-883f-0016d3cca427").is_some());
    }
}
