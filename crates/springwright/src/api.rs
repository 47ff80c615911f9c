//! The API's own description: services, calls, the words beside them.

use std::sync::OnceLock;

use prost_reflect::{Cardinality, DescriptorPool, FileDescriptor, Kind, MessageDescriptor, MethodDescriptor};

use crate::fail::Fail;

/// The API's package.
pub(crate) const PACKAGE: &str = "springwright.v1";

/// Every service and message of the API.
pub(crate) fn pool() -> Result<&'static DescriptorPool, Fail> {
    static POOL: OnceLock<Result<DescriptorPool, String>> = OnceLock::new();
    POOL.get_or_init(|| DescriptorPool::decode(wire::COMMENTED_DESCRIPTORS).map_err(|fault| fault.to_string()))
        .as_ref()
        .map_err(|fault| Fail::at("the API's description cannot be read", fault))
}

/// Every call of the API.
pub(crate) fn methods() -> Result<Vec<MethodDescriptor>, Fail> {
    let services = pool()?.services().filter(|service| service.package_name() == PACKAGE);
    Ok(services
        .flat_map(|service| service.methods().collect::<Vec<_>>())
        .collect())
}

/// The call named `Service/Method`, with or without the package; `.` is taken for `/` before the method.
pub(crate) fn method(name: &str) -> Result<MethodDescriptor, Fail> {
    let bare = name.trim_start_matches('/');
    let bare = bare
        .strip_prefix(PACKAGE)
        .and_then(|rest| rest.strip_prefix('.'))
        .unwrap_or(bare);
    let (service, call) = bare.split_once(['/', '.']).unwrap_or((bare, ""));
    let known = methods()?;
    let of_service: Vec<_> = known
        .iter()
        .filter(|method| method.parent_service().name() == service)
        .collect();
    if let Some(found) = of_service.iter().find(|method| method.name() == call) {
        return Ok((*found).clone());
    }
    if of_service.is_empty() {
        return Err(Fail::error(format!(
            "no service \"{service}\"; known calls:\n{}",
            listing(&known)
        )));
    }
    let of_service: Vec<_> = of_service.into_iter().cloned().collect();
    Err(Fail::error(format!(
        "{service} has no call \"{call}\"; known:\n{}",
        listing(&of_service)
    )))
}

/// One call a line.
pub(crate) fn listing(methods: &[MethodDescriptor]) -> String {
    let lines = methods.iter().map(|method| {
        let shape = match (method.is_client_streaming(), method.is_server_streaming()) {
            (false, false) => "",
            (false, true) => "  (replies stream)",
            (true, false) => "  (requests stream)",
            (true, true) => "  (both stream)",
        };
        format!("  {}/{}{shape}", method.parent_service().name(), method.name())
    });
    lines.collect::<Vec<_>>().join("\n")
}

/// The path of a call on the wire.
pub(crate) fn wire_path(method: &MethodDescriptor) -> String {
    format!("/{}/{}", method.parent_service().full_name(), method.name())
}

/// Whether a call only computes: such a call needs no server when it is given values.
pub(crate) fn is_calculation(method: &MethodDescriptor) -> bool {
    method.input().get_field_by_name("reply_units").is_some()
}

/// Whether a message is a record that a server keeps.
pub(crate) fn is_record(message: &MessageDescriptor) -> bool {
    let named = |number, name| message.get_field(number).is_some_and(|field| field.name() == name);
    named(1, "name") && named(2, "uid") && named(3, "etag")
}

/// Whether a message is a quantity: a value and a unit of its own.
pub(crate) fn is_quantity(message: &MessageDescriptor) -> bool {
    message.fields().len() == 2
        && message
            .get_field(1)
            .is_some_and(|field| field.name() == "value" && matches!(field.kind(), Kind::Double))
        && message.get_field(2).is_some_and(|field| {
            matches!(field.kind(), Kind::Enum(unit) if unit.parent_message().is_some_and(|parent| parent == *message))
                && field.cardinality() != Cardinality::Repeated
        })
}

/// The words that stand beside something in the API's source, as one line.
pub(crate) fn words(file: &FileDescriptor, path: &[i32]) -> String {
    let source = file.file_descriptor_proto().source_code_info.as_ref();
    let location = source.and_then(|info| info.location.iter().find(|location| location.path == path));
    let comment = location
        .and_then(|location| location.leading_comments.clone())
        .unwrap_or_default();
    comment.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// `GetSpring` as `get-spring`, `from_block` as `from-block`.
pub(crate) fn kebab(name: &str) -> String {
    let mut kebab = String::with_capacity(name.len() + 4);
    for (index, letter) in name.char_indices() {
        if letter.is_ascii_uppercase() && index > 0 {
            kebab.push('-');
        }
        kebab.push(if letter == '_' {
            '-'
        } else {
            letter.to_ascii_lowercase()
        });
    }
    kebab
}
