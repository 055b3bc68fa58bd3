//! A bounded sample of frames, from which medians and ranges are taken.

/// What one frame adds to the statistics of a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Row {
    pub(super) rpm: f32,
    /// Half the width of the frame's 95 % interval, in rpm.
    pub(super) half_width: f32,
    /// Share of revolutions without a full firing; NaN where it was not judged.
    pub(super) skip: f32,
    pub(super) confidence: f32,
    /// Second base that fits as well, in rpm; NaN where there is none.
    pub(super) other: f32,
    pub(super) weight: f32,
}

/// Rows of a stretch in order of time, thinned evenly as they become too many.
#[derive(Clone, Debug, Default)]
pub(super) struct Sample {
    rows: Vec<Row>,
    /// One row is kept for this many; 0 and 1 mean all.
    every: u32,
    since: u32,
}

impl Sample {
    /// Rows kept at most: the median of this many is as good as that of all.
    const KEPT: usize = 512;

    pub(super) fn push(&mut self, row: Row) {
        match self.rows.last_mut() {
            Some(last) if self.since + 1 < self.every => {
                last.weight += row.weight;
                self.since += 1;
            }
            _ => {
                self.rows.push(row);
                self.since = 0;
                if self.thin() {
                    self.every = self.every.max(1).saturating_mul(2);
                }
            }
        }
    }

    pub(super) fn merge(&mut self, other: &Sample) {
        self.rows.extend_from_slice(&other.rows);
        self.every = self.every.max(other.every);
        self.since = 0;
        self.thin();
    }

    /// Halves the rows until they fit; each that stays carries the weight of its neighbour.
    fn thin(&mut self) -> bool {
        let thinned = self.rows.len() > Self::KEPT;
        while self.rows.len() > Self::KEPT {
            self.rows = self
                .rows
                .chunks(2)
                .map(|pair| Row {
                    weight: pair.iter().map(|row| row.weight).sum(),
                    ..pair[0]
                })
                .collect();
        }
        thinned
    }

    /// Quantile `q` (0 to 1) of what `value` takes from each row, by the rows' weights; rows
    /// without a value do not count.
    pub(super) fn quantile(&self, q: f64, value: impl Fn(&Row) -> f32) -> Option<f64> {
        let weighed = self
            .rows
            .iter()
            .map(|row| (f64::from(value(row)), f64::from(row.weight)));
        weighted_quantile(weighed.filter(|(v, _)| v.is_finite()).collect(), q)
    }

    pub(super) fn median_rpm(&self) -> Option<f64> {
        self.quantile(0.5, |row| row.rpm)
    }

    /// Median confidence in which doubtful frames count in full.
    pub(super) fn confidence(&self) -> f64 {
        let values = self
            .rows
            .iter()
            .map(|row| (f64::from(row.confidence), 1.0))
            .collect();
        weighted_quantile(values, 0.5).unwrap_or(0.0)
    }
}

/// Quantile of weighted values: the first at which the sum of the weights passes `q` of the whole,
/// half-way to the next where it meets it exactly.
fn weighted_quantile(mut values: Vec<(f64, f64)>, q: f64) -> Option<f64> {
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = values.iter().map(|(_, w)| w).sum();
    let wanted = q * total;
    let mut sum = 0.0;
    let mut met = None;
    for &(value, weight) in &values {
        if let Some(met) = met {
            return Some(f64::midpoint(met, value));
        }
        sum += weight;
        if (sum - wanted).abs() <= 1e-9 * total && total > 0.0 {
            met = Some(value);
        } else if sum > wanted {
            return Some(value);
        }
    }
    values.last().map(|(value, _)| *value)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(rpm: f32, weight: f32) -> Row {
        Row {
            rpm,
            half_width: 1.0,
            skip: f32::NAN,
            confidence: 1.0,
            other: f32::NAN,
            weight,
        }
    }

    #[test]
    fn the_median_of_an_even_count_lies_between_the_middle_two() {
        let mut sample = Sample::default();
        for rpm in [40.0, 10.0, 30.0, 20.0] {
            sample.push(row(rpm, 1.0));
        }
        assert_eq!(sample.median_rpm(), Some(25.0));
        assert_eq!(sample.quantile(0.5, |r| r.skip), None);
    }

    #[test]
    fn a_heavy_row_outweighs_many_light_ones() {
        let mut sample = Sample::default();
        sample.push(row(3_000.0, 1.0));
        for _ in 0..8 {
            sample.push(row(6_000.0, 0.05));
        }
        assert_eq!(sample.median_rpm(), Some(3_000.0));
    }

    #[test]
    fn thinning_keeps_the_quantiles_of_a_ramp() {
        let mut sample = Sample::default();
        for i in 0..100_000 {
            sample.push(row(i as f32, 1.0));
        }
        assert!(sample.rows.len() <= Sample::KEPT);
        // A kept row stands for at most `every` ones, so that is how far a quantile can be off.
        let step = f64::from(sample.every);
        for q in [0.16, 0.5, 0.84] {
            let value = sample.quantile(q, |r| r.rpm).unwrap();
            assert!((value - q * 100_000.0).abs() <= step, "{q}: {value}");
        }
    }
}
