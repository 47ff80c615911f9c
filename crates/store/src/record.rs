//! Records: what they hold and what the store adds to it.
//!
//! The contents are the messages of `proto/springwright/store/v1`, as the compiler of that language makes them: plain structs with
//! public fields, `Default`, and unit numbers as they lie on disk. Nothing here checks a value; that is the caller's.

use std::fmt;

use prost::Message;

use crate::error::StoreError;
use crate::moment::Moment;

pub use crate::disk::{
    DamperBleed, DamperBody, DamperCharge, DamperHoles, DamperLeak, DamperNeedle, DamperOrifice, DamperPaths,
    DamperStraightLift, DamperValve, DynoTest, FrameCurve, FrameStiffness, Gap, JobSheetBody, LoadCalibration,
    LoadCell, MachineBody, NamedStack, OilPoint, OilValues, PriceListBody, Quantity, RateTest, RiderBody,
    RuleTableBody, RunBody, RunColumn, RunHeader, RunState, SetupBody, ShimLotBody, Span, SpringBody, StackBody,
    StackClamp, StackFace, StackLayer, StackSeat, StackStop, StackValues, TakenShims, TareMark, TesterBody,
    TesterFrame, ToleranceGrade, WallClock, damper_bleed, damper_valve, run_header, tester_frame,
};

/// Largest encoded content of a record, in bytes.
pub const MAX_BODY: usize = 1 << 20;

/// What a record is. The numbers are part of the format on disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(u8)]
pub enum Kind {
    /// A spring on the rack.
    Spring = 1,
    /// A recorded run.
    Run = 2,
    /// A lot of shims in the drawer.
    ShimLot = 3,
    /// A stack of shims.
    Stack = 4,
    /// A damper.
    Damper = 5,
    /// A tester with its calibration.
    Tester = 12,
    /// A rider: the only record that says who a person is.
    Rider = 40,
    /// A machine with its units.
    Machine = 41,
    /// A visit of a machine.
    Setup = 42,
    /// A sheet that was handed over.
    JobSheet = 43,
    /// The shop's own rules.
    RuleTable = 44,
    /// The shop's prices.
    PriceList = 45,
}

/// How records of a kind are listed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ListOrder {
    /// By id, ascending.
    ById,
    /// Newest first; among those of one instant by id.
    NewestFirst,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Kind; 12] = [
        Kind::Spring,
        Kind::Run,
        Kind::ShimLot,
        Kind::Stack,
        Kind::Damper,
        Kind::Tester,
        Kind::Rider,
        Kind::Machine,
        Kind::Setup,
        Kind::JobSheet,
        Kind::RuleTable,
        Kind::PriceList,
    ];

    /// The byte that stands for it in keys.
    pub const fn byte(self) -> u8 {
        self as u8
    }

    /// The kind of that byte.
    pub fn of_byte(byte: u8) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.byte() == byte)
    }

    /// Its word in exports.
    pub const fn word(self) -> &'static str {
        match self {
            Kind::Spring => "spring",
            Kind::Run => "run",
            Kind::ShimLot => "shim-lot",
            Kind::Stack => "stack",
            Kind::Damper => "damper",
            Kind::Tester => "tester",
            Kind::Rider => "rider",
            Kind::Machine => "machine",
            Kind::Setup => "setup",
            Kind::JobSheet => "job-sheet",
            Kind::RuleTable => "rule-table",
            Kind::PriceList => "price-list",
        }
    }

    /// How such records are listed.
    pub const fn list_order(self) -> ListOrder {
        match self {
            Kind::Run | Kind::Setup | Kind::JobSheet => ListOrder::NewestFirst,
            Kind::Spring
            | Kind::ShimLot
            | Kind::Stack
            | Kind::Damper
            | Kind::Tester
            | Kind::Rider
            | Kind::Machine
            | Kind::RuleTable
            | Kind::PriceList => ListOrder::ById,
        }
    }

    /// Whether earlier revisions are kept. Of what is known of a person only the newest is: what was corrected or taken out
    /// must not stay behind.
    pub const fn keeps_history(self) -> bool {
        !matches!(self, Kind::Rider)
    }

    /// The first revision that is kept of a record whose newest is this one.
    pub(crate) const fn first_kept(self, newest: u64) -> u64 {
        if self.keeps_history() { 1 } else { newest }
    }
}

/// A record's id: `[a-z][a-z0-9-]{0,61}[a-z0-9]`, or a UUID of the server's in lower case.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct RecordId(String);

impl RecordId {
    /// Checks an id; `None` if it is none.
    pub fn parse(text: &str) -> Option<RecordId> {
        (is_chosen(text) || is_uuid(text)).then(|| RecordId(text.to_owned()))
    }

    /// A new random one.
    pub fn random() -> RecordId {
        RecordId(uuid::Uuid::new_v4().hyphenated().to_string())
    }

    /// The id as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for RecordId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

fn is_chosen(text: &str) -> bool {
    let bytes = text.as_bytes();
    let inner = bytes.iter().all(|b| matches!(b, b'a'..=b'z' | b'0'..=b'9' | b'-'));
    let first = bytes.first().is_some_and(u8::is_ascii_lowercase);
    let last = bytes.last().is_some_and(|b| *b != b'-');
    (2..=63).contains(&bytes.len()) && inner && first && last
}

fn is_uuid(text: &str) -> bool {
    uuid::Uuid::try_parse(text).is_ok_and(|uuid| uuid.hyphenated().to_string() == text)
}

/// The content of a kind of record.
pub trait Body: Clone + PartialEq + Send + Sync + 'static {
    /// Which kind.
    const KIND: Kind;

    /// The bytes to keep.
    fn encode(&self) -> Vec<u8>;

    /// From kept bytes; the error says what is wrong with them.
    fn decode(bytes: &[u8]) -> Result<Self, String>;

    /// Takes back whatever an update must not change. `before` is the content that is being replaced.
    fn keep_fixed(&mut self, _before: &Self) {}

    /// Stacks of the drawer that it names.
    fn stacks_named(&self) -> Vec<&NamedStack> {
        Vec::new()
    }
}

/// Contents that are entered by people, as opposed to recorded: what [`Store::create`](crate::Store::create) makes.
pub trait Entered: Body {}

macro_rules! entered {
    ($($body:ident: $kind:ident),* $(,)?) => {$(
        impl Body for $body {
            const KIND: Kind = Kind::$kind;

            fn encode(&self) -> Vec<u8> {
                self.encode_to_vec()
            }

            fn decode(bytes: &[u8]) -> Result<Self, String> {
                Message::decode(bytes).map_err(|error| error.to_string())
            }
        }

        impl Entered for $body {}
    )*};
}

entered! {
    SpringBody: Spring,
    TesterBody: Tester,
    RiderBody: Rider,
    MachineBody: Machine,
    SetupBody: Setup,
    JobSheetBody: JobSheet,
    RuleTableBody: RuleTable,
    PriceListBody: PriceList,
}

impl Body for ShimLotBody {
    const KIND: Kind = Kind::ShimLot;

    fn encode(&self) -> Vec<u8> {
        self.encode_to_vec()
    }

    fn decode(bytes: &[u8]) -> Result<Self, String> {
        Message::decode(bytes).map_err(|error| error.to_string())
    }

    /// Counts change with what is put in and taken out, never by writing another number.
    fn keep_fixed(&mut self, before: &Self) {
        (self.count, self.built_count) = (before.count, before.built_count);
    }
}

impl Entered for ShimLotBody {}

impl Body for StackBody {
    const KIND: Kind = Kind::Stack;

    fn encode(&self) -> Vec<u8> {
        self.encode_to_vec()
    }

    fn decode(bytes: &[u8]) -> Result<Self, String> {
        Message::decode(bytes).map_err(|error| error.to_string())
    }

    /// A stack is built and taken apart, never written to be so.
    fn keep_fixed(&mut self, before: &Self) {
        self.built = before.built;
        self.taken.clone_from(&before.taken);
    }
}

impl Entered for StackBody {}

impl Body for DamperBody {
    const KIND: Kind = Kind::Damper;

    fn encode(&self) -> Vec<u8> {
        self.encode_to_vec()
    }

    fn decode(bytes: &[u8]) -> Result<Self, String> {
        Message::decode(bytes).map_err(|error| error.to_string())
    }

    fn stacks_named(&self) -> Vec<&NamedStack> {
        let paths = [
            &self.compression,
            &self.rebound,
            &self.base_compression,
            &self.base_rebound,
        ];
        let valves = paths.into_iter().flatten().filter_map(|paths| paths.valve.as_ref());
        let named = valves.filter_map(|valve| match &valve.source {
            Some(damper_valve::Source::Stack(named)) => Some(named),
            _ => None,
        });
        named.collect()
    }
}

impl Entered for DamperBody {}

impl Body for RunBody {
    const KIND: Kind = Kind::Run;

    fn encode(&self) -> Vec<u8> {
        self.encode_to_vec()
    }

    fn decode(bytes: &[u8]) -> Result<Self, String> {
        Message::decode(bytes).map_err(|error| error.to_string())
    }

    /// Of a run only spring and notes are anybody's to change.
    fn keep_fixed(&mut self, before: &Self) {
        *self = RunBody {
            spring: std::mem::take(&mut self.spring),
            notes: std::mem::take(&mut self.notes),
            ..before.clone()
        };
    }
}

/// A record at one of its revisions.
#[derive(Clone, Debug, PartialEq)]
pub struct Saved<B> {
    /// Its id.
    pub id: RecordId,
    /// Tells a reuse of the id: a UUID in lower case.
    pub uid: String,
    /// Counts changes, from 1.
    pub revision: u64,
    /// CRC-32C of this revision with its times.
    pub checksum: u32,
    /// When the record was made.
    pub create_time: Moment,
    /// When this revision was made.
    pub update_time: Moment,
    /// When it was deleted; `None`: it is not.
    pub delete_time: Option<Moment>,
    /// When it goes for good; `None`: it is not deleted.
    pub purge_time: Option<Moment>,
    /// The content.
    pub body: B,
}

impl<B> Saved<B> {
    /// Revision and checksum: a restored store may reach the same revision with other content.
    pub fn etag(&self) -> String {
        etag(self.revision, self.checksum)
    }
}

pub(crate) fn etag(revision: u64, checksum: u32) -> String {
    format!("{revision}-{checksum:08x}")
}

/// Refuses an etag that is not the current one.
pub(crate) fn check_etag(given: Option<&str>, current: String) -> Result<(), StoreError> {
    match given {
        Some(given) if given != current => Err(StoreError::StaleEtag { current }),
        _ => Ok(()),
    }
}
