//! Page tokens: where a list goes on. They are opaque to clients, fit one list and one filter, and hold nothing secret.

use store::record::RecordId;
use store::{Cursor, Moment};
use wire::v1::ViolationReason as Reason;
use wire::violation::Violations;

/// Where a list goes on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Token {
    /// Behind this record.
    Record {
        /// Its id.
        id: String,
        /// When it was made, nanoseconds.
        made: i64,
    },
    /// Before this revision.
    Revision(u64),
}

impl Token {
    /// Of a cursor.
    pub(crate) fn of_cursor(cursor: Cursor) -> Self {
        Self::Record {
            id: cursor.id.as_str().to_owned(),
            made: cursor.create_time.as_nanos(),
        }
    }

    /// Of a revision.
    pub(crate) fn of_revision(revision: u64) -> Self {
        Self::Revision(revision)
    }

    /// As a cursor.
    pub(crate) fn cursor(self) -> Option<Cursor> {
        match self {
            Self::Record { id, made } => Some(Cursor {
                id: RecordId::parse(&id)?,
                create_time: Moment::from_nanos(made),
            }),
            Self::Revision(_) => None,
        }
    }

    /// As a revision.
    pub(crate) fn revision(self) -> Option<u64> {
        match self {
            Self::Revision(revision) => Some(revision),
            Self::Record { .. } => None,
        }
    }
}

/// Writes a token; nothing more to come is the empty one.
pub(crate) fn write(token: Option<Token>, filter: &str) -> String {
    let body = match token {
        None => return String::new(),
        Some(Token::Record { id, made }) => format!("r.{made}.{id}"),
        Some(Token::Revision(revision)) => format!("n.{revision}."),
    };
    format!("{:08x}.{body}", sum(&body, filter))
}

/// Reads a token of the same list and filter; the empty one starts at the beginning.
pub(crate) fn read(text: &str, filter: &str, violations: &mut Violations) -> Option<Token> {
    if text.is_empty() {
        return None;
    }
    let token = parse(text, filter);
    if token.is_none() {
        violations.push(
            "page_token",
            Reason::UnknownName,
            "not a token of this list with these filters; start again without one",
        );
    }
    token
}

fn parse(text: &str, filter: &str) -> Option<Token> {
    let (digits, body) = text.split_once('.')?;
    if u32::from_str_radix(digits, 16).ok()? != sum(body, filter) {
        return None;
    }
    let mut parts = body.splitn(3, '.');
    match (parts.next()?, parts.next()?, parts.next()?) {
        ("r", made, id) => Some(Token::Record {
            id: id.to_owned(),
            made: made.parse().ok()?,
        }),
        ("n", revision, "") => Some(Token::Revision(revision.parse().ok()?)),
        _ => None,
    }
}

fn sum(body: &str, filter: &str) -> u32 {
    crc32c::crc32c_append(crc32c::crc32c(filter.as_bytes()), body.as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_fits_its_own_list_only() {
        let token = Token::Record {
            id: "a7".to_owned(),
            made: 12,
        };
        let text = write(Some(token.clone()), "springs|false|");
        let read_as = |text: &str, filter: &str| read(text, filter, &mut Violations::new());
        assert_eq!(read_as(&text, "springs|false|"), Some(token));
        let mut violations = Violations::new();
        assert_eq!(read(&text, "springs|true|", &mut violations), None);
        assert_eq!(violations.count(), 1);
        assert_eq!(read_as("r.12.a7", ""), None);
    }
}
