//! The command line without a recording: usage, plans, stages, files that are not there. Each case fixes the exit code
//! and what stands on both outputs.

use crate::folder::Folder;
use crate::hand_made::PLAN;
use crate::program::jogaudit;

/// Runs in `folder` and gives `(exit code, stdout, stderr)`.
fn run(folder: &Folder, args: &[&str]) -> (i32, String, String) {
    folder.run(args, b"")
}

#[test]
fn help_names_the_commands_and_their_values() {
    let folder = Folder::new();
    let (code, out, err) = run(&folder, &["check", "--help"]);
    assert_eq!((code, err.as_str()), (0, ""));
    for word in ["<FILE>", "--plan <PLAN>", "--stage <NAME>", "--format <FORMAT>", "--out <PATH>", "--strict"]
    {
        assert!(out.contains(word), "{word} is not in\n{out}");
    }
    assert!(out.contains("html"), "{out}");
    let (code, out, _) = run(&folder, &["bouts", "--help"]);
    assert_eq!(code, 0);
    assert!(out.contains("csv"), "{out}");
}

#[test]
fn bad_usage_is_2() {
    let folder = Folder::new();
    for args in [
        vec![],
        vec!["bouts"],
        vec!["check", "a.fit"],
        vec!["bouts", "a.fit", "--format", "xml"],
        vec!["bouts", "a.fit", "--activity", "-1"],
        vec!["jog"],
    ] {
        let (code, out, err) = run(&folder, &args);
        assert_eq!((code, out.as_str()), (2, ""), "{args:?}");
        assert!(!err.is_empty());
    }
}

#[test]
fn a_file_that_is_not_there_is_named() {
    let folder = Folder::new();
    assert_eq!(
        run(&folder, &["bouts", "none.fit"]),
        (
            2,
            String::new(),
            format!(
                "error: could not read `none.fit`\n  caused by: {}\nhint: check the path; `-` reads standard input\n",
                std::io::Error::from_raw_os_error(2)
            )
        )
    );
    let (code, _, err) = run(&folder, &["check", "none.fit", "--plan", "none.toml"]);
    assert_eq!(code, 2);
    assert!(err.contains("`none.toml`"), "{err}");
}

#[test]
fn a_mistake_in_the_plan_is_shown_where_it_stands() {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN.replace("run 1:00", "run 1:0x"));
    let (code, out, err) = run(&folder, &["check", "none.fit", "--plan", "plan.toml"]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert_eq!(
        err,
        r#"error: the plan has a mistake
  plan.toml:6:32
    6 | session = "walk 5:00, 2 x (run 1:0x, walk 2:00), walk 5:00"
      |                                ^^^^ expected a duration such as `1:00`, `90 s`, `2 min` or `400 m`
"#
    );
}

#[test]
fn a_plan_that_is_no_text_is_refused() {
    let folder = Folder::new();
    folder.write("plan.toml", b"title = 'x'\n\xff\xfe");
    let (code, _, err) = run(&folder, &["check", "none.fit", "--plan", "plan.toml"]);
    assert_eq!(code, 2);
    assert!(err.contains("line 2 is not UTF-8 text"), "{err}");
}

#[test]
fn the_stage_is_asked_for_and_found() {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    let (code, _, err) = run(&folder, &["check", "none.fit", "--plan", "plan.toml"]);
    assert_eq!(code, 2);
    assert_eq!(
        err,
        "error: the plan has several stages\nhint: add --stage with one of `first`, `walks only`\n"
    );
    let (_, _, err) = run(&folder, &["check", "none.fit", "--plan", "plan.toml", "--stage", "frist"]);
    assert_eq!(
        err,
        "error: the plan has no stage `frist`\nhint: did you mean `first`? The stages are `first`, `walks only`\n"
    );
    let (_, _, err) = run(&folder, &["check", "none.fit", "--plan", "plan.toml", "--stage", "first"]);
    assert!(err.contains("`none.fit`"), "the stage is accepted: {err}");
}

#[test]
fn standard_input_can_be_only_one_thing() {
    let (code, _, err) = run(&Folder::new(), &["check", "-", "--plan", "-"]);
    assert_eq!(code, 2);
    assert!(err.contains("cannot be both"), "{err}");
}

#[test]
fn an_input_is_never_overwritten() {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    folder.write("a.fit", "x");
    let (code, _, err) =
        run(&folder, &["check", "a.fit", "--plan", "plan.toml", "--stage", "first", "--out", "plan.toml"]);
    assert_eq!(code, 2);
    assert!(err.contains("overwrite"), "{err}");
    assert_eq!(folder.read("plan.toml"), PLAN.as_bytes());
}

#[test]
fn a_closed_pipe_is_no_error() {
    use std::process::Stdio;
    let mut child = std::process::Command::new(jogaudit())
        .args(["check", "--help"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!((output.status.code(), output.stderr.len()), (Some(0), 0));
}

#[test]
fn shells_and_manuals_know_the_command_line() {
    let folder = Folder::new();
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let (code, out, err) = run(&folder, &["completions", shell]);
        assert_eq!((code, err.as_str()), (0, ""), "{shell}");
        assert!(out.contains("jogaudit") && out.contains("--stage"), "{shell}: {out}");
    }
    for (command, title, names) in [
        (&[][..], "jogaudit", "check"),
        (&["check"], "jogaudit-check", "strict"),
        (&["plan", "show"], "jogaudit-plan-show", "stage"),
    ] {
        let (code, out, err) = run(&folder, &[&["man"], command].concat());
        assert_eq!((code, err.as_str()), (0, ""), "{title}");
        assert!(out.contains(&format!(".TH {title} 1")) && out.contains(names), "{title}: {out}");
    }
    let (code, out, err) = run(&folder, &["man", "plan", "jog"]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(err.contains("no command `jogaudit plan jog`"), "{err}");
}

#[test]
fn colours_come_when_they_are_asked_for() {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN.as_bytes());
    let has_colour = |more: &[&str]| {
        let (code, out, _) = run(&folder, &[&["plan", "show", "plan.toml"], more].concat());
        assert_eq!(code, 0);
        out.contains('\u{1b}')
    };
    assert!(!has_colour(&[]), "nobody looks at a pipe");
    assert!(has_colour(&["--color", "always"]));
    assert!(!has_colour(&["--color", "never"]));
}
