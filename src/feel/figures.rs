//! The figures that a record comes down to.

use trimproof_plant::AxisName;

use crate::record::Condition;

/// Figures of one slow sweep. Forces in N at the grip, positions in degrees of the stick.
#[derive(Clone, Debug, PartialEq)]
pub struct SweepFigures {
    /// Axis.
    pub axis: AxisName,
    /// What the drives did.
    pub condition: Condition,
    /// Distance of the grip from the pivot, m.
    pub grip_radius_m: f64,
    /// Force at which the stick leaves its middle towards `[negative, positive]`, N, both positive
    /// numbers; friction included.
    pub breakout_n: [f64; 2],
    /// Slope over the first inch (25.4 mm at the grip) beyond the breakout, `[negative, positive]`
    /// side, N/deg, friction left out.
    pub first_inch_n_per_deg: [f64; 2],
    /// Slope from there to just before the stop, N/deg; none where the sweep does not go further
    /// than the first inch.
    pub beyond_n_per_deg: [Option<f64>; 2],
    /// Half the mean height of the loop between going out and coming back, N: the friction. A limp
    /// stick's ripple is not in it.
    pub friction_n: f64,
    /// Ripple of a limp stick about its loop; none where a spring holds the stick.
    pub ripple: Option<Ripple>,
    /// Width of the gap in which the force is nothing but friction, from flank to flank, degrees.
    pub free_play_deg: f64,
    /// Where the stick comes to rest after it was let back from `[negative, positive]`, less the
    /// trimmed position, degrees.
    pub centring_error_deg: [f64; 2],
    /// Where the stops are, `[negative, positive]`, degrees.
    pub stop_deg: [f64; 2],
    /// Largest force before the stop, `[negative, positive]`, N, positive numbers. Of a limp stick
    /// it is the largest reading of all, on either way.
    pub largest_n: [f64; 2],
    /// Steps of the force that a smooth gradient would not have; a limp stick, whose detent
    /// ripples, has none listed.
    pub discontinuities: Vec<Discontinuity>,
    /// Readings that the motor spent slipping, if it did: the sweep then says nothing about the
    /// gradient beyond.
    pub slipped_at_deg: Option<f64>,
}

/// A stick whose free play is more than this share of its travel has nothing that brings it back.
const LIMP_SHARE: f64 = 0.8;

impl SweepFigures {
    /// Whether nothing brings the stick back: it stays wherever it is left.
    pub fn is_limp(&self) -> bool {
        self.free_play_deg > LIMP_SHARE * (self.stop_deg[1] - self.stop_deg[0])
    }
}

/// How much the force of a limp stick rises and falls along its way: the motor's detent, felt
/// through the gear.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ripple {
    /// Largest distance of a reading from the mean of its way, N.
    pub peak_n: f64,
    /// Where that is, degrees.
    pub peak_at_deg: f64,
    /// Largest rise from a trough to a crest on one way, not further than an inch (25.4 mm at the
    /// grip) apart, N.
    pub peak_to_peak_n: f64,
    /// Where that trough and that crest are, degrees.
    pub trough_to_crest_deg: [f64; 2],
}

/// A step of the force.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Discontinuity {
    /// Where, degrees.
    pub at_deg: f64,
    /// How much, N.
    pub step_n: f64,
}

/// Figures of one free response, after 14 CFR part 60, appendix C.
#[derive(Clone, Debug, PartialEq)]
pub struct ResponseFigures {
    /// Axis.
    pub axis: AxisName,
    /// What the drives did.
    pub condition: Condition,
    /// Initial displacement from the steady state, degrees, signed.
    pub initial_deg: f64,
    /// Steady state, degrees.
    pub steady_deg: f64,
    /// Release to first zero crossing, s; none where it never crosses (critically or over-damped).
    pub p0_s: Option<f64>,
    /// Full periods after that, s: P1, P2...
    pub periods_s: Vec<f64>,
    /// Overshoots outside the residual band, degrees, positive numbers: A1, A2...
    pub overshoots_deg: Vec<f64>,
    /// Time to 90 % of the way to the steady state, s.
    pub to_90_percent_s: f64,
    /// Damping ratio by logarithmic decrement, where there are two overshoots or more; by the first
    /// overshoot with one.
    pub damping_ratio: Option<f64>,
    /// Width of the residual band: 5 % of the initial displacement, degrees.
    pub residual_deg: f64,
}

/// Everything measured, in figures.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Figures {
    /// Where it comes from.
    pub source: String,
    /// One for each sweep.
    pub sweeps: Vec<SweepFigures>,
    /// One for each response.
    pub responses: Vec<ResponseFigures>,
    /// Trim rate, degrees per second, `[pitch, roll]`.
    pub trim_rate_deg_per_s: [Option<f64>; 2],
    /// Effective mass at the grip, J/r², kg, `[pitch, roll]`; none where not known.
    pub effective_mass_kg: [Option<f64>; 2],
}
