//! Rig files: one force-feel stick, described part by part.

mod axis;
mod cartridge;
mod check;
mod clocks;
mod derived;
mod equipment;
mod feel;
mod start;
mod stick;
mod stops;
mod whole;

#[cfg(test)]
mod tests;

pub use axis::{AxisRig, DriveRig, DriverRig, FrictionRig, MotorRig, SensorRig, StopsRig};
pub use cartridge::{Cartridge, CartridgeRig, MeasuredCartridge, SpringCartridge};
pub use equipment::{BoardRig, HandRig, ObstacleRig, SupplyRig, SwitchesRig};
pub use feel::{FeelCondition, FeelTarget, GradientPart, RippleCondition};
pub use start::StartConflict;
pub use stick::{GRAVITY_M_PER_S2, MassProperties, MassRig, MassShapes, MeasuredMass, StickRig};
pub use whole::Rig;

use crate::scheme::{Scheme, StepBound};
use check::RangeChecker;
use trimproof_diagnostics::FileError;

impl Rig {
    /// Reads a rig from the text of its file.
    ///
    /// # Errors
    /// The first thing wrong: no TOML, an unknown or missing key, a value outside its range. The
    /// error points at the value. What stands in `[controller]` is not looked at.
    pub fn parse(text: &str) -> Result<Self, FileError> {
        let rig: Self = toml::from_str(text).map_err(|error| FileError::from_toml(text, &error))?;
        trimproof_diagnostics::check_strings(text)?;
        rig.check(text)?;
        Ok(rig)
    }

    fn check(&self, text: &str) -> Result<(), FileError> {
        let mut check = RangeChecker::new(text);
        let kebab = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        let name = &self.name;
        check.require("name", !name.is_empty() && name.chars().all(kebab), || {
            format!("is `{name}`, it must be lower-case letters, digits and hyphens")
        });
        check.within("stick", |check| self.stick.check(check));
        for (key, axis) in [("pitch", &self.pitch), ("roll", &self.roll)] {
            check.within(key, |check| axis.check(check));
        }
        self.check_stops(&mut check);
        check.within("supply", |check| self.supply.check(check));
        check.within("board", |check| self.board.check(check));
        for (index, obstacle) in self.obstacle.iter().enumerate() {
            check.within(&format!("obstacle[{index}]"), |check| obstacle.check(check));
        }
        check.within("hand", |check| self.hand.check(check));
        check.within("switches", |check| self.switches.check(check));
        for (index, target) in self.feel.iter().enumerate() {
            check.within(&format!("feel[{index}]"), |check| target.check(check));
        }
        check.finish()?;
        self.check_scheme(text)?;
        let mut check = RangeChecker::new(text);
        self.check_clocks(&mut check);
        self.check_obstacles(&mut check);
        check.finish()
    }

    /// The twin must be able to compute the rig in steps that are not too short.
    fn check_scheme(&self, text: &str) -> Result<(), FileError> {
        let Some((bound, shortest_s)) = Scheme::refused(self) else {
            return Ok(());
        };
        let StepBound {
            key, value, limit, ..
        } = &bound;
        let most = if bound.is_least {
            "at least"
        } else {
            "at most"
        };
        let message = format!(
            "`{key}` is `{value}`, with the rest of this rig it must be {most} `{}`: the twin would need steps of `{}` µs, its shortest are `{}` µs",
            three_digits(*limit, bound.is_least),
            three_digits(1e6 * bound.longest_step_s, false),
            1e6 * shortest_s
        );
        Err(FileError::at(text, key, message)
            .with_help("`trimproof size` shows which value decides the steps of a rig; docs/model/drive.md and docs/model/stick.md derive the bounds"))
    }
}

/// A number cut, or raised, to three digits, so that what is printed is inside the bound.
fn three_digits(value: f64, up: bool) -> f64 {
    let size = value.abs();
    if size <= 0.0 || !size.is_finite() {
        return value;
    }
    let unit = libm::pow(10.0, libm::floor(libm::log10(size)) - 2.0);
    let cut = value / unit;
    let cut = if up { cut.ceil() } else { cut.floor() };
    // Through text: the decimal number nearest to the product.
    format!("{:.2e}", cut * unit).parse().unwrap_or(value)
}

/// JSON Schema of a rig file, for editors.
pub fn schema() -> schemars::Schema {
    schemars::schema_for!(Rig)
}
