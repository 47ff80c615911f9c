//! JSON documents one after another, each with its place, so that a fault is said with line, column and field.

use std::fs::File;
use std::io::{BufRead, BufReader, stdin};

use prost_reflect::{DynamicMessage, MessageDescriptor};

use crate::fail::Fail;

/// A source of documents: a file, or stdin for `-`.
pub(crate) struct Documents {
    source: String,
    reader: Box<dyn BufRead + Send>,
    line: usize,
}

/// One document as it stands in its source.
struct Document {
    text: String,
    first_line: usize,
}

impl Documents {
    /// Opens a file, or stdin for `-`.
    pub(crate) fn open(source: &str) -> Result<Self, Fail> {
        let (source, reader): (_, Box<dyn BufRead + Send>) = if source == "-" {
            ("stdin".to_owned(), Box::new(BufReader::new(stdin())))
        } else {
            let file = File::open(source).map_err(|fault| Fail::at(source, fault))?;
            (source.to_owned(), Box::new(BufReader::new(file)))
        };
        Ok(Self {
            source,
            reader,
            line: 1,
        })
    }

    /// The next document as a message; none at the end.
    pub(crate) fn next(&mut self, kind: &MessageDescriptor) -> Result<Option<DynamicMessage>, Fail> {
        match self.next_document()? {
            Some(document) => message(kind, &self.source, &document).map(Some),
            None => Ok(None),
        }
    }

    /// The only document as a message.
    pub(crate) fn only(&mut self, kind: &MessageDescriptor) -> Result<DynamicMessage, Fail> {
        let message = self.next(kind)?;
        let message = message.ok_or_else(|| Fail::error(format!("{}: no JSON document in it", self.source)))?;
        match self.next_document()? {
            None => Ok(message),
            Some(further) => Err(Fail::error(format!(
                "{}, line {}: a second document, but this call takes one",
                self.source, further.first_line
            ))),
        }
    }

    /// Reads up to the end of one document: where the braces close, or for anything else the end of its line.
    fn next_document(&mut self) -> Result<Option<Document>, Fail> {
        let mut scan = Scan::default();
        let mut bytes = Vec::new();
        let mut first_line = self.line;
        loop {
            let chunk = self.reader.fill_buf().map_err(|fault| Fail::at(&self.source, fault))?;
            if chunk.is_empty() {
                break;
            }
            let mut used = 0;
            let mut ended = false;
            for &byte in chunk {
                used += 1;
                self.line += usize::from(byte == b'\n');
                if bytes.is_empty() && byte.is_ascii_whitespace() {
                    first_line = self.line;
                    continue;
                }
                bytes.push(byte);
                ended = scan.ends_with(byte);
                if ended {
                    break;
                }
            }
            self.reader.consume(used);
            if ended {
                break;
            }
        }
        if bytes.is_empty() {
            return Ok(None);
        }
        let text = String::from_utf8(bytes)
            .map_err(|_| Fail::error(format!("{}, line {first_line}: the text is not UTF-8", self.source)))?;
        Ok(Some(Document { text, first_line }))
    }
}

/// Follows braces, brackets and strings.
#[derive(Default)]
struct Scan {
    depth: usize,
    in_text: bool,
    escaped: bool,
}

impl Scan {
    /// Takes a byte; whether the document ends with it.
    fn ends_with(&mut self, byte: u8) -> bool {
        if self.in_text {
            match (self.escaped, byte) {
                (true, _) => self.escaped = false,
                (false, b'\\') => self.escaped = true,
                (false, b'"') => self.in_text = false,
                _ => {}
            }
            return false;
        }
        match byte {
            b'"' => self.in_text = true,
            b'{' | b'[' => self.depth += 1,
            b'}' | b']' => {
                self.depth = self.depth.saturating_sub(1);
                return self.depth == 0;
            }
            b'\n' => return self.depth == 0,
            _ => {}
        }
        false
    }
}

fn message(kind: &MessageDescriptor, source: &str, document: &Document) -> Result<DynamicMessage, Fail> {
    let mut json = serde_json::Deserializer::from_str(&document.text);
    let read = DynamicMessage::deserialize(kind.clone(), &mut json);
    let read = read.and_then(|message| json.end().map(|()| message));
    read.map_err(|fault| {
        let (line, column) = (fault.line(), fault.column());
        let words = fault.to_string();
        let words = words
            .strip_suffix(&format!(" at line {line} column {column}"))
            .unwrap_or(&words);
        let at = field_at(&document.text, line, column);
        let field = if at.is_empty() {
            String::new()
        } else {
            format!(", field {at}")
        };
        let line = document.first_line + line.saturating_sub(1);
        Fail::error(format!(
            "{source}, line {line} column {column}{field}: {words} ({})",
            kind.name()
        ))
    })
}

/// The path of the field that stands at a place of a JSON text, such as `samples.loads[4]`.
fn field_at(text: &str, line: usize, column: usize) -> String {
    let before: usize = text
        .split_inclusive('\n')
        .take(line.saturating_sub(1))
        .map(str::len)
        .sum();
    let end = (before + column).min(text.len());
    let mut path: Vec<Step> = Vec::new();
    let mut scan = Scan::default();
    let mut word = Vec::new();
    for &byte in text.as_bytes().get(..end).unwrap_or_default() {
        let was_text = scan.in_text;
        scan.ends_with(byte);
        match (was_text, scan.in_text) {
            (false, true) => word.clear(),
            (true, true) => word.push(byte),
            (true, false) => {
                if let Some(Step::Field { name, wants_name: true }) = path.last_mut() {
                    *name = String::from_utf8_lossy(&word).into_owned();
                }
            }
            (false, false) => step(&mut path, byte),
        }
    }
    path.iter().fold(String::new(), |path, step| match step {
        Step::Field { name, .. } if path.is_empty() || name.is_empty() => path + name,
        Step::Field { name, .. } => path + "." + name,
        Step::Item(index) => format!("{path}[{index}]"),
    })
}

/// Where a scan stands in one level of nesting.
enum Step {
    Field { name: String, wants_name: bool },
    Item(usize),
}

fn step(path: &mut Vec<Step>, byte: u8) {
    match byte {
        b'{' => path.push(Step::Field {
            name: String::new(),
            wants_name: true,
        }),
        b'[' => path.push(Step::Item(0)),
        b'}' | b']' => {
            path.pop();
        }
        b':' => {
            if let Some(Step::Field { wants_name, .. }) = path.last_mut() {
                *wants_name = false;
            }
        }
        b',' => match path.last_mut() {
            Some(Step::Field { wants_name, .. }) => *wants_name = true,
            Some(Step::Item(index)) => *index += 1,
            None => {}
        },
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::*;

    fn documents(text: &'static str) -> Documents {
        Documents {
            source: "test".to_owned(),
            reader: Box::new(Cursor::new(text)),
            line: 1,
        }
    }

    fn fault(text: &'static str) -> String {
        let kind = crate::api::method("SpringService/ReduceRun").unwrap().input();
        match documents(text).only(&kind) {
            Err(Fail::Error(words)) => words,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn documents_follow_each_other_with_or_without_line_ends() {
        let kind = crate::api::method("RackService/GetSpring").unwrap().input();
        let mut documents = documents("{\"name\":\"springs/a}\"}{\"name\":\"springs/b\\\"\"}\n\n{\n}\n ");
        let mut names = Vec::new();
        while let Some(message) = documents.next(&kind).unwrap() {
            names.push(message.get_field_by_name("name").unwrap().as_str().unwrap().to_owned());
        }
        assert_eq!(names, ["springs/a}", "springs/b\"", ""]);
    }

    #[test]
    fn a_wrong_value_is_said_with_line_and_field() {
        let words = fault("{\n \"samples\": {\n  \"deflections\": [1, 2],\n  \"loads\": [1, true]}}");
        assert!(
            words.contains("line 4") && words.contains("samples.loads[1]"),
            "{words}"
        );
    }

    #[test]
    fn an_unknown_field_is_named_where_it_stands() {
        let words = fault("\n{\"window\": {\"share\": {\"from\": 0.3}}}");
        assert!(
            words.contains("line 2") && words.contains("window.share.from"),
            "{words}"
        );
    }

    #[test]
    fn text_that_is_no_json_is_refused_with_its_place() {
        let words = fault("\n{\"run\" \"runs/r1\"}\n");
        assert!(words.contains("line 2 column 8"), "{words}");
    }
}
