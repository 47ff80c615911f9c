//! The fields of a visit: a record becomes fields ([`fill`]), fields become a record again ([`read`]), and a fault finds its
//! field.
//!
//! What no field shows stays as the record has it.

mod fill;
mod read;

use mechanics::chassis::End;
use wire::v1;
use wire::violation::Violation;

use super::kept::Kept;
use super::words::{ENDS, state_of, unit_of};
use crate::page::form::Posted;

pub(super) use fill::filled;
pub(super) use read::{Typed, as_found_but, read};

/// The field that says which unit a length without one is in.
pub(super) const LENGTHS: &str = "lengths";

/// A moment of the visit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Moment {
    /// As it came in.
    Found,
    /// As it left.
    Left,
}

impl Moment {
    /// As it stands in names of fields.
    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Found => "found",
            Self::Left => "left",
        }
    }

    /// The state of a visit.
    fn of(self, visit: Option<&v1::VisitValues>) -> Option<&v1::SetupState> {
        match self {
            Self::Found => visit?.as_found.as_ref(),
            Self::Left => visit?.as_left.as_ref(),
        }
    }
}

/// A part of the form: one end at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Place {
    /// When.
    pub(super) moment: Moment,
    /// Where.
    pub(super) end: End,
}

impl Place {
    /// The name of a field here.
    pub(super) fn field(self, what: &str) -> String {
        format!("{}_{}_{what}", self.moment.word(), self.end.word())
    }
}

/// Lengths sag is taken from, each read twice: name, what the machine is doing.
pub(super) const SAG: [(&str, &str); 3] = [
    ("extended", "Fully extended"),
    ("alone", "Machine alone"),
    ("with_rider", "With the rider"),
];

/// An adjuster that has a field.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Slot {
    /// What it acts on.
    pub(super) circuit: i32,
    /// The leg it sits in.
    leg: Option<i32>,
    /// What it is counted in.
    pub(super) unit: i32,
    /// From closed to open.
    pub(super) range: Option<f64>,
}

impl Slot {
    /// Its part of a field's name.
    pub(super) fn what(&self) -> String {
        let leg = self.leg.map(|leg| format!("_{leg}")).unwrap_or_default();
        format!("adjuster_{}{leg}", self.circuit)
    }

    /// Circuit and leg in words.
    pub(super) fn words(&self) -> String {
        let circuit = wire::setup::words::circuit(self.circuit);
        match self.leg {
            Some(1) => format!("{circuit}, left leg"),
            Some(_) => format!("{circuit}, right leg"),
            None => circuit.to_owned(),
        }
    }
}

/// The adjusters of an end: those of its unit, and those that a state names besides.
pub(super) fn slots(kept: &Kept, end: End) -> Vec<Slot> {
    let mut slots: Vec<Slot> = Vec::new();
    for machine in &kept.fitted {
        for range in unit_of(machine, end)
            .map(|unit| unit.adjusters.as_slice())
            .unwrap_or_default()
        {
            let slot = Slot {
                circuit: range.circuit,
                leg: range.leg,
                unit: range.unit,
                range: range.range_count,
            };
            if !slots.iter().any(|known| known.what() == slot.what()) {
                slots.push(slot);
            }
        }
    }
    for moment in [Moment::Found, Moment::Left] {
        let state = base(kept, Place { moment, end });
        for setting in &state.adjusters {
            let slot = Slot {
                circuit: setting.circuit,
                leg: setting.leg,
                unit: setting.unit,
                range: None,
            };
            if !slots.iter().any(|known| known.what() == slot.what()) {
                slots.push(slot);
            }
        }
    }
    slots
}

/// What the record says of a place; of a new visit how it was set before.
pub(super) fn base(kept: &Kept, place: Place) -> v1::EndState {
    match (&kept.setup, place.moment) {
        (None, Moment::Found) => kept.settings_before(place.end),
        _ => state_of(place.moment.of(kept.visit()), place.end)
            .cloned()
            .unwrap_or_default(),
    }
}

/// The day of a moment, in UTC.
pub(super) fn day_of(time: &prost_types::Timestamp) -> String {
    time.to_string().get(..10).unwrap_or_default().to_owned()
}

fn find<'a>(state: &'a v1::EndState, slot: &Slot) -> Option<&'a v1::AdjusterSetting> {
    let mut settings = state.adjusters.iter();
    settings.find(|setting| setting.circuit == slot.circuit && setting.leg == slot.leg)
}

/// The oil whose day and level have fields: none where two legs differ.
fn own_oil(state: &v1::EndState, kept: &Kept, place: Place) -> Option<v1::OilFill> {
    match state.oils.as_slice() {
        [oil] => Some(oil.clone()),
        [] if place.moment == Moment::Found => {
            let machine = kept.fitted.first()?;
            let legs = unit_of(machine, place.end)?.legs.iter();
            let oils: Vec<_> = legs.filter_map(|leg| leg.oil.as_ref()).collect();
            match oils.as_slice() {
                [oil] => Some((*oil).clone()),
                [left, right] if left == right => Some((*left).clone()),
                _ => None,
            }
        }
        _ => None,
    }
}

/// Faults of a request, at the fields of the form.
pub(super) fn at_fields(faults: Vec<Violation>, moment: Moment, posted: &Posted, kept: &Kept) -> Vec<Violation> {
    let at = |fault: Violation| Violation {
        field: of_path(&fault.field, moment, posted, kept),
        ..fault
    };
    faults.into_iter().map(at).collect()
}

/// What a field is called, where a fault is told away from it.
pub(super) fn label(name: &str, kept: &Kept) -> String {
    let place = |moment: Moment| ENDS.map(|end| Place { moment, end });
    for place in [Moment::Found, Moment::Left].into_iter().flat_map(place) {
        let Some(what) = name.strip_prefix(&place.field("")) else {
            continue;
        };
        let slot = slots(kept, place.end).into_iter().find(|slot| slot.what() == what);
        let words = slot.map_or_else(|| what.replace('_', " "), |slot| slot.words());
        let moment = if place.moment == Moment::Left { ", as left" } else { "" };
        return format!("{} {words}{moment}", place.end.word());
    }
    name.replace('_', " ")
}

/// The field a path of a request belongs to; the path itself where there is none.
fn of_path(path: &str, moment: Moment, posted: &Posted, kept: &Kept) -> String {
    let holds = |word: &str| path.split(['.', '[']).any(|step| step == word);
    let moment = match (holds("as_found"), holds("as_left")) {
        (true, _) => Moment::Found,
        (_, true) => Moment::Left,
        _ => moment,
    };
    let end = ENDS.into_iter().find(|end| holds(end.word()));
    let Some(end) = end else {
        const WHOLE: [(&str, &str); 9] = [
            ("visit_time", "date"),
            ("distance", "distance"),
            ("riding", "riding"),
            ("pace_note", "pace_note"),
            ("pace_ratio", "pace_ratio"),
            ("work", "work_remedy"),
            ("notes", "notes"),
            ("deceleration_ratio", "braking"),
            ("rider_mass_with_gear", "rider_mass"),
        ];
        let found = WHOLE.iter().find(|(word, _)| holds(word));
        return found.map_or_else(|| path.to_owned(), |(_, field)| (*field).to_owned());
    };
    if holds("wanted_level") {
        return format!("{}_wanted_level", end.word());
    }
    let place = Place { moment, end };
    if holds("sag") {
        let lifted = if holds("lifted") { "lifted" } else { "pressed" };
        let read = SAG.iter().find(|(name, _)| holds(name));
        if let Some((name, _)) = read {
            return place.field(&format!("{name}_{lifted}"));
        }
    }
    if holds("adjusters") {
        let index = path.split("adjusters[").nth(1).and_then(|rest| rest.split(']').next());
        let index: usize = index.and_then(|index| index.parse().ok()).unwrap_or_default();
        let mut written = slots(kept, end).into_iter().map(|slot| place.field(&slot.what()));
        let nth = written.by_ref().filter(|name| !posted.text(name).is_empty()).nth(index);
        return nth.unwrap_or_else(|| path.to_owned());
    }
    const HERE: [(&str, &str); 9] = [
        ("mass_alone", "mass_alone"),
        ("mass_with_rider", "mass_with_rider"),
        ("leg_preloads", "preload"),
        ("preload", "preload"),
        ("travel_used", "travel_used"),
        ("travel_riding", "travel_riding"),
        ("complaint", "complaint"),
        ("level", "oil_level"),
        ("oils", "oil_day"),
    ];
    let found = HERE.iter().find(|(word, _)| holds(word));
    found.map_or_else(|| path.to_owned(), |(_, what)| place.field(what))
}

#[cfg(test)]
mod tests {
    use mechanics::quantity::LengthUnit;
    use wire::quantity::Message as _;
    use wire::v1::ViolationReason as Reason;

    use super::*;

    fn length(value: f64, unit: LengthUnit) -> Option<v1::Length> {
        Some(v1::Length::from_parts(value, unit as i32))
    }

    fn position(circuit: i32, leg: Option<i32>, position: f64) -> v1::AdjusterSetting {
        v1::AdjusterSetting {
            circuit,
            leg,
            position_from_closed: Some(position),
            ..Default::default()
        }
    }

    /// A visit with everything a form does not show beside what it does.
    fn kept() -> Kept {
        let mm = |value| length(value, LengthUnit::Millimeter);
        let range = |circuit, range_count| v1::AdjusterRange {
            circuit,
            unit: v1::AdjusterUnit::Clicks as i32,
            range_count: Some(range_count),
            ..Default::default()
        };
        let fitted = v1::MachineValues {
            rear: Some(v1::UnitValues {
                adjusters: vec![range(4, 24.0), range(1, 20.0)],
                ..Default::default()
            }),
            ..Default::default()
        };
        let rear = v1::EndState {
            leg_preloads: vec![mm(9.0).unwrap(), mm(10.0).unwrap()],
            // The second is of no range the machine has.
            adjusters: vec![position(1, None, 7.5), position(6, Some(2), 3.0)],
            tyre_gauge_pressure: Some(v1::Pressure::from_parts(2.5, 2)),
            sag: Some(v1::SagReadings {
                extended: Some(v1::SettledLength {
                    pressed: length(23.6, LengthUnit::Inch),
                    lifted: mm(600.0),
                    unpaired: None,
                }),
                alone: Some(v1::SettledLength {
                    unpaired: mm(590.0),
                    ..Default::default()
                }),
                unpaired_allowed: true,
                mass_alone: Some(v1::Mass::from_parts(210.0, 3)),
                ..Default::default()
            }),
            travel_used: mm(88.0),
            travel_riding: v1::Riding::Track as i32,
            bottomed: Some(true),
            oils: vec![v1::OilFill {
                grade: "invented".to_owned(),
                fill_time: "2026-01-05T08:30:00Z".parse().ok(),
                level: mm(110.0),
                ..Default::default()
            }],
            fork_height: mm(4.0),
            complaint: "it \"kicks\"".to_owned(),
            ..Default::default()
        };
        let visit = v1::VisitValues {
            as_found: Some(v1::SetupState {
                front: Some(v1::EndState::default()),
                rear: Some(rear),
                machine_revision: Some(3),
            }),
            visit_time: "2026-05-31T16:05:09Z".parse().ok(),
            distance: length(7_300.0, LengthUnit::Mile),
            riding: v1::Riding::HardRoad as i32,
            pace_note: "faster".to_owned(),
            pace_ratio: Some(1.05),
            predictions: vec![v1::Prediction::default()],
            ..Default::default()
        };
        Kept {
            machine: v1::Machine::default(),
            rider: None,
            setups: Vec::new(),
            next: String::new(),
            setup: Some(v1::Setup {
                visit: Some(visit),
                ..Default::default()
            }),
            fitted: [fitted.clone(), fitted],
        }
    }

    #[test]
    fn a_visit_comes_back_from_its_form() {
        let kept = kept();
        for unit in [LengthUnit::Millimeter, LengthUnit::Inch] {
            let typed = read(&filled(&kept, unit, "2026-11-26"), &kept).unwrap();
            let visit = kept.visit().unwrap();
            assert_eq!(Some(&typed.found), visit.as_found.as_ref());
            assert_eq!(typed.left, None);
            assert_eq!(&typed.visit, visit);
        }
    }

    #[test]
    fn what_is_typed_takes_the_place_of_what_was_there() {
        let kept = kept();
        let mut posted = Posted::default();
        for (name, text) in [
            ("lengths", "in"),
            ("found_rear_alone_pressed", "23"),
            ("found_rear_preload", "8 mm"),
            ("found_rear_adjuster_4", "6"),
            ("left_rear_preload", "0.2"),
            ("date", "2026-06-01"),
            ("rear_harsh", "yes"),
        ] {
            posted.set(name, text);
        }
        let typed = read(&posted, &kept).unwrap();
        let rear = typed.found.rear.clone().unwrap();
        let alone = rear.sag.unwrap().alone.unwrap();
        assert_eq!((alone.pressed, alone.unpaired), (length(23.0, LengthUnit::Inch), None));
        assert_eq!(
            (rear.preload, rear.leg_preloads.len()),
            (length(8.0, LengthUnit::Millimeter), 0)
        );
        assert_eq!(rear.adjusters, [position(4, None, 6.0)]);
        assert_eq!(rear.tyre_gauge_pressure, Some(v1::Pressure::from_parts(2.5, 2)));
        assert_eq!(day_of(&typed.visit.visit_time.unwrap()), "2026-06-01");
        assert_eq!(typed.details[1].harsh, Some(true));
        // What was not set was left as it was found.
        let left = as_found_but(typed.left.unwrap(), &typed.found).rear.unwrap();
        assert_eq!(left.preload, length(0.2, LengthUnit::Inch));
        assert_eq!(left.adjusters, [position(4, None, 6.0)]);
    }

    #[test]
    fn every_fault_is_at_its_field() {
        let kept = kept();
        let mut posted = Posted::default();
        for name in [
            "found_rear_travel_used",
            "left_front_preload",
            "date",
            "distance",
            "braking",
        ] {
            posted.set(name, "much");
        }
        posted.set("found_rear_adjuster_1", "7");
        let faults = read(&posted, &kept).err().unwrap();
        let mut at: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
        at.sort_unstable();
        assert_eq!(
            at,
            [
                "braking",
                "date",
                "distance",
                "found_rear_travel_used",
                "left_front_preload"
            ]
        );
        for (path, moment, field) in [
            (
                "values.state.rear.sag.alone.lifted.value",
                Moment::Found,
                "found_rear_alone_lifted",
            ),
            (
                "values.state.rear.sag.with_rider",
                Moment::Left,
                "left_rear_with_rider_pressed",
            ),
            (
                "setup.visit.as_left.front.preload.value",
                Moment::Found,
                "left_front_preload",
            ),
            (
                "setup.visit.as_found.rear.adjusters[0].position_from_closed",
                Moment::Found,
                "found_rear_adjuster_1",
            ),
            (
                "setup.visit.as_found.rear.oils[0].level.value",
                Moment::Found,
                "found_rear_oil_level",
            ),
            ("front.wanted_level.value", Moment::Found, "front_wanted_level"),
            ("setup.visit.distance.value", Moment::Found, "distance"),
            ("setup.visit.work[2].text", Moment::Left, "work_remedy"),
            ("values.rider_mass_with_gear.value", Moment::Found, "rider_mass"),
            ("request_id", Moment::Found, "request_id"),
        ] {
            let fault = Violation {
                field: path.to_owned(),
                reason: Reason::OutOfRange,
                description: String::new(),
            };
            let found = at_fields(vec![fault], moment, &posted, &kept);
            assert_eq!(found[0].field, field, "{path}");
        }
        assert_eq!(label("found_rear_adjuster_1", &kept), "rear compression");
        assert_eq!(label("left_front_preload", &kept), "front preload, as left");
    }
}
