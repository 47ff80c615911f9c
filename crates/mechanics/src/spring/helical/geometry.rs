//! What follows from the geometry: lengths, buckling, the curve, and what is taken where nothing is said.

use std::f64::consts::PI;

use crate::estimate::Assumption;
use crate::quantity::{Quantity, TemperatureUnit};

use super::super::SpringError;
use super::super::force::ForceCurve;
use super::{Helical, WARMTH, WireMaterial};

pub(super) fn moduli(spring: &Helical, assumptions: &mut Vec<Assumption>) -> (f64, f64) {
    let material = spring.material.unwrap_or(WireMaterial::OilTempered);
    let (g, e, name) = material.moduli();
    let mut assume = |subject, what: &str, si: f64| {
        assumptions.push(Assumption {
            subject,
            text: format!("{what} {:.1} GPa, {name}", si * 1e-9),
            source: "EN 13906-1, from memory; American tables give 77.2 GPa for oil tempered wire",
        });
    };
    let g = spring.shear_modulus.map_or_else(
        || {
            assume("shear_modulus", "shear modulus", g);
            g
        },
        Quantity::si,
    );
    let e = spring.elastic_modulus.map_or_else(
        || {
            assume("elastic_modulus", "Young's modulus", e);
            e
        },
        Quantity::si,
    );
    let Some(temperature) = spring.temperature else {
        return (g, e);
    };
    let warmer = temperature.get(TemperatureUnit::DegreeCelsius) - 20.0;
    assumptions.push(Assumption {
        subject: "temperature",
        text: format!(
            "moduli are those of 20 degC and fall by 0.025 % a kelvin: {:+.2} %",
            100.0 * WARMTH * warmer
        ),
        source: "EN 13906-1, from memory",
    });
    (g * (1.0 + WARMTH * warmer), e * (1.0 + WARMTH * warmer))
}

pub(super) fn density(spring: &Helical, assumptions: &mut Vec<Assumption>) -> f64 {
    spring.density.map_or_else(
        || {
            assumptions.push(Assumption {
                subject: "density",
                text: "7850 kg/m3, spring steel".to_owned(),
                source: "EN 13906-1, from memory",
            });
            7850.0
        },
        Quantity::si,
    )
}

pub(super) fn seating(spring: &Helical, assumptions: &mut Vec<Assumption>) -> f64 {
    spring.seating_factor.unwrap_or_else(|| {
        assumptions.push(Assumption {
            subject: "seating_factor",
            text: "0.5: both ends on flat guided platens; a spring in a tube or on a guide cannot buckle far"
                .to_owned(),
            source: "EN 13906-1, from memory",
        });
        0.5
    })
}

pub(super) fn active(spring: &Helical) -> Result<f64, SpringError> {
    let of_total = spring
        .total_coil_count
        .zip(spring.ends)
        .map(|(total, ends)| total - ends.dead());
    let of_gaps = (!spring.coil_gaps.is_empty()).then_some(spring.coil_gaps.len() as f64);
    let n = of_gaps.or(spring.active_coil_count).or(of_total).unwrap_or(0.0);
    if n > 0.0 {
        return Ok(n);
    }
    Err(SpringError::OutOfRange {
        field: "active_coil_count",
        value: n,
        unit: "coils",
        allowed: "above 0; or total coils and ends that leave some",
    })
}

pub(super) fn lengths(spring: &Helical, n: f64, solid: Option<f64>) -> (Option<f64>, Option<f64>) {
    let d = spring.wire_diameter.si();
    let gaps: f64 = spring.coil_gaps.iter().map(|gap| gap.si()).sum();
    let of_gaps = solid.filter(|_| !spring.coil_gaps.is_empty()).map(|solid| solid + gaps);
    let parts = spring.ends.map(|ends| ends.parts(n));
    let of_pitch = parts
        .zip(spring.pitch)
        .map(|((pitches, wires), p)| pitches * p.si() + wires * d);
    let free = spring.free_length.map(Quantity::si).or(of_pitch).or(of_gaps);
    let pitch = spring.pitch.map(Quantity::si).or(parts
        .zip(free)
        .map(|((pitches, wires), free)| (free - wires * d) / pitches));
    (free, pitch)
}

/// Deflection at which it buckles; `None` where no root is real.
pub(super) fn buckling(free: f64, coil: f64, nu: f64, ratio: f64) -> Option<f64> {
    let slender = PI * coil / (nu * free);
    let under = 1.0 - (1.0 - ratio) / (0.5 + ratio) * slender * slender;
    (under >= 0.0).then(|| free * 0.5 / (1.0 - ratio) * (1.0 - under.sqrt()))
}

/// From free to solid: straight, or one knot for every gap that closes.
pub(super) fn curve(spring: &Helical, k: f64, n: f64, lengths: Option<(f64, f64)>) -> Option<ForceCurve> {
    if spring.coil_gaps.is_empty() {
        let travel = lengths
            .map(|(free, solid)| free - solid)
            .filter(|travel| *travel > 0.0)?;
        return super::super::assembly::straight_curve(k, travel);
    }
    let coil = k * n;
    let mut gaps: Vec<f64> = spring.coil_gaps.iter().map(|gap| gap.si()).collect();
    gaps.sort_by(f64::total_cmp);
    let mut points = vec![(0.0, 0.0)];
    let (mut at, mut before) = (0.0, 0.0);
    for (index, gap) in gaps.iter().enumerate() {
        let open = (gaps.len() - index) as f64;
        if *gap > before {
            at += open * (gap - before);
            points.push((at, coil * gap));
            before = *gap;
        }
    }
    ForceCurve::new(super::super::assembly::joined(&points))
}
