//! Short flags of the verbs on the shop's book.

use super::bench::Flag;

/// Flags of a machine at a path of the request.
pub(super) fn machine(at: &str) -> Vec<Flag> {
    let flag = |name: &str, path: &str, help: &str| Flag::new(name, &format!("{at}.values.{path}"), help);
    let mut flags = vec![
        flag("label", "label", "What the shop calls it"),
        flag("wheelbase", "wheelbase", "Wheelbase, such as 1420mm"),
        flag(
            "gravity-ahead",
            "gravity_ahead",
            "Centre of gravity ahead of the rear contact",
        ),
        flag("gravity-height", "gravity_height", "Its height above the ground"),
        flag("rake", "rake", "Steering axis against the vertical, such as \"24 deg\""),
        flag("mass", "mass", "Whole mass without rider"),
    ];
    for end in ["front", "rear"] {
        let flag = |name: &str, path: &str, help: &str| {
            Flag::new(&format!("{end}-{name}"), &format!("{at}.values.{end}.{path}"), help)
        };
        flags.extend([
            flag("unit", "label", "What the shop calls the unit there"),
            flag(
                "travel",
                "travel",
                "Its travel: along the leg of a fork, at the wheel of the rear",
            ),
            flag(
                "damper-type",
                "damper_type",
                "damping-rod, cartridge, single-tube, twin-tube or air",
            ),
            flag(
                "spring",
                "legs.spring",
                "The spring of its first leg or shock, such as springs/a7",
            ),
            Flag::many(
                &format!("{end}-adjuster"),
                &format!("{at}.values.{end}.adjusters"),
                "Range of an adjuster from closed, such as \"rebound 24 clicks\"; give it again for more",
            ),
        ]);
    }
    flags.push(flag(
        "motion-ratio",
        "rear.motion_ratio",
        "Spring over wheel at the rear, where it is one throughout",
    ));
    flags
}

/// Flags of a setup at a path of the request: both moments, both ends.
pub(super) fn setup(at: &str) -> Vec<Flag> {
    let flag = |name: &str, path: &str, help: &str| Flag::new(name, &format!("{at}.visit.{path}"), help);
    let mut flags = vec![
        flag("visit-time", "visit_time", "When, such as 2026-03-01T08:30:00Z"),
        flag(
            "distance",
            "distance",
            "Distance the machine has been ridden in all, such as 1200km",
        ),
        flag(
            "riding",
            "riding",
            "How hard it was ridden: gentle-road, hard-road, track or off-road",
        ),
        flag("pace-note", "pace_note", "Pace, in the shop's words"),
    ];
    for (moment, state) in [("found", "as_found"), ("left", "as_left")] {
        for end in ["front", "rear"] {
            let name = |name: &str| format!("{moment}-{end}-{name}");
            let path = |path: &str| format!("{at}.visit.{state}.{end}.{path}");
            flags.push(Flag::many(
                &name("adjuster"),
                &path("adjusters"),
                "An adjuster out from closed, such as \"rebound 12 clicks\"; give it again for more",
            ));
            for (short, long, help) in [
                (
                    "preload",
                    "preload",
                    "How far the springs are pressed at full extension",
                ),
                ("tyre-pressure", "tyre_gauge_pressure", "Tyre pressure"),
                (
                    "extended",
                    "sag.extended",
                    "Length fully extended, such as \"600/600 mm\"",
                ),
                (
                    "alone",
                    "sag.alone",
                    "Length alone, pressed then lifted, such as \"588/592 mm\"",
                ),
                (
                    "with-rider",
                    "sag.with_rider",
                    "Length with the rider, pressed then lifted, such as \"563/567 mm\"",
                ),
                ("travel-used", "travel_used", "Travel used since the last visit"),
            ] {
                flags.push(Flag::new(&name(short), &path(long), help));
            }
        }
    }
    flags
}

/// Flags of CompareSetups.
pub(super) fn compare() -> Vec<Flag> {
    let side = |name: &str, path: &str, help: &str| Flag::new(name, path, help);
    vec![
        side(
            "first",
            "first.setup",
            "From this setup, such as setups/s1 or setups/s1@2",
        ),
        side("first-moment", "first.moment", "as-found or as-left; left out: as left"),
        side("second", "second.setup", "To this setup"),
        side(
            "second-moment",
            "second.moment",
            "as-found or as-left; left out: as left",
        ),
    ]
}
