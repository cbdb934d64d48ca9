//! Seeded randomness. Every feature draws from a stream of its own, so that adding one leaves the others' draws alone.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// What a stream of random numbers is for. The numbers are part of the seed: never reuse or renumber one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u64)]
pub(super) enum Stream {
    Person = 1,
    Legs = 2,
    Beeps = 3,
    SpeedRhythm = 4,
    CadenceRhythm = 5,
    Path = 6,
    Hills = 7,
    HeartRate = 8,
    PositionEast = 9,
    PositionNorth = 10,
    Spikes = 11,
    SpeedError = 12,
    Lag = 13,
    CadenceError = 14,
    Altitude = 15,
    Sampling = 16,
    Missing = 17,
    Faults = 18,
    Pauses = 19,
    Holes = 20,
    CadenceFaults = 21,
    DistanceScale = 22,
    Origin = 23,
    WhiteEast = 24,
    WhiteNorth = 25,
    HeartSensor = 26,
    Laps = 27,
    Guesses = 28,
    RunnerWays = 29,
    SessionWays = 30,
    LegWays = 31,
    SpeedWander = 32,
    CadenceWander = 33,
    Surfaces = 34,
    Steepness = 35,
    Watch = 36,
    Restarts = 37,
    CadenceQuirks = 38,
    Frozen = 39,
    Intervals = 40,
    Coarse = 41,
    Slowed = 42,
    DriftEast = 43,
    DriftNorth = 44,
    Ranges = 45,
    Ways = 46,
    RunnerHeart = 47,
    SessionHeart = 48,
    WatchScale = 49,
}

/// The generator of one stream of one seed.
pub(super) fn rng(seed: u64, stream: Stream) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(stream as u64);
    rng
}

/// A standard normal draw.
pub(super) fn normal(rng: &mut ChaCha8Rng) -> f64 {
    rng.sample(StandardNormal)
}

/// A uniform draw from `low` to `high`; `low` when they are the same.
pub(super) fn uniform(rng: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * rng.random::<f64>()
}

/// A stationary first-order autoregressive process of mean 0: x′ = ρ·x + σ·√(1 − ρ²)·z.
#[derive(Clone, Debug)]
pub(super) struct Ar1 {
    rho: f64,
    innovation: f64,
    value: f64,
    rng: ChaCha8Rng,
}

impl Ar1 {
    /// Starts in the stationary state with standard deviation `sigma` and lag-one correlation `rho` (0 to 1).
    pub(super) fn new(sigma: f64, rho: f64, mut rng: ChaCha8Rng) -> Self {
        let value = sigma * normal(&mut rng);
        Self { rho, innovation: sigma * (1.0 - rho * rho).max(0.0).sqrt(), value, rng }
    }

    /// As [`Ar1::new`], with the correlation time `tau_s` for steps of `step_s`: ρ = e^(−step/τ).
    pub(super) fn with_time(sigma: f64, tau_s: f64, step_s: f64, rng: ChaCha8Rng) -> Self {
        Self::new(sigma, (-step_s / tau_s).exp(), rng)
    }

    /// Gives the present value and moves one step on.
    pub(super) fn step(&mut self) -> f64 {
        let now = self.value;
        self.value = self.rho * now + self.innovation * normal(&mut self.rng);
        now
    }
}

/// A process of variance 1 that changes gently: a first-order one, averaged once more over the same time.
pub(super) struct Smooth {
    quick: Ar1,
    weight: f64,
    value: f64,
}

impl Smooth {
    /// With the time constant, for steps of so long.
    pub(super) fn new(time_s: f64, step_s: f64, draws: ChaCha8Rng) -> Self {
        // Averaging an Ornstein–Uhlenbeck process over its own correlation time halves its variance.
        let quick = Ar1::with_time(2.0_f64.sqrt(), time_s, step_s, draws);
        let mut process = Self { quick, weight: 1.0 - (-step_s / time_s).exp(), value: 0.0 };
        // What it began with is forgotten after so long: e⁻⁸.
        for _ in 0..(8.0 * time_s / step_s) as usize {
            process.step();
        }
        process
    }

    /// Gives the present value and moves one step on.
    pub(super) fn step(&mut self) -> f64 {
        let now = self.value;
        self.value += self.weight * (self.quick.step() - now);
        now
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moments(values: &[f64]) -> (f64, f64, f64) {
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let var = values.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / n;
        let cov = values.windows(2).map(|w| (w[0] - mean) * (w[1] - mean)).sum::<f64>() / (n - 1.0);
        (mean, var.sqrt(), cov / var)
    }

    #[test]
    fn ar1_keeps_its_spread_and_correlation() {
        // The stationary law of an AR(1): mean 0, standard deviation σ, lag-one correlation ρ. Over n steps the
        // mean has the standard error σ·√((1 + ρ)/(1 − ρ)/n), the correlation √((1 − ρ²)/n): four of each allowed.
        let n = 400_000_usize;
        for (sigma, rho) in [(3.0, 0.0), (3.0, 0.9), (1.0, 0.98), (6.0, 0.99)] {
            let mut process = Ar1::new(sigma, rho, rng(1, Stream::PositionEast));
            let values: Vec<f64> = (0..n).map(|_| process.step()).collect();
            let (mean, sd, lag1) = moments(&values);
            let mean_error = sigma * ((1.0 + rho) / (1.0 - rho) / n as f64).sqrt();
            assert!(mean.abs() < 4.0 * mean_error, "ρ {rho}: mean {mean}");
            assert!((lag1 - rho).abs() < 4.0 * ((1.0 - rho * rho) / n as f64).sqrt(), "ρ {rho}: {lag1}");
            let sd_error = sigma * ((1.0 + rho * rho) / (1.0 - rho * rho) / (2.0 * n as f64)).sqrt();
            assert!((sd - sigma).abs() < 4.0 * sd_error, "ρ {rho}: sd {sd}");
        }
    }

    #[test]
    fn a_smooth_process_keeps_its_variance_and_falls_to_one_over_e_where_it_should() {
        // Autocorrelation (1 + t/T)·e^(−t/T): with T = 10 steps 0.7358 at 10, 0.3662 at 21.5. Of 400,000 steps some 10,000 are
        // independent, so that 0.04 is four standard errors.
        let mut process = Smooth::new(10.0, 1.0, rng(3, Stream::SpeedWander));
        let values: Vec<f64> = (0..400_000).map(|_| process.step()).collect();
        let at = |lag: usize| {
            values.iter().zip(&values[lag..]).map(|(a, b)| a * b).sum::<f64>() / (values.len() - lag) as f64
        };
        assert!((at(0) - 1.0).abs() < 0.06, "{}", at(0));
        for (lag, expected) in [(10, 0.7358), (21, 0.3796), (40, 0.0916)] {
            assert!((at(lag) / at(0) - expected).abs() < 0.04, "{lag}: {}", at(lag) / at(0));
        }
    }

    #[test]
    fn stronger_autocorrelation_biases_positional_speed_less() {
        // Monte Carlo figures of docs/simulator.md: per-axis σ 3 m, 1 s steps, true step 2.5 m. ρ 0.9: +15.9 %,
        // 0.98: +2.9 %, 0.99: +1.5 %, ρ 0: +131 % (an independent computation in another language, n = 200 000).
        // Ranacher et al. 2016, IJGIS 30:316-33: the bias of distance falls as autocorrelation rises.
        let mut last = f64::INFINITY;
        for (rho, expected) in [(0.0, 131.0), (0.9, 15.9), (0.98, 2.9), (0.99, 1.5)] {
            let mut east = Ar1::new(3.0, rho, rng(7, Stream::PositionEast));
            let mut north = Ar1::new(3.0, rho, rng(7, Stream::PositionNorth));
            let (mut e, mut n, steps) = (east.step(), north.step(), 200_000);
            let mut sum = 0.0;
            for _ in 0..steps {
                let (e1, n1) = (east.step(), north.step());
                sum += (2.5 + e1 - e).hypot(n1 - n);
                (e, n) = (e1, n1);
            }
            let bias_percent = 100.0 * (sum / f64::from(steps) / 2.5 - 1.0);
            assert!((bias_percent - expected).abs() < 0.02 * expected + 0.15, "ρ {rho}: {bias_percent} %");
            assert!(bias_percent < last);
            last = bias_percent;
        }
    }

    #[test]
    fn streams_of_a_seed_differ_and_repeat() {
        let draw = |seed, stream| rng(seed, stream).random::<u64>();
        assert_eq!(draw(5, Stream::Person), draw(5, Stream::Person));
        assert_ne!(draw(5, Stream::Person), draw(5, Stream::Legs));
        assert_ne!(draw(5, Stream::Person), draw(6, Stream::Person));
    }
}
