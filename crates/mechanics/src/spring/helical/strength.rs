//! What the strength of the wire permits, and what a design asks for.

use std::f64::consts::PI;

use crate::quantity::{Deflection, FreeLength, Length, Load, Quantity, Stress};

use super::{Design, DesignFound, Helical, HelicalSpring, Strength, StrengthFound, wahl};

pub(super) fn strong(spring: &Helical, strength: &Strength, found: &HelicalSpring, large: f64) -> StrengthFound {
    let d = spring.wire_diameter.si();
    let tensile = strength.tensile_constant.si() / (d / strength.reference_diameter.si()).powf(strength.exponent);
    let shear = strength.shear_yield_ratio * tensile;
    let load = PI * d.powi(3) * shear / (8.0 * found.bergstraesser_factor * large);
    let free = found
        .solid_length
        .map(|solid| solid.si() + load / found.rate.value.si());
    let parts = spring.ends.map(|ends| ends.parts(found.active_coil_count));
    StrengthFound {
        tensile_strength: Stress::from_si(tensile),
        shear_yield_strength: Stress::from_si(shear),
        yield_load: Load::from_si(load),
        longest_free_length: free.map(FreeLength::from_si),
        longest_pitch: free
            .zip(parts)
            .map(|(free, (pitches, wires))| Length::from_si((free - wires * d) / pitches)),
    }
}

pub(super) fn designed(spring: &Helical, design: &Design, found: &HelicalSpring, k: f64) -> DesignFound {
    let (load, c) = (design.load.si(), found.index_ratio);
    let d = spring.wire_diameter.si();
    let deflection = load / k;
    let spaces = found.total_coil_count.map(|total| total - 1.0);
    let free = found
        .solid_length
        .zip(spaces)
        .map(|(solid, spaces)| solid.si() + deflection + spaces * design.coil_gap.si());
    DesignFound {
        least_wire_diameter: Length::from_si((8.0 * load * c * wahl(c) / (PI * design.permitted_stress.si())).sqrt()),
        wanted_active_coil_count: found.shear_modulus.si() * d * design.deflection.si() / (8.0 * load * c.powi(3)),
        deflection: Deflection::from_si(deflection),
        free_length: free.map(FreeLength::from_si),
        pitch: free.zip(spaces).map(|(free, spaces)| Length::from_si(free / spaces)),
    }
}
