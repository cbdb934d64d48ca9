//! `plan export`: what is written, and what is refused. What other programs read in it stands in `tests/outside`.

use jogaudit_recording::read::read_workout;
use jogaudit_recording::workout::StepEnd;

use crate::folder::Folder;

const PLAN: &str = "title = 'Back'\nstart = 2026-03-03\nweekdays = ['tue', 'thu']\n[limits]\nsessions_per_week = 2\n\
    rest_days_between = 1\n[[stage]]\nname = '1'\nsession = 'walk 5:00, 6 x (run 1:10, walk 2:00)'\nsessions = 2\n[[stage]]\n\
    name = 'grow'\nsession = '4 rising to 7 x (run 1:30, walk 2:30)'\nsessions = 4\n";

fn folder() -> Folder {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    folder
}

fn run(folder: &Folder, args: &[&str]) -> (i32, String, String) {
    folder.run(&[&["plan", "export"][..], args].concat(), b"")
}

fn times(folder: &Folder, name: &str) -> Vec<u32> {
    let steps = read_workout(&folder.read(name)).expect("a workout").steps;
    let times = |end: StepEnd| if let StepEnd::Repeat { times, .. } = end { Some(times) } else { None };
    steps.iter().filter_map(|step| times(step.end)).collect()
}

#[test]
fn a_session_becomes_a_workout() {
    let folder = folder();
    let (code, out, err) = run(&folder, &["plan.toml", "--stage", "1", "--out", "a.fit"]);
    assert_eq!((code, out.as_str(), err.as_str()), (0, "", "The workout is in `a.fit`.\n"));
    assert_eq!(times(&folder, "a.fit"), [6]);
    assert_eq!(run(&folder, &["plan.toml", "--stage", "grow", "--out", "b.FIT", "--session", "3"]).0, 0);
    assert_eq!(times(&folder, "b.FIT"), [6], "two kept before it");
    let before = folder.read("a.fit");
    run(&folder, &["plan.toml", "--stage", "1", "--out", "a.fit"]);
    assert_eq!(folder.read("a.fit"), before, "the same plan gives the same bytes");
    let (code, _, err) = folder.run(&["bouts", "a.fit"], b"");
    assert!(code == 2 && err.contains("a workout to follow"), "{err}");
}

#[test]
fn dated_sessions_become_a_calendar() {
    let folder = folder();
    let (code, _, err) = run(&folder, &["plan.toml", "--out", "plan.ics", "--as-of", "2026-03-01"]);
    assert_eq!((code, err.as_str()), (0, "The calendar is in `plan.ics`.\n"));
    let calendar = String::from_utf8(folder.read("plan.ics")).unwrap();
    assert_eq!(calendar.matches("BEGIN:VEVENT\r\n").count(), 6);
    assert_eq!(run(&folder, &["plan.toml", "--stage", "1", "--out", "one.ics", "--at", "07:15"]).0, 0);
    let one = String::from_utf8(folder.read("one.ics")).unwrap();
    assert_eq!(one.matches("DTSTART:2026030").count(), 2, "{one}");
}

#[test]
fn the_next_session_of_a_case_is_exported() {
    let folder = Folder::new();
    std::fs::create_dir_all(folder.file("case/recordings")).unwrap();
    folder.write("case/plan.toml", PLAN);
    folder.write("case/diary.csv", "date,pain_during,pain_next_morning,effort\n");
    let (code, _, err) = run(&folder, &["case", "--out", "next.fit", "--as-of", "2026-03-02"]);
    assert_eq!(code, 0, "{err}");
    assert_eq!(times(&folder, "next.fit"), [6], "the first stage");
    let (code, _, err) = run(&folder, &["case", "--out", "case/recordings/x.txt"]);
    assert_eq!(code, 2, "{err}");
}

#[test]
fn what_cannot_be_exported_is_said() {
    let folder = folder();
    folder.write("undated.toml", PLAN.replace("start = 2026-03-03\n", ""));
    for (args, said) in [
        (
            &["plan.toml", "--stage", "1", "--out", "a.tcx"][..],
            "hint: let --out end in .fit for a workout, or in .ics",
        ),
        (&["plan.toml", "--out", "a.fit"], "hint: add --stage with one of `1`, `grow`"),
        (&["plan.toml", "--stage", "2", "--out", "a.fit"], "error: the plan has no stage `2`"),
        (&["undated.toml", "--out", "a.ics"], "error: the plan has no `start`"),
        (
            &["plan.toml", "--stage", "1", "--session", "2", "--out", "a.fit"],
            "error: no count of stage `1` rises",
        ),
        (
            &["plan.toml", "--stage", "1", "--at", "07:00", "--out", "a.fit"],
            "error: --at is for a calendar alone",
        ),
        (&["plan.toml", "--session", "2", "--out", "a.ics"], "error: --session is for a workout alone"),
        (&["plan.toml", "--out", "a.ics", "--at", "25:00"], "invalid value '25:00' for '--at <TIME>'"),
        (&["nowhere.toml", "--out", "a.ics"], "error: could not read `nowhere.toml`"),
    ] {
        let (code, out, err) = run(&folder, args);
        assert_eq!((code, out.as_str()), (2, ""), "{args:?}");
        assert!(err.contains(said), "{args:?}: {err}");
    }
    assert_eq!(folder.names(), ["plan.toml", "undated.toml"], "nothing is written");
    std::fs::rename(folder.file("plan.toml"), folder.file("plan.ics")).unwrap();
    let (code, _, err) = run(&folder, &["plan.ics", "--out", "plan.ics"]);
    assert_eq!(code, 2, "{err}");
    assert_eq!(folder.read("plan.ics"), PLAN.as_bytes(), "no input is overwritten");
}
