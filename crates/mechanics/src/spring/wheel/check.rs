//! Wheels that make sense.

use crate::quantity::{AngleUnit, LengthUnit, Quantity, StiffnessUnit};

use super::super::SpringError;
use super::super::options::{not_negative, positive};
use super::{Linkage, WheelSpring};

pub(super) fn check(wheel: &WheelSpring) -> Result<(), SpringError> {
    let mm = LengthUnit::Millimeter;
    let refuse = |field, value, unit, allowed| {
        Err(SpringError::OutOfRange {
            field,
            value,
            unit,
            allowed,
        })
    };
    if wheel.rates.is_empty() {
        return refuse("rates", 0.0, "springs", "1 or more");
    }
    for (rate, u) in &wheel.rates {
        not_negative("rates", *rate, StiffnessUnit::NewtonPerMillimeter)?;
        not_negative("rates.standard_uncertainty", *u, StiffnessUnit::NewtonPerMillimeter)?;
    }
    not_negative("preload", wheel.preload, mm)?;
    match &wheel.linkage {
        Linkage::ConstantRatio(ratio) if !(*ratio > 0.0 && *ratio <= 10.0) => {
            refuse("linkage.motion_ratio", *ratio, "", "above 0, up to 10")
        }
        Linkage::Polynomial(c) if c.is_empty() || c.len() > 10 || !c.iter().all(|c| c.is_finite()) => refuse(
            "linkage.polynomial",
            c.len() as f64,
            "coefficients",
            "1 to 10 finite ones",
        ),
        Linkage::Arms { wheel_arm, spring_arm } => {
            positive("linkage.arms.wheel_arm", *wheel_arm, mm)?;
            positive("linkage.arms.spring_arm", *spring_arm, mm)
        }
        Linkage::Table {
            travels,
            compressions,
            degree,
        } => {
            if travels.len() != compressions.len() {
                return Err(SpringError::Mismatched {
                    what: "linkage.table.compressions",
                    count: compressions.len(),
                    expected: travels.len(),
                });
            }
            match degree {
                Some(degree) if !(1..=7).contains(degree) => {
                    refuse("linkage.table.degree", *degree as f64, "", "1 to 7")
                }
                _ => Ok(()),
            }
        }
        Linkage::Swingarm { axle_radius, .. } => {
            positive("linkage.swingarm.axle_radius", *axle_radius, mm)?;
            let steep = wheel.angles.iter().find(|angle| angle.si().abs() > 1.4);
            steep.map_or(Ok(()), |angle| {
                refuse("angles", angle.get(AngleUnit::Degree), "deg", "-80 to 80")
            })
        }
        Linkage::Fork { rake } if !(0.0..1.2).contains(&rake.si()) => {
            refuse("linkage.fork.rake", rake.get(AngleUnit::Degree), "deg", "0 to 68")
        }
        Linkage::ConstantRatio(_) | Linkage::Polynomial(_) | Linkage::Fork { .. } => Ok(()),
    }
}
