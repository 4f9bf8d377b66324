//! What is measured at the pilot's grip: the one form that the twin and the bench both come in.
//!
//! Positions are stick angles in degrees (positive as in the rig: aft, right), forces are those
//! that the hand puts on the grip, along the axis' direction of motion there, in newtons; positive
//! pushes the axis positive.

use trimproof_plant::AxisName;

/// What the drives did while it was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Condition {
    /// Supply on, trim holding: the stick works against its gradient.
    Held,
    /// Supply on, trim release pressed.
    Released,
    /// Supply off.
    Unpowered,
}

impl Condition {
    /// All of them, in the order of a report.
    pub const ALL: [Self; 3] = [Self::Held, Self::Released, Self::Unpowered];

    /// Name in files and tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Held => "held",
            Self::Released => "released",
            Self::Unpowered => "unpowered",
        }
    }
}

/// One reading of a slow sweep.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SweepSample {
    /// Time from the start, s; strictly rising.
    pub time_s: f64,
    /// Stick angle, degrees.
    pub position_deg: f64,
    /// Force of the hand, N.
    pub force_n: f64,
}

/// An uninterrupted slow sweep of one axis: from the middle to one stop, to the other, and back to
/// the middle.
#[derive(Clone, Debug, PartialEq)]
pub struct Sweep {
    /// Axis that was swept.
    pub axis: AxisName,
    /// What the drives did.
    pub condition: Condition,
    /// Distance of the grip's reference point from the pivot, m.
    pub grip_radius_m: f64,
    /// The readings, in time.
    pub samples: Vec<SweepSample>,
}

/// One reading of a free response.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ResponseSample {
    /// Time from the release, s; strictly rising.
    pub time_s: f64,
    /// Stick angle, degrees.
    pub position_deg: f64,
}

/// The stick let go from a deflection, until it is at rest.
#[derive(Clone, Debug, PartialEq)]
pub struct Response {
    /// Axis that was deflected.
    pub axis: AxisName,
    /// What the drives did.
    pub condition: Condition,
    /// The readings, from the release on.
    pub samples: Vec<ResponseSample>,
}

/// Everything measured of one stick, on the twin or on the bench.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Record {
    /// Where it comes from: `twin of kittiwake`, `bench.csv`.
    pub source: String,
    /// Sweeps, at most one for each axis and condition.
    pub sweeps: Vec<Sweep>,
    /// Free responses; each axis both ways.
    pub responses: Vec<Response>,
    /// Trim rate under a held hat, degrees per second; `[pitch, roll]`, none where not measured.
    pub trim_rate_deg_per_s: [Option<f64>; 2],
}
