//! Machines with none to four known faults, from a seed.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::truth::{Circuit, End, Fault, Frame, Kind, Machine, Riding};

/// Standard gravity, m/s2.
const G: f64 = 9.806_65;

/// A machine that is right in everything, then faults built into it.
pub(super) fn machine(rng: &mut ChaCha8Rng, fault_count: usize) -> Machine {
    let mut machine = right(rng);
    while machine.faults.len() < fault_count {
        let fault = draw(rng);
        let again = machine.faults.iter().any(|one| {
            one.is_front == fault.is_front && std::mem::discriminant(&one.kind) == std::mem::discriminant(&fault.kind)
        });
        // What cannot be opened has no valving to be right.
        let sealed = machine.has(fault.is_front, |kind| kind == Kind::Sealed);
        if again || (sealed && matches!(fault.kind, Kind::OldOil | Kind::Level | Kind::Worn)) {
            continue;
        }
        build_in(rng, &mut machine, fault);
    }
    machine
}

fn circuit(rng: &mut ChaCha8Rng) -> Circuit {
    Circuit {
        valving: rng.random_range(0.93..1.07),
        ratio: rng.random_range(1.6..3.0),
        range: f64::from(rng.random_range(14..=26_u32)),
        fixed: None,
    }
}

fn right(rng: &mut ChaCha8Rng) -> Machine {
    let rider = rng.random_range(65.0..100.0);
    let frame = Frame {
        wheelbase: rng.random_range(1_370.0..1_480.0),
        ahead: 0.0,
        height: rng.random_range(600.0..700.0),
        mass: rng.random_range(180.0..230.0) + rider,
        front_unsprung: rng.random_range(13.0..18.0),
        rake: rng.random_range(22.5_f64..27.0).to_radians(),
        deceleration: 0.5,
    };
    let mut machine = Machine {
        front: front(rng, rider, frame.rake.cos()),
        rear: rear(rng, rider),
        frame,
        riding: match rng.random_range(0..10) {
            0..2 => Riding::Gentle,
            2..7 => Riding::Hard,
            _ => Riding::Track,
        },
        frame_known: rng.random_bool(0.8),
        level_known: rng.random_bool(0.8),
        faults: Vec::new(),
    };
    // The ground carries at the front what the fork shows.
    let carried = (machine.front.alone + machine.front.rider) / machine.frame.rake.cos();
    let load = carried + machine.frame.front_unsprung * G;
    machine.frame.ahead = load / (machine.frame.mass * G) * machine.frame.wheelbase;
    brake(rng, &mut machine);
    machine
}

/// The braking that uses a right share of the fork's travel.
fn brake(rng: &mut ChaCha8Rng, machine: &mut Machine) {
    let share = rng.random_range(0.66..0.78);
    let wanted = share * machine.front.travel;
    let (mut low, mut high) = (0.05, 1.2);
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        machine.frame.deceleration = middle;
        machine.front.braking = machine.frame.braking();
        if machine.front.travel_used() < wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
}

fn front(rng: &mut ChaCha8Rng, rider: f64, cos: f64) -> End {
    let carried = rider * rng.random_range(0.33..0.41) * G * cos;
    let share = rng.random_range(13.0..15.5);
    // A half step of the rack: legs are bought in 0.5 N/mm.
    let rate = (carried / share / 2.0 / 0.5).round() * 0.5 - 0.5;
    let mut end = End {
        is_front: true,
        travel: rng.random_range(115.0..130.0),
        motion: 1.0,
        rate,
        springs: 2.0,
        right_rate: rate,
        step: 0.5,
        preload: rng.random_range(9.0..14.0),
        most_preload: rng.random_range(18.0..24.0),
        alone: 0.0,
        rider: carried,
        friction: 0.0,
        usual_friction: 0.0,
        gap: 130.0,
        right_gap: 130.0,
        oil_months: rng.random_range(1.0..10.0),
        compression: circuit(rng),
        rebound: circuit(rng),
        dynamic: 0.0,
        braking: 0.0,
        is_worn: false,
        is_sealed: false,
    };
    fit(rng, &mut end, (2.5, 4.0));
    end
}

fn rear(rng: &mut ChaCha8Rng, rider: f64) -> End {
    let carried = rider * rng.random_range(0.59..0.67) * G;
    let share = rng.random_range(23.5..26.0);
    let rate = f64::from(rng.random_range(16..=24_u32)) * 5.0;
    let mut end = End {
        is_front: false,
        travel: rng.random_range(115.0..135.0),
        motion: (carried / share / rate).sqrt(),
        rate,
        springs: 1.0,
        right_rate: rate,
        step: 5.0,
        preload: rng.random_range(8.0..12.0),
        most_preload: rng.random_range(18.0..24.0),
        alone: 0.0,
        rider: carried,
        friction: 0.0,
        usual_friction: 0.0,
        gap: 0.0,
        right_gap: 0.0,
        oil_months: rng.random_range(1.0..10.0),
        compression: circuit(rng),
        rebound: circuit(rng),
        dynamic: 0.0,
        braking: 0.0,
        is_worn: false,
        is_sealed: false,
    };
    fit(rng, &mut end, (0.8, 1.8));
    end
}

/// The load that gives the right sag, the friction that gives a usual half-band, the travel that hard use takes.
fn fit(rng: &mut ChaCha8Rng, end: &mut End, half_band: (f64, f64)) {
    let wanted = rng.random_range(33.0..37.0);
    let (mut low, mut high) = (0.0, 5_000.0);
    for _ in 0..60 {
        end.alone = f64::midpoint(low, high);
        if end.total() < wanted {
            low = end.alone;
        } else {
            high = end.alone;
        }
    }
    let band = rng.random_range(half_band.0..half_band.1);
    end.usual_friction = band * end.springs * end.rate * end.motion * end.motion;
    end.friction = end.usual_friction;
    end.dynamic = rng.random_range(0.66..0.76) * end.travel - wanted;
}

fn draw(rng: &mut ChaCha8Rng) -> Fault {
    let is_front = rng.random_bool(0.5);
    let off = |rng: &mut ChaCha8Rng| {
        let strong = rng.random_bool(0.5);
        if strong {
            rng.random_range(1.3..1.8)
        } else {
            rng.random_range(0.55..0.78)
        }
    };
    let kind = match rng.random_range(0..9) {
        0 => Kind::OldOil,
        1 if is_front => Kind::Level,
        1 | 2 => Kind::Friction,
        3 => Kind::Preload,
        4 | 5 => {
            let steps = f64::from(rng.random_range(1..=6_u32));
            Kind::Spring(if rng.random_bool(0.5) { steps } else { -steps })
        }
        6 => Kind::Compression(off(rng)),
        7 => Kind::Rebound(off(rng)),
        _ if rng.random_bool(0.5) => Kind::Worn,
        _ => Kind::Sealed,
    };
    Fault { is_front, kind }
}

fn build_in(rng: &mut ChaCha8Rng, machine: &mut Machine, fault: Fault) {
    let end = machine.end_mut(fault.is_front);
    match fault.kind {
        Kind::OldOil => end.oil_months = rng.random_range(30.0..60.0),
        Kind::Level => {
            let off = rng.random_range(15.0..35.0);
            end.gap += if rng.random_bool(0.5) { off } else { -off };
        }
        Kind::Friction => {
            let band = if end.is_front {
                rng.random_range(8.5..13.0)
            } else {
                rng.random_range(4.8..7.5)
            };
            end.friction = band * end.springs * end.rate * end.motion * end.motion;
        }
        Kind::Preload => {
            let off = rng.random_range(8.0..13.0) * end.motion;
            let more = rng.random_bool(0.5);
            end.preload = (end.preload + if more { off } else { -off }).clamp(0.0, end.most_preload);
        }
        Kind::Spring(steps) => spring(rng, end, steps),
        Kind::Compression(factor) => end.compression.valving *= factor,
        Kind::Rebound(factor) => end.rebound.valving *= factor,
        Kind::Worn => end.is_worn = true,
        Kind::Sealed => {
            // What cannot be opened is a fault only where its valving is not right.
            end.is_sealed = true;
            end.rebound.valving *= rng.random_range(0.55..0.7);
        }
    }
    machine.faults.push(fault);
}

/// Another spring; every second time somebody has wound it to the right total, as far as the collar goes.
fn spring(rng: &mut ChaCha8Rng, end: &mut End, steps: f64) {
    let total = end.total();
    // A fork's steps are smaller against its rate: none goes below half of it.
    end.rate = (end.rate + steps * end.step).max(0.5 * end.rate);
    if rng.random_bool(0.5) {
        *end = end.wound_to(total);
    }
}
