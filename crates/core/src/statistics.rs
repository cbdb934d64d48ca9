//! Statistics that several stages need, each defined once.

/// The quantile of sorted values: linear between order statistics, the least at 0 and the greatest at 1 (definition 7 of
/// Hyndman & Fan 1996, The American Statistician 50:361–365); `None` of no values.
pub fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let at = sorted.len().checked_sub(1)? as f64 * share;
    let (low, high) = (sorted[at.floor() as usize], sorted[at.ceil() as usize]);
    Some(low + (at - at.floor()) * (high - low))
}
