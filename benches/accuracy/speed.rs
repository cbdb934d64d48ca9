//! Time to segment beside the time to read the same file, by length.

use std::time::Instant;

use jogaudit_core::clean::{CleanConfig, clean};
use jogaudit_core::gait::{GaitConfig, segment};
use jogaudit_core::prescription::{Extent, Move, Step};
use jogaudit_recording::read::{Format, ReadConfig, read};
use jogaudit_recording::units::Seconds;
use jogaudit_simulate::{Channels, Profile, Settings, simulate, write};

use crate::rivals::ours;
use crate::score::Score;
use crate::sessions::truth;

/// Rounds, of which the best counts; in each the work is done again and again for so long.
const ROUNDS: usize = 7;
const AT_LEAST_MS: f64 = 40.0;

/// Wall-clock time of the work once, ms, mean of as many as fill [`AT_LEAST_MS`].
fn milliseconds(work: impl Fn()) -> f64 {
    let start = Instant::now();
    let mut times = 0;
    loop {
        work();
        times += 1;
        let taken_ms = start.elapsed().as_secs_f64() * 1000.0;
        if taken_ms >= AT_LEAST_MS {
            return taken_ms / f64::from(times);
        }
    }
}

pub(crate) fn table() {
    println!(
        "| what | hours | samples | read FIT, ms | fitparser, ms | clean, ms | segment, ms | over so many first hours | event F1 |\n|---|---|---|---|---|---|---|---|---|"
    );
    for (sensors, channels) in [("cadence", Channels::ALL), ("speed only", Channels::SPEED_ALONE)] {
        let mut hour_ms = f64::NAN;
        for hours in [1_u64, 3, 6, 12, 24] {
            let step =
                |(motion, s)| Step { motion, extent: Extent::Time(Seconds::new(s)).into(), ceiling: None };
            let pair = [(Move::Run, 120.0), (Move::Walk, 120.0)];
            let steps: Vec<Step> = (0..15 * hours).flat_map(|_| pair.map(step)).collect();
            let settings =
                Settings { seed: 1, channels, profile: Profile::Overlapping, ..Settings::default() };
            let made = simulate(&steps, &settings).expect("can be made up");
            let bytes = write(&made, Format::Fit).expect("FIT holds all");
            let series = clean(&made.recording, &CleanConfig::default()).value;
            // The four in turn, so that a busy moment of the machine hits all of them; the best of each.
            let mut best = [f64::INFINITY; 4];
            for _ in 0..ROUNDS {
                let took = [
                    milliseconds(|| drop(read(&bytes, &ReadConfig::default()))),
                    milliseconds(|| drop(fitparser::from_bytes(&bytes))),
                    milliseconds(|| drop(clean(&made.recording, &CleanConfig::default()))),
                    milliseconds(|| drop(segment(&series, &GaitConfig::default(), None))),
                ];
                for (best, took) in best.iter_mut().zip(took) {
                    *best = best.min(took);
                }
            }
            let [reading, other, cleaning, segmenting] = best;
            if hours == 1 {
                hour_ms = segmenting;
            }
            println!(
                "| {sensors} | {hours} | {} | {reading:.2} | {other:.1} | {cleaning:.2} | {segmenting:.2} | {:.2} | {:.4} |",
                made.recording.samples().len(),
                segmenting / (hour_ms * hours as f64),
                Score::of(&truth(&made), &ours(&series)).event_f1()
            );
        }
    }
}
