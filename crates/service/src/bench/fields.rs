//! Update masks: which fields of a record a change is about.

use wire::v1::ViolationReason as Reason;
use wire::violation::Violations;

/// A field of a record that a mask can name.
pub(super) struct Field<M: 'static, B: 'static> {
    pub(super) name: &'static str,
    pub(super) populated: fn(&M) -> bool,
    pub(super) copy: fn(&B, &mut B),
}

/// The fields of a record: each with whether a message has it, and where in its content it stands.
macro_rules! fields {
    ($($field:ident: $populated:expr;)*) => {
        &[$($crate::bench::fields::Field {
            name: stringify!($field),
            populated: $populated,
            copy: |from, to| to.$field.clone_from(&from.$field),
        }),*]
    };
}
pub(super) use fields;

/// The fields an update changes: those of the mask, every one for `*`, the populated ones without a mask.
pub(super) fn chosen<M, B>(
    mask: Option<&prost_types::FieldMask>,
    all: &'static [Field<M, B>],
    message: &M,
    violations: &mut Violations,
) -> Vec<&'static Field<M, B>> {
    let paths = mask.map(|mask| mask.paths.as_slice()).unwrap_or_default();
    if paths.is_empty() {
        return all.iter().filter(|field| (field.populated)(message)).collect();
    }
    if paths == ["*"] {
        return all.iter().collect();
    }
    let known = || all.iter().map(|field| field.name).collect::<Vec<_>>().join(", ");
    let mut chosen = Vec::new();
    for (index, path) in paths.iter().enumerate() {
        match all.iter().find(|field| field.name == path) {
            Some(field) => chosen.push(field),
            None => {
                let shown: String = path.chars().take(80).collect();
                violations.at("update_mask").at("paths").index(index).push(
                    Reason::UnknownName,
                    format_args!("\"{shown}\" cannot be changed; allowed \"*\" alone or {}", known()),
                );
            }
        }
    }
    chosen
}
