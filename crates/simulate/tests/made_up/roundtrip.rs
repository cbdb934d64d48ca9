//! What the simulator holds in memory is what our readers make of its files, to the last bit.

use jogaudit_core::prescription::{Extent, Move, Step};
use jogaudit_recording::read::{Format, ReadConfig, read};
use jogaudit_recording::units::Seconds;
use jogaudit_simulate::{
    CadenceStep, Channels, Guesses, Laps, Sampling, Settings, Window, gzip, simulate, write,
};

fn every_way() -> impl Iterator<Item = Settings> {
    let pause = Window { at_s: Some(150.0), length_s: 30.0 };
    let formats = [Format::Fit, Format::Gpx, Format::Tcx];
    let channels = [Channels::ALL, Channels::NO_CADENCE, Channels::POSITIONS_ONLY, Channels::TREADMILL];
    let laps = [Laps::Whole, Laps::Steps, Laps::Kilometres, Laps::Changes, Laps::Anywhere];
    let mut ways = Vec::new();
    for (format, channels) in formats.into_iter().flat_map(|f| channels.map(|c| (f, c))) {
        for (laps, pauses) in laps.into_iter().flat_map(|l| [(l, vec![]), (l, vec![pause])]) {
            for sampling in [Sampling::EverySecond, Sampling::Smart] {
                for cadence_step in [CadenceStep::Stride, CadenceStep::HalfStride] {
                    ways.push(Settings {
                        seed: ways.len() as u64,
                        format,
                        channels,
                        laps,
                        guesses: if laps == Laps::Changes { Guesses::Right } else { Guesses::None },
                        pauses: pauses.clone(),
                        sampling,
                        cadence_step,
                        utc_offset_s: Some(3600),
                        ..Settings::default()
                    });
                }
            }
        }
    }
    // GPX has no samples without a position.
    ways.into_iter().filter(|s| s.format != Format::Gpx || s.channels.position)
}

#[test]
fn files_read_back_as_the_recording_in_memory() {
    let timed = |motion, s| Step { motion, extent: Extent::Time(Seconds::new(s)).into(), ceiling: None };
    let steps = [timed(Move::Walk, 120.0), timed(Move::Run, 90.0), timed(Move::Walk, 60.0)];
    let mut count = 0;
    for settings in every_way() {
        let simulated = simulate(&steps, &settings).unwrap();
        let bytes = write(&simulated, settings.format).unwrap();
        let plain = read(&bytes, &ReadConfig::default()).unwrap().value;
        assert_eq!(plain, [simulated.recording], "{settings:?}");
        let packed = read(&gzip(&bytes), &ReadConfig::default()).unwrap().value;
        assert_eq!(packed, plain);
        count += 1;
    }
    assert_eq!(count, 440);
}
