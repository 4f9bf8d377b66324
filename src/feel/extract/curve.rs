//! The middle of a loop as five straight pieces: gradient, flank, free play, flank, gradient.

use super::line::{RunningSums, Sums, solve};

/// Where the pieces meet, `[negative, positive]` side, degrees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Corners {
    /// Where free play ends and the force begins to rise.
    pub feet: [f64; 2],
    /// Where the flank ends and the gradient begins.
    pub knees: [f64; 2],
    /// Whether there is a flank at all: without a preload the gradient begins at the foot.
    pub flank: [bool; 2],
}

/// Spring force against position, and friction, fitted to both branches at once.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ForceCurve {
    /// Where the pieces meet.
    pub corners: Corners,
    /// Force in the free play without friction, N: weight, mostly.
    pub level: f64,
    /// Height of the flank, `[negative, positive]`, N, both positive for a spring that pushes back.
    pub preload: [f64; 2],
    /// Slope of the gradient, N/deg.
    pub slope: [f64; 2],
    /// Half the height of the loop, N.
    pub friction: f64,
    /// Sum of the squared errors, N².
    pub error: f64,
    /// Readings it rests on.
    pub readings: f64,
}

/// The five pieces in the order of position, as the unknowns enter each: constant and slope in x.
type Basis = [[[f64; 2]; UNKNOWNS]; 5];

/// Level, preload and slope on the positive side, the same on the negative one, friction.
const UNKNOWNS: usize = 6;

impl ForceCurve {
    /// Least squares over the readings of both branches `[falling, rising]` from `window[0]` to
    /// `window[1]`.
    pub fn fit(branches: &[RunningSums; 2], window: [f64; 2], corners: Corners) -> Self {
        let edges = [
            window[0],
            corners.knees[0],
            corners.feet[0],
            corners.feet[1],
            corners.knees[1],
            window[1],
        ];
        let basis = basis(corners);
        let mut matrix = [[0.0; UNKNOWNS]; UNKNOWNS];
        let mut right = [0.0; UNKNOWNS];
        let (mut squares, mut readings) = (0.0, 0.0);
        for (branch, sign) in branches.iter().zip([-1.0, 1.0]) {
            for (piece, ends) in basis.iter().zip(edges.windows(2)) {
                let sums = branch.between(ends[0], ends[1].min(window[1]));
                if sums.n <= 0.0 {
                    continue;
                }
                let mut piece = *piece;
                piece[UNKNOWNS - 1] = [sign, 0.0];
                add(&mut matrix, &mut right, &piece, &sums);
                squares += sums.yy;
                readings += sums.n;
            }
        }
        let found = solve(matrix, right);
        let explained: f64 = found.iter().zip(right).map(|(x, b)| x * b).sum();
        Self {
            corners,
            level: found[0],
            preload: [found[3], found[1]],
            slope: [found[4], found[2]],
            friction: found[5],
            error: (squares - explained).max(0.0),
            readings,
        }
    }

    /// Force without friction at x, N.
    pub fn elastic(&self, x: f64) -> f64 {
        let values = [
            self.level,
            self.preload[1],
            self.slope[1],
            self.preload[0],
            self.slope[0],
            0.0,
        ];
        let corners = self.corners;
        let piece = [
            corners.knees[0],
            corners.feet[0],
            corners.feet[1],
            corners.knees[1],
        ]
        .iter()
        .filter(|edge| x >= **edge)
        .count();
        basis(corners)[piece]
            .iter()
            .zip(values)
            .map(|(part, value)| (part[0] + part[1] * x) * value)
            .sum()
    }

    /// Force of the hand at x, N.
    pub fn force(&self, x: f64, rising: bool) -> f64 {
        self.elastic(x)
            + if rising {
                self.friction
            } else {
                -self.friction
            }
    }

    /// Standard deviation of one reading about the curve, N.
    pub fn spread(&self) -> f64 {
        (self.error / (self.readings - 10.0).max(1.0)).sqrt()
    }

    /// Middle of the free play, degrees.
    pub fn middle(&self) -> f64 {
        0.5 * (self.corners.feet[0] + self.corners.feet[1])
    }

    /// Force on the outgoing branch at the end of the flank, `[negative, positive]`, N, both
    /// positive.
    pub fn breakout(&self) -> [f64; 2] {
        [
            self.preload[0] + self.friction - self.level,
            self.preload[1] + self.friction + self.level,
        ]
    }
}

fn basis(corners: Corners) -> Basis {
    let Corners { feet, knees, flank } = corners;
    let mut basis = [[[0.0; 2]; UNKNOWNS]; 5];
    for piece in &mut basis {
        piece[0] = [1.0, 0.0];
    }
    // Positive side: up the flank, then the whole preload and the gradient.
    if flank[1] {
        let rise = 1.0 / (knees[1] - feet[1]).max(1e-9);
        basis[3][1] = [-feet[1] * rise, rise];
        basis[4][1] = [1.0, 0.0];
    }
    basis[4][2] = [-knees[1], 1.0];
    // Negative side: the mirror image.
    if flank[0] {
        let rise = 1.0 / (feet[0] - knees[0]).max(1e-9);
        basis[1][3] = [-feet[0] * rise, rise];
        basis[0][3] = [-1.0, 0.0];
    }
    basis[0][4] = [-knees[0], 1.0];
    basis
}

/// Adds a piece's readings to the normal equations.
fn add(
    matrix: &mut [[f64; UNKNOWNS]; UNKNOWNS],
    right: &mut [f64; UNKNOWNS],
    piece: &[[f64; 2]; UNKNOWNS],
    sums: &Sums,
) {
    for (i, [a, b]) in piece.iter().enumerate() {
        if *a == 0.0 && *b == 0.0 {
            continue;
        }
        right[i] += a * sums.y + b * sums.xy;
        for (j, [c, d]) in piece.iter().enumerate() {
            matrix[i][j] += a * c * sums.n + (a * d + b * c) * sums.x + b * d * sums.xx;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::line::LinePoint;
    use super::*;

    /// Preload 2 and 3 N over 0.1 degree, play from -0.2 to 0.3, slopes 0.5 and 0.7 N/deg, friction
    /// 0.4, level 0.1.
    fn known(x: f64) -> f64 {
        if x < -0.3 {
            0.1 - 2.0 + 0.5 * (x + 0.3)
        } else if x < -0.2 {
            0.1 + 20.0 * (x + 0.2)
        } else if x < 0.3 {
            0.1
        } else if x < 0.4 {
            0.1 + 30.0 * (x - 0.3)
        } else {
            0.1 + 3.0 + 0.7 * (x - 0.4)
        }
    }

    #[test]
    fn the_unknowns_come_back_and_the_curve_is_the_closed_form() {
        let branches = [-0.4, 0.4].map(|friction| {
            let points: Vec<LinePoint> = (0..800)
                .map(|i| f64::from(i) * 0.01 - 4.0)
                .map(|x| LinePoint {
                    x,
                    y: known(x) + friction,
                    n: 1.0,
                })
                .collect();
            RunningSums::new(&points)
        });
        let corners = Corners {
            feet: [-0.2, 0.3],
            knees: [-0.3, 0.4],
            flank: [true; 2],
        };
        let curve = ForceCurve::fit(&branches, [-3.5, 3.5], corners);
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-6, "{a} {b}");
        near(curve.level, 0.1);
        near(curve.preload[0], 2.0);
        near(curve.preload[1], 3.0);
        near(curve.slope[0], 0.5);
        near(curve.slope[1], 0.7);
        near(curve.friction, 0.4);
        near(curve.breakout()[0], 2.3);
        near(curve.breakout()[1], 3.5);
        near(curve.middle(), 0.05);
        assert!(curve.spread() < 1e-4);
        for i in 0..100 {
            let x = f64::from(i) * 0.07 - 3.5;
            near(curve.elastic(x), known(x));
            near(curve.force(x, false), known(x) - 0.4);
        }
    }
}
