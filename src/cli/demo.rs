//! `jogaudit demo`

use std::fs;
use std::path::{Path, PathBuf};

use super::failure::Failure;
use super::simulate::{make, save, stage_in};
use super::{Done, Io, check};
use crate::read::Format;
use crate::simulate::{CadenceStep, Channels, Fault, FaultKind, Kept, Laps, Settings, gzip, write};

#[derive(clap::Args, Debug)]
pub(super) struct Args {
    /// Folder to write the made-up case into; it is made if it does not exist
    #[arg(value_name = "DIR")]
    dir: PathBuf,
}

/// Tells a folder that `demo` made, and may write again, from the user's own.
const MARK: &str = ".jogaudit-demo";
const MARK_TEXT: &str = "Written by `jogaudit demo`. Made up: no real person, no real place.\n";

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
pain_limit = 2

[[stage]]
name = "1"
session = "walk 5:00, 6 x (run 1:00, walk 2:00), walk 3:00"
sessions = 2

[[stage]]
name = "2"
session = "walk 5:00, 5 x (run 2:00, walk 2:00), walk 3:00"
sessions = 2

[[stage]]
name = "3"
session = "walk 5:00, 4 x (run 4:00, walk 1:30), walk 3:00"
sessions = 3
"#;

const DIARY: &str = "\
date,pain_during,pain_pattern,pain_next_morning,effort,note
2026-03-02,0,,0,3,first jog since January
2026-03-04,1,warm_up_only,0,3,
2026-03-07,1,warm_up_only,1,4,new shoes
2026-03-09,2,returns,4,6,felt good and let it run
2026-03-13,1,warm_up_only,1,4,one step more careful
";

/// A session of the case.
struct Outing {
    file: &'static str,
    stage: &'static str,
    start: &'static str,
    seed: u64,
    channels: Channels,
    faults: &'static [Fault],
}

/// All sessions are Tove's.
const TOVE: u64 = 41;

const OUTINGS: [Outing; 5] = [
    Outing {
        file: "2026-03-02.fit",
        stage: "1",
        start: "2026-03-02T07:10:00Z",
        seed: 1,
        channels: Channels::ALL,
        faults: &[],
    },
    Outing {
        file: "2026-03-04.gpx.gz",
        stage: "1",
        start: "2026-03-04T07:05:00Z",
        seed: 2,
        channels: Channels::ALL,
        faults: &[],
    },
    Outing {
        file: "2026-03-07.tcx",
        stage: "2",
        start: "2026-03-07T09:30:00Z",
        seed: 3,
        channels: Channels::NO_CADENCE,
        faults: &[],
    },
    Outing {
        file: "2026-03-09.fit",
        stage: "2",
        start: "2026-03-09T07:12:00Z",
        seed: 4,
        channels: Channels::ALL,
        faults: &[
            Fault::new(FaultKind::RunLonger, 38.0).at_rep(2),
            Fault::new(FaultKind::Stop, 18.0).at_rep(3),
            Fault::new(FaultKind::RunFaster, 11.0).at_rep(4),
            Fault::new(FaultKind::WalkCut, 50.0).at_rep(5),
        ],
    },
    Outing {
        file: "2026-03-13.fit",
        stage: "2",
        start: "2026-03-13T07:08:00Z",
        seed: 5,
        channels: Channels::ALL,
        faults: &[],
    },
];

/// The session that is checked at the end.
const OVERDONE: &Outing = &OUTINGS[3];

pub(super) fn run(args: &Args, io: &mut Io<'_>) -> Result<Done, Failure> {
    let recordings = args.dir.join("recordings");
    claim(&args.dir)?;
    make_folder(&recordings)?;
    save(&args.dir.join("plan.toml"), PLAN.as_bytes())?;
    save(&args.dir.join("diary.csv"), DIARY.as_bytes())?;
    for outing in &OUTINGS {
        save(&recordings.join(outing.file), &record(outing)?)?;
    }
    let _ = writeln!(
        io.err,
        "wrote a made-up case to {}: plan.toml, diary.csv and {} recordings; the check of {} follows",
        args.dir.display(),
        OUTINGS.len(),
        OVERDONE.file
    );
    let overdone =
        check::Args::plain(recordings.join(OVERDONE.file), args.dir.join("plan.toml"), OVERDONE.stage);
    check::run(&overdone, io)
}

/// Makes the folder ours, or says why not.
fn claim(dir: &Path) -> Result<(), Failure> {
    make_folder(dir)?;
    let mark = dir.join(MARK);
    if mark.is_file() {
        return Ok(());
    }
    let mut entries = fs::read_dir(dir).map_err(|error| {
        Failure::refused(format!("could not look into {}", dir.display())).caused_by(&error)
    })?;
    if entries.next().is_some() {
        return Err(Failure::refused(format!("{} is not empty and was not made by `demo`", dir.display()))
            .hint("name a folder that is new or empty"));
    }
    save(&mark, MARK_TEXT.as_bytes())
}

fn make_folder(dir: &Path) -> Result<(), Failure> {
    fs::create_dir_all(dir).map_err(|error| {
        Failure::refused(format!("could not make the folder {}", dir.display())).caused_by(&error)
    })
}

/// Bytes of one session's file.
fn record(outing: &Outing) -> Result<Vec<u8>, Failure> {
    let stage = stage_in(PLAN, "plan.toml", outing.stage)?;
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
    let bytes = write(&make(&stage, &settings)?, format);
    Ok(if inner.is_some() { gzip(&bytes) } else { bytes })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_outing_has_a_line_in_the_diary_and_a_time_that_parses() {
        for outing in &OUTINGS {
            let date = outing.start.get(..10).unwrap();
            assert!(outing.file.starts_with(date));
            assert!(DIARY.lines().any(|line| line.starts_with(date)));
            assert!(outing.start.parse::<jiff::Timestamp>().is_ok());
        }
    }

    #[test]
    fn a_folder_of_the_user_is_refused_and_our_own_is_taken_again() {
        let dir = tempfile::tempdir().unwrap();
        let ours = dir.path().join("demo-case");
        claim(&ours).unwrap();
        claim(&ours).unwrap();
        let theirs = dir.path().join("theirs");
        fs::create_dir(&theirs).unwrap();
        claim(&theirs).unwrap();
        fs::remove_file(theirs.join(MARK)).unwrap();
        fs::write(theirs.join("thesis.txt"), "mine").unwrap();
        let refusal = claim(&theirs).unwrap_err().to_string();
        assert!(refusal.contains("is not empty") && refusal.contains("hint:"), "{refusal}");
        assert_eq!(fs::read_to_string(theirs.join("thesis.txt")).unwrap(), "mine");
    }
}
