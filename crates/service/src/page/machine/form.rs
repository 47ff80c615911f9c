//! The form of a visit: as found, the judgement of it, as left.

use maud::{Markup, html};
use mechanics::chassis::End;
use mechanics::quantity::{LengthUnit, Unit, UnitSystem};
use wire::quantity::Message;
use wire::v1;
use wire::violation::Violation;

use super::fields::{LENGTHS, Moment, Place, SAG, base, slots};
use super::kept::Kept;
use super::words::{ENDS, RIDING, WORK, counted, heading};
use crate::page::form::{self, Posted, unit_name};
use crate::page::words::entered;

/// The form with what stands in it.
pub(super) struct Form<'a> {
    /// The machine and the visit.
    pub(super) kept: &'a Kept,
    /// What is written.
    pub(super) posted: &'a Posted,
    /// What is wrong with it.
    pub(super) faults: &'a [Violation],
    /// Units of the view.
    pub(super) units: UnitSystem,
}

impl Form<'_> {
    /// The form around the judgement of the machine as found, and that of the machine as it left.
    pub(super) fn shown(&self, judgement: &Markup, left: &Markup) -> Markup {
        let path = format!("/machines/{}", self.kept.id());
        let (setup, etag) = match &self.kept.setup {
            Some(setup) => (format!("{}@{}", setup.name, setup.revision), setup.etag.as_str()),
            None => (String::new(), ""),
        };
        html! {
            form #ask.machine method="post" action={ (path) "/judged" } data-answer={ (path) "/judgement" } {
                (form::request_id())
                input type="hidden" name="setup" value=(setup);
                (form::etag(etag))
                div.work {
                    section.ask aria-labelledby="h-found" {
                        h2 #h-found { "As found" }
                        (self.visit())
                        @for end in ENDS { (self.end(Place { moment: Moment::Found, end })) }
                        (self.besides())
                        p.links {
                            button.main { "Judge" }
                            button formaction={ (path) "/found" } { "Save as found" }
                        }
                    }
                    (judgement)
                }
                section aria-labelledby="h-left" {
                    h2 #h-left { "As left" }
                    p.hint { "A setting that is left empty was left as it was found. Sag is read again after any change of preload or spring." }
                    div.ends { @for end in ENDS { (self.end(Place { moment: Moment::Left, end })) } }
                    (left)
                    (self.work())
                    p.links { button formaction={ (path) "/left" } { "Save as left" } }
                }
            }
        }
    }

    fn visit(&self) -> Markup {
        let lengths = self.posted.text(LENGTHS);
        html! {
            div.fields {
                (self.line("date", "Day of the visit", "date"))
                (self.quantity::<v1::Length>("distance", "Ridden in all", Some(&[LengthUnit::Kilometer, LengthUnit::Mile])))
                (self.choice("riding", "Ridden since the last visit", &riding("not said")))
                (self.line("pace_ratio", "Pace over that of the first visit", "text"))
                div.field {
                    label for=(LENGTHS) { "Lengths are in" }
                    select id=(LENGTHS) name=(LENGTHS) {
                        @for unit in [LengthUnit::Millimeter, LengthUnit::Inch] {
                            option selected[unit.row().symbol == lengths] { (unit.row().symbol) }
                        }
                    }
                }
            }
            div.field {
                label for="pace_note" { "Pace, in words" }
                input #pace_note name="pace_note" type="text" dir="auto" maxlength="4000" value=(self.posted.text("pace_note"))
                    aria-invalid=[self.invalid("pace_note")];
                (self.fault("pace_note"))
            }
        }
    }

    /// Readings and settings of one end.
    fn end(&self, place: Place) -> Markup {
        let found = place.moment == Moment::Found;
        let title = heading(place.end);
        html! {
            fieldset.end {
                legend { (title) @if !found { ", as left" } }
                (self.sag(place, title))
                div.fields {
                    (self.line(&place.field("preload"), "Preload", "text"))
                    @for slot in slots(self.kept, place.end) {
                        @let range = slot.range.map(|range| format!(" of {range}")).unwrap_or_default();
                        (self.line(&place.field(&slot.what()), &format!("{}, {} from closed{range}", capital(&slot.words()), counted(slot.unit)), "text"))
                    }
                    @if found {
                        (self.line(&place.field("travel_used"), travel_label(place.end), "text"))
                        (self.choice(&place.field("travel_riding"), "Ridden for that", &riding("as the visit")))
                    }
                }
                (self.as_recorded(place))
                @if found {
                    details open[self.filled(place, &["mass_alone", "mass_with_rider", "complaint"])] {
                        summary { "Weighed, oil, what is felt" }
                        div.fields {
                            (self.quantity::<v1::Mass>(&place.field("mass_alone"), "This wheel, machine alone", None))
                            (self.quantity::<v1::Mass>(&place.field("mass_with_rider"), "This wheel, with the rider", None))
                            (self.line(&place.field("oil_day"), "Oil filled in on", "date"))
                            (self.line(&place.field("oil_level"), "Oil level or air gap", "text"))
                        }
                        (self.line(&place.field("complaint"), "What is felt, without names", "text"))
                    }
                }
            }
        }
    }

    /// The lengths, each read twice.
    fn sag(&self, place: Place, title: &str) -> Markup {
        let cell = |name: &str, what: &str, done: &str| {
            let field = place.field(&format!("{name}_{done}"));
            html! {
                td {
                    input id=(field) name=(field) type="text" inputmode="decimal" maxlength="60" autocomplete="off"
                        value=(self.posted.text(&field)) aria-label={ (title) ", " (what) ", " (done) }
                        aria-invalid=[self.invalid(&field)];
                    (self.fault(&field))
                }
            }
        };
        html! {
            table.readings {
                thead { tr { th scope="col" { "Length" } th scope="col" { "Pressed" } th scope="col" { "Lifted" } } }
                tbody {
                    @for (name, what) in SAG {
                        tr { th scope="row" { (what) } (cell(name, &what.to_lowercase(), "pressed")) (cell(name, &what.to_lowercase(), "lifted")) }
                    }
                }
            }
        }
    }

    /// What the record says that has no field here: it stays.
    fn as_recorded(&self, place: Place) -> Markup {
        let state = base(self.kept, place);
        let sag = state.sag.unwrap_or_default();
        let once = SAG.iter().zip([sag.extended, sag.alone, sag.with_rider]);
        let mut said: Vec<String> = once
            .filter_map(|((_, what), read)| {
                Some(format!(
                    "{}, read once: {}",
                    what.to_lowercase(),
                    entered(read?.unpaired.as_ref())?
                ))
            })
            .collect();
        if let [left, right] = state.leg_preloads.as_slice() {
            let each = [left, right].map(|preload| entered(Some(preload)).unwrap_or_default());
            said.push(format!("preload of the left leg {}, of the right {}", each[0], each[1]));
        }
        html! { @if !said.is_empty() { p.hint { "As recorded, until written here: " (said.join("; ")) "." } } }
    }

    /// What is known besides, for the judgement alone.
    fn besides(&self) -> Markup {
        let yes_or_no =
            [("", "not said"), ("no", "no"), ("yes", "yes")].map(|(value, shown)| (value.to_owned(), shown));
        let written = [
            "front_harsh",
            "rear_harsh",
            "front_wanted_level",
            "rear_wanted_level",
            "braking",
            "rider_mass",
        ];
        html! {
            details open[written.iter().any(|name| !self.posted.text(name).is_empty())] {
                summary { "Known besides" }
                p.hint { "These are taken for the judgement and are not kept with the visit." }
                div.fields {
                    @for end in ENDS {
                        (self.choice(&format!("{}_harsh", end.word()), &format!("{} rides harshly", heading(end)), &yes_or_no))
                        (self.line(&format!("{}_wanted_level", end.word()), &format!("{}: oil level or air gap wanted", heading(end)), "text"))
                    }
                    (self.line("braking", "Hardest braking over gravity, such as 0.8", "text"))
                    @if self.kept.rider_mass().is_none() { (self.quantity::<v1::Mass>("rider_mass", "Rider with all gear", None)) }
                }
            }
        }
    }

    /// What was done.
    fn work(&self) -> Markup {
        let done = self.kept.visit().map(|visit| visit.work.as_slice()).unwrap_or_default();
        let kinds: Vec<(String, &str)> = [(String::new(), "nothing besides")]
            .into_iter()
            .chain(WORK.map(|remedy| ((remedy as i32).to_string(), wire::setup::words::remedy(remedy as i32))))
            .collect();
        let ends = [(v1::MachineEnd::Front, "front"), (v1::MachineEnd::Rear, "rear")];
        let ends = ends.map(|(end, shown)| ((end as i32).to_string(), shown));
        html! {
            @if !done.is_empty() {
                p.part { "Work recorded" }
                ul { @for work in done { li { (told(work)) } } }
            }
            div.fields {
                (self.choice("work_remedy", "Work done", &kinds))
                (self.choice("work_end", "Where", &ends))
                (self.line("work_text", "In words, without names", "text"))
            }
            div.field {
                label for="notes" { "Notes, without names" }
                textarea #notes name="notes" dir="auto" maxlength="4000" aria-invalid=[self.invalid("notes")] { (self.posted.text("notes")) }
                (self.fault("notes"))
            }
        }
    }

    fn filled(&self, place: Place, what: &[&str]) -> bool {
        what.iter().any(|what| !self.posted.text(&place.field(what)).is_empty())
    }

    fn faults_of<'b>(&'b self, name: &'b str) -> impl Iterator<Item = &'b Violation> + 'b {
        self.faults.iter().filter(move |fault| fault.field == name)
    }

    fn invalid(&self, name: &str) -> Option<&'static str> {
        self.faults_of(name).next().map(|_| "true")
    }

    fn described(&self, name: &str) -> Option<String> {
        self.invalid(name).map(|_| format!("{name}-fault"))
    }

    fn fault(&self, name: &str) -> Markup {
        html! {
            @for (index, fault) in self.faults_of(name).enumerate() {
                p.fault id=[(index == 0).then(|| format!("{name}-fault"))] { bdi { (fault.description) } }
            }
        }
    }

    fn line(&self, name: &str, label: &str, kind: &str) -> Markup {
        html! {
            div.field {
                label for=(name) { (label) }
                input id=(name) name=(name) type=(kind) dir=[(kind == "text").then_some("auto")] maxlength=[(kind == "text").then_some("4000")]
                    autocomplete="off" value=(self.posted.text(name))
                    aria-invalid=[self.invalid(name)] aria-describedby=[self.described(name)];
                (self.fault(name))
            }
        }
    }

    fn choice<T: AsRef<str>>(&self, name: &str, label: &str, options: &[(T, &str)]) -> Markup {
        let chosen = self.posted.text(name);
        html! {
            div.field {
                label for=(name) { (label) }
                select id=(name) name=(name) aria-invalid=[self.invalid(name)] aria-describedby=[self.described(name)] {
                    @for (value, shown) in options { option value=(value.as_ref()) selected[value.as_ref() == chosen] { (shown) } }
                }
                (self.fault(name))
            }
        }
    }

    /// A number with its unit beside it: one of these, or of all there are.
    fn quantity<M: Message>(&self, name: &str, label: &str, units: Option<&[M::Unit]>) -> Markup {
        let units = units.unwrap_or(M::Unit::ALL);
        let written = M::Unit::from_symbol(self.posted.text(&unit_name(name)));
        let usual = M::Unit::of_system(self.units);
        let usual = Some(usual)
            .filter(|unit| units.contains(unit))
            .or_else(|| units.first().copied());
        let chosen = written.or(usual);
        html! {
            div.field {
                label for=(name) { (label) }
                div.with-unit {
                    input id=(name) name=(name) type="text" inputmode="decimal" maxlength="60" autocomplete="off"
                        value=(self.posted.text(name)) aria-invalid=[self.invalid(name)] aria-describedby=[self.described(name)];
                    select name=(unit_name(name)) aria-label={ "Unit of: " (label.to_lowercase()) } {
                        @if let Some(other) = written.filter(|unit| !units.contains(unit)) { option selected { (other.row().symbol) } }
                        @for unit in units { option selected[Some(*unit) == chosen] { (unit.row().symbol) } }
                    }
                }
                (self.fault(name))
            }
        }
    }
}

fn riding(none: &'static str) -> Vec<(String, &'static str)> {
    let some = RIDING
        .iter()
        .map(|(riding, words)| ((*riding as i32).to_string(), *words));
    [(String::new(), none)].into_iter().chain(some).collect()
}

fn travel_label(end: End) -> &'static str {
    match end {
        End::Front => "Travel used, along the leg",
        End::Rear => "Travel used, at the wheel",
    }
}

/// As a label begins.
fn capital(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}

/// A piece of work in words.
pub(super) fn told(work: &v1::WorkDone) -> Markup {
    html! {
        (wire::setup::words::end(work.end)) ": " (wire::setup::words::remedy(work.remedy))
        @if !work.text.is_empty() { ", " bdi { (work.text) } }
        @if let Some(oil) = work.oil.as_ref().filter(|oil| !oil.grade.is_empty()) { ", oil " bdi { (oil.grade) } }
    }
}
