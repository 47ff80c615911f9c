//! Short flags of the verbs on valving.

use super::bench::Flag;

/// Flags of a stack at a path of the request.
pub(super) fn stack_flags(at: &str) -> Vec<Flag> {
    let mut flags = vec![Flag::many(
        "shims",
        &format!("{at}.layers"),
        "The stack from the piston outward, OUTERxTHICKNESS*COUNT, such as \"30x0.15*2, 26x0.15 mm\"",
    )];
    flags.extend(around_stack(at));
    flags
}

/// Flags of what is around the shims of a stack.
fn around_stack(at: &str) -> Vec<Flag> {
    let flag = |name: &str, path: &str, help: &str| Flag::new(name, &format!("{at}.{path}"), help);
    vec![
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

/// Flags of CompareStacks: what is said of piston and clamp holds for each side that is given as text.
pub(super) fn compare_stacks() -> Vec<Flag> {
    let side = |name: &str, help: &str| {
        let (named, text) = (format!("{name}.stack"), format!("{name}.stack_values.layers"));
        Flag::stack(name, &named, &text, help)
    };
    let mut flags = vec![
        side("first", "What is there: a stack's name, or its shims as text"),
        side("second", "What is to be: a stack's name, or its shims as text"),
        Flag::new(
            "first-damper",
            "first.damper",
            "A damper that is there, such as dampers/rear",
        ),
        Flag::new("second-damper", "second.damper", "A damper that is to be"),
    ];
    let around = around_stack("first.stack_values");
    flags.extend(
        around
            .into_iter()
            .zip(around_stack("second.stack_values"))
            .map(|(first, second)| Flag {
                also: Some(second.path),
                ..first
            }),
    );
    flags.extend([
        Flag::many(
            "pressure",
            "pressures",
            "Low, middle and high pressure: give it three times",
        ),
        Flag::many(
            "velocity",
            "shaft_velocities",
            "Low, middle and high velocity of dampers: give it three times",
        ),
        Flag::new(
            "points",
            "point_count",
            "Points of the curve in each stroke; left out: 24",
        ),
        Flag::new("oil-temperature", "temperature", "Of the oil; left out: 40 degC"),
    ]);
    flags.extend(oil_flags("oil"));
    flags
}

/// What is around the shims is not said of a side that has a name.
pub(super) fn keep_named(entries: &mut Vec<(String, String, String)>) {
    for side in ["first", "second"] {
        let named = |path: &str| path == format!("{side}.stack") || path == format!("{side}.damper");
        if entries.iter().any(|(_, path, _)| named(path)) {
            let values = format!("{side}.stack_values.");
            entries.retain(|(_, path, _)| !path.starts_with(&values));
        }
    }
}

/// Flags of an oil at a path.
fn oil_flags(at: &str) -> Vec<Flag> {
    let flag = |name: &str, path: &str, help: &str| Flag::new(name, &format!("{at}.{path}"), help);
    vec![
        flag(
            "viscosity",
            "first.viscosity",
            "Kinematic viscosity by the data sheet, such as 15mm2/s",
        ),
        flag(
            "viscosity-at",
            "first.temperature",
            "The temperature it is at, such as 40degC",
        ),
        flag(
            "second-viscosity",
            "second.viscosity",
            "Kinematic viscosity at another temperature",
        ),
        flag(
            "second-viscosity-at",
            "second.temperature",
            "That temperature, such as 100degC",
        ),
        flag(
            "density",
            "density_at_15_degc",
            "Density at 15 degC; left out: 860 kg/m3",
        ),
    ]
}

/// Flags of EvaluateOil.
pub(super) fn evaluate_oil() -> Vec<Flag> {
    let mut flags = oil_flags("oil");
    flags.extend([
        Flag::many(
            "temperature",
            "temperatures",
            "A temperature it is wanted at; give it again for more",
        ),
        Flag::new("air", "air_ratio", "Free air over the volume, such as 2%"),
        Flag::new(
            "pressure",
            "absolute_pressure",
            "Absolute pressure the modulus is wanted at",
        ),
        Flag::new(
            "modulus",
            "modulus",
            "Modulus of the oil without air; left out: 1.5 GPa",
        ),
    ]);
    flags
}

/// Flags of a damper at a path: main dimensions, and the paths of both strokes.
pub(super) fn damper_flags(at: &str) -> Vec<Flag> {
    let flag = |name: &str, path: &str, help: &str| Flag::new(name, &format!("{at}.{path}"), help);
    let mut flags = vec![
        flag("bore", "bore", "Bore, such as 46mm"),
        flag("shaft", "shaft_diameter", "Diameter of the shaft"),
        flag(
            "gas",
            "gas.charge_gauge_pressure",
            "Charge of the gas at full extension, gauge",
        ),
        flag("gas-volume", "gas.volume", "Volume of the gas at full extension"),
        flag("friction", "friction", "Friction, such as 25N"),
    ];
    for stroke in ["compression", "rebound"] {
        flags.extend(circuit_flags(stroke, &format!("{at}.{stroke}")));
    }
    flags.extend(oil_flags(&format!("{at}.oil")));
    flags
}

fn circuit_flags(stroke: &str, at: &str) -> Vec<Flag> {
    let name = |name: &str| format!("{stroke}-{name}");
    let flag = |short: &str, path: &str, help: &str| Flag::new(&name(short), &format!("{at}.{path}"), help);
    let values = format!("{at}.valve.values");
    let mut flags = vec![
        Flag::stack(
            &name("stack"),
            &format!("{at}.valve.stack"),
            &format!("{values}.layers"),
            "Its stack: a name such as stacks/mid, or the shims as text",
        ),
        flag("holes", "valve.ports.count", "Its ports: how many holes"),
        flag("hole-diameter", "valve.ports.diameter", "Their diameter"),
        flag("hole-length", "valve.ports.length", "Their length"),
        flag("bleed", "bleed.fixed.area", "Area of its fixed bleed, such as 1.4mm2"),
        flag(
            "clicks",
            "bleed.needle.clicks_from_closed",
            "Where its needle stands, clicks from closed",
        ),
    ];
    flags.extend(around_stack(&values).into_iter().map(|around| Flag {
        name: name(&around.name),
        ..around
    }));
    flags
}

/// Flags of EvaluateDamper.
pub(super) fn evaluate_damper() -> Vec<Flag> {
    let mut flags = vec![Flag::new(
        "damper",
        "damper",
        "A damper of the drawer, such as dampers/rear; needs --server",
    )];
    flags.extend(damper_flags("values"));
    let flag = |name: &str, path: &str, help: &str| Flag::new(name, path, help);
    flags.extend([
        flag("oil-temperature", "temperature", "Of the oil; left out: 40 degC"),
        flag("stroke", "shaft_stroke", "Stroke from full extension; left out: 0"),
        Flag::many(
            "velocity",
            "shaft_velocities",
            "A velocity of the shaft, compression positive; give it again for more",
        ),
        flag(
            "to",
            "max_shaft_velocity",
            "Even steps from this in rebound to this in compression",
        ),
        flag("points", "point_count", "How many of each stroke; left out: 24"),
        flag(
            "reference-velocity",
            "reference_shaft_velocity",
            "Velocity at which clicks are stated; left out: 0.05 m/s",
        ),
        flag("motion-ratio", "wheel.motion_ratio", "Damper travel over wheel travel"),
        flag("rake", "wheel.rake", "Rake of a fork, instead of a motion ratio"),
        flag("spring-rate", "wheel.spring_rate", "Rate of the spring at the damper"),
        flag("mass", "wheel.mass", "Sprung mass on this end"),
        flag("dampers", "wheel.damper_count", "Dampers side by side; left out: one"),
    ]);
    flags
}
