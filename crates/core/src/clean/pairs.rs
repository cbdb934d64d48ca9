//! Sums over two columns at once.

/// Sums of what `of` makes of each pair of values, to the end of the shorter column. Four sums are kept side by side, for the
/// processor to add at once.
pub(crate) fn sums_over_pairs<T: Copy, const K: usize>(
    a: &[T],
    b: &[T],
    of: impl Fn(T, T) -> [f64; K],
) -> [f64; K] {
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

/// A column with NaN where a value is missing.
pub(crate) fn or_nan(column: &[Option<f64>], counts: impl Fn(f64) -> bool) -> Vec<f64> {
    column.iter().map(|value| value.filter(|&value| counts(value)).unwrap_or(f64::NAN)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pair_counts_once() {
        let a: Vec<f64> = (1..=11).map(f64::from).collect();
        for length in 0..11_usize {
            let [n, sum] = sums_over_pairs(&a, &a[..length], |a, b| [1.0, a * b]);
            let expected: f64 = a[..length].iter().map(|a| a * a).sum();
            assert_eq!((n, sum), (length as f64, expected));
        }
    }
}
