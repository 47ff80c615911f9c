//! Short flags of the verbs on a setup.

use super::bench::Flag;

/// A setup of the book as the source.
fn of_book() -> Vec<Flag> {
    vec![
        Flag::new(
            "setup",
            "setup.name",
            "A setup of the book, such as setups/s1; needs --server",
        ),
        Flag::new("moment", "setup.moment", "Which moment of it: as-found or as-left"),
    ]
}

/// Flags of JudgeSetup; a visit that is not in the book comes with --request, or is asked for by "setup judge --ask".
pub(super) fn judge_setup() -> Vec<Flag> {
    let own = vec![
        Flag::new(
            "front-least-rate",
            "front.least_available_rate",
            "Least rate of a leg's spring that can be had for the fork, such as 8N/mm",
        ),
        Flag::new(
            "front-most-rate",
            "front.most_available_rate",
            "Most rate of a leg's spring that can be had for the fork",
        ),
        Flag::new(
            "rear-least-rate",
            "rear.least_available_rate",
            "Least rate that can be had for the shock",
        ),
        Flag::new(
            "rear-most-rate",
            "rear.most_available_rate",
            "Most rate that can be had for the shock",
        ),
        Flag::new(
            "mixed-legs",
            "front.mixed_legs",
            "Try neighbouring springs mixed, one in each leg of the fork: true",
        ),
    ];
    of_book().into_iter().chain(own).collect()
}

/// Flags of ReadSag.
pub(super) fn read_sag() -> Vec<Flag> {
    let reading = |name: &str, path: &str, help: &str| Flag::new(name, &format!("values.readings.{path}"), help);
    let machine = |name: &str, path: &str, help: &str| Flag::new(name, &format!("values.machine.{path}"), help);
    let own = vec![
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
    ];
    of_book().into_iter().chain(own).collect()
}

/// Flags of ForecastLimits; its ends and their adjusters come with --request or --set.
pub(super) fn forecast_limits() -> Vec<Flag> {
    vec![
        Flag::new(
            "machine",
            "machine",
            "A machine of the book, such as machines/m1; needs --server",
        ),
        Flag::new(
            "rider-mass",
            "rider_mass_with_gear",
            "Rider with all gear, such as 82kg",
        ),
        Flag::new(
            "front-mass",
            "front_mass_with_rider",
            "What the front wheel weighs with the rider",
        ),
        Flag::new(
            "deceleration",
            "riding.deceleration_ratio",
            "Hardest braking now over standard gravity, such as 0.6",
        ),
        Flag::new(
            "lateral",
            "riding.lateral_ratio",
            "Hardest cornering now over standard gravity",
        ),
        Flag::new(
            "grip",
            "riding.grip_factor",
            "Friction coefficient of tyre and road; left out: 1",
        ),
        Flag::new("waviness", "waviness_factor", "Waviness of the road; left out: 2"),
        Flag::new("bump-height", "bump.height", "A bump met now: its height"),
        Flag::new("bump-length", "bump.length", "Its length along the road"),
        Flag::new("bump-speed", "bump.speed", "Speed over it now"),
        Flag::new(
            "front-travel-used",
            "front.travel_used",
            "Travel of the fork used, along the leg",
        ),
        Flag::new(
            "rear-travel-used",
            "rear.travel_used",
            "Travel of the rear used, at the wheel",
        ),
        Flag::new(
            "shop-prices",
            "shop_prices",
            "Take the shop's price list: true; needs --server",
        ),
        Flag::new(
            "highest-pace",
            "highest_pace_ratio",
            "The highest pace looked at; left out: 1.5",
        ),
        Flag::many(
            "pace",
            "pace_ratios",
            "A pace at which the machine is described; give it again for more",
        ),
        Flag::new(
            "drawn",
            "drawn",
            "Draw the staircase of cost: true, with --out FILE.svg",
        ),
    ]
}
