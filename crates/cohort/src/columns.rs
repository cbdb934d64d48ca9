//! The three tables: recordings, bouts, reps.

use std::fmt::Write as _;

use jogaudit_core::audit::Code;
use jogaudit_core::gait::Gait;
use jogaudit_recording::units::Unit;
use jogaudit_report::CheckView;
use jogaudit_report::view::{BoutView, FindingView, RepView, tenths};

use super::scored::{Done, ERROR_CODES, Scored};
use super::table::{Field, Table};
use super::value::Kind::{Flag, Instant, Real, Text, Whole};
use super::value::Value;

/// The version that made the table.
pub(super) const VERSION: &str = env!("CARGO_PKG_VERSION");

/// Overdoing codes of a session with the unit of their excess.
const OVERDOING: [(Code, &[Unit]); 9] = [
    (Code::RunTooLong, &[Unit::Seconds, Unit::Metres]),
    (Code::RunTooFast, &[Unit::SecondsPerKilometre]),
    (Code::HeartRateTooHigh, &[Unit::BeatsPerMinute]),
    (Code::WalkCutShort, &[Unit::Seconds, Unit::Metres]),
    (Code::WalkMissing, &[Unit::Seconds]),
    (Code::RepExtra, &[Unit::Seconds]),
    (Code::RunningTimeOver, &[Unit::Seconds]),
    (Code::SessionTooLong, &[Unit::Seconds]),
    (Code::UnplannedRun, &[Unit::Seconds]),
];
const OTHER: [Code; 3] = [Code::RunTooShort, Code::RepMissing, Code::WalkTooSlow];

/// The table with one line a recording.
pub(super) fn recordings() -> Table {
    let mut table = Table::new("jogaudit.batch/1", "a recording", |_| 1);
    identity(&mut table);
    table.add("format", "", Text, "`fit`, `gpx` or `tcx`", of_view(|v| v.recording.format));
    table.add(
        "sport",
        "",
        Text,
        "`running`, `walking`, `unspecified`, or the file's own word",
        of_done(|d| Value::from(d.sport.as_str())),
    );
    table.add("start", "UTC", Instant, "Time of the first sample", of_done(|d| d.start));
    table.add(
        "elapsed_s",
        "s",
        Real,
        "From the first to the last sample, pauses included",
        of_view(|v| v.recording.elapsed_s),
    );
    table.add("samples", "", Whole, "Samples that were read", of_view(|v| v.recording.samples));
    for channel in ["speed", "cadence", "heart_rate", "position", "altitude"] {
        let about = format!("Whether the recorder gave any {}", channel.replace('_', " "));
        table.add(
            format!("has_{channel}"),
            "",
            Flag,
            about,
            of_view(move |v| v.recording.has.contains(&channel)),
        );
    }
    let outcome = "`overdone`, `kept`, `underdone` or `undecided` (the data cannot tell)";
    table.add("outcome", "", Text, outcome, of_view(|v| v.outcome.word()));
    doses(&mut table);
    gaits(&mut table);
    findings(&mut table);
    table.add(
        "notices",
        "",
        Text,
        "Codes of what was noticed, each once, separated by spaces",
        of_view(codes),
    );
    table.add("error_code", "", Text, "Why there is no result; empty when there is one", |s, _| {
        s.done.as_ref().err().map(|error| error.code)
    });
    table.add("error_text", "", Text, "The same in a sentence", |s, _| {
        s.done.as_ref().err().map(|error| error.text.as_str()).map(Value::from)
    });
    table.add("tool_version", "", Text, "Version of jogaudit", |_, _| VERSION);
    table
}

/// The table with one line a bout.
pub(super) fn bouts() -> Table {
    let mut table = Table::new("jogaudit.batch.bouts/1", "a bout", |s| view(s).map_or(0, |v| v.bouts.len()));
    identity(&mut table);
    table.add("bout", "", Whole, "Number within the recording, from 1", |_, line| line + 1);
    table.add("gait", "", Text, "`run`, `walk`, `stand` or `unknown`", of_bout(|b| b.gait.word()));
    table.add("start_s", "s", Real, "Beginning, from the start of the recording", of_bout(|b| b.start_s));
    table.add("end_s", "s", Real, "End", of_bout(|b| b.end_s));
    table.add("certainty", "probability", Real, "How sure the gait is", of_bout(|b| b.certainty));
    table.add("distance_m", "m", Real, "Distance covered", of_bout(|b| b.distance_m));
    table.add("mean_speed_mps", "m/s", Real, "Mean speed", of_bout(|b| b.mean_speed_mps));
    table.add(
        "mean_cadence_spm",
        "steps/min",
        Real,
        "Mean cadence, both feet",
        of_bout(|b| b.mean_cadence_spm),
    );
    table.add(
        "mean_heart_rate_bpm",
        "beats/min",
        Real,
        "Mean heart rate",
        of_bout(|b| b.mean_heart_rate_bpm),
    );
    table
}

/// The table with one line a prescribed run or walk.
pub(super) fn reps() -> Table {
    let line = "a prescribed run or walk";
    let mut table = Table::new("jogaudit.batch.reps/1", line, |s| view(s).map_or(0, |v| v.reps.len()));
    identity(&mut table);
    table.add("gait", "", Text, "`run` or `walk`", of_rep(|r| r.gait.word()));
    table.add("rep", "", Whole, "Number among the runs or walks, from 1", of_rep(|r| u64::from(r.rep)));
    table.add("prescribed_s", "s", Real, "Prescribed length, when by time", of_rep(|r| r.prescribed_s));
    table.add("prescribed_m", "m", Real, "Prescribed length, when by distance", of_rep(|r| r.prescribed_m));
    table.add("achieved_s", "s", Real, "Time in that gait; 0 when missing", of_rep(|r| r.achieved_s));
    table.add("achieved_m", "m", Real, "Distance in that gait", of_rep(|r| r.achieved_m));
    table.add("error_s", "s", Real, "Standard error of `achieved_s`", of_rep(|r| r.error_s));
    table.add("stand_s", "s", Real, "Standing inside", of_rep(|r| r.stand_s));
    table.add("start_s", "s", Real, "Beginning, from the start of the recording", of_rep(|r| r.start_s));
    table.add("end_s", "s", Real, "End", of_rep(|r| r.end_s));
    table.add(
        "mean_pace_s_per_km",
        "s/km",
        Real,
        "Mean pace over the ground",
        of_rep(|r| r.mean_pace_s_per_km),
    );
    table.add(
        "level_pace_s_per_km",
        "s/km",
        Real,
        "Mean pace on level ground of the same cost",
        of_rep(|r| r.level_pace_s_per_km),
    );
    table.add("over_ceiling_s", "s", Real, "Time faster than the pace ceiling", of_rep(|r| r.over_ceiling_s));
    table.add(
        "mean_cadence_spm",
        "steps/min",
        Real,
        "Mean cadence, both feet",
        of_rep(|r| r.mean_cadence_spm),
    );
    table.add(
        "max_heart_rate_bpm",
        "beats/min",
        Real,
        "Greatest heart rate",
        of_rep(|r| r.max_heart_rate_bpm),
    );
    table
}

/// The columns by which the three tables are joined.
fn identity(table: &mut Table) {
    let about = "Path as named or found; with --pseudonymise its keyed hash";
    table.add("path", "", Text, about, |s, _| Value::from(s.path.as_str()));
    let about = "SHA-256 of the file's bytes; with --pseudonymise a keyed hash of it";
    table.add("sha256", "", Text, about, |s, _| s.sha256.clone());
    let about = "From the roster; with --pseudonymise its keyed hash";
    table.add("participant", "", Text, about, |s, _| s.participant.clone());
    table.add("plan", "", Text, "Title of the plan", |s, _| s.plan.clone());
    table.add("stage", "", Text, "Name of the stage", |s, _| s.stage.clone());
}

fn doses(table: &mut Table) {
    for (name, what, amount) in [
        ("run", "Running time", (|v| v.dose.run_s) as fn(&CheckView) -> _),
        ("walk", "Walking time", |v| v.dose.walk_s),
        ("session", "Length of the session", |v| v.dose.session_s),
    ] {
        let about = format!("{what} as prescribed, where the stage says it by time");
        table.add(format!("{name}_prescribed_s"), "s", Real, about, of_view(move |v| amount(v).prescribed));
        let about = format!("{what} as done, of what the stage prescribes");
        table.add(format!("{name}_achieved_s"), "s", Real, about, of_view(move |v| amount(v).achieved));
    }
    let about = "Running distance as prescribed, where every run is by distance";
    table.add("run_prescribed_m", "m", Real, about, of_view(|v| v.dose.run_prescribed_m));
    let about = "Running distance as done";
    table.add("run_achieved_m", "m", Real, about, of_view(|v| v.dose.run_distance_m));
    table.add("run_steps", "steps", Whole, "Steps while running, both feet", of_view(|v| v.dose.run_steps));
}

fn gaits(table: &mut Table) {
    const GAITS: [Gait; 4] = [Gait::Run, Gait::Walk, Gait::Stand, Gait::Unknown];
    for gait in GAITS {
        let about = format!("Time in bouts of gait `{}`", gait.word());
        table.add(format!("{}_s", gait.word()), "s", Real, about, of_view(move |v| tenths(seconds(v, gait))));
    }
    for gait in GAITS {
        let about = format!("Bouts of gait `{}`", gait.word());
        table.add(
            format!("{}_bouts", gait.word()),
            "",
            Whole,
            about,
            of_view(move |v| of_gait(v, gait).count()),
        );
    }
    table.add(
        "longest_run_s",
        "s",
        Real,
        "Longest bout of running; 0 without any",
        of_view(|v| tenths(of_gait(v, Gait::Run).map(length).fold(0.0, f64::max))),
    );
    table.add(
        "distance_m",
        "m",
        Real,
        "Distance of all bouts whose distance is known",
        of_view(|v| {
            let known: Vec<f64> = v.bouts.iter().filter_map(|bout| bout.distance_m).collect();
            (!known.is_empty()).then(|| tenths(known.iter().sum()))
        }),
    );
    table.add(
        "run_pace_s_per_km",
        "s/km",
        Real,
        "Mean pace of all running: its time by its distance",
        of_view(run_pace),
    );
    table.add(
        "run_cadence_spm",
        "steps/min",
        Real,
        "Mean cadence of all running, both feet",
        of_view(|v| mean(of_gait(v, Gait::Run).map(|bout| (length(bout), bout.mean_cadence_spm)))),
    );
    table.add(
        "run_heart_rate_bpm",
        "beats/min",
        Real,
        "Mean heart rate of all running",
        of_view(|v| mean(of_gait(v, Gait::Run).map(|bout| (length(bout), bout.mean_heart_rate_bpm)))),
    );
    let about =
        "Running time faster than the pace ceiling, beyond tolerance and error; empty without a ceiling";
    table.add(
        "over_pace_ceiling_s",
        "s",
        Real,
        about,
        of_view(|v| {
            let known: Vec<f64> = v.reps.iter().filter_map(|rep| rep.over_ceiling_s).collect();
            (!known.is_empty()).then(|| tenths(known.iter().sum()))
        }),
    );
    let about = "Time of the findings `heart_rate_too_high`; empty without any";
    table.add("over_heart_rate_ceiling_s", "s", Real, about, of_view(over_heart_rate));
    table.add(
        "certainty_least",
        "probability",
        Real,
        "Certainty of the least certain bout",
        of_view(|v| known_bouts(v).map(|bout| bout.certainty).reduce(f64::min)),
    );
    let about = "Mean certainty of the bouts, weighted by their length";
    table.add(
        "certainty_mean",
        "probability",
        Real,
        about,
        of_view(|v| {
            let sum: f64 = known_bouts(v).map(length).sum();
            let weighted: f64 = known_bouts(v).map(|bout| length(bout) * bout.certainty).sum();
            // Rounded down, as every certainty is.
            (sum > 0.0).then(|| (weighted / sum * 1000.0).floor() / 1000.0)
        }),
    );
}

fn findings(table: &mut Table) {
    let about = "Findings that too much was done, whatever their certainty";
    table.add(
        "overdoing_findings",
        "",
        Whole,
        about,
        of_view(|v| v.findings.iter().filter(|f| f.is_overdoing).count()),
    );
    for (code, units) in OVERDOING {
        let word = code.word();
        let about = format!("Findings `{word}`");
        table.add(format!("{word}_count"), "", Whole, about, of_view(move |v| of_code(v, code).count()));
        for unit in units.iter().copied() {
            let name = format!("{word}_excess_{}", unit.word().replace('/', "_per_"));
            let about = format!("Greatest excess of the findings `{word}` in this unit");
            table.add(
                name,
                unit.word(),
                Real,
                about,
                of_view(move |v| {
                    of_code(v, code).filter(|f| f.unit == unit).filter_map(|f| f.excess).reduce(f64::max)
                }),
            );
        }
        let about = format!("Certainty of the finding `{word}` with the greatest excess");
        table.add(
            format!("{word}_certainty"),
            "probability",
            Real,
            about,
            of_view(move |v| greatest(v, code)),
        );
    }
    for code in OTHER {
        let word = code.word();
        let about = format!("Findings `{word}`: less than prescribed");
        table.add(format!("{word}_count"), "", Whole, about, of_view(move |v| of_code(v, code).count()));
    }
}

fn view(scored: &Scored) -> Option<&CheckView> {
    scored.done.as_ref().ok().map(|done| &done.view)
}

fn of_done<T: Into<Value>>(of: impl Fn(&Done) -> T) -> impl Fn(&Scored, usize) -> Option<T> {
    move |scored, _| scored.done.as_ref().ok().map(&of)
}

fn of_view<T: Into<Value>>(of: impl Fn(&CheckView) -> T) -> impl Fn(&Scored, usize) -> Option<T> {
    move |scored, _| view(scored).map(&of)
}

fn of_bout<T: Into<Value>>(of: impl Fn(&BoutView) -> T) -> impl Fn(&Scored, usize) -> Option<T> {
    move |scored, line| view(scored).and_then(|view| view.bouts.get(line)).map(&of)
}

fn of_rep<T: Into<Value>>(of: impl Fn(&RepView) -> T) -> impl Fn(&Scored, usize) -> Option<T> {
    move |scored, line| view(scored).and_then(|view| view.reps.get(line)).map(&of)
}

fn of_gait<'a>(view: &'a CheckView, gait: Gait) -> impl Iterator<Item = &'a BoutView> {
    view.bouts.iter().filter(move |bout| bout.gait == gait)
}

fn known_bouts(view: &CheckView) -> impl Iterator<Item = &BoutView> {
    view.bouts.iter().filter(|bout| bout.gait != Gait::Unknown)
}

fn of_code<'a>(view: &'a CheckView, code: Code) -> impl Iterator<Item = &'a FindingView> {
    view.findings.iter().filter(move |finding| finding.code == code)
}

/// Certainty of the finding with the greatest excess; of equals, and across units, the most certain.
fn greatest(view: &CheckView, code: Code) -> Option<f64> {
    let key = |finding: &FindingView| (finding.excess.unwrap_or(0.0), finding.certainty);
    of_code(view, code).map(key).reduce(|a, b| if b > a { b } else { a }).map(|(_, certainty)| certainty)
}

fn length(bout: &BoutView) -> f64 {
    bout.end_s - bout.start_s
}

fn seconds(view: &CheckView, gait: Gait) -> f64 {
    of_gait(view, gait).map(length).sum()
}

/// Mean of the known values by their weights, rounded to a tenth.
fn mean(values: impl Iterator<Item = (f64, Option<f64>)>) -> Option<f64> {
    let known = values.filter_map(|(weight, value)| value.map(|value| (weight, value)));
    let (sum, weights) =
        known.fold((0.0, 0.0), |(sum, weights), (weight, value)| (sum + weight * value, weights + weight));
    (weights > 0.0).then(|| tenths(sum / weights))
}

fn run_pace(view: &CheckView) -> Option<f64> {
    let known = of_gait(view, Gait::Run).filter_map(|bout| bout.distance_m.map(|m| (length(bout), m)));
    let (time_s, distance_m) =
        known.fold((0.0, 0.0), |(s, m), (time_s, distance_m)| (s + time_s, m + distance_m));
    (distance_m > 0.0).then(|| tenths(time_s / distance_m * 1000.0))
}

fn over_heart_rate(view: &CheckView) -> Option<f64> {
    let spans: Vec<f64> = of_code(view, Code::HeartRateTooHigh)
        .filter_map(|finding| Some(finding.end_s? - finding.start_s?))
        .collect();
    (!spans.is_empty()).then(|| tenths(spans.iter().sum()))
}

fn codes(view: &CheckView) -> String {
    let mut codes: Vec<&str> = Vec::new();
    for notice in &view.notices {
        let word = notice.code.word();
        if !codes.contains(&word) {
            codes.push(word);
        }
    }
    codes.join(" ")
}

/// Writes `docs/columns.md`: every column of every table, and every error code.
pub fn columns_page() -> String {
    let mut page = String::from(
        "# Columns of the tables\n\nMade from the table in the code that also makes the Parquet schema, the CSV header and the \
         NDJSON keys. A value that is not\nknown is null (empty in CSV), never 0. Certainties are rounded down to three decimals, \
         seconds and metres rounded to one.\nNo table has coordinates.\n\n| kind | Parquet | CSV | NDJSON |\n|---|---|---|---|\n\
         | text | string | text; see `docs/batch.md` on formulas | string |\n| whole number | int64 | digits | number |\n\
         | number | double | decimal point | number |\n| true or false | boolean | `true`, `false` | boolean |\n\
         | instant | timestamp, microseconds, UTC | `2026-03-02T07:10:00Z` | string |\n",
    );
    for (option, table) in [("--out", recordings()), ("--bouts", bouts()), ("--reps", reps())] {
        let head = format!("\n## `{option}`: {}, one row {}\n\n", table.schema, table.line);
        page.push_str(&head);
        page.push_str("| column | unit | kind | what it says |\n|---|---|---|---|\n");
        for Field { name, unit, kind, about } in &table.fields {
            let _ = writeln!(page, "| `{name}` | {unit} | {} | {about} |", kind.word());
        }
    }
    page.push_str("\n## Error codes\n\n| code | meaning |\n|---|---|\n");
    for (code, meaning) in ERROR_CODES {
        let _ = writeln!(page, "| `{code}` | {meaning} |");
    }
    page
}
