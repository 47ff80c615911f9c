//! Fields become a record.

use mechanics::chassis::End;
use mechanics::quantity::{Entered, LengthUnit, Unit};
use wire::quantity::Message as _;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::violation::{Violation, Violations};

use super::{LENGTHS, Moment, Place, base, day_of, find, own_oil, slots};
use crate::page::form::{self, Posted};
use crate::page::machine::kept::Kept;
use crate::page::machine::words::{ENDS, state_of};

/// What was typed.
pub(in crate::page::machine) struct Typed {
    /// As found.
    pub(in crate::page::machine) found: v1::SetupState,
    /// As left; none where nothing was typed of it.
    pub(in crate::page::machine) left: Option<v1::SetupState>,
    /// The visit itself, without its states.
    pub(in crate::page::machine) visit: v1::VisitValues,
    /// What is known of fork and rear for this judgement.
    pub(in crate::page::machine) details: [v1::EndDetail; 2],
    /// Hardest braking over standard gravity.
    pub(in crate::page::machine) deceleration: Option<f64>,
    /// Rider with gear, where no record says it.
    pub(in crate::page::machine) rider_mass: Option<v1::Mass>,
}

/// Reads the fields; each fault is named by its field.
pub(in crate::page::machine) fn read(posted: &Posted, kept: &Kept) -> Result<Typed, Vec<Violation>> {
    let mut violations = Violations::new();
    let taken = LengthUnit::from_symbol(posted.text(LENGTHS)).unwrap_or(LengthUnit::Millimeter);
    let mut reader = Reader {
        posted,
        kept,
        taken,
        violations: &mut violations,
    };
    let found = reader.state(Moment::Found);
    let left = reader.state(Moment::Left);
    let visit = reader.visit();
    let details = ENDS.map(|end| reader.detail(end));
    let deceleration = reader.number("braking");
    let rider_mass = reader.mass("rider_mass");
    violations.finish()?;
    let nothing = v1::EndState::default();
    let said = |state: &v1::SetupState| ENDS.iter().any(|end| state_of(Some(state), *end) != Some(&nothing));
    let recorded = kept.visit().is_some_and(|visit| visit.as_left.is_some());
    Ok(Typed {
        left: (recorded || said(&left)).then_some(left),
        found,
        visit,
        details,
        deceleration,
        rider_mass,
    })
}

struct Reader<'a> {
    posted: &'a Posted,
    kept: &'a Kept,
    /// The unit of a length without one.
    taken: LengthUnit,
    violations: &'a mut Violations,
}

impl Reader<'_> {
    fn state(&mut self, moment: Moment) -> v1::SetupState {
        let [front, rear] = ENDS.map(|end| self.end(Place { moment, end }));
        v1::SetupState {
            front: Some(front),
            rear: Some(rear),
            machine_revision: moment.of(self.kept.visit()).and_then(|state| state.machine_revision),
        }
    }

    fn end(&mut self, place: Place) -> v1::EndState {
        let base = base(self.kept, place);
        let preload = self.length(&place.field("preload"));
        let mut adjusters = Vec::new();
        for slot in slots(self.kept, place.end) {
            if let Some(position) = self.number(&place.field(&slot.what())) {
                adjusters.push(v1::AdjusterSetting {
                    circuit: slot.circuit,
                    leg: slot.leg,
                    unit: find(&base, &slot).map_or(0, |setting| setting.unit),
                    position_from_closed: Some(position),
                });
            }
        }
        v1::EndState {
            adjusters,
            sag: self.sag(place, base.sag.unwrap_or_default()),
            travel_used: self.length(&place.field("travel_used")),
            travel_riding: self.choice(&place.field("travel_riding")),
            complaint: self.posted.text(&place.field("complaint")).to_owned(),
            oils: self.oils(place, &base),
            leg_preloads: match preload {
                None => base.leg_preloads,
                Some(_) => Vec::new(),
            },
            preload,
            ..base
        }
    }

    fn sag(&mut self, place: Place, base: v1::SagReadings) -> Option<v1::SagReadings> {
        let sag = v1::SagReadings {
            extended: self.settled(place, "extended", base.extended),
            alone: self.settled(place, "alone", base.alone),
            with_rider: self.settled(place, "with_rider", base.with_rider),
            mass_alone: self.mass(&place.field("mass_alone")),
            mass_with_rider: self.mass(&place.field("mass_with_rider")),
            ..base
        };
        (sag != v1::SagReadings::default()).then_some(sag)
    }

    fn settled(&mut self, place: Place, name: &str, before: Option<v1::SettledLength>) -> Option<v1::SettledLength> {
        let pressed = self.length(&place.field(&format!("{name}_pressed")));
        let lifted = self.length(&place.field(&format!("{name}_lifted")));
        let once = before.and_then(|before| before.unpaired);
        let length = v1::SettledLength {
            // A length that was read once stands until it is read again.
            unpaired: once.filter(|_| pressed.is_none() && lifted.is_none()),
            pressed,
            lifted,
        };
        (length != v1::SettledLength::default()).then_some(length)
    }

    /// The oils of a state: as the record has them, but for what was typed.
    fn oils(&mut self, place: Place, base: &v1::EndState) -> Vec<v1::OilFill> {
        let Some(before) = own_oil(base, self.kept, place).or_else(|| base.oils.is_empty().then(Default::default))
        else {
            return base.oils.clone();
        };
        let mut oil = before.clone();
        let day = self.posted.text(&place.field("oil_day"));
        if day != oil.fill_time.as_ref().map(day_of).unwrap_or_default() {
            oil.fill_time = self.day(&place.field("oil_day"));
            // The day says the age.
            oil.age = oil.age.filter(|_| oil.fill_time.is_none());
        }
        oil.level = self.length(&place.field("oil_level"));
        match oil == before {
            true => base.oils.clone(),
            false => vec![oil],
        }
    }

    fn visit(&mut self) -> v1::VisitValues {
        let base = self.kept.visit().cloned().unwrap_or_default();
        let day = base.visit_time.as_ref().map(day_of);
        // The hour of a visit that is recorded stays.
        let time = match day.as_deref() == Some(self.posted.text("date")) {
            true => base.visit_time,
            false => self.day("date"),
        };
        let mut work = base.work;
        work.extend(self.work());
        v1::VisitValues {
            as_found: base.as_found,
            as_left: base.as_left,
            visit_time: time,
            distance: form::quantity(self.posted, "distance", "distance", self.violations),
            riding: self.choice("riding"),
            pace_note: self.posted.text("pace_note").to_owned(),
            pace_ratio: self.number("pace_ratio"),
            notes: self.posted.text("notes").to_owned(),
            work,
            predictions: base.predictions,
        }
    }

    /// A piece of work that was done besides those recorded.
    fn work(&mut self) -> Option<v1::WorkDone> {
        let (remedy, text) = (self.choice("work_remedy"), self.posted.text("work_text"));
        if remedy == 0 {
            if !text.is_empty() {
                let words = "say what kind of work it was";
                self.violations.push("work_remedy", Reason::ValueMissing, words);
            }
            return None;
        }
        Some(v1::WorkDone {
            remedy,
            end: self.choice("work_end"),
            text: text.to_owned(),
            ..Default::default()
        })
    }

    fn detail(&mut self, end: End) -> v1::EndDetail {
        let name = |what: &str| format!("{}_{what}", end.word());
        v1::EndDetail {
            harsh: match self.posted.text(&name("harsh")) {
                "yes" => Some(true),
                "no" => Some(false),
                _ => None,
            },
            wanted_level: self.length(&name("wanted_level")),
            ..Default::default()
        }
    }

    /// A length; without a unit it is in the one chosen for all.
    fn length(&mut self, name: &str) -> Option<v1::Length> {
        let text = self.posted.text(name);
        if text.is_empty() {
            return None;
        }
        let bare = || format!("{text} {}", self.taken.row().symbol).parse();
        let entered: Result<Entered<LengthUnit>, _> = text.parse().or_else(|_| bare());
        match entered {
            Ok(entered) => Some(v1::Length::from_parts(entered.value(), entered.unit().row().number)),
            Err(fault) => {
                self.violations.push(name, Reason::OutOfRange, fault);
                None
            }
        }
    }

    fn mass(&mut self, name: &str) -> Option<v1::Mass> {
        form::quantity(self.posted, name, name, self.violations)
    }

    fn number(&mut self, name: &str) -> Option<f64> {
        form::number(self.posted, name, name, self.violations)
    }

    /// A choice by its number; what is none is refused where it is used.
    fn choice(&self, name: &str) -> i32 {
        self.posted.text(name).parse().unwrap_or_default()
    }

    fn day(&mut self, name: &str) -> Option<prost_types::Timestamp> {
        let text = self.posted.text(name);
        if text.is_empty() {
            return None;
        }
        // Noon: the same day in every zone a shop may read it in.
        let read = format!("{text}T12:00:00Z").parse().ok().filter(|_| text.len() == 10);
        if read.is_none() {
            let shown = wire::violation::bounded(text, 40);
            let words = format!("\"{shown}\" is no day; write it as 2026-05-31");
            self.violations.push(name, Reason::OutOfRange, words);
        }
        read
    }
}

/// What was not set otherwise was left as it was found.
pub(in crate::page::machine) fn as_found_but(left: v1::SetupState, found: &v1::SetupState) -> v1::SetupState {
    let end = |end: End| {
        let (mut left, found) = (
            state_of(Some(&left), end).cloned().unwrap_or_default(),
            state_of(Some(found), end)?,
        );
        if left.preload.is_none() && left.leg_preloads.is_empty() {
            left.preload = found.preload;
            left.leg_preloads = found.leg_preloads.clone();
        }
        for setting in &found.adjusters {
            let same = |other: &v1::AdjusterSetting| other.circuit == setting.circuit && other.leg == setting.leg;
            if !left.adjusters.iter().any(same) {
                left.adjusters.push(*setting);
            }
        }
        Some(left)
    };
    v1::SetupState {
        front: end(End::Front),
        rear: end(End::Rear),
        ..left
    }
}
