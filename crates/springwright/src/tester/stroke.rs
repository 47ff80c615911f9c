//! Where the platen is at a moment: rest, press, rest, lift, and so on; a last rest at the end.

use super::setup::Setup;

/// The drive's movement.
#[derive(Debug, Clone, Copy)]
pub(super) struct Strokes {
    dwell: f64,
    ramp: f64,
    speed: f64,
    count: u32,
}

impl Strokes {
    pub(super) fn of(setup: &Setup) -> Self {
        Self {
            dwell: setup.dwell,
            ramp: (setup.approach + setup.travel) / setup.press_speed,
            speed: setup.press_speed,
            count: setup.strokes,
        }
    }

    /// How long the whole test takes, s.
    pub(super) fn duration(&self) -> f64 {
        f64::from(self.count) * self.period() + self.dwell
    }

    fn period(&self) -> f64 {
        2.0 * (self.dwell + self.ramp)
    }

    /// Way from the start at a moment, mm.
    pub(super) fn position(&self, time: f64) -> f64 {
        let stroke = (time / self.period()).floor();
        if stroke >= f64::from(self.count) {
            return 0.0;
        }
        let within = time - stroke * self.period();
        let pressed = (within - self.dwell).clamp(0.0, self.ramp);
        let lifted = (within - 2.0 * self.dwell - self.ramp).max(0.0);
        (pressed - lifted) * self.speed
    }
}
