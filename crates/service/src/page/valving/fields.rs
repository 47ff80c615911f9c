//! The fields of the valving bench: what is asked, in which words, and what stands in them at first. All presets are
//! invented.

/// A field of one line.
pub(super) struct Field {
    /// Its name in the query.
    pub(super) name: &'static str,
    /// Its label.
    pub(super) label: &'static str,
    /// What is written beside it.
    pub(super) hint: &'static str,
    /// What stands in it at first.
    pub(super) preset: &'static str,
}

const fn field(name: &'static str, label: &'static str, hint: &'static str, preset: &'static str) -> Field {
    Field {
        name,
        label,
        hint,
        preset,
    }
}

/// The stack that is planned.
pub(super) const SHIMS: &str = "shims";
/// The stack that is there.
pub(super) const PRESENT: &str = "present";
/// The stack of the other stroke.
pub(super) const OTHER: &str = "other";
/// The damper of the drawer that the stack works in.
pub(super) const FITTED: &str = "damper";
/// Which stroke the stack works in.
pub(super) const STROKE: &str = "stroke";
/// Whether the clamp holds the shims radially.
pub(super) const HOLD: &str = "hold";

/// Stacks as text, with what stands in them at first.
pub(super) const STACKS: [(&str, &str); 3] = [
    (SHIMS, "30x0.15*3, 28x0.15, 26x0.15, 22x0.2, 18x0.2 mm"),
    (PRESENT, "30x0.15*3, 26x0.15, 22x0.15, 18x0.2 mm"),
    (OTHER, "30x0.15*2, 24x0.15, 18x0.2 mm"),
];

/// What is asked of any stack.
pub(super) const STATE: &[Field] = &[field(
    "pressure",
    "Pressure it is drawn at",
    "over the face shim",
    "0.5 MPa",
)];

/// What is asked of any damper.
pub(super) const STROKES: &[Field] = &[
    field("speed", "Curve up to", "velocity of the shaft", "1 m/s"),
    field("temperature", "Temperature of the oil now", "", "40 degC"),
];

/// The piston under a stack that is written shim by shim; a damper of the drawer has its own, and so with all below.
pub(super) const PISTON: &[Field] = &[
    field("clamp", "Clamp diameter", "", "14 mm"),
    field("port_inner", "Ports from, diameter", "", "18 mm"),
    field("port_outer", "Ports to, diameter", "", "26 mm"),
    field("coverage", "Share of that annulus that is port", "", "70 %"),
];

/// What a stack may have besides.
pub(super) const BESIDES: &[Field] = &[
    field("land", "Pressure ends at, diameter", "left out: at the ports", "27 mm"),
    field("seat_inner", "Seat from, diameter", "left out: no seat", "26 mm"),
    field("seat_outer", "Seat to, diameter", "", "28 mm"),
    field(
        "seat_height",
        "Seat above the clamped face",
        "raised is positive: preload",
        "0.05 mm",
    ),
    field("seat_dish", "Its outer edge above its inner one", "", ""),
    field("stop_outer", "Stop, diameter", "left out: no stop", ""),
    field("stop_room", "Room below the stop", "", ""),
    field("stress", "Stress limit of the shims", "at the clamp", "1200 MPa"),
];

/// The damper around the stack; without a bore nothing is said of forces.
pub(super) const DAMPER: &[Field] = &[
    field("bore", "Bore", "left out: no forces", "46 mm"),
    field("shaft", "Shaft diameter", "", "14 mm"),
    field("holes", "Port hole, diameter", "in series with the stack", "4.5 mm"),
    field("holes_length", "Its length", "", "10 mm"),
    field("holes_count", "How many", "", "4"),
    field("bleed", "Bleed, open area", "works in both strokes", "1.2 mm2"),
    field("band", "Gap at the piston band", "radial", "0.02 mm"),
    field("band_length", "Its length", "", "8 mm"),
    field("charge", "Gas charge, gauge", "fully extended", "1.2 MPa"),
    field("gas_volume", "Gas volume", "fully extended", "90 mL"),
    field("friction", "Friction", "", "15 N"),
];

/// The oil.
pub(super) const OIL: &[Field] = &[
    field("viscosity_1", "Viscosity", "two points of its data sheet", "16 mm2/s"),
    field("temperature_1", "at", "", "40 degC"),
    field("viscosity_2", "Viscosity", "", "5.5 mm2/s"),
    field("temperature_2", "at", "", "100 degC"),
];

/// Every field of one line.
pub(super) fn all() -> impl Iterator<Item = &'static Field> {
    [STATE, PISTON, BESIDES, STROKES, DAMPER, OIL].into_iter().flatten()
}

/// The field of the form that a fault of a request belongs to, by the words of its path.
pub(super) fn of_path(path: &str, stroke_other: &str) -> &'static str {
    const WORDS: &[(&str, &str)] = &[
        ("port_inner", "port_inner"),
        ("port_outer", "port_outer"),
        ("land_outer", "land"),
        ("coverage", "coverage"),
        ("faces", "port_outer"),
        ("clamp", "clamp"),
        ("seat.inner", "seat_inner"),
        ("seat.outer", "seat_outer"),
        ("seat.dish", "seat_dish"),
        ("seat", "seat_height"),
        ("stop.outer", "stop_outer"),
        ("stop", "stop_room"),
        ("stress_limit", "stress"),
        ("ports.diameter", "holes"),
        ("ports.length", "holes_length"),
        ("ports.count", "holes_count"),
        ("bleed", "bleed"),
        ("leak.clearance", "band"),
        ("leak", "band_length"),
        ("gas.charge", "charge"),
        ("gas", "gas_volume"),
        ("friction", "friction"),
        ("oil.first.temperature", "temperature_1"),
        ("oil.first", "viscosity_1"),
        ("oil.second.temperature", "temperature_2"),
        ("oil", "viscosity_2"),
        ("temperature", "temperature"),
        ("velocit", "speed"),
        ("bore", "bore"),
        ("shaft_diameter", "shaft"),
        ("pressure", "pressure"),
    ];
    if path.contains("layers") {
        return match path {
            path if path.contains(stroke_other) => OTHER,
            path if path.starts_with("first") => PRESENT,
            _ => SHIMS,
        };
    }
    let known = WORDS.iter().find(|(word, _)| path.contains(word));
    known.map_or(SHIMS, |(_, field)| field)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_is_said_at_a_field_there_is() {
        for (path, field) in [
            ("values.layers[2].thickness.value", SHIMS),
            ("first.stack_values.layers[0].outer_diameter", PRESENT),
            ("values.compression.valve.values.layers[0]", OTHER),
            ("values.faces[0].port_outer_diameter", "port_outer"),
            ("values.seat.height", "seat_height"),
            ("values.rebound.leak.clearance.value", "band"),
            ("max_shaft_velocity", "speed"),
            ("values.gas.charge_gauge_pressure", "charge"),
        ] {
            assert_eq!(of_path(path, "compression"), field, "{path}");
        }
        let known: Vec<&str> = all().map(|field| field.name).collect();
        let mut once = known.clone();
        once.sort_unstable();
        once.dedup();
        assert_eq!(once.len(), known.len());
    }
}
