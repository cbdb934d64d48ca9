//! The three tables: recordings, bouts, reps. Figures are rounded here, once, when they are written.

use std::fmt::Write as _;

use jogaudit_core::audit::{Code, Dose, Finding, Outcome, Rep};
use jogaudit_core::gait::{Bout, Gait};
use jogaudit_core::prescription::PrescribedDose;
use jogaudit_core::range::Range;
use jogaudit_core::review::{Pattern, StageSource};
use jogaudit_recording::read::{Channel, Facts, Sport};
use jogaudit_recording::units::{Metres, Seconds, Unit};
use jogaudit_report::view::{certainty, hundredths, known, tenths, whole_steps};

use super::scored::{Done, ERROR_CODES, InCase, Scored};
use super::table::{Field, Table};
use super::value::CellKind::{Flag, Instant, Real, Text, Whole};
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
    let mut table = Table::new("jogaudit.batch/2", "a recording", |_| 1);
    identity(&mut table);
    let about =
        "SHA-256 of the file's bytes, with --sha256 or --provenance; with --pseudonymise a keyed hash of it";
    table.add("sha256", "", Text, about, |s, _| s.sha256.clone());
    table.add("format", "", Text, "`fit`, `gpx` or `tcx`", of_facts(|f| f.format.name()));
    table.add(
        "sport",
        "",
        Text,
        "`running`, `walking`, `unspecified`, or the file's own word",
        of_facts(|f| Value::from(sport(&f.sport))),
    );
    table.add("start", "UTC", Instant, "Time of the first sample", |s, _| s.start);
    table.add("elapsed_s", "s", Real, "From the first to the last sample, pauses included", |s, _| {
        known(s.elapsed_s, tenths)
    });
    table.add("samples", "", Whole, "Samples that were read", of_facts(|f| f.samples));
    for channel in Channel::ALL {
        let word = channel.word();
        let about = format!("Whether the recorder gave any {}", word.replace('_', " "));
        let has = of_facts(move |f| f.channels.contains(&channel));
        table.add(format!("has_{word}"), "", Flag, about, has);
    }
    let about =
        "`overdone`, `kept`, `underdone` or `undecided` (the data cannot tell); empty for what is no session";
    table.add("outcome", "", Text, about, of_done(|d| d.outcome.map(Outcome::word)));
    doses(&mut table);
    gaits(&mut table);
    running(&mut table);
    certainties(&mut table);
    findings(&mut table);
    table.add("notices", "", Text, "Codes of what was noticed, each once, separated by spaces", |s, _| {
        codes(s)
    });
    in_case(&mut table);
    table.add("error_code", "", Text, "Why nothing could be read; empty when it could", |s, _| {
        s.error.as_ref().map(|error| error.code)
    });
    table.add("error_text", "", Text, "The same in a sentence", |s, _| {
        s.error.as_ref().map(|error| error.text.as_str()).map(Value::from)
    });
    table.add("tool_version", "", Text, "Version of jogaudit", |_, _| VERSION);
    table
}

/// The table with one line a bout.
pub(super) fn bouts() -> Table {
    let mut table =
        Table::new("jogaudit.batch.bouts/2", "a bout", |s| done(s).map_or(0, |d| d.bouts().len()));
    identity(&mut table);
    table.add("bout", "", Whole, "Number within the recording, from 1", |_, line| line + 1);
    table.add("gait", "", Text, "`run`, `walk`, `stand` or `unknown`", of_bout(|b| b.gait.word()));
    let about = "Beginning, from the start of the recording";
    table.add("start_s", "s", Real, about, of_bout(|b| tenths(b.start_s)));
    table.add("end_s", "s", Real, "End", of_bout(|b| tenths(b.end_s)));
    table.add("certainty", "probability", Real, "How sure the gait is", of_bout(|b| certainty(b.certainty)));
    table.add("distance_m", "m", Real, "Distance covered", of_bout(|b| known(b.distance_m, tenths)));
    table.add("mean_speed_mps", "m/s", Real, "Mean speed", of_bout(|b| known(b.mean_speed_mps, hundredths)));
    let fill = of_bout(|b| known(b.mean_cadence_spm, tenths));
    table.add("mean_cadence_spm", "steps/min", Real, "Mean cadence, both feet", fill);
    let fill = of_bout(|b| known(b.mean_heart_rate_bpm, tenths));
    table.add("mean_heart_rate_bpm", "beats/min", Real, "Mean heart rate", fill);
    table
}

/// The table with one line a prescribed run or walk.
pub(super) fn reps() -> Table {
    type Figure = fn(&Rep) -> Option<f64>;
    const FIGURES: [(&str, &str, &str, Figure); 17] = [
        ("prescribed_s", "s", "Prescribed length, when by time and one figure", |r| r.prescribed_s?.exact()),
        ("prescribed_m", "m", "Prescribed length, when by distance and one figure", |r| {
            r.prescribed_m?.exact()
        }),
        ("achieved_s", "s", "Time in that gait; 0 when missing", |r| Some(r.achieved_s)),
        ("achieved_m", "m", "Distance in that gait", |r| r.achieved_m),
        ("error_s", "s", "Standard error of `achieved_s`", |r| Some(r.error_s)),
        ("stand_s", "s", "Standing inside", |r| Some(r.stand_s)),
        ("start_s", "s", "Beginning, from the start of the recording", |r| r.start_s),
        ("end_s", "s", "End", |r| r.end_s),
        ("mean_pace_s_per_km", "s/km", "Mean pace over the ground", |r| r.mean_pace_s_per_km),
        ("level_pace_s_per_km", "s/km", "Mean pace on level ground of the same cost", |r| {
            r.level_pace_s_per_km
        }),
        ("over_ceiling_s", "s", "Time faster than the pace ceiling", |r| r.over_ceiling_s),
        ("mean_cadence_spm", "steps/min", "Mean cadence, both feet", |r| r.mean_cadence_spm),
        ("max_heart_rate_bpm", "beats/min", "Greatest heart rate", |r| r.max_heart_rate_bpm),
        ("prescribed_least_s", "s", "The least that is prescribed, when by time", |r| {
            Some(r.prescribed_s?.least)
        }),
        ("prescribed_most_s", "s", "The most, when by time and there is one", |r| Some(r.prescribed_s?.most)),
        ("prescribed_least_m", "m", "The least that is prescribed, when by distance", |r| {
            Some(r.prescribed_m?.least)
        }),
        ("prescribed_most_m", "m", "The most, when by distance and there is one", |r| {
            Some(r.prescribed_m?.most)
        }),
    ];
    let line = "a prescribed run or walk";
    let mut table = Table::new("jogaudit.batch.reps/2", line, |s| done(s).map_or(0, |d| d.reps().len()));
    identity(&mut table);
    table.add("gait", "", Text, "`run`, `walk` or `rest`", of_rep(|r| r.motion.word()));
    table.add("rep", "", Whole, "Number among the runs or walks, from 1", of_rep(|r| u64::from(r.rep)));
    for (name, unit, about, figure) in FIGURES {
        table.add(name, unit, Real, about, of_rep(move |r| known(figure(r), tenths)));
    }
    table
}

/// The columns by which the three tables are joined.
fn identity(table: &mut Table) {
    let about = "Path as named or found; with --pseudonymise its keyed hash";
    table.add("path", "", Text, about, |s, _| Value::from(s.path.as_str()));
    let about = "Number of the activity in its file, from 1";
    table.add("activity", "", Whole, about, |s, _| s.activity);
    let about = "BLAKE3 of the file's bytes; with --pseudonymise a keyed hash of it";
    table.add("blake3", "", Text, about, |s, _| s.blake3.clone());
    let about = "From the roster, or the folder of the case; with --pseudonymise its keyed hash";
    table.add("participant", "", Text, about, |s, _| s.participant.clone());
    table.add("plan", "", Text, "Title of the plan", |s, _| s.plan.clone());
    table.add("stage", "", Text, "Name of the stage; empty where it cannot be told", |s, _| s.stage.clone());
}

fn doses(table: &mut Table) {
    type Prescribed = fn(&PrescribedDose) -> Option<Range<Seconds>>;
    type Achieved = fn(&Dose) -> Option<f64>;
    let doses: [(_, _, Prescribed, Achieved); 3] = [
        ("run", "Running time", |p| p.run, |d| d.run_s.achieved),
        ("walk", "Walking time", |p| p.walk, |d| d.walk_s.achieved),
        ("session", "Length of the session", |p| p.session, |d| d.session_s.achieved),
    ];
    for (name, what, prescribed, achieved) in doses {
        let about = format!("{what} as prescribed, where the stage says it by time and as one figure");
        let exact = move |dose: &PrescribedDose| prescribed(dose).and_then(|range| range.exact());
        let fill = of_done(move |d| known(d.prescribed.as_ref().and_then(exact).map(Seconds::get), tenths));
        table.add(format!("{name}_prescribed_s"), "s", Real, about, fill);
        let about = match name {
            "session" => format!("{what} as done"),
            _ => format!(
                "{what} as done: that of `{name}_s` where it is held against a stage, empty elsewhere"
            ),
        };
        let fill = of_done(move |d| known(d.dose().and_then(achieved), tenths));
        table.add(format!("{name}_achieved_s"), "s", Real, about, fill);
    }
    let about = "Running distance as prescribed, where every run is by distance";
    let fill = of_done(|d| {
        let exact = d.prescribed.as_ref().and_then(|dose| dose.run_distance?.exact());
        known(exact.map(Metres::get), tenths).filter(|metres| *metres > 0.0)
    });
    table.add("run_prescribed_m", "m", Real, about, fill);
    let about = "Running distance as done";
    let fill = of_done(|d| known(d.dose().and_then(|dose| dose.run_distance_m), tenths));
    table.add("run_achieved_m", "m", Real, about, fill);
    let about = "Steps while running, both feet";
    let fill = of_done(|d| whole_steps(d.dose().and_then(|dose| dose.run_steps)));
    table.add("run_steps", "steps", Whole, about, fill);
    for (name, what, prescribed, _) in doses {
        let about = format!("{what}: the least that is prescribed, where the stage says it by time");
        let fill = of_done(move |d| {
            known(d.prescribed.as_ref().and_then(prescribed).map(|range| range.least.get()), tenths)
        });
        table.add(format!("{name}_prescribed_least_s"), "s", Real, about, fill);
        let about = format!("{what}: the most that is prescribed, where there is one");
        let fill = of_done(move |d| {
            known(d.prescribed.as_ref().and_then(prescribed).map(|range| range.most.get()), tenths)
        });
        table.add(format!("{name}_prescribed_most_s"), "s", Real, about, fill);
    }
}

fn gaits(table: &mut Table) {
    const GAITS: [Gait; 4] = [Gait::Run, Gait::Walk, Gait::Stand, Gait::Unknown];
    for gait in GAITS {
        let about = format!("Time in bouts of gait `{}`, held against a stage or not", gait.word());
        let fill = of_done(move |d| tenths(of_gait(d, gait).map(Bout::duration_s).sum()));
        table.add(format!("{}_s", gait.word()), "s", Real, about, fill);
    }
    for gait in GAITS {
        let about = format!("Bouts of gait `{}`", gait.word());
        let fill = of_done(move |d| of_gait(d, gait).count());
        table.add(format!("{}_bouts", gait.word()), "", Whole, about, fill);
    }
    let about = "Longest bout of running; 0 without any";
    let fill = of_done(|d| tenths(of_gait(d, Gait::Run).map(Bout::duration_s).fold(0.0, f64::max)));
    table.add("longest_run_s", "s", Real, about, fill);
    let about = "Distance of all bouts whose distance is known";
    let fill = of_done(|d| sum(d.bouts().iter().filter_map(|bout| bout.distance_m)));
    table.add("distance_m", "m", Real, about, fill);
}

/// Means over all running.
fn running(table: &mut Table) {
    let about = "Mean pace of all running: its time by its distance";
    table.add("run_pace_s_per_km", "s/km", Real, about, of_done(run_pace));
    let about = "Mean cadence of all running, both feet";
    let fill =
        of_done(|d| mean(of_gait(d, Gait::Run).map(|bout| (bout.duration_s(), bout.mean_cadence_spm))));
    table.add("run_cadence_spm", "steps/min", Real, about, fill);
    let about = "Mean heart rate of all running";
    let fill =
        of_done(|d| mean(of_gait(d, Gait::Run).map(|bout| (bout.duration_s(), bout.mean_heart_rate_bpm))));
    table.add("run_heart_rate_bpm", "beats/min", Real, about, fill);
    let about =
        "Running time faster than the pace ceiling, beyond tolerance and error; empty without a ceiling";
    let fill = of_done(|d| sum(d.reps().iter().filter_map(|rep| rep.over_ceiling_s)));
    table.add("over_pace_ceiling_s", "s", Real, about, fill);
    let about = "Time of the findings `heart_rate_too_high`; empty without any";
    let fill = of_done(|d| {
        let found = of_code(d, Code::HeartRateTooHigh);
        sum(found.filter_map(|finding| Some(finding.end_s? - finding.start_s?)))
    });
    table.add("over_heart_rate_ceiling_s", "s", Real, about, fill);
}

fn certainties(table: &mut Table) {
    let about = "Certainty of the least certain bout";
    let fill = of_done(|d| known(known_bouts(d).map(|bout| bout.certainty).reduce(f64::min), certainty));
    table.add("certainty_least", "probability", Real, about, fill);
    let about = "Mean certainty of the bouts, weighted by their length";
    let fill = of_done(|d| {
        let weights = known_bouts(d).map(|bout| (bout.duration_s(), Some(bout.certainty)));
        known(weighted_mean(weights), certainty)
    });
    table.add("certainty_mean", "probability", Real, about, fill);
}

fn findings(table: &mut Table) {
    let about = "Findings that too much was done, whatever their certainty";
    let fill = of_done(|d| d.findings().iter().filter(|finding| finding.code.is_overdoing()).count());
    table.add("overdoing_findings", "", Whole, about, fill);
    for (code, units) in OVERDOING {
        let word = code.word();
        let about = format!("Findings `{word}`");
        table.add(format!("{word}_count"), "", Whole, about, of_done(move |d| of_code(d, code).count()));
        for unit in units.iter().copied() {
            let name = format!("{word}_excess_{}", unit.word().replace('/', "_per_"));
            let about = format!("Greatest excess of the findings `{word}` in this unit");
            let fill = of_done(move |d| {
                let of_unit = of_code(d, code).filter(|finding| finding.unit == unit);
                known(of_unit.filter_map(|finding| finding.excess).reduce(f64::max), tenths)
            });
            table.add(name, unit.word(), Real, about, fill);
        }
        let about = format!("Certainty of the finding `{word}` with the greatest excess");
        let fill = of_done(move |d| known(certainty_of_greatest(d, code), certainty));
        table.add(format!("{word}_certainty"), "probability", Real, about, fill);
    }
    for code in OTHER {
        let word = code.word();
        let about = format!("Findings `{word}`: less than prescribed");
        table.add(format!("{word}_count"), "", Whole, about, of_done(move |d| of_code(d, code).count()));
    }
}

/// What a recording is to the case that it lies in; empty elsewhere.
fn in_case(table: &mut Table) {
    type Score = fn(&InCase) -> Option<f64>;
    const SCORES: [(&str, &str, Score); 3] = [
        ("pain_during", "Pain during the session, by the diary of that day", |s| s.pain_during),
        ("pain_next_morning", "Pain on the morning after, by the diary of that day", |s| s.pain_next_morning),
        ("effort", "Effort of the session, by the diary of that day", |s| s.effort),
    ];
    let about = "Number of the session in its case, from 1; recordings of one in parts share it";
    table.add("session", "", Whole, about, of_session(|s| s.number));
    let about = "Day of the session where the case's days are counted";
    table.add("session_date", "", Text, about, of_session(|s| s.date.map(|date| date.to_string())));
    let about = "`session` of the plan, or outside it a `walk` or an `unplanned_run`";
    table.add("session_kind", "", Text, about, of_session(|s| s.kind.word()));
    let about = "How the stage is known: `given` in stages.csv, or `recognised`";
    table.add("stage_from", "", Text, about, of_session(|s| s.stage_from.map(StageSource::word)));
    let about = "How sure it is that this is the stage, where it is recognised";
    let fill = of_session(|s| known(s.stage_certainty, certainty));
    table.add("stage_certainty", "probability", Real, about, fill);
    let about = "Repetitions that were due, where their number rises from session to session";
    table.add("repetitions_due", "", Whole, about, of_session(|s| s.repetitions.map(u64::from)));
    for (name, about, score) in SCORES {
        table.add(name, "of 10", Real, about, of_session(score));
    }
    let about =
        "When the pain was felt, by the diary: a word of its column `pain_pattern`, of several the gravest";
    table.add("pain_pattern", "", Text, about, of_session(|s| s.pain_pattern.map(Pattern::word)));
    let about = "Why it is no session: `not_on_foot`, `duplicate`, `agreed_training`; empty when it is one";
    table.add("left_out", "", Text, about, |s, _| s.left_out.as_ref().map(|left| left.code));
    table.add("left_out_text", "", Text, "The same in a sentence", |s, _| {
        s.left_out.as_ref().map(|left| left.text.as_str()).map(Value::from)
    });
}

fn done(scored: &Scored) -> Option<&Done> {
    scored.done.as_ref()
}

fn of_done<T: Into<Value>>(of: impl Fn(&Done) -> T) -> impl Fn(&Scored, usize) -> Option<T> {
    move |scored, _| done(scored).map(&of)
}

fn of_facts<T: Into<Value>>(of: impl Fn(&Facts) -> T) -> impl Fn(&Scored, usize) -> Option<T> {
    move |scored, _| scored.facts.as_ref().map(&of)
}

fn of_session<T: Into<Value>>(of: impl Fn(&InCase) -> T) -> impl Fn(&Scored, usize) -> Option<T> {
    move |scored, _| scored.session.as_ref().map(&of)
}

fn of_bout<T: Into<Value>>(of: impl Fn(&Bout) -> T) -> impl Fn(&Scored, usize) -> Option<T> {
    move |scored, line| done(scored).and_then(|done| done.bouts().get(line)).map(&of)
}

fn of_rep<T: Into<Value>>(of: impl Fn(&Rep) -> T) -> impl Fn(&Scored, usize) -> Option<T> {
    move |scored, line| done(scored).and_then(|done| done.reps().get(line)).map(&of)
}

fn of_gait(done: &Done, gait: Gait) -> impl Iterator<Item = &Bout> {
    done.bouts().iter().filter(move |bout| bout.gait == gait)
}

fn known_bouts(done: &Done) -> impl Iterator<Item = &Bout> {
    done.bouts().iter().filter(|bout| bout.gait != Gait::Unknown)
}

fn of_code(done: &Done, code: Code) -> impl Iterator<Item = &Finding> {
    done.findings().iter().filter(move |finding| finding.code == code)
}

/// Certainty of the finding with the greatest excess; of equals, and across units, the most certain.
fn certainty_of_greatest(done: &Done, code: Code) -> Option<f64> {
    let key = |finding: &Finding| (finding.excess.unwrap_or(0.0), finding.certainty);
    of_code(done, code).map(key).reduce(|a, b| if b > a { b } else { a }).map(|(_, certainty)| certainty)
}

/// Sum to a tenth; nothing of nothing.
fn sum(values: impl Iterator<Item = f64>) -> Option<f64> {
    known(values.reduce(|sum, value| sum + value), tenths)
}

/// Mean of the known values by their weights.
fn weighted_mean(values: impl Iterator<Item = (f64, Option<f64>)>) -> Option<f64> {
    let known = values.filter_map(|(weight, value)| value.map(|value| (weight, value)));
    let (sum, weights) =
        known.fold((0.0, 0.0), |(sum, weights), (weight, value)| (sum + weight * value, weights + weight));
    (weights > 0.0).then(|| sum / weights)
}

/// The same to a tenth.
fn mean(values: impl Iterator<Item = (f64, Option<f64>)>) -> Option<f64> {
    known(weighted_mean(values), tenths)
}

fn run_pace(done: &Done) -> Option<f64> {
    let runs = of_gait(done, Gait::Run).filter_map(|bout| Some((bout.duration_s(), bout.distance_m?)));
    let (time_s, distance_m) =
        runs.fold((0.0, 0.0), |(s, m), (time_s, distance_m)| (s + time_s, m + distance_m));
    known((distance_m > 0.0).then(|| time_s / distance_m * 1000.0), tenths)
}

/// The sport in one word; a file's own without what would act on a terminal.
fn sport(sport: &Sport) -> String {
    sport.word().unwrap_or("unspecified").chars().filter(|c| !c.is_control()).collect()
}

fn codes(scored: &Scored) -> String {
    let mut codes: Vec<&str> = Vec::new();
    for notice in &scored.notices {
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
