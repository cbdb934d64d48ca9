//! Made-up files with every option of the simulator, for comparison with other readers.

use jogaudit_core::prescription::Session;
use jogaudit_recording::read::Format;
use jogaudit_simulate::{
    CadenceFault, CadenceFaultKind, CadenceStep, Channels, Fault, FaultKind, Gps, Guesses, Laps, Profile,
    Sampling, Settings, Window, simulate, write,
};

/// A made-up file.
pub(crate) struct SimulatedFile {
    /// What is special about it, and its seed.
    pub(crate) name: String,
    pub(crate) bytes: Vec<u8>,
}

/// Every option alone and all together, each with three seeds. GPX without positions has no samples and is left out.
pub(crate) fn files(format: Format) -> Vec<SimulatedFile> {
    let mut files = Vec::new();
    for seed in 1..=3 {
        for (name, settings) in options() {
            if format == Format::Gpx && !settings.channels.position {
                continue;
            }
            let session =
                Session::parse("walk 1:30, 3 x (run 1:00, walk 1:00)").expect("the session language");
            let steps = session.expand().fixed_steps().expect("by time only");
            let simulated = simulate(&steps, &Settings { seed, format, ..settings });
            let simulated = simulated.unwrap_or_else(|error| panic!("{name}: {error}"));
            files.push(SimulatedFile {
                name: format!("{name}, seed {seed}"),
                bytes: write(&simulated, format).unwrap(),
            });
        }
    }
    files
}

fn options() -> Vec<(&'static str, Settings)> {
    let usual = Settings::default;
    let window = |at_s, length_s| Window { at_s: Some(at_s), length_s };
    let cadence_fault =
        |kind| vec![CadenceFault { kind, window: Window { at_s: Some(110.0), length_s: 25.0 } }];
    vec![
        ("usual", usual()),
        ("overlapping profile", Settings { profile: Profile::Overlapping, ..usual() }),
        ("hills", Settings { hills: true, ..usual() }),
        ("clean reception", Settings { gps: Gps::Clean, ..usual() }),
        ("bad reception", Settings { gps: Gps::Bad, ..usual() }),
        ("smart sampling", Settings { sampling: Sampling::Smart, ..usual() }),
        ("missing samples", Settings { missing: 0.2, ..usual() }),
        ("no cadence", Settings { channels: Channels::NO_CADENCE, ..usual() }),
        ("positions only", Settings { channels: Channels::POSITIONS_ONLY, ..usual() }),
        ("treadmill", Settings { channels: Channels::TREADMILL, ..usual() }),
        ("half strides", Settings { cadence_step: CadenceStep::HalfStride, ..usual() }),
        ("no lag", Settings { longest_lag_s: 0.0, ..usual() }),
        ("lap each step", Settings { laps: Laps::Steps, ..usual() }),
        ("lap each kilometre", Settings { laps: Laps::Kilometres, ..usual() }),
        ("lap each change", Settings { laps: Laps::Changes, lap_late_s: 2.0, ..usual() }),
        ("right guesses", Settings { guesses: Guesses::Right, ..usual() }),
        ("guesses by chance", Settings { guesses: Guesses::Chance, ..usual() }),
        ("pause", Settings { pauses: vec![window(160.0, 30.0)], ..usual() }),
        ("hole", Settings { holes: vec![window(160.0, 40.0)], ..usual() }),
        ("offset", Settings { utc_offset_s: Some(-12_600), ..usual() }),
        ("half cadence", Settings { cadence_faults: cadence_fault(CadenceFaultKind::Half), ..usual() }),
        (
            "cadence drop-out",
            Settings { cadence_faults: cadence_fault(CadenceFaultKind::DropOut), ..usual() },
        ),
        ("longer run", Settings { faults: vec![Fault::new(FaultKind::RunLonger, 25.0)], ..usual() }),
        ("stop", Settings { faults: vec![Fault::new(FaultKind::Stop, 25.0)], ..usual() }),
        (
            "all together",
            Settings {
                profile: Profile::Overlapping,
                hills: true,
                gps: Gps::Bad,
                sampling: Sampling::Smart,
                missing: 0.1,
                cadence_step: CadenceStep::HalfStride,
                laps: Laps::Steps,
                pauses: vec![window(160.0, 30.0)],
                holes: vec![window(230.0, 30.0)],
                utc_offset_s: Some(20_700),
                faults: vec![Fault::new(FaultKind::RunLonger, 25.0)],
                ..usual()
            },
        ),
    ]
}
