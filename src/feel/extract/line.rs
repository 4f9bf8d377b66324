//! Straight lines through readings: sums that add up, least squares, medians.

/// One reading, or the mean of several neighbouring ones.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct LinePoint {
    /// Position, degrees; or time, s.
    pub x: f64,
    /// Force, N; or position, degrees.
    pub y: f64,
    /// How many readings it stands for.
    pub n: f64,
}

/// A straight line.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct FittedLine {
    /// Rise per unit of x.
    pub slope: f64,
    /// Value at x = 0.
    pub offset: f64,
}

impl FittedLine {
    /// Value at x.
    pub fn at(self, x: f64) -> f64 {
        self.offset + self.slope * x
    }
}

/// Sums over readings from which lines and squared errors follow.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Sums {
    pub n: f64,
    pub x: f64,
    pub y: f64,
    pub xx: f64,
    pub xy: f64,
    pub yy: f64,
}

impl Sums {
    /// The sums with one more point.
    pub fn and(self, point: LinePoint) -> Self {
        let LinePoint { x, y, n } = point;
        Self {
            n: self.n + n,
            x: self.x + n * x,
            y: self.y + n * y,
            xx: self.xx + n * x * x,
            xy: self.xy + n * x * y,
            yy: self.yy + n * y * y,
        }
    }

    /// The sums of what is in these and not in `other`.
    pub fn less(self, other: Self) -> Self {
        Self {
            n: self.n - other.n,
            x: self.x - other.x,
            y: self.y - other.y,
            xx: self.xx - other.xx,
            xy: self.xy - other.xy,
            yy: self.yy - other.yy,
        }
    }

    /// Spread of x about its mean, and of x with y.
    pub fn central(self) -> (f64, f64) {
        if self.n <= 0.0 {
            return (0.0, 0.0);
        }
        (
            (self.xx - self.x * self.x / self.n).max(0.0),
            self.xy - self.x * self.y / self.n,
        )
    }

    /// Least-squares line; none where all points stand at one x.
    pub fn line(self) -> Option<FittedLine> {
        let (xx, xy) = self.central();
        if self.n < 2.0 || xx <= 1e-12 * self.xx.max(1e-12) {
            return None;
        }
        let slope = xy / xx;
        Some(FittedLine {
            slope,
            offset: (self.y - slope * self.x) / self.n,
        })
    }

    /// Squared error about the mean.
    pub fn about_mean(self) -> f64 {
        if self.n <= 0.0 {
            return 0.0;
        }
        (self.yy - self.y * self.y / self.n).max(0.0)
    }

    /// Squared error about the least-squares line.
    pub fn about_line(self) -> f64 {
        let (xx, xy) = self.central();
        let flat = self.about_mean();
        if xx <= 1e-12 * self.xx.max(1e-12) {
            return flat;
        }
        (flat - xy * xy / xx).max(0.0)
    }
}

/// Running sums over points sorted by x: the sums of any stretch at the cost of two look-ups.
#[derive(Clone, Debug, Default)]
pub(super) struct RunningSums {
    xs: Vec<f64>,
    sums: Vec<Sums>,
}

impl RunningSums {
    /// Sums up; the points must be sorted by x.
    pub fn new(points: &[LinePoint]) -> Self {
        let mut sums = Vec::with_capacity(points.len() + 1);
        let mut total = Sums::default();
        sums.push(total);
        for point in points {
            total = total.and(*point);
            sums.push(total);
        }
        Self {
            xs: points.iter().map(|point| point.x).collect(),
            sums,
        }
    }

    /// How many points stand below x.
    pub fn below(&self, x: f64) -> usize {
        self.xs.partition_point(|at| *at < x)
    }

    /// Sums of the points with these indices, the last excluded.
    pub fn stretch(&self, from: usize, to: usize) -> Sums {
        if to <= from {
            return Sums::default();
        }
        self.sums[to].less(self.sums[from])
    }

    /// Sums of the points from `low` up to, not including, `high`.
    pub fn between(&self, low: f64, high: f64) -> Sums {
        self.stretch(self.below(low), self.below(high))
    }
}

/// Points sorted by x that stand from `low` up to, not including, `high`.
pub(super) fn within(points: &[LinePoint], low: f64, high: f64) -> &[LinePoint] {
    let from = points.partition_point(|point| point.x < low);
    let to = points.partition_point(|point| point.x < high);
    &points[from..to.max(from)]
}

/// Least-squares line after three rounds in which what lies more than 4 standard deviations off is
/// left out; with the standard deviation of one reading about it.
pub(super) fn robust_line(points: &[LinePoint]) -> Option<(FittedLine, f64)> {
    let sum = |keep: &dyn Fn(&LinePoint) -> bool| {
        points
            .iter()
            .filter(|point| keep(point))
            .fold(Sums::default(), |sums, point| sums.and(*point))
    };
    let mut line = sum(&|_| true).line()?;
    let mut spread = 0.0;
    for _ in 0..3 {
        let mut off: Vec<f64> = points
            .iter()
            .map(|point| (point.y - line.at(point.x)).abs())
            .collect();
        spread = DEVIATION * median(&mut off)?;
        let limit = 4.0 * spread + 1e-9;
        line = sum(&|point| (point.y - line.at(point.x)).abs() <= limit)
            .line()
            .unwrap_or(line);
    }
    Some((line, spread))
}

/// Standard deviation of a normal distribution over its median absolute deviation.
pub(super) const DEVIATION: f64 = 1.4826;

/// Median; none of nothing. Sorts in part.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let middle = values.len() / 2;
    let even = values.len().is_multiple_of(2);
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let upper = *upper;
    if !even {
        return Some(upper);
    }
    let lower = below.iter().copied().max_by(f64::total_cmp)?;
    Some(0.5 * (lower + upper))
}

/// Standard deviation of the noise on y, from how far each of `count` readings `(x, y)` lies off
/// the cubic through its two neighbours on either side; 0 for less than 5 readings. What is smooth
/// over five readings does not count.
pub(crate) fn noise(count: usize, reading: impl Fn(usize) -> (f64, f64)) -> f64 {
    // Five million readings show it no better than a hundred thousand.
    let stride = (count / 100_000).max(1);
    let mut off = Vec::new();
    let mut at = 2;
    while at + 2 < count {
        let (x, y) = reading(at);
        let others = [at - 2, at - 1, at + 1, at + 2].map(&reading);
        let (mut value, mut weight) = (0.0, 1.0);
        for (i, (one, height)) in others.iter().enumerate() {
            let mut share = 1.0;
            for (j, (other, _)) in others.iter().enumerate() {
                if i != j {
                    share *= (x - other) / (one - other);
                }
            }
            value += share * height;
            weight += share * share;
        }
        let one = (y - value) / weight.sqrt();
        if one.is_finite() {
            off.push(one.abs());
        }
        at += stride;
    }
    DEVIATION * median(&mut off).unwrap_or(0.0)
}

/// Solves a small symmetric set of equations, leaving out unknowns whose pivot is nothing (they
/// become 0).
pub(super) fn solve<const N: usize>(mut m: [[f64; N]; N], mut b: [f64; N]) -> [f64; N] {
    let size: [f64; N] = std::array::from_fn(|i| m[i][i]);
    for i in 0..N {
        let pivot = m[i][i];
        if pivot <= 1e-12 * size[i] || pivot <= 0.0 {
            m[i] = [0.0; N];
            for row in &mut m {
                row[i] = 0.0;
            }
            m[i][i] = 1.0;
            b[i] = 0.0;
            continue;
        }
        let (row, value) = (m[i], b[i]);
        for (other, right) in m.iter_mut().zip(&mut b).skip(i + 1) {
            let share = other[i] / pivot;
            if share != 0.0 {
                for (entry, above) in other.iter_mut().zip(row).skip(i) {
                    *entry -= share * above;
                }
                *right -= share * value;
            }
        }
    }
    for i in (0..N).rev() {
        for j in i + 1..N {
            b[i] -= m[i][j] * b[j];
        }
        b[i] /= m[i][i];
    }
    b
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(x: f64, y: f64) -> LinePoint {
        LinePoint { x, y, n: 1.0 }
    }

    #[test]
    fn a_line_is_found_through_an_outlier() {
        let mut points: Vec<LinePoint> = (0..40)
            .map(|i| point(f64::from(i), 3.0 - 0.5 * f64::from(i)))
            .collect();
        points[17].y += 30.0;
        let (line, _) = robust_line(&points).unwrap();
        assert!((line.slope + 0.5).abs() < 1e-9 && (line.offset - 3.0).abs() < 1e-9);
    }

    #[test]
    fn running_sums_are_the_sums_of_the_stretch() {
        let points: Vec<LinePoint> = (0..50)
            .map(|i| point(f64::from(i) * 0.3, f64::from(i * i % 7)))
            .collect();
        let running = RunningSums::new(&points);
        let sums = running.between(2.0, 9.0);
        let direct = within(&points, 2.0, 9.0)
            .iter()
            .fold(Sums::default(), |sums, point| sums.and(*point));
        assert!((sums.n - direct.n).abs() < 1e-9 && (sums.xy - direct.xy).abs() < 1e-9);
        assert!((sums.about_line() - direct.about_line()).abs() < 1e-9);
    }

    #[test]
    fn medians() {
        assert_eq!(median(&mut []), None);
        assert_eq!(median(&mut [3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&mut [4.0, 1.0, 2.0, 3.0]), Some(2.5));
    }

    #[test]
    fn noise_is_not_what_is_smooth() {
        let xs: Vec<f64> = (0..400).map(|i| f64::from(i) * 0.01).collect();
        let smooth: Vec<f64> = xs.iter().map(|x| libm::sin(6.0 * x)).collect();
        assert!(noise(400, |i| (xs[i], smooth[i])) < 1e-4);
        let rough: Vec<f64> = smooth
            .iter()
            .enumerate()
            .map(|(i, y)| y + if (i / 2) % 2 == 0 { 0.1 } else { -0.1 })
            .collect();
        let found = noise(400, |i| (xs[i], rough[i]));
        assert!((0.05..0.2).contains(&found), "{found}");
    }

    #[test]
    fn equations_are_solved_and_idle_unknowns_are_nothing() {
        let m = [[4.0, 1.0, 0.0], [1.0, 3.0, 0.0], [0.0, 0.0, 0.0]];
        let x = solve(m, [6.0, 7.0, 0.0]);
        assert!((x[0] - 1.0).abs() < 1e-12 && (x[1] - 2.0).abs() < 1e-12 && x[2] == 0.0);
    }
}
