//! Published equations of the cost of moving, each defined once.

/// The equations were fitted for slopes up to this, up and down, rise over run.
pub const STEEPEST_SLOPE: f64 = 0.45;

/// Coefficients of the cost of running, J a kg a m, from the fifth power of the slope down to the cost on the level.
const RUNNING_COST: [f64; 6] = [155.4, -30.4, -43.3, 46.3, 19.5, 3.6];
/// The same of walking.
const WALKING_COST: [f64; 6] = [280.5, -58.7, -76.8, 51.9, 19.6, 2.5];

/// By how much [`running_cost_ratio`] rises on the level for each unit of slope.
pub const RUNNING_RATIO_PER_SLOPE: f64 = RUNNING_COST[4] / RUNNING_COST[5];

/// Gives the cost of running on a slope, J a kg a m. `slope` is rise over run; beyond ±0.45 it counts as ±0.45.
///
/// Minetti, Moia, Roi, Susta, Ferretti 2002, J Appl Physiol 93:1039–46, doi 10.1152/japplphysiol.01177.2001.
///
/// ```
/// use jogaudit_recording::physiology::running_cost;
/// assert_eq!(running_cost(0.0), 3.6);
/// ```
pub fn running_cost(slope: f64) -> f64 {
    polynomial(RUNNING_COST, slope)
}

/// Gives the cost of walking on a slope, J a kg a m; as [`running_cost`].
pub fn walking_cost(slope: f64) -> f64 {
    polynomial(WALKING_COST, slope)
}

/// Gives how many times as much running on a slope costs as running on the level.
pub fn running_cost_ratio(slope: f64) -> f64 {
    running_cost(slope) / running_cost(0.0)
}

/// Gives how many times as much walking on a slope costs as walking on the level.
pub fn walking_cost_ratio(slope: f64) -> f64 {
    walking_cost(slope) / walking_cost(0.0)
}

fn polynomial(coefficients: [f64; 6], slope: f64) -> f64 {
    let i = slope.clamp(-STEEPEST_SLOPE, STEEPEST_SLOPE);
    coefficients.iter().fold(0.0, |sum, c| sum * i + c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn costs_agree_with_the_published_polynomials_table() {
        // Minetti et al. 2002, their polynomials evaluated to four places: slope, walking, running, running ratio.
        let table = [
            (-0.45, 3.6051, 4.0323, 1.1201),
            (-0.40, 3.5042, 3.6097, 1.0027),
            (-0.35, 2.9364, 3.0309, 0.8419),
            (-0.30, 2.2075, 2.4622, 0.6840),
            (-0.20, 1.0867, 1.8000, 0.5000),
            (-0.10, 1.1271, 2.1517, 0.5977),
            (-0.05, 1.6589, 2.7459, 0.7628),
            (-0.02, 2.1294, 3.2289, 0.8969),
            (0.0, 2.5000, 3.6000, 1.0),
            (0.02, 2.9121, 4.0082, 1.1134),
            (0.05, 3.5999, 4.6852, 1.3014),
            (0.10, 4.8991, 5.9682, 1.6578),
            (0.15, 6.3401, 7.4170, 2.0603),
            (0.20, 7.8774, 9.0067, 2.5019),
            (0.30, 11.1835, 12.5793, 3.4942),
            (0.45, 17.6003, 19.4260, 5.3961),
        ];
        for (slope, walk, run, ratio) in table {
            assert!((walking_cost(slope) - walk).abs() < 6e-5, "walking at {slope}");
            assert!((running_cost(slope) - run).abs() < 6e-5, "running at {slope}");
            assert!((running_cost_ratio(slope) - ratio).abs() < 6e-5, "ratio at {slope}");
        }
        // Measured in the paper (abstract): the fit stays within one standard deviation of the runners at the ends.
        assert!((running_cost(0.45) - 18.93).abs() < 1.74 && (running_cost(-0.45) - 3.92).abs() < 0.81);
        assert!((walking_cost(0.45) - 17.33).abs() < 1.11 && (walking_cost(-0.45) - 3.46).abs() < 0.95);
    }

    #[test]
    fn the_rise_of_the_ratio_on_the_level_is_its_slope() {
        let rise = (running_cost_ratio(1e-6) - running_cost_ratio(-1e-6)) / 2e-6;
        assert!((rise - RUNNING_RATIO_PER_SLOPE).abs() < 1e-6, "{rise}");
    }

    #[test]
    fn steeper_than_the_fit_counts_as_its_end() {
        assert_eq!(running_cost(0.9), running_cost(0.45));
        assert_eq!(walking_cost(-2.0), walking_cost(-0.45));
    }
}
