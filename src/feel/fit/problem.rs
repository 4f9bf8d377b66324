//! Residuals and their derivatives, as the least-squares library asks for them.

use std::cell::Cell;
use std::rc::Rc;

use levenberg_marquardt::LeastSquaresProblem;
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn};

use super::law::{Known, Values};
use super::readings::{ResponseReadings, SweepReadings};
use super::result::FitQuantity;
use super::swing::{Release, swing};

/// One unknown of the problem.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unknown {
    /// One that is asked for; rate and inertia by their logarithm, as they are never zero.
    Of(FitQuantity),
    /// Trimmed position of the sweep, rad.
    SweepTrim,
    /// Torque that the gauge reads at no force, N·m.
    GaugeZero,
    /// Trimmed position of a response, rad.
    Trim(usize),
    /// Where a response begins, rad.
    From(usize),
    /// How much after the record's time 0 the stick is free, s.
    Delay(usize),
}

impl Unknown {
    /// Change for a difference quotient, in the unknown's own unit.
    fn step(self, value: f64) -> f64 {
        match self {
            Self::Of(FitQuantity::Rate | FitQuantity::Inertia) => 1e-3,
            Self::Of(FitQuantity::FreePlay) => 1e-4,
            Self::Of(_) => (1e-3 * value.abs()).max(1e-5),
            Self::SweepTrim | Self::Trim(_) | Self::From(_) => 1e-4,
            Self::GaugeZero => 1e-3,
            Self::Delay(_) => 1e-4,
        }
    }

    /// Whether the readings of a measurement depend on it; `None` is the sweep.
    fn moves(self, response: Option<usize>) -> bool {
        match (self, response) {
            (
                Self::Of(FitQuantity::Inertia) | Self::Trim(_) | Self::From(_) | Self::Delay(_),
                None,
            ) => false,
            (Self::SweepTrim | Self::GaugeZero, Some(_)) => false,
            (Self::Trim(of) | Self::From(of) | Self::Delay(of), Some(this)) => of == this,
            _ => true,
        }
    }
}

/// One measurement with the weight of each reading: one over its standard deviation.
#[derive(Clone, Debug)]
pub(super) enum ReadingSet {
    /// The slow sweep; residuals in N·m.
    Sweep(SweepReadings, Vec<f64>),
    /// A release, with its number among the releases; residuals in rad.
    Response(usize, ResponseReadings, Vec<f64>),
}

impl ReadingSet {
    /// How many readings.
    pub fn len(&self) -> usize {
        self.weights().len()
    }

    /// One over the standard deviation of each reading.
    pub fn weights(&self) -> &[f64] {
        match self {
            Self::Sweep(_, weights) | Self::Response(_, _, weights) => weights,
        }
    }

    /// The same, to be changed.
    pub fn weights_mut(&mut self) -> &mut Vec<f64> {
        match self {
            Self::Sweep(_, weights) | Self::Response(_, _, weights) => weights,
        }
    }

    fn response(&self) -> Option<usize> {
        match self {
            Self::Sweep(..) => None,
            Self::Response(number, ..) => Some(*number),
        }
    }

    /// Measured value of a reading: torque or angle.
    pub fn measured(&self, reading: usize) -> f64 {
        match self {
            Self::Sweep(sweep, _) => sweep.readings[reading].torque,
            Self::Response(_, response, _) => response.readings[reading].angle,
        }
    }
}

/// Everything that the residuals follow from.
#[derive(Clone, Debug)]
pub(super) struct FitProblem {
    pub known: Known,
    /// What is not unknown keeps these.
    pub base: Values,
    pub unknowns: Vec<Unknown>,
    pub at: DVector<f64>,
    pub sets: Vec<ReadingSet>,
    /// Step of the integrator, s.
    pub step: f64,
    /// Work done so far, shared by all copies.
    pub work: Rc<Work>,
}

/// Steps of the model that the searches of an axis may take, some ten seconds: an ordinary record
/// takes less than a fiftieth.
pub(super) const STEPS_MOST: u64 = 500_000_000;

/// How many steps of the model were computed, and how many may be.
#[derive(Debug)]
pub(super) struct Work {
    steps: Cell<u64>,
    most: u64,
}

impl Work {
    /// None done, so many allowed.
    pub fn of(most: u64) -> Self {
        Self {
            steps: Cell::new(0),
            most,
        }
    }

    /// Steps so far.
    pub fn steps(&self) -> u64 {
        self.steps.get()
    }

    /// Whether no more may be done.
    pub fn is_spent(&self) -> bool {
        self.steps.get() >= self.most
    }

    fn count(&self, steps: u64) {
        self.steps.set(self.steps.get().saturating_add(steps));
    }
}

impl FitProblem {
    /// The value of an unknown; zero if it is none.
    fn value(&self, at: &DVector<f64>, unknown: Unknown) -> f64 {
        let place = self.unknowns.iter().position(|one| *one == unknown);
        place.map_or(0.0, |place| at[place])
    }

    /// What is asked for, where the unknowns stand so.
    pub fn values(&self, at: &DVector<f64>) -> Values {
        let mut values = self.base;
        for (unknown, value) in self.unknowns.iter().zip(at.iter()) {
            if let Unknown::Of(quantity) = unknown {
                *quantity.slot(&mut values) = if quantity.is_log() {
                    libm::exp(*value)
                } else {
                    *value
                };
            }
        }
        values
    }

    /// What the model says of every reading of a measurement.
    pub fn model(&self, set: &ReadingSet, at: &DVector<f64>) -> Vec<f64> {
        let values = self.values(at);
        let known = &self.known;
        match set {
            ReadingSet::Sweep(sweep, _) => {
                let trim = self.value(at, Unknown::SweepTrim);
                let zero = self.value(at, Unknown::GaugeZero);
                self.work.count(sweep.readings.len() as u64);
                sweep
                    .readings
                    .iter()
                    .map(|r| {
                        zero + values.torque(known, r.angle - trim) - known.weight_torque(r.angle)
                            + values.friction * r.rate.signum()
                            + values.damping * r.rate
                    })
                    .collect()
            }
            ReadingSet::Response(number, response, _) => {
                let release = Release {
                    trim: self.value(at, Unknown::Trim(*number)),
                    from: self.value(at, Unknown::From(*number)),
                };
                let delay = self.value(at, Unknown::Delay(*number));
                let times = response.readings.iter().map(|r| (r.time - delay).max(0.0));
                let mut model = Vec::with_capacity(response.readings.len());
                let steps = swing(&values, known, release, self.step, times, |angle| {
                    model.push(angle);
                });
                self.work.count(steps);
                model
            }
        }
    }

    /// Residuals of a measurement, model less measured, in standard deviations.
    pub fn residuals_of(&self, set: &ReadingSet, at: &DVector<f64>) -> Vec<f64> {
        let mut model = self.model(set, at);
        for (i, (value, weight)) in model.iter_mut().zip(set.weights()).enumerate() {
            *value = (*value - set.measured(i)) * weight;
        }
        model
    }

    /// Sum of squares of all residuals at `at`.
    pub fn squares(&self, at: &DVector<f64>) -> f64 {
        let of =
            |set: &ReadingSet| -> f64 { self.residuals_of(set, at).iter().map(|r| r * r).sum() };
        self.sets.iter().map(of).sum()
    }

    /// Derivatives of a measurement's residuals by every unknown, by central differences.
    pub fn jacobian_of(&self, set: &ReadingSet) -> DMatrix<f64> {
        let mut jacobian = DMatrix::zeros(set.len(), self.unknowns.len());
        let mut at = self.at.clone();
        for (column, unknown) in self.unknowns.iter().enumerate() {
            if !unknown.moves(set.response()) {
                continue;
            }
            let value = self.at[column];
            let step = unknown.step(value);
            at[column] = value + step;
            let above = self.residuals_of(set, &at);
            at[column] = value - step;
            let below = self.residuals_of(set, &at);
            at[column] = value;
            for (row, (above, below)) in above.iter().zip(&below).enumerate() {
                jacobian[(row, column)] = (above - below) / (2.0 * step);
            }
        }
        jacobian
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for FitProblem {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, x: &DVector<f64>) {
        self.at.copy_from(x);
    }

    fn params(&self) -> DVector<f64> {
        self.at.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        if self.work.is_spent() {
            return None;
        }
        let all: Vec<f64> = self
            .sets
            .iter()
            .flat_map(|set| self.residuals_of(set, &self.at))
            .collect();
        all.iter()
            .all(|r| r.is_finite())
            .then(|| DVector::from_vec(all))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let rows = self.sets.iter().map(ReadingSet::len).sum();
        let mut whole = DMatrix::zeros(rows, self.unknowns.len());
        let mut from = 0;
        for set in &self.sets {
            if self.work.is_spent() {
                return None;
            }
            let part = self.jacobian_of(set);
            whole.rows_mut(from, part.nrows()).copy_from(&part);
            from += part.nrows();
        }
        whole.iter().all(|value| value.is_finite()).then_some(whole)
    }
}
