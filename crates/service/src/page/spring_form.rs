//! The form of a spring: a record becomes fields, fields become a record again. What cannot be read is said beside its
//! field, and what was written stays written.

use maud::{Markup, html};
use mechanics::quantity::{Unit, UnitSystem};
use wire::quantity::Message;
use wire::v1;
use wire::v1::tolerance_grade::System;
use wire::violation::{Violation, Violations};

use super::form::{self, Posted, set_quantity, unit_name};

/// The fields a form changes; the measured run is chosen elsewhere.
pub(super) const FIELDS: &[&str] = &[
    "label",
    "marked_rate",
    "marking_text",
    "grade",
    "free_length",
    "solid_length",
    "wire_diameter",
    "outside_diameter",
    "inside_diameter",
    "active_coil_count",
    "total_coil_count",
    "rack_place",
    "notes",
    "pair_spring",
];

/// The grades that can be chosen, by the word the form sends.
const GRADES: &[(&str, &str, System, i32)] = &[
    ("", "none: the difference only", System::Unspecified, 0),
    ("stated", "the share stated below", System::StatedRatio, 0),
    ("jis-1", "JIS B 2704, grade 1", System::JisB2704, 1),
    ("jis-2", "JIS B 2704, grade 2", System::JisB2704, 2),
    ("jis-3", "JIS B 2704, grade 3", System::JisB2704, 3),
    ("din-1", "DIN 2095, grade 1 (unconfirmed)", System::Din2095, 1),
    ("din-2", "DIN 2095, grade 2 (unconfirmed)", System::Din2095, 2),
    ("din-3", "DIN 2095, grade 3 (unconfirmed)", System::Din2095, 3),
];

/// A record as the fields of its form.
pub(super) fn fields(spring: &v1::Spring) -> Posted {
    let mut fields = Posted::default();
    fields.set("label", &spring.label);
    fields.set("marking_text", &spring.marking_text);
    fields.set("rack_place", &spring.rack_place);
    fields.set("notes", &spring.notes);
    fields.set("pair_spring", &spring.pair_spring);
    fields.set("etag", &spring.etag);
    set_quantity(&mut fields, "marked_rate", spring.marked_rate.as_ref());
    set_quantity(&mut fields, "free_length", spring.free_length.as_ref());
    set_quantity(&mut fields, "solid_length", spring.solid_length.as_ref());
    set_quantity(&mut fields, "wire_diameter", spring.wire_diameter.as_ref());
    set_quantity(&mut fields, "outside_diameter", spring.outside_diameter.as_ref());
    set_quantity(&mut fields, "inside_diameter", spring.inside_diameter.as_ref());
    for (name, count) in [
        ("active_coil_count", spring.active_coil_count),
        ("total_coil_count", spring.total_coil_count),
    ] {
        fields.set(name, &count.map(|count| count.to_string()).unwrap_or_default());
    }
    if let Some(grade) = &spring.grade {
        let chosen = GRADES
            .iter()
            .find(|(_, _, system, number)| *system == grade.system() && (*number == 0 || *number == grade.grade));
        fields.set("grade", chosen.map_or("", |(word, ..)| word));
        let ratio = grade.rate_tolerance_ratio.map(|ratio| shortest(ratio * 100.0));
        fields.set("rate_tolerance", &ratio.unwrap_or_default());
    }
    fields
}

/// A share in per cent without the last bits that multiplying leaves.
fn shortest(per_cent: f64) -> String {
    let text = format!("{per_cent:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The record the fields say; faults are noted at the fields of the record.
pub(super) fn read(posted: &Posted, violations: &mut Violations) -> v1::Spring {
    v1::Spring {
        label: posted.text("label").to_owned(),
        marked_rate: quantity(posted, "marked_rate", violations),
        marking_text: posted.text("marking_text").to_owned(),
        grade: grade(posted, violations),
        free_length: quantity(posted, "free_length", violations),
        solid_length: quantity(posted, "solid_length", violations),
        wire_diameter: quantity(posted, "wire_diameter", violations),
        outside_diameter: quantity(posted, "outside_diameter", violations),
        inside_diameter: quantity(posted, "inside_diameter", violations),
        active_coil_count: number(posted, "active_coil_count", violations),
        total_coil_count: number(posted, "total_coil_count", violations),
        rack_place: posted.text("rack_place").to_owned(),
        notes: posted.text("notes").to_owned(),
        pair_spring: posted.text("pair_spring").to_owned(),
        etag: posted.text("etag").to_owned(),
        ..Default::default()
    }
}

/// A quantity of the form, at the record's field of its name.
fn quantity<M: Message>(posted: &Posted, name: &str, violations: &mut Violations) -> Option<M> {
    form::quantity(posted, name, &format!("spring.{name}"), violations)
}

fn number(posted: &Posted, name: &str, violations: &mut Violations) -> Option<f64> {
    form::number(posted, name, &format!("spring.{name}"), violations)
}

fn grade(posted: &Posted, violations: &mut Violations) -> Option<v1::ToleranceGrade> {
    let word = posted.text("grade");
    let (_, _, system, grade) = GRADES.iter().find(|(known, ..)| *known == word)?;
    if *system == System::Unspecified {
        return None;
    }
    let stated = number(posted, "rate_tolerance", violations).map(|per_cent| per_cent / 100.0);
    Some(v1::ToleranceGrade {
        system: *system as i32,
        grade: *grade,
        rate_tolerance_ratio: stated.filter(|_| *system == System::StatedRatio),
    })
}

/// A form with what is written in it and what is wrong with that.
pub(super) struct Form<'a> {
    /// Where it goes.
    pub(super) action: &'a str,
    /// What its button says.
    pub(super) button: &'a str,
    /// What is written.
    pub(super) fields: &'a Posted,
    /// What is wrong.
    pub(super) faults: &'a [Violation],
    /// The springs that can be the other of a pair: name and what it is called.
    pub(super) others: &'a [(String, String)],
    /// The units offered first.
    pub(super) units: UnitSystem,
}

impl Form<'_> {
    /// The form.
    pub(super) fn shown(&self) -> Markup {
        html! {
            (self.summary())
            form method="post" action=(self.action) {
                (form::request_id())
                (form::etag(self.fields.text("etag")))
                div.fields {
                    (self.text("label", "Label", "what the shop calls it"))
                    (self.text("rack_place", "Place on the rack", ""))
                    (self.quantity::<v1::Stiffness>("marked_rate", "Marked rate"))
                    (self.text("marking_text", "Mark as it stands on the spring", "kept as written; without a unit the bench reads it in every sensible one"))
                    (self.grades())
                    (self.text("rate_tolerance", "Stated tolerance of the rate, in %", ""))
                    (self.quantity::<v1::Length>("free_length", "Free length"))
                    (self.quantity::<v1::Length>("solid_length", "Solid length"))
                    (self.quantity::<v1::Length>("wire_diameter", "Wire diameter"))
                    (self.quantity::<v1::Length>("outside_diameter", "Outside diameter"))
                    (self.quantity::<v1::Length>("inside_diameter", "Inside diameter"))
                    (self.text("active_coil_count", "Active coils", ""))
                    (self.text("total_coil_count", "All coils", ""))
                    (self.pairs())
                    div.field.wide {
                        label for="notes" { "Notes" }
                        textarea #notes name="notes" maxlength="4000" aria-invalid=[self.invalid("notes")] { (self.fields.text("notes")) }
                        (self.fault("notes"))
                    }
                }
                button.main { (self.button) }
            }
        }
    }

    fn summary(&self) -> Markup {
        html! {
            @if !self.faults.is_empty() {
                div.notice role="alert" {
                    p { "Nothing was saved. Look at:" }
                    ul {
                        @for fault in self.faults {
                            li { a href={ "#" (field_of(fault)) } { bdi { (fault.description) } } }
                        }
                    }
                }
            }
        }
    }

    fn faults_of<'b>(&'b self, name: &'b str) -> impl Iterator<Item = &'b Violation> + 'b {
        self.faults.iter().filter(move |fault| field_of(fault) == name)
    }

    fn invalid(&self, name: &str) -> Option<&'static str> {
        self.faults_of(name).next().map(|_| "true")
    }

    fn fault(&self, name: &str) -> Markup {
        html! {
            @for fault in self.faults_of(name) { p.fault id={ (name) "-fault" } { bdi { (fault.description) } } }
        }
    }

    fn described(&self, name: &str, hint: &str) -> Option<String> {
        match self.invalid(name) {
            Some(_) => Some(format!("{name}-fault")),
            None => (!hint.is_empty()).then(|| format!("{name}-hint")),
        }
    }

    fn text(&self, name: &str, label: &str, hint: &str) -> Markup {
        html! {
            div.field {
                label for=(name) { (label) }
                input id=(name) name=(name) type="text" dir="auto" maxlength="200" value=(self.fields.text(name))
                    aria-invalid=[self.invalid(name)] aria-describedby=[self.described(name, hint)];
                @if !hint.is_empty() { p.hint id={ (name) "-hint" } { (hint) } }
                (self.fault(name))
            }
        }
    }

    fn quantity<M: Message>(&self, name: &str, label: &str) -> Markup {
        let written = self.fields.text(&unit_name(name)).to_owned();
        let chosen = M::Unit::from_symbol(&written).unwrap_or(M::Unit::of_system(self.units));
        html! {
            div.field {
                label for=(name) { (label) }
                div.with-unit {
                    input id=(name) name=(name) type="text" inputmode="decimal" maxlength="60" value=(self.fields.text(name))
                        aria-invalid=[self.invalid(name)] aria-describedby=[self.described(name, "")];
                    select name=(unit_name(name)) aria-label={ "Unit of the " (label.to_lowercase()) } {
                        @for unit in M::Unit::ALL {
                            option selected[*unit == chosen] { (unit.row().symbol) }
                        }
                    }
                }
                (self.fault(name))
            }
        }
    }

    fn grades(&self) -> Markup {
        let chosen = self.fields.text("grade");
        html! {
            div.field {
                label for="grade" { "Tolerance it is judged by" }
                select #grade name="grade" aria-invalid=[self.invalid("grade")] aria-describedby=[self.described("grade", "")] {
                    @for (word, shown, ..) in GRADES { option value=(word) selected[*word == chosen] { (shown) } }
                }
                (self.fault("grade"))
            }
        }
    }

    fn pairs(&self) -> Markup {
        let chosen = self.fields.text("pair_spring");
        let known = chosen.is_empty() || self.others.iter().any(|(name, _)| name == chosen);
        html! {
            div.field {
                label for="pair_spring" { "Other spring of the pair" }
                select #pair_spring name="pair_spring" aria-invalid=[self.invalid("pair_spring")] {
                    option value="" { "none" }
                    // One beyond the list's end stays chosen.
                    @if !known { option value=(chosen) selected { (chosen) } }
                    @for (name, called) in self.others {
                        option value=(name) selected[name == chosen] { (called) }
                    }
                }
                (self.fault("pair_spring"))
            }
        }
    }
}

/// The form's field a fault belongs to: `spring.marked_rate.value` is at `marked_rate`.
fn field_of(fault: &Violation) -> &str {
    let path = fault.field.strip_prefix("spring.").unwrap_or(&fault.field);
    if path == "grade.rate_tolerance_ratio" {
        return "rate_tolerance";
    }
    path.split(['.', '[']).next().unwrap_or(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_record_comes_back_from_its_form() {
        let spring = v1::Spring {
            label: "fork, left".to_owned(),
            marked_rate: Some(v1::Stiffness::from_parts(0.95, 2)),
            marking_text: "0.95".to_owned(),
            grade: Some(v1::ToleranceGrade {
                system: System::StatedRatio as i32,
                grade: 0,
                rate_tolerance_ratio: Some(0.05),
            }),
            free_length: Some(v1::Length::from_parts(14.96, 2)),
            active_coil_count: Some(6.5),
            notes: "a\nb".to_owned(),
            pair_spring: "springs/right".to_owned(),
            etag: "e".to_owned(),
            ..Default::default()
        };
        let mut violations = Violations::new();
        assert_eq!(read(&fields(&spring), &mut violations), spring);
        assert!(violations.is_empty());
    }

    #[test]
    fn what_cannot_be_read_is_said_at_its_field() {
        let mut posted = Posted::default();
        posted.set("marked_rate", "9,5");
        posted.set("marked_rate_unit", "N/mm");
        posted.set("free_length", "12 parsec");
        posted.set("free_length_unit", "mm");
        posted.set("total_coil_count", "many");
        let mut violations = Violations::new();
        read(&posted, &mut violations);
        let faults = violations.finish().unwrap_err();
        let at: Vec<_> = faults.iter().map(field_of).collect();
        assert_eq!(at, ["marked_rate", "free_length", "total_coil_count"]);
        assert!(faults[0].description.contains("9.5"), "{}", faults[0].description);
    }

    #[test]
    fn a_unit_written_behind_the_number_counts() {
        let mut posted = Posted::default();
        posted.set("marked_rate", "54 lbf/in");
        posted.set("marked_rate_unit", "N/mm");
        let rate = read(&posted, &mut Violations::new()).marked_rate.unwrap();
        assert_eq!((rate.value, rate.unit), (Some(54.0), 3));
    }

    #[test]
    fn what_was_written_is_shown_again_escaped() {
        let hostile = "\"><script>alert(1)</script>";
        let mut posted = Posted::default();
        for name in FIELDS {
            posted.set(name, hostile);
        }
        let shown = Form {
            action: "/rack/new",
            button: "Save",
            fields: &posted,
            faults: &[],
            others: &[(hostile.to_owned(), hostile.to_owned())],
            units: UnitSystem::Metric,
        }
        .shown()
        .into_string();
        assert!(
            !shown.contains("<script") && shown.contains("&lt;script&gt;"),
            "{shown}"
        );
    }
}
