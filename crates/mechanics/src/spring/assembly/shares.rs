//! What every spring of an assembly bears, and which closes when.

use crate::quantity::{Deflection, Load, Quantity, Stress};

use super::super::helical;
use super::law::{Law, law};
use super::{Part, PartKind, Share, StopEvent};

pub(super) fn named(part: &Part, place: &str) -> String {
    if part.label.is_empty() {
        place.to_owned()
    } else {
        part.label.clone()
    }
}

/// What every spring below a part bears at its travel, under the load through it.
pub(super) fn share(part: &Part, place: &str, travel: f64, through: f64, shares: &mut Vec<Share>) {
    match &part.kind {
        PartKind::Series(parts) => {
            for (index, inner) in parts.iter().enumerate() {
                share(
                    inner,
                    &format!("{place}.{}", index + 1),
                    law(inner).travel(through),
                    through,
                    shares,
                );
            }
        }
        PartKind::Parallel(parts) => {
            for (index, inner) in parts.iter().enumerate() {
                let own = (travel - inner.gap.map_or(0.0, Quantity::si)).max(0.0);
                let load = law(inner).load(own).unwrap_or(0.0);
                share(inner, &format!("{place}.{}", index + 1), own, load, shares);
            }
        }
        kind => {
            let load = law(part).load(travel).unwrap_or(0.0);
            let wahl_stress = match kind {
                PartKind::Wound {
                    wire_diameter,
                    mean_coil_diameter,
                    ..
                } => {
                    let (d, coil) = (wire_diameter.si(), mean_coil_diameter.si());
                    Some(Stress::from_si(
                        helical::wahl(coil / d) * helical::stress(load, coil, d),
                    ))
                }
                _ => None,
            };
            shares.push(Share {
                part: named(part, place),
                deflection: Deflection::from_si(travel),
                load: Load::from_si(load),
                wahl_stress,
            });
        }
    }
}

/// A spring of an assembly and the way to it.
pub(super) struct Leaf {
    pub(super) name: String,
    pub(super) closes: Option<f64>,
    /// The load through the assembly's top at which the spring itself closes is only known where all are in line.
    pub(super) in_line: bool,
    pub(super) gap: f64,
}

pub(super) fn leaves(part: &Part, place: &str) -> Vec<Leaf> {
    pub(super) fn walk(part: &Part, place: &str, in_line: bool, gap: f64, found: &mut Vec<Leaf>) {
        match &part.kind {
            PartKind::Series(parts) => {
                let alone = in_line && gap == 0.0;
                for (index, inner) in parts.iter().enumerate() {
                    walk(inner, &format!("{place}.{}", index + 1), alone, 0.0, found);
                }
            }
            PartKind::Parallel(parts) => {
                for (index, inner) in parts.iter().enumerate() {
                    let own = inner.gap.map_or(0.0, Quantity::si);
                    walk(inner, &format!("{place}.{}", index + 1), false, own, found);
                }
            }
            _ => {
                let law = law(part);
                found.push(Leaf {
                    name: named(part, place),
                    closes: law.tail.is_none().then(|| law.end().1),
                    in_line,
                    gap,
                });
            }
        }
    }
    let mut found = Vec::new();
    walk(part, place, true, 0.0, &mut found);
    found
}

pub(super) fn stop_of(leaf: &Leaf, law: &Law, preload: f64) -> Option<StopEvent> {
    let load = leaf.closes.filter(|_| leaf.in_line && leaf.gap == 0.0)?;
    let deflection = law.travel(load) - preload;
    (deflection >= 0.0).then(|| StopEvent {
        part: leaf.name.clone(),
        load: Load::from_si(load),
        deflection: Deflection::from_si(deflection),
    })
}
