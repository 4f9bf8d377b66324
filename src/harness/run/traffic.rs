//! What went over the link of a run: counted beside the trace, never in it.

/// Buckets of an octave: a percentile is exact to within an eighth.
const PER_OCTAVE: u32 = 8;

/// Traffic of one run or of many.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Traffic {
    /// Ticks that were answered.
    pub ticks: u64,
    /// Requests that were sent once more because no answer came in time.
    pub repeats: u64,
    /// Frames that came damaged: wrong CRC, wrong coding, cut short or too long.
    pub damaged: u64,
    /// Whole frames that were not the awaited answer: late, doubled, of another tick.
    pub ignored: u64,
    /// Bytes to the board, frames included.
    pub bytes_out: u64,
    /// Bytes from the board, garbage included.
    pub bytes_in: u64,
    /// Times from a sample's first byte out to its answer.
    pub round_trips: RoundTrips,
}

impl Traffic {
    /// Adds other traffic to this.
    pub fn add(&mut self, other: &Traffic) {
        self.ticks += other.ticks;
        self.repeats += other.repeats;
        self.damaged += other.damaged;
        self.ignored += other.ignored;
        self.bytes_out += other.bytes_out;
        self.bytes_in += other.bytes_in;
        self.round_trips.merge(&other.round_trips);
    }
}

/// Round-trip times, counted in buckets an eighth of an octave wide.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RoundTrips {
    counts: Vec<u64>,
    max_us: u64,
    sum_us: u64,
}

impl RoundTrips {
    /// Counts one, µs.
    pub fn push(&mut self, us: u64) {
        let bucket = bucket_of(us);
        if self.counts.len() <= bucket {
            self.counts.resize(bucket + 1, 0);
        }
        self.counts[bucket] += 1;
        self.max_us = self.max_us.max(us);
        self.sum_us += us;
    }

    /// How many were counted.
    pub fn count(&self) -> u64 {
        self.counts.iter().sum()
    }

    /// The longest, µs; exact.
    pub fn max_us(&self) -> u64 {
        self.max_us
    }

    /// All of them together, µs; exact.
    pub fn sum_us(&self) -> u64 {
        self.sum_us
    }

    /// The time that `percent` of them do not exceed, µs, rounded up by at most an eighth; `None`
    /// if there are none.
    pub fn percentile_us(&self, percent: f64) -> Option<u64> {
        let count = self.count();
        if count == 0 {
            return None;
        }
        // At least one, at most all.
        let rank = ((count as f64 * percent / 100.0).ceil() as u64).clamp(1, count);
        let mut seen = 0;
        self.counts.iter().enumerate().find_map(|(bucket, number)| {
            seen += number;
            (seen >= rank).then(|| last_of(bucket).min(self.max_us))
        })
    }

    /// Doublings from the shortest to the longest: lower end (included), upper end (excluded), µs,
    /// and how many.
    pub fn octaves(&self) -> Vec<(u64, u64, u64)> {
        let mut found: Vec<(u64, u64, u64)> = Vec::new();
        for (bucket, number) in self.counts.iter().enumerate() {
            if *number == 0 && found.is_empty() {
                continue;
            }
            let from = first_of(bucket).max(1).ilog2();
            let (low, high) = (if from == 0 { 0 } else { 1 << from }, 2 << from);
            match found.last_mut() {
                Some(last) if last.0 == low => last.2 += number,
                _ => found.push((low, high, *number)),
            }
        }
        found
    }

    fn merge(&mut self, other: &RoundTrips) {
        if self.counts.len() < other.counts.len() {
            self.counts.resize(other.counts.len(), 0);
        }
        for (mine, theirs) in self.counts.iter_mut().zip(&other.counts) {
            *mine += theirs;
        }
        self.max_us = self.max_us.max(other.max_us);
        self.sum_us += other.sum_us;
    }
}

/// Below 8 µs each microsecond has its bucket, above each octave has 8.
fn bucket_of(us: u64) -> usize {
    let octave = us.max(1).ilog2();
    if octave < 3 {
        return us as usize;
    }
    let within = (us >> (octave - 3)) as u32 - PER_OCTAVE;
    ((octave - 2) * PER_OCTAVE + within) as usize
}

fn first_of(bucket: usize) -> u64 {
    let (octave, within) = (bucket as u64 / 8, bucket as u64 % 8);
    match octave {
        0 => within,
        _ => (8 + within) << (octave - 1),
    }
}

fn last_of(bucket: usize) -> u64 {
    first_of(bucket + 1) - 1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn buckets_join_without_gap_and_hold_what_is_put_in() {
        for bucket in 0..300 {
            assert_eq!(bucket_of(first_of(bucket)), bucket);
            assert_eq!(bucket_of(last_of(bucket)), bucket);
        }
    }

    #[test]
    fn percentiles_are_within_an_eighth_of_the_sorted_list() {
        let mut trips = RoundTrips::default();
        for us in 1..=1000 {
            trips.push(us);
        }
        for (percent, exact) in [(50.0, 500), (90.0, 900), (99.0, 990), (100.0, 1000)] {
            let found = trips.percentile_us(percent).unwrap();
            assert!(
                found >= exact && found * 8 <= exact * 9 + 8,
                "{percent}: {found}"
            );
        }
        assert_eq!(trips.count(), 1000);
        assert_eq!(trips.sum_us(), 500_500);
        let octaves = trips.octaves();
        assert_eq!(octaves.first(), Some(&(0, 2, 1)));
        assert_eq!(octaves.last(), Some(&(512, 1024, 489)));
        assert_eq!(octaves.iter().map(|(_, _, n)| n).sum::<u64>(), 1000);
        assert_eq!(RoundTrips::default().percentile_us(50.0), None);
    }

    #[test]
    fn adding_is_as_counting_together() {
        let (mut one, mut two, mut both) =
            (Traffic::default(), Traffic::default(), Traffic::default());
        for us in [3, 90, 250] {
            one.round_trips.push(us);
            both.round_trips.push(us);
        }
        two.round_trips.push(7000);
        both.round_trips.push(7000);
        (one.ticks, two.ticks, both.ticks) = (3, 1, 4);
        (one.repeats, both.repeats) = (2, 2);
        one.add(&two);
        assert_eq!(one, both);
    }
}
