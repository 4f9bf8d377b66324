//! How well the data determine what was found: covariance, Student's t, correlated residuals,
//! directions without news.

use nalgebra::{DMatrix, SymmetricEigen};

/// Two-sided 95 % point of the normal distribution.
const Z: f64 = 1.959_963_984_540_054;

/// Share of the largest eigenvalue (of derivatives scaled to length 1) below which a direction
/// counts as undetermined by the data: the difference quotients are good to about 1e-4, so their
/// products to 1e-8.
const SINGULAR: f64 = 1e-8;

/// Share of a singular direction that makes an unknown part of it.
const PART: f64 = 0.1;

/// What the derivatives say.
#[derive(Clone, Debug)]
pub(super) struct Certainty {
    /// Covariance of the unknowns; directions without news left out.
    pub covariance: DMatrix<f64>,
    /// For each direction without news the unknowns that make it up.
    pub singular: Vec<Vec<usize>>,
}

impl Certainty {
    /// From the products JᵀJ of each measurement, residuals in standard deviations, and each one's
    /// correlation length.
    ///
    /// With H = Σ JᵀJ and correlation lengths τ the covariance is H⁻¹ (Σ τ JᵀJ) H⁻¹: that of
    /// weighted least squares where the residuals of a measurement are correlated over τ readings
    /// while the derivatives change little.
    pub fn of(products: &[DMatrix<f64>], lengths: &[f64]) -> Self {
        let count = products.first().map_or(0, DMatrix::nrows);
        let mut whole = DMatrix::zeros(count, count);
        let mut spread = DMatrix::zeros(count, count);
        for (product, length) in products.iter().zip(lengths) {
            whole += product;
            spread += product * *length;
        }
        let scale: Vec<f64> = (0..count)
            .map(|i| {
                let size = whole[(i, i)].sqrt();
                if size > 0.0 { 1.0 / size } else { 0.0 }
            })
            .collect();
        let scaled = |matrix: &DMatrix<f64>| {
            DMatrix::from_fn(count, count, |i, j| scale[i] * matrix[(i, j)] * scale[j])
        };
        let mut singular: Vec<Vec<usize>> = (0..count)
            .filter(|i| scale[*i] == 0.0)
            .map(|i| vec![i])
            .collect();
        let eigen = SymmetricEigen::new(scaled(&whole));
        let most = eigen.eigenvalues.iter().fold(0.0_f64, |a, b| a.max(*b));
        let mut inverse = DMatrix::zeros(count, count);
        for (value, vector) in eigen
            .eigenvalues
            .iter()
            .zip(eigen.eigenvectors.column_iter())
        {
            if *value > SINGULAR * most {
                inverse += vector * vector.transpose() / *value;
                continue;
            }
            let parts: Vec<usize> = (0..count)
                .filter(|i| scale[*i] > 0.0 && vector[*i].abs() > PART)
                .collect();
            if !parts.is_empty() {
                singular.push(parts);
            }
        }
        let covariance = &inverse * scaled(&spread) * &inverse;
        Self {
            covariance: scaled(&covariance),
            singular,
        }
    }

    /// Whether an unknown is part of a direction without news.
    pub fn is_undetermined(&self, unknown: usize) -> bool {
        self.singular.iter().any(|parts| parts.contains(&unknown))
    }

    /// Standard error of an unknown.
    pub fn error(&self, unknown: usize) -> f64 {
        self.covariance[(unknown, unknown)].max(0.0).sqrt()
    }

    /// Correlation of two unknowns.
    pub fn correlation(&self, a: usize, b: usize) -> f64 {
        let size = self.error(a) * self.error(b);
        if size > 0.0 {
            self.covariance[(a, b)] / size
        } else {
            0.0
        }
    }
}

/// Two-sided 95 % point of Student's t: the expansion in 1/ν of Abramowitz and Stegun, 26.7.5 (from
/// memory), 1e-3 from 5 degrees of freedom on.
pub(super) fn student_t(freedom: f64) -> f64 {
    let z2 = Z * Z;
    let g1 = (z2 + 1.0) / 4.0;
    let g2 = ((5.0 * z2 + 16.0) * z2 + 3.0) / 96.0;
    let g3 = (((3.0 * z2 + 19.0) * z2 + 17.0) * z2 - 15.0) / 384.0;
    let g4 = ((((79.0 * z2 + 776.0) * z2 + 1482.0) * z2 - 1920.0) * z2 - 945.0) / 92160.0;
    let u = 1.0 / freedom.max(1.0);
    Z * (1.0 + u * (g1 + u * (g2 + u * (g3 + u * g4))))
}

/// Correlation length of residuals in time: 1 + 2 Σ ρ_k up to the first ρ_k below two standard
/// errors of no correlation, 2/√n. At least 1, so that residuals that alternate make no interval
/// narrower; at most a tenth of the readings.
pub(super) fn correlation_length(residuals: &[f64]) -> f64 {
    let n = residuals.len();
    let mean = residuals.iter().sum::<f64>() / n.max(1) as f64;
    let square: f64 = residuals.iter().map(|r| (r - mean) * (r - mean)).sum();
    if square <= 0.0 {
        return 1.0;
    }
    let least = 2.0 / (n as f64).sqrt();
    let most = (n / 10).max(1);
    let mut length = 1.0;
    for lag in 1..most {
        let product: f64 = residuals[lag..]
            .iter()
            .zip(residuals)
            .map(|(a, b)| (a - mean) * (b - mean))
            .sum();
        let correlation = product / square;
        if correlation < least {
            break;
        }
        length += 2.0 * correlation;
    }
    length.min(most as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two-sided 95 % points as every printed table has them (textbook).
    #[test]
    fn students_t_is_that_of_the_tables() {
        for (freedom, wanted) in [(5.0, 2.571), (10.0, 2.228), (30.0, 2.042), (120.0, 1.980)] {
            let found = student_t(freedom);
            assert!((found - wanted).abs() < 1e-3, "{freedom}: {found}");
        }
        assert!((student_t(1e9) - 1.959_964).abs() < 1e-6);
    }

    /// A moving mean of 5 independent values has correlations 4/5, 3/5, 2/5, 1/5: a length of 5.
    #[test]
    fn a_moving_mean_of_five_carries_the_news_of_one_in_five() {
        let mut seed = 12345_u64;
        let mut chance = || {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (seed >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
        };
        let white: Vec<f64> = (0..20_005).map(|_| chance()).collect();
        assert!(correlation_length(&white) < 1.2);
        let smooth: Vec<f64> = white.windows(5).map(|w| w.iter().sum()).collect();
        let found = correlation_length(&smooth);
        assert!((4.5..5.5).contains(&found), "{found}");
    }

    /// By hand: J = [[1, 1], [1, 1], [0, 1]], JᵀJ = [[2, 2], [2, 3]], inverse [[1.5, −1], [−1, 1]].
    #[test]
    fn covariance_is_the_inverse_of_the_products() {
        let product = DMatrix::from_row_slice(2, 2, &[2.0, 2.0, 2.0, 3.0]);
        let found = Certainty::of(std::slice::from_ref(&product), &[1.0]);
        assert!((found.covariance[(0, 0)] - 1.5).abs() < 1e-12);
        assert!((found.correlation(0, 1) + 1.0 / 1.5_f64.sqrt()).abs() < 1e-12);
        let longer = Certainty::of(&[product], &[4.0]);
        assert!((longer.error(1) - 2.0).abs() < 1e-12);
    }

    #[test]
    fn a_direction_without_news_is_named() {
        // The third does nothing; the first two enter as their sum only.
        let product = DMatrix::from_row_slice(3, 3, &[4.0, 2.0, 0.0, 2.0, 1.0, 0.0, 0.0, 0.0, 0.0]);
        let found = Certainty::of(&[product], &[1.0]);
        assert_eq!(found.singular.len(), 2);
        assert!((0..3).all(|i| found.is_undetermined(i)));
    }
}
