//! The machine as it is: its own model, sharing nothing with the judge. Lengths in mm, forces in N, masses in kg.
//!
//! Equilibrium by halving; friction as a band of force about it; air above a fork's oil compressed isothermally; damping as a
//! factor of what the rider wants, `valving * oil * r^(1/2 - x)`; travel in hard use as position, plus a part that shrinks with
//! rate and compression damping; braking by moments about the contacts.

/// Standard gravity, m/s2.
const G: f64 = 9.806_65;

/// One damping circuit.
#[derive(Debug, Clone)]
pub(super) struct Circuit {
    /// Damping in the middle of the range, over what was right when it was made.
    pub(super) valving: f64,
    /// Force closed over force open.
    pub(super) ratio: f64,
    /// Clicks of the adjuster.
    pub(super) range: f64,
    /// Clicks from closed, where somebody has set it and it has stayed; else the rider finds it.
    pub(super) fixed: Option<f64>,
}

/// One end.
#[derive(Debug, Clone)]
pub(super) struct End {
    pub(super) is_front: bool,
    pub(super) travel: f64,
    /// Spring over wheel; 1 along a leg.
    pub(super) motion: f64,
    /// Rate of one spring, and how many share the load.
    pub(super) rate: f64,
    pub(super) springs: f64,
    /// The rate that is right, and the step of the rack.
    pub(super) right_rate: f64,
    pub(super) step: f64,
    pub(super) preload: f64,
    pub(super) most_preload: f64,
    /// What the spring carries, alone and the rider's part.
    pub(super) alone: f64,
    pub(super) rider: f64,
    /// Friction at the axle or along the leg.
    pub(super) friction: f64,
    pub(super) usual_friction: f64,
    /// Air gap and bore area of a fork's leg; no gap at the rear.
    pub(super) gap: f64,
    pub(super) right_gap: f64,
    pub(super) oil_months: f64,
    pub(super) compression: Circuit,
    pub(super) rebound: Circuit,
    /// Travel beyond the ride height that hard use takes on a right setup.
    pub(super) dynamic: f64,
    /// Force of hardest braking along the legs.
    pub(super) braking: f64,
    pub(super) is_worn: bool,
    pub(super) is_sealed: bool,
}

/// Bore of a fork leg, mm2.
const BORE: f64 = 1_000.0;
/// Atmosphere, N/mm2.
const ATMOSPHERE: f64 = 0.101_325;
/// Months up to which oil is as good as new, and over which it loses what it can lose.
const FRESH: f64 = 12.0;
const AGING: f64 = 36.0;
const LOSS: f64 = 0.30;

impl End {
    /// Force of the air in both legs at a stroke; the oil fills the rest.
    fn air(&self, stroke: f64, gap: f64) -> f64 {
        if !self.is_front {
            return 0.0;
        }
        // The gap is measured with the leg collapsed: extended there is the travel more.
        let extended = gap + self.travel;
        let left = (extended - stroke).max(1.0);
        self.springs * BORE * ATMOSPHERE * (extended / left - 1.0)
    }

    /// Load that holds the end at a travel.
    fn load(&self, rate: f64, preload: f64, travel: f64, gap: f64) -> f64 {
        let pressed = (preload + self.motion * travel).max(0.0);
        self.springs * rate * pressed * self.motion + self.air(travel, gap)
    }

    /// Where it rests under a load.
    fn rest(&self, load: f64) -> f64 {
        let (mut low, mut high) = (0.0, self.travel);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if self.load(self.rate, self.preload, middle, self.gap) < load {
                low = middle;
            } else {
                high = middle;
            }
        }
        f64::midpoint(low, high)
    }

    pub(super) fn static_sag(&self) -> f64 {
        self.rest(self.alone)
    }

    pub(super) fn total(&self) -> f64 {
        self.rest(self.alone + self.rider)
    }

    /// The same end wound to a total, as far as the collar goes.
    pub(super) fn wound_to(&self, total: f64) -> Self {
        let mut end = self.clone();
        let (mut low, mut high) = (0.0, self.most_preload);
        for _ in 0..40 {
            end.preload = f64::midpoint(low, high);
            if end.total() > total {
                low = end.preload;
            } else {
                high = end.preload;
            }
        }
        end
    }

    /// Rest after pressing and after lifting, alone or with the rider.
    pub(super) fn settled(&self, with_rider: bool) -> (f64, f64) {
        let load = self.alone + if with_rider { self.rider } else { 0.0 };
        (self.rest(load + self.friction), self.rest(load - self.friction))
    }

    /// Width of the band friction makes, at the present rate.
    pub(super) fn spread(&self) -> f64 {
        let (pressed, lifted) = self.settled(true);
        pressed - lifted
    }

    /// Local rate at the middle of the travel, against the right one.
    fn stiffness(&self) -> f64 {
        let at = |rate: f64, gap: f64| {
            let (from, to) = (0.3 * self.travel, 0.75 * self.travel);
            let preload = self.preload.max(0.0);
            self.load(rate, preload, to, gap) - self.load(rate, preload, from, gap)
        };
        at(self.rate, self.gap) / at(self.right_rate, self.right_gap)
    }

    fn oil(&self) -> f64 {
        1.0 - LOSS * ((self.oil_months - FRESH) / AGING).clamp(0.0, 1.0)
    }

    /// Damping a rider wants, over that of the right setup: rebound follows the spring, compression makes up for a soft one.
    pub(super) fn wanted(&self, is_rebound: bool) -> f64 {
        if is_rebound {
            (self.rate / self.right_rate).sqrt()
        } else {
            self.stiffness().powf(-0.5)
        }
    }

    pub(super) fn circuit(&self, is_rebound: bool) -> &Circuit {
        if is_rebound { &self.rebound } else { &self.compression }
    }

    /// Clicks from closed: where it was set, or where the rider finds the damping wanted, as far as the range goes.
    pub(super) fn position(&self, is_rebound: bool) -> f64 {
        let circuit = self.circuit(is_rebound);
        circuit.fixed.unwrap_or_else(|| {
            let lack = self.wanted(is_rebound) / (circuit.valving * self.oil());
            let share = (0.5 - lack.ln() / circuit.ratio.ln()).clamp(0.0, 1.0);
            (share * circuit.range).round()
        })
    }

    /// Damping there is over that wanted.
    pub(super) fn damping(&self, is_rebound: bool) -> f64 {
        let circuit = self.circuit(is_rebound);
        let share = self.position(is_rebound) / circuit.range;
        circuit.valving * self.oil() * circuit.ratio.powf(0.5 - share) / self.wanted(is_rebound)
    }

    /// Whether it rides harshly: more damping than wanted though the adjuster is open, or friction that lets nothing through.
    pub(super) fn is_harsh(&self) -> bool {
        let open = |is_rebound: bool| {
            let circuit = self.circuit(is_rebound);
            self.position(is_rebound) >= 0.9 * circuit.range && self.damping(is_rebound) > 1.05
        };
        open(true) || open(false) || self.friction > 2.0 * self.usual_friction
    }

    /// Travel used in hard use.
    pub(super) fn travel_used(&self) -> f64 {
        let damping = self.damping(false) * self.wanted(false);
        let dynamic = self.dynamic * self.stiffness().powf(-0.7) * damping.powf(-0.4);
        let band = self.spread() / 2.0 - self.usual_friction / self.springs / self.rate;
        let bump = self.total() + dynamic - band.max(0.0);
        let used = if self.is_front {
            let braked = self.rest(self.braking - 0.5 * self.friction) + 0.25 * dynamic;
            bump.max(braked)
        } else {
            bump
        };
        used.min(self.travel)
    }

    /// What is outside the targets, in words; nothing where all is right. Readings are good to a millimetre or two, so is this.
    pub(super) fn faults(&self, is_hard: bool) -> Vec<String> {
        let mut out = Vec::new();
        let mut say = |bad: bool, text: String| {
            if bad {
                out.push(text);
            }
        };
        let (still, total) = (self.static_sag(), self.total());
        let slack = 1.5;
        say(
            !(30.0 - slack..=40.0 + slack).contains(&total),
            format!("total sag {total:.1}"),
        );
        say(still < 0.5, format!("static sag {still:.1}"));
        let share = still / total;
        say(
            !self.is_front && !(0.16..=0.44).contains(&share),
            format!("static share {share:.2}"),
        );
        let (spread, bind) = (self.spread(), if self.is_front { 15.0 } else { 8.0 });
        say(spread > bind + slack, format!("spread {spread:.1}"));
        say(
            self.oil_months > 26.0 && !self.is_sealed,
            format!("oil {:.0} months", self.oil_months),
        );
        let off = (self.gap - self.right_gap).abs();
        say(off > 8.0, format!("oil level {off:.0} off"));
        say(self.is_worn, "worn".to_owned());
        for is_rebound in [false, true] {
            let word = if is_rebound { "rebound" } else { "compression" };
            let share = self.position(is_rebound) / self.circuit(is_rebound).range;
            let damping = self.damping(is_rebound);
            say(share < 0.2, format!("{word} share left {share:.2}"));
            say(
                !(0.75..=1.25).contains(&damping),
                format!("{word} damping {damping:.2}"),
            );
        }
        let used = self.travel_used() / self.travel;
        say(
            is_hard && !(0.53..=0.98).contains(&used),
            format!("travel used {used:.2}"),
        );
        out
    }
}

/// What the machine is as a whole.
#[derive(Debug, Clone)]
pub(super) struct Frame {
    pub(super) wheelbase: f64,
    pub(super) ahead: f64,
    pub(super) height: f64,
    pub(super) mass: f64,
    pub(super) front_unsprung: f64,
    pub(super) rake: f64,
    /// Deceleration over gravity.
    pub(super) deceleration: f64,
}

impl Frame {
    /// Force along the legs in hardest braking, by moments about the contacts; lengths in mm.
    pub(super) fn braking(&self) -> f64 {
        let load = self.mass * G * (self.ahead + self.deceleration * self.height) / self.wheelbase;
        let along = (self.mass - self.front_unsprung) * self.deceleration * G;
        (load - self.front_unsprung * G) * self.rake.cos() + along * self.rake.sin()
    }
}

/// A machine.
#[derive(Debug, Clone)]
pub(super) struct Machine {
    pub(super) frame: Frame,
    pub(super) front: End,
    pub(super) rear: End,
    pub(super) riding: Riding,
    /// Whether masses and dimensions are known to the shop, and the oil level was dipped.
    pub(super) frame_known: bool,
    pub(super) level_known: bool,
    pub(super) faults: Vec<Fault>,
}

/// How it is ridden.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Riding {
    Gentle,
    Hard,
    Track,
}

/// A fault that was built in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fault {
    pub(super) is_front: bool,
    pub(super) kind: Kind,
}

/// What kind of fault. Numbers: steps of rate off, damping over the right one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Kind {
    OldOil,
    Level,
    Friction,
    Preload,
    Spring(f64),
    Compression(f64),
    Rebound(f64),
    Worn,
    Sealed,
}

impl Machine {
    pub(super) fn end(&self, is_front: bool) -> &End {
        if is_front { &self.front } else { &self.rear }
    }

    pub(super) fn end_mut(&mut self, is_front: bool) -> &mut End {
        if is_front { &mut self.front } else { &mut self.rear }
    }

    pub(super) fn is_hard(&self) -> bool {
        self.riding != Riding::Gentle
    }

    /// What is outside the targets at either end.
    pub(super) fn out_of_target(&self) -> Vec<String> {
        let of = |is_front: bool, word: &str| {
            let faults = self.end(is_front).faults(self.is_hard());
            faults
                .into_iter()
                .map(move |text| format!("{word} {text}"))
                .collect::<Vec<_>>()
        };
        let mut all = of(true, "front");
        all.extend(of(false, "rear"));
        all
    }

    pub(super) fn has(&self, is_front: bool, test: impl Fn(Kind) -> bool) -> bool {
        self.faults
            .iter()
            .any(|fault| fault.is_front == is_front && test(fault.kind))
    }
}
