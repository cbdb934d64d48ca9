//! Statistics that several stages need, each defined once.

/// A standard deviation is this many median absolute deviations, for a normal error.
pub const SD_PER_MAD: f64 = 1.4826;

/// The quantile of sorted values: linear between order statistics, the least at 0 and the greatest at 1 (definition 7 of
/// Hyndman & Fan 1996, The American Statistician 50:361–365); `None` of no values.
pub fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    quantile_of(sorted.len(), share, |place| sorted[place])
}

/// The same of so many values, of which `at` gives the one in that place of their order: first the lower place, then the higher.
pub fn quantile_of(count: usize, share: f64, mut at: impl FnMut(usize) -> f64) -> Option<f64> {
    let place = count.checked_sub(1)? as f64 * share;
    let (low, high) = (at(place.floor() as usize), at(place.ceil() as usize));
    Some(low + (place - place.floor()) * (high - low))
}

/// The value nearest to the quantile of values in any order, which are reordered; of two equally near ones the greater. `None`
/// of no values.
pub fn nearest_quantile(values: &mut [f64], share: f64) -> Option<f64> {
    let at = (values.len().checked_sub(1)? as f64 * share).round() as usize;
    Some(*values.select_nth_unstable_by(at, f64::total_cmp).1)
}

/// The median of values in any order, which are reordered; of two middle ones the greater. `None` of no values.
pub fn median(values: &mut [f64]) -> Option<f64> {
    nearest_quantile(values, 0.5)
}

/// Mean of the values that are known, if they are at least `least` and one.
pub fn mean_of_known(values: &[Option<f64>], least: u32) -> Option<f64> {
    let (sum, n) = values.iter().flatten().fold((0.0, 0_u32), |(sum, n), value| (sum + value, n + 1));
    (n >= least.max(1)).then(|| sum / f64::from(n))
}

/// Where the parabola through the values at −1, 0 and 1 has its vertex; 0 when the three lie on a line. The value at 0 is the
/// greatest or the least of the three.
pub fn vertex(left: f64, middle: f64, right: f64) -> f64 {
    let bend = left - 2.0 * middle + right;
    if bend == 0.0 { 0.0 } else { 0.5 * (left - right) / bend }
}

/// Sums of what `of` makes of each pair of values, to the end of the shorter column. Four sums are kept side by side, for the
/// processor to add at once.
pub fn sums_over_pairs<T: Copy, const K: usize>(a: &[T], b: &[T], of: impl Fn(T, T) -> [f64; K]) -> [f64; K] {
    let both = a.len().min(b.len());
    let ((a, a_rest), (b, b_rest)) = (a[..both].as_chunks::<4>(), b[..both].as_chunks::<4>());
    let mut sums = [[0.0; 4]; K];
    for (a, b) in a.iter().zip(b) {
        let parts: [[f64; K]; 4] = std::array::from_fn(|lane| of(a[lane], b[lane]));
        for (k, sum) in sums.iter_mut().enumerate() {
            (0..4).for_each(|lane| sum[lane] += parts[lane][k]);
        }
    }
    for (&a, &b) in a_rest.iter().zip(b_rest) {
        sums.iter_mut().zip(of(a, b)).for_each(|(sum, part)| sum[0] += part);
    }
    sums.map(|sum| sum.iter().sum())
}

/// A column with NaN where a value is missing or does not count.
pub fn or_nan(column: &[Option<f64>], counts: impl Fn(f64) -> bool) -> Vec<f64> {
    column.iter().map(|value| value.filter(|&value| counts(value)).unwrap_or(f64::NAN)).collect()
}

/// Sums for the least-squares lines of `K` columns over one x, to which points are added and from which they are taken again, so
/// that a window of them can move on.
#[derive(Clone, Copy, Debug)]
pub struct LeastSquares<const K: usize> {
    n: f64,
    x: f64,
    xx: f64,
    y: [f64; K],
    xy: [f64; K],
}

impl<const K: usize> Default for LeastSquares<K> {
    fn default() -> Self {
        Self { n: 0.0, x: 0.0, xx: 0.0, y: [0.0; K], xy: [0.0; K] }
    }
}

impl<const K: usize> LeastSquares<K> {
    /// Adds a point with weight 1, or takes it out with weight −1.
    pub fn add(&mut self, weight: f64, x: f64, y: [f64; K]) {
        self.n += weight;
        self.x += weight * x;
        self.xx += weight * x * x;
        for k in 0..K {
            self.y[k] += weight * y[k];
            self.xy[k] += weight * x * y[k];
        }
    }

    /// Number of points.
    pub fn n(&self) -> f64 {
        self.n
    }

    /// The lines' slopes; `None` where n² times the variance of x is not above `least_spread`.
    pub fn slopes(&self, least_spread: f64) -> Option<[f64; K]> {
        let spread = self.n * self.xx - self.x * self.x;
        (spread > least_spread)
            .then(|| std::array::from_fn(|k| (self.n * self.xy[k] - self.x * self.y[k]) / spread))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_of_five_and_of_none() {
        let sorted = [1.0, 2.0, 4.0, 8.0, 16.0];
        assert_eq!((quantile(&sorted, 0.5), quantile(&sorted, 0.9)), (Some(4.0), Some(12.8)));
        let mut mixed = [8.0, 1.0, 16.0, 4.0, 2.0];
        assert_eq!((median(&mut mixed), nearest_quantile(&mut mixed, 0.9)), (Some(4.0), Some(16.0)));
        assert_eq!(median(&mut [3.0, 1.0]), Some(3.0));
        assert_eq!((quantile(&[], 0.5), median(&mut [])), (None, None));
    }

    #[test]
    fn means_leave_out_what_is_missing() {
        let values = [Some(1.0), None, Some(4.0)];
        assert_eq!((mean_of_known(&values, 0), mean_of_known(&values, 3)), (Some(2.5), None));
        assert_eq!(mean_of_known(&[None], 0), None);
    }

    #[test]
    fn the_vertex_of_a_parabola_is_found() {
        let at = |x: f64| 3.0 - 2.0 * (x - 0.25) * (x - 0.25);
        assert_eq!(vertex(at(-1.0), at(0.0), at(1.0)), 0.25);
        assert_eq!(vertex(1.0, 1.0, 1.0), 0.0);
    }

    #[test]
    fn every_pair_counts_once() {
        let a: Vec<f64> = (1..=11).map(f64::from).collect();
        // Sums of the first squares: n (n + 1) (2 n + 1) / 6.
        for (length, expected) in
            [0.0, 1.0, 5.0, 14.0, 30.0, 55.0, 91.0, 140.0, 204.0, 285.0, 385.0].iter().enumerate()
        {
            let [n, sum] = sums_over_pairs(&a, &a[..length], |a, b| [1.0, a * b]);
            assert_eq!((n, sum), (length as f64, *expected));
        }
    }

    #[test]
    fn lines_are_those_of_the_points_that_are_left() {
        let mut sums = LeastSquares::<2>::default();
        sums.add(1.0, 5.0, [100.0, -70.0]);
        for x in [1.0, 2.0, 4.0] {
            sums.add(1.0, x, [3.0 + 0.5 * x, 1.0 - 2.0 * x]);
        }
        sums.add(-1.0, 5.0, [100.0, -70.0]);
        assert_eq!(sums.slopes(1e-9), Some([0.5, -2.0]));
        assert_eq!(LeastSquares::<1>::default().slopes(1e-9), None);
    }
}
