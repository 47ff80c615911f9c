//! The text form of a stack: what is written is read back, and what is no stack is refused at its place, never with a panic.

#![allow(
    clippy::unwrap_used,
    reason = "a test all through; the lints only know the test functions themselves"
)]

use mechanics::quantity::{Length, LengthUnit, Quantity};
use mechanics::valving::stack::text::{read, write};
use mechanics::valving::stack::{Layer, MOST_SHIMS};
use proptest::collection::vec;
use proptest::prelude::*;

fn layers() -> impl Strategy<Value = (Vec<Layer>, LengthUnit)> {
    let unit = prop_oneof![Just(LengthUnit::Millimeter), Just(LengthUnit::Inch)];
    // On a grid of hundred-thousandths of the unit: finer digits are not written.
    let layer = (
        50_000..20_000_000_u32,
        proptest::option::of(1..49_999_u32),
        100..500_000_u32,
        1..4_usize,
    );
    (vec(layer, 1..12), unit).prop_map(|(layers, unit)| {
        let length = |value: u32| Length::new(f64::from(value) / 1e5, unit);
        let layers = layers.into_iter().map(|(outer, inner, thickness, count)| Layer {
            outer_diameter: length(outer),
            inner_diameter: inner.map(length),
            thickness: length(thickness),
            count,
        });
        (layers.collect(), unit)
    })
}

/// Single shims: equal neighbours are one layer when they are written.
fn single(layers: &[Layer]) -> Vec<(f64, Option<f64>, f64)> {
    let one = |layer: &Layer| {
        let millimeters = |length: Length| length.get(LengthUnit::Millimeter);
        let shim = (
            millimeters(layer.outer_diameter),
            layer.inner_diameter.map(millimeters),
            millimeters(layer.thickness),
        );
        vec![shim; layer.count]
    };
    layers.iter().flat_map(one).collect()
}

fn read_layers(text: &str) -> Vec<Layer> {
    let typed = read(text).unwrap();
    let layer = |typed: &mechanics::valving::stack::text::TypedLayer| Layer {
        outer_diameter: Length::new(typed.outer_diameter, typed.unit),
        inner_diameter: typed.inner_diameter.map(|inner| Length::new(inner, typed.unit)),
        thickness: Length::new(typed.thickness, typed.unit),
        count: usize::try_from(typed.count).unwrap(),
    };
    typed.iter().map(layer).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..Default::default() })]

    #[test]
    fn what_is_written_is_read_back((layers, unit) in layers()) {
        let text = write(&layers, unit);
        let again = read_layers(&text);
        let (before, after) = (single(&layers), single(&again));
        prop_assert_eq!(before.len(), after.len(), "{}", text);
        let close = |a: f64, b: f64| (a - b).abs() < 1e-9 * (1.0 + a.abs());
        for (a, b) in before.iter().zip(&after) {
            let bores = match (a.1, b.1) {
                (None, None) => true,
                (Some(a), Some(b)) => close(a, b),
                _ => false,
            };
            prop_assert!(close(a.0, b.0) && close(a.2, b.2) && bores, "{}: {:?}, not {:?}", text, b, a);
        }
        prop_assert_eq!(write(&again, unit), text);
    }

    /// Anything at all, and what looks much like a stack.
    #[test]
    fn no_text_is_worse_than_refused(text in prop_oneof![".*", "[0-9.x*/,; mine\\-+eE\u{d7}]{0,60}", "([0-9]{1,3}x0?\\.[0-9]{1,3}(\\*[0-9]{1,12})?( mm| in)?, ?){0,20}"]) {
        match read(&text) {
            Ok(layers) => {
                let shims: usize = layers.iter().map(|layer| layer.count as usize).sum();
                prop_assert!((1..=MOST_SHIMS).contains(&shims), "{}", shims);
                prop_assert!(layers.iter().all(|layer| layer.outer_diameter.is_finite() && layer.thickness.is_finite()));
            }
            Err(words) => prop_assert!(!words.is_empty() && words.len() < 400, "{}", words),
        }
    }

    /// A layer that is none is named by its number and its words.
    #[test]
    fn fault_is_named_at_its_place((layers, unit) in layers(), place in 0..12_usize) {
        let text = write(&layers, unit);
        let mut parts: Vec<&str> = text.split(", ").collect();
        let place = place.min(parts.len() - 1);
        parts.insert(place, "thirty");
        let words = read(&parts.join(", ")).unwrap_err();
        let wanted = format!("layer {}, \"thirty\"", place + 1);
        prop_assert!(words.contains(&wanted), "{}", words);
    }
}
