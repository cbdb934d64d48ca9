//! What the command prints as JSON, against the schemas in `docs/schema/`.

use crate::folder::Folder;
use crate::hand_made::{AS_PRESCRIBED, PLAN, SECOND_RUN_LONG, session, tcx, tcx_activity};
use crate::schema::Judge;

fn folder() -> Folder {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    folder.write("kept.tcx", session(AS_PRESCRIBED));
    folder.write("overdone.tcx", session(SECOND_RUN_LONG));
    folder.write("ride.tcx", tcx(&[tcx_activity("Biking", AS_PRESCRIBED)]));
    folder
}

/// Runs a command and judges what it prints.
fn follows(folder: &Folder, schema: &str, line: &str) {
    let (code, out, err) = folder.run(&line.split(' ').collect::<Vec<_>>(), b"");
    assert_eq!(code, 0, "{line}\n{err}");
    if let Err(error) = Judge::new(schema).judge_text(&out) {
        panic!("{line}\n{error}\n{out}");
    }
}

#[test]
fn bouts_and_checks() {
    let folder = folder();
    for name in ["kept", "overdone", "ride"] {
        follows(&folder, "bouts", &format!("bouts {name}.tcx --format json"));
        let stage = ["--plan plan.toml --stage first", "--plan plan.toml --stage first --strict"];
        let stage = stage[usize::from(name == "kept")];
        follows(&folder, "check", &format!("check {name}.tcx {stage} --format json"));
    }
}

#[test]
fn plans_and_cards() {
    let folder = folder();
    follows(&folder, "plan-lint", "plan check plan.toml --format json");
    follows(&folder, "plan", "plan show plan.toml --format json");
    follows(&folder, "card", "plan show plan.toml --stage first --format json");
}

#[test]
fn reviews() {
    let folder = Folder::new();
    assert_eq!(folder.run(&["demo", "case"], b"").0, 0);
    for day in ["2026-03-01", "2026-03-10", "2026-05-10", "2027-01-01"] {
        follows(&folder, "review", &format!("review case --format json --as-of {day}"));
    }
    // Nothing yet but a plan; then a recording that cannot be read, a diary with broken lines, a second plan.
    folder.write("case/new.fit", "no recording");
    folder.write("case/diary.csv", "date,pain_during\n2026-03-02,1\n2026-13-02,1\nx\n");
    std::fs::create_dir(folder.file("bare")).unwrap();
    folder.write("bare/plan.toml", PLAN);
    for case in ["case", "bare"] {
        follows(&folder, "review", &format!("review {case} --format json --as-of 2026-05-10"));
    }
}

#[test]
fn agreement() {
    let folder = folder();
    for (seed, name) in [("1", "a"), ("2", "b")] {
        let line = format!(
            "simulate --plan plan.toml --stage first --seed {seed} --out {name}.fit --truth {name}.truth.json"
        );
        assert_eq!(folder.run(&line.split(' ').collect::<Vec<_>>(), b"").0, 0);
        let (_, bouts, _) = folder.run(&["bouts", &format!("{name}.fit"), "--format", "json"], b"");
        folder.write(&format!("{name}.json"), bouts);
    }
    for name in ["a", "b"] {
        follows(&folder, "agree", &format!("agree {name}.truth.json {name}.json --format json"));
    }
    // Enough recordings for intervals.
    let table = |late_s: f64| {
        (0..6).fold("recording,gait,start_s,end_s\n".to_owned(), |table, n| {
            let change_s = 60.0 + f64::from(n) * late_s;
            table + &format!("{n},walk,0,{change_s}\n{n},run,{change_s},120\n")
        })
    };
    folder.write("early.csv", table(0.0));
    folder.write("late.csv", table(0.5));
    follows(&folder, "agree", "agree early.csv late.csv --format json");
    // Scores that are undefined, each for its reason.
    folder.write("x.csv", "id,x,flat,same,few\n1,1,5,1,\n2,2,5,2,\n3,4,5,4,7\n4,3,5,3,8\n");
    folder.write("y.csv", "id,x,flat,same,few\n1,1,1,1,\n2,3,2,2,\n3,4,3,4,7\n5,2,4,3,9\n");
    follows(&folder, "agree", "agree x.csv y.csv --format json");
}
