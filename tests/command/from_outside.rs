//! What comes from outside (names of files, titles, stages, notes, sports, ids of a roster) steers no terminal and turns nothing
//! around on a page, and no output tells where on the machine it was made.
#![cfg(unix)]

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use jogaudit::report::is_unseen;

use crate::folder::Folder;
use crate::hand_made::{AS_PRESCRIBED, SECOND_RUN_LONG, session};
use crate::page::{Page, coded};
use crate::program::jogaudit;

/// A name that nothing of ours has, with what turns text around and has no width.
const NAME: &str = "Zq9\u{202e}gpx\u{2066}\u{200b}\u{2069}";
/// The same with what clears a screen, hides text and rings.
const LOUD: &str = "Zq9\u{1b}[2J\u{1b}[8m\u{7}\u{9b}3A\r\u{202e}x";
/// Styles of our own.
const STYLES: [&str; 6] = ["\u{1b}[0m", "\u{1b}[1m", "\u{1b}[2m", "\u{1b}[34m", "\u{1b}[35m", "\u{1b}[31m"];

/// Runs the command with colours and gives code, standard output and standard error.
fn run(folder: &Path, args: &[&str]) -> (i32, String, String) {
    let output = Command::new(jogaudit())
        .current_dir(folder)
        .args(args)
        .env("CLICOLOR_FORCE", "1")
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code().unwrap_or(-1), text(&output.stdout), text(&output.stderr))
}

/// The same of a command line with [`words`] in it.
fn run_line(folder: &Folder, line: &str) -> (i32, String, String) {
    let words = words(line);
    run(folder.path(), &words.iter().map(String::as_str).collect::<Vec<_>>())
}

/// A text for a terminal holds nothing but letters, lines and our own styles.
fn assert_harmless(text: &str, what: &str) {
    let plain = STYLES.iter().fold(text.to_owned(), |text, style| text.replace(style, ""));
    for line in plain.lines() {
        assert!(!line.contains(is_unseen), "{what}: {line:?}");
    }
}

/// In a page every text from outside stands in an element of its own that isolates it, and no text steers.
fn assert_isolated(page: &str, what: &str) -> usize {
    let (mut open, mut found, mut rest) = (Vec::<String>::new(), 0, page);
    while let Some((text, after)) = rest.split_once('<') {
        let is_raw = open.iter().any(|name| name == "textarea");
        assert!(is_raw || !text.contains(|c| c != '\n' && is_unseen(c)), "{what}: {text:?}");
        if text.contains("Zq9") {
            let isolates = ["bdi", "title", "textarea", "option"];
            assert!(
                open.iter().any(|name| isolates.contains(&name.as_str())),
                "{what}: {text:?} in {open:?}"
            );
            found += 1;
        }
        let (tag, after) = after.split_once('>').unwrap();
        let name = tag.trim_start_matches('/').split([' ', '\n']).next().unwrap().to_owned();
        if tag.starts_with('/') {
            if let Some(at) = open.iter().rposition(|open| *open == name) {
                open.truncate(at);
            }
        } else {
            open.push(name);
        }
        rest = after;
    }
    found
}

fn plan() -> String {
    format!(
        "title = \"{NAME}\"\nnote = \"{NAME} note\"\ncontact = \"{NAME} contact\"\n[limits]\npain_limit = 7\nclinician_override = \"{NAME} reason\"\n\
         [[stage]]\nname = \"{NAME}1\"\nsession = 'walk 5:00, 2 x (run 1:00, walk 2:00), walk 5:00'\n\
         [[stage]]\nname = \"{NAME}2\"\nsession = 'walk 5:00, 2 x (run 1:05, walk 2:00), walk 5:00'\n"
    )
}

/// A case whose every text is hostile.
fn hostile_case(folder: &Path) {
    fs::create_dir_all(folder.join("case/recordings")).unwrap();
    let write = |name: &str, text: &str| fs::write(folder.join("case").join(name), text).unwrap();
    write("plan.toml", &plan());
    write(&format!("{LOUD}.toml"), "");
    let note = format!("\"{LOUD} note\"");
    write("diary.csv", &format!("date,pain_during,{NAME},note\n2026-03-02,{LOUD},x,{note}\n{LOUD},1,,\n"));
    write(
        "stages.csv",
        &format!("recording,stage\n{LOUD}-9.tcx,{LOUD}\n2026-02-01,{NAME}1\n{LOUD},{NAME}1\n"),
    );
    let recording = |name: &str, text: &str| write(&format!("recordings/{name}"), text);
    recording(&format!("{LOUD}-1.tcx"), &session(AS_PRESCRIBED));
    let later = session(SECOND_RUN_LONG).replace("2026-03-02T", "2026-03-04T");
    recording(&format!("{LOUD}-2.tcx"), &later);
    let ride = session(AS_PRESCRIBED).replace("2026-03-02T", "2026-03-05T");
    // As references of XML and as they are.
    let sport = "Sport=\"Zq9&#x202e;&#x9;\u{202e}\u{1b}[2J&amp;x\"";
    recording(&format!("{LOUD}-3.tcx"), &ride.replace("Sport=\"Running\"", sport));
    recording(&format!("{LOUD}-4.tcx"), "no recording");
}

/// The case, a roster, a plan that is none and two tables, all hostile.
fn hostile_folder() -> Folder {
    let folder = Folder::new();
    hostile_case(folder.path());
    let stage = format!("{NAME}1");
    folder.write(
        "roster.csv",
        format!("path,participant,stage\n*-1.tcx,\"{LOUD}\",{stage}\n*-7.tcx,\"{LOUD}\",{stage}\n"),
    );
    folder.write(&format!("{LOUD}-plan.toml"), "title = \"a\u{202e}b\"\nsurplus = 1\n");
    folder.write("l.csv", format!("who,{NAME}\n\"{LOUD}\",1\nb,2\n"));
    folder.write("r.csv", format!("who,{NAME}\n\"{LOUD}\",1\nb,3\nc,4\n"));
    folder
}

/// The words of a command line, in which `{1}` is the case's first recording, `{stage}` a stage of its plan, `{plan}` what is no
/// plan, `{loud}` and `{name}` names that are hostile.
fn words(line: &str) -> Vec<String> {
    let word = |word: &str| {
        let mut word = word.to_owned();
        for n in 1..5 {
            word = word.replace(&format!("{{{n}}}"), &format!("case/recordings/{LOUD}-{n}.tcx"));
        }
        word.replace("{stage}", &format!("{NAME}1"))
            .replace("{plan}", &format!("{LOUD}-plan.toml"))
            .replace("{loud}", LOUD)
            .replace("{name}", NAME)
    };
    line.split(' ').map(word).collect()
}

const LINES_WITH_NAMES: [&str; 26] = [
    "check {1} --plan case/plan.toml --stage {stage}",
    "check {3} --plan case/plan.toml --stage {stage}",
    "check {4} --plan case/plan.toml --stage {stage}",
    "check {1} --plan case/plan.toml --stage {stage} --case case",
    "check {1} --plan case/plan.toml --stage {stage} --out {name}",
    "check {1} --plan case/plan.toml --stage {loud}",
    "check {loud} --plan case/plan.toml",
    "check {1} --plan {plan}",
    "check {1} {loud}",
    "bouts {3}",
    "bouts {4}",
    "bouts {1} --format {loud}",
    "plan check case/plan.toml",
    "plan check {plan}",
    "plan show case/plan.toml",
    "plan show case/plan.toml --stage {stage}",
    "plan show case/plan.toml --stage {loud}",
    "review case --as-of 2026-03-06",
    "review {loud}",
    "batch case/recordings --plan case/plan.toml --roster roster.csv --out o.csv --summary",
    "batch case/recordings --plan case/plan.toml --stage {loud} --out {name}",
    "agree l.csv r.csv --key who --columns {name} --plot p.svg",
    "agree l.csv {loud}",
    "simulate --plan case/plan.toml --stage {stage} --seed 1 --out Zq9\u{202e}.fit --truth t.json",
    "demo Zq9\u{1b}[8m",
    "demo case",
];

#[test]
fn names_from_outside_steer_no_terminal() {
    let folder = hostile_folder();
    for line in LINES_WITH_NAMES {
        let (code, out, err) = run_line(&folder, line);
        assert!(code == 0 || code == 2, "{line}: {code} {out}{err}");
        assert_harmless(&out, line);
        assert_harmless(&err, line);
        if line == "bouts {3}" {
            assert!(out.contains(r"as Zq9\u{202e}\u{9}\u{202e}\u{1b}[2J&x"), "{out}");
        }
        assert!((out + &err).contains("Zq9"), "{line} names something from outside");
    }
}

#[test]
fn names_from_outside_are_isolated_in_documents_and_kept_in_data() {
    let folder = hostile_folder();
    let (_, out, _) = run_line(&folder, "review case --as-of 2026-03-06 --format json");
    let document: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(document["plan"], NAME);
    assert_eq!(document["sessions"][0]["recordings"][0], format!("{LOUD}-1.tcx"));
    for line in [
        "review case --as-of 2026-03-06 --format html",
        "check {1} --plan case/plan.toml --stage {stage} --format html",
        "check {3} --plan case/plan.toml --stage {stage} --format html",
    ] {
        let (code, out, err) = run_line(&folder, line);
        assert_eq!(code, 0, "{err}");
        assert!(assert_isolated(&out, line) >= 4, "{line}");
    }
}

#[test]
fn names_from_outside_are_isolated_on_the_local_page() {
    let folder = Folder::new();
    hostile_case(folder.path());
    let page = Page::on(&folder.file("case"));
    let recording = coded(&format!("{LOUD}-1.tcx"));
    let addresses = [
        "/case/case/".to_owned(),
        "/case/case/diary".to_owned(),
        "/case/case/diary/2026-03-02".to_owned(),
        "/case/case/review".to_owned(),
        "/case/case/plan".to_owned(),
        "/case/case/plan/text".to_owned(),
        format!("/case/case/session?recording={recording}"),
        format!("/case/case/session?recording={recording}&stage={}", coded(&format!("{NAME}1"))),
    ];
    for address in addresses {
        let body = page.page(&address);
        assert!(assert_isolated(&body, &address) >= 1, "{address}: {body}");
    }
    let waiting =
        page.upload("case", &[("Zq9\u{202e}x.tcx", session(AS_PRESCRIBED).as_bytes())]).location().to_owned();
    assert_isolated(&page.page(&waiting), &waiting);
    drop(page);
    fs::rename(folder.file("case"), folder.file(LOUD)).unwrap();
    fs::create_dir(folder.file("b")).unwrap();
    fs::write(folder.file("b/plan.toml"), "not a plan Zq9\u{202e}").unwrap();
    let page = Page::on(folder.path());
    assert!(assert_isolated(&page.page("/"), "/") >= 3);
    assert_isolated(&page.get("/case/b/").body, "/case/b/");
}

/// Every byte of every file below a folder.
fn all_files(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(all_files(&path));
        } else if path.is_file() {
            found.push((path.display().to_string(), fs::read(&path).unwrap_or_default()));
        }
    }
    found
}

fn holds(bytes: &[u8], word: &str) -> bool {
    bytes.windows(word.len()).any(|window| window == word.as_bytes())
}

/// Each command with relative names, in a folder whose path nothing else has.
#[test]
fn no_output_tells_where_on_the_machine_it_was_made() {
    let folder = Folder::new();
    let home = folder.file("home-of-Wq7");
    fs::create_dir(&home).unwrap();
    assert_eq!(run(&home, &["demo", "case"]).0, 0);
    fs::write(home.join("broken.toml"), "surplus = 1\n").unwrap();
    fs::write(home.join("broken.gpx"), "<gpx><trk>").unwrap();
    fs::write(home.join("key"), "0123456789abcdef0123456789abcdef").unwrap();
    fs::write(
        home.join("roster.csv"),
        "path,participant,stage,plan\ncase/recordings/**,P1,2,case/plan.toml\n",
    )
    .unwrap();
    fs::create_dir(home.join("empty")).unwrap();
    fs::create_dir_all(home.join("odd/diary.csv")).unwrap();
    fs::copy(home.join("case/plan.toml"), home.join("odd/plan.toml")).unwrap();
    fs::create_dir(home.join("bad")).unwrap();
    fs::write(home.join("bad/plan.toml"), "surplus = 1\n").unwrap();
    std::os::unix::fs::symlink("/nowhere/else", home.join("odd/recordings")).unwrap();
    std::os::unix::fs::symlink("/nowhere/else", home.join("dangling.fit")).unwrap();
    let one = "case/recordings/2026-03-09.fit";
    let plan = ["--plan", "case/plan.toml", "--stage", "2"];
    let with_plan = |args: &[&'static str]| [args, &plan[..]].concat();
    let batch = |more: &[&'static str]| [&["batch", "case/recordings", "broken.gpx"][..], more].concat();
    let all: Vec<Vec<&str>> = vec![
        with_plan(&["check", one]),
        with_plan(&["check", one, "--format", "json", "--case", "case"]),
        with_plan(&["check", one, "--format", "json", "--case", "empty"]),
        with_plan(&["check", one, "--format", "html", "--out", "check.html"]),
        with_plan(&["check", "broken.gpx"]),
        with_plan(&["check", "missing.fit"]),
        with_plan(&["check", "case"]),
        with_plan(&["check", one, "--out", "missing/check.html"]),
        with_plan(&["check", one, "--out", one]),
        vec!["check", one, "--plan", "broken.toml"],
        vec!["check", one, "--plan", "missing.toml"],
        vec!["bouts", one, "--format", "json"],
        vec!["bouts", "missing.fit"],
        vec!["plan", "lint", "case/plan.toml", "--format", "json"],
        vec!["plan", "lint", "broken.toml"],
        vec!["plan", "show", "case/plan.toml", "--format", "json"],
        "plan draft --run 0:50 --walk 1:40 --minutes 30 --goal-run 20:00 --out missing/plan.toml"
            .split(' ')
            .collect(),
        vec!["review", "case", "--format", "json"],
        vec!["review", "case", "--format", "html"],
        vec!["review", "."],
        vec!["review", "empty"],
        vec!["review", "odd"],
        vec!["review", "bad"],
        vec!["review", "missing"],
        batch(&[
            "--roster",
            "roster.csv",
            "--out",
            "o.csv",
            "--bouts",
            "b.ndjson",
            "--provenance",
            "p.json",
            "--summary",
        ]),
        batch(&[
            "--roster",
            "roster.csv",
            "--out",
            "o.parquet",
            "--provenance",
            "q.json",
            "--pseudonymise",
            "key",
        ]),
        batch(&["--roster", "roster.csv", "--out", "missing/o.csv"]),
        batch(&["--roster", "missing.csv", "--out", "x.csv"]),
        batch(&["--roster", "roster.csv", "--out", "case/plan.toml"]),
        batch(&["--plan", "broken.toml", "--out", "x.csv"]),
        batch(&["dangling.fit", "--roster", "roster.csv", "--out", "x.csv"]),
        vec!["agree", one, "missing.csv"],
        vec!["agree", "case", "case"],
        with_plan(&["simulate", "--seed", "1", "--out", "s.fit", "--truth", "s.json"]),
        with_plan(&["simulate", "--seed", "1", "--out", "missing/s.fit", "--truth", "t.json"]),
        vec!["demo", "odd"],
        vec!["page", "missing"],
    ];
    let mark = "Wq7";
    for args in all {
        let (code, out, err) = run(&home, &args);
        assert!(code == 0 || code == 2, "{args:?}: {code} {err}");
        assert!(!(out + &err).contains(mark), "{args:?}: {err}");
    }
    for name in ["check.html", "o.csv", "b.ndjson", "p.json", "o.parquet", "q.json", "s.fit", "s.json"] {
        assert!(home.join(name).is_file(), "{name} was written");
    }
    for (name, bytes) in all_files(&home) {
        assert!(!holds(&bytes, mark), "{name}");
    }
    // The page is started by the whole path, and shows none of it.
    for case in ["case", "odd", "bad", "empty"] {
        let page = Page::on(&home.join(case));
        for address in [
            "",
            "diary",
            "diary/2026-03-02",
            "review",
            "review.html",
            "plan",
            "session?recording=2026-03-09.fit",
        ] {
            let path = format!("/case/{case}/{address}");
            let answer = page.settled(&path);
            assert!(!answer.body.contains(mark) && !answer.head.contains(mark), "{path}: {}", answer.body);
        }
        let answer = page.post(&format!("/case/{case}/diary/2026-03-02"), &[("note", "x"), ("was_note", "")]);
        assert!(!answer.body.contains(mark), "{}", answer.body);
    }
    let page = Page::on(&home);
    let body = page.page("/");
    assert!(!body.contains(mark) && body.contains("bad"), "{body}");
}
