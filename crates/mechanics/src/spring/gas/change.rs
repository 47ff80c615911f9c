//! What becomes of a gas that is warmed or compressed.

use crate::quantity::{AbsolutePressure, Quantity, Temperature};

use super::super::SpringError;
use super::super::options::out_of_range;
use super::{ChangeKind, GasChange, GasChanged};

/// The end of a change of a real gas, beside the ideal gas law. Span and others (2000) for nitrogen, Lemmon and others (2000)
/// for air. Range: 200 to 1,000 K, up to 100 MPa. Example: nitrogen of 20 degC, 20 bar, slowly to two fifths: 49.89 bar, the
/// ideal law 0.2 % more.
///
/// # Errors
/// [`SpringError::OutOfRange`] outside the range.
pub fn evaluate_gas_change(change: &GasChange) -> Result<GasChanged, SpringError> {
    let fluid = change.gas.fluid();
    let (t1, p1) = (change.temperature.si(), change.pressure.si());
    if !(200.0..=1_000.0).contains(&t1) {
        return out_of_range("start_temperature", t1, "K", "200 to 1000");
    }
    if !(p1 > 0.0 && p1 <= 1e8) {
        return out_of_range("start_absolute_pressure", p1 * 1e-6, "MPa", "above 0, up to 100");
    }
    let ratio = match change.kind {
        ChangeKind::Slow(ratio) | ChangeKind::Fast(ratio) => ratio,
        ChangeKind::Nothing | ChangeKind::Warmed(_) => 1.0,
    };
    if !(0.01..=50.0).contains(&ratio) {
        return out_of_range("volume_ratio", ratio, "", "0.01 to 50");
    }
    let beyond = || SpringError::OutOfRange {
        field: "start_absolute_pressure",
        value: p1 * 1e-6,
        unit: "MPa",
        allowed: "what the equation of state covers",
    };
    let start = fluid.at_pressure(t1, p1).ok_or_else(beyond)?;
    let (end, ideal) = match change.kind {
        ChangeKind::Nothing => (start, p1),
        ChangeKind::Warmed(t2) => {
            if !(200.0..=1_000.0).contains(&t2.si()) {
                return out_of_range("end_temperature", t2.si(), "K", "200 to 1000");
            }
            (fluid.at_density(t2.si(), start.density), p1 * t2.si() / t1)
        }
        ChangeKind::Slow(ratio) => (fluid.at_density(t1, start.density * ratio), p1 * ratio),
        ChangeKind::Fast(ratio) => {
            let end = fluid
                .at_entropy(start.entropy, start.density * ratio, t1)
                .ok_or_else(beyond)?;
            (end, p1 * ratio.powf(1.4))
        }
    };
    let (second, third) = change.virial.unwrap_or_else(|| fluid.virial(t1));
    if !(second.abs() < 1e-2 && third.abs() < 1e-4) {
        return out_of_range(
            "second_virial_factor",
            second,
            "m3/mol",
            "below 0.01; the third below 0.0001 m6/mol2",
        );
    }
    Ok(GasChanged {
        pressure: AbsolutePressure::from_si(end.pressure),
        temperature: Temperature::from_si(end.temperature),
        ideal_pressure: AbsolutePressure::from_si(ideal),
        ideal_error_ratio: ideal / end.pressure - 1.0,
        effective_exponent: (ratio != 1.0).then(|| (end.pressure / p1).ln() / ratio.ln()),
        local_exponent: start.fast_exponent,
        compressibility_ratio: start.compressibility,
        virial_compressibility_ratio: super::super::real_gas::virial_compressibility((second, third), t1, p1),
        second_virial: second,
        third_virial: third,
    })
}
