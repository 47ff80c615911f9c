//! Checks of the shop's prices.

use super::{at_most, known, required};
use crate::records::{LONG_TEXT, SHORT_TEXT, text};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::Scope;

/// Rows of a table.
pub const MAX_ROWS: usize = 200;

/// Checks prices as entered; the currency is required where the whole record is given.
pub fn price_list(list: &v1::PriceList, whole: bool, mut at: Scope<'_>) {
    let code = list.currency_code.as_bytes();
    let good = code.len() == 3 && code.iter().all(u8::is_ascii_uppercase);
    if code.is_empty() && whole && !list.rows.is_empty() {
        at.at("currency_code")
            .push(Reason::ValueMissing, "prices need their currency, a code of ISO 4217");
    } else if !code.is_empty() && !good {
        let shown: String = list.currency_code.chars().take(20).collect();
        at.at("currency_code").push(
            Reason::OutOfRange,
            format_args!("\"{shown}\" is no currency; allowed three capital letters of ISO 4217"),
        );
    }
    if !at_most(list.rows.len(), MAX_ROWS, at.at("rows")) {
        return;
    }
    for (index, row) in list.rows.iter().enumerate() {
        price_row(row, at.at("rows").index(index));
        let again = list.rows.iter().take(index).any(|other| other.label == row.label);
        if again && !row.label.is_empty() {
            at.at("rows")
                .index(index)
                .at("label")
                .push(Reason::Conflict, "the label stands here more than once");
        }
    }
}

fn price_row(row: &v1::PriceRow, mut at: Scope<'_>) {
    if row.label.is_empty() {
        at.at("label").push(Reason::ValueMissing, "a price needs its label");
    }
    text(&row.label, SHORT_TEXT, at.at("label"));
    required::<v1::Remedy>(row.remedy, "what is done", at.at("remedy"));
    required::<v1::MachineEnd>(row.end, "an end, front, rear or either,", at.at("end"));
    money(row.price.as_ref(), at.at("price"));
    known::<v1::DamperType>(row.damper_type, at.at("damper_type"));
    text(&row.notes, LONG_TEXT, at.at("notes"));
}

fn money(money: Option<&v1::Money>, mut at: Scope<'_>) {
    const MOST: i64 = 1_000_000_000;
    let Some(money) = money else {
        at.push(Reason::ValueMissing, "a price is required");
        return;
    };
    match money.units {
        None => at
            .at("units")
            .push(Reason::ValueMissing, "whole units of the currency are required"),
        Some(units) if !(0..=MOST).contains(&units) => at.at("units").push(
            Reason::OutOfRange,
            format_args!("units is {units}; allowed 0 to {MOST}"),
        ),
        Some(_) => {}
    }
    if !(0..1_000_000_000).contains(&money.nanos) {
        at.at("nanos").push(
            Reason::OutOfRange,
            format_args!("nanos is {}; allowed 0 to 999,999,999", money.nanos),
        );
    }
}
