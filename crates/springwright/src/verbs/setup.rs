//! Short flags of the verbs on a setup.

use super::bench::Flag;

/// Flags of ReadSag.
pub(super) fn read_sag() -> Vec<Flag> {
    let reading = |name: &str, path: &str, help: &str| Flag::new(name, &format!("values.readings.{path}"), help);
    let machine = |name: &str, path: &str, help: &str| Flag::new(name, &format!("values.machine.{path}"), help);
    vec![
        Flag::new(
            "setup",
            "setup.name",
            "A setup of the book, such as setups/s1; needs --server",
        ),
        Flag::new("moment", "setup.moment", "Which moment of it: as-found or as-left"),
        Flag::new("end", "end", "Which end: front or rear"),
        reading(
            "extended",
            "extended.pressed",
            "Length fully extended, wheel clear of the ground, such as 600mm",
        ),
        reading("extended-again", "extended.lifted", "The same, read a second time"),
        reading(
            "alone-pressed",
            "alone.pressed",
            "Machine alone, after pressing down: reads shorter",
        ),
        reading(
            "alone-lifted",
            "alone.lifted",
            "Machine alone, after lifting: reads longer",
        ),
        reading(
            "rider-pressed",
            "with_rider.pressed",
            "With the rider, after pressing down",
        ),
        reading("rider-lifted", "with_rider.lifted", "With the rider, after lifting"),
        reading(
            "resolution",
            "resolution",
            "Full width of the tape's last digit; left out: 1 mm",
        ),
        reading(
            "handling",
            "handling",
            "Limit of what handling the tape adds; left out: 1 mm",
        ),
        reading("tape-slant", "tape_slant", "Slant of the tape against the travel"),
        reading("mass-alone", "mass_alone", "What this wheel weighs, machine alone"),
        reading(
            "mass-with-rider",
            "mass_with_rider",
            "What it weighs with the rider in riding position",
        ),
        Flag::new(
            "rider-mass",
            "values.rider_mass_with_gear",
            "Rider with all gear, where the end was not weighed",
        ),
        machine("rake", "rake", "Steering axis against the vertical, such as 24deg"),
        machine("front-travel", "front.travel", "Travel of the fork along its leg"),
        machine("rear-travel", "rear.travel", "Travel of the rear wheel"),
        machine("motion-ratio", "rear.motion_ratio", "Shock travel over wheel travel"),
        machine(
            "front-spring-rate",
            "front.legs.spring_rate",
            "Rate of the spring in each leg of the fork",
        ),
        machine(
            "rear-spring-rate",
            "rear.legs.spring_rate",
            "Rate of the shock's spring",
        ),
        machine("front-unsprung", "front_unsprung_mass", "Unsprung mass at the front"),
        machine("rear-unsprung", "rear_unsprung_mass", "Unsprung mass at the rear"),
        Flag::new(
            "rate-step",
            "rate_step",
            "One step of the rack for this end, its springs together",
        ),
    ]
}
