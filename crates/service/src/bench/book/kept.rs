//! Records of the book as the API tells them, and as they are kept.

use prost::Message;
use store::record::{Entered, JobSheetBody, MachineBody, PriceListBody, RiderBody, RuleTableBody, SetupBody};
use store::{Saved, StoreError};
use wire::names::Collection;
use wire::v1;
use wire::violation::{Scope, Violations};

use super::super::fields::{Field, fields};
use super::super::map;
use crate::bench::Bench;
use crate::bench::standard::Recorded;
use crate::error::ServiceError;

/// A record of the book.
pub(in crate::bench) trait Kept: Message + Default + Clone + 'static {
    /// How it is kept.
    type Body: Entered;
    /// What an update can change.
    const FIELDS: &'static [Field<Self, Self>];

    /// Where it stands in requests.
    const PLACE: &'static str;

    /// What it is, in words.
    const WORDS: &'static str;

    /// As it is told at a revision; what only the server says is filled in.
    fn told(saved: &Saved<Self::Body>) -> Result<Self, StoreError>;

    /// What is kept of it: without what only the server says.
    fn body(&self) -> Self::Body;

    /// What was kept, without what only the server says.
    fn content(body: &Self::Body) -> Result<Self, StoreError>;

    /// Name and etag as sent.
    fn named(&self) -> (&str, &str);

    /// Notes every fault; `whole` where the record is entered as a whole.
    fn check(&self, whole: bool, at: Scope<'_>);
}

/// A record of the book of which a shop has many.
pub(in crate::bench) trait Listed: Kept + Recorded<Stored = <Self as Kept>::Body> {
    /// Looks at the records it names, and fills in which revisions are meant where that is left out.
    fn prepare(
        &mut self,
        _bench: &Bench,
        _before: Option<&Self>,
        _violations: &mut Violations,
    ) -> Result<(), ServiceError> {
        Ok(())
    }
}

macro_rules! recorded {
    ($($message:ident: $collection:ident, revised $revised:literal;)*) => {$(
        impl Recorded for v1::$message {
            type Stored = <Self as Kept>::Body;
            const COLLECTION: Collection = Collection::$collection;
            const REVISED: bool = $revised;

            fn of_saved(saved: &Saved<Self::Stored>) -> Result<Self, StoreError> {
                Self::told(saved)
            }
        }
    )*};
}

recorded! {
    Rider: Riders, revised false;
    Machine: Machines, revised true;
    Setup: Setups, revised true;
    JobSheet: JobSheets, revised true;
}

/// A message of the API as it is kept: encoded, without what only the server says.
macro_rules! entered {
    ($message:ident, $body:ident, $name:expr, [$($server:ident),*]) => {
        fn told(saved: &Saved<$body>) -> Result<Self, StoreError> {
            let name = $name(saved.id.as_str());
            Ok(map::stamped!(Self::content(&saved.body)?, name, saved, [$($server),*]))
        }

        fn body(&self) -> $body {
            let bare = v1::$message {
                name: String::new(),
                uid: String::new(),
                etag: String::new(),
                revision: 0,
                create_time: None,
                update_time: None,
                $($server: None,)*
                ..self.clone()
            };
            $body {
                entered: bare.encode_to_vec(),
            }
        }

        fn content(body: &$body) -> Result<Self, StoreError> {
            Self::decode(body.entered.as_slice()).map_err(|error| StoreError::Damaged {
                what: format!("a record is no {}: {error}", Self::WORDS),
            })
        }

        fn named(&self) -> (&str, &str) {
            (&self.name, &self.etag)
        }
    };
}

impl Kept for v1::Machine {
    type Body = MachineBody;
    const FIELDS: &'static [Field<Self, Self>] = fields! {
        values: |machine| machine.values.is_some();
        rider: |machine| !machine.rider.is_empty();
        notes: |machine| !machine.notes.is_empty();
    };
    const PLACE: &'static str = "machine";
    const WORDS: &'static str = "machine";

    entered!(
        Machine,
        MachineBody,
        |id| Collection::Machines.name(id),
        [delete_time, purge_time]
    );

    fn check(&self, _whole: bool, at: Scope<'_>) {
        wire::book::machine(self, at);
    }
}

impl Kept for v1::Setup {
    type Body = SetupBody;
    const FIELDS: &'static [Field<Self, Self>] = fields! {
        machine: |setup| !setup.machine.is_empty();
        rider: |setup| !setup.rider.is_empty();
        visit: |setup| setup.visit.is_some();
    };
    const PLACE: &'static str = "setup";
    const WORDS: &'static str = "setup";

    entered!(
        Setup,
        SetupBody,
        |id| Collection::Setups.name(id),
        [delete_time, purge_time]
    );

    fn check(&self, whole: bool, at: Scope<'_>) {
        wire::book::setup(self, whole, at);
    }
}

impl Kept for v1::JobSheet {
    type Body = JobSheetBody;
    const FIELDS: &'static [Field<Self, Self>] = fields! {
        setup: |sheet| !sheet.setup.is_empty();
        sheet_time: |sheet| sheet.sheet_time.is_some();
        media_type: |sheet| !sheet.media_type.is_empty();
        notes: |sheet| !sheet.notes.is_empty();
    };
    const PLACE: &'static str = "job_sheet";
    const WORDS: &'static str = "job sheet";

    entered!(
        JobSheet,
        JobSheetBody,
        |id| Collection::JobSheets.name(id),
        [delete_time, purge_time]
    );

    fn check(&self, whole: bool, at: Scope<'_>) {
        wire::book::job_sheet(self, whole, at);
    }
}

impl Kept for v1::PriceList {
    type Body = PriceListBody;
    const FIELDS: &'static [Field<Self, Self>] = fields! {
        currency_code: |list| !list.currency_code.is_empty();
        rows: |list| !list.rows.is_empty();
    };
    const PLACE: &'static str = "price_list";
    const WORDS: &'static str = "price list";

    entered!(PriceList, PriceListBody, |_| "priceList".to_owned(), []);

    fn check(&self, whole: bool, at: Scope<'_>) {
        wire::book::tables::price_list(self, whole, at);
    }
}

impl Kept for v1::RuleTable {
    type Body = RuleTableBody;
    const FIELDS: &'static [Field<Self, Self>] = fields! {
        overrides: |_| true;
    };
    const PLACE: &'static str = "rule_table";
    const WORDS: &'static str = "rule table";

    entered!(RuleTable, RuleTableBody, |_| "ruleTable".to_owned(), []);

    fn check(&self, _whole: bool, at: Scope<'_>) {
        wire::book::tables::rule_table(self, at);
    }
}

/// A rider stands field by field on disk: what is known of a person is looked into when it is erased.
impl Kept for v1::Rider {
    type Body = RiderBody;
    const FIELDS: &'static [Field<Self, Self>] = fields! {
        person_name: |rider| !rider.person_name.is_empty();
        contact: |rider| !rider.contact.is_empty();
        mass_with_gear: |rider| rider.mass_with_gear.is_some();
        passenger_mass_with_gear: |rider| rider.passenger_mass_with_gear.is_some();
        notes: |rider| !rider.notes.is_empty();
    };
    const PLACE: &'static str = "rider";
    const WORDS: &'static str = "rider";

    fn told(saved: &Saved<RiderBody>) -> Result<Self, StoreError> {
        let name = Collection::Riders.name(saved.id.as_str());
        Ok(map::stamped!(
            Self::content(&saved.body)?,
            name,
            saved,
            [delete_time, purge_time]
        ))
    }

    fn body(&self) -> RiderBody {
        RiderBody {
            person_name: self.person_name.clone(),
            contact: self.contact.clone(),
            mass_with_gear: map::kept(&self.mass_with_gear),
            passenger_mass_with_gear: map::kept(&self.passenger_mass_with_gear),
            notes: self.notes.clone(),
        }
    }

    fn content(body: &RiderBody) -> Result<Self, StoreError> {
        Ok(v1::Rider {
            person_name: body.person_name.clone(),
            contact: body.contact.clone(),
            mass_with_gear: map::given(&body.mass_with_gear),
            passenger_mass_with_gear: map::given(&body.passenger_mass_with_gear),
            notes: body.notes.clone(),
            ..Self::default()
        })
    }

    fn named(&self) -> (&str, &str) {
        (&self.name, &self.etag)
    }

    fn check(&self, _whole: bool, at: Scope<'_>) {
        wire::book::rider(self, at);
    }
}
