//! Which lots the shims of a stack are taken out of.

use store::record::{StackLayer, TakenShims};
use store::{Saved, ShimLotBody, StackBody};
use wire::names::Collection;
use wire::v1::ViolationReason as Reason;
use wire::violation::Violations;

use super::sizes::{Size, same_diameter};
use crate::error::{ServiceError, ShortShims};

/// A lot while shims are taken out of it.
struct Open<'a> {
    lot: &'a Saved<ShimLotBody>,
    size: Size,
    left: u32,
}

impl<'a> Open<'a> {
    fn of(lot: &'a Saved<ShimLotBody>) -> Option<Self> {
        Some(Self {
            lot,
            size: Size::of_lot(&lot.body)?,
            left: lot.body.count,
        })
    }

    fn name(&self) -> String {
        Collection::ShimLots.name(self.lot.id.as_str())
    }
}

/// Layers of one size, with the lots they can be taken out of.
struct Wanted {
    size: Size,
    layers: Vec<(usize, u32)>,
    /// Places in the list of lots, in the order they are taken from.
    lots: Vec<usize>,
}

/// Allots shims to a stack: out of the lots named, as far as they fit a layer, else out of all that fit.
pub(super) fn allot(
    stack: &StackBody,
    lots: &[Saved<ShimLotBody>],
    named: &[String],
) -> Result<Vec<TakenShims>, ServiceError> {
    let mut lots: Vec<Open<'_>> = lots.iter().filter_map(Open::of).collect();
    let layers = stack
        .values
        .as_ref()
        .map(|values| values.layers.as_slice())
        .unwrap_or_default();
    let mut wanted = sizes(layers);
    let preferred = named_lots(&wanted, &lots, named)?;
    for one in &mut wanted {
        one.lots = lots_of(one, &lots, &preferred)?;
    }
    let (mut taken, mut short) = (Vec::new(), Vec::new());
    for one in &wanted {
        let need = one.layers.iter().map(|(_, count)| *count).sum();
        let have = one
            .lots
            .iter()
            .filter_map(|place| lots.get(*place))
            .map(|lot| lot.left)
            .sum();
        if have < need {
            let names: Vec<_> = one
                .lots
                .iter()
                .filter_map(|place| lots.get(*place))
                .map(Open::name)
                .collect();
            short.push(ShortShims {
                what: one.size.words(),
                lots: names.join(", "),
                have,
                need,
            });
            continue;
        }
        for (layer, count) in &one.layers {
            take(*layer, *count, &one.lots, &mut lots, &mut taken);
        }
    }
    if !short.is_empty() {
        return Err(ServiceError::NotEnoughShims { short });
    }
    taken.sort_by_key(|part: &TakenShims| part.layer_index);
    Ok(taken)
}

/// The sizes of a stack's layers, each once. A bore that some layers state is that of the stack: all sit on one post.
fn sizes(layers: &[StackLayer]) -> Vec<Wanted> {
    let read: Vec<_> = layers
        .iter()
        .enumerate()
        .filter_map(|(index, layer)| Some((index, Size::of_layer(layer)?, u32::try_from(layer.count.max(1)).ok()?)))
        .collect();
    let mut bores = read.iter().filter_map(|(_, size, _)| size.bore);
    let bore = bores
        .next()
        .filter(|first| bores.all(|other| same_diameter(*first, other)));
    let mut wanted: Vec<Wanted> = Vec::new();
    for (index, size, count) in read {
        let size = size.or_bore(bore);
        let same = |one: &&mut Wanted| one.size.fits(&size) && one.size.bore.is_some() == size.bore.is_some();
        match wanted.iter_mut().find(same) {
            Some(one) => one.layers.push((index, count)),
            None => wanted.push(Wanted {
                size,
                layers: vec![(index, count)],
                lots: Vec::new(),
            }),
        }
    }
    wanted
}

/// Where the lots that are named stand, in their order; each must be there and fit a layer.
fn named_lots(wanted: &[Wanted], lots: &[Open<'_>], named: &[String]) -> Result<Vec<usize>, ServiceError> {
    let mut violations = Violations::new();
    let mut places = Vec::new();
    for (index, name) in named.iter().enumerate() {
        let Some(place) = lots.iter().position(|lot| lot.name() == *name) else {
            return Err(ServiceError::NotFound { name: name.clone() });
        };
        let size = lots.get(place).map(|lot| lot.size);
        if let Some(size) = size.filter(|size| !wanted.iter().any(|one| one.size.fits(size))) {
            violations.at("lots").index(index).push(
                Reason::Conflict,
                format_args!("{name} is {}; no layer of the stack is", size.words()),
            );
        }
        places.push(place);
    }
    violations.finish()?;
    Ok(places)
}

/// The lots that layers of a size are taken out of, in order.
fn lots_of(wanted: &Wanted, lots: &[Open<'_>], preferred: &[usize]) -> Result<Vec<usize>, ServiceError> {
    let fits = |place: &usize| lots.get(*place).is_some_and(|lot| wanted.size.fits(&lot.size));
    let named: Vec<usize> = preferred.iter().copied().filter(fits).collect();
    if !named.is_empty() {
        return Ok(named);
    }
    let found: Vec<usize> = (0..lots.len()).filter(fits).collect();
    let mut bores = found.iter().filter_map(|place| lots.get(*place)?.size.bore);
    if let Some(first) = bores.next()
        && wanted.size.bore.is_none()
        && !bores.all(|other| same_diameter(first, other))
    {
        let names = found.iter().filter_map(|place| lots.get(*place)).map(Open::name);
        return Err(ServiceError::LotsDiffer {
            what: wanted.size.words(),
            lots: names.collect::<Vec<_>>().join(", "),
        });
    }
    Ok(found)
}

fn take(layer: usize, count: u32, from: &[usize], lots: &mut [Open<'_>], taken: &mut Vec<TakenShims>) {
    let mut wanted = count;
    for place in from {
        let Some(lot) = lots.get_mut(*place) else { continue };
        let part = wanted.min(lot.left);
        if part > 0 {
            lot.left -= part;
            wanted -= part;
            taken.push(TakenShims {
                lot: lot.lot.id.to_string(),
                layer_index: u32::try_from(layer).unwrap_or(u32::MAX),
                count: part,
            });
        }
    }
}
