//! What a firmware promises, in numbers: constants `promise.NAME` of formulas.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

macro_rules! promises {
    ($($(#[doc = $doc:literal])* $name:ident = $min:literal..=$max:literal, like $example:literal;)*) => {
        /// A firmware's own requirements in numbers, each optional: what it does not promise is not
        /// judged.
        #[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
        #[serde(deny_unknown_fields)]
        pub struct Promises {
            $(
                $(#[doc = $doc])*
                #[doc = concat!("Valid: ", stringify!($min), " to ", stringify!($max), ".")]
                #[serde(default, skip_serializing_if = "Option::is_none")]
                #[schemars(range(min = $min, max = $max))]
                pub $name: Option<f64>,
            )*
        }

        impl Promises {
            /// Every promise that there can be: its name and a usual value.
            pub const ALL: &[(&'static str, f64)] = &[$((stringify!($name), $example),)*];

            /// Those that are given, by their names.
            pub fn given(&self) -> BTreeMap<&'static str, f64> {
                let mut given = BTreeMap::new();
                $(given.extend(self.$name.map(|value| (stringify!($name), value)));)*
                given
            }

            /// These, and where one is not given that of `others`.
            pub fn or(&self, others: &Self) -> Self {
                Self { $($name: self.$name.or(others.$name),)* }
            }
        }
    };
}

promises! {
    /// Trim release pressed: both drives are off within this time, s.
    off_within_s = 0.001..=0.3, like 0.05;
    /// Trim release let go: both drives are on again within this time, s.
    hold_within_s = 0.002..=0.6, like 0.2;
    /// The trim shaft moves by at most this when a drive takes hold, deg.
    jump_at_hold_deg = 0.01..=1.5, like 1.0;
    /// A position that is held is at most this far from where the stick was at let-go, deg.
    hold_error_deg = 0.01..=1.5, like 0.5;
    /// Motor supply there: both drives are on within this time, s.
    power_up_within_s = 0.01..=2.0, like 1.0;
    /// Motor supply there: the trim is at the centre within this time, from anywhere, s.
    centre_within_s = 0.2..=8.0, like 5.0;
    /// After that it is at most this far from the centre, deg.
    centre_error_deg = 0.01..=1.0, like 0.5;
    /// The glide to the centre is at least this fast, deg/s.
    glide_rate_low_deg_per_s = 2.5..=40.0, like 5.0;
    /// The glide to the centre is at most this fast, deg/s.
    glide_rate_high_deg_per_s = 0.5..=40.0, like 15.0;
    /// The trim follows a held hat at least this fast, deg/s.
    nudge_rate_low_deg_per_s = 2.5..=40.0, like 5.0;
    /// The trim follows a held hat at most this fast, deg/s.
    nudge_rate_high_deg_per_s = 0.5..=40.0, like 7.0;
    /// A hat that is held closed moves the trim within this time, s.
    nudge_starts_within_s = 0.005..=0.8, like 0.5;
    /// A tap of the hat moves the trim by at least this, deg.
    tap_low_deg = 0.05..=2.0, like 0.3;
    /// A tap of the hat moves the trim by at most this, deg.
    tap_high_deg = 0.05..=2.0, like 0.6;
    /// A hat that is closed for up to this time is a tap, s.
    tap_longest_s = 0.05..=0.5, like 0.2;
    /// The trim moves on by at most this once the hat is let go, deg.
    coast_deg = 0.0..=3.0, like 1.0;
    /// The trim comes no nearer to a stop than this by its drive, deg.
    stop_clearance_deg = 0.0..=5.0, like 1.0;
    /// No drive is ever commanded faster than this, deg/s.
    rate_most_deg_per_s = 1.0..=60.0, like 15.0;
    /// After a nudge, or when a drive has taken hold, the trim stands still within this time, s.
    settle_within_s = 0.05..=1.5, like 0.5;
    /// A sensor that cannot be right: the drives are off or stand still within this time, s.
    off_after_sensor_fault_s = 0.002..=0.5, like 0.1;
    /// Motor supply gone: the drives are off within this time, s.
    off_after_supply_loss_s = 0.001..=0.3, like 0.05;
    /// Below this motor supply the drives are off, V.
    supply_low_v = 5.0..=60.0, like 12.0;
    /// After a reset of the controller both drives are on again within this time, s.
    restart_within_s = 0.01..=2.5, like 2.0;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_given_goes_before_the_others() {
        let own = Promises {
            tap_low_deg: Some(0.4),
            ..Promises::default()
        };
        let others = Promises {
            tap_low_deg: Some(0.1),
            tap_high_deg: Some(0.8),
            ..Promises::default()
        };
        let given: Vec<_> = own.or(&others).given().into_iter().collect();
        assert_eq!(given, [("tap_high_deg", 0.8), ("tap_low_deg", 0.4)]);
        assert!(Promises::default().given().is_empty());
    }
}
