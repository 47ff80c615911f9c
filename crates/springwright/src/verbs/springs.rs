//! Short flags of the calculations on springs: pairs, springs together, gas, and at the wheel.

use clap::{Arg, ArgMatches};
use mechanics::quantity::{self, LengthUnit, Unit as _};
use prost_reflect::{DynamicMessage, ReflectMessage as _, Value};
use wire::v1;
use wire::v1::assembly_part::Kind;

use super::bench::Flag;
use super::csv_samples;
use crate::args::flag;
use crate::fail::Fail;

/// Flags that set one field each, beside those the request itself gives.
pub(super) fn flags(call: &str) -> Vec<Flag> {
    match call {
        "JudgePair" => [("first", "First"), ("second", "Second")]
            .into_iter()
            .flat_map(|(name, word)| member(name, word))
            .collect(),
        "EvaluateGasSpring" => gas(),
        "ComputeWheelRate" => wheel(),
        _ => Vec::new(),
    }
}

fn member(name: &str, word: &str) -> Vec<Flag> {
    let one =
        |flag: &str, path: &str, help: String| Flag::new(&format!("{name}-{flag}"), &format!("{name}.{path}"), &help);
    vec![
        one(
            "spring",
            "spring",
            format!("{word} spring by its tested run, such as springs/left; needs --server"),
        ),
        one(
            "run",
            "reduction.run",
            format!("{word} spring by a recorded run; needs --server"),
        ),
        one(
            "rate",
            "reduction.measured_rate.rate",
            format!("{word} spring by a rate measured elsewhere"),
        ),
        one(
            "rate-uncertainty",
            "reduction.measured_rate.standard_uncertainty",
            "Its standard uncertainty".to_owned(),
        ),
    ]
}

fn gas() -> Vec<Flag> {
    [
        (
            "seal-diameter",
            "oil_level.seal_diameter",
            "Air over oil: tube at the seal, whose area pushes",
        ),
        (
            "bore-diameter",
            "oil_level.bore_diameter",
            "Air over oil: tube the gap is measured in",
        ),
        (
            "air-gap",
            "oil_level.air_gap",
            "Air over oil: gap with the leg fully collapsed",
        ),
        ("travel", "oil_level.travel", "Air over oil: whole travel of the leg"),
        (
            "spring-volume",
            "oil_level.spring_volume",
            "Air over oil: steel above the oil that was out, such as 60mL",
        ),
        ("rod-diameter", "charged.rod_diameter", "Charged reservoir: the rod"),
        (
            "gas-volume",
            "charged.gas_volume",
            "Charged reservoir: gas volume extended, such as 80mL",
        ),
    ]
    .map(|(name, path, help)| Flag::new(name, path, help))
    .into()
}

fn wheel() -> Vec<Flag> {
    vec![
        Flag::new(
            "wheel-arm",
            "arms.wheel_arm",
            "Spring on an arm: from the pivot to the wheel",
        ),
        Flag::new(
            "spring-arm",
            "arms.spring_arm",
            "Spring on an arm: from the pivot to the spring",
        ),
        Flag::new("rake", "fork.rake", "Fork: axis against the vertical, such as 24deg"),
        Flag::many(
            "axial-stroke",
            "fork.axial_strokes",
            "Fork: axial stroke it is wanted at (may be repeated)",
        ),
    ]
}

/// Flags that need a form of their own.
pub(super) fn args(call: &str) -> Vec<Arg> {
    let args: &[(&str, &str, bool)] = match call {
        "JudgePair" => &[
            ("first-csv", "First spring by samples from a CSV file", false),
            ("second-csv", "Second spring by samples from a CSV file", false),
            (
                "columns",
                "What the columns of the files hold, such as deflection:mm,load:N",
                false,
            ),
        ],
        "EvaluateAssembly" => &[
            (
                "series",
                "Springs one on another, such as \"40 N/mm stop 12mm, springs/a7\"; stop: travel after which it is closed",
                false,
            ),
            (
                "parallel",
                "Springs side by side, such as \"9.5 N/mm, 3 N/mm gap 40mm\"; gap: travel before it joins in",
                false,
            ),
        ],
        "ComputeWheelRate" => &[
            (
                "rate",
                "Rate of a spring; give it again for one beside it, such as a fork's other leg",
                true,
            ),
            (
                "linkage-csv",
                "Wheel travels and spring compressions, measured: a CSV file of two columns",
                false,
            ),
            ("linkage-unit", "Unit of both columns: mm, in or m", false),
        ],
        _ => &[],
    };
    args.iter()
        .map(|(name, help, many)| flag((*name).to_owned(), (*help).to_owned(), *many))
        .collect()
}

/// Lays those over the request.
pub(super) fn enter_flags(call: &str, message: &mut DynamicMessage, matches: &ArgMatches) -> Result<(), Fail> {
    match call {
        "JudgePair" => members(message, matches),
        "EvaluateAssembly" => together(message, matches),
        "ComputeWheelRate" => at_the_wheel(message, matches),
        _ => Ok(()),
    }
}

fn given<'a>(matches: &'a ArgMatches, name: &str) -> Option<&'a str> {
    matches.get_one::<String>(name).map(|text| text.trim())
}

fn members(message: &mut DynamicMessage, matches: &ArgMatches) -> Result<(), Fail> {
    for name in ["first", "second"] {
        if let Some(file) = given(matches, &format!("{name}-csv")) {
            let reduction = within(within(message, name)?, "reduction")?;
            csv_samples::enter_samples(reduction, file, given(matches, "columns"))?;
        }
    }
    Ok(())
}

/// The message in a field, made where it is not there yet.
fn within<'a>(message: &'a mut DynamicMessage, name: &str) -> Result<&'a mut DynamicMessage, Fail> {
    let missing = || Fail::error(format!("the request has no field {name}"));
    let field = message.descriptor().get_field_by_name(name).ok_or_else(missing)?;
    match message.get_field_mut(&field) {
        Value::Message(inner) => Ok(inner),
        _ => Err(missing()),
    }
}

/// Puts a typed message in the place of another, whose lists would otherwise only grow.
fn replace(message: &mut DynamicMessage, typed: &impl prost::Message) -> Result<(), prost::DecodeError> {
    *message = DynamicMessage::new(message.descriptor());
    message.transcode_from(typed)
}

fn together(message: &mut DynamicMessage, matches: &ArgMatches) -> Result<(), Fail> {
    let (name, text, kind): (_, _, fn(v1::PartGroup) -> Kind) =
        match (given(matches, "series"), given(matches, "parallel")) {
            (Some(_), Some(_)) => {
                return Err(Fail::error(
                    "--series and --parallel: give one of them; groups within groups are written as --request",
                ));
            }
            (Some(text), None) => ("series", text, Kind::Series),
            (None, Some(text)) => ("parallel", text, Kind::Parallel),
            (None, None) => return Ok(()),
        };
    let parts: Result<Vec<_>, String> = text.split(',').map(part).collect();
    let parts = parts.map_err(|words| Fail::at(format!("--{name}"), words))?;
    let part = v1::AssemblyPart {
        kind: Some(kind(v1::PartGroup { parts })),
        ..Default::default()
    };
    replace(within(message, "part")?, &part).map_err(|fault| Fail::at(format!("--{name}"), fault))
}

/// `40 N/mm stop 12mm`, `3 N/mm gap 40mm`.
fn part(text: &str) -> Result<v1::AssemblyPart, String> {
    let form = || {
        format!(
            "\"{}\" is no spring; write a rate, such as \"40 N/mm stop 12mm\" or \"3 N/mm gap 40mm\"",
            text.trim()
        )
    };
    if text.trim().starts_with("springs/") {
        return Ok(v1::AssemblyPart {
            kind: Some(Kind::Spring(text.trim().to_owned())),
            ..Default::default()
        });
    }
    let words: Vec<&str> = text.split_whitespace().collect();
    let key = |word: &str| words.iter().position(|known| *known == word);
    let ends = [key("stop"), key("gap")];
    let first = ends.iter().flatten().copied().min().unwrap_or(words.len());
    let rate = words.get(..first).unwrap_or_default().join(" ");
    let (value, row) = quantity::read("Stiffness", &rate).map_err(|fault| format!("{fault}; {}", form()))?;
    let length = |at: Option<usize>| -> Result<Option<v1::Length>, String> {
        let Some(at) = at else { return Ok(None) };
        let end = ends
            .iter()
            .flatten()
            .copied()
            .filter(|end| *end > at)
            .min()
            .unwrap_or(words.len());
        let text = words.get(at + 1..end).unwrap_or_default().join(" ");
        let (value, row) = quantity::read("Length", &text).map_err(|fault| format!("{fault}; {}", form()))?;
        Ok(Some(v1::Length {
            value: Some(value),
            unit: row.number,
        }))
    };
    let [stop, gap] = ends;
    Ok(v1::AssemblyPart {
        kind: Some(Kind::Straight(v1::StraightPart {
            rate: Some(v1::Stiffness {
                value: Some(value),
                unit: row.number,
            }),
            stop_travel: length(stop)?,
        })),
        gap: length(gap)?,
        ..Default::default()
    })
}

fn at_the_wheel(message: &mut DynamicMessage, matches: &ArgMatches) -> Result<(), Fail> {
    let rates = matches.get_many::<String>("rate").into_iter().flatten();
    let springs: Result<Vec<_>, Fail> = rates
        .map(|text| {
            let (value, row) = quantity::read("Stiffness", text).map_err(|fault| Fail::at("--rate", fault))?;
            let spring = v1::WheelSpring {
                rate: Some(v1::Stiffness {
                    value: Some(value),
                    unit: row.number,
                }),
                ..Default::default()
            };
            Ok(spring)
        })
        .collect();
    let springs = springs?;
    let table = linkage(matches)?;
    if springs.is_empty() && table.is_none() {
        return Ok(());
    }
    // Laid over what the request says already.
    let mut request: v1::ComputeWheelRateRequest =
        message.transcode_to().map_err(|fault| Fail::at("the request", fault))?;
    if !springs.is_empty() {
        request.springs = springs;
    }
    if let Some(table) = table {
        request.linkage = Some(v1::compute_wheel_rate_request::Linkage::Table(table));
    }
    replace(message, &request).map_err(|fault| Fail::at("the request", fault))
}

fn linkage(matches: &ArgMatches) -> Result<Option<v1::LinkageTable>, Fail> {
    let (file, unit) = match (given(matches, "linkage-csv"), given(matches, "linkage-unit")) {
        (None, None) => return Ok(None),
        (None, Some(_)) => {
            return Err(Fail::error(
                "--linkage-unit is the unit of --linkage-csv FILE; no file was given",
            ));
        }
        (Some(_), None) => return Err(Fail::error("--linkage-csv needs --linkage-unit, such as mm")),
        (Some(file), Some(unit)) => (file, unit),
    };
    let known = LengthUnit::from_symbol(unit).ok_or_else(|| {
        let known: Vec<_> = LengthUnit::ALL.iter().map(|unit| unit.row().symbol).collect();
        Fail::error(format!(
            "--linkage-unit: \"{unit}\" is no unit of Length; known: {}",
            known.join(", ")
        ))
    })?;
    let (travels, compressions) =
        csv_samples::two_columns(file).map_err(|words| Fail::at(format!("--linkage-csv {file}"), words))?;
    Ok(Some(v1::LinkageTable {
        unit: known.row().number,
        travels,
        compressions,
        degree: None,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spring_of_an_assembly_is_a_rate_with_its_stop_or_gap() {
        let read = part(" 40 N/mm stop 12mm").unwrap();
        let Some(Kind::Straight(straight)) = read.kind else {
            panic!("{read:?}")
        };
        assert_eq!(straight.rate.unwrap().value, Some(40.0));
        assert_eq!(straight.stop_travel.unwrap().value, Some(12.0));
        assert_eq!(part("3N/mm gap 40 mm").unwrap().gap.unwrap().value, Some(40.0));
        let both = part("3 N/mm gap 40 mm stop 1 in").unwrap();
        assert_eq!((both.gap.unwrap().value, both.gap.unwrap().unit), (Some(40.0), 1));
        for wrong in ["", "40", "40 mm", "40 N/mm stop", "40 N/mm stop 12", "stop 12mm"] {
            assert!(part(wrong).unwrap_err().contains("is no spring"), "{wrong}");
        }
    }
}
