//! Short flags of the verbs on valving.

use super::bench::Flag;

/// Flags of a stack at a path of the request.
pub(super) fn stack_flags(at: &str) -> Vec<Flag> {
    let flag = |name: &str, path: &str, help: &str| Flag::new(name, &format!("{at}.{path}"), help);
    vec![
        Flag::many(
            "shims",
            &format!("{at}.layers"),
            "The stack from the piston outward, OUTERxTHICKNESS*COUNT, such as \"30x0.15*2, 26x0.15 mm\"",
        ),
        flag(
            "clamp",
            "clamp.diameter",
            "Diameter the stack is clamped at, such as 14mm",
        ),
        flag(
            "radial-hold",
            "clamp.radial_hold",
            "Whether the clamp holds the shims radially: held or free",
        ),
        flag("port-inner", "faces.port_inner_diameter", "Inner diameter of the ports"),
        flag("port-outer", "faces.port_outer_diameter", "Outer diameter of the ports"),
        flag(
            "land-outer",
            "faces.land_outer_diameter",
            "Diameter at which the pressure over the land is zero",
        ),
        flag(
            "coverage",
            "faces.coverage_ratio",
            "Share of the annulus that is port, such as 70%",
        ),
        flag("seat-inner", "seat.inner_diameter", "Inner diameter of the seat"),
        flag("seat-outer", "seat.outer_diameter", "Outer diameter of the seat"),
        flag(
            "seat-height",
            "seat.height",
            "Height of the seat above the clamped face; raised is positive",
        ),
        flag(
            "seat-dish",
            "seat.dish",
            "Height of the seat's outer edge over its inner one",
        ),
        flag(
            "stop-outer",
            "stop.outer_diameter",
            "Outer diameter of a stop above the stack",
        ),
        flag(
            "stop-clearance",
            "stop.clearance",
            "Room between the flat stack and the stop",
        ),
        flag(
            "stress-limit",
            "stress_limit",
            "Stress at the clamp that a shim shall not pass, such as 1200MPa",
        ),
        flag("modulus", "modulus", "Young's modulus of the shims; left out: 205 GPa"),
        flag(
            "poisson",
            "poisson_ratio",
            "Poisson's ratio of the shims; left out: 0.29",
        ),
    ]
}

/// Flags of SolveStack.
pub(super) fn solve_stack() -> Vec<Flag> {
    let mut flags = vec![Flag::new(
        "stack",
        "stack",
        "A stack of the drawer, such as stacks/mid; needs --server",
    )];
    flags.extend(stack_flags("values"));
    flags.extend([
        Flag::many(
            "pressure",
            "pressures",
            "A pressure over the face shim; give it again for more",
        ),
        Flag::new("to", "max_pressure", "Even steps up to this pressure"),
        Flag::new("points", "point_count", "How many steps up to it; left out: 24"),
        Flag::new(
            "method",
            "method",
            "large-deflection, or small-deflection: fast, right for small lifts",
        ),
        Flag::new("rings", "ring_count", "Rings over the widest span; left out: 24"),
    ]);
    flags
}
