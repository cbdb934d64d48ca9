//! Time to segment beside the time to read the same file, by length.

use std::time::Instant;

use jogaudit::clean::{CleanConfig, clean};
use jogaudit::gait::{GaitConfig, segment};
use jogaudit::prescription::{Extent, Move, Step};
use jogaudit::read::{Format, ReadConfig, read};
use jogaudit::simulate::{Channels, Profile, Settings, simulate, write};
use jogaudit::units::Seconds;

use crate::rivals::ours;
use crate::score::Score;
use crate::sessions::truth;

const TIMES: usize = 7;

/// Time on a core so far, ms, where the system tells it (Linux), so that others' work on the machine does not count.
fn on_core_ms() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    text.split(' ').next()?.parse().ok().map(|nanoseconds: f64| 1e-6 * nanoseconds)
}

fn milliseconds(work: impl FnOnce()) -> f64 {
    let (start, on_core) = (Instant::now(), on_core_ms());
    work();
    match (on_core, on_core_ms()) {
        (Some(from), Some(to)) if to > from => to - from,
        _ => start.elapsed().as_secs_f64() * 1000.0,
    }
}

pub(crate) fn table() {
    println!(
        "| what | hours | samples | read FIT, ms | fitparser, ms | clean, ms | segment, ms | over so many first hours | event F1 |\n|---|---|---|---|---|---|---|---|---|"
    );
    for (sensors, channels) in [("cadence", Channels::ALL), ("speed only", Channels::NO_CADENCE)] {
        let mut hour_ms = f64::NAN;
        for hours in [1_u64, 3, 6, 12, 24] {
            let step = |(motion, s)| Step { motion, extent: Extent::Time(Seconds::new(s)), ceiling: None };
            let pair = [(Move::Run, 120.0), (Move::Walk, 120.0)];
            let steps: Vec<Step> = (0..15 * hours).flat_map(|_| pair.map(step)).collect();
            let settings =
                Settings { seed: 1, channels, profile: Profile::Overlapping, ..Settings::default() };
            let made = simulate(&steps, &settings).expect("can be made up");
            let bytes = write(&made, Format::Fit);
            let series = clean(&made.recording, &CleanConfig::default()).value;
            // The four in turn, so that a busy moment of the machine hits all of them; the best of each.
            let mut best = [f64::INFINITY; 4];
            for _ in 0..TIMES {
                let took = [
                    milliseconds(|| drop(read(&bytes, &ReadConfig::default()))),
                    milliseconds(|| drop(fitparser::from_bytes(&bytes))),
                    milliseconds(|| drop(clean(&made.recording, &CleanConfig::default()))),
                    milliseconds(|| drop(segment(&series, &GaitConfig::default()))),
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
                made.recording.samples.len(),
                segmenting / (hour_ms * hours as f64),
                Score::of(&truth(&made), &ours(&series)).event_f1()
            );
        }
    }
}
