//! One end on its tyre, over a step, a bump or through a braking ramp.

mod integrate;
mod measure;
mod usual;

use super::error::{ChassisError, number_within, within};
use super::rest::RestState;
use super::suspension::Suspension;
use crate::finding::{Code, Finding};
use crate::quantity::{
    DampingRate, DampingRateUnit, Force, ForceUnit, Frequency, Length, LengthUnit, Mass, MassUnit, Quantity,
    STANDARD_GRAVITY, StiffnessUnit, Travel, UnitSystem, Velocity, VelocityUnit, WheelRate,
};
use crate::spring::words::Words;

pub use measure::TracePoint;
pub use usual::{assumed_rates, usual_stop_rate, usual_tyre_rate};

/// How the damper pushes.
#[derive(Debug, Clone, PartialEq)]
pub enum DampingLaw {
    /// Straight lines at the wheel, one for each direction.
    AtWheel {
        /// Compression.
        compression: DampingRate,
        /// Rebound.
        rebound: DampingRate,
    },
    /// Force against velocity along the axis, joined by straight lines, carried on beyond its ends: compression positive in
    /// both. At the wheel `F_w = MR F(MR v)`.
    AtDamper(Vec<(Velocity, Force)>),
}

/// Most points of a damper's table.
pub const MOST_VELOCITIES: usize = 500;

/// One end of the machine on its tyre.
#[derive(Debug, Clone, PartialEq)]
pub struct QuarterBike {
    /// Sprung mass on this end, with the rider.
    pub sprung: Mass,
    /// Unsprung mass.
    pub unsprung: Mass,
    /// What carries it.
    pub suspension: Suspension,
    /// Its damper.
    pub damping: DampingLaw,
    /// Vertical rate of the tyre.
    pub tyre_rate: WheelRate,
    /// Damping of the tyre.
    pub tyre_damping: DampingRate,
    /// What the end gives at its stops, at the wheel.
    pub stop_rate: WheelRate,
}

/// What the end meets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Road {
    /// The road rises at once and stays.
    Step {
        /// By this much.
        height: Length,
    },
    /// A bump `h/2 (1 - cos(2 pi x/l))`.
    Bump {
        /// Its height.
        height: Length,
        /// Its length along the road.
        length: Length,
        /// Speed over it.
        speed: Velocity,
    },
    /// A further load on the sprung mass, rising evenly, then steady: braking.
    Load {
        /// Load at the wheel.
        load: Force,
        /// Seconds it takes to rise; 0: at once.
        rise_seconds: f64,
    },
}

/// Asks for a response.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponseRequest {
    /// The end.
    pub bike: QuarterBike,
    /// What it meets.
    pub road: Road,
    /// Seconds followed.
    pub seconds: f64,
    /// Seconds to the next bump, for packing; `None`: not asked.
    pub next_bump_seconds: Option<f64>,
    /// Units of the words.
    pub units: UnitSystem,
}

/// What the end does.
#[derive(Debug, Clone, PartialEq)]
pub struct Responded {
    /// Wheel travel at rest before.
    pub start: Travel,
    /// Wheel travel at rest after.
    pub end: Travel,
    /// Most wheel travel.
    pub most_travel: Travel,
    /// When, s.
    pub most_seconds: f64,
    /// Least wheel travel.
    pub least_travel: Travel,
    /// Furthest the sprung mass rises (or sinks, the larger) from where it stood.
    pub body_peak: Length,
    /// When, s.
    pub body_peak_seconds: f64,
    /// Largest acceleration of the sprung mass, m/s2.
    pub body_acceleration: f64,
    /// Extension beyond the end position after the most travel, over the compression before: how far it kicks back.
    pub kick_back_ratio: f64,
    /// Seconds until the sprung mass stays within 5 % of its largest distance from the end; `None`: not within the time.
    pub settle_seconds: Option<f64>,
    /// Settle time in periods of the sprung mass.
    pub settle_cycles: Option<f64>,
    /// Largest shaft-side velocity at the wheel in compression.
    pub compression_velocity: Velocity,
    /// In rebound, as a magnitude.
    pub rebound_velocity: Velocity,
    /// Velocity at which the end of the travel was met; `None`: it was not.
    pub stop_velocity: Option<Velocity>,
    /// Velocity at which full extension was met; `None`: it was not.
    pub top_out_velocity: Option<Velocity>,
    /// Seconds the tyre was off the ground.
    pub airborne_seconds: f64,
    /// Compression that is left at the next bump, over the one there was.
    pub packed_ratio: Option<f64>,
    /// Natural frequencies about the end position: body, wheel.
    pub frequencies: (Frequency, Frequency),
    /// Points for drawing.
    pub trace: Vec<TracePoint>,
    /// Difference of the extremes between the last two step sizes: the numerical error is below.
    pub step_error: Length,
    /// Steps taken at the finer size.
    pub steps: usize,
    /// What is unwelcome.
    pub findings: Vec<Finding>,
}

/// Longest that is followed, s, and most steps.
pub const LONGEST: f64 = 30.0;
const MOST_STEPS: usize = 600_000;
/// Extremes may differ by this much between a step size and half of it, m.
const ALIKE: f64 = 2e-6;
/// Thresholds of words (common practice, no source): kicks back, wallows, packs.
const KICKS: f64 = 0.37;
const PACKS: f64 = 0.15;

/// Natural angular frequencies of body and wheel, linear: `w2^2` from the larger root of
/// `w^4 - ((ks + kt)/mu + ks/ms) w^2 + ks kt/(ms mu)`, `w1^2 = ks kt/(ms mu w2^2)`, which loses no digits.
#[must_use]
pub fn natural_frequencies(
    sprung: Mass,
    unsprung: Mass,
    wheel_rate: WheelRate,
    tyre_rate: WheelRate,
) -> (Frequency, Frequency) {
    let (ms, mu, ks, kt) = (sprung.si(), unsprung.si(), wheel_rate.si(), tyre_rate.si());
    let sum = (ks + kt) / mu + ks / ms;
    let product = ks * kt / (ms * mu);
    let larger = f64::midpoint(sum, (sum * sum - 4.0 * product).max(0.0).sqrt());
    let cycles = |square: f64| Frequency::from_si(square.max(0.0).sqrt() / (2.0 * std::f64::consts::PI));
    (cycles(product / larger), cycles(larger))
}

/// Share of a compression that is left after some seconds of overdamped rebound: `exp(-k_w T/c_w)`.
#[must_use]
pub fn packing(damping: DampingRate, wheel_rate: WheelRate, seconds: f64) -> f64 {
    (-wheel_rate.si() * seconds / damping.si()).exp()
}

/// What an end does over a step, a bump or through a braking ramp.
///
/// `m_s z_s'' = F_w + F_d - m_s g - F_ext`, `m_u z_u'' = N - m_u g - F_w - F_d`, compression `z = z_0 + z_u - z_s`, the tyre
/// `N = (m_s + m_u) g + k_t (z_r - z_u) + c_t (z_r' - z_u')` and never below 0: a tyre does not pull. Fixed Runge-Kutta steps
/// of order 4, halved until the extremes agree within 2 micrometres. A step of the road has no velocity; it gives the wheel
/// the impulse `c_t h`. Left out: pitch, chain pull, anti-dive and anti-squat, warming.
///
/// # Errors
/// [`ChassisError::OutOfRange`], [`ChassisError::NotConverged`].
pub fn respond(request: &ResponseRequest) -> Result<Responded, ChassisError> {
    check(request)?;
    let system = System::new(request);
    let mut size = system.first_step();
    let mut run = measure::run(&system, size);
    loop {
        size /= 2.0;
        let steps = (request.seconds / size).ceil();
        let finer = measure::run(&system, size);
        let difference = run.difference(&finer);
        if difference <= ALIKE {
            return Ok(answer(request, &system, &finer, difference));
        }
        if steps * 2.0 > MOST_STEPS as f64 {
            return Err(ChassisError::NotConverged {
                what: "the response".to_owned(),
                residual: format!("{:.3} mm between step sizes", difference * 1e3),
                steps: MOST_STEPS,
            });
        }
        run = finer;
    }
}

/// The equations, SI.
struct System<'a> {
    bike: &'a QuarterBike,
    road: Road,
    seconds: f64,
    /// Wheel travel at the start and at the end.
    start: f64,
    end: f64,
    travel: f64,
    end_rate: f64,
    /// Velocities and forces of the damper's table.
    table: Vec<(f64, f64)>,
}

impl<'a> System<'a> {
    fn new(request: &'a ResponseRequest) -> Self {
        let bike = &request.bike;
        let weight = bike.sprung.si() * STANDARD_GRAVITY;
        let further = match request.road {
            Road::Load { load, .. } => load.si(),
            Road::Step { .. } | Road::Bump { .. } => 0.0,
        };
        let rest = |load: f64| {
            let found = bike.suspension.equilibrium(Force::from_si(load));
            let force = bike.suspension.at(found.travel).wheel_force.si();
            // What the spring carries too much or too little stands on a stop.
            let against = (load - force) / bike.stop_rate.si();
            match found.state {
                RestState::Rests => found.travel.si(),
                RestState::ToppedOut | RestState::Bottomed => found.travel.si() + against,
            }
        };
        let end = rest(weight + further);
        let table = match &bike.damping {
            DampingLaw::AtWheel { .. } => Vec::new(),
            DampingLaw::AtDamper(table) => table.iter().map(|(v, f)| (v.si(), f.si())).collect(),
        };
        let travel = bike.suspension.path().travel().si();
        Self {
            bike,
            road: request.road,
            seconds: request.seconds,
            start: rest(weight),
            end,
            travel,
            end_rate: bike.suspension.at_wheel(end.clamp(0.0, travel)).1,
            table,
        }
    }

    /// Well below the period of the wheel and the time constant of the steepest damping; bumps end on a step.
    fn first_step(&self) -> f64 {
        let stiffest = self.bike.tyre_rate.si() + self.end_rate.abs() + self.bike.stop_rate.si();
        let wheel = (stiffest / self.bike.unsprung.si()).sqrt();
        let slope = self.steepest() / self.bike.unsprung.si();
        (0.1 / wheel)
            .min(0.5 / slope.max(1e-9))
            .min(5e-4)
            .min(self.seconds / 100.0)
    }

    fn steepest(&self) -> f64 {
        match &self.bike.damping {
            DampingLaw::AtWheel { compression, rebound } => compression.si().max(rebound.si()),
            DampingLaw::AtDamper(_) => {
                let ratio = self.bike.suspension.path().at(self.end.clamp(0.0, self.travel)).ratio;
                let pairs = self.table.iter().zip(self.table.iter().skip(1));
                let slopes = pairs.map(|(a, b)| (b.1 - a.1) / (b.0 - a.0));
                slopes.fold(0.0, f64::max) * ratio * ratio
            }
        }
    }

    /// Height and slope in time of the road.
    fn road(&self, t: f64) -> (f64, f64) {
        match self.road {
            Road::Step { height } => (height.si(), 0.0),
            Road::Bump { height, length, speed } => {
                let last = length.si() / speed.si();
                if t >= last {
                    return (0.0, 0.0);
                }
                let turn = 2.0 * std::f64::consts::PI / last;
                let half = height.si() / 2.0;
                (half * (1.0 - (turn * t).cos()), half * turn * (turn * t).sin())
            }
            Road::Load { .. } => (0.0, 0.0),
        }
    }

    fn further_load(&self, t: f64) -> f64 {
        match self.road {
            Road::Load { load, rise_seconds } if t < rise_seconds => load.si() * t / rise_seconds,
            Road::Load { load, .. } => load.si(),
            Road::Step { .. } | Road::Bump { .. } => 0.0,
        }
    }

    /// When the road or the load changes its law.
    fn corner(&self) -> Option<f64> {
        match self.road {
            Road::Bump { length, speed, .. } => Some(length.si() / speed.si()),
            Road::Load { rise_seconds, .. } => Some(rise_seconds),
            Road::Step { .. } => None,
        }
        .filter(|corner| *corner > 0.0 && *corner < self.seconds)
    }

    fn damping(&self, v: f64, ratio: f64) -> f64 {
        match &self.bike.damping {
            DampingLaw::AtWheel { compression, rebound } => v * if v >= 0.0 { compression.si() } else { rebound.si() },
            DampingLaw::AtDamper(_) => ratio * along(&self.table, ratio * v),
        }
    }

    /// Force of spring, damper and stops at the wheel.
    fn force(&self, z: f64, v: f64) -> f64 {
        let within = z.clamp(0.0, self.travel);
        let place = self.bike.suspension.path().at(within);
        let spring = self.bike.suspension.axial(place.stroke).0 * place.ratio;
        spring + self.bike.stop_rate.si() * (z - within) + self.damping(v, place.ratio)
    }

    /// Load on the ground.
    fn ground(&self, t: f64, y: &[f64; 4]) -> f64 {
        let [_, _, zu, vu] = *y;
        let (zr, vr) = self.road(t);
        let still = (self.bike.sprung.si() + self.bike.unsprung.si()) * STANDARD_GRAVITY;
        (still + self.bike.tyre_rate.si() * (zr - zu) + self.bike.tyre_damping.si() * (vr - vu)).max(0.0)
    }

    fn slopes(&self, t: f64, y: &[f64; 4]) -> [f64; 4] {
        let [zs, vs, zu, vu] = *y;
        let force = self.force(self.start + zu - zs, vu - vs);
        let (ms, mu) = (self.bike.sprung.si(), self.bike.unsprung.si());
        let body = (force - self.further_load(t)) / ms - STANDARD_GRAVITY;
        let wheel = (self.ground(t, y) - force) / mu - STANDARD_GRAVITY;
        [vs, body, vu, wheel]
    }

    fn begin(&self) -> [f64; 4] {
        match self.road {
            Road::Step { height } => {
                let impulse = self.bike.tyre_damping.si() * height.si() / self.bike.unsprung.si();
                [0.0, 0.0, 0.0, impulse]
            }
            Road::Bump { .. } | Road::Load { .. } => [0.0; 4],
        }
    }
}

/// A table by straight lines, carried on beyond its ends.
fn along(table: &[(f64, f64)], at: f64) -> f64 {
    let last = table.len().saturating_sub(1);
    let index = table.partition_point(|point| point.0 < at).clamp(1, last.max(1));
    match (table.get(index - 1), table.get(index)) {
        (Some(a), Some(b)) => a.1 + (at - a.0) * (b.1 - a.1) / (b.0 - a.0),
        _ => 0.0,
    }
}

fn answer(request: &ResponseRequest, system: &System<'_>, run: &measure::Run, error: f64) -> Responded {
    let bike = &request.bike;
    let frequencies = natural_frequencies(
        bike.sprung,
        bike.unsprung,
        WheelRate::from_si(system.end_rate.max(0.0)),
        bike.tyre_rate,
    );
    let rebound = match &bike.damping {
        DampingLaw::AtWheel { rebound, .. } => rebound.si(),
        DampingLaw::AtDamper(_) => {
            // The slope through rest and the fastest rebound that was seen.
            let ratio = bike.suspension.path().at(system.end.clamp(0.0, system.travel)).ratio;
            let v = run.fastest_rebound.max(1e-3);
            -system.damping(-v, ratio) / v
        }
    };
    let packed = request.next_bump_seconds.map(|seconds| {
        packing(
            DampingRate::from_si(rebound),
            WheelRate::from_si(system.end_rate),
            seconds,
        )
    });
    let body = frequencies.0.si();
    let settle = run.settled;
    let mut found = Responded {
        start: Travel::from_si(system.start),
        end: Travel::from_si(system.end),
        most_travel: Travel::from_si(run.most),
        most_seconds: run.most_at,
        least_travel: Travel::from_si(run.least),
        body_peak: Length::from_si(run.body_peak),
        body_peak_seconds: run.body_peak_at,
        body_acceleration: run.acceleration,
        kick_back_ratio: run.kick_back(system.end),
        settle_seconds: settle,
        settle_cycles: settle.map(|seconds| seconds * body),
        compression_velocity: Velocity::from_si(run.fastest_compression),
        rebound_velocity: Velocity::from_si(run.fastest_rebound),
        stop_velocity: run.stop_velocity.map(Velocity::from_si),
        top_out_velocity: run.top_out_velocity.map(Velocity::from_si),
        airborne_seconds: run.airborne,
        packed_ratio: packed,
        frequencies,
        trace: run.trace.clone(),
        step_error: Length::from_si(error),
        steps: run.steps,
        findings: Vec::new(),
    };
    say(request, system, &mut found);
    found
}

fn say(request: &ResponseRequest, system: &System<'_>, found: &mut Responded) {
    let words = Words::new(request.units);
    let speed = |v: Velocity| format!("{:.2} m/s", v.si());
    let mut push = |code, text| found.findings.push(Finding::about(code, "road", text));
    if system.start <= 0.0 {
        push(
            Code::NoStaticSag,
            "it rests at full extension: there is no static sag".to_owned(),
        );
    }
    if let Some(v) = found.stop_velocity {
        push(
            Code::HitsStop,
            format!(
                "all {} of travel are used; the stop is met with {}",
                words.length(system.travel),
                speed(v)
            ),
        );
    }
    if let Some(v) = found.top_out_velocity.filter(|_| system.start > 0.0) {
        push(
            Code::TopsOut,
            format!("it extends fully and tops out with {}", speed(v)),
        );
    }
    if found.airborne_seconds > 0.0 {
        push(
            Code::LeavesGround,
            format!("the tyre is off the ground for {:.0} ms", found.airborne_seconds * 1e3),
        );
    }
    if found.kick_back_ratio > KICKS {
        push(
            Code::KicksBack,
            format!(
                "it springs back by {:.0} % of the compression",
                found.kick_back_ratio * 100.0
            ),
        );
    }
    if let Some(packed) = found.packed_ratio.filter(|packed| *packed > PACKS) {
        push(
            Code::PacksDown,
            format!("{:.0} % of a compression are left at the next bump", packed * 100.0),
        );
    }
}

fn check(request: &ResponseRequest) -> Result<(), ChassisError> {
    let bike = &request.bike;
    let (kilo, per_mm) = (MassUnit::Kilogram, StiffnessUnit::NewtonPerMillimeter);
    within("sprung_mass", bike.sprung, (1.0, 2_000.0), kilo)?;
    within("unsprung_mass", bike.unsprung, (0.1, 500.0), kilo)?;
    within("tyre_rate", bike.tyre_rate, (1.0, 10_000.0), per_mm)?;
    let rates = (0.0, 1e6);
    let unit = DampingRateUnit::NewtonSecondPerMeter;
    within("tyre_damping", bike.tyre_damping, rates, unit)?;
    within("stop_rate", bike.stop_rate, (1.0, 100_000.0), per_mm)?;
    match &bike.damping {
        DampingLaw::AtWheel { compression, rebound } => {
            within("damping.compression", *compression, rates, unit)?;
            within("damping.rebound", *rebound, rates, unit)?;
        }
        DampingLaw::AtDamper(table) => check_table(table)?,
    }
    number_within("seconds", request.seconds, 0.01, LONGEST)?;
    if let Some(seconds) = request.next_bump_seconds {
        number_within("next_bump", seconds, 0.0, LONGEST)?;
    }
    let mm = LengthUnit::Millimeter;
    match request.road {
        Road::Step { height } => within("road.step.height", height, (-500.0, 500.0), mm).map(drop),
        Road::Bump { height, length, speed } => {
            within("road.bump.height", height, (-500.0, 500.0), mm)?;
            within("road.bump.length", length, (10.0, 100_000.0), mm)?;
            within("road.bump.speed", speed, (0.1, 150.0), VelocityUnit::MeterPerSecond).map(drop)
        }
        Road::Load { load, rise_seconds } => {
            within("road.load.load", load, (-50_000.0, 50_000.0), ForceUnit::Newton)?;
            number_within("road.load.rise", rise_seconds, 0.0, LONGEST).map(drop)
        }
    }
}

fn check_table(table: &[(Velocity, Force)]) -> Result<(), ChassisError> {
    let field = "damping.table";
    if !(2..=MOST_VELOCITIES).contains(&table.len()) {
        let allowed = format!("2 to {MOST_VELOCITIES}");
        return Err(ChassisError::out_of_range(field, table.len() as f64, "points", allowed));
    }
    for (v, f) in table {
        within(field, *v, (-50.0, 50.0), VelocityUnit::MeterPerSecond)?;
        within(field, *f, (-1e5, 1e5), ForceUnit::Newton)?;
    }
    let pairs = || table.iter().zip(table.iter().skip(1));
    let rising = pairs().all(|(a, b)| a.0 < b.0 && a.1 <= b.1);
    if !rising {
        let first = table.first().map_or(0.0, |point| point.0.si());
        return Err(ChassisError::out_of_range(
            field,
            first,
            "m/s",
            "velocities that rise and forces that do not fall",
        ));
    }
    Ok(())
}
