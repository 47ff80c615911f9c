//! A record becomes fields.

use mechanics::quantity::{LengthUnit, Unit};
use wire::quantity::Message;
use wire::v1;

use super::{LENGTHS, Moment, Place, SAG, base, day_of, find, own_oil, slots};
use crate::page::form::{Posted, set_quantity};
use crate::page::machine::kept::Kept;
use crate::page::machine::words::ENDS;
use crate::page::words::quantity;

/// The fields of the visit that is worked on, filled in.
pub(in crate::page::machine) fn filled(kept: &Kept, lengths: LengthUnit, today: &str) -> Posted {
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

/// A quantity as it is typed: without its unit where that is the one taken for granted.
fn typed<M: Message>(message: Option<&M>, taken: M::Unit) -> String {
    match quantity(message) {
        None => String::new(),
        Some(entered) if entered.unit() == taken => entered.value().to_string(),
        Some(entered) => format!("{} {}", entered.value(), entered.unit().row().symbol),
    }
}

/// A choice that was made; empty for none.
fn chosen(number: i32) -> String {
    match number {
        0 => String::new(),
        chosen => chosen.to_string(),
    }
}
