//! Parameters of the audit.

use super::align::Costs;

/// Parameters of the audit, each with its reason in `docs/method-audit.md`.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct AuditConfig {
    /// Costs of matching bouts with steps.
    pub costs: Costs,
    /// What the true excess of a length has to exceed, as a share of the tolerance, in the certainty of a finding:
    /// 1 for the whole tolerance, 0 for none.
    pub time_share: f64,
    /// The same for the pace.
    pub pace_share: f64,
    /// An excess of a length counts only beyond this many standard errors.
    pub time_errors: f64,
    /// An excess of a length that is beyond its tolerance by more than this many standard errors, and does not count, leaves open whether
    /// it was too much.
    pub open_time_errors: f64,
    /// Least standard error of a measured length, s.
    pub least_error_s: f64,
    /// Least tolerance for the running time of the whole session, as a fraction.
    pub running_total_fraction: f64,
    /// Tolerance for the length of the whole session, s.
    pub session_s: f64,
    /// Standard error of a distance that may be too short, as a fraction. Eight watches were off by 3.2 to 6.1 % in the mean (Gilgen-Ammann et
    /// al. 2020, JMIR mHealth 8(6):e17118); an error that is normal and 4.65 % in the mean has a standard deviation of √(π/2) times that.
    pub distance_error: f64,
    /// Standard error of a distance or speed that may be too great, as a fraction: those watches read too low in the mean but one, which was off
    /// by 3.2 %.
    pub reads_high_error: f64,
    /// Share by which a recorder reads too low in the mean: halfway between the least and the greatest systematic error of those watches.
    pub reads_low: f64,
    /// What chance adds to the distance of a single step, m for one of 1 m; it grows with the root. Chosen on the simulator
    /// (`docs/method-audit.md`).
    pub distance_chance_m: f64,
    /// With more than this share of the session unknown the audit is undecided.
    pub unknown_share: f64,
    /// With a mean certainty of the bouts below this the audit is undecided.
    pub mean_certainty: f64,
    /// What is left out at the beginning of a bout for pace, s: the recorder's lag, 6.5 s in the median of real files, and half of
    /// the change of speed, 10 s.
    pub pace_lead_s: f64,
    /// What is left out at its end, s.
    pub pace_trail_s: f64,
    /// Length of a rolling window for pace, s.
    pub pace_window_s: f64,
    /// Length over which speed is averaged for the time above the ceiling, s.
    pub pace_smoothing_s: f64,
    /// A whole run counts as too fast beyond this many standard errors.
    pub pace_run_errors: f64,
    /// A rolling window counts as too fast beyond this many standard errors: there are many of them.
    pub pace_window_errors: f64,
    /// Heart rate counts as above its ceiling beyond this, beats a minute.
    pub heart_margin_bpm: f64,
    /// It has to stay there for this long, s.
    pub heart_sustained_s: f64,
    /// Standard error of a mean heart rate, beats a minute: at the wrist sensors are off by up to 3 in the mean (Sartor et al. 2018, BMC Sports Sci
    /// Med Rehabil 10:10), √(π/2) times that.
    pub heart_error_bpm: f64,
    /// Without a cadence floor a walk is brisk down to this much below the usual running cadence, steps a minute.
    pub brisk_below_run_spm: f64,
    /// A cadence counts as below the floor beyond this, steps a minute.
    pub cadence_margin_spm: f64,
    /// Standard error of a mean cadence, steps a minute.
    pub cadence_error_spm: f64,
    /// Length over which the slope is taken, m.
    pub slope_window_m: f64,
    /// With a standard error of the slope above this the altitude is too coarse.
    pub slope_error: f64,
}

impl Default for AuditConfig {
    fn default() -> Self {
        Self {
            costs: Costs::default(),
            time_share: 1.0,
            pace_share: 0.0,
            time_errors: 3.0,
            open_time_errors: 0.8,
            least_error_s: 0.5,
            running_total_fraction: 0.05,
            session_s: 30.0,
            distance_error: 0.06,
            reads_high_error: 0.04,
            reads_low: 0.028,
            distance_chance_m: 0.8,
            unknown_share: 0.2,
            mean_certainty: 0.75,
            pace_lead_s: 11.5,
            pace_trail_s: 3.0,
            pace_window_s: 30.0,
            pace_smoothing_s: 20.0,
            pace_run_errors: 1.5,
            pace_window_errors: 3.0,
            heart_margin_bpm: 2.0,
            heart_sustained_s: 15.0,
            heart_error_bpm: 3.8,
            brisk_below_run_spm: 40.0,
            cadence_margin_spm: 2.0,
            cadence_error_spm: 1.2,
            slope_window_m: 100.0,
            slope_error: 0.02,
        }
    }
}
