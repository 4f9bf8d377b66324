//! What a fit comes down to.

use trimproof_plant::AxisName;

use super::law::Values;

/// What is identified of an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum FitQuantity {
    /// Rate of the cartridge beyond its breakout, N·m/rad.
    Rate,
    /// Torque of its preload, N·m.
    Breakout,
    /// Coulomb friction of the pivot, N·m.
    Friction,
    /// Half width of the cartridge's free play, degrees.
    FreePlay,
    /// Damping on a held shaft: cartridge and pivot together, N·m·s/rad.
    Damping,
    /// Moment of inertia about the axis, kg·m².
    Inertia,
}

impl FitQuantity {
    /// All of them, in the order of a report.
    pub const ALL: [Self; 6] = [
        Self::Rate,
        Self::Breakout,
        Self::Friction,
        Self::FreePlay,
        Self::Damping,
        Self::Inertia,
    ];

    /// Name in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rate => "spring rate",
            Self::Breakout => "breakout",
            Self::Friction => "friction",
            Self::FreePlay => "free play",
            Self::Damping => "damping",
            Self::Inertia => "inertia",
        }
    }

    /// Name in JSON, with the unit.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Rate => "rate_n_m_per_rad",
            Self::Breakout => "breakout_n_m",
            Self::Friction => "coulomb_n_m",
            Self::FreePlay => "free_play_deg",
            Self::Damping => "damping_n_m_s_per_rad",
            Self::Inertia => "inertia_kg_m2",
        }
    }

    /// Unit of its estimate.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Rate => "N·m/rad",
            Self::Breakout | Self::Friction => "N·m",
            Self::FreePlay => "deg",
            Self::Damping => "N·m·s/rad",
            Self::Inertia => "kg·m²",
        }
    }

    /// Whether it is sought by its logarithm: what is never zero.
    pub(super) const fn is_log(self) -> bool {
        matches!(self, Self::Rate | Self::Inertia)
    }

    /// Its place among the values.
    pub(super) fn slot(self, values: &mut Values) -> &mut f64 {
        match self {
            Self::Rate => &mut values.rate,
            Self::Breakout => &mut values.breakout,
            Self::Friction => &mut values.friction,
            Self::FreePlay => &mut values.free_play,
            Self::Damping => &mut values.damping,
            Self::Inertia => &mut values.inertia,
        }
    }

    /// Its value, SI with radians.
    pub(super) fn of(self, values: &Values) -> f64 {
        *self.slot(&mut { *values })
    }

    /// From SI with radians to the unit of its estimate.
    pub(super) fn in_unit(self, value: f64) -> f64 {
        match self {
            Self::FreePlay => value.to_degrees(),
            _ => value,
        }
    }
}

/// How an estimate came about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// By the data.
    Measured,
    /// Not by this record, which lacks a measurement; the rig's value was taken.
    Taken,
    /// The data leave it open, though there are measurements that could give it: no interval.
    Undetermined,
}

impl Origin {
    /// Name in JSON.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Taken => "taken from the rig",
            Self::Undetermined => "undetermined",
        }
    }
}

/// One value with what is known of its error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// What it is.
    pub quantity: FitQuantity,
    /// Where it comes from.
    pub origin: Origin,
    /// The rig's value, in the quantity's unit.
    pub rig: f64,
    /// The estimate; the rig's value where it is not measured.
    pub value: f64,
    /// Standard error; none where it is not measured.
    pub standard_error: Option<f64>,
    /// 95 % interval by Student's t; none where it is not measured.
    pub interval: Option<[f64; 2]>,
}

/// Two values, or more, that the data hardly distinguish.
#[derive(Clone, Debug, PartialEq)]
pub struct Entangled {
    /// Which; names of quantities, or of what else is unknown (trimmed position, zero of the
    /// gauge...).
    pub names: Vec<String>,
    /// Correlation of two; none for a direction in which the data say nothing at all.
    pub correlation: Option<f64>,
    /// What measurement would part them.
    pub advice: &'static str,
}

/// One point of a residual plot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residual {
    /// Time, s.
    pub time_s: f64,
    /// Position, degrees.
    pub position_deg: f64,
    /// Measured value: force in N, or position in degrees.
    pub measured: f64,
    /// What the model says.
    pub model: f64,
}

/// How well one measurement is met.
#[derive(Clone, Debug, PartialEq)]
pub struct Residuals {
    /// `held sweep`, `response 1`...
    pub name: String,
    /// Unit of measured and model: `N` or `deg`.
    pub unit: &'static str,
    /// In time; neighbours averaged where there were more than 2000.
    pub points: Vec<Residual>,
    /// Standard deviation of one reading about the model, in the unit.
    pub deviation: f64,
    /// How many readings carry the news of one: 1 where residuals are independent.
    pub correlation_length: f64,
    /// Readings left out: more than 5 standard deviations off.
    pub left_out: usize,
}

/// What is found of one axis.
#[derive(Clone, Debug, PartialEq)]
pub struct AxisFit {
    /// Which.
    pub axis: AxisName,
    /// One for each of [`FitQuantity::ALL`], in its order.
    pub estimates: Vec<Estimate>,
    /// What the data hardly distinguish.
    pub entangled: Vec<Entangled>,
    /// One for each measurement that was used.
    pub residuals: Vec<Residuals>,
    /// What else is to be known.
    pub notes: Vec<String>,
}

impl AxisFit {
    /// The estimate of a quantity.
    pub fn estimate(&self, quantity: FitQuantity) -> Option<&Estimate> {
        self.estimates.iter().find(|one| one.quantity == quantity)
    }

    /// A measured value, in the quantity's unit.
    pub fn measured(&self, quantity: FitQuantity) -> Option<f64> {
        self.estimate(quantity)
            .filter(|one| one.origin == Origin::Measured)
            .map(|one| one.value)
    }
}

/// What is found of a rig.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Fit {
    /// Where the record comes from.
    pub source: String,
    /// Axes with measurements, pitch first.
    pub axes: Vec<AxisFit>,
    /// What holds for both.
    pub notes: Vec<String>,
}
