//! Plain words between lots, stacks and dampers on the wire and those in the store.

use store::record as disk;
use store::{DamperBody, ShimLotBody, StackBody};
use wire::names::Collection;
use wire::v1;
use wire::violation::Violations;

use crate::bench::map::{bare, given, kept, signed};

/// A lot as it is kept.
pub(super) fn lot_body(lot: &v1::ShimLot) -> ShimLotBody {
    ShimLotBody {
        label: lot.label.clone(),
        outer_diameter: kept(&lot.outer_diameter),
        inner_diameter: kept(&lot.inner_diameter),
        thickness: kept(&lot.thickness),
        count: lot.count.and_then(|count| u32::try_from(count).ok()).unwrap_or(0),
        built_count: 0,
        material: lot.material.clone(),
        drawer_place: lot.drawer_place.clone(),
        notes: lot.notes.clone(),
    }
}

/// A lot as it is told.
pub(super) fn lot(body: &ShimLotBody) -> v1::ShimLot {
    v1::ShimLot {
        label: body.label.clone(),
        outer_diameter: given(&body.outer_diameter),
        inner_diameter: given(&body.inner_diameter),
        thickness: given(&body.thickness),
        count: Some(count(body.count)),
        built_count: count(body.built_count),
        material: body.material.clone(),
        drawer_place: body.drawer_place.clone(),
        notes: body.notes.clone(),
        ..Default::default()
    }
}

fn count(count: u32) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}

/// What is entered of a stack, as it is kept.
pub(super) fn stack_values(stack: &v1::Stack) -> disk::StackValues {
    let face = |face: &v1::PortFace| disk::StackFace {
        port_inner_diameter: kept(&face.port_inner_diameter),
        port_outer_diameter: kept(&face.port_outer_diameter),
        land_outer_diameter: kept(&face.land_outer_diameter),
        coverage_ratio: face.coverage_ratio,
    };
    let layer = |layer: &v1::ShimLayer| disk::StackLayer {
        outer_diameter: kept(&layer.outer_diameter),
        inner_diameter: kept(&layer.inner_diameter),
        thickness: kept(&layer.thickness),
        count: layer.count,
    };
    disk::StackValues {
        label: stack.label.clone(),
        faces: stack.faces.iter().map(face).collect(),
        layers: stack.layers.iter().map(layer).collect(),
        clamp: stack.clamp.as_ref().map(|clamp| disk::StackClamp {
            diameter: kept(&clamp.diameter),
            radial_hold: clamp.radial_hold,
        }),
        seat: stack.seat.as_ref().map(|seat| disk::StackSeat {
            inner_diameter: kept(&seat.inner_diameter),
            outer_diameter: kept(&seat.outer_diameter),
            height: kept(&seat.height),
            dish: kept(&seat.dish),
        }),
        stop: stack.stop.as_ref().map(|stop| disk::StackStop {
            inner_diameter: kept(&stop.inner_diameter),
            outer_diameter: kept(&stop.outer_diameter),
            clearance: kept(&stop.clearance),
        }),
        modulus: kept(&stack.modulus),
        poisson_ratio: stack.poisson_ratio,
        stress_limit: kept(&stack.stress_limit),
        friction_factor: stack.friction_factor,
        notes: stack.notes.clone(),
    }
}

/// What was entered of a stack, as it is told.
pub(super) fn stack_entered(values: &disk::StackValues) -> v1::Stack {
    let face = |face: &disk::StackFace| v1::PortFace {
        port_inner_diameter: given(&face.port_inner_diameter),
        port_outer_diameter: given(&face.port_outer_diameter),
        land_outer_diameter: given(&face.land_outer_diameter),
        coverage_ratio: face.coverage_ratio,
    };
    v1::Stack {
        label: values.label.clone(),
        faces: values.faces.iter().map(face).collect(),
        layers: values.layers.iter().map(layer).collect(),
        clamp: values.clamp.as_ref().map(|clamp| v1::Clamp {
            diameter: given(&clamp.diameter),
            radial_hold: clamp.radial_hold,
        }),
        seat: values.seat.as_ref().map(|seat| v1::Seat {
            inner_diameter: given(&seat.inner_diameter),
            outer_diameter: given(&seat.outer_diameter),
            height: given(&seat.height),
            dish: given(&seat.dish),
        }),
        stop: values.stop.as_ref().map(|stop| v1::UpperStop {
            inner_diameter: given(&stop.inner_diameter),
            outer_diameter: given(&stop.outer_diameter),
            clearance: given(&stop.clearance),
        }),
        modulus: given(&values.modulus),
        poisson_ratio: values.poisson_ratio,
        stress_limit: given(&values.stress_limit),
        friction_factor: values.friction_factor,
        notes: values.notes.clone(),
        ..Default::default()
    }
}

/// A layer as it is told.
fn layer(layer: &disk::StackLayer) -> v1::ShimLayer {
    v1::ShimLayer {
        outer_diameter: given(&layer.outer_diameter),
        inner_diameter: given(&layer.inner_diameter),
        thickness: given(&layer.thickness),
        count: layer.count,
    }
}

/// A stack as it is told.
pub(super) fn stack(body: &StackBody) -> v1::Stack {
    let taken = |part: &disk::TakenShims| v1::TakenShims {
        lot: Collection::ShimLots.name(&part.lot),
        layer_index: Some(count(part.layer_index)),
        count: count(part.count),
    };
    v1::Stack {
        built: body.built,
        taken: body.taken.iter().map(taken).collect(),
        ..body.values.as_ref().map(stack_entered).unwrap_or_default()
    }
}

/// A damper as it is kept.
pub(super) fn damper_body(damper: &v1::Damper) -> DamperBody {
    let point = |point: &v1::ViscosityPoint| disk::OilPoint {
        viscosity: kept(&point.viscosity),
        temperature: kept(&point.temperature),
    };
    DamperBody {
        label: damper.label.clone(),
        bore: kept(&damper.bore),
        shaft_diameter: kept(&damper.shaft_diameter),
        compression: damper.compression.as_ref().map(paths),
        rebound: damper.rebound.as_ref().map(paths),
        base_compression: damper.base_compression.as_ref().map(paths),
        base_rebound: damper.base_rebound.as_ref().map(paths),
        gas: damper.gas.as_ref().map(|gas| disk::DamperCharge {
            charge_gauge_pressure: kept(&gas.charge_gauge_pressure),
            volume: kept(&gas.volume),
            exponent_factor: gas.exponent_factor,
        }),
        friction: kept(&damper.friction),
        friction_velocity: kept(&damper.friction_velocity),
        oil: damper.oil.as_ref().map(|oil| disk::OilValues {
            first: oil.first.as_ref().map(point),
            second: oil.second.as_ref().map(point),
            density_at_15_degc: kept(&oil.density_at_15_degc),
        }),
        notes: damper.notes.clone(),
    }
}

/// A damper as it is told.
pub(super) fn damper(body: &DamperBody) -> v1::Damper {
    let point = |point: &disk::OilPoint| v1::ViscosityPoint {
        viscosity: given(&point.viscosity),
        temperature: given(&point.temperature),
    };
    v1::Damper {
        label: body.label.clone(),
        bore: given(&body.bore),
        shaft_diameter: given(&body.shaft_diameter),
        compression: body.compression.as_ref().map(circuit),
        rebound: body.rebound.as_ref().map(circuit),
        base_compression: body.base_compression.as_ref().map(circuit),
        base_rebound: body.base_rebound.as_ref().map(circuit),
        gas: body.gas.as_ref().map(|gas| v1::DamperGas {
            charge_gauge_pressure: given(&gas.charge_gauge_pressure),
            volume: given(&gas.volume),
            exponent_factor: gas.exponent_factor,
        }),
        friction: given(&body.friction),
        friction_velocity: given(&body.friction_velocity),
        oil: body.oil.as_ref().map(|oil| v1::Oil {
            first: oil.first.as_ref().map(point),
            second: oil.second.as_ref().map(point),
            density_at_15_degc: given(&oil.density_at_15_degc),
        }),
        notes: body.notes.clone(),
        ..Default::default()
    }
}

fn paths(circuit: &v1::DamperCircuit) -> disk::DamperPaths {
    use v1::bleed::Kind as From;
    let needle = |needle: &v1::BleedNeedle| disk::DamperNeedle {
        seat_diameter: kept(&needle.seat_diameter),
        half_angle: kept(&needle.half_angle),
        pitch: kept(&needle.pitch),
        clicks_per_turn: needle.clicks_per_turn,
        click_range: needle.click_range,
        clicks_from_closed: needle.clicks_from_closed,
        closed_area: kept(&needle.closed_area),
        discharge_factor: needle.discharge_factor,
    };
    disk::DamperPaths {
        valve: circuit.valve.as_ref().map(valve_kept),
        bleed: circuit.bleed.as_ref().map(|bleed| disk::DamperBleed {
            kind: bleed.kind.as_ref().map(|kind| match kind {
                From::Fixed(hole) => disk::damper_bleed::Kind::Fixed(disk::DamperOrifice {
                    area: kept(&hole.area),
                    discharge_factor: hole.discharge_factor,
                    hydraulic_diameter: kept(&hole.hydraulic_diameter),
                }),
                From::Needle(given) => disk::damper_bleed::Kind::Needle(needle(given)),
            }),
        }),
        leak: circuit.leak.as_ref().map(|leak| disk::DamperLeak {
            diameter: kept(&leak.diameter),
            clearance: kept(&leak.clearance),
            length: kept(&leak.length),
            eccentricity_ratio: leak.eccentricity_ratio,
        }),
    }
}

fn circuit(paths: &disk::DamperPaths) -> v1::DamperCircuit {
    use disk::damper_bleed::Kind as From;
    let needle = |needle: &disk::DamperNeedle| v1::BleedNeedle {
        seat_diameter: given(&needle.seat_diameter),
        half_angle: given(&needle.half_angle),
        pitch: given(&needle.pitch),
        clicks_per_turn: needle.clicks_per_turn,
        click_range: needle.click_range,
        clicks_from_closed: needle.clicks_from_closed,
        closed_area: given(&needle.closed_area),
        discharge_factor: needle.discharge_factor,
    };
    v1::DamperCircuit {
        valve: paths.valve.as_ref().map(valve),
        bleed: paths.bleed.as_ref().map(|bleed| v1::Bleed {
            kind: bleed.kind.as_ref().map(|kind| match kind {
                From::Fixed(hole) => v1::bleed::Kind::Fixed(v1::Orifice {
                    area: given(&hole.area),
                    discharge_factor: hole.discharge_factor,
                    hydraulic_diameter: given(&hole.hydraulic_diameter),
                }),
                From::Needle(kept) => v1::bleed::Kind::Needle(needle(kept)),
            }),
        }),
        leak: paths.leak.as_ref().map(|leak| v1::BandLeak {
            diameter: given(&leak.diameter),
            clearance: given(&leak.clearance),
            length: given(&leak.length),
            eccentricity_ratio: leak.eccentricity_ratio,
        }),
    }
}

fn valve_kept(valve: &v1::StackValve) -> disk::DamperValve {
    use disk::damper_valve::Source as To;
    use v1::stack_valve::Source as From;
    disk::DamperValve {
        ports: valve.ports.as_ref().map(|ports| disk::DamperHoles {
            diameter: kept(&ports.diameter),
            length: kept(&ports.length),
            count: ports.count,
        }),
        perimeter: kept(&valve.perimeter),
        source: valve.source.as_ref().map(|source| match source {
            From::Stack(name) => To::Stack(named_stack(name)),
            From::Values(values) => To::Values(stack_values(values)),
            From::Straight(law) => To::Straight(disk::DamperStraightLift {
                cracking_pressure: kept(&law.cracking_pressure),
                pressure: kept(&law.pressure),
                opening: kept(&law.opening),
                largest_opening: kept(&law.largest_opening),
            }),
        }),
        discharge_factor: valve.discharge_factor,
        stack_factor: valve.stack_factor,
    }
}

fn valve(valve: &disk::DamperValve) -> v1::StackValve {
    use disk::damper_valve::Source as From;
    use v1::stack_valve::Source as To;
    v1::StackValve {
        ports: valve.ports.as_ref().map(|ports| v1::Holes {
            diameter: given(&ports.diameter),
            length: given(&ports.length),
            count: ports.count,
        }),
        perimeter: given(&valve.perimeter),
        source: valve.source.as_ref().map(|source| match source {
            From::Stack(named) => To::Stack(name_of(named)),
            From::Values(values) => To::Values(stack_entered(values)),
            From::Straight(law) => To::Straight(v1::StraightLift {
                cracking_pressure: given(&law.cracking_pressure),
                pressure: given(&law.pressure),
                opening: given(&law.opening),
                largest_opening: given(&law.largest_opening),
            }),
        }),
        discharge_factor: valve.discharge_factor,
        stack_factor: valve.stack_factor,
    }
}

/// A stack that is named, as it is kept. The name was checked; one that is none is kept as no stack's.
fn named_stack(name: &str) -> disk::NamedStack {
    match Collection::Stacks.revisable(name, Violations::new().root()) {
        Some(name) => disk::NamedStack {
            id: name.id,
            revision: name.revision.unwrap_or(0),
        },
        None => disk::NamedStack {
            id: bare(Collection::Stacks, name),
            revision: 0,
        },
    }
}

/// The name of a stack that is named.
pub(super) fn name_of(named: &disk::NamedStack) -> String {
    let name = Collection::Stacks.name(&named.id);
    match named.revision {
        0 => name,
        revision => format!("{name}@{}", signed(revision)),
    }
}
