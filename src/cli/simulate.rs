//! `jogaudit simulate`

use std::path::{Path, PathBuf};

use clap::ValueEnum;

use jogaudit_case::{self as case, Failure, named_output};
use jogaudit_core::prescription::Stage;
use jogaudit_export::workout_of;
use jogaudit_files as files;
use jogaudit_recording::read::Format;
use jogaudit_simulate::{
    CadenceFault, CadenceFaultKind, CadenceStep, Channels, Fault, Form, Gps, Guesses, InRange, Kept, Laps,
    Profile, Realism, Sampling, Settings, SimulateError, Simulated, Window, gzip, simulate, write,
};

use super::{Done, Io};

#[derive(clap::Args, Debug)]
#[allow(clippy::struct_excessive_bools)] // switches of the command line
pub(super) struct Args {
    /// Plan file with the prescribed session
    #[arg(long, value_name = "PLAN")]
    plan: PathBuf,
    /// Stage of the plan to do
    #[arg(long, value_name = "NAME")]
    stage: String,
    /// Seed: the same seed gives the same bytes
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Seed of the runner alone, for several sessions of one person [default: the seed]
    #[arg(long, value_name = "N")]
    runner_seed: Option<u64>,
    /// Recording to write; `-` is standard output
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Where to write the true bouts as JSON
    #[arg(long, value_name = "FILE.json")]
    truth: Option<PathBuf>,
    /// Format of the recording; by default as the name of FILE ends, else FIT
    #[arg(long)]
    format: Option<FormatName>,
    /// Pack the recording with gzip, as a name that ends in `.gz` does
    #[arg(long)]
    gzip: bool,
    /// Time of the first sample
    #[arg(long, value_name = "TIME", default_value = "2026-03-02T07:10:00Z")]
    start: jiff::Timestamp,
    /// Whether runner and recorder are even and quick, or wander, lag and drop out as real ones do
    #[arg(long, default_value = "ideal")]
    realism: RealismName,
    /// How clearly the runner's walking and jogging differ in speed
    #[arg(long, default_value = "steady")]
    profile: ProfileName,
    /// How much is done of what the session lets be more or less
    #[arg(long, default_value = "inside")]
    in_range: InRangeName,
    /// Go over hills
    #[arg(long)]
    hills: bool,
    /// What the runner does wrong: KIND, KIND:VALUE or KIND:VALUE:REP (can be repeated)
    ///
    /// Seconds: run-longer, run-shorter, run-unplanned, walk-cut, stop, warm-up, late-start, session-longer. Percent:
    /// run-faster. Steps a minute: walk-slower. Beats a minute: heart-rate-high. Reps: rep-extra. None: rep-missing,
    /// walk-missing.
    #[arg(long, value_name = "FAULT")]
    fault: Vec<Fault>,
    /// Strength of satellite reception
    #[arg(long, default_value = "typical")]
    gps: GpsName,
    /// When samples are written [default: 1s; drawn when realistic]
    #[arg(long)]
    sampling: Option<SamplingName>,
    /// Share of samples that are lost at random, percent
    #[arg(long, value_name = "PERCENT", default_value_t = 0.0, value_parser = percent)]
    missing: f64,
    /// Leave out cadence
    #[arg(long)]
    no_cadence: bool,
    /// Leave out heart rate
    #[arg(long)]
    no_heart_rate: bool,
    /// Write nothing but positions and heart rate
    #[arg(long, conflicts_with = "treadmill")]
    positions_only: bool,
    /// Leave out positions and altitude
    #[arg(long)]
    treadmill: bool,
    /// Write cadence to half a stride (FIT only)
    #[arg(long)]
    half_strides: bool,
    /// Longest lag of an ideal recorder's smoothing
    #[arg(long, value_name = "SECONDS", default_value_t = 3.0, value_parser = lag)]
    lag: f64,
    /// Which laps are written
    #[arg(long, default_value = "whole")]
    laps: LapsName,
    /// Pause of the recorder: SECONDS or SECONDS@AT (can be repeated)
    #[arg(long, value_name = "STRETCH", value_parser = window)]
    pause: Vec<Window>,
    /// Samples lost in a row: SECONDS or SECONDS@AT (can be repeated)
    #[arg(long, value_name = "STRETCH", value_parser = window)]
    hole: Vec<Window>,
    /// Wrong cadence, KIND:SECONDS or KIND:SECONDS@AT; kinds: half, double, drop-out, held, held-after-stop (can be
    /// repeated)
    #[arg(long, value_name = "FAULT", value_parser = cadence_fault)]
    cadence_fault: Vec<CadenceFault>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum FormatName {
    Fit,
    Gpx,
    Tcx,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum RealismName {
    /// An even runner and a quick recorder
    Ideal,
    /// Differing, wandering, lagging and dropping out as measured on real recordings
    Realistic,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum ProfileName {
    /// Jogs clearly faster than they walk
    Steady,
    /// Jogs slowly and walks fast
    Overlapping,
    /// Jogs hardly faster than they walk
    Indistinct,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum InRangeName {
    /// The least
    Least,
    /// Something between, drawn
    Inside,
    /// The most
    Most,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum GpsName {
    Clean,
    Typical,
    Bad,
    /// Errors of 3 to 6 m that change within seconds
    Coarse,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum SamplingName {
    /// Every second
    #[value(name = "1s")]
    EverySecond,
    /// Every 3 to 8 s
    Smart,
    /// Every 2, 3, 4 or 5 s, by runner
    Slow,
    /// Every second with 71 of 100 runners, else every 3 to 8 s
    Drawn,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum LapsName {
    /// One for the session
    Whole,
    /// One a step
    Steps,
    /// One a kilometre
    Km,
    /// One a step, run from the workout of `plan export`, which stands in the file (FIT only); of ranges the least is done
    Workout,
}

pub(super) fn run(args: &Args, io: &mut Io<'_>) -> Result<Done, Failure> {
    let (format, packed) = format_of(args);
    if args.treadmill && format == Format::Gpx {
        return Err(Failure::refused("GPX cannot hold samples without a position")
            .hint("use FIT or TCX for a treadmill"));
    }
    refuse_too_many(args)?;
    let wanted: Vec<&Path> = std::iter::once(&args.out).chain(&args.truth).map(PathBuf::as_path).collect();
    let outputs = files::outputs(&wanted, &[&args.plan])?;
    let plan = files::plan(&args.plan, &mut Vec::new())?;
    let stage = case::stage(&plan, Some(&args.stage))?;
    let mut settings = settings(args, stage, format);
    if matches!(settings.laps, Laps::Workout) {
        settings.workout = Some(workout_of(&plan, stage, None));
        settings.in_range = InRange::Least;
    }
    let simulated = make(stage, &settings)?;
    let bytes = write(&simulated, format).map_err(|error| refused(&error))?;
    let bytes = if packed { gzip(&bytes) } else { bytes };
    let truth = simulated.truth_json();
    files::write_together(&outputs, &[&bytes, truth.as_bytes()])?;
    let end_s = simulated.truth.last().map_or(0.0, |b| b.end_s);
    let samples = simulated.recording.samples().len();
    io.remark(&format!("wrote {}: {samples} samples over {end_s:.0} s\n", named_output(&args.out)));
    Ok(Done::Plain)
}

/// Makes up a session of a stage; where its number of steps depends on the runner, for the runner who is drawn.
pub(super) fn make(stage: &Stage, settings: &Settings) -> Result<Simulated, Failure> {
    let steps = jogaudit_simulate::steps_of(&stage.session, settings);
    simulate(&steps, settings).map_err(|error| refused(&error))
}

pub(super) fn refused(error: &SimulateError) -> Failure {
    Failure::refused("could not make up the session").caused_by(error)
}

fn settings(args: &Args, stage: &Stage, format: Format) -> Settings {
    Settings {
        seed: args.seed,
        runner_seed: args.runner_seed,
        form: Form::default(),
        format,
        start: args.start,
        utc_offset_s: None,
        realism: match args.realism {
            RealismName::Ideal => Realism::Ideal,
            RealismName::Realistic => Realism::Realistic,
        },
        profile: match args.profile {
            ProfileName::Steady => Profile::Steady,
            ProfileName::Overlapping => Profile::Overlapping,
            ProfileName::Indistinct => Profile::Indistinct,
        },
        in_range: match args.in_range {
            InRangeName::Least => InRange::Least,
            InRangeName::Inside => InRange::Inside,
            InRangeName::Most => InRange::Most,
        },
        kept: Kept::from(&stage.limits),
        hills: args.hills,
        faults: args.fault.clone(),
        gps: match args.gps {
            GpsName::Clean => Gps::Clean,
            GpsName::Typical => Gps::Typical,
            GpsName::Bad => Gps::Bad,
            GpsName::Coarse => Gps::Coarse,
        },
        sampling: match args.sampling {
            None if args.realism == RealismName::Realistic => Sampling::Drawn,
            None | Some(SamplingName::EverySecond) => Sampling::EverySecond,
            Some(SamplingName::Smart) => Sampling::Smart,
            Some(SamplingName::Slow) => Sampling::Slow,
            Some(SamplingName::Drawn) => Sampling::Drawn,
        },
        missing: args.missing / 100.0,
        channels: channels(args),
        cadence_step: if args.half_strides { CadenceStep::HalfStride } else { CadenceStep::Stride },
        longest_lag_s: args.lag,
        lap_late_s: 0.0,
        guesses: Guesses::None,
        laps: match args.laps {
            LapsName::Whole => Laps::Whole,
            LapsName::Steps => Laps::Steps,
            LapsName::Km => Laps::Kilometres,
            LapsName::Workout => Laps::Workout,
        },
        workout: None,
        pauses: args.pause.clone(),
        holes: args.hole.clone(),
        cadence_faults: args.cadence_fault.clone(),
        cadence_damage: None,
    }
}

fn channels(args: &Args) -> Channels {
    let base = if args.positions_only {
        Channels::POSITIONS_ONLY
    } else if args.treadmill {
        Channels::TREADMILL
    } else {
        Channels::ALL
    };
    Channels {
        cadence: base.cadence && !args.no_cadence,
        heart_rate: base.heart_rate && !args.no_heart_rate,
        ..base
    }
}

/// The format as named, else as the file's name ends, else FIT; and whether to pack.
fn format_of(args: &Args) -> (Format, bool) {
    let name = args.out.to_string_lossy().to_lowercase();
    let inner = name.strip_suffix(".gz");
    let by_name = match Path::new(inner.unwrap_or(&name)).extension().and_then(|e| e.to_str()) {
        Some("gpx") => Format::Gpx,
        Some("tcx") => Format::Tcx,
        _ => Format::Fit,
    };
    let format = match args.format {
        Some(FormatName::Fit) => Format::Fit,
        Some(FormatName::Gpx) => Format::Gpx,
        Some(FormatName::Tcx) => Format::Tcx,
        None => by_name,
    };
    (format, args.gzip || inner.is_some())
}

fn percent(text: &str) -> Result<f64, String> {
    match text.trim_end_matches(['%', ' ']).parse::<f64>() {
        Ok(value) if (0.0..100.0).contains(&value) => Ok(value),
        _ => Err("a number from 0 to below 100 is expected".to_owned()),
    }
}

/// Longest stretch, lag or moment that is taken, s, our choice.
const DAY_S: f64 = 86_400.0;
/// Longest lag of a recorder's smoothing, s, our choice.
const MOST_LAG_S: f64 = 60.0;
/// Faults, pauses, holes and wrong stretches of cadence, each, our choice.
const MOST_OF_EACH: usize = 100;

fn refuse_too_many(args: &Args) -> Result<(), Failure> {
    let counts = [
        ("--fault", args.fault.len()),
        ("--pause", args.pause.len()),
        ("--hole", args.hole.len()),
        ("--cadence-fault", args.cadence_fault.len()),
    ];
    match counts.into_iter().find(|(_, count)| *count > MOST_OF_EACH) {
        Some((name, count)) => Err(Failure::refused(format!(
            "{name} is given {count} times; {MOST_OF_EACH} times at most are taken"
        ))),
        None => Ok(()),
    }
}

fn lag(text: &str) -> Result<f64, String> {
    let value = seconds(text).ok().filter(|value| *value <= MOST_LAG_S);
    value.ok_or_else(|| format!("a number of seconds from 0 to {MOST_LAG_S} is expected"))
}

fn seconds(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if (0.0..=DAY_S).contains(&value) => Ok(value),
        _ => Err(format!("a number of seconds from 0 to {DAY_S} is expected")),
    }
}

fn window(text: &str) -> Result<Window, String> {
    let (length, at) = match text.split_once('@') {
        Some((length, at)) => (length, Some(seconds(at)?)),
        None => (text, None),
    };
    let length_s = seconds(length)?;
    if length_s < 1.0 {
        return Err("a stretch of at least 1 s is expected".to_owned());
    }
    Ok(Window { at_s: at, length_s })
}

fn cadence_fault(text: &str) -> Result<CadenceFault, String> {
    let (kind, rest) = text.split_once(':').ok_or("KIND:SECONDS is expected")?;
    let kind = match kind {
        "half" => CadenceFaultKind::Half,
        "double" => CadenceFaultKind::Double,
        "drop-out" => CadenceFaultKind::DropOut,
        "held" => CadenceFaultKind::Held,
        "held-after-stop" => CadenceFaultKind::HeldAfterStop,
        _ => return Err("the kinds are half, double, drop-out, held and held-after-stop".to_owned()),
    };
    Ok(CadenceFault { kind, window: window(rest)? })
}
