//! Polynomials through readings that scatter: for zeros and extremes between the readings.

use super::line::solve;

/// Coefficients, the most there are.
const MOST: usize = 5;

/// A polynomial of time about a middle, in units of a half width.
#[derive(Clone, Copy, Debug)]
pub(super) struct Polynomial {
    middle: f64,
    half: f64,
    coefficients: [f64; MOST],
}

impl Polynomial {
    /// Least squares of this order, at most 4; none if there are not more readings than
    /// coefficients would need.
    pub fn fit(times: &[f64], values: &[f64], order: usize) -> Option<Self> {
        let order = order.min(MOST - 1);
        if times.len() <= order {
            return None;
        }
        let (first, last) = (times[0], times[times.len() - 1]);
        let middle = 0.5 * (first + last);
        let half = 0.5 * (last - first);
        if half <= 0.0 {
            return None;
        }
        let mut matrix = [[0.0; MOST]; MOST];
        let mut right = [0.0; MOST];
        for (time, value) in times.iter().zip(values) {
            let u = (time - middle) / half;
            let mut powers = [0.0; MOST];
            let mut power = 1.0;
            for place in &mut powers[..=order] {
                *place = power;
                power *= u;
            }
            for i in 0..=order {
                right[i] += powers[i] * value;
                for j in 0..=order {
                    matrix[i][j] += powers[i] * powers[j];
                }
            }
        }
        Some(Self {
            middle,
            half,
            coefficients: solve(matrix, right),
        })
    }

    /// Value at a time.
    pub fn at(&self, time: f64) -> f64 {
        let u = (time - self.middle) / self.half;
        self.coefficients
            .iter()
            .rev()
            .fold(0.0, |value, c| value * u + c)
    }

    /// The same less a constant.
    pub fn less(mut self, level: f64) -> Self {
        self.coefficients[0] -= level;
        self
    }

    /// Derivative by time.
    fn slope(&self) -> Self {
        let mut coefficients = [0.0; MOST];
        for (i, place) in coefficients.iter_mut().enumerate().take(MOST - 1) {
            *place = (i + 1) as f64 * self.coefficients[i + 1] / self.half;
        }
        Self {
            coefficients,
            ..*self
        }
    }

    /// Its zero within `reach` of a time, by Newton's steps; none if they leave the reach.
    pub fn zero_near(&self, time: f64, reach: f64) -> Option<f64> {
        let slope = self.slope();
        let mut at = time;
        for _ in 0..30 {
            let step = self.at(at) / slope.at(at);
            at -= step;
            if at.is_nan() || (at - time).abs() > reach {
                return None;
            }
            if step.abs() <= 1e-12 * self.half {
                return Some(at);
            }
        }
        Some(at)
    }

    /// Its extreme within `reach` of a time.
    pub fn extreme_near(&self, time: f64, reach: f64) -> Option<f64> {
        self.slope().zero_near(time, reach)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_polynomial_comes_back_with_its_zero_and_extreme() {
        let times: Vec<f64> = (0..9).map(|i| 2.0 + 0.1 * f64::from(i)).collect();
        // (t - 2.5)(t - 1) = t² - 3.5 t + 2.5, extreme at 1.75.
        let values: Vec<f64> = times.iter().map(|t| (t - 2.5) * (t - 1.0)).collect();
        let fit = Polynomial::fit(&times, &values, 3).unwrap();
        assert!((fit.at(2.33) - (2.33 - 2.5) * 1.33).abs() < 1e-12);
        assert!((fit.zero_near(2.4, 0.3).unwrap() - 2.5).abs() < 1e-9);
        assert!((fit.extreme_near(1.9, 0.3).unwrap() - 1.75).abs() < 1e-9);
        assert_eq!(fit.zero_near(2.0, 0.1), None);
        assert!((fit.less(1.0).at(2.5) + 1.0).abs() < 1e-12);
    }

    #[test]
    fn too_few_readings_give_none() {
        assert!(Polynomial::fit(&[0.0, 1.0], &[0.0, 1.0], 2).is_none());
        assert!(Polynomial::fit(&[1.0, 1.0, 1.0], &[0.0, 1.0, 2.0], 2).is_none());
    }
}
