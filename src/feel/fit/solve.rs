//! The search: start, least squares, weights by what is left, least squares again.

use std::rc::Rc;

use levenberg_marquardt::LevenbergMarquardt;
use nalgebra::{DMatrix, DVector};

use super::law::Values;
use super::problem::{FitProblem, ReadingSet, Unknown};
use super::result::FitQuantity;
use super::uncertainty::{Certainty, correlation_length};

/// Standard deviations from which on a reading is left out.
const OUTLIER: f64 = 5.0;

/// What is added to the free play of the coarse search for further searches, rad: half a flank, a
/// flank and two, either way.
const PLAYS_RAD: [f64; 7] = [0.0, 1e-3, -1e-3, 2e-3, -2e-3, 4e-3, -4e-3];

/// Searches from other places, at most.
const AGAIN: u32 = 12;

/// Mean square of the residuals, in the noise between neighbours, and correlation length above
/// which a minimum may not be the lowest.
const SUSPICIOUS: [f64; 2] = [1.3, 1.5];

/// Rounds of least squares with weights from the residuals of the one before.
const ROUNDS: usize = 3;

/// A problem at its minimum.
#[derive(Clone, Debug)]
pub(super) struct Solved {
    pub problem: FitProblem,
    pub certainty: Certainty,
    /// Correlation length of each measurement.
    pub lengths: Vec<f64>,
    /// Readings left out of each measurement.
    pub left_out: Vec<usize>,
    /// Independent readings less unknowns.
    pub freedom: f64,
}

/// Finds the minimum and what is known of it.
///
/// `watch` is called before each search; `false` stops it.
///
/// # Errors
///
/// The work is spent, the caller wants no more, or why there is no minimum.
pub(super) fn solve(
    mut problem: FitProblem,
    swings: &[[f64; 2]],
    watch: Watch<'_>,
) -> Result<Solved, Unsolved> {
    let mut search = FitSearch {
        done: 0,
        most: (PLAYS_RAD.len() + swings.len() + ROUNDS + 1) as u32 + AGAIN,
        watch,
    };
    let search = &mut search;
    let mut left_out = vec![0; problem.sets.len()];
    weigh(&mut problem);
    approach(&mut problem, swings, search)?;
    weigh(&mut problem);
    for round in 0..ROUNDS {
        problem = search.minimize(problem)?;
        if round == 0 {
            problem = elsewhere(problem, search)?;
        }
        for (set, left_out) in left_out.iter_mut().enumerate() {
            if round == 0 {
                *left_out = leave_out(&mut problem, set);
            }
            rescale(&mut problem, set);
        }
    }
    let problem = search.minimize(problem)?;
    let residuals: Vec<Vec<f64>> = problem
        .sets
        .iter()
        .map(|set| problem.residuals_of(set, &problem.at))
        .collect();
    let lengths: Vec<f64> = residuals
        .iter()
        .zip(&problem.sets)
        .map(|(all, set)| {
            let kept: Vec<f64> = all
                .iter()
                .zip(set.weights())
                .filter(|(_, weight)| **weight > 0.0)
                .map(|(r, _)| *r)
                .collect();
            correlation_length(&kept)
        })
        .collect();
    let products: Vec<DMatrix<f64>> = problem
        .sets
        .iter()
        .map(|set| {
            let jacobian = problem.jacobian_of(set);
            jacobian.tr_mul(&jacobian)
        })
        .collect();
    let independent: f64 = problem
        .sets
        .iter()
        .zip(&lengths)
        .map(|(set, length)| kept(set) as f64 / length)
        .sum();
    Ok(Solved {
        certainty: Certainty::of(&products, &lengths),
        freedom: (independent - problem.unknowns.len() as f64).max(1.0),
        lengths,
        left_out,
        problem,
    })
}

/// Brings the problem near its minimum: first the sweep alone, from several free plays, as its
/// flanks are narrow and the way to them is not downhill from everywhere; then the releases with
/// what the sweep gave; all unknowns at once come later.
fn approach(
    problem: &mut FitProblem,
    swings: &[[f64; 2]],
    search: &mut FitSearch<'_>,
) -> Result<(), Unsolved> {
    let is_sweep = |set: &ReadingSet| matches!(set, ReadingSet::Sweep(..));
    let of_sweep = |unknown: &Unknown| match unknown {
        Unknown::Of(quantity) => STATIC.contains(quantity),
        Unknown::SweepTrim | Unknown::GaugeZero => true,
        _ => false,
    };
    if problem.sets.iter().any(is_sweep) {
        let part = restricted(problem, of_sweep, is_sweep);
        let play = part
            .unknowns
            .iter()
            .position(|one| *one == Unknown::Of(FitQuantity::FreePlay));
        let mut best: Option<(f64, FitProblem)> = None;
        for off in PLAYS_RAD {
            let mut tried = part.clone();
            if let Some(play) = play {
                tried.at[play] = (tried.at[play] + off).max(-tried.known.play);
            }
            keep_better(&mut best, search.minimize(tried)?);
        }
        if let Some((_, found)) = best {
            take_over(problem, &found);
        }
    }
    let of_release = |unknown: &Unknown| match unknown {
        Unknown::Of(quantity) => matches!(quantity, FitQuantity::Damping | FitQuantity::Inertia),
        Unknown::SweepTrim | Unknown::GaugeZero => false,
        _ => true,
    };
    if problem.sets.iter().any(|set| !is_sweep(set)) {
        let part = restricted(problem, of_release, |set| !is_sweep(set));
        let mut best: Option<(f64, FitProblem)> = None;
        for [inertia, damping] in swings {
            let mut tried = part.clone();
            for (unknown, at) in tried.unknowns.iter().zip(tried.at.iter_mut()) {
                match unknown {
                    Unknown::Of(FitQuantity::Inertia) => *at = libm::log(*inertia),
                    Unknown::Of(FitQuantity::Damping) => *at = *damping,
                    _ => {}
                }
            }
            keep_better(&mut best, search.minimize(tried)?);
        }
        if let Some((_, found)) = best {
            take_over(problem, &found);
        }
    }
    Ok(())
}

fn keep_better(best: &mut Option<(f64, FitProblem)>, found: FitProblem) {
    let squares = found.squares(&found.at);
    if best.as_ref().is_none_or(|(least, _)| squares < *least) {
        *best = Some((squares, found));
    }
}

/// Searches again from places about the minimum while it leaves residuals that hang together or are
/// larger than the noise between neighbours: either the law is not that of the stick, or this
/// minimum is not the lowest.
fn elsewhere(problem: FitProblem, search: &mut FitSearch<'_>) -> Result<FitProblem, Unsolved> {
    let about = problem.at.clone();
    let values = problem.values(&about);
    let play = (values.free_play + problem.known.play).abs() + 1e-3;
    let widths: Vec<f64> = problem
        .unknowns
        .iter()
        .map(|unknown| match unknown {
            Unknown::Of(FitQuantity::Rate) => 0.05,
            Unknown::Of(FitQuantity::Inertia) => 0.2,
            Unknown::Of(FitQuantity::Breakout) => 0.2 * values.breakout.abs(),
            Unknown::Of(FitQuantity::Friction) => 0.5 * values.friction.abs(),
            Unknown::Of(FitQuantity::Damping) => 0.5 * values.damping.abs(),
            Unknown::Of(FitQuantity::FreePlay) | Unknown::SweepTrim | Unknown::Trim(_) => play,
            Unknown::GaugeZero => 0.05 * values.breakout.abs(),
            Unknown::From(_) | Unknown::Delay(_) => 5e-3,
        })
        .collect();
    let mut best = Some((problem.squares(&about), problem));
    for again in 1..=AGAIN {
        let Some((_, problem)) = &best else { break };
        if !is_suspicious(problem) {
            break;
        }
        let mut tried = problem.clone();
        for (i, (at, width)) in tried.at.iter_mut().zip(&widths).enumerate() {
            // Multiples of roots of different numbers, their fraction: spread evenly, and the same
            // each time.
            let turn = f64::from(again) * ((i * i + 2 * i + 2) as f64).sqrt();
            *at = about[i] + width * (2.0 * (turn - turn.floor()) - 1.0);
        }
        keep_better(&mut best, search.minimize(tried)?);
    }
    best.map(|(_, problem)| problem)
        .ok_or(Unsolved::NoMinimum("there is no place to search from"))
}

fn is_suspicious(problem: &FitProblem) -> bool {
    problem.sets.iter().any(|set| {
        let residuals = problem.residuals_of(set, &problem.at);
        let square = residuals.iter().map(|r| r * r).sum::<f64>() / residuals.len().max(1) as f64;
        square > SUSPICIOUS[0] || correlation_length(&residuals) > SUSPICIOUS[1]
    })
}

/// The problem with some of its unknowns and measurements only; the others stand as they are.
fn restricted(
    problem: &FitProblem,
    unknown: impl Fn(&Unknown) -> bool,
    set: impl Fn(&ReadingSet) -> bool,
) -> FitProblem {
    let kept: Vec<usize> = (0..problem.unknowns.len())
        .filter(|i| unknown(&problem.unknowns[*i]))
        .collect();
    FitProblem {
        known: problem.known,
        base: problem.values(&problem.at),
        unknowns: kept.iter().map(|i| problem.unknowns[*i]).collect(),
        at: DVector::from_iterator(kept.len(), kept.iter().map(|i| problem.at[*i])),
        sets: problem
            .sets
            .iter()
            .filter(|one| set(one))
            .cloned()
            .collect(),
        step: problem.step,
        work: Rc::clone(&problem.work),
    }
}

/// Takes the unknowns over from a restricted problem.
fn take_over(problem: &mut FitProblem, part: &FitProblem) {
    for (unknown, value) in part.unknowns.iter().zip(part.at.iter()) {
        if let Some(place) = problem.unknowns.iter().position(|one| one == unknown) {
            problem.at[place] = *value;
        }
    }
}

/// Called before each search with how many were done and how many there will be at most; `false`
/// stops it.
pub(super) type Watch<'a> = &'a mut dyn FnMut(u32, u32) -> bool;

/// Why there is no minimum.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unsolved {
    /// The caller wanted no more.
    Stopped,
    /// The work is spent, after so many steps of the model.
    TooLong(u64),
    /// What the least-squares library says, in words.
    NoMinimum(&'static str),
}

/// The searches of one axis.
struct FitSearch<'a> {
    done: u32,
    most: u32,
    watch: Watch<'a>,
}

impl FitSearch<'_> {
    /// Least squares from where the problem stands.
    fn minimize(&mut self, problem: FitProblem) -> Result<FitProblem, Unsolved> {
        if !(self.watch)(self.done, self.most) {
            return Err(Unsolved::Stopped);
        }
        self.done += 1;
        let work = Rc::clone(&problem.work);
        let (found, report) = LevenbergMarquardt::new()
            .with_ftol(1e-10)
            .with_xtol(1e-9)
            .with_gtol(1e-9)
            .with_patience(20)
            .minimize(problem);
        use levenberg_marquardt::TerminationReason as Reason;
        match report.termination {
            _ if work.is_spent() => Err(Unsolved::TooLong(work.steps())),
            // Kinks of the law can leave no way down that the derivatives see: that is a minimum
            // too.
            reason if reason.was_successful() => Ok(found),
            Reason::NoImprovementPossible(_) | Reason::LostPatience => Ok(found),
            Reason::User(_) | Reason::Numerical(_) => Err(Unsolved::NoMinimum(
                "with these readings the model gives values that are no finite numbers",
            )),
            Reason::NoParameters | Reason::NoResiduals | Reason::WrongDimensions(_) => {
                Err(Unsolved::NoMinimum("there are no readings to search with"))
            }
            _ => Err(Unsolved::NoMinimum("the values run away")),
        }
    }
}

/// First weights: by the noise between neighbours. On the flanks the position's noise counts as
/// force.
fn weigh(problem: &mut FitProblem) {
    let values = problem.values(&problem.at);
    let trim = trim(problem);
    let known = problem.known;
    for set in &mut problem.sets {
        match set {
            ReadingSet::Sweep(sweep, weights) => {
                *weights = sweep
                    .readings
                    .iter()
                    .map(|r| {
                        let steep = slope(&values, &known, r.angle - trim) * sweep.angle_noise;
                        let square = sweep.torque_noise * sweep.torque_noise + steep * steep;
                        (r.count / square).sqrt()
                    })
                    .collect();
            }
            ReadingSet::Response(_, response, weights) => {
                *weights = response
                    .readings
                    .iter()
                    .map(|r| r.count.sqrt() / response.noise)
                    .collect();
            }
        }
    }
}

/// The flank is steep over 2 mrad only; where exactly is not known at first, so that half as much
/// again on either side counts as flank.
fn slope(values: &Values, known: &super::law::Known, deflection: f64) -> f64 {
    [-1e-3, 0.0, 1e-3]
        .iter()
        .map(|off| values.slope(known, deflection + off))
        .fold(0.0, f64::max)
}

fn trim(problem: &FitProblem) -> f64 {
    let place = problem
        .unknowns
        .iter()
        .position(|one| *one == Unknown::SweepTrim);
    place.map_or(0.0, |place| problem.at[place])
}

/// Takes readings out of a measurement (weight 0) that are more than [`OUTLIER`] deviations off,
/// the deviation by the residuals' median, and more than twice as far as both neighbours: what
/// neighbours share is the model's fault, not the reading's.
fn leave_out(problem: &mut FitProblem, set: usize) -> usize {
    let residuals = problem.residuals_of(&problem.sets[set], &problem.at);
    let mut sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    // 1.4826 medians are a standard deviation of the normal distribution (textbook).
    let deviation = 1.4826 * sizes.get(sizes.len() / 2).copied().unwrap_or(0.0);
    let mut count = 0;
    let limit = OUTLIER * deviation.max(1.0);
    let off = |i: usize| residuals.get(i).map_or(0.0, |r| r.abs());
    for (i, weight) in problem.sets[set].weights_mut().iter_mut().enumerate() {
        let neighbours = off(i + 1).max(if i > 0 { off(i - 1) } else { 0.0 });
        if off(i) > limit && neighbours < 0.5 * off(i) {
            *weight = 0.0;
            count += 1;
        }
    }
    count
}

/// Weights of a measurement such that its residuals have the standard deviation 1.
fn rescale(problem: &mut FitProblem, set: usize) {
    let residuals = problem.residuals_of(&problem.sets[set], &problem.at);
    let count = kept(&problem.sets[set]) as f64;
    // Each measurement bears the unknowns in proportion to its share of the readings.
    let all: usize = problem.sets.iter().map(kept).sum();
    let unknowns = problem.unknowns.len() as f64 * count / all as f64;
    let square = residuals.iter().map(|r| r * r).sum::<f64>() / (count - unknowns).max(1.0);
    if square > 0.0 {
        let factor = 1.0 / square.sqrt();
        for weight in problem.sets[set].weights_mut() {
            *weight *= factor;
        }
    }
}

fn kept(set: &ReadingSet) -> usize {
    set.weights().iter().filter(|weight| **weight > 0.0).count()
}

/// The unknowns' start: values in the unknown's own unit.
pub(super) fn starting(unknowns: &[(Unknown, f64)]) -> (Vec<Unknown>, DVector<f64>) {
    let at = unknowns.iter().map(|(unknown, value)| match unknown {
        Unknown::Of(quantity) if quantity.is_log() => libm::log(*value),
        _ => *value,
    });
    (
        unknowns.iter().map(|(unknown, _)| *unknown).collect(),
        DVector::from_vec(at.collect()),
    )
}

/// Unknowns of the sweep and, where it is alone, of all.
pub(super) const STATIC: [FitQuantity; 4] = [
    FitQuantity::Rate,
    FitQuantity::Breakout,
    FitQuantity::Friction,
    FitQuantity::FreePlay,
];
