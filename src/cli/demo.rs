//! `jogaudit demo`

mod folder;

use std::path::{Path, PathBuf};

use jogaudit_case::{self as case, Failure};
use jogaudit_core::prescription::Plan;
use jogaudit_recording::read::Format;
use jogaudit_simulate::{CadenceStep, Channels, Fault, FaultKind, Kept, Laps, Settings, gzip, write};

use super::simulate::{make, refused};
use super::{Done, Io, check, review};

#[derive(clap::Args, Debug)]
pub(super) struct Args {
    /// Folder to write the made-up case into: new, empty, or as an earlier `demo` left it
    #[arg(value_name = "DIR")]
    dir: PathBuf,
}

/// The prescription of the made-up runner Tove, 41, seven weeks after a calf strain.
const PLAN: &str = r#"# A made-up prescription for a made-up runner: Tove, 41, seven weeks after a calf strain.
title = "Tove: back to running after a calf strain"
timezone = "Africa/Accra"

[runner]
max_heart_rate = "178 bpm"

[limits]
pace_ceiling = "6:45 /km"
heart_rate_ceiling = "154 bpm"
walk_cadence_floor = "105 spm"
sessions_per_week = 3
rest_days_between = 1
weekly_running_increase = "50 %"
pain_limit = 2

[[stage]]
name = "1"
session = "walk 4:40, 7 x (run 0:50, walk 1:40), walk 3:20"
sessions = 3

[[stage]]
name = "2"
session = "walk 4:40, 5 x (run 1:50, walk 1:40), walk 3:20"
sessions = 3

[[stage]]
name = "3"
session = "walk 4:40, 5 x (run 2:50, walk 1:40), walk 3:20"
sessions = 3

[[stage]]
name = "4"
session = "walk 4:40, 4 x (run 4:50, walk 1:20), walk 3:20"
sessions = 3

[[stage]]
name = "5"
session = "walk 4:40, 3 x (run 7:50, walk 1:20), walk 3:20"
sessions = 3
"#;

/// What Tove ran on a day on which nothing was prescribed.
const FREE: &str = "[[stage]]\nname = 'free'\nsession = 'walk 2:00, run 35:00, walk 3:00'\n";

/// Ten weeks: a session overdone (9 March), a free run in between (2 April), a holiday (from 21 April), and a last
/// session overdone with pain on the next morning (9 May).
const DIARY: &str = "\
date,pain_during,pain_pattern,pain_next_morning,effort,note
2026-03-02,0,,0,3,first jog since January
2026-03-04,1,warm_up_only,0,3,
2026-03-07,1,warm_up_only,1,4,new shoes
2026-03-09,2,warm_up_only,4,6,felt good and let it run
2026-03-13,1,warm_up_only,1,4,careful again
2026-03-16,1,warm_up_only,0,4,
2026-03-18,0,,0,4,
2026-03-21,0,,0,4,
2026-03-23,0,,0,4,
2026-03-25,0,,0,4,
2026-03-28,0,,0,5,
2026-03-30,0,,0,5,
2026-04-01,0,,0,5,
2026-04-02,4,returns,3,7,\"met friends, ran with them\"
2026-04-06,1,warm_up_only,0,4,back a stage
2026-04-08,0,,0,4,
2026-04-11,0,,0,4,
2026-04-13,0,,0,5,
2026-04-15,0,,0,5,
2026-04-18,0,,0,5,
2026-04-20,0,,0,5,off to the sea tomorrow
2026-05-04,0,,0,4,back a stage after the holiday
2026-05-06,0,,0,5,
2026-05-09,1,warm_up_only,4,7,no watch on the walks
";

/// The day on which the case is reviewed.
pub(super) const AS_OF: jiff::civil::Date = jiff::civil::date(2026, 5, 10);

/// A ride that lies among the recordings, written by hand.
const RIDE: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>
<gpx version=\"1.1\" creator=\"by hand\" xmlns=\"http://www.topografix.com/GPX/1/1\">
<trk><type>cycling</type><trkseg>
<trkpt lat=\"0.001\" lon=\"0.001\"><time>2026-03-15T10:00:00Z</time></trkpt>
<trkpt lat=\"0.002\" lon=\"0.001\"><time>2026-03-15T10:00:20Z</time></trkpt>
<trkpt lat=\"0.003\" lon=\"0.001\"><time>2026-03-15T10:00:40Z</time></trkpt>
</trkseg></trk></gpx>
";
const RIDE_FILE: &str = "2026-03-15-ride.gpx";

/// A session of the case.
struct Outing {
    file: &'static str,
    stage: &'static str,
    start: &'static str,
    seed: u64,
    channels: Channels,
    faults: &'static [Fault],
}

impl Outing {
    /// A session as prescribed, recorded with everything.
    const fn plain(file: &'static str, stage: &'static str, start: &'static str, seed: u64) -> Self {
        Self { file, stage, start, seed, channels: Channels::ALL, faults: &[] }
    }
}

/// All sessions are Tove's.
const TOVE: u64 = 41;

const OUTINGS: [Outing; 25] = [
    Outing::plain("2026-03-02.fit", "1", "2026-03-02T07:10:00Z", 1),
    Outing::plain("2026-03-04.gpx.gz", "1", "2026-03-04T07:05:00Z", 2),
    Outing {
        channels: Channels::NO_CADENCE,
        ..Outing::plain("2026-03-07.tcx", "1", "2026-03-07T09:30:00Z", 3)
    },
    Outing {
        faults: &[
            Fault::new(FaultKind::RunLonger, 38.0).at_rep(2),
            Fault::new(FaultKind::Stop, 18.0).at_rep(3),
            Fault::new(FaultKind::RunFaster, 11.0).at_rep(4),
            Fault::new(FaultKind::WalkCut, 50.0).at_rep(5),
        ],
        ..Outing::plain("2026-03-09.fit", "2", "2026-03-09T07:12:00Z", 4)
    },
    Outing::plain("2026-03-13.fit", "2", "2026-03-13T07:08:00Z", 5),
    Outing::plain("2026-03-16.fit", "2", "2026-03-16T07:10:00Z", 6),
    // The same session, recorded by the telephone as well.
    Outing {
        channels: Channels::POSITIONS_ONLY,
        ..Outing::plain("2026-03-16-phone.gpx", "2", "2026-03-16T07:10:00Z", 6)
    },
    Outing::plain("2026-03-18.fit", "2", "2026-03-18T07:02:00Z", 7),
    Outing::plain("2026-03-21.fit", "3", "2026-03-21T09:20:00Z", 8),
    Outing::plain("2026-03-23.fit", "3", "2026-03-23T07:11:00Z", 9),
    Outing::plain("2026-03-25.fit", "3", "2026-03-25T07:07:00Z", 10),
    Outing::plain("2026-03-28.fit", "4", "2026-03-28T09:15:00Z", 11),
    Outing::plain("2026-03-30.fit", "4", "2026-03-30T07:09:00Z", 12),
    Outing::plain("april/2026-04-01.fit", "4", "2026-04-01T07:06:00Z", 13),
    Outing::plain("april/2026-04-02.fit", "free", "2026-04-02T17:30:00Z", 14),
    Outing::plain("april/2026-04-06.fit", "3", "2026-04-06T07:10:00Z", 15),
    Outing::plain("april/2026-04-08.fit", "3", "2026-04-08T07:04:00Z", 16),
    Outing::plain("april/2026-04-11.fit", "3", "2026-04-11T09:25:00Z", 17),
    Outing::plain("april/2026-04-13.fit", "4", "2026-04-13T07:10:00Z", 18),
    Outing::plain("april/2026-04-15.fit", "4", "2026-04-15T07:03:00Z", 19),
    Outing::plain("april/2026-04-18.fit", "4", "2026-04-18T09:18:00Z", 20),
    Outing::plain("april/2026-04-20.fit", "5", "2026-04-20T07:10:00Z", 21),
    Outing::plain("may/2026-05-04.fit", "4", "2026-05-04T07:12:00Z", 22),
    Outing::plain("may/2026-05-06.fit", "4", "2026-05-06T07:05:00Z", 23),
    Outing {
        faults: &[
            Fault::new(FaultKind::RunLonger, 75.0).at_rep(4),
            Fault::new(FaultKind::WalkCut, 45.0).at_rep(3),
        ],
        ..Outing::plain("may/2026-05-09.fit", "4", "2026-05-09T09:22:00Z", 24)
    },
];

/// The session that is checked before the review.
const OVERDONE: &Outing = &OUTINGS[3];

pub(super) fn run(args: &Args, io: &mut Io<'_>) -> Result<Done, Failure> {
    let recordings = args.dir.join("recordings");
    make_case(&args.dir)?;
    io.remark(&format!(
        "wrote a made-up case to {}: plan.toml, diary.csv and {} recordings; the review of the whole return and \
         the check of {} follow\n",
        args.dir.display(),
        OUTINGS.len() + 1,
        OVERDONE.file
    ));
    let overdone =
        check::Args::plain(recordings.join(OVERDONE.file), args.dir.join("plan.toml"), OVERDONE.stage);
    review::run(&review::Args::plain(args.dir.clone(), AS_OF), io)?;
    io.result(RULE)?;
    check::run(&overdone, io)
}

/// Writes the made-up case into a folder that is new or empty, or that holds it already, unchanged.
pub(super) fn make_case(dir: &Path) -> Result<(), Failure> {
    let in_recordings = |file: &str| format!("recordings/{file}");
    let texts =
        [("plan.toml".to_owned(), PLAN), ("diary.csv".to_owned(), DIARY), (in_recordings(RIDE_FILE), RIDE)];
    let mut files: folder::Files = texts.map(|(name, text)| (name, text.as_bytes().to_vec())).into();
    for outing in &OUTINGS {
        files.insert(in_recordings(outing.file), record(outing)?);
    }
    folder::write(dir, &files)
}

/// Between the two reports.
const RULE: &str = "\n────────────────────────────────────────────────────────────────────────────────\n\n";

/// Bytes of one session's file.
fn record(outing: &Outing) -> Result<Vec<u8>, Failure> {
    let plan = if outing.stage == "free" { FREE } else { PLAN };
    let plan = Plan::parse(plan).map_err(|error| Failure::plan(Path::new("plan.toml"), &error))?.value;
    let stage = case::stage(&plan, Some(outing.stage))?;
    let inner = outing.file.strip_suffix(".gz");
    let format = match Path::new(inner.unwrap_or(outing.file)).extension().and_then(|e| e.to_str()) {
        Some("gpx") => Format::Gpx,
        Some("tcx") => Format::Tcx,
        _ => Format::Fit,
    };
    let settings = Settings {
        seed: outing.seed,
        runner_seed: Some(TOVE),
        format,
        start: outing.start.parse().unwrap_or_default(),
        utc_offset_s: Some(0),
        kept: Kept::from(&stage.limits),
        channels: outing.channels,
        cadence_step: CadenceStep::HalfStride,
        laps: Laps::Kilometres,
        faults: outing.faults.to_vec(),
        ..Settings::default()
    };
    let bytes = write(&make(stage, &settings)?, format).map_err(|error| refused(&error))?;
    Ok(if inner.is_some() { gzip(&bytes) } else { bytes })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_outing_has_a_line_in_the_diary_and_a_time_that_parses() {
        for outing in &OUTINGS {
            let date = outing.start.get(..10).unwrap();
            assert!(outing.file.contains(date));
            assert!(DIARY.lines().any(|line| line.starts_with(date)));
            assert!(outing.start.parse::<jiff::Timestamp>().is_ok());
        }
    }
}
