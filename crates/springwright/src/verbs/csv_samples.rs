//! Samples from a CSV file whose columns' units somebody declared: nothing about a unit is guessed.

use std::fs::File;
use std::io::{Read, stdin};

use csv::StringRecord;
use mechanics::quantity::{ForceUnit, LengthUnit, Unit};
use prost_reflect::{DynamicMessage, Value};
use wire::v1;

use crate::fail::Fail;

/// Largest file taken; the service takes a million samples.
const LARGEST: u64 = 256 << 20;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Holds {
    Deflection(LengthUnit),
    Load(ForceUnit),
    /// Time, with nanoseconds per unit.
    Elapsed(f64),
    Nothing,
}

/// A declared column: by heading, or by place.
#[derive(Debug, Clone, PartialEq)]
struct Declared {
    heading: Option<String>,
    holds: Holds,
}

/// Puts the samples of a file into a request.
pub(super) fn enter_samples(message: &mut DynamicMessage, file: &str, columns: Option<&str>) -> Result<(), Fail> {
    let columns = columns.ok_or_else(|| {
        Fail::error(
            "--csv needs --columns: what each column holds and its unit, such as --columns deflection:mm,load:N",
        )
    })?;
    let declared = declared(columns).map_err(|words| Fail::at("--columns", words))?;
    let text = read(file).map_err(|fault| Fail::at(format!("--csv {file}"), fault))?;
    let samples = samples(&text, &declared).map_err(|words| Fail::at(format!("--csv {file}"), words))?;
    let field = message.descriptor_field("samples")?;
    let Value::Message(slot) = message.get_field_mut(&field) else {
        return Err(Fail::error("the request has no place for samples"));
    };
    slot.transcode_from(&samples)
        .map_err(|fault| Fail::at("samples", fault))
}

/// A field by name, as an error where the API has it no more.
trait DescriptorField {
    fn descriptor_field(&self, name: &str) -> Result<prost_reflect::FieldDescriptor, Fail>;
}

impl DescriptorField for DynamicMessage {
    fn descriptor_field(&self, name: &str) -> Result<prost_reflect::FieldDescriptor, Fail> {
        use prost_reflect::ReflectMessage as _;
        let field = self.descriptor().get_field_by_name(name);
        field.ok_or_else(|| Fail::error(format!("the request has no field {name}")))
    }
}

/// A file of text, or stdin by "-".
pub(super) fn read(file: &str) -> std::io::Result<String> {
    let source: Box<dyn Read> = if file == "-" {
        Box::new(stdin().lock())
    } else {
        Box::new(File::open(file)?)
    };
    let mut text = String::new();
    let read = source.take(LARGEST + 1).read_to_string(&mut text)?;
    if read as u64 > LARGEST {
        return Err(std::io::Error::other("larger than 256 MiB"));
    }
    Ok(text)
}

/// The first two columns of a file as numbers; a first line that holds none is its heading.
pub(super) fn two_columns(file: &str) -> Result<(Vec<f64>, Vec<f64>), String> {
    let text = read(file).map_err(|fault| fault.to_string())?;
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let places = [
        (0, Holds::Deflection(LengthUnit::Millimeter)),
        (1, Holds::Load(ForceUnit::Newton)),
    ];
    let mut columns = v1::Samples::default();
    for (index, record) in reader.records().enumerate() {
        let record = record.map_err(|fault| fault.to_string())?;
        let heading = index == 0 && record.iter().all(|cell| cell.parse::<f64>().is_err());
        if !heading {
            sample(&record, &places, &mut columns)?;
        }
    }
    Ok((columns.deflections, columns.loads))
}

fn declared(columns: &str) -> Result<Vec<Declared>, String> {
    let declared: Result<Vec<_>, String> = columns.split(',').map(column).collect();
    let declared = declared?;
    let count = |kind: fn(&Holds) -> bool| declared.iter().filter(|column| kind(&column.holds)).count();
    let deflections = count(|holds| matches!(holds, Holds::Deflection(_)));
    let loads = count(|holds| matches!(holds, Holds::Load(_)));
    if deflections != 1 || loads != 1 || count(|holds| matches!(holds, Holds::Elapsed(_))) > 1 {
        return Err("one deflection and one load are needed, and at most one elapsed".to_owned());
    }
    let named = declared.iter().filter(|column| column.heading.is_some()).count();
    if named != 0 && named != declared.len() {
        return Err("either every column is picked by its heading or none is".to_owned());
    }
    Ok(declared)
}

fn column(text: &str) -> Result<Declared, String> {
    let (heading, holds) = text.rsplit_once('=').map_or((None, text), |(heading, holds)| {
        (Some(heading.trim().to_owned()), holds)
    });
    let (quantity, unit) = holds
        .split_once(':')
        .map_or((holds.trim(), ""), |(quantity, unit)| (quantity.trim(), unit.trim()));
    let holds = match quantity.to_ascii_lowercase().as_str() {
        "deflection" => Holds::Deflection(known_unit(quantity, unit)?),
        "load" => Holds::Load(known_unit(quantity, unit)?),
        "elapsed" => Holds::Elapsed(match unit {
            "s" => 1e9,
            "ms" => 1e6,
            "us" => 1e3,
            "ns" => 1.0,
            _ => return Err(format!("elapsed: \"{unit}\" is no unit of time; known: s, ms, us, ns")),
        }),
        "skip" | "-" => Holds::Nothing,
        _ => {
            return Err(format!(
                "\"{quantity}\" is nothing a column can hold; known: deflection, load, elapsed, skip"
            ));
        }
    };
    Ok(Declared { heading, holds })
}

fn known_unit<U: Unit>(quantity: &str, unit: &str) -> Result<U, String> {
    let known = || {
        U::ALL
            .iter()
            .map(|unit| unit.row().symbol)
            .collect::<Vec<_>>()
            .join(", ")
    };
    match unit {
        "" => Err(format!("{quantity} has no unit; known: {}", known())),
        unit => U::from_symbol(unit).ok_or_else(|| {
            format!(
                "{quantity}: \"{unit}\" is no unit of {}; known: {}",
                U::DIMENSION,
                known()
            )
        }),
    }
}

fn samples(text: &str, declared: &[Declared]) -> Result<v1::Samples, String> {
    let first = text
        .trim_start_matches('\u{feff}')
        .lines()
        .find(|line| !line.trim().is_empty())
        .unwrap_or_default();
    let delimiter = [b';', b'\t', b',']
        .into_iter()
        .find(|&mark| first.contains(char::from(mark)))
        .unwrap_or(b',');
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .delimiter(delimiter)
        .comment(Some(b'#'))
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let mut samples = v1::Samples::default();
    for column in declared {
        match column.holds {
            Holds::Deflection(unit) => samples.deflection_unit = unit.row().number,
            Holds::Load(unit) => samples.load_unit = unit.row().number,
            Holds::Elapsed(_) | Holds::Nothing => {}
        }
    }
    let mut places: Option<Vec<(usize, Holds)>> = None;
    for record in reader.records() {
        let record = record.map_err(|fault| fault.to_string())?;
        if let Some(places) = &places {
            sample(&record, places, &mut samples)?;
            continue;
        }
        let found = places_in(&record, declared)?;
        if !is_heading(&record) {
            sample(&record, &found, &mut samples)?;
        }
        places = Some(found);
    }
    if samples.loads.is_empty() {
        Err("no samples in it".to_owned())
    } else {
        Ok(samples)
    }
}

/// A heading has no number in it.
fn is_heading(record: &StringRecord) -> bool {
    record.iter().all(|cell| cell.replace(',', ".").parse::<f64>().is_err())
}

/// Which cell of a line is which column, by the first line of the file.
fn places_in(first: &StringRecord, declared: &[Declared]) -> Result<Vec<(usize, Holds)>, String> {
    let place = |(index, column): (usize, &Declared)| match &column.heading {
        None => Ok((index, column.holds)),
        Some(heading) => {
            let found = first.iter().position(|cell| cell.eq_ignore_ascii_case(heading));
            let found = found.ok_or_else(|| {
                format!(
                    "no column is headed \"{heading}\"; there are: {}",
                    first.iter().collect::<Vec<_>>().join(", ")
                )
            });
            found.map(|index| (index, column.holds))
        }
    };
    let places: Result<Vec<_>, String> = declared.iter().enumerate().map(place).collect();
    Ok(places?
        .into_iter()
        .filter(|(_, holds)| *holds != Holds::Nothing)
        .collect())
}

fn sample(record: &StringRecord, places: &[(usize, Holds)], samples: &mut v1::Samples) -> Result<(), String> {
    let line = record.position().map_or(0, csv::Position::line);
    for &(index, holds) in places {
        let cell = record
            .get(index)
            .ok_or_else(|| format!("line {line} has {} columns, {} are declared", record.len(), index + 1))?;
        let value: f64 = cell.parse().map_err(|_| match cell.replace(',', ".") {
            pointed if pointed.parse::<f64>().is_ok() => format!(
                "line {line}, column {}: the decimal sign is a point: {pointed}",
                index + 1
            ),
            _ => format!("line {line}, column {}: \"{cell}\" is not a number", index + 1),
        })?;
        match holds {
            Holds::Deflection(_) => samples.deflections.push(value),
            Holds::Load(_) => samples.loads.push(value),
            Holds::Elapsed(scale) => samples.elapsed_ns.push((value * scale).round() as i64),
            Holds::Nothing => {}
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str, columns: &str) -> Result<v1::Samples, String> {
        samples(text, &declared(columns)?)
    }

    #[test]
    fn columns_are_found_by_place_or_by_heading() {
        let by_place = of("d,l\n0,1\n2,3\n", "deflection:mm,load:N").unwrap();
        assert_eq!((by_place.deflections, by_place.loads), (vec![0.0, 2.0], vec![1.0, 3.0]));
        let by_heading = of("F;t;s\n1;0.5;0\n3;1;2\n", "s=deflection:in,F=load:lbf,t=elapsed:s").unwrap();
        assert_eq!(by_heading.deflections, [0.0, 2.0]);
        assert_eq!(by_heading.elapsed_ns, [500_000_000, 1_000_000_000]);
        assert_eq!((by_heading.deflection_unit, by_heading.load_unit), (2, 3));
    }

    #[test]
    fn what_cannot_be_read_is_said_with_its_line() {
        assert!(
            of("0,1\n2,x\n", "deflection:mm,load:N")
                .unwrap_err()
                .contains("line 2, column 2")
        );
        assert!(of("0;1\n2,5;3\n", "deflection:mm,load:N").unwrap_err().contains("2.5"));
        assert!(of("0,1\n2\n", "deflection:mm,load:N").unwrap_err().contains("line 2"));
        assert!(
            of("a,b\n0,1\n", "x=deflection:mm,b=load:N")
                .unwrap_err()
                .contains("there are: a, b")
        );
    }

    #[test]
    fn a_column_without_a_known_unit_is_refused() {
        assert!(declared("deflection,load:N").unwrap_err().contains("known: mm, in, m"));
        assert!(
            declared("deflection:mm,load:stone")
                .unwrap_err()
                .contains("known: N, kgf, lbf")
        );
        assert!(declared("deflection:mm").unwrap_err().contains("one load"));
    }
}
