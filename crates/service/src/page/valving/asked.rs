//! What a person wrote becomes requests of the API. A number without a unit is refused, as everywhere.

use mechanics::quantity::{Entered, Unit};
use wire::quantity::Message;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::violation::{Violation, Violations};

use super::fields::{self, FITTED, HOLD, OTHER, PRESENT, SHIMS, STROKE};
use super::found::{Drawer, Fitted};
use crate::page::form::Posted;

/// What is asked of the bench.
pub(super) struct Asked {
    /// The stack that is planned.
    pub(super) stack: v1::Stack,
    /// The stack that is there.
    pub(super) present: Option<v1::Stack>,
    /// Pressure it is drawn at.
    pub(super) pressure: v1::Pressure,
    /// The damper around it.
    pub(super) around: Option<Around>,
}

/// The damper a stack works in.
pub(super) struct Around {
    /// The damper with the stack that is planned.
    pub(super) damper: v1::Damper,
    /// The same with the stack that is there.
    pub(super) present: Option<v1::Damper>,
    /// Fastest stroke of the curve.
    pub(super) speed: v1::Velocity,
    /// Temperature of the oil.
    pub(super) temperature: Option<v1::Temperature>,
}

/// Whether a text names a stack of the drawer.
pub(super) fn is_named(text: &str) -> bool {
    text.starts_with("stacks/")
}

/// Whether the stack works in rebound.
pub(super) fn in_rebound(posted: &Posted) -> bool {
    posted.text(STROKE) != "compression"
}

/// Reads the fields; faults are named by the field. What is named in them stands in `drawer`.
///
/// In a damper of the drawer a stack that is written shim by shim lies on the piston of that stroke, and the present stack
/// is the one that is in it; with no stack written the damper is looked at as it is.
pub(super) fn read(posted: &Posted, drawer: &Drawer) -> Result<Asked, Vec<Violation>> {
    let mut violations = Violations::new();
    let mut read = Reader {
        posted,
        drawer,
        violations: &mut violations,
    };
    let fitted = read.fitted();
    let rebound = in_rebound(posted);
    let own = fitted.and_then(|fitted| fitted.stack(rebound));
    let piston = own.cloned().unwrap_or_else(|| read.piston());
    let written = read.stack(SHIMS, &piston);
    let (stack, present) = match (fitted, written) {
        (None, written) => (written, read.stack(PRESENT, &piston)),
        (Some(_), None) => (own.cloned(), None),
        (Some(_), written) => (written, own.cloned()),
    };
    let pressure = read.needed::<v1::Pressure>("pressure");
    let around = match fitted {
        Some(fitted) => Some(read.within(fitted, stack.as_ref(), present.as_ref())),
        None => {
            let bore = !posted.text("bore").is_empty();
            bore.then(|| read.around(stack.as_ref(), present.as_ref(), &piston))
        }
    };
    if posted.text(SHIMS).is_empty() && own.is_none() {
        violations.push(
            SHIMS,
            Reason::ValueMissing,
            "a stack is needed, such as 30x0.15*2, 26x0.15 mm",
        );
    }
    violations.finish()?;
    Ok(Asked {
        stack: stack.unwrap_or_default(),
        present,
        pressure: pressure.unwrap_or_default(),
        around,
    })
}

struct Reader<'a> {
    posted: &'a Posted,
    drawer: &'a Drawer,
    violations: &'a mut Violations,
}

impl<'a> Reader<'a> {
    fn quantity<M: Message>(&mut self, name: &'static str) -> Option<M> {
        let text = self.posted.text(name);
        if text.is_empty() {
            return None;
        }
        match text.parse::<Entered<M::Unit>>() {
            Ok(entered) => Some(M::from_parts(entered.value(), entered.unit().row().number)),
            Err(fault) => {
                self.violations.push(name, Reason::OutOfRange, fault);
                None
            }
        }
    }

    fn needed<M: Message>(&mut self, name: &'static str) -> Option<M> {
        if self.posted.text(name).is_empty() {
            let label = fields::all()
                .find(|field| field.name == name)
                .map_or(name, |field| field.label);
            let words = format!("\"{label}\" is needed");
            self.violations.push(name, Reason::ValueMissing, words);
        }
        self.quantity(name)
    }

    fn number(&mut self, name: &'static str, per_cent: bool) -> Option<f64> {
        let text = self.posted.text(name);
        if text.is_empty() {
            return None;
        }
        let (digits, scale) = match text.strip_suffix('%') {
            Some(digits) if per_cent => (digits.trim_end(), 100.0),
            _ => (text, 1.0),
        };
        let read = digits.parse().ok().filter(|number: &f64| number.is_finite());
        if read.is_none() {
            let shown = wire::violation::bounded(text, 80);
            let words = format!("\"{shown}\" is no number; write it with a point, such as 6.5");
            self.violations.push(name, Reason::OutOfRange, words);
        }
        read.map(|number| number / scale)
    }

    /// A stack by its name in the drawer, which has its own piston, or by its text on this one.
    fn stack(&mut self, name: &'static str, piston: &v1::Stack) -> Option<v1::Stack> {
        let text = self.posted.text(name);
        if text.is_empty() {
            return None;
        }
        if is_named(text) {
            let found = self.drawer.stacks.iter().find(|stack| stack.name == text).cloned();
            if found.is_none() {
                let words = format!("the drawer has no {}", wire::violation::bounded(text, 80));
                self.violations.push(name, Reason::UnknownName, words);
            }
            return found;
        }
        match wire::valving::stack::layers_of_text(text) {
            Ok(layers) => Some(v1::Stack {
                layers,
                ..piston.clone()
            }),
            Err(words) => {
                self.violations.push(name, Reason::OutOfRange, words);
                None
            }
        }
    }

    /// The damper of the drawer that is named.
    fn fitted(&mut self) -> Option<&'a Fitted> {
        let text = self.posted.text(FITTED);
        let fitted = self.drawer.fitted.as_ref();
        if !text.is_empty() && fitted.is_none() {
            let words = format!("the drawer has no damper {}", wire::violation::bounded(text, 80));
            self.violations.push(FITTED, Reason::UnknownName, words);
        }
        fitted
    }

    /// A damper of the drawer with these stacks.
    fn within(&mut self, fitted: &Fitted, stack: Option<&v1::Stack>, present: Option<&v1::Stack>) -> Around {
        let rebound = in_rebound(self.posted);
        let damper = |stack: Option<&v1::Stack>| {
            stack.map_or_else(|| fitted.damper.clone(), |stack| fitted.with(stack, rebound))
        };
        self.ridden(damper(stack), present.map(|present| damper(Some(present))))
    }

    /// How a damper is moved, and how warm it is.
    fn ridden(&mut self, damper: v1::Damper, present: Option<v1::Damper>) -> Around {
        Around {
            damper,
            present,
            speed: self.needed("speed").unwrap_or_default(),
            temperature: self.quantity("temperature"),
        }
    }

    /// A stack without its shims.
    fn piston(&mut self) -> v1::Stack {
        let hold = if self.posted.text(HOLD) == "free" {
            v1::clamp::RadialHold::Free
        } else {
            v1::clamp::RadialHold::Held
        };
        let seat_outer = self.quantity("seat_outer");
        let seat_inner = self.quantity("seat_inner");
        let (height, dish) = (self.quantity("seat_height"), self.quantity("seat_dish"));
        let stop_outer = self.quantity("stop_outer");
        let clearance = self.quantity("stop_room");
        v1::Stack {
            clamp: Some(v1::Clamp {
                diameter: self.needed("clamp"),
                radial_hold: hold as i32,
            }),
            faces: vec![v1::PortFace {
                port_inner_diameter: self.needed("port_inner"),
                port_outer_diameter: self.needed("port_outer"),
                land_outer_diameter: self.quantity("land"),
                coverage_ratio: self.number("coverage", true),
            }],
            seat: (seat_inner.is_some() || seat_outer.is_some()).then_some(v1::Seat {
                inner_diameter: seat_inner,
                outer_diameter: seat_outer,
                height,
                dish,
            }),
            stop: (stop_outer.is_some() || clearance.is_some()).then_some(v1::UpperStop {
                inner_diameter: None,
                outer_diameter: stop_outer,
                clearance,
            }),
            stress_limit: self.quantity("stress"),
            ..Default::default()
        }
    }

    fn around(&mut self, stack: Option<&v1::Stack>, present: Option<&v1::Stack>, piston: &v1::Stack) -> Around {
        let bore = self.needed::<v1::Length>("bore");
        let ports = self.quantity("holes").map(|diameter| v1::Holes {
            diameter: Some(diameter),
            length: self.quantity("holes_length"),
            count: self.number("holes_count", false).map_or(0, whole),
        });
        let bleed = self.quantity("bleed").map(|area| v1::Bleed {
            kind: Some(v1::bleed::Kind::Fixed(v1::Orifice {
                area: Some(area),
                ..Default::default()
            })),
        });
        let leak = self.quantity("band").map(|clearance| v1::BandLeak {
            diameter: bore,
            clearance: Some(clearance),
            length: self.quantity("band_length"),
            eccentricity_ratio: None,
        });
        let circuit = |stack: Option<v1::Stack>| v1::DamperCircuit {
            valve: stack.map(|stack| v1::StackValve {
                ports,
                source: Some(v1::stack_valve::Source::Values(stack)),
                ..Default::default()
            }),
            bleed,
            leak,
        };
        let other = self.stack(OTHER, piston);
        let other = circuit(other);
        let mut point = |viscosity, temperature| v1::ViscosityPoint {
            viscosity: self.needed(viscosity),
            temperature: self.needed(temperature),
        };
        let oil = v1::Oil {
            first: Some(point("viscosity_1", "temperature_1")),
            second: Some(point("viscosity_2", "temperature_2")),
            density_at_15_degc: None,
        };
        let whole = v1::Damper {
            bore,
            shaft_diameter: self.needed("shaft"),
            gas: Some(v1::DamperGas {
                charge_gauge_pressure: self.needed("charge"),
                volume: self.needed("gas_volume"),
                exponent_factor: None,
            }),
            friction: self.quantity("friction"),
            oil: Some(oil),
            ..Default::default()
        };
        let rebound = in_rebound(self.posted);
        let damper = |stack: Option<&v1::Stack>| {
            let own = circuit(stack.cloned());
            let (compression, rebound) = if rebound {
                (other.clone(), own)
            } else {
                (own, other.clone())
            };
            v1::Damper {
                compression: Some(compression),
                rebound: Some(rebound),
                ..whole.clone()
            }
        };
        self.ridden(damper(stack), present.map(|present| damper(Some(present))))
    }
}

/// A count as the API has it; one that is none is refused there.
fn whole(number: f64) -> i32 {
    if number.fract() == 0.0 && number.abs() <= 1e6 {
        number as i32
    } else {
        -1
    }
}
