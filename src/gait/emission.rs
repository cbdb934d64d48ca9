//! How likely a speed and a cadence are in each level. A level is one way of moving that a recording shows (its brisk walk,
//! its jog); which gait it is comes later, in `labels`.

/// A bell curve with a floor for outliers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Bell {
    pub(super) mean: f64,
    pub(super) sd: f64,
}

/// Share of readings that are wrong in no known way, and the range over which they spread.
const OUTLIER: f64 = 0.02;
const SPEED_RANGE_MPS: f64 = 6.0;
const CADENCE_RANGE_SPM: f64 = 250.0;
/// While standing a recorder gives no steps; now and then one is counted.
const STILL_CADENCE_SPM: f64 = 15.0;

impl Bell {
    /// Log density, with the outliers' floor spread over `range`.
    fn log_density(self, value: f64, range: f64) -> f64 {
        let z = (value - self.mean) / self.sd;
        let bell = (-0.5 * z * z).exp() / (self.sd * (2.0 * std::f64::consts::PI).sqrt());
        ((1.0 - OUTLIER) * bell + OUTLIER / range).ln()
    }

    /// Log density without a floor.
    pub(super) fn log(self, value: f64) -> f64 {
        let z = (value - self.mean) / self.sd;
        -0.5 * z * z - self.sd.ln() - 0.918_938_533_204_672_7
    }
}

/// One way of moving.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Level {
    /// Speed on level ground.
    pub(super) speed_mps: Bell,
    /// By how much the speed falls uphill and rises downhill.
    pub(super) hill: Hill,
    pub(super) cadence_spm: Bell,
}

/// What slopes do to a level's speed: share lost for each unit of slope uphill, share gained for each downhill.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Hill {
    pub(super) up: f64,
    pub(super) down: f64,
}

impl Hill {
    /// Speed on a slope over speed on the level.
    pub(super) fn factor(self, slope: f64) -> f64 {
        (1.0 - self.up * slope.max(0.0) + self.down * (-slope).max(0.0)).max(0.3)
    }
}

/// How much one reading counts, since neighbouring ones share their error: 1 when independent.
#[derive(Clone, Copy, Debug)]
pub(super) struct Weights {
    pub(super) speed: f64,
    pub(super) cadence: f64,
}

impl Level {
    /// Weighted log density of what is seen; what is missing says nothing.
    pub(super) fn log_density(
        &self,
        speed: Option<f64>,
        cadence: Option<f64>,
        slope: f64,
        weights: Weights,
    ) -> f64 {
        let bell = Bell { mean: self.speed_mps.mean * self.hill.factor(slope), sd: self.speed_mps.sd };
        let v = speed.map_or(0.0, |v| weights.speed * bell.log_density(v, SPEED_RANGE_MPS));
        let c = cadence.map_or(0.0, |c| weights.cadence * self.cadence_spm.log_density(c, CADENCE_RANGE_SPM));
        v + c
    }
}

/// Weighted log density of what is seen while standing; `still_mps` is the spread of the speed then.
pub(super) fn standing(speed: Option<f64>, cadence: Option<f64>, still_mps: f64, weights: Weights) -> f64 {
    let half_bell = Bell { mean: 0.0, sd: still_mps };
    let v = speed.map_or(0.0, |v| {
        weights.speed.max(0.3) * (half_bell.log_density(v, SPEED_RANGE_MPS) + std::f64::consts::LN_2)
    });
    let c = cadence.map_or(0.0, |c| {
        let none = if c < STILL_CADENCE_SPM { 0.9 / STILL_CADENCE_SPM } else { 0.0 };
        weights.cadence * (none + 0.1 / CADENCE_RANGE_SPM).ln()
    });
    v + c
}
