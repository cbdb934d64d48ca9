//! The plan on the local page, without a browser: as a form, and for its reader.
#![cfg(target_os = "linux")]

use std::fs;

use crate::page::{Page, case_with, form_fields, on_disk, tree};

const PLAN: &str = "\
# Åse's plan, agreed on 27 February\r
title = \"Back\"  # for now\r
\r
[limits]\r
sessions_per_week = 3\r
rest_days_between = 1\r
pain_limit = 2   # not the tendon\r
\r
# walking and running\r
[[stage]]\r
name = \"1\"\r
session = \"walk 4:40, 6 x (run 0:50, walk 1:40), walk 4:40\"   # at ease\r
sessions = 3\r
\r
[[stage]]\r
name = \"2\"\r
weeks = 1\r
[[stage.session]]\r
name = \"run-walk\"\r
do = \"walk 4:40, 6 x (run 1:10, walk 1:40), walk 4:40\"\r
a_week = 2\r
[[stage.session]]\r
name = \"steady\"\r
do = \"run 5:40\"\r
a_week = \"0 to 1\"   # if it rains\r
";

fn on(plan: &str) -> (tempfile::TempDir, Page) {
    let folder = case_with(&[]);
    fs::write(folder.path().join("case/plan.toml"), plan).unwrap();
    let page = Page::on(&folder.path().join("case"));
    (folder, page)
}

#[test]
fn a_form_that_is_saved_untouched_changes_no_byte() {
    let (folder, page) = on(PLAN);
    let shown = page.page("/case/case/plan");
    assert!(page.press(&shown, "save", &[]).location().ends_with("/plan?done=plan"));
    assert_eq!(on_disk(&folder, "plan.toml"), PLAN);
}

#[test]
fn a_stage_is_added_written_moved_and_saved_and_comments_stay() {
    let (folder, page) = on(PLAN);
    let shown = page.page("/case/case/plan");
    let added =
        page.press(&shown, "add:s0", &[("s0.session", "walk 4:40, 5 x (run 0:50, walk 1:40), walk 4:40")]);
    assert_eq!(added.status, 200);
    assert_eq!(on_disk(&folder, "plan.toml"), PLAN, "nothing is written before it is saved");
    assert!(added.body.contains("Write here what to do."), "{}", added.body);
    let fields =
        [("s1.name", "1b"), ("s1.session", "walk 4:40, 9 x (run 3:10, walk 1:40)"), ("s1.sessions", "2")];
    let looked = page.press(&added.body, "look", &fields);
    // The remark stands in the row of the stage that it is about.
    let row = looked
        .body
        .split("<section class=\"stage\" id=\"s1\"")
        .nth(1)
        .unwrap()
        .split("id=\"s2\"")
        .next()
        .unwrap();
    assert!(row.contains("Stage “1b” has") && row.contains("of running a session"), "{row}");
    let moved =
        page.press(&looked.body, "down:s1", &[("s1.session", "walk 4:40, 6 x (run 1:10, walk 1:40)")]);
    let saved =
        page.press(&moved.body, "save", &[("limits.pain_limit", "1.5"), ("plan.note", "Talk, \"always\".")]);
    assert!(saved.location().ends_with("/plan?done=plan"), "{saved:?}");
    let expected = PLAN
        .replace("for now\r\n", "for now\r\nnote = \"Talk, \\\"always\\\".\"\r\n")
        .replace("pain_limit = 2 ", "pain_limit = 1.5 ")
        .replace("4:40, 6 x (run 0:50", "4:40, 5 x (run 0:50")
        + "\r\n[[stage]]\r\nname = \"1b\"\r\nsession = \"walk 4:40, 6 x (run 1:10, walk 1:40)\"\r\nsessions = 2\r\n";
    assert_eq!(on_disk(&folder, "plan.toml"), expected);
    assert_eq!(on_disk(&folder, "plan.toml.bak"), PLAN);
    let text = page.page("/case/case/plan/text");
    assert!(text.contains("# Åse's plan") && text.contains("# if it rains"), "{text}");
}

#[test]
fn a_mistake_is_said_once_beside_its_field_with_what_was_typed() {
    let (folder, page) = on(PLAN);
    let shown = page.page("/case/case/plan");
    let typed = [
        ("s1k0.do", "walk 4:40, 6 x (run 1:1o, walk 1:40)"),
        ("s0.sessions", "a few"),
        ("s0.note", "Slowly."),
    ];
    let refused = page.press(&shown, "save", &typed);
    assert_eq!(refused.status, 422);
    let body = &refused.body;
    assert_eq!(body.matches("xpected a whole number from 1 to 100").count(), 1, "{body}");
    assert_eq!(body.matches("xpected a duration such as").count(), 1, "{body}");
    assert!(body.contains("<mark><bdi>1:1o</bdi></mark>") && body.contains("2 things to fix"), "{body}");
    assert!(body.contains("href=\"#s1k0-do\"") && body.contains("id=\"s1k0-do\""), "{body}");
    let fields = form_fields(body);
    for (name, value) in typed {
        assert!(fields.contains(&(name.to_owned(), value.to_owned())), "{name}: {fields:?}");
    }
    assert_eq!(on_disk(&folder, "plan.toml"), PLAN);
    let mended = [("s1k0.do", "walk 4:40, 6 x (run 1:10, walk 1:40)"), ("s0.sessions", "4")];
    page.press(body, "save", &mended).location();
    assert!(on_disk(&folder, "plan.toml").contains("sessions = 4\r\nnote = \"Slowly.\"\r\n"));
}

#[test]
fn somebody_elses_change_is_not_overwritten() {
    let (folder, page) = on(PLAN);
    let shown = page.page("/case/case/plan");
    let theirs = PLAN.replace("agreed on 27", "changed on 28");
    fs::write(folder.path().join("case/plan.toml"), &theirs).unwrap();
    let late = page.press(&shown, "save", &[("plan.title", "Mine")]);
    assert!(late.status == 422 && late.body.contains("changed by somebody else"), "{late:?}");
    assert!(form_fields(&late.body).contains(&("plan.title".to_owned(), "Mine".to_owned())));
    assert_eq!(on_disk(&folder, "plan.toml"), theirs);
}

#[test]
fn form_and_text_pass_on_what_is_not_saved_yet() {
    let (folder, page) = on(PLAN);
    let shown = page.page("/case/case/plan");
    let text = page.press(&shown, "text", &[("plan.title", "Half done")]);
    assert!(text.body.contains("title = &quot;Half done&quot;  # for now"), "{}", text.body);
    let fields = form_fields(&text.body);
    let value =
        |name: &str| fields.iter().find(|(field, _)| field == name).map(|(_, value)| value.clone()).unwrap();
    let (text, of) = (value("text"), value("of"));
    let form = page.post("/case/case/plan/text", &[("text", &text), ("of", &of), ("action", "form")]);
    page.press(&form.body, "save", &[("plan.title", "Done")]).location();
    assert_eq!(on_disk(&folder, "plan.toml"), PLAN.replace("\"Back\"", "\"Done\""));
    let broken = page.post("/case/case/plan/text", &[("text", "title = "), ("of", &of), ("action", "form")]);
    assert!(broken.status == 422 && broken.body.contains("cannot be shown as a form"), "{broken:?}");
    assert_eq!(broken.body.matches("not valid TOML").count(), 1, "{}", broken.body);
}

#[test]
fn a_plan_can_be_begun_by_the_form() {
    let (folder, page) = on("");
    fs::remove_file(folder.path().join("case/plan.toml")).unwrap();
    let shown = page.page("/case/case/plan");
    assert!(shown.contains("Write here what to do."), "{shown}");
    let typed = [("s0.session", "6 x (run 0:50, walk 1:40)"), ("plan.title", "New")];
    page.press(&shown, "save", &typed).location();
    let plan = on_disk(&folder, "plan.toml");
    assert!(
        plan.contains("title = \"New\"") && plan.contains("session = \"6 x (run 0:50, walk 1:40)\""),
        "{plan}"
    );
}

#[test]
fn a_patients_page_shows_the_plan_and_no_route_of_it_writes_it() {
    let folder = case_with(&["2026-03-02.fit"]);
    fs::write(folder.path().join("case/plan.toml"), PLAN).unwrap();
    let physio = Page::on(&folder.path().join("case"));
    let form = physio.page("/case/case/plan");
    physio.end();
    let before = tree(folder.path());
    let case = folder.path().join("case");
    let page =
        Page::with(&[case.as_os_str(), "--as-of".as_ref(), "2026-03-03".as_ref(), "--patient".as_ref()]);
    let shown = page.page("/case/case/plan");
    assert!(shown.contains("walk 4:40, 6 x (run 0:50, walk 1:40), walk 4:40"), "{shown}");
    assert!(shown.contains("Pain above 2 of 10, or pain that rises as you go: stop running."), "{shown}");
    assert!(!shown.contains("<form") && !shown.contains("<textarea"), "{shown}");
    let fields = form_fields(&form);
    let of = fields.iter().find(|(name, _)| name == "of").map(|(_, of)| of.as_str()).unwrap();
    let better = PLAN.replace("pain_limit = 2", "pain_limit = 9");
    for path in ["plan", "plan/text", "plan/lint", "plan/form", "plan/anything"] {
        let sent = [("text", better.as_str()), ("of", of), ("action", "save")];
        assert_eq!(page.post(&format!("/case/case/{path}"), &sent).status, 403, "{path}");
    }
    let refused = page.press(&form, "save", &[("limits.pain_limit", "9")]);
    assert!(refused.status == 403 && refused.body.contains("does not change it"), "{refused:?}");
    assert_eq!(page.get("/case/case/plan/text").status, 403);
    // All else is as on any page: the diary can be written, a recording kept.
    assert!(
        page.write_day("/case/case/diary/2026-03-02", &[("note", "it rained")])
            .location()
            .contains("done=diary")
    );
    let changed: Vec<_> =
        tree(folder.path()).into_iter().filter(|file| !before.contains(file)).map(|(path, _)| path).collect();
    assert!(changed.iter().all(|path| path.ends_with("diary.csv")), "{changed:?}");
    fs::write(folder.path().join("case/plan.toml"), "title = ").unwrap();
    let broken = page.page("/case/case/");
    assert!(broken.contains("The plan has a mistake.") && !broken.contains("fix the plan"), "{broken}");
}
