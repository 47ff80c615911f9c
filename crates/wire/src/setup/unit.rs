//! One end of a machine as the chassis takes it: from values that were checked as those of a machine.

use mechanics::chassis::{
    Air, Balance, CandidateSpring, CenterOfGravity, ChassisError, Element, End, Path, SpringSource,
};
use mechanics::estimate::Assumption;
use mechanics::quantity::{
    AbsolutePressure, Angle, AngleUnit, Force, GaugePressure, Length, LengthUnit, Mass, Preload, PressureUnit,
    Quantity, STANDARD_GRAVITY, SpringRate, StiffnessUnit, Stroke, Travel, UnitSystem, Volume, VolumeUnit,
};
use mechanics::spring::{GasRequest, GasSpring, Linkage, mark_rates};

use super::{length, mass};
use crate::quantity::{Range, optional};
use crate::v1;
use crate::v1::ViolationReason as Reason;
use crate::violation::{Scope, Violations};

/// Source of what the trade knows.
const PRACTICE: &str = "common practice, no source";
/// Unsprung mass of an end where none is known, kg (common practice, no source).
const UNSPRUNG: f64 = 16.0;
/// Rate of the air in a leg whose oil level is not known, N/mm (common practice, no source).
const LEG_AIR: f64 = 0.8;
/// Tolerance of a rate that was entered without one (common practice, no source).
const ENTERED: f64 = 0.05;
/// Tolerance of a mark (common practice, no source).
pub const MARK: f64 = 0.10;

/// An end as it is known.
#[derive(Debug, Clone)]
pub struct EndModel {
    /// Which.
    pub end: End,
    /// How its springs follow the wheel; `None`: not known.
    pub path: Option<Path>,
    /// What carries load beside the main springs, of all legs.
    pub others: Vec<Element>,
    /// Springs that share the load.
    pub springs: u32,
    /// Whether the air in a fork is among the others.
    pub air_known: bool,
    /// A top-out spring without its rate.
    pub unknown_top_out: Option<Length>,
    /// The fitted springs, all or none.
    pub fitted: Vec<(CandidateSpring, Option<Preload>)>,
    /// Least and most preload.
    pub preload_limits: Option<(Preload, Preload)>,
    /// Unsprung mass, where known.
    pub unsprung: Option<Mass>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
}

/// The unit of an end.
pub fn of(machine: &v1::MachineValues, end: End) -> Option<&v1::UnitValues> {
    match end {
        End::Front => machine.front.as_ref(),
        End::Rear => machine.rear.as_ref(),
    }
}

/// Names of the springs fitted to an end, in the order of its legs; empty where one is not named.
pub fn named_springs(machine: &v1::MachineValues, end: End) -> Vec<String> {
    let legs = of(machine, end).map(|unit| unit.legs.as_slice()).unwrap_or_default();
    legs.iter().map(|leg| leg.spring.clone()).collect()
}

/// Notes what a path needs and the machine does not say.
pub fn needs_path(machine: &v1::MachineValues, end: End, mut at: Scope<'_>) {
    let unit = of(machine, end);
    let name = end.word();
    if unit.is_none_or(|unit| unit.travel.is_none()) {
        at.at(name)
            .at("travel")
            .push(Reason::ValueMissing, "the travel of this end is required");
    }
    match end {
        End::Front if machine.rake.is_none() => {
            at.at("rake")
                .push(Reason::ValueMissing, "the rake is required for a fork");
        }
        End::Rear if unit.is_none_or(|unit| unit.linkage.is_none()) => {
            at.at(name).at("linkage").push(
                Reason::ValueMissing,
                "one of motion_ratio, linkage_readings is required",
            );
        }
        End::Front | End::Rear => {}
    }
}

/// The end of a machine whose values were checked; springs found by name stand in the order of the legs. `exponent` is that
/// of gas: 1.0 for sag and slow moves. What makes no path is noted.
pub fn model(
    machine: &v1::MachineValues,
    end: End,
    named: &[Option<CandidateSpring>],
    exponent: f64,
    mut at: Scope<'_>,
) -> EndModel {
    let unit = of(machine, end).cloned().unwrap_or_default();
    let mut model = EndModel {
        end,
        path: None,
        others: Vec::new(),
        springs: match end {
            End::Front => 2,
            End::Rear => u32::try_from(unit.legs.len()).unwrap_or(1).max(1),
        },
        air_known: false,
        unknown_top_out: None,
        fitted: Vec::new(),
        preload_limits: None,
        unsprung: mass(match end {
            End::Front => machine.front_unsprung_mass.as_ref(),
            End::Rear => machine.rear_unsprung_mass.as_ref(),
        }),
        assumptions: Vec::new(),
    };
    match path(machine, &unit, end) {
        Ok(path) => model.path = path,
        Err(error) => {
            let field = if end == End::Front { "travel" } else { "linkage" };
            at.at(end.word()).at(field).push(Reason::OutOfRange, error);
        }
    }
    model.legs(&unit, named, exponent, at.at(end.word()));
    model
}

impl EndModel {
    /// Its unsprung mass; where it is not known, what is usual, said to be assumed.
    pub fn unsprung_or_usual(&mut self) -> Mass {
        let end = self.end;
        self.unsprung.unwrap_or_else(|| {
            self.assumptions.push(Assumption {
                subject: "unsprung_mass",
                text: format!("the unsprung mass of the {} end is {UNSPRUNG} kg", end.word()),
                source: PRACTICE,
            });
            Mass::from_si(UNSPRUNG)
        })
    }

    /// The air of a fork whose oil level is not known, as a rate: said to be assumed.
    pub fn assume_air(&mut self) {
        if self.end == End::Front && !self.air_known {
            let text = format!("the air in each leg carries {LEG_AIR} N/mm, its oil level being unknown");
            self.assumptions.push(Assumption {
                subject: "air_chamber",
                text,
                source: PRACTICE,
            });
            let rate = f64::from(self.springs) * LEG_AIR;
            self.others
                .push(Element::Rate(SpringRate::new(rate, StiffnessUnit::NewtonPerMillimeter)));
        }
    }

    /// Rate of the fitted springs together, its standard uncertainty, and whether all were measured.
    pub fn fitted_rate(&self) -> Option<(SpringRate, SpringRate, bool)> {
        if self.fitted.is_empty() {
            return None;
        }
        let springs = self.fitted.iter().map(|(spring, _)| spring);
        let rate = springs.clone().map(|spring| spring.rate.si()).sum();
        let u = springs
            .clone()
            .map(|spring| spring.standard_uncertainty.si())
            .fold(0.0, f64::hypot);
        let measured = springs.clone().all(|spring| spring.source == SpringSource::Measured);
        Some((SpringRate::from_si(rate), SpringRate::from_si(u), measured))
    }

    /// The fitted springs as elements; `None` where one or its preload is not known.
    pub fn fitted_elements(&self) -> Option<Vec<Element>> {
        if self.fitted.is_empty() {
            return None;
        }
        let element = |(spring, preload): &(CandidateSpring, Option<Preload>)| {
            let preload = (*preload)?;
            Some(match &spring.curve {
                Some(curve) => Element::Curve {
                    curve: curve.clone(),
                    preload,
                },
                None => Element::Straight {
                    rate: spring.rate,
                    preload,
                },
            })
        };
        self.fitted.iter().map(element).collect()
    }

    fn legs(&mut self, unit: &v1::UnitValues, named: &[Option<CandidateSpring>], exponent: f64, mut at: Scope<'_>) {
        let mut legs: Vec<(&v1::LegValues, Option<&CandidateSpring>)> = Vec::new();
        for (index, leg) in unit.legs.iter().enumerate() {
            legs.push((leg, named.get(index).and_then(Option::as_ref)));
        }
        if self.end == End::Front
            && let [only] = legs.as_slice()
        {
            let only = *only;
            legs.push(only);
            let text = "both legs of the fork are like the one that is entered".to_owned();
            self.assumptions.push(Assumption {
                subject: "front.legs",
                text,
                source: PRACTICE,
            });
        }
        if legs.iter().any(|(leg, _)| leg.helper.is_some()) {
            let text = "the helper spring is closed at every position that is asked for".to_owned();
            self.assumptions.push(Assumption {
                subject: "helper",
                text,
                source: PRACTICE,
            });
        }
        let axial_travel = self.path.as_ref().map(Path::axial_travel);
        let mut fitted = Vec::new();
        self.air_known = !legs.is_empty();
        let mut legs_at = at.at("legs");
        for (index, (leg, spring)) in legs.iter().enumerate() {
            self.stops(leg, axial_travel);
            match gas(leg, exponent) {
                Ok(Some(air)) => self.others.push(Element::Air(air)),
                Ok(None) => self.air_known = false,
                // A leg that stands for both is named once.
                Err(error) if index < unit.legs.len() => {
                    legs_at.index(index).push(Reason::OutOfRange, error);
                }
                Err(_) => {}
            }
            let known = spring.map(|spring| (*spring).clone()).or_else(|| entered(leg));
            if let Some(spring) = known.or_else(|| self.of_mark(leg)) {
                fitted.push((spring, length::<Preload>(leg.preload.as_ref())));
            }
        }
        if fitted.len() == legs.len() {
            self.fitted = fitted;
        }
        let limits = |leg: &v1::LegValues| length(leg.least_preload.as_ref()).zip(length(leg.most_preload.as_ref()));
        self.preload_limits = legs.first().and_then(|(leg, _)| limits(leg));
    }

    /// A spring of which nothing but the mark as typed is known, where that can mean one rate only: said to be read so.
    fn of_mark(&mut self, leg: &v1::LegValues) -> Option<CandidateSpring> {
        let text = leg.marking.as_ref()?.text.trim();
        let rates = mark_rates(text);
        let [only] = rates.as_slice() else { return None };
        let assumption = Assumption {
            subject: "marking",
            text: format!("the mark \"{text}\" means {only}: no other unit makes a spring of it"),
            source: PRACTICE,
        };
        if !self.assumptions.contains(&assumption) {
            self.assumptions.push(assumption);
        }
        Some(fitted_by(SpringRate::of(*only), MARK))
    }

    fn stops(&mut self, leg: &v1::LegValues, axial_travel: Option<Stroke>) {
        let read = |stop: &v1::StopSpring| (length::<Length>(stop.length.as_ref()), rate(stop.rate.as_ref()));
        match leg.top_out.as_ref().map(read) {
            Some((Some(length), Some(rate))) => self.others.push(Element::TopOut { length, rate }),
            Some((Some(length), None)) => self.unknown_top_out = Some(length),
            _ => {}
        }
        if let Some((Some(length), Some(rate))) = leg.bump_stop.as_ref().map(read)
            && let Some(axial_travel) = axial_travel
        {
            self.others.push(Element::BumpStop {
                length,
                rate,
                axial_travel,
            });
        }
    }
}

fn rate(given: Option<&v1::Stiffness>) -> Option<SpringRate> {
    let mut ignored = Violations::new();
    optional(
        given,
        Range::either_sign(1e9, StiffnessUnit::NewtonPerMillimeter),
        ignored.root(),
    )
}

/// A spring whose rate was entered or is marked.
fn entered(leg: &v1::LegValues) -> Option<CandidateSpring> {
    let marked = || leg.marking.as_ref().and_then(|marking| rate(marking.rate.as_ref()));
    let (rate, tolerance) = match rate(leg.spring_rate.as_ref()) {
        Some(rate) => (rate, ENTERED),
        None => (marked()?, MARK),
    };
    Some(fitted_by(rate, tolerance))
}

fn fitted_by(rate: SpringRate, tolerance: f64) -> CandidateSpring {
    CandidateSpring {
        label: "fitted".to_owned(),
        rate,
        standard_uncertainty: SpringRate::from_si(rate.si() * tolerance / 3.0_f64.sqrt()),
        source: SpringSource::Marked,
        curve: None,
        deflection_to_solid: None,
    }
}

fn gas(leg: &v1::LegValues, exponent: f64) -> Result<Option<Air>, ChassisError> {
    use v1::leg_values::Charge;
    let spring = if let Some(air) = &leg.air_chamber {
        let sizes = [&air.seal_diameter, &air.bore_diameter, &air.air_gap, &air.travel];
        let [Some(seal), Some(bore), Some(gap), Some(travel)] = sizes.map(|given| length::<Length>(given.as_ref()))
        else {
            return Ok(None);
        };
        GasSpring::OilLevel {
            seal_diameter: seal,
            bore_diameter: bore,
            air_gap: gap,
            travel,
            spring_volume: volume(air.spring_volume.as_ref()).unwrap_or_else(|| Volume::from_si(0.0)),
        }
    } else if let Some(gas) = &leg.gas_chamber {
        let Some((rod, volume)) = length::<Length>(gas.rod_diameter.as_ref()).zip(volume(gas.gas_volume.as_ref()))
        else {
            return Ok(None);
        };
        GasSpring::Charged {
            rod_diameter: rod,
            gas_volume: volume,
        }
    } else {
        return Ok(None);
    };
    let mut ignored = Violations::new();
    let any = Range::either_sign(1e6, PressureUnit::Megapascal);
    let atmosphere = AbsolutePressure::standard_atmosphere();
    let charge = match &leg.charge {
        None => GaugePressure::from_si(0.0),
        Some(Charge::ChargeGaugePressure(given)) => {
            optional(Some(given), any, ignored.root()).unwrap_or_else(|| GaugePressure::from_si(0.0))
        }
        Some(Charge::ChargeAbsolutePressure(given)) => {
            let absolute = optional(Some(given), any, ignored.root()).unwrap_or(atmosphere);
            GaugePressure::from_si(absolute.si() - atmosphere.si())
        }
    };
    let request = GasRequest {
        spring,
        charge,
        ambient: None,
        model: None,
        strokes: Vec::new(),
        maximum_stroke: None,
        units: UnitSystem::Metric,
    };
    Air::of(&request, exponent)
}

fn volume(given: Option<&v1::Volume>) -> Option<Volume> {
    let mut ignored = Violations::new();
    optional(given, Range::either_sign(1e9, VolumeUnit::Milliliter), ignored.root())
}

/// The rake of a machine whose values were checked.
pub fn rake(machine: &v1::MachineValues) -> Option<Angle> {
    let mut ignored = Violations::new();
    optional(
        machine.rake.as_ref(),
        Range::either_sign(360.0, AngleUnit::Degree),
        ignored.root(),
    )
}

fn path(machine: &v1::MachineValues, unit: &v1::UnitValues, end: End) -> Result<Option<Path>, ChassisError> {
    use v1::unit_values::Linkage as Sent;
    let Some(travel) = length::<Length>(unit.travel.as_ref()) else {
        return Ok(None);
    };
    match (end, &unit.linkage) {
        (End::Front, _) => rake(machine)
            .map(|rake| Path::fork(rake, Stroke::from_si(travel.si())))
            .transpose(),
        (End::Rear, None) => Ok(None),
        (End::Rear, Some(Sent::MotionRatio(ratio))) => {
            let u = unit.motion_ratio_standard_uncertainty.unwrap_or(0.0);
            let linkage = Linkage::ConstantRatio(*ratio);
            Path::of_linkage(&linkage, Travel::from_si(travel.si()), None, u).map(Some)
        }
        (End::Rear, Some(Sent::LinkageReadings(table))) => {
            let mut ignored = Violations::new();
            let linkage = crate::springs::wheel::table(table, ignored.root());
            linkage
                .map(|linkage| Path::of_linkage(&linkage, Travel::from_si(travel.si()), None, 0.0))
                .transpose()
        }
    }
}

/// What a machine stands on each wheel, without a rider; `None` where it is not known.
pub fn ground_mass(machine: &v1::MachineValues, end: End) -> Option<Mass> {
    let whole = mass(machine.mass.as_ref())?.si();
    let ahead = length::<Length>(machine.gravity_ahead.as_ref())?.si();
    let base = length::<Length>(machine.wheelbase.as_ref())?.si();
    let share = match end {
        End::Front => ahead / base,
        End::Rear => 1.0 - ahead / base,
    };
    Some(Mass::from_si(whole * share))
}

/// Sprung load at the wheel of a mass on the ground.
pub fn sprung(ground: Mass, unsprung: Mass) -> Force {
    Force::from_si((ground.si() - unsprung.si()) * STANDARD_GRAVITY)
}

/// How far above the machine's centre of gravity a rider's lies, m (common practice, no source).
const RIDER_ABOVE: f64 = 0.35;

/// A machine with its rider, the mass on its front wheel known; `None` where mass, height or wheelbase are not.
pub fn balance(
    machine: &v1::MachineValues,
    front: Mass,
    rider: Mass,
    unsprung: (Mass, Mass),
) -> Option<(Balance, Assumption)> {
    let own = mass(machine.mass.as_ref())?.si();
    let height = length::<Length>(machine.gravity_height.as_ref())?.si();
    let wheelbase: Length = length(machine.wheelbase.as_ref())?;
    let whole = own + rider.si();
    let assumed = Assumption {
        subject: "gravity_height",
        text: format!(
            "the rider's centre of gravity lies {:.0} mm above the machine's",
            RIDER_ABOVE * 1e3
        ),
        source: PRACTICE,
    };
    let gravity = CenterOfGravity {
        mass: Mass::from_si(whole),
        ahead: Length::from_si(wheelbase.si() * front.si() / whole),
        height: Length::from_si((own * height + rider.si() * (height + RIDER_ABOVE)) / whole),
    };
    let balance = Balance {
        gravity,
        wheelbase,
        front_unsprung: unsprung.0,
        rear_unsprung: unsprung.1,
    };
    Some((balance, assumed))
}

/// A length in the unit of words.
pub fn millimeters<Q: Quantity<Unit = LengthUnit>>(value: Q) -> f64 {
    value.get(LengthUnit::Millimeter)
}
