//! Hostile runs: a command and the folder that it is run in, both drawn from a seed.

use std::fmt::Write as _;

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use zip::CompressionMethod;

use super::damage::{damaged, disordered, odd, one_in, pick};
use super::recordings::{SESSION, Seeds, zipped};

/// What stands in the folder of a run.
pub(super) enum Entry {
    File(Vec<u8>),
    /// A file that may not be read.
    Closed(Vec<u8>),
    Folder,
    /// A link to this.
    Link(&'static str),
    Pipe,
    Socket,
}

/// A run of the command.
#[derive(Default)]
pub(super) struct Run {
    pub(super) args: Vec<String>,
    pub(super) stdin: Vec<u8>,
    /// By their paths, folders before what is in them.
    pub(super) entries: Vec<(String, Entry)>,
    /// What it may write.
    pub(super) outputs: Vec<&'static str>,
}

const PLAN: &str = r#"title = "Back on the path"
timezone = "Europe/Oslo"

[runner]
usual_run_cadence = "168 spm"

[limits]
pace_ceiling = "6:45 /km"
heart_rate_ceiling = "150 bpm"
walk_cadence_floor = "110 spm"
session_ceiling = "45:00"
sessions_per_week = 3
rest_days_between = 1
weekly_running_increase = "25 %"
pain_limit = 0

[tolerance]
run = "10 s"
pace = "3 %"

[[stage]]
name = "1"
session = "SESSION"
sessions = 3

[[stage]]
name = "2"
session = "walk 0:40, for 4:00 (run 0:50, walk 0:30), walk 200 m"
"#;
const DIARY: &str = "date,pain_during,pain_pattern,pain_next_morning,effort,note\n\
    2026-03-02,1,warm_up_only,0,3,\"new, soft shoes\"\n2026-03-04,0,,0,2,\n2026-03-06,2,returns,3,6,'=sum\n";
const SEEN: &str = "date,by,stage,note\n2026-03-05,R. Lunde,1,calm again\n2026-03-09,x,,\n";
const STAGES: &str = "recording,stage\na.rec,1\n2026-03-02,-\nb.rec,2\n";
const ROSTER: &str =
    "path,participant,stage,plan\nrecordings/*,p1,1,plan.toml\n**/b.rec,p2,2,plan.toml\na.rec,p1,1,\n";
const BOUTS: &str = "start_s,end_s,gait\n0,40,walk\n40,90,run\n90,120,walk\n120,170,run\n170,200,walk\n";
const SCORES: &str =
    "path,outcome,run_s,walk_s\na.fit,kept,100,200\nb.fit,overdone,130,190\nc.fit,kept,101,205\n";
/// Places that are no plain files of the folder.
const PLACES: [&str; 14] = [
    "/dev/zero",
    "/dev/null",
    "/dev/urandom",
    "/dev/full",
    "/proc/self/mem",
    "/proc/self/maps",
    "/",
    ".",
    "..",
    "loop",
    "nowhere",
    "socket",
    "closed",
    "-",
];

impl Run {
    fn file(&mut self, name: impl Into<String>, bytes: impl Into<Vec<u8>>) {
        self.entries.push((name.into(), Entry::File(bytes.into())));
    }

    fn args(&mut self, args: &str) {
        self.args.extend(args.split_whitespace().map(str::to_owned));
    }

    /// Links, pipes, sockets and files that may not be read, inside a folder.
    fn odd_entries(&mut self, random: &mut ChaCha8Rng, folder: &str) {
        for (name, entry) in [
            ("loop", Entry::Link("loop")),
            ("nowhere", Entry::Link("none")),
            ("up", Entry::Link("..")),
            ("zero", Entry::Link("/dev/zero")),
            ("host", Entry::Link("/etc/passwd")),
            ("pipe.fit", Entry::Pipe),
            ("socket", Entry::Socket),
            ("closed", Entry::Closed(b"private".to_vec())),
        ] {
            // A pipe costs a process to make.
            let of = if matches!(entry, Entry::Pipe) { 20 } else { 3 };
            if one_in(random, of) {
                self.entries.push((format!("{folder}{name}"), entry));
            }
        }
    }
}

/// A text as it is, damaged, or in disorder.
fn hostile(random: &mut ChaCha8Rng, text: &str, other: &str) -> Vec<u8> {
    match random.random_range(0..8) {
        0 => text.as_bytes().to_vec(),
        1 | 2 => disordered(random, text).into_bytes(),
        3 => {
            let text = disordered(random, text);
            damaged(random, text.into_bytes(), other.as_bytes())
        }
        _ => damaged(random, text.as_bytes().to_vec(), other.as_bytes()),
    }
}

fn plan() -> String {
    PLAN.replace("SESSION", SESSION)
}

fn drawn_plan(random: &mut ChaCha8Rng) -> Vec<u8> {
    let whole = plan();
    if one_in(random, 4) {
        let session = session(random, 0);
        return whole.replacen(SESSION, &session, 1).into_bytes();
    }
    hostile(random, &whole, "a = [[[{b.c = 1e400, \"d\" = 2026-03-02}]]]\n[[stage]]\n[[[stage]]]\n")
}

/// A session whose nesting, counts and extents are drawn.
fn session(random: &mut ChaCha8Rng, depth: usize) -> String {
    let items = if depth == 0 && one_in(random, 30) { 3_000 } else { 4 };
    let mut parts = Vec::new();
    for _ in 0..random.random_range(1..=items) {
        let extent = *pick(
            random,
            &[
                &"0:50",
                &"1:40",
                &"0:00",
                &"99:59:59",
                &"400 m",
                &"1e9 km",
                &"90 s",
                &"2 min",
                &"22:00 to 28:00",
                &"1 s or more",
            ],
        );
        let extent = if one_in(random, 20) { odd(random) } else { extent };
        let count = *pick(random, &[&"2", &"6", &"0", &"100", &"9999999999", &"5 to 6", &"4 rising to 7"]);
        parts.push(match random.random_range(0..8) {
            0 | 1 if depth < 40 => format!("{count} x ({})", session(random, depth + 1)),
            2 if depth < 40 => format!("for {extent} ({})", session(random, depth + 1)),
            3 => format!("rest {extent}"),
            4 | 5 => format!("walk {extent}"),
            _ => format!("run {extent}"),
        });
        if parts.len() > 6 && depth > 0 {
            break;
        }
    }
    parts.join(", ")
}

/// Draws a run.
pub(super) fn drawn(random: &mut ChaCha8Rng, seeds: &Seeds) -> Run {
    let mut run = Run::default();
    match random.random_range(0..100) {
        0..45 => one_recording(&mut run, random, seeds),
        45..57 => one_plan(&mut run, random, seeds),
        57..70 => case(&mut run, random, seeds),
        70..82 => batch(&mut run, random, seeds),
        82..90 => agree(&mut run, random),
        90..95 => made_up(&mut run, random),
        _ => odd_places(&mut run, random, seeds),
    }
    run
}

fn one_recording(run: &mut Run, random: &mut ChaCha8Rng, seeds: &Seeds) {
    let bytes = seeds.hostile(random);
    let file = if one_in(random, 5) {
        run.stdin = bytes;
        "-"
    } else {
        run.file("a.rec", bytes);
        "a.rec"
    };
    if random.random() {
        run.args(&format!("bouts {file} --format {}", pick(random, &["text", "json", "csv"])));
    } else {
        run.file("plan.toml", plan());
        let format = pick(random, &["text", "json", "html"]);
        run.args(&format!("check {file} --plan plan.toml --stage 1 --format {format}"));
        if one_in(random, 3) {
            run.args("--out report");
            run.outputs.push("report");
            run.file("report", "an old one");
        }
    }
    if one_in(random, 6) {
        run.args(pick(
            random,
            &["--activity 2", "--activity 0", "--activity 99999999999", "--max-unzipped 1"],
        ));
    }
}

fn one_plan(run: &mut Run, random: &mut ChaCha8Rng, seeds: &Seeds) {
    let plan = drawn_plan(random);
    run.file("plan.toml", plan);
    match random.random_range(0..5) {
        0 => run.args("plan lint plan.toml --format json"),
        1 => run.args("plan show plan.toml"),
        2 => run.args("plan show plan.toml --stage 1 --format json"),
        3 => run.args("simulate --plan plan.toml --stage 1 --out new.gpx"),
        _ => {
            let recording = seeds.whole(random);
            run.file("a.rec", recording);
            run.args("check a.rec --plan plan.toml --stage 1 --format json");
        }
    }
    if one_in(random, 10) {
        run.args(&format!("--stage {}", random.random::<u8>()));
    }
    run.outputs.push("new.gpx");
}

fn case(run: &mut Run, random: &mut ChaCha8Rng, seeds: &Seeds) {
    let plan = if one_in(random, 3) { drawn_plan(random) } else { plan().into_bytes() };
    run.entries.push(("case".to_owned(), Entry::Folder));
    run.file("case/plan.toml", plan);
    let diary = if one_in(random, 20) { long_table(random) } else { hostile(random, DIARY, STAGES) };
    let stages = if one_in(random, 20) { long_table(random) } else { hostile(random, STAGES, DIARY) };
    if !one_in(random, 8) {
        run.file("case/diary.csv", diary);
    }
    if !one_in(random, 4) {
        run.file("case/stages.csv", stages);
    }
    if one_in(random, 2) {
        let seen = if one_in(random, 10) { long_table(random) } else { hostile(random, SEEN, DIARY) };
        run.file("case/seen.csv", seen);
    }
    if !one_in(random, 20) {
        run.entries.push(("case/recordings".to_owned(), Entry::Folder));
        for name in ["a.rec", "b.rec", "c.rec"] {
            let bytes = if one_in(random, 2) { seeds.hostile(random) } else { seeds.whole(random) };
            run.file(format!("case/recordings/{name}"), bytes);
        }
        run.odd_entries(random, "case/recordings/");
    }
    let place = if one_in(random, 3) {
        let zip = packed(run, random);
        run.file("case.zip", zip);
        "case.zip"
    } else {
        "case"
    };
    match random.random_range(0..4) {
        0 | 1 => {
            let format = pick(random, &["text", "json", "html"]);
            run.args(&format!("review {place} --format {format} --as-of"));
            let date = if one_in(random, 8) { odd(random) } else { "2026-03-10" };
            run.args.push(date.to_owned());
        }
        2 => {
            run.args(&format!("share {place} --out shared.zip"));
            run.outputs.push("shared.zip");
            if one_in(random, 4) {
                run.args("--keep-places");
            }
        }
        _ => {
            let recording = seeds.whole(random);
            run.file("a.rec", recording);
            run.args(&format!("check a.rec --plan case/plan.toml --stage 1 --case {place} --format json"));
        }
    }
}

/// A table without a header of as many short lines as may be read, and now and then more: days, or what is none.
fn long_table(random: &mut ChaCha8Rng) -> Vec<u8> {
    let lines = random.random_range(1..25_000);
    let cells = *pick(random, &[&",1", &",-", &",1,night,9", &",9,,9,9,x", &"", &"1,"]);
    let has_days = random.random_bool(0.6);
    let mut text = String::new();
    for line in 0..lines {
        let (year, month, day) = (2025 - line / 336, 1 + line / 28 % 12, 1 + line % 28);
        let _ = if has_days {
            writeln!(text, "{year}-{month:02}-{day:02}{cells}")
        } else {
            writeln!(text, "x{cells}")
        };
    }
    text.into_bytes()
}

/// The case of a run as a zip, its names as they are, in a folder, or where they must not lead.
fn packed(run: &Run, random: &mut ChaCha8Rng) -> Vec<u8> {
    let top = pick(random, &["", "", "case/", "a/b/", "../", "/", "a/../", "x\\"]);
    let files = run.entries.iter().filter_map(|(name, entry)| match entry {
        Entry::File(bytes) => Some((format!("{top}{}", name.strip_prefix("case/")?), bytes.as_slice())),
        _ => None,
    });
    let zip = zipped(files, CompressionMethod::Deflated);
    if one_in(random, 3) { damaged(random, zip, b"PK\x01\x02PK\x05\x06") } else { zip }
}

fn batch(run: &mut Run, random: &mut ChaCha8Rng, seeds: &Seeds) {
    run.file("plan.toml", plan());
    run.entries.push(("recordings".to_owned(), Entry::Folder));
    for name in ["a.rec", "b.rec", "c.rec"] {
        let bytes = if one_in(random, 2) { seeds.hostile(random) } else { seeds.whole(random) };
        run.file(format!("recordings/{name}"), bytes);
    }
    run.odd_entries(random, "recordings/");
    run.args("batch --jobs 1");
    if one_in(random, 3) {
        let list = hostile(random, "recordings/a.rec\nrecordings/b.rec\nrecordings/none\n", ROSTER);
        if one_in(random, 2) {
            run.stdin = list;
            run.args("--files-from -");
        } else {
            run.file("list", list);
            run.args("--files-from list");
        }
    } else {
        run.args("recordings");
    }
    run.outputs.extend(["t.parquet", "t.csv", "t.ndjson", "b.csv", "r.ndjson", "p.json", "datapackage.json"]);
    if one_in(random, 2) {
        let mut roster = hostile(random, ROSTER, "{a,b}{c,d}[!x]**/**/*?\u{feff};");
        if one_in(random, 30) {
            roster = roster_of_patterns(random);
        }
        run.file("roster.csv", roster);
        run.args("--roster roster.csv");
    } else {
        run.outputs.push("roster.csv");
        run.args("--plan plan.toml --stage 1");
    }
    run.file("t.csv", "an old one");
    run.args(&format!(
        "--out {}",
        pick(random, &["t.parquet", "t.csv", "t.ndjson", "-", "roster.csv", "recordings"])
    ));
    if one_in(random, 3) {
        run.args("--bouts b.csv --reps r.ndjson --provenance p.json");
    }
    if one_in(random, 4) {
        run.args(pick(random, &["--summary", "--resume", "--chunk 1", "--pseudonymise plan.toml"]));
    }
}

/// Many patterns, each of them with many ways to fit.
fn roster_of_patterns(random: &mut ChaCha8Rng) -> Vec<u8> {
    let mut text = "path,participant,stage,plan\n".to_owned();
    for n in 0..random.random_range(1..7_000) {
        let pattern =
            pick(random, &["**/*a*b*c*", "{a,b,c}{d,e,f}{g,h}*", "[a-z]?[!0-9]*", "**/**/**/x", "*?*?*?*"]);
        let _ = writeln!(text, "\"{pattern}{n}\",p{n},1,plan.toml");
    }
    text.into_bytes()
}

fn agree(run: &mut Run, random: &mut ChaCha8Rng) {
    let sample = if one_in(random, 3) { SCORES } else { BOUTS };
    let (one, two) = (hostile(random, sample, SCORES), hostile(random, sample, BOUTS));
    run.file("one.csv", one);
    run.file("two.csv", two);
    run.args(&format!("agree one.csv two.csv --format {}", pick(random, &["text", "json"])));
    if one_in(random, 2) {
        run.args("--plot p.svg");
        run.outputs.push("p.svg");
        run.file("p.svg", "an old one");
    }
    if one_in(random, 4) {
        run.args(pick(
            random,
            &["--key path", "--key none", "--columns run_s", "--columns run_s,walk_s", "--key run_s"],
        ));
    }
}

#[expect(clippy::too_many_lines, reason = "mostly a list of options")]
fn made_up(run: &mut Run, random: &mut ChaCha8Rng) {
    const OPTIONS: [&str; 16] = [
        "--fault",
        "--start",
        "--seed",
        "--missing",
        "--lag",
        "--pause",
        "--hole",
        "--cadence-fault",
        "--gps",
        "--sampling",
        "--laps",
        "--format",
        "--profile",
        "--realism",
        "--runner-seed",
        "--truth",
    ];
    const DRAFT: [&str; 10] = [
        "--sessions",
        "--per-week",
        "--rest-days",
        "--warm-up",
        "--cool-down",
        "--session-ceiling",
        "--weekly-increase",
        "--max-weeks",
        "--weeks-away",
        "--longest-increase",
    ];
    let values = |random: &mut ChaCha8Rng| match random.random_range(0..3) {
        0 => odd(random).replace('\u{0}', ""),
        1 => format!("{}", random.random_range(-1_000_i64..100_000)),
        _ => pick(
            random,
            &[
                "run-longer:40:2",
                "rep-extra:9",
                "half:40@10",
                "drop-out:1e9",
                "2200-01-01T00:00:00Z",
                "smart",
                "steps",
                "gpx",
                "realistic",
                "600@100",
                "1:00",
                "t.json",
            ],
        )
        .to_owned(),
    };
    run.file("plan.toml", plan());
    run.outputs.extend(["new.fit", "t.json", "plan.out"]);
    if random.random() {
        run.args("simulate --plan plan.toml --stage 1 --out new.fit");
        for _ in 0..random.random_range(1..5) {
            let (option, value) = (pick(random, &OPTIONS), values(random));
            // What it writes is named above.
            let value = if option == "--truth" { "t.json".to_owned() } else { value };
            run.args.extend([option.to_owned(), value]);
        }
    } else {
        run.args("plan draft --out plan.out");
        for option in ["--run", "--walk", "--minutes", "--goal-run"] {
            let value = if one_in(random, 4) {
                values(random)
            } else {
                pick(random, &["0:50", "1:40", "30", "20:00"]).to_owned()
            };
            run.args.extend([option.to_owned(), value]);
        }
        for _ in 0..random.random_range(0..4) {
            let (option, value) = (pick(random, &DRAFT), values(random));
            run.args.extend([option.to_owned(), value]);
        }
    }
}

/// Links, folders, sockets and devices where files are expected, also as outputs. The runs are never root's.
fn odd_places(run: &mut Run, random: &mut ChaCha8Rng, seeds: &Seeds) {
    let recording = seeds.whole(random);
    run.file("a.rec", recording);
    run.file("plan.toml", plan());
    run.file("one.csv", BOUTS);
    run.file("roster.csv", ROSTER);
    run.odd_entries(random, "");
    let place = pick(random, &PLACES);
    // Of what it may look through, the whole machine is left out.
    let folder = if place == "/" { "." } else { place };
    let command = match random.random_range(0..14) {
        0 => format!("bouts {place}"),
        1 => format!("check {place} --plan plan.toml --stage 1"),
        2 => format!("check a.rec --plan {place} --stage 1"),
        3 => format!("check a.rec --plan plan.toml --stage 1 --case {place}"),
        4 => format!("check a.rec --plan plan.toml --stage 1 --out {place}"),
        5 => format!("review {place}"),
        6 => format!("plan show {place}"),
        7 => format!("agree one.csv {place}"),
        8 => format!("agree one.csv one.csv --plot {place}"),
        9 => format!("simulate --plan plan.toml --stage 1 --out {place} --format tcx"),
        10 => format!("batch a.rec --files-from {place} --plan plan.toml --stage 1 --out -"),
        11 => format!("batch a.rec --roster {place} --out -"),
        12 => format!("batch a.rec --plan plan.toml --stage 1 --out - --provenance {place}"),
        _ => format!("batch a.rec {folder} --plan plan.toml --stage 1 --out - --jobs 1"),
    };
    run.args(&command);
    let writes = ["--out ", "--plot ", "--provenance "]
        .iter()
        .any(|option| command.contains(&format!("{option}{place}")));
    run.outputs.extend(writes.then_some(place));
}
