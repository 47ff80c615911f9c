//! What is wrong with a request: every fault at once, each with its field path, within a bound.

use std::fmt::{self, Write as _};

use crate::v1::ViolationReason;

/// Violations that are kept. Standard clients refuse trailers from 8 KiB on, so a reply names this many and counts the
/// others.
pub const MAX_VIOLATIONS: usize = 24;

/// Bytes that all violations of a reply may take in protobuf. With the rest of the status they stay below 4 KiB.
pub const MAX_VIOLATION_BYTES: usize = 3 * 1024;

/// Bytes of a field path or of a description that are kept.
pub const MAX_TEXT_BYTES: usize = 512;

/// One fault of a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Violation {
    /// Proto path of the field, `columns[1].values[204]`.
    pub field: String,
    /// What kind of fault it is.
    pub reason: ViolationReason,
    /// The fault in words: "name is value unit; allowed low to high unit".
    pub description: String,
}

impl Violation {
    /// The reason as it is sent: the enum value's name without its prefix.
    pub fn reason_text(&self) -> &'static str {
        let name = self.reason.as_str_name();
        name.strip_prefix("VIOLATION_REASON_").unwrap_or(name)
    }

    /// Stands for `count` violations that were left out.
    fn more(count: usize) -> Self {
        Self {
            field: String::new(),
            reason: ViolationReason::More,
            description: format!("{count} more"),
        }
    }

    /// How many faults this one stands for: more than one only for MORE.
    fn stands_for(&self) -> usize {
        let counted = self.description.split(' ').next().and_then(|count| count.parse().ok());
        if self.reason == ViolationReason::More {
            counted.unwrap_or(1)
        } else {
            1
        }
    }

    /// Bytes in protobuf, rounded up: three texts, each with a tag and a length, in a message with a tag and a length.
    fn encoded_bytes(&self) -> usize {
        const TAGS_AND_LENGTHS: usize = 4 * 3;
        self.field.len() + self.description.len() + self.reason_text().len() + TAGS_AND_LENGTHS
    }
}

/// Gathers the faults of one request. Beyond [`MAX_VIOLATIONS`] and [`MAX_VIOLATION_BYTES`] it only counts: a million
/// bad values cost no more memory than twenty-four.
///
/// Fields are reached by path; a path is rendered only for a fault that is kept, so going through good values costs
/// nothing. `violations.at("columns").index(1).push(...)` notes one fault; a conversion takes a [`Scope`] and hands
/// scopes of its fields on: `read_rate(&spring.rate, scope.at("rate"))`.
#[derive(Debug, Default)]
pub struct Violations {
    kept: Vec<Violation>,
    kept_bytes: usize,
    left_out: usize,
}

impl Violations {
    /// None yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// The request as a whole.
    pub fn root(&mut self) -> Scope<'_> {
        Scope {
            violations: self,
            path: Path::Root,
        }
    }

    /// A field of the request.
    pub fn at<'a>(&'a mut self, field: &'a str) -> Scope<'a> {
        Scope {
            violations: self,
            path: Path::Field(&Path::Root, field),
        }
    }

    /// Notes a fault of the field at `path`. Path and description are rendered only while there is room: give
    /// `format_args!(...)` rather than a `String`.
    pub fn push(&mut self, path: impl fmt::Display, reason: ViolationReason, description: impl fmt::Display) {
        if self.is_full() {
            self.left_out = self.left_out.saturating_add(1);
            return;
        }
        self.add(Violation {
            field: bounded(path, MAX_TEXT_BYTES),
            reason,
            description: bounded(description, MAX_TEXT_BYTES),
        });
    }

    /// Takes over a violation found elsewhere. One that counts others (MORE) is added to the count.
    pub fn add(&mut self, violation: Violation) {
        let bytes = self.kept_bytes.saturating_add(violation.encoded_bytes());
        if violation.reason == ViolationReason::More || self.is_full() || bytes > MAX_VIOLATION_BYTES {
            self.left_out = self.left_out.saturating_add(violation.stands_for());
            return;
        }
        self.kept_bytes = bytes;
        self.kept.push(violation);
    }

    /// How many faults were found, those left out included.
    pub fn count(&self) -> usize {
        self.kept.len().saturating_add(self.left_out)
    }

    /// Whether nothing was found.
    pub fn is_empty(&self) -> bool {
        self.count() == 0
    }

    /// Ends the gathering.
    ///
    /// # Errors
    /// The violations in the order found, when there are any; after them one with the reason MORE that counts those
    /// left out.
    pub fn finish(self) -> Result<(), Vec<Violation>> {
        let Self { mut kept, left_out, .. } = self;
        if left_out > 0 {
            kept.push(Violation::more(left_out));
        }
        if kept.is_empty() { Ok(()) } else { Err(kept) }
    }

    /// Once one was left out so are all after it: those kept are the first ones, without holes.
    fn is_full(&self) -> bool {
        self.left_out > 0 || self.kept.len() >= MAX_VIOLATIONS
    }
}

/// A place in a request where faults are noted.
#[derive(Debug)]
pub struct Scope<'a> {
    violations: &'a mut Violations,
    path: Path<'a>,
}

impl Scope<'_> {
    /// The field of that name within this message.
    pub fn at<'b>(&'b mut self, field: &'b str) -> Scope<'b> {
        Scope {
            violations: self.violations,
            path: Path::Field(&self.path, field),
        }
    }

    /// The element of that number, from 0, of this repeated field.
    pub fn index(&mut self, index: usize) -> Scope<'_> {
        Scope {
            violations: self.violations,
            path: Path::Index(&self.path, index),
        }
    }

    /// This place again, for a function that takes its scope.
    pub fn here(&mut self) -> Scope<'_> {
        Scope {
            violations: self.violations,
            path: self.path,
        }
    }

    /// Notes a fault here. The description is rendered only while there is room: give `format_args!(...)`.
    pub fn push(&mut self, reason: ViolationReason, description: impl fmt::Display) {
        self.violations.push(self.path, reason, description);
    }

    /// How many faults the whole request has so far: unchanged over a conversion, that conversion found none.
    pub fn count(&self) -> usize {
        self.violations.count()
    }
}

/// The path as it is printed, for descriptions.
impl fmt::Display for Scope<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.path.fmt(f)
    }
}

/// A field path, as a chain that lives on the stack of the conversions going through the message.
#[derive(Debug, Clone, Copy)]
enum Path<'a> {
    Root,
    Field(&'a Path<'a>, &'a str),
    Index(&'a Path<'a>, usize),
}

impl fmt::Display for Path<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Path::Root => Ok(()),
            Path::Field(Path::Root, field) => f.write_str(field),
            Path::Field(parent, field) => write!(f, "{parent}.{field}"),
            Path::Index(parent, index) => write!(f, "{parent}[{index}]"),
        }
    }
}

/// The text, cut at that many bytes while it is rendered: it may quote what a hostile client sent.
pub fn bounded(text: impl fmt::Display, bytes: usize) -> String {
    let mut cut = Cut {
        kept: String::new(),
        bytes,
    };
    let ended = write!(cut, "{text}");
    let mut kept = cut.kept;
    if ended.is_err() {
        kept.push('…');
    }
    kept
}

/// Takes text until it is full, then refuses the rest.
struct Cut {
    kept: String,
    bytes: usize,
}

impl fmt::Write for Cut {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        let room = self.bytes.saturating_sub(self.kept.len() + '…'.len_utf8());
        let fitting = (0..=room.min(text.len()))
            .rev()
            .find(|&end| text.is_char_boundary(end))
            .unwrap_or(0);
        self.kept.push_str(text.get(..fitting).unwrap_or_default());
        if fitting < text.len() { Err(fmt::Error) } else { Ok(()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fault_names_its_field_by_path() {
        let mut violations = Violations::new();
        let mut columns = violations.at("columns");
        let mut column = columns.index(1);
        for index in [204, 205] {
            column
                .at("values")
                .index(index)
                .push(ViolationReason::NotFinite, "values is NaN");
        }
        column.push(ViolationReason::WrongLength, format_args!("{} values", 2));
        let found = violations.finish().unwrap_err();
        let fields: Vec<_> = found.iter().map(|one| one.field.as_str()).collect();
        assert_eq!(
            fields,
            ["columns[1].values[204]", "columns[1].values[205]", "columns[1]"]
        );
        assert_eq!(found[2].description, "2 values");
        assert_eq!(found[0].reason_text(), "NOT_FINITE");
    }

    #[test]
    fn request_without_faults_passes() {
        assert_eq!(Violations::new().finish(), Ok(()));
    }

    #[test]
    fn million_faults_are_counted_without_rendering_them() {
        struct Counted<'a>(&'a std::cell::Cell<usize>);
        impl fmt::Display for Counted<'_> {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.set(self.0.get() + 1);
                f.write_str("values is NaN")
            }
        }
        let rendered = std::cell::Cell::new(0);
        let mut violations = Violations::new();
        for index in 0..1_000_000 {
            violations
                .at("values")
                .index(index)
                .push(ViolationReason::NotFinite, Counted(&rendered));
        }
        assert_eq!(violations.count(), 1_000_000);
        let found = violations.finish().unwrap_err();
        assert_eq!(rendered.get(), MAX_VIOLATIONS);
        assert_eq!(found.len(), MAX_VIOLATIONS + 1);
        let last = found.last().unwrap();
        assert_eq!(
            (last.reason, last.description.as_str()),
            (ViolationReason::More, "999976 more")
        );
    }

    #[test]
    fn long_texts_are_cut_and_share_one_budget() {
        let mut violations = Violations::new();
        for _ in 0..10 {
            violations
                .at("notes")
                .push(ViolationReason::WrongLength, "ä".repeat(1_000_000));
        }
        let found = violations.finish().unwrap_err();
        assert!(found.iter().all(|one| one.description.len() <= MAX_TEXT_BYTES));
        assert!(found.first().unwrap().description.ends_with("ä…"));
        let bytes: usize = found.iter().map(|one| one.field.len() + one.description.len()).sum();
        assert!(bytes <= MAX_VIOLATION_BYTES, "{bytes} bytes");
        assert_eq!(found.len() - 1 + found.last().unwrap().stands_for(), 10);
    }

    #[test]
    fn list_gathered_twice_keeps_its_count() {
        let mut first = Violations::new();
        for index in 0..30 {
            first
                .at("values")
                .index(index)
                .push(ViolationReason::NotFinite, "values is NaN");
        }
        let found = first.finish().unwrap_err();
        let mut second = Violations::new();
        found.iter().cloned().for_each(|one| second.add(one));
        assert_eq!(second.finish(), Err(found));
    }
}
