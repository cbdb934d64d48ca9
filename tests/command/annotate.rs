//! `annotate` over bare sockets, and the study of docs/validation.md on made-up recordings.

use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};

use serde_json::{Value, json};

use crate::folder::Folder;
use crate::hand_made::{AS_PRESCRIBED, PLAN, tcx, tcx_activity};
use crate::page::Page;
use crate::program::{jogaudit, top};

/// Recordings `recordings/01.fit` and on with their truth, so many.
fn made_up(count: usize) -> Folder {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    for name in ["recordings", "truth"] {
        std::fs::create_dir(folder.file(name)).unwrap();
    }
    for seed in 1..=count {
        let [seed, out, truth] =
            [format!("{seed}"), format!("recordings/0{seed}.fit"), format!("truth/0{seed}.json")];
        let args = ["simulate", "--plan", "plan.toml", "--stage", "first", "--seed", &seed, "--out", &out];
        assert_eq!(folder.run(&[&args[..], &["--truth", &truth]].concat(), b"").0, 0);
    }
    folder
}

/// The true changes of gait of a recording as marks, the inner ones later by so much.
fn true_marks(folder: &Folder, name: &str, later_s: f64) -> Vec<String> {
    let truth: Value = serde_json::from_slice(&folder.read(&format!("truth/{name}.json"))).unwrap();
    let mark = |bout: &Value| {
        let start_s = bout["start_s"].as_f64().unwrap();
        let at_s = if start_s > 0.0 { start_s + later_s } else { 0.0 };
        format!("{at_s:.1} {}", bout["gait"].as_str().unwrap())
    };
    truth["bouts"].as_array().unwrap().iter().map(mark).collect()
}

fn fields<'a>(version: &'a str, marks: &'a [String]) -> Vec<(&'a str, &'a str)> {
    let marks = marks.iter().map(|mark| ("mark", mark.as_str()));
    std::iter::once(("version", version)).chain(marks).collect()
}

fn document(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|error| panic!("{error} in\n{text}"))
}

#[test]
fn what_is_marked_outlives_a_reload_and_is_saved_beside_an_unaltered_recording() {
    let folder = made_up(1);
    let recording = folder.read("recordings/01.fit");
    let args = ["recordings/01.fit", "--rater", "anna", "--out", "anna 01.csv"];
    let page = Page::annotating(folder.path(), &args);
    let marks = true_marks(&folder, "01", 0.0);
    let sent = page.post("/marks", &fields("0", &marks));
    assert_eq!(sent.status, 200, "{}", sent.body);
    assert!(!folder.file("anna 01.csv").exists(), "nothing is written before it is saved");
    let reloaded = document(&page.page("/marks.json"));
    assert_eq!(reloaded["version"], 1);
    assert_eq!(reloaded["marks"].as_array().unwrap().len(), marks.len());
    // A window that was opened before does not win over a newer one.
    assert_eq!(page.post("/save", &fields("0", &["5 run".to_owned()])).status, 409);
    let saved = page.post("/save", &fields("1", &marks));
    assert_eq!((saved.status, &document(&saved.body)["is_saved"]), (200, &json!(true)));
    let table = String::from_utf8(folder.read("anna 01.csv")).unwrap();
    let row = table.lines().nth(1).unwrap().split(',').collect::<Vec<_>>();
    assert_eq!((row[0], row[2], row[3]), ("01.fit", "2026-03-02T07:10:00Z", "anna"));
    let found = document(&folder.run(&["bouts", "recordings/01.fit", "--format", "json"], b"").1);
    assert_eq!(json!(row[1]), found["recording"]["sha256"]);
    assert!(row[4].parse::<jiff::Timestamp>().is_ok_and(|at| at > jiff::Timestamp::UNIX_EPOCH), "{table}");
    let (code, out, _) = folder.run(&["agree", "truth/01.json", "anna 01.csv", "--format", "json"], b"");
    assert_eq!(code, 0);
    assert!(document(&out)["accuracy"]["value"].as_f64().unwrap() > 0.999, "{out}");
    // Another run does not write the same file meanwhile; afterwards it goes on only when asked to.
    assert!(folder.run(&[&["annotate"], &args[..]].concat(), b"").2.contains("another run is writing"));
    page.end();
    let resumed = Page::annotating(folder.path(), &[&args[..], &["--resume"]].concat());
    assert_eq!(document(&resumed.page("/marks.json"))["marks"], reloaded["marks"]);
    resumed.end();
    assert_eq!(folder.read("recordings/01.fit"), recording);
    assert_eq!(folder.names(), ["anna 01.csv", "plan.toml", "recordings", "truth"]);
}

#[test]
fn the_page_stands_behind_the_guard() {
    let folder = made_up(1);
    let page = Page::annotating(folder.path(), &["recordings/01.fit", "--rater", "anna", "--out", "1.csv"]);
    let ask = |head: String| page.send(format!("{head}\r\n").as_bytes()).status;
    let host = &page.host;
    for path in ["/", "/curves.json", "/marks.json", "/annotate.js"] {
        assert_eq!(
            ask(format!("GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n")),
            401,
            "{path}"
        );
    }
    let cookie = page.cookie();
    let foreign =
        format!("POST /save HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nOrigin: http://evil.example\r\n");
    assert_eq!(ask(format!("{foreign}Content-Length: 0\r\nConnection: close\r\n")), 403);
    assert_eq!(ask(page.head("DELETE", "/save")), 405);
    assert_eq!(page.get("/case/x/").status, 404);
    let shown = page.get("/");
    assert!(shown.header("content-security-policy").contains("default-src 'none'"), "{}", shown.head);
    let large = "x".repeat(5 << 20);
    assert_eq!(page.post("/marks", &[("version", "0"), ("mark", &large)]).status, 413);
    assert!(!folder.file("1.csv").exists());
}

#[test]
fn bad_input_is_refused_with_a_hint() {
    let folder = made_up(2);
    folder.write("there.csv", "mine");
    let run = || tcx_activity("Running", AS_PRESCRIBED);
    folder.write("two.tcx", tcx(&[run(), run()]));
    let page = Page::annotating(folder.path(), &["recordings/01.fit", "--rater", "anna", "--out", "01.csv"]);
    assert_eq!(page.post("/save", &fields("0", &["0 walk".to_owned()])).status, 200);
    page.end();
    let one = "recordings/01.fit";
    let cases: [(&[&str], &str); 12] = [
        (&["none.fit", "--rater", "a", "--out", "1.csv"], "could not read `none.fit`"),
        (&["plan.toml", "--rater", "a", "--out", "1.csv"], "plan.toml"),
        (&[one, "--out", "1.csv"], "--rater <NAME>"),
        (&[one, "--rater", "=1+1", "--out", "1.csv"], "begins with a letter or a digit"),
        (&[one, "--rater", " ", "--out", "1.csv"], "initials or a pseudonym"),
        (&[one, "--rater", "a"], "--out <FILE.csv>"),
        (&[one, "--rater", "a", "--out", "-"], "a file of their own"),
        (&[one, "--rater", "a", "--out", one], "overwrite its own input"),
        (&[one, "--rater", "a", "--out", "there.csv"], "is there already and is not overwritten"),
        (&[one, "--rater", "a", "--out", "1.csv", "--resume"], "is not there to go on with"),
        (&[one, "--rater", "bert", "--out", "01.csv", "--resume"], "it is by `anna`"),
        (&["two.tcx", "--rater", "a", "--out", "1.csv", "--activity", "3"], "has no activity 3"),
    ];
    for (args, part) in cases {
        let (code, out, err) = folder.run(&[&["annotate"], args].concat(), b"");
        assert_eq!((code, out.as_str()), (2, ""), "{args:?}");
        assert!(err.contains(part), "{args:?}\n{err}");
    }
    let other = ["annotate", "recordings/02.fit", "--rater", "anna", "--out", "01.csv", "--resume"];
    assert!(folder.run(&other, b"").2.contains("it is of another recording"));
    assert_eq!(folder.read("there.csv"), b"mine");
    assert!(!folder.file("1.csv").exists());
}

#[test]
fn which_of_several_activities_is_taken_is_said() {
    let folder = Folder::new();
    let ride = tcx_activity("Biking", AS_PRESCRIBED);
    folder.write("two.tcx", tcx(&[ride, tcx_activity("Running", AS_PRESCRIBED)]));
    let mut child = Command::new(jogaudit())
        .current_dir(folder.path())
        .args(["annotate", "two.tcx", "--rater", "anna", "--out", "1.csv"])
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let lines = BufReader::new(child.stderr.take().unwrap()).lines().map_while(Result::ok);
    let said: Vec<String> = lines.take_while(|line| !line.contains("Ctrl-C")).collect();
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(said.join(" ").contains("holds 2 activities; number 2 is taken"), "{said:#?}");
}

/// The commands of docs/validation.md in their order, on made-up recordings. Where the page is opened, marks are sent to it: the
/// true ones by the first rater, 1.5 s later ones by the second.
#[test]
fn a_study_by_the_commands_of_its_protocol() {
    const RECORDINGS: usize = 6;
    let folder = made_up(RECORDINGS);
    let protocol = std::fs::read_to_string(top().join("docs/validation.md")).unwrap();
    let (_, block) = protocol.split_once("```sh\n").expect("the commands");
    let (block, _) = block.split_once("```\n").expect("their end");
    let mut pages = 0;
    for line in block.lines() {
        let Some(args) = line.strip_prefix("jogaudit annotate ") else {
            let program = jogaudit();
            let path = [program.parent().unwrap().as_os_str(), &std::env::var_os("PATH").unwrap_or_default()];
            let done = Command::new("sh")
                .args(["-ec", line])
                .current_dir(folder.path())
                .env("PATH", path.join(std::ffi::OsStr::new(":")))
                .output()
                .unwrap();
            assert!(done.status.success(), "{line}\n{}", String::from_utf8_lossy(&done.stderr));
            continue;
        };
        let later_s = if args.contains("anna") { 0.0 } else { 1.5 };
        // The protocol shows the first recording; a rater does the same for each.
        for name in (1..=RECORDINGS).map(|n| format!("0{n}")) {
            let args = args.replace("01", &name);
            let page = Page::annotating(folder.path(), &args.split(' ').collect::<Vec<_>>());
            let saved = page.post("/save", &fields("0", &true_marks(&folder, &name, later_s)));
            assert_eq!(saved.status, 200, "{}", saved.body);
            page.end();
            pages += 1;
        }
    }
    assert_eq!(pages, 2 * RECORDINGS);
    let read = |name: &str| document(&String::from_utf8(folder.read(name)).unwrap());
    let raters = read("raters.json");
    assert_eq!(raters["recordings"]["compared"], RECORDINGS);
    assert_eq!(raters["boundaries"]["bias_s"], 1.5);
    for name in ["raters.json", "anna-program.json", "bert-program.json"] {
        let found = read(name);
        assert_eq!(found["notices"], json!([]), "{name}");
        let ends = &found["intervals"]["bias_s"];
        let bias_s = found["boundaries"]["bias_s"].as_f64().unwrap();
        let [low, high] =
            ["low", "high"].map(|end| ends[end].as_f64().unwrap_or_else(|| panic!("{name}: {ends}")));
        assert!(low <= bias_s && bias_s <= high, "{name}: {bias_s} in {low} to {high}");
    }
    // The program lies near the first rater, who marked the truth, and as far before the second as the first does.
    let bias_s = |name: &str| read(name)["boundaries"]["bias_s"].as_f64().unwrap();
    assert!((bias_s("anna-program.json") - bias_s("bert-program.json") - 1.5).abs() < 0.05);
}
