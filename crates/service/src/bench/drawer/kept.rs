//! Lots, stacks and dampers as records: what is checked, kept and told of each.

use store::record::{NamedStack, StackValues};
use store::{DamperBody, Saved, ShimLotBody, StackBody, StoreError};
use wire::names::Collection;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::valving::drawer as checks;
use wire::violation::{Scope, Violations};

use super::map;
use crate::bench::fields::{Field, fields};
use crate::bench::map::stamped;
use crate::bench::standard::Recorded;
use crate::bench::standard::plain::Plain;
use crate::error::ServiceError;

macro_rules! recorded {
    ($($told:ident: $stored:ident, $collection:ident, $content:path;)*) => {$(
        impl Recorded for v1::$told {
            type Stored = $stored;
            const COLLECTION: Collection = Collection::$collection;

            fn of_saved(saved: &Saved<$stored>) -> Result<Self, StoreError> {
                let name = Collection::$collection.name(saved.id.as_str());
                Ok(stamped!($content(&saved.body), name, saved, [delete_time, purge_time]))
            }
        }
    )*};
}

recorded! {
    ShimLot: ShimLotBody, ShimLots, map::lot;
    Stack: StackBody, Stacks, map::stack;
    Damper: DamperBody, Dampers, map::damper;
}

/// Refuses content that is not whole any more once it is changed.
fn whole<R: Plain>(after: &R) -> Result<(), ServiceError> {
    let mut violations = Violations::new();
    after.check(violations.at(R::PLACE));
    Ok(violations.finish()?)
}

impl Plain for v1::ShimLot {
    type Content = ShimLotBody;
    const PLACE: &'static str = "shim_lot";
    const WORDS: &'static str = "lot of shims";
    const FIELDS: &'static [Field<Self, ShimLotBody>] = fields! {
        label: |lot| !lot.label.is_empty();
        outer_diameter: |lot| lot.outer_diameter.is_some();
        inner_diameter: |lot| lot.inner_diameter.is_some();
        thickness: |lot| lot.thickness.is_some();
        material: |lot| !lot.material.is_empty();
        drawer_place: |lot| !lot.drawer_place.is_empty();
        notes: |lot| !lot.notes.is_empty();
    };

    fn named(&self) -> (&str, &str) {
        (&self.name, &self.etag)
    }

    fn check(&self, at: Scope<'_>) {
        checks::shim_lot(self, at);
    }

    fn content(&self) -> ShimLotBody {
        map::lot_body(self)
    }

    fn stored(content: ShimLotBody) -> ShimLotBody {
        content
    }

    fn content_mut(stored: &mut ShimLotBody) -> &mut ShimLotBody {
        stored
    }

    /// A count is not changed by writing another number.
    fn may_become(&self, before: &ShimLotBody, after: &ShimLotBody) -> Result<(), ServiceError> {
        let mut violations = Violations::new();
        if self
            .count
            .is_some_and(|count| i64::from(count) != i64::from(before.count))
        {
            violations.at(Self::PLACE).at("count").push(
                Reason::Conflict,
                format_args!(
                    "{} has {} shims; AdjustShimCount, BuildStack and UnbuildStack alone change that",
                    self.name, before.count
                ),
            );
        }
        violations.finish()?;
        whole(&map::lot(after))
    }
}

impl Plain for v1::Stack {
    type Content = StackValues;
    const PLACE: &'static str = "stack";
    const WORDS: &'static str = "stack";
    const FIELDS: &'static [Field<Self, StackValues>] = fields! {
        label: |stack| !stack.label.is_empty();
        faces: |stack| !stack.faces.is_empty();
        layers: |stack| !stack.layers.is_empty();
        clamp: |stack| stack.clamp.is_some();
        seat: |stack| stack.seat.is_some();
        stop: |stack| stack.stop.is_some();
        modulus: |stack| stack.modulus.is_some();
        poisson_ratio: |stack| stack.poisson_ratio.is_some();
        stress_limit: |stack| stack.stress_limit.is_some();
        friction_factor: |stack| stack.friction_factor.is_some();
        notes: |stack| !stack.notes.is_empty();
    };

    fn named(&self) -> (&str, &str) {
        (&self.name, &self.etag)
    }

    fn check(&self, at: Scope<'_>) {
        checks::stack(self, at);
    }

    fn content(&self) -> StackValues {
        map::stack_values(self)
    }

    fn stored(content: StackValues) -> StackBody {
        StackBody {
            values: Some(content),
            ..StackBody::default()
        }
    }

    fn content_mut(stored: &mut StackBody) -> &mut StackValues {
        stored.values.get_or_insert_default()
    }

    /// Shims that were taken for it are where its layers say.
    fn may_become(&self, before: &StackBody, after: &StackBody) -> Result<(), ServiceError> {
        fn layers(body: &StackBody) -> Option<&[store::record::StackLayer]> {
            body.values.as_ref().map(|values| values.layers.as_slice())
        }
        if before.built && layers(before) != layers(after) {
            return Err(ServiceError::StackBuilt {
                name: self.name.clone(),
            });
        }
        whole(&map::stack(after))
    }
}

impl Plain for v1::Damper {
    type Content = DamperBody;
    const PLACE: &'static str = "damper";
    const WORDS: &'static str = "damper";
    const FIELDS: &'static [Field<Self, DamperBody>] = fields! {
        label: |damper| !damper.label.is_empty();
        bore: |damper| damper.bore.is_some();
        shaft_diameter: |damper| damper.shaft_diameter.is_some();
        compression: |damper| damper.compression.is_some();
        rebound: |damper| damper.rebound.is_some();
        base_compression: |damper| damper.base_compression.is_some();
        base_rebound: |damper| damper.base_rebound.is_some();
        gas: |damper| damper.gas.is_some();
        friction: |damper| damper.friction.is_some();
        friction_velocity: |damper| damper.friction_velocity.is_some();
        oil: |damper| damper.oil.is_some();
        notes: |damper| !damper.notes.is_empty();
    };

    fn named(&self) -> (&str, &str) {
        (&self.name, &self.etag)
    }

    fn check(&self, at: Scope<'_>) {
        checks::damper(self, at);
    }

    fn content(&self) -> DamperBody {
        map::damper_body(self)
    }

    fn stored(content: DamperBody) -> DamperBody {
        content
    }

    fn content_mut(stored: &mut DamperBody) -> &mut DamperBody {
        stored
    }

    fn none_named(&self, stacks: &[NamedStack]) -> Violations {
        use v1::stack_valve::Source;
        let mut violations = Violations::new();
        let mut at = violations.at(Self::PLACE);
        for (place, circuit) in checks::circuits(self) {
            let valve = circuit.and_then(|circuit| circuit.valve.as_ref());
            if let Some(Source::Stack(name)) = valve.and_then(|valve| valve.source.as_ref())
                && stacks.iter().any(|stack| map::name_of(stack) == *name)
            {
                at.at(place).at("valve").at("stack").push(
                    Reason::UnknownName,
                    format_args!("\"{name}\" is not in the drawer, or deleted"),
                );
            }
        }
        violations
    }

    fn may_become(&self, _before: &DamperBody, after: &DamperBody) -> Result<(), ServiceError> {
        whole(&map::damper(after))
    }
}
