//! What differs between two setups, field by field, in the trade's words.
//!
//! Both sides are walked as the API describes them, so that a field that is added later is compared too; the words for it come
//! from its name until they are given here.

mod leaf;
mod words;

use std::collections::BTreeMap;
use std::sync::OnceLock;

use prost::Message;
use prost_reflect::{DescriptorPool, DynamicMessage};

use super::machine::machine_values;
use super::visit::setup_state;
use crate::v1;
use crate::violation::Scope;
use leaf::Leaf;

/// Checks a side given as values.
pub fn side_values(values: &v1::SetupSideValues, mut at: Scope<'_>) {
    if let Some(state) = &values.state {
        setup_state(state, at.at("state"));
    }
    if let Some(machine) = &values.machine {
        machine_values(machine, at.at("machine"));
    }
}

/// Everything that differs, front first, then the rear, then the whole machine; and how many stated things are alike.
///
/// # Errors
/// The API's own description cannot be read; it is part of the program.
pub fn differences(
    first: &v1::SetupSideValues,
    second: &v1::SetupSideValues,
) -> Result<(Vec<v1::SetupDifference>, usize), String> {
    let (first, second) = (leaves(first)?, leaves(second)?);
    let fields: BTreeMap<&String, ()> = first.keys().chain(second.keys()).map(|field| (field, ())).collect();
    let mut differences = Vec::new();
    let mut alike = 0;
    for field in fields.into_keys() {
        let (before, after) = (first.get(field), second.get(field));
        // Which revision says what is fitted differs by itself; what it says is compared.
        if field == "state.machine_revision" {
            continue;
        }
        match (before, after) {
            (Some(before), Some(after)) if before.is_like(after) => alike += 1,
            _ => differences.push(difference(field, before, after)),
        }
    }
    differences.sort_by_key(|difference| match difference.end {
        0 => 3,
        end => end,
    });
    Ok((differences, alike))
}

fn difference(field: &str, before: Option<&Leaf>, after: Option<&Leaf>) -> v1::SetupDifference {
    let (label, end) = words::label(field);
    let text = |leaf: Option<&Leaf>| leaf.map(ToString::to_string).unwrap_or_default();
    let step = before.zip(after).and_then(|(before, after)| before.step_to(after));
    v1::SetupDifference {
        field: field.to_owned(),
        label,
        end: end as i32,
        first: text(before),
        second: text(after),
        change: step
            .as_ref()
            .map(|(amount, unit)| words::change(field, *amount, unit))
            .unwrap_or_default(),
        amount: step.as_ref().map(|(amount, _)| *amount),
        unit: step.map(|(_, unit)| unit).unwrap_or_default(),
    }
}

/// A position whose unit is left out counts what its range counts.
fn counted_as_ranges(found: &mut BTreeMap<String, Leaf>) {
    let ranges: Vec<(String, &'static str)> = found
        .iter()
        .filter_map(|(field, leaf)| {
            let adjuster = field.strip_prefix("machine.")?.strip_suffix(".range_count")?;
            let position = format!("state.{adjuster}.position_from_closed");
            leaf.counted_in().map(|unit| (position, unit))
        })
        .collect();
    for (position, unit) in ranges {
        if let Some(leaf) = found.get_mut(&position) {
            leaf.count_in(unit);
        }
    }
}

fn leaves(values: &v1::SetupSideValues) -> Result<BTreeMap<String, Leaf>, String> {
    static POOL: OnceLock<Result<DescriptorPool, String>> = OnceLock::new();
    let pool = POOL.get_or_init(|| DescriptorPool::decode(crate::DESCRIPTORS).map_err(|error| error.to_string()));
    let pool = pool.as_ref().map_err(Clone::clone)?;
    let kind = pool
        .get_message_by_name("springwright.v1.SetupSideValues")
        .ok_or("the API has no SetupSideValues")?;
    let message = DynamicMessage::decode(kind, values.encode_to_vec().as_slice()).map_err(|error| error.to_string())?;
    let mut found = BTreeMap::new();
    leaf::walk(&message, "", &mut found);
    counted_as_ranges(&mut found);
    Ok(found)
}
