//! Three invented machines and what their riders bring from visit to visit. No such machine, rider or reading exists.

use wire::v1::{DamperType, DampingCircuit as Circuit, Riding, Serviceability, Wear};

/// A machine with its rider. Lengths in mm, masses in kg, rates in N/mm.
pub(super) struct Bike {
    /// Its id, and the beginning of those of its setups.
    pub(super) id: &'static str,
    pub(super) label: &'static str,
    /// What it is meant to show.
    pub(super) story: &'static str,
    pub(super) rider: &'static str,
    pub(super) rider_mass: f64,
    pub(super) mass: f64,
    pub(super) wheelbase: f64,
    pub(super) gravity_ahead: f64,
    pub(super) gravity_height: f64,
    pub(super) rake_degrees: f64,
    pub(super) front: Unit,
    pub(super) rear: Unit,
    pub(super) riding: Riding,
    /// Hardest braking and cornering at the first visit's pace, over standard gravity.
    pub(super) braking: f64,
    pub(super) cornering: f64,
    pub(super) visits: &'static [Visit],
}

/// A fork or a shock.
pub(super) struct Unit {
    pub(super) label: &'static str,
    pub(super) travel: f64,
    /// Spring over wheel; 1 of a fork.
    pub(super) ratio: f64,
    pub(super) unsprung: f64,
    /// Rate of each spring, as bought and once it was changed.
    pub(super) rates: [f64; 2],
    /// Springs of the rack that are in it as bought, left then right; empty: the demo puts some there.
    pub(super) springs: &'static [&'static str],
    pub(super) preload_range: (f64, f64),
    pub(super) damper_type: DamperType,
    pub(super) serviceability: Serviceability,
    pub(super) wear: &'static [Wear],
    pub(super) adjusters: &'static [(Circuit, f64)],
    /// Its damper in the drawer; empty: none is there.
    pub(super) damper: &'static str,
    /// When its oil was filled in.
    pub(super) oil: &'static str,
    /// Half of lifted less pressed, with the rider.
    pub(super) friction_band: f64,
    /// Travel the road takes at the first visit's pace, compression in the middle.
    pub(super) road: f64,
}

/// A visit.
pub(super) struct Visit {
    pub(super) day: &'static str,
    pub(super) kilometers: f64,
    pub(super) pace: f64,
    pub(super) pace_note: &'static str,
    pub(super) front: Set,
    pub(super) rear: Set,
    pub(super) done: &'static [Done],
}

/// How an end is set: its adjusters from closed, in the order of the unit's, and preload.
pub(super) struct Set {
    pub(super) found: &'static [f64],
    /// As left where that differs.
    pub(super) left: &'static [f64],
    pub(super) preload: f64,
    /// As left where that differs.
    pub(super) preload_left: Option<f64>,
}

/// Work at a visit.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Done {
    /// New oil in the fork, in the shock.
    Oil(bool),
    /// The other springs, in the fork or the shock.
    Springs(bool),
    /// Other valving, in the fork or the shock.
    Valving(bool, &'static str),
}

const fn set(found: &'static [f64], preload: f64) -> Set {
    Set {
        found,
        left: &[],
        preload,
        preload_left: None,
    }
}

const fn reset(found: &'static [f64], left: &'static [f64], preload: f64, preload_left: f64) -> Set {
    Set {
        found,
        left,
        preload,
        preload_left: Some(preload_left),
    }
}

const fn visit(day: &'static str, kilometers: f64, pace: (f64, &'static str), front: Set, rear: Set) -> Visit {
    Visit {
        day,
        kilometers,
        pace: pace.0,
        pace_note: pace.1,
        front,
        rear,
        done: &[],
    }
}

/// The machines, from the simplest to the one with most to set.
pub(super) const BIKES: [Bike; 3] = [
    Bike {
        id: "demo-light",
        label: "Tarrow 300, light and hardly adjustable (invented)",
        story: "springs, oil and an add-on valve come first; the shock cannot be opened and is replaced",
        rider: "Ilka Morvane (invented)",
        rider_mass: 86.0,
        mass: 150.0,
        wheelbase: 1340.0,
        gravity_ahead: 655.0,
        gravity_height: 540.0,
        rake_degrees: 25.0,
        front: Unit {
            label: "damping-rod fork",
            travel: 120.0,
            ratio: 1.0,
            unsprung: 14.0,
            rates: [6.5, 8.0],
            springs: &[],
            preload_range: (5.0, 25.0),
            damper_type: DamperType::DampingRod,
            serviceability: Serviceability::OilOnly,
            wear: &[Wear::NoneSeen],
            adjusters: &[],
            damper: "",
            oil: "2023-05-10",
            friction_band: 4.0,
            road: 15.0,
        },
        rear: Unit {
            label: "shock with one adjuster",
            travel: 125.0,
            ratio: 0.5,
            unsprung: 15.0,
            rates: [82.0, 82.0],
            springs: &[],
            preload_range: (4.0, 20.0),
            damper_type: DamperType::SingleTube,
            serviceability: Serviceability::Sealed,
            wear: &[Wear::NoneSeen],
            adjusters: &[(Circuit::Rebound, 12.0)],
            damper: "",
            oil: "2023-05-10",
            friction_band: 2.0,
            road: 38.0,
        },
        riding: Riding::HardRoad,
        braking: 0.40,
        cornering: 0.45,
        visits: &[
            visit(
                "2025-03-14",
                1_150.0,
                (1.0, "getting to know it"),
                set(&[], 20.0),
                set(&[8.0], 10.0),
            ),
            visit(
                "2025-05-23",
                2_480.0,
                (1.05, "commutes by the hill road"),
                set(&[], 20.0),
                set(&[7.0], 10.0),
            ),
            visit(
                "2025-07-18",
                4_020.0,
                (1.10, "first tours"),
                set(&[], 20.0),
                set(&[6.0], 10.0),
            ),
            Visit {
                done: &[Done::Oil(true)],
                ..visit(
                    "2025-09-26",
                    5_630.0,
                    (1.15, "faster over bumps"),
                    set(&[], 20.0),
                    set(&[6.0], 10.0),
                )
            },
            visit(
                "2026-04-10",
                7_210.0,
                (1.20, "rides with quicker friends"),
                set(&[], 20.0),
                set(&[5.0], 10.0),
            ),
            Visit {
                done: &[
                    Done::Springs(true),
                    Done::Valving(true, "add-on valve on the damping rods, holes drilled as it asks for"),
                    Done::Oil(true),
                ],
                ..visit(
                    "2026-07-03",
                    9_040.0,
                    (1.26, "wants to keep up"),
                    reset(&[], &[], 20.0, 11.0),
                    set(&[3.0], 10.0),
                )
            },
        ],
    },
    Bike {
        id: "demo-allround",
        label: "Brindle 800, all-round (invented)",
        story: "the shock runs out first: spring, then valving",
        rider: "Tomsin Brehl (invented)",
        rider_mass: 82.0,
        mass: 196.0,
        wheelbase: 1435.0,
        gravity_ahead: 715.0,
        gravity_height: 570.0,
        rake_degrees: 24.0,
        front: Unit {
            label: "cartridge fork",
            travel: 120.0,
            ratio: 1.0,
            unsprung: 16.0,
            // The mean of the two legs, as the rate tester of the demo finds them.
            rates: [8.8, 8.8],
            springs: &["springs/demo-leg-left", "springs/demo-leg-right"],
            preload_range: (5.0, 25.0),
            damper_type: DamperType::Cartridge,
            serviceability: Serviceability::Valving,
            wear: &[Wear::NoneSeen],
            adjusters: &[(Circuit::Rebound, 24.0), (Circuit::Compression, 20.0)],
            damper: "",
            oil: "2023-06-02",
            friction_band: 3.0,
            road: 12.0,
        },
        rear: Unit {
            label: "shock with a reservoir",
            travel: 135.0,
            ratio: 0.5,
            unsprung: 19.0,
            rates: [74.0, 74.0],
            springs: &[],
            preload_range: (2.0, 18.0),
            damper_type: DamperType::SingleTube,
            serviceability: Serviceability::Valving,
            wear: &[Wear::NoneSeen],
            adjusters: &[(Circuit::Rebound, 20.0), (Circuit::Compression, 20.0)],
            damper: "dampers/demo-softer",
            oil: "2024-10-04",
            friction_band: 1.5,
            road: 90.0,
        },
        riding: Riding::HardRoad,
        braking: 0.34,
        cornering: 0.55,
        visits: &[
            visit(
                "2025-02-21",
                5_400.0,
                (1.0, "as bought"),
                set(&[12.0, 10.0], 18.0),
                set(&[12.0, 11.0], 17.0),
            ),
            visit(
                "2025-04-11",
                6_900.0,
                (1.05, "weekend rides"),
                set(&[11.0, 10.0], 18.0),
                set(&[11.0, 10.0], 17.0),
            ),
            visit(
                "2025-06-06",
                8_750.0,
                (1.09, "a week in the mountains"),
                set(&[12.0, 10.0], 18.0),
                set(&[9.0, 8.0], 17.0),
            ),
            Visit {
                done: &[Done::Oil(true)],
                ..visit(
                    "2025-08-08",
                    11_200.0,
                    (1.14, "quicker out of bends"),
                    set(&[11.0, 10.0], 18.0),
                    set(&[8.0, 6.0], 17.0),
                )
            },
            visit(
                "2025-10-03",
                13_100.0,
                (1.18, "leads the group"),
                set(&[12.0, 9.0], 18.0),
                set(&[7.0, 4.0], 17.0),
            ),
            visit(
                "2026-04-24",
                14_900.0,
                (1.23, "first day on a closed course"),
                set(&[11.0, 10.0], 18.0),
                set(&[5.0, 2.0], 17.0),
            ),
        ],
    },
    Bike {
        id: "demo-fast",
        label: "Veska 1000, fast and fully adjustable (invented)",
        story: "settings for a good while, then fork springs",
        rider: "Oda Quillard (invented)",
        rider_mass: 77.0,
        mass: 184.0,
        wheelbase: 1412.0,
        gravity_ahead: 724.0,
        gravity_height: 580.0,
        rake_degrees: 23.5,
        front: Unit {
            label: "cartridge fork, fully adjustable",
            travel: 120.0,
            ratio: 1.0,
            unsprung: 15.0,
            rates: [9.5, 10.5],
            springs: &[],
            preload_range: (3.0, 18.0),
            damper_type: DamperType::Cartridge,
            serviceability: Serviceability::Valving,
            wear: &[Wear::NoneSeen],
            adjusters: &[
                (Circuit::Rebound, 26.0),
                (Circuit::LowSpeedCompression, 26.0),
                (Circuit::HighSpeedCompression, 18.0),
            ],
            damper: "",
            oil: "2024-11-20",
            friction_band: 2.5,
            road: 12.0,
        },
        rear: Unit {
            label: "shock, fully adjustable",
            travel: 122.0,
            ratio: 0.52,
            unsprung: 17.0,
            rates: [78.0, 78.0],
            springs: &[],
            preload_range: (4.0, 22.0),
            damper_type: DamperType::TwinTube,
            serviceability: Serviceability::Valving,
            wear: &[Wear::NoneSeen],
            adjusters: &[
                (Circuit::Rebound, 26.0),
                (Circuit::LowSpeedCompression, 26.0),
                (Circuit::HighSpeedCompression, 18.0),
            ],
            damper: "",
            oil: "2025-04-01",
            friction_band: 1.5,
            road: 24.0,
        },
        riding: Riding::Track,
        braking: 0.50,
        cornering: 0.60,
        visits: &[
            visit(
                "2025-03-07",
                2_100.0,
                (1.0, "first season on the course"),
                reset(&[14.0, 16.0, 10.0], &[], 6.0, 13.0),
                reset(&[14.0, 14.0, 10.0], &[], 7.0, 12.0),
            ),
            visit(
                "2025-04-25",
                2_700.0,
                (1.04, "brakes later"),
                set(&[14.0, 15.0, 10.0], 13.0),
                Set {
                    left: &[13.0, 13.0, 9.0],
                    ..set(&[13.0, 6.0, 9.0], 12.0)
                },
            ),
            Visit {
                done: &[Done::Oil(true)],
                ..visit(
                    "2025-06-13",
                    3_350.0,
                    (1.08, "middle group"),
                    set(&[13.0, 14.0, 10.0], 13.0),
                    set(&[14.0, 13.0, 9.0], 12.0),
                )
            },
            visit(
                "2025-08-22",
                4_100.0,
                (1.12, "middle group, front row"),
                set(&[14.0, 12.0, 9.0], 13.0),
                set(&[13.0, 14.0, 9.0], 12.0),
            ),
            visit(
                "2025-10-10",
                4_750.0,
                (1.16, "moves up a group"),
                set(&[13.0, 11.0, 9.0], 13.0),
                set(&[14.0, 13.0, 9.0], 12.0),
            ),
            Visit {
                done: &[Done::Oil(false)],
                ..visit(
                    "2026-03-27",
                    5_200.0,
                    (1.19, "a new season"),
                    set(&[13.0, 10.0, 9.0], 13.0),
                    set(&[13.0, 14.0, 9.0], 12.0),
                )
            },
            Visit {
                done: &[Done::Springs(true)],
                ..visit(
                    "2026-05-15",
                    5_900.0,
                    (1.24, "quick group"),
                    reset(&[13.0, 8.0, 9.0], &[12.0, 8.0, 9.0], 13.0, 8.0),
                    set(&[14.0, 13.0, 9.0], 12.0),
                )
            },
        ],
    },
];
