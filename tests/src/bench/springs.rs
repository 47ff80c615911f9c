//! Curves of springs together and of air over oil, against SciPy.

use acceptance::{repository, tool};
use mechanics::quantity::{
    Deflection, GaugePressure, Length, LengthUnit, Quantity, SpringRate, StiffnessUnit, Stroke, UnitSystem, Volume,
};
use mechanics::spring::{
    Assembly, GasModel, GasRequest, GasSpring, Part, PartKind, evaluate_assembly, evaluate_gas_spring,
};

use crate::process::{json_of, number};
use crate::table::{Line, least, note};

const ROUNDS: usize = 51;
/// Places of a curve.
const PLACES: usize = 401;
/// The same as in the script, mm.
const REACH: f64 = 40.0;
const TRAVEL: f64 = 120.0;

fn mm<Q: Quantity<Unit = LengthUnit>>(value: f64) -> Q {
    Q::new(value, LengthUnit::Millimeter)
}

fn places<Q: Quantity<Unit = LengthUnit>>(reach: f64) -> Vec<Q> {
    (0..PLACES)
        .map(|k| mm(reach * k as f64 / (PLACES - 1) as f64))
        .collect()
}

fn assembly() -> Assembly {
    let part = |kind, gap: Option<Length>| Part {
        label: String::new(),
        kind,
        gap,
    };
    let straight = |rate, stop: Option<f64>| PartKind::Straight {
        rate: SpringRate::new(rate, StiffnessUnit::NewtonPerMillimeter),
        stop: stop.map(mm),
    };
    let series = [(40.0, Some(12.0)), (25.0, Some(20.0)), (95.0, None)];
    let series = series.map(|(rate, stop)| part(straight(rate, stop), None));
    Assembly {
        part: part(
            PartKind::Parallel(vec![
                part(PartKind::Series(series.into()), None),
                part(straight(8.0, None), Some(mm(10.0))),
            ]),
            None,
        ),
        preload: None,
        deflections: places::<Deflection>(REACH),
        loads: Vec::new(),
        maximum_deflection: None,
        units: UnitSystem::Metric,
    }
}

fn gas() -> GasRequest {
    GasRequest {
        spring: GasSpring::OilLevel {
            seal_diameter: mm(48.0),
            bore_diameter: mm(44.0),
            air_gap: mm(130.0),
            travel: mm(TRAVEL),
            spring_volume: Volume::from_si(0.0),
        },
        charge: GaugePressure::from_si(0.0),
        ambient: None,
        model: Some(GasModel::Polytropic(1.2)),
        strokes: places::<Stroke>(TRAVEL),
        maximum_stroke: None,
        units: UnitSystem::Metric,
    }
}

/// The rows.
pub(crate) fn rows() -> Result<Vec<Line>, String> {
    note("springs: ours, then SciPy");
    let (assembly, gas) = (assembly(), gas());
    let (together, together_ms) = least(ROUNDS, || {
        evaluate_assembly(&assembly).map_err(|error| error.to_string())
    })?;
    let (air, air_ms) = least(ROUNDS, || evaluate_gas_spring(&gas).map_err(|error| error.to_string()))?;
    let mut script = std::process::Command::new(tool("python/bin/python")?);
    script
        .arg(repository().join("tests/bench/springs.py"))
        .arg("5")
        .env("OPENBLAS_NUM_THREADS", "1");
    let theirs = json_of(&mut script)?;
    let last = (together.points.last(), air.points.last());
    let (Some(together), Some(air)) = last else {
        return Err("there is no last place".to_owned());
    };
    let apart = |name, ours: f64| Ok::<_, String>((ours / number(&theirs, "found", name)? - 1.0).abs());
    let line = |what: &str, name, ours: f64| {
        let scipy = number(&theirs, "ms", name)?;
        let line = Line::new("springs", format!("{what}, {PLACES} places"))
            .measured(format!("{ours:.3} ms"))
            .against(format!("SciPy {scipy:.3} ms"));
        Ok::<_, String>(line.ratio(format!("{:.1} times", scipy / ours), ""))
    };
    Ok(vec![
        line(
            "four springs together, two with stops: load and energy",
            "assembly",
            together_ms,
        )?,
        line("air over oil: force, rate, slow and fast", "gas", air_ms)?,
        Line::new("springs", "how far both answers are apart at the last place").measured(format!(
            "load {:.0e}, energy {:.0e}, force {:.0e}, rate {:.0e}",
            apart("load", together.load.si())?,
            apart("energy", together.energy.si())?,
            apart("force", air.force.si())?,
            apart("rate", air.rate.si())?,
        )),
    ])
}
