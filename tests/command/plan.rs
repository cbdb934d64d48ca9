//! `plan check`, `plan show` and `plan draft` on the command line.

use crate::folder::Folder;
use crate::hand_made::PLAN;
use serde_json::Value;

fn run(folder: &Folder, args: &[&str]) -> (i32, String, String) {
    folder.run(args, b"")
}

fn folder() -> Folder {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    folder
}

fn document(out: &str) -> Value {
    serde_json::from_str(out).unwrap_or_else(|error| panic!("{error} in\n{out}"))
}

#[test]
fn remarks_are_no_error() {
    let (code, out, err) = run(&folder(), &["plan", "check", "plan.toml"]);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(out.starts_with("5 remarks on “Back on the path”.\n"), "{out}");
    assert!(
        out.contains("[rest_days_missing]") && out.contains("  Try: write `rest_days_between = 1`"),
        "{out}"
    );
    assert!(!out.contains('\u{1b}'), "no colour in a pipe");
}

#[test]
fn the_old_word_still_works_and_is_not_shown() {
    let folder = folder();
    let now = run(&folder, &["plan", "check", "plan.toml"]);
    assert_eq!(run(&folder, &["plan", "lint", "plan.toml"]), now);
    let help = run(&folder, &["plan", "--help"]).1;
    assert!(help.contains("check") && !help.contains("lint"), "{help}");
}

#[test]
fn a_mistake_in_the_grammar_is_shown_where_it_stands() {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN.replace("run 1:00", "run 1:0x"));
    for command in [&["plan", "check", "plan.toml"][..], &["plan", "show", "plan.toml"]] {
        let (code, out, err) = run(&folder, command);
        assert_eq!((code, out.as_str()), (2, ""));
        assert!(err.contains("plan.toml:6:32") && err.contains("^^^^ expected a duration"), "{err}");
    }
}

#[test]
fn the_documents_say_what_the_text_says() {
    let folder = folder();
    let (code, out, _) = run(&folder, &["plan", "check", "plan.toml", "--format", "json"]);
    let lint = document(&out);
    assert_eq!((code, lint["remarks"].as_array().map(Vec::len)), (0, Some(5)));
    let (code, out, _) = run(&folder, &["plan", "show", "plan.toml", "--format", "json"]);
    let plan = document(&out);
    assert_eq!((code, &plan["stages"][0]["run_s"]), (0, &Value::from(120.0)));
    let (code, out, _) = run(&folder, &["plan", "show", "plan.toml", "--stage", "first", "--format", "json"]);
    let card = document(&out);
    assert_eq!((code, &card["bouts"][1]["at_s"]), (0, &Value::from(300.0)));
}

#[test]
fn the_card_of_a_stage_is_shown() {
    let (code, out, _) = run(&folder(), &["plan", "show", "plan.toml", "--stage", "first"]);
    assert_eq!(code, 0);
    assert!(out.starts_with("Next session: stage “first”\n"), "{out}");
    let (code, _, err) = run(&folder(), &["plan", "show", "plan.toml", "--stage", "frist"]);
    assert_eq!(code, 2);
    assert!(err.contains("did you mean `first`?"), "{err}");
}

#[test]
fn a_plan_may_come_from_standard_input() {
    let (code, out, _) = Folder::new().run(&["plan", "show", "-"], PLAN.as_bytes());
    assert_eq!(code, 0);
    assert!(out.starts_with("Back on the path\n2 stages, "), "{out}");
}

const DRAFT: &[&str] =
    &["plan", "draft", "--run", "1:00", "--walk", "2:00", "--minutes", "25", "--goal-run", "30:00"];

#[test]
fn a_draft_passes_the_linter() {
    let folder = Folder::new();
    let (code, out, err) = run(&folder, DRAFT);
    assert_eq!((code, err.as_str()), (0, ""));
    let (code, again, err) = run(&folder, &[DRAFT, &["--out", "drafted.toml"]].concat());
    assert_eq!((code, again.as_str()), (0, ""));
    assert_eq!(err, "13 stages over 13 weeks; the plan is in `drafted.toml`.\n");
    assert_eq!(folder.read("drafted.toml"), out.as_bytes(), "the same bytes");
    let (code, out, _) = run(&folder, &["plan", "check", "drafted.toml"]);
    assert_eq!(code, 0);
    assert!(out.starts_with("Nothing to remark"), "{out}");
}

#[test]
fn limits_that_contradict_are_named() {
    let folder = Folder::new();
    let (code, out, err) =
        run(&folder, &[DRAFT, &["--max-weeks", "8", "--per-week", "3", "--out", "no.toml"]].concat());
    assert_eq!((code, out.as_str()), (2, ""));
    assert_eq!(
        err,
        "error: no plan can be drafted: the limits contradict each other\n  caused by: --max-weeks 8 contradicts the \
         other limits: the fewest stages are 13, which take 13 weeks\n"
    );
    assert!(folder.names().is_empty(), "nothing is written");
}

#[test]
fn bad_values_are_bad_usage() {
    let folder = Folder::new();
    for bad in [
        &["--run", "1"][..],
        &["--weekly-increase", "25"],
        &["--session-step", "400 m"],
        &["--warm-up", "1.5 s"],
        &["--title", " x"],
        &["--minutes", "many"],
    ] {
        let option = bad[0];
        let kept: Vec<&str> = match DRAFT.iter().position(|arg| *arg == option) {
            Some(at) => [&DRAFT[..at], &DRAFT[at + 2..]].concat(),
            None => DRAFT.to_vec(),
        };
        let (code, out, err) = run(&folder, &[&kept[..], bad].concat());
        assert_eq!((code, out.as_str()), (2, ""), "{bad:?}");
        assert!(err.contains(option), "{err}");
    }
}
