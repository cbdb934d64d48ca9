//! The local page as its users use it, without a browser: look, keep, diary, plan, review, caseload.
#![cfg(target_os = "linux")]
#![allow(clippy::print_stdout)] // what was measured

use std::fs;

use crate::page::{Page, case_with, coded, demo_file, on_disk, tree};

#[test]
fn the_runners_way() {
    let folder = case_with(&["2026-03-02.fit", "2026-03-04.gpx.gz", "2026-03-07.tcx"]);
    let page = Page::on(&folder.path().join("case"));
    assert_eq!(page.get("/").location(), "/case/case/");
    let before = tree(folder.path());

    // The stage is proposed, the report is there, and nothing is kept before it is asked for.
    let bytes = demo_file("recordings/2026-03-09.fit");
    let place = page.upload("case", &[("this morning.fit", &bytes)]).location().to_owned();
    let looked = page.page(&place);
    assert!(looked.contains("Taken for stage “2”"), "{looked}");
    assert!(looked.contains("Overdone: more was done than stage “2” prescribes"), "{looked}");
    assert!(page.page(&format!("{place}?stage=1")).contains("stage “1”"));
    assert_eq!(tree(folder.path()), before);

    let kept = page.post(&format!("{place}/keep"), &[("stage", "2")]);
    assert!(kept.location().contains("done=kept"));
    let name = "recordings/this-morning.";
    let after = tree(folder.path());
    let stored = after.iter().find(|(path, _)| path.to_string_lossy().contains(name)).expect("it is kept");
    assert_eq!(stored.1, bytes, "the bytes as they were");
    assert!(on_disk(&folder, "stages.csv").starts_with("recording,stage\nthis-morning."));
    let report = page.page(kept.location());
    assert!(report.contains("Saved to the case.") && report.contains("Overdone:"), "{report}");

    // The same bytes again, under another name.
    let again = page.upload("case", &[("copy.fit", &bytes)]).location().to_owned();
    assert!(page.page(&again).contains("The case has this recording already"));
    assert!(page.post(&format!("{again}/keep"), &[]).location().contains("done=duplicate"));
    assert_eq!(tree(folder.path()), after);

    // The diary: other lines stay as they are.
    let diary = on_disk(&folder, "diary.csv");
    let fields = [
        ("pain_during", "2.5"),
        ("pain_pattern", "returns"),
        ("pain_next_morning", ""),
        ("effort", "6"),
        ("note", "new, \"soft\" shoes"),
    ];
    let written = page.write_day("/case/case/diary/2026-03-09", &fields);
    assert!(written.location().contains("done=diary"));
    let line = "2026-03-09,2.5,returns,,6,\"new, \"\"soft\"\" shoes\"";
    let expected = diary.replace("2026-03-09,2,warm_up_only,4,6,felt good and let it run", line);
    assert_ne!(expected, diary);
    assert_eq!(on_disk(&folder, "diary.csv"), expected);
    let wrong = page.write_day("/case/case/diary/2026-03-09", &[("pain_during", "11")]);
    assert_eq!(wrong.status, 422);
    assert!(wrong.body.contains("What to do"));
    assert!(page.page("/case/case/diary").contains("new, &quot;soft&quot; shoes"));
    assert!(page.page("/case/case/review").contains("2026-03-09"));

    // Another stage, noted in the case.
    let recording = stored.0.file_name().unwrap().to_str().unwrap();
    page.post("/case/case/stage", &[("recording", recording), ("stage", "3")]).location();
    assert_eq!(on_disk(&folder, "stages.csv"), format!("recording,stage\n{recording},3\n"));
    let seen = page.page(&format!("/case/case/session?recording={}", coded(recording)));
    assert!(seen.contains("Stage “3”, as said in stages.csv."), "{seen}");
}

#[test]
fn a_stale_form_takes_nothing_away_and_shows_both() {
    let folder = case_with(&[]);
    let page = Page::on(folder.path());
    let day = "/case/case/diary/2026-03-09";
    let before = on_disk(&folder, "diary.csv");
    let form = page.day_form(day);
    // Somebody else notes the night while the form is open.
    let line = "2026-03-09,2,warm_up_only,4,6,felt good and let it run";
    let theirs = before.replace(line, "2026-03-09,7,night,4,6,felt good and let it run");
    assert_ne!(theirs, before);
    fs::write(folder.path().join("case/diary.csv"), &theirs).unwrap();
    let answer = page.send_day(day, &form, &[("note", "it rained")]);
    assert_eq!(answer.status, 409);
    // A narrow screen has no heads of columns: each value says whose it is.
    for label in ["In the diary now", "What you wrote"] {
        assert_eq!(answer.body.matches(&format!("data-label=\"{label}\"")).count(), 5, "{label}");
    }
    for word in ["was changed since you opened it", "at night", "it rained", "felt good and let it run"] {
        assert!(answer.body.contains(word), "{word}: {}", answer.body);
    }
    assert_eq!(on_disk(&folder, "diary.csv"), theirs, "nothing is written");
    // The form that comes back holds their cells and our note.
    let answer = page.write_day(day, &[("note", "it rained")]);
    assert!(answer.location().contains("done=diary"));
    let both = theirs.replace("felt good and let it run", "it rained");
    assert_eq!(on_disk(&folder, "diary.csv"), both);
    assert!(page.write_day(day, &[]).location().contains("done=diary-same"));
    assert_eq!(on_disk(&folder, "diary.csv"), both);
    // Two marks of one day are kept and come back ticked.
    let mut form = page.day_form(day);
    form.push(("pain_pattern".to_owned(), "after".to_owned()));
    assert!(page.send_day(day, &form, &[]).location().contains("done=diary"));
    let both = both.replace("7,night,", "7,after night,");
    assert_eq!(on_disk(&folder, "diary.csv"), both);
    assert_eq!(page.day_form(day).iter().filter(|(name, _)| name == "pain_pattern").count(), 2);
    // A post that carries nothing of what it was made from is a conflict, too.
    assert_eq!(page.post(day, &[("pain_during", ""), ("note", "x")]).status, 409);
    assert_eq!(on_disk(&folder, "diary.csv"), both);
}

#[test]
fn a_visit_that_is_noted_ends_what_nothing_else_does() {
    let folder = case_with(&["2026-03-02.fit"]);
    let case = folder.path().join("case");
    fs::write(case.join("diary.csv"), "date,pain_during,pain_pattern\n2026-03-02,2,night\n").unwrap();
    let page = Page::with(&[case.as_os_str(), "--as-of".as_ref(), "2026-03-04".as_ref()]);
    let sends = || page.page("/case/case/").contains("See a health professional before you run again.");
    assert!(sends());
    let note = |date, by, stage| {
        page.post("/case/case/seen", &[("date", date), ("by", by), ("stage", stage), ("note", "")])
    };
    for (date, by, stage) in [("2026-03-05", "x", ""), ("2026-03-04", " ", ""), ("2026-03-04", "x", "99")] {
        assert!(note(date, by, stage).status == 422 && sends(), "{date} {by} {stage}");
    }
    assert_eq!(on_disk(&folder, "seen.csv"), "");
    // What a spreadsheet would take for a formula is written as text.
    assert!(note("2026-03-04", "=R. Lunde", "1").location().contains("done=seen"));
    assert_eq!(on_disk(&folder, "seen.csv"), "date,by,stage,note\n2026-03-04,'=R. Lunde,1,\n");
    let now = page.page("/case/case/");
    assert!(now.contains("Go on with stage “1”") && now.contains("seen by =R. Lunde"), "{now}");
}

#[test]
fn what_a_form_cannot_show_stays_and_nothing_is_cut() {
    let folder = case_with(&[]);
    let odd = "date;pain_during;mood;note;effort\r\n2026-03-09;about 3;so-so;\"two\r\nlines; =1\";5,5\r\n";
    fs::write(folder.path().join("case/diary.csv"), odd).unwrap();
    let page = Page::on(folder.path());
    let day = "/case/case/diary/2026-03-09";
    assert!(page.page(day).contains("about 3"));
    assert!(page.write_day(day, &[("effort", "6")]).location().contains("done=diary"));
    assert_eq!(on_disk(&folder, "diary.csv"), odd.replace("5,5", "6"));
    let long = "å".repeat(501);
    let answer = page.write_day(day, &[("note", &long)]);
    assert_eq!(answer.status, 422);
    assert!(
        answer.body.contains("501 characters") && answer.body.contains("nothing was written"),
        "{}",
        answer.body
    );
    assert_eq!(on_disk(&folder, "diary.csv"), odd.replace("5,5", "6"));
    assert!(
        page.write_day("/case/case/diary/2026-03-10", &[("note", "=1+1")]).location().contains("done=diary")
    );
    assert!(on_disk(&folder, "diary.csv").ends_with("2026-03-10;;;'=1+1;\r\n"));
    assert!(page.day_form("/case/case/diary/2026-03-10").contains(&("note".to_owned(), "=1+1".to_owned())));
}

#[test]
fn what_cannot_be_read_and_unknown_stages_are_not_kept() {
    let folder = case_with(&[]);
    let page = Page::on(folder.path());
    let before = tree(folder.path());
    let waiting = page.upload("case", &[("x.fit", b"no recording")]).location().to_owned();
    assert_eq!(page.post(&format!("{waiting}/keep"), &[]).status, 422);
    let bytes = demo_file("recordings/2026-03-09.fit");
    let waiting = page.upload("case", &[("y.fit", &bytes)]).location().to_owned();
    let answer = page.post(&format!("{waiting}/keep"), &[("stage", "17")]);
    assert!(answer.status == 422 && answer.body.contains("no stage `17`"), "{answer:?}");
    assert_eq!(tree(folder.path()), before);
}

#[test]
fn several_files_at_once_and_one_that_cannot_be_read() {
    let folder = case_with(&[]);
    let page = Page::on(&folder.path().join("case"));
    let files: Vec<(&str, Vec<u8>)> = ["2026-03-02.fit", "2026-03-04.gpx.gz", "2026-03-07.tcx"]
        .iter()
        .map(|name| (*name, demo_file(&format!("recordings/{name}"))))
        .chain([("photo.jpg", b"\xff\xd8\xff\xe0 no recording".to_vec())])
        .collect();
    let sent: Vec<(&str, &[u8])> = files.iter().map(|(name, bytes)| (*name, bytes.as_slice())).collect();
    assert_eq!(page.upload("case", &sent).location(), "/case/case/");
    let list = page.page("/case/case/");
    assert!(list.contains("7 March: stage “1”, as prescribed"), "{list}");
    assert!(list.contains("photo.jpg") && list.contains("not readable: "), "{list}");
    page.post("/case/case/keep-all", &[]).location();
    let names: Vec<_> =
        tree(&folder.path().join("case/recordings")).into_iter().map(|(path, _)| path).collect();
    assert_eq!(names.len(), 3, "{names:?}");
    assert!(page.page("/case/case/").contains("photo.jpg"), "what can't be read waits on");
    page.post("/case/case/put-away-all", &[]);
    assert!(!page.page("/case/case/").contains("photo.jpg"));
    assert_eq!(page.upload("case", &[]).location(), "/case/case/?done=nothing");
}

#[test]
fn the_plan_is_saved_when_it_is_one() {
    let folder = case_with(&[]);
    let page = Page::on(&folder.path().join("case"));
    let shown = page.page("/case/case/plan/text");
    let of = shown.split("name=\"of\" value=\"").nth(1).and_then(|rest| rest.split('"').next()).unwrap();
    let before = on_disk(&folder, "plan.toml");
    let broken = before.replace("run 0:50", "run 0:5o").replace('\n', "\r\n");
    let answer = page.post("/case/case/plan/text", &[("text", &broken), ("of", of), ("action", "save")]);
    assert_eq!(answer.status, 422);
    assert!(answer.body.contains("The plan has a mistake, so it was not saved"), "{}", answer.body);
    assert_eq!(answer.body.matches("expected a duration such as").count(), 1, "said once: {}", answer.body);
    assert!(answer.body.contains("<mark>0:5o</mark>"), "{}", answer.body);
    assert_eq!(on_disk(&folder, "plan.toml"), before);

    let better = before.replace("7 x (run 0:50", "5 x (run 0:50");
    let sent = better.replace('\n', "\r\n");
    let saved = page.post("/case/case/plan/text", &[("text", &sent), ("of", of), ("action", "save")]);
    assert!(saved.location().contains("done=plan"));
    assert_eq!(on_disk(&folder, "plan.toml"), better);
    assert_eq!(on_disk(&folder, "plan.toml.bak"), before);
    // From the page as it was before that.
    let late = page.post("/case/case/plan/text", &[("text", &before), ("of", of), ("action", "save")]);
    assert_eq!(late.status, 422);
    assert!(late.body.contains("changed by somebody else"));
    assert!(page.post("/case/case/plan/lint", &[("text", &better)]).body.contains("to think about"));
    assert!(!page.page("/case/case/").contains("several_plans"));
}

#[test]
fn the_physios_way() {
    let caseload = tempfile::tempdir().unwrap();
    for (name, files) in [
        ("Berit", &["2026-03-02.fit"][..]),
        ("Arne", &["2026-03-02.fit"]),
        ("Cato", &[]),
        ("Dagny", &["2026-03-02.fit"]),
    ] {
        let case = case_with(files);
        fs::rename(case.path().join("case"), caseload.path().join(name)).unwrap();
    }
    fs::write(caseload.path().join("Arne/diary.csv"), "date,pain_during,pain_pattern\n2026-03-02,6,night\n")
        .unwrap();
    fs::write(caseload.path().join("Dagny/diary.csv"), "date,pain_during,pain_pattern\n2026-03-02,0,night\n")
        .unwrap();
    fs::write(caseload.path().join("Cato/plan.toml"), "title = ").unwrap();
    fs::write(
        caseload.path().join("Berit/diary.csv"),
        "date,pain_during,pain_pattern,pain_next_morning,effort,note\n2026-02-24,1,,1,3,walk\n2026-03-02,0,,0,3,\nsoon,9,,,,\n",
    )
    .unwrap();
    let page = Page::with(&[caseload.path().as_os_str(), "--as-of".as_ref(), "2026-03-03".as_ref()]);
    let table = page.page("/");
    let place = |text: &str| table.find(text).unwrap_or_else(|| panic!("{text} in {table}"));
    assert!(place(">Arne<") < place(">Cato<") && place(">Cato<") < place(">Berit<"), "{table}");
    assert!(!table.contains("0 of 10:"), "pain at night that was noted as 0 has no size: {table}");
    for text in [
        "pain beyond the limit: 2 March",
        "pain up to 6 of 10: 2 March",
        "A line of the diary can’t be read.",
        "2 March, yesterday",
        "walk 4:40, 7 x (run 0:50, walk 1:40), walk 3:20",
        "0 → 6 of 18 min",
        "1 → 0 of 10",
    ] {
        assert!(table.to_lowercase().contains(&text.to_lowercase()), "{text} in {table}");
    }
    assert!(table.contains("See a clinician.") && table.contains("The plan has a mistake."), "{table}");
    assert!(
        page.page("/case/Berit/").contains("Taken for") || page.page("/case/Berit/").contains("2026-03-02")
    );
    let broken = page.page("/case/Cato/");
    assert!(broken.contains("Line 1, column 9:") && broken.contains("Write or fix the plan"), "{broken}");
    assert_eq!(page.get("/case/Dora/").status, 404);
}

#[test]
fn without_a_case_a_made_up_one_is_shown_and_taken_away() {
    let page = Page::with(&[]);
    let first = page.get("/case/made-up-case/");
    assert_eq!(first.status, 200);
    assert!(first.body.contains("This case is made up"));
    assert!(page.page("/case/made-up-case/").contains("Tove"));
    page.end();
}

#[test]
fn a_large_case_answers_at_once_and_shows_how_far_it_is() {
    let folder = case_with(&[]);
    let recordings = folder.path().join("case/recordings");
    let bytes = demo_file("recordings/2026-03-28.fit");
    for number in 0..200 {
        // A byte after the end of a FIT file is noticed and changes the hash, so that nothing is read twice.
        fs::write(recordings.join(format!("{number}.fit")), [bytes.as_slice(), &[number as u8]].concat())
            .unwrap();
    }
    let page = Page::on(&folder.path().join("case"));
    let first = page.get("/case/case/");
    assert!(first.body.contains("of 200") && first.body.contains("<progress"), "{}", first.body);
    page.page("/case/case/");
    println!("200 recordings: at most {} MiB", page.peak_mib());
}

#[test]
fn the_reading_of_a_case_is_stopped_by_a_button_and_taken_up_by_another() {
    let folder = case_with(&["2026-03-02.fit"]);
    let case = folder.path().join("case");
    for number in 0..3_000 {
        let copy = case.join(format!("recordings/{number}.fit"));
        fs::hard_link(case.join("recordings/2026-03-02.fit"), copy).unwrap();
    }
    let page = Page::on(&case);
    let reading = page.get("/case/case/review");
    assert!(reading.body.contains("action=\"/case/case/stop\""), "{}", reading.body);
    assert_eq!(page.post("/case/case/stop", &[]).location(), "/case/case/");
    let stopped = page.get("/case/case/");
    assert!(stopped.body.contains("was stopped") && !stopped.body.contains("http-equiv"), "{}", stopped.body);
    assert!(stopped.body.contains("action=\"/case/case/read-on\""), "{}", stopped.body);
    assert_eq!(page.post("/case/case/read-on", &[]).status, 303);
    let reading = page.get("/case/case/");
    assert!(reading.body.contains("Reading the recordings"), "{}", reading.body);
}
