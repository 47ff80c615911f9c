//! The shop's rules and prices: one record of each, made by its first change.

use prost::Message;
use prost_types::FieldMask;
use store::record::{RecordId, RuleTableBody};
use store::{Moment, StoreError};
use wire::book::tables;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::violation::{Scope, Violations};

use super::super::{checked, fields, given, refusal, request_key};
use super::kept::Kept;
use crate::bench::Bench;
use crate::bench::standard::{Change, change_of};
use crate::error::ServiceError;

/// Etag of a table nothing was entered in.
const UNTOUCHED: &str = "0-00000000";
/// How often a first change is tried anew because somebody else made one.
const ATTEMPTS: usize = 8;
/// Revisions of a table read at a time.
const REVISIONS: usize = 50;

/// A table of which a shop has one.
struct Single {
    /// How it is called.
    name: &'static str,
    /// The id it is kept under.
    id: &'static str,
}

const RULES: Single = Single {
    name: "ruleTable",
    id: "rule-table",
};
const PRICES: Single = Single {
    name: "priceList",
    id: "price-list",
};

impl Single {
    fn id(&self) -> Result<RecordId, ServiceError> {
        RecordId::parse(self.id).ok_or_else(|| ServiceError::internal("a table's id is none"))
    }

    /// Reads its name; left out it is meant all the same. `Some(None)`: without a revision.
    fn revision(&self, name: &str, mut at: Scope<'_>) -> Option<Option<u64>> {
        let rest = match name.strip_prefix(self.name) {
            _ if name.is_empty() => return Some(None),
            Some("") => return Some(None),
            rest => rest.and_then(|rest| rest.strip_prefix('@')),
        };
        let revision = rest
            .and_then(|digits| digits.parse().ok())
            .filter(|revision| *revision >= 1);
        if revision.is_none() {
            let shown: String = name.chars().take(80).collect();
            at.push(
                Reason::UnknownName,
                format_args!("\"{shown}\" is no name; write {0} or {0}@{{revision}}", self.name),
            );
        }
        revision.map(Some)
    }
}

impl Bench {
    /// The rules setups are judged by.
    pub fn get_rule_table(&self, request: v1::GetRuleTableRequest) -> Result<v1::RuleTable, ServiceError> {
        self.single_named(&RULES, &request.name).and_then(told)
    }

    /// Changes the shop's own rules.
    pub fn update_rule_table(&self, request: v1::UpdateRuleTableRequest) -> Result<v1::RuleTable, ServiceError> {
        let change = change_of!(UpdateRuleTableRequest, request);
        self.change_single(
            &RULES,
            &change,
            request.rule_table.as_ref(),
            request.update_mask.as_ref(),
        )
        .and_then(told)
    }

    /// The shop's prices.
    pub fn get_price_list(&self, request: v1::GetPriceListRequest) -> Result<v1::PriceList, ServiceError> {
        self.single_named(&PRICES, &request.name)
    }

    /// Changes the shop's prices.
    pub fn update_price_list(&self, request: v1::UpdatePriceListRequest) -> Result<v1::PriceList, ServiceError> {
        let change = change_of!(UpdatePriceListRequest, request);
        self.change_single(
            &PRICES,
            &change,
            request.price_list.as_ref(),
            request.update_mask.as_ref(),
        )
    }

    /// The rules in force, for a judgement.
    pub(in crate::bench) fn rules_in_force(&self) -> Result<mechanics::judgement::RuleTable, ServiceError> {
        let table: v1::RuleTable = self.single_named(&RULES, "")?;
        in_force(&table)
    }

    /// The rules that were in force at a moment: a sheet that was handed over says later what it said then.
    pub(in crate::bench) fn rules_at(&self, moment: Moment) -> Result<mechanics::judgement::RuleTable, ServiceError> {
        let id = RULES.id()?;
        let mut before = None;
        loop {
            let page = match self.store.revisions::<RuleTableBody>(&id, before, REVISIONS) {
                Ok(page) => page,
                Err(StoreError::NotFound) => break,
                Err(error) => return Err(refusal(RULES.name, "")(error)),
            };
            if let Some(saved) = page.revisions.iter().find(|saved| saved.update_time <= moment) {
                return in_force(&v1::RuleTable::told(saved).map_err(refusal(RULES.name, ""))?);
            }
            before = match page.next {
                Some(next) => Some(next),
                None => break,
            };
        }
        Ok(mechanics::judgement::RuleTable::shipped())
    }

    fn single_named<R: Table>(&self, single: &Single, name: &str) -> Result<R, ServiceError> {
        let mut violations = Violations::new();
        let revision = single.revision(name, violations.at("name"));
        let revision = checked(violations, revision)?;
        let shown = if name.is_empty() { single.name } else { name };
        let found = self.single::<R>(&single.id()?, revision, shown)?;
        Ok(found.unwrap_or_else(|| R::untouched(single.name)))
    }

    fn change_single<R: Table, M: Message>(
        &self,
        single: &Single,
        change: &Change<'_, M>,
        table: Option<&R>,
        mask: Option<&FieldMask>,
    ) -> Result<R, ServiceError> {
        let mut violations = Violations::new();
        let key = request_key(change.method, change.request_id, change.request, &mut violations);
        let sent = table.cloned().unwrap_or_default();
        if table.is_none() {
            violations.push(
                R::PLACE,
                Reason::ValueMissing,
                format_args!("a {} is required", R::WORDS),
            );
        }
        let (name, etag) = sent.named();
        if !name.is_empty() && name != single.name {
            single.revision("?", violations.at(R::PLACE).at("name"));
        }
        let fields = fields::chosen(mask, R::FIELDS, &sent, &mut violations);
        sent.check(fields.len() == R::FIELDS.len(), violations.at(R::PLACE));
        let key = checked(violations, key)?;
        let id = single.id()?;
        let refused = refusal(single.name, change.request_id);
        let make = |before: &R| -> R {
            let mut after = before.clone();
            for field in &fields {
                (field.copy)(&sent, &mut after);
            }
            after
        };
        for _ in 0..ATTEMPTS {
            let update = |before: &R::Body| -> Result<R::Body, StoreError> { Ok(make(&R::content(before)?).body()) };
            let saved = match self.store.update(self.now(), &key, &id, given(etag), update) {
                Err(StoreError::NotFound) if !etag.is_empty() && etag != UNTOUCHED => Err(StoreError::StaleEtag {
                    current: UNTOUCHED.to_owned(),
                }),
                Err(StoreError::NotFound) => {
                    match self
                        .store
                        .create(self.now(), &key, Some(&id), make(&R::default()).body())
                    {
                        Err(StoreError::NameTaken) => continue,
                        other => other,
                    }
                }
                other => other,
            };
            return saved.and_then(|saved| R::told(&saved)).map_err(&refused);
        }
        Err(refused(StoreError::Conflict))
    }
}

/// A table as it is while nothing was entered in it.
trait Table: Kept {
    fn untouched(name: &str) -> Self;
}

impl Table for v1::RuleTable {
    fn untouched(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            etag: UNTOUCHED.to_owned(),
            ..Self::default()
        }
    }
}

impl Table for v1::PriceList {
    fn untouched(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            etag: UNTOUCHED.to_owned(),
            ..Self::default()
        }
    }
}

fn in_force(table: &v1::RuleTable) -> Result<mechanics::judgement::RuleTable, ServiceError> {
    let revision = u64::try_from(table.revision).unwrap_or(0);
    tables::in_force(&table.overrides, revision).map_err(|refused| {
        let words: Vec<_> = refused.iter().map(ToString::to_string).collect();
        ServiceError::DataDamaged {
            context: format!("the shop's own rules: {}", words.join("; ")),
        }
    })
}

/// The table with the shipped rows and those that hold.
fn told(table: v1::RuleTable) -> Result<v1::RuleTable, ServiceError> {
    let rules = in_force(&table)?;
    let shipped = mechanics::judgement::RuleTable::shipped();
    Ok(v1::RuleTable {
        defaults: tables::rules(&shipped, &[]),
        in_force: tables::rules(&rules, &table.overrides),
        version: rules.version().to_owned(),
        ..table
    })
}
