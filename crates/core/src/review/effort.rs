//! Effort over a week: session load, monotony and strain.

/// Effort of a week. What the diary leaves open is `None`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct WeekEffort {
    /// Sum of the daily loads.
    pub load: Option<f64>,
    /// Mean daily load over its standard deviation (n − 1). `None` where no day differs from another.
    pub monotony: Option<f64>,
    /// Load times monotony.
    pub strain: Option<f64>,
}

/// Load of a session: effort (0 to 10) times minutes (Foster et al. 2001, J Strength Cond Res 15:109-15).
pub fn session_load(effort: f64, session_s: f64) -> f64 {
    effort * session_s / 60.0
}

/// Load, monotony and strain of the seven days of a week, a day of rest being 0 (Foster 1998, Med Sci Sports Exerc
/// 30:1164-8). The paper does not say which standard deviation; this one divides by n − 1.
pub fn week_effort(daily_loads: &[f64; 7]) -> WeekEffort {
    let days = daily_loads.len() as f64;
    let load: f64 = daily_loads.iter().sum();
    let mean = load / days;
    let variance = daily_loads.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (days - 1.0);
    let monotony = (variance > 0.0).then(|| mean / variance.sqrt());
    WeekEffort { load: Some(load), monotony, strain: monotony.map(|m| m * load) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn session_loads_of_the_paper() {
        // Foster et al. 2001: 7 × 60 = 420; arithmetic: 7 × 75 = 525, 3 × 30 = 90.
        for (effort, minutes, load) in [(7.0, 60.0, 420.0), (7.0, 75.0, 525.0), (3.0, 30.0, 90.0)] {
            assert_eq!(session_load(effort, minutes * 60.0), load);
        }
    }

    #[test]
    fn weeks_computed_by_the_published_formula() {
        // Computed outside from the definition in Foster 1998 with n − 1: sum, monotony, strain.
        let weeks = [
            ([210.0, 420.0, 0.0, 315.0, 180.0, 480.0, 0.0], 1605.0, 1.2126, 1946.22),
            ([60.0, 0.0, 90.0, 0.0, 75.0, 0.0, 0.0], 225.0, 0.7837, 176.33),
            ([0.0, 120.0, 0.0, 150.0, 0.0, 140.0, 0.0], 410.0, 0.7960, 326.36),
            ([180.0, 240.0, 240.0, 280.0, 270.0, 300.0, 280.0], 1790.0, 6.4024, 11460.28),
        ];
        for (loads, sum, monotony, strain) in weeks {
            let effort = week_effort(&loads);
            assert_eq!(effort.load, Some(sum));
            assert!((effort.monotony.unwrap() - monotony).abs() < 5e-5, "{effort:?}");
            assert!((effort.strain.unwrap() - strain).abs() < 5e-3, "{effort:?}");
        }
    }

    #[test]
    fn a_week_without_difference_has_no_monotony() {
        assert_eq!(week_effort(&[0.0; 7]), WeekEffort { load: Some(0.0), monotony: None, strain: None });
    }
}
