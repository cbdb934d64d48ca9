//! Reports as HTML by the command.

use crate::folder::Folder;
use crate::hand_made::{AS_PRESCRIBED, PLAN, SECOND_RUN_LONG, session, tcx, tcx_activity};
use crate::html_page::{assert_anchors, assert_self_contained, values};

#[test]
fn the_command_writes_the_page_whole() {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    folder.write("a.tcx", session(SECOND_RUN_LONG));
    let arguments = ["check", "a.tcx", "--plan", "plan.toml", "--stage", "first", "--format", "html"];
    let (code, to_stdout, remarks) = folder.run(&arguments, b"");
    assert_eq!((code, remarks.as_str()), (0, ""));
    let (code, nothing, remarks) = folder.run(&[&arguments[..], &["--out", "report.html"]].concat(), b"");
    assert_eq!((code, nothing.as_str()), (0, ""));
    assert!(remarks.contains("The report is in `report.html`."), "{remarks}");
    let page = String::from_utf8(folder.read("report.html")).expect("text");
    assert_eq!(page, to_stdout);
    assert!(page.starts_with("<!DOCTYPE html>") && page.ends_with("</html>"));
    assert!(
        page.contains("Overdone: more was done")
            && page.contains("SHA-256")
            && page.contains("stop and see a health professional")
    );
    assert_anchors(&page);
    assert_self_contained(&page);
    assert!(page.len() < 400_000, "{}", page.len());
}

#[test]
fn what_is_not_on_foot_has_a_page_without_curves() {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    folder.write("ride.tcx", tcx(&[tcx_activity("Biking", AS_PRESCRIBED)]));
    let arguments = ["check", "ride.tcx", "--plan", "plan.toml", "--stage", "first", "--format", "html"];
    let (code, page, _) = folder.run(&arguments, b"");
    assert_eq!(code, 0);
    assert!(page.contains("nothing was scored") && page.contains("not running or walking"));
    assert!(!page.contains("class=\"curve\""));
    assert_anchors(&page);
}

#[test]
fn a_review_has_a_row_a_week_and_leads_to_its_sessions() {
    let folder = Folder::new();
    let (code, ..) = folder.run(&["demo", "case"], b"");
    assert_eq!(code, 0);
    let arguments = ["review", "case", "--as-of", "2026-05-10", "--format"];
    let (_, json, _) = folder.run(&[&arguments[..], &["json"]].concat(), b"");
    let (code, page, remarks) = folder.run(&[&arguments[..], &["html"]].concat(), b"");
    assert_eq!((code, remarks.as_str()), (0, ""));
    let review: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert!(
        page.contains(&format!("<h1><bdi>{}</bdi></h1>", review["ruling"]["text"].as_str().expect("a text")))
    );
    assert!(page.contains("<th scope=\"row\">Mon 2 Mar 2026</th>"), "{page}");
    for week in review["weeks"].as_array().expect("weeks") {
        let monday = jogaudit_report::days::in_table(week["monday"].as_str().expect("a date"));
        let row = format!("<th scope=\"row\">{monday}</th>");
        assert!(page.contains(&row), "{row}");
    }
    let sessions = review["sessions"].as_array().expect("sessions").len();
    assert!(values(&page, "id").contains(&format!("session-{sessions}").as_str()));
    let days = values(&page, "href").iter().filter(|link| link.starts_with("#session-")).count();
    assert!(days > 20, "{days}");
    assert_anchors(&page);
    assert_self_contained(&page);
}

/// What a page shows before anything is opened: its text without styles and what is folded away.
fn unfolded(page: &str) -> String {
    let without = |text: &str, tag: &str| {
        let begin = format!("<{tag}");
        let mut parts = text.split(&begin);
        let first = parts.next().unwrap_or_default().to_owned();
        let end = format!("</{tag}>");
        parts.fold(first, |text, part| text + part.split_once(&end).map_or("", |(_, after)| after))
    };
    let shown = without(&without(page, "style"), "details");
    shown
        .split('<')
        .map(|part| part.split_once('>').map_or(part, |(_, text)| text))
        .collect::<Vec<_>>()
        .join(" ")
}

#[test]
fn no_code_is_shown_outside_what_is_folded() {
    let folder = Folder::new();
    assert_eq!(folder.run(&["demo", "case"], b"").0, 0);
    folder.write("case/recordings/photo.jpg", b"no recording");
    let recordings = ["2026-03-04.gpx.gz", "2026-03-09.fit", "april/2026-04-02.fit"];
    let checks = recordings.map(|name| {
        let recording = format!("case/recordings/{name}");
        folder
            .run(&["check", &recording, "--plan", "case/plan.toml", "--stage", "2", "--format", "html"], b"")
    });
    let days = ["2026-03-02", "2026-03-26", "2026-05-10"];
    let reviews = days.map(|day| folder.run(&["review", "case", "--as-of", day, "--format", "html"], b""));
    let is_code = |word: &&str| {
        word.contains('_') && !word.contains('.') && word.chars().all(|c| c.is_ascii_lowercase() || c == '_')
    };
    let mut folded = 0;
    for (_, page, err) in checks.iter().chain(&reviews) {
        assert!(page.starts_with("<!DOCTYPE html>"), "{err}");
        folded += page.matches("<code>").count();
        let shown = unfolded(page);
        let codes: Vec<&str> = shown.split_whitespace().filter(is_code).collect();
        assert!(codes.is_empty(), "{codes:?}");
    }
    assert!(folded > 0, "codes are there, folded");
}
