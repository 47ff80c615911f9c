//! The text form of a stack: `30x0.15*2, 26x0.15, 22x0.15 mm`, from the piston outward.
//!
//! A layer is `OUTERxTHICKNESS`, with the bore as `OUTER/BORExTHICKNESS` and the count as `*COUNT`. Layers are separated by
//! commas or line ends. `mm` or `in` stands behind a layer and holds for those before it that have none: a stack without
//! any unit is refused.

use std::fmt::Write as _;

use super::design::{Layer, MOST_SHIMS};
use crate::quantity::{Length, LengthUnit, Quantity, Unit};

/// Characters of a layer that is none that are quoted.
const SHOWN: usize = 40;

/// A layer as it was typed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TypedLayer {
    /// Outer diameter.
    pub outer_diameter: f64,
    /// Bore.
    pub inner_diameter: Option<f64>,
    /// Thickness of one shim.
    pub thickness: f64,
    /// How many.
    pub count: u32,
    /// Unit of all three.
    pub unit: LengthUnit,
}

/// Reads the text form.
///
/// # Errors
/// What is wrong, in words, with the layer it is wrong in.
pub fn read(text: &str) -> Result<Vec<TypedLayer>, String> {
    let mut layers: Vec<(TypedLayer, bool)> = Vec::new();
    for part in text
        .split([',', '\n', ';'])
        .map(str::trim)
        .filter(|part| !part.is_empty())
    {
        let (layer, unit) = one(part).ok_or_else(|| {
            let shown: String = part.chars().take(SHOWN).collect();
            format!(
                "layer {}, \"{shown}\", is none; write OUTERxTHICKNESS*COUNT with mm or in, such as 30x0.15*2 mm",
                layers.len() + 1
            )
        })?;
        layers.push((layer, unit.is_some()));
        if let Some(unit) = unit {
            // It holds for those before that have none.
            let without = layers.iter_mut().rev().skip(1).take_while(|(_, has_unit)| !*has_unit);
            for (layer, has_unit) in without {
                (layer.unit, *has_unit) = (unit, true);
            }
        }
    }
    let shims: u64 = layers.iter().map(|(layer, _)| u64::from(layer.count)).sum();
    if shims == 0 || shims > MOST_SHIMS as u64 {
        return Err(format!("{shims} shims; allowed 1 to {MOST_SHIMS}"));
    }
    let without = layers.iter().enumerate().find(|(_, (_, has_unit))| !has_unit);
    if let Some((index, (layer, _))) = without {
        return Err(format!(
            "layer {}, {:?}x{:?}, has no unit; write mm or in behind the last layer",
            index + 1,
            layer.outer_diameter,
            layer.thickness
        ));
    }
    Ok(layers.into_iter().map(|(layer, _)| layer).collect())
}

fn one(part: &str) -> Option<(TypedLayer, Option<LengthUnit>)> {
    let (part, unit) = [("mm", LengthUnit::Millimeter), ("in", LengthUnit::Inch)]
        .into_iter()
        .find_map(|(symbol, unit)| Some((part.strip_suffix(symbol)?.trim_end(), Some(unit))))
        .unwrap_or((part, None));
    let (size, count) = part
        .split_once('*')
        .map_or((part, Some(1)), |(size, count)| (size, count.trim().parse().ok()));
    let (diameters, thickness) = size.split_once(['x', 'X', '\u{d7}'])?;
    let (outer, inner) = diameters
        .split_once('/')
        .map_or((diameters, None), |(outer, inner)| (outer, Some(inner)));
    let number = |text: &str| text.trim().parse::<f64>().ok().filter(|value| value.is_finite());
    let layer = TypedLayer {
        outer_diameter: number(outer)?,
        inner_diameter: match inner {
            None => None,
            Some(inner) => Some(number(inner)?),
        },
        thickness: number(thickness)?,
        count: count.filter(|count| *count > 0)?,
        unit: unit.unwrap_or(LengthUnit::Millimeter),
    };
    Some((layer, unit))
}

/// Writes layers in the text form, in one unit; equal neighbours are one layer.
#[must_use]
pub fn write(layers: &[Layer], unit: LengthUnit) -> String {
    let mut merged: Vec<Layer> = Vec::new();
    for layer in layers {
        match merged.last_mut() {
            Some(last)
                if Layer {
                    count: layer.count,
                    ..*last
                } == *layer =>
            {
                last.count += layer.count
            }
            _ => merged.push(*layer),
        }
    }
    let mut text = String::new();
    for (index, layer) in merged.iter().enumerate() {
        if index > 0 {
            text.push_str(", ");
        }
        text.push_str(&length(layer.outer_diameter, unit, 0));
        if let Some(inner) = layer.inner_diameter {
            text.push('/');
            text.push_str(&length(inner, unit, 0));
        }
        text.push('x');
        text.push_str(&length(layer.thickness, unit, 2));
        if layer.count > 1 {
            // Writing to a String cannot fail.
            let _ = write!(text, "*{}", layer.count);
        }
    }
    if !merged.is_empty() {
        text.push(' ');
        text.push_str(unit.row().symbol);
    }
    text
}

/// A length without its unit, in as few digits as tell a micrometre, at least so many decimals.
#[must_use]
pub fn length(length: Length, unit: LengthUnit, decimals: usize) -> String {
    digits(length.get(unit), decimals)
}

/// As few digits as tell a micrometre, at least so many decimals.
fn digits(value: f64, decimals: usize) -> String {
    let rounded = format!("{value:.5}");
    let trimmed = rounded.trim_end_matches('0');
    let kept = trimmed.split_once('.').map_or(0, |(_, fraction)| fraction.len());
    format!("{value:.*}", kept.max(decimals))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read_back() {
        let text = "30x0.15*2, 18/10x0.10, 26x0.15, 22.5x0.125 mm";
        let read = read(text).unwrap();
        assert_eq!(read.len(), 4);
        let length = |value| Length::new(value, LengthUnit::Millimeter);
        let layers: Vec<Layer> = read
            .iter()
            .map(|layer| Layer {
                outer_diameter: length(layer.outer_diameter),
                inner_diameter: layer.inner_diameter.map(length),
                thickness: length(layer.thickness),
                count: layer.count as usize,
            })
            .collect();
        assert_eq!(write(&layers, LengthUnit::Millimeter), text);
    }

    #[test]
    fn a_unit_holds_for_the_layers_before_it() {
        let layers = read("30x0.15 mm, 1.1x0.006, 1x0.006 in").unwrap();
        let units: Vec<_> = layers.iter().map(|layer| layer.unit).collect();
        assert_eq!(units, [LengthUnit::Millimeter, LengthUnit::Inch, LengthUnit::Inch]);
        for wrong in [
            "",
            "30x0.15",
            "30 mm",
            "30x0.15*0 mm",
            "30x0.15*99 mm",
            "axb mm",
            "30x0.15 mm, 26x0.15",
        ] {
            assert!(read(wrong).is_err(), "{wrong}");
        }
    }
}
