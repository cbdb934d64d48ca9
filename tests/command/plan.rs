//! `plan check`, `plan show` and `plan draft` on the command line.

use crate::folder::Folder;
use crate::hand_made::PLAN;
use crate::html_page::{assert_anchors, assert_self_contained};
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
fn a_blank_diary_has_the_days_of_the_plan_and_the_review_reads_it() {
    let folder = folder();
    let header = "date,pain_during,pain_pattern,pain_next_morning,effort,note\n";
    let show = ["plan", "show", "plan.toml", "--format", "diary"];
    let (code, out, err) = run(&folder, &show);
    assert_eq!((code, out.as_str()), (0, header));
    assert!(err.contains("no `start`"), "{err}");

    let dated = "title = 'x'\nstart = 2026-03-02\n[[stage]]\nname = '1'\nsession = 'run 1:20'\nsessions = 2\n\
        [[stage]]\nname = '2'\nsession = 'run 2:10'\nsessions = 1\n";
    std::fs::create_dir(folder.path().join("case")).unwrap();
    folder.write("case/plan.toml", dated);
    let show = ["plan", "show", "case/plan.toml", "--format", "diary", "--out", "case/diary.csv"];
    assert_eq!(run(&folder, &show), (0, String::new(), String::new()));
    let diary = String::from_utf8(folder.read("case/diary.csv")).unwrap();
    assert_eq!(diary, format!("{header}2026-03-02,,,,,\n2026-03-04,,,,,\n2026-03-06,,,,,\n"));
    let (_, out, _) = run(&folder, &["plan", "show", "case/plan.toml", "--format", "diary", "--stage", "2"]);
    assert_eq!(out, format!("{header}2026-03-06,,,,,\n"));

    folder.write("case/diary.csv", diary.replace("02,,", "02,3,"));
    let (code, _, err) = run(&folder, &show);
    assert!(code == 2 && err.contains("is there already"), "{err}");
    assert!(folder.read("case/diary.csv").windows(4).any(|bytes| bytes == b"02,3"));
    folder.write("case/diary.csv", &diary);

    let (code, out, _) = run(&folder, &["review", "case", "--as-of", "2026-03-01", "--format", "json"]);
    let codes: Vec<Value> =
        document(&out)["notices"].as_array().unwrap().iter().map(|notice| notice["code"].clone()).collect();
    assert_eq!((code, codes), (0, vec![Value::from("no_recordings")]));
}

#[test]
fn a_hand_out_is_one_page_of_html_in_two_sizes() {
    let folder = folder();
    let show = ["plan", "show", "plan.toml", "--format", "html"];
    let (code, page, err) = run(&folder, &show);
    assert_eq!((code, err.as_str()), (0, ""));
    assert_self_contained(&page);
    assert_anchors(&page);
    assert!(page.contains("Back on the path") && page.contains("Diary for other days"));
    let (_, large, _) = run(&folder, &[&show[..], &["--large-print"]].concat());
    assert!(large.contains("handout large") && !page.contains("handout large"));
    let (_, one, _) = run(&folder, &[&show[..], &["--stage", "first"]].concat());
    assert_eq!(one.matches("id=\"stage-").count(), 1);
    assert_eq!(
        run(&folder, &[&show[..], &["--out", "sheet.html"]].concat()),
        (0, String::new(), String::new())
    );
    assert_eq!(folder.read("sheet.html"), page.as_bytes());
    let (code, _, err) = run(&folder, &["plan", "show", "plan.toml", "--large-print"]);
    assert!(code == 2 && err.contains("hint: add --format html"), "{err}");
}

#[test]
fn a_result_goes_to_a_file_and_never_over_the_plan() {
    let folder = folder();
    let (_, shown, _) = run(&folder, &["plan", "show", "plan.toml"]);
    assert_eq!(
        run(&folder, &["plan", "show", "plan.toml", "--out", "plan.txt"]),
        (0, String::new(), String::new())
    );
    assert_eq!(String::from_utf8(folder.read("plan.txt")).unwrap(), shown);
    let (code, _, err) = run(&folder, &["plan", "show", "plan.toml", "--out", "plan.toml"]);
    assert_eq!(code, 2, "{err}");
    assert_eq!(folder.read("plan.toml"), PLAN.as_bytes());
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
