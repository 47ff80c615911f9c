//! The fields of a visit: a record becomes fields, fields become a record again, and a fault finds its field.
//!
//! What no field shows stays as the record has it.

use mechanics::chassis::End;
use mechanics::quantity::{Entered, LengthUnit, Unit};
use wire::quantity::Message;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::violation::{Violation, Violations};

use super::kept::Kept;
use super::words::{ENDS, state_of, unit_of};
use crate::page::form::{self, Posted, unit_name};
use crate::page::words::quantity;

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

/// A quantity as it is typed: without its unit where that is the one taken for granted.
fn typed<M: Message>(message: Option<&M>, taken: M::Unit) -> String {
    match quantity(message) {
        None => String::new(),
        Some(entered) if entered.unit() == taken => entered.value().to_string(),
        Some(entered) => format!("{} {}", entered.value(), entered.unit().row().symbol),
    }
}

/// The fields of the visit that is worked on, filled in.
pub(super) fn filled(kept: &Kept, lengths: LengthUnit, today: &str) -> Posted {
    let mut posted = Posted::default();
    posted.set(LENGTHS, lengths.row().symbol);
    for moment in [Moment::Found, Moment::Left] {
        for end in ENDS {
            fill(&mut posted, kept, Place { moment, end }, lengths);
        }
    }
    let none = v1::VisitValues::default();
    let visit = kept.visit().unwrap_or(&none);
    let date = visit.visit_time.map(|time| day_of(&time));
    // A visit that was entered without its day keeps it open.
    let date = date.or_else(|| kept.setup.is_none().then(|| today.to_owned()));
    posted.set("date", &date.unwrap_or_default());
    set_quantity(&mut posted, "distance", visit.distance.as_ref());
    posted.set("riding", &chosen(visit.riding));
    posted.set("pace_note", &visit.pace_note);
    let pace = visit.pace_ratio.map(|pace| pace.to_string());
    posted.set("pace_ratio", &pace.unwrap_or_default());
    posted.set("notes", &visit.notes);
    posted
}

fn fill(posted: &mut Posted, kept: &Kept, place: Place, lengths: LengthUnit) {
    let state = base(kept, place);
    let mut set = |what: &str, text: &str| posted.set(&place.field(what), text);
    let sag = state.sag.unwrap_or_default();
    for ((name, _), read) in SAG.iter().zip([sag.extended, sag.alone, sag.with_rider]) {
        let read = read.unwrap_or_default();
        set(&format!("{name}_pressed"), &typed(read.pressed.as_ref(), lengths));
        set(&format!("{name}_lifted"), &typed(read.lifted.as_ref(), lengths));
    }
    set("preload", &typed(state.preload.as_ref(), lengths));
    set("travel_used", &typed(state.travel_used.as_ref(), lengths));
    set("travel_riding", &chosen(state.travel_riding));
    set("complaint", &state.complaint);
    for slot in slots(kept, place.end) {
        let setting = find(&state, &slot);
        let position = setting.and_then(|setting| setting.position_from_closed);
        set(
            &slot.what(),
            &position.map(|position| position.to_string()).unwrap_or_default(),
        );
    }
    if let Some(oil) = own_oil(&state, kept, place) {
        set("oil_day", &oil.fill_time.as_ref().map(day_of).unwrap_or_default());
        set("oil_level", &typed(oil.level.as_ref(), lengths));
    }
    set_quantity(posted, &place.field("mass_alone"), sag.mass_alone.as_ref());
    set_quantity(posted, &place.field("mass_with_rider"), sag.mass_with_rider.as_ref());
}

fn set_quantity<M: Message>(posted: &mut Posted, name: &str, message: Option<&M>) {
    if let Some(entered) = quantity(message) {
        posted.set(name, &entered.value().to_string());
        posted.set(&unit_name(name), entered.unit().row().symbol);
    }
}

/// A choice that was made; empty for none.
fn chosen(number: i32) -> String {
    (number != 0).then(|| number.to_string()).unwrap_or_default()
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

/// What was typed.
pub(super) struct Typed {
    /// As found.
    pub(super) found: v1::SetupState,
    /// As left; none where nothing was typed of it.
    pub(super) left: Option<v1::SetupState>,
    /// The visit itself, without its states.
    pub(super) visit: v1::VisitValues,
    /// What is known of fork and rear for this judgement.
    pub(super) details: [v1::EndDetail; 2],
    /// Hardest braking over standard gravity.
    pub(super) deceleration: Option<f64>,
    /// Rider with gear, where no record says it.
    pub(super) rider_mass: Option<v1::Mass>,
}

/// Reads the fields; each fault is named by its field.
pub(super) fn read(posted: &Posted, kept: &Kept) -> Result<Typed, Vec<Violation>> {
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
pub(super) fn as_found_but(left: v1::SetupState, found: &v1::SetupState) -> v1::SetupState {
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

/// Faults of a request, at the fields of the form.
pub(super) fn at_fields(faults: Vec<Violation>, moment: Moment, posted: &Posted, kept: &Kept) -> Vec<Violation> {
    let at = |fault: Violation| Violation {
        field: of_path(&fault.field, moment, posted, kept),
        ..fault
    };
    faults.into_iter().map(at).collect()
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
