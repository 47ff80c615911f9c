//! Update masks: which fields of a record a change is about.

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
    let names: Vec<&str> = all.iter().map(|field| field.name).collect();
    let named = super::masked(paths, &names, violations);
    named.into_iter().filter_map(|index| all.get(index)).collect()
}
