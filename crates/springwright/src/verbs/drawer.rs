//! Short flags of the verbs on the drawer.

use super::bench::Flag;
use super::valving::{damper_flags, stack_flags};

/// The flags that make a change safe to repeat, and with which revision it counts.
fn of_change(etag: Option<&str>) -> Vec<Flag> {
    let request = "A UUID that makes a retry the same change; left out: one is chosen and said";
    let mut flags = vec![Flag::new("request-id", "request_id", request)];
    flags.extend(etag.map(|path| Flag::new("etag", path, "When given, must be the record's current one")));
    flags
}

/// What a record is called by: its id where it is made, its name where it is changed.
fn called(method: &str, field: &str, collection: &str) -> Vec<Flag> {
    if method.starts_with("Create") {
        let help = format!("Its id, such as {}; left out: the server chooses", example(collection));
        let mut flags = vec![Flag::new("id", &format!("{field}_id"), &help)];
        flags.extend(of_change(None));
        return flags;
    }
    let help = format!("Its name, such as {collection}/{}", example(collection));
    let mut flags = vec![
        Flag::new("name", &format!("{field}.name"), &help),
        Flag::new(
            "update-mask",
            "update_mask",
            "Fields to change, such as label,notes; left out: those given",
        ),
    ];
    flags.extend(of_change(Some(&format!("{field}.etag"))));
    flags
}

fn example(collection: &str) -> &str {
    match collection {
        "shimLots" => "face-30",
        "stacks" => "mid",
        _ => "rear",
    }
}

fn words(field: &str) -> [Flag; 2] {
    [
        Flag::new("label", &format!("{field}.label"), "What the shop calls it"),
        Flag::new("notes", &format!("{field}.notes"), "Free words"),
    ]
}

/// Flags of a lot.
pub(super) fn shim_lot(method: &str) -> Vec<Flag> {
    let flag = |name: &str, path: &str, help: &str| Flag::new(name, &format!("shim_lot.{path}"), help);
    let mut flags = called(method, "shim_lot", "shimLots");
    flags.extend(words("shim_lot"));
    flags.extend([
        flag("outer", "outer_diameter", "Outer diameter, such as 30mm"),
        flag("bore", "inner_diameter", "Bore"),
        flag("thickness", "thickness", "Thickness of one shim, such as 0.15mm"),
        flag("material", "material", "Material, in words"),
        flag("place", "drawer_place", "Where it lies"),
    ]);
    if method.starts_with("Create") {
        flags.push(flag("count", "count", "Shims in the drawer"));
    }
    flags
}

/// Flags of AdjustShimCount.
pub(super) fn adjust_shim_count() -> Vec<Flag> {
    let mut flags = vec![
        Flag::new("lot", "name", "The lot, such as shimLots/face-30"),
        Flag::new("by", "change", "Shims put in, or taken out: 20 or -3"),
    ];
    flags.extend(of_change(Some("etag")));
    flags
}

/// Flags of a stack.
pub(super) fn stack(method: &str) -> Vec<Flag> {
    let mut flags = called(method, "stack", "stacks");
    flags.extend(words("stack"));
    flags.extend(stack_flags("stack"));
    flags
}

/// Flags of BuildStack and UnbuildStack.
pub(super) fn build(method: &str) -> Vec<Flag> {
    let mut flags = vec![Flag::new("stack", "name", "The stack, such as stacks/mid")];
    if method == "BuildStack" {
        let help = "A lot to take from, such as shimLots/face-30; left out: found by dimensions";
        flags.push(Flag::many("lot", "lots", help));
    }
    flags.extend(of_change(Some("etag")));
    flags
}

/// Flags of a damper.
pub(super) fn damper(method: &str) -> Vec<Flag> {
    let mut flags = called(method, "damper", "dampers");
    flags.extend(words("damper"));
    flags.extend(damper_flags("damper"));
    flags
}
