//! The local page killed (`kill -9`) while it writes to a case: nothing that was acknowledged is lost, nothing is torn.
#![cfg(target_os = "linux")]
#![allow(clippy::print_stdout)] // what was measured

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use jiff::civil::Date;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::page::{Page, case_with, gpx, on_disk, tree};

#[test]
fn uploads_killed_at_any_time_leave_the_case_whole() {
    uploads_killed(8);
}

#[test]
#[ignore = "minutes: bash tests/full runs it"]
fn uploads_killed_fifty_times_leave_the_case_whole() {
    uploads_killed(50);
}

#[test]
fn a_diary_killed_at_any_time_is_whole() {
    diary_killed(5);
}

#[test]
#[ignore = "minutes: bash tests/full runs it"]
fn a_diary_killed_fifty_times_is_whole() {
    diary_killed(50);
}

#[test]
fn visits_killed_at_any_time_are_whole() {
    visits_killed(5);
}

#[test]
#[ignore = "minutes: bash tests/full runs it"]
fn visits_killed_fifty_times_are_whole() {
    visits_killed(50);
}

fn diary_killed(hits_wanted: usize) {
    let folder = case_with(&[]);
    let form = Page::on(&folder.path().join("case")).day_form("/case/case/diary/2026-07-01");
    let address = |day| format!("/case/case/diary/{day}");
    lines_killed(hits_wanted, &folder, "diary.csv", &form, address, |day, note| format!("{day},,,,,{note}"));
}

fn visits_killed(hits_wanted: usize) {
    let folder = case_with(&[]);
    let before = "date,by,stage,note\n1980-01-01,R. Lunde,,from before\n";
    fs::write(folder.path().join("case/seen.csv"), before).unwrap();
    let form = [("date", ""), ("by", "R. Lunde"), ("stage", ""), ("note", "")]
        .map(|(name, value)| (name.to_owned(), value.to_owned()));
    let address = |_| "/case/case/seen".to_owned();
    lines_killed(hits_wanted, &folder, "seen.csv", &form, address, |day, note| {
        format!("{day},R. Lunde,,{note}")
    });
}

/// Kills the page while two browsers write one line of a table after the other, each of a day of its own, after so many acknowledged
/// lines that are drawn and at a moment that is drawn, until so many kills hit a line that was being written. Each time the table holds
/// every line that was acknowledged, all that was there before, and no line that is not whole.
#[expect(clippy::too_many_lines, reason = "one round, told in order")]
fn lines_killed(
    hits_wanted: usize,
    folder: &tempfile::TempDir,
    table: &str,
    form: &[(String, String)],
    address: impl Fn(Date) -> String + Sync,
    line: impl Fn(Date, &str) -> String,
) {
    const SEED: u64 = 20_261_126;
    let case = folder.path().join("case");
    let before = on_disk(folder, table);
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    let day_of = |number: usize| {
        jiff::civil::date(1990, 1, 1) + jiff::Span::new().days(i64::try_from(number).unwrap())
    };
    let note_of = |number: usize| format!("day {number} {}", "x".repeat(400));
    let (next, mut acknowledged) = (AtomicUsize::new(0), Vec::new());
    let (mut rounds, mut hits, mut unfinished) = (0, 0, 0);
    while hits < hits_wanted {
        rounds += 1;
        assert!(rounds < 12 * hits_wanted, "{hits} of {rounds} kills hit anything");
        let page = Page::on(&case);
        let (wanted, more) =
            (random.random_range(0..4), Duration::from_micros(random.random_range(0..4_000)));
        let done = AtomicUsize::new(0);
        let write_days = || {
            let mut told = Vec::new();
            loop {
                let number = next.fetch_add(1, Ordering::Relaxed);
                let (day, note) = (day_of(number).to_string(), note_of(number));
                let typed = |name: &str| match name {
                    "date" => Some(day.as_str()),
                    "note" => Some(note.as_str()),
                    _ => None,
                };
                let fields: Vec<(&str, &str)> =
                    form.iter().map(|(name, value)| (name.as_str(), typed(name).unwrap_or(value))).collect();
                let answer = page.try_post(&address(day_of(number)), &fields);
                if answer.as_ref().is_none_or(|answer| answer.status != 303) {
                    return (told, answer.is_none());
                }
                told.push(number);
                done.fetch_add(1, Ordering::Relaxed);
            }
        };
        let ended: Vec<_> = std::thread::scope(|scope| {
            let writing = [scope.spawn(write_days), scope.spawn(write_days)];
            while done.load(Ordering::Relaxed) < wanted
                && !writing.iter().all(std::thread::ScopedJoinHandle::is_finished)
            {
                std::thread::sleep(Duration::from_micros(200));
            }
            std::thread::sleep(more);
            page.stop();
            writing.map(|one| one.join().unwrap()).into()
        });
        hits += usize::from(ended.iter().any(|(_, was_cut)| *was_cut));
        unfinished += usize::from(files(&case).iter().any(|name| name.ends_with(".jogaudit-part")));
        acknowledged.extend(ended.into_iter().flat_map(|(told, _)| told));

        let now = on_disk(folder, table);
        let written: BTreeSet<String> =
            (0..next.load(Ordering::Relaxed)).map(|number| line(day_of(number), &note_of(number))).collect();
        let is_whole = |line: &str| written.contains(line) || before.lines().any(|old| old == line);
        assert!(now.ends_with('\n') && now.lines().all(is_whole), "round {rounds}:\n{now}");
        assert!(before.lines().all(|old| now.contains(old)), "round {rounds}: a line from before is gone");
        for number in &acknowledged {
            let wanted = line(day_of(*number), &note_of(*number));
            assert!(now.lines().any(|found| found == wanted), "acknowledged and gone: {wanted}");
        }
    }
    println!(
        "{table}: {} days were acknowledged, {hits} of {rounds} kills hit others, {unfinished} left an unfinished file",
        acknowledged.len()
    );
}

/// Files in a folder.
fn files(folder: &Path) -> BTreeSet<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect()
}

/// Kills the page in the middle of five uploads at once that are kept with their stage, each time at another event that is
/// seen on disk, until so many kills hit an upload. Each time all files are whole, and what was acknowledged is there.
#[expect(clippy::too_many_lines, reason = "one round, told in order")]
fn uploads_killed(hits_wanted: usize) {
    const AT_ONCE: usize = 5;
    // Rounds after which no hit is to be expected any more.
    let most_rounds = 12 * hits_wanted;
    let folder = case_with(&[]);
    let case = folder.path().join("case");
    let recordings = case.join("recordings");
    let others = || ["plan.toml", "diary.csv"].map(|name| on_disk(&folder, name));
    let stages = || on_disk(&folder, "stages.csv");
    let before = others();
    // Large enough to take a while to write.
    let padding = "x".repeat(3 << 20);
    let (mut uploads, mut acknowledged) = (Vec::new(), Vec::new());
    let (mut round, mut hits) = (0, 0);
    while hits < hits_wanted {
        assert!(round < most_rounds, "{hits} of {round} kills hit anything");
        let first = uploads.len();
        uploads.extend((first..first + AT_ONCE).map(|n| gpx(n, &format!("<!-- {n} {padding} -->"))));
        let page = Page::on(&case);
        let (files_before, stages_before) = (files(&recordings), stages());
        let told: Vec<Option<usize>> = std::thread::scope(|scope| {
            let keeping: Vec<_> = (first..first + AT_ONCE)
                .map(|number| {
                    let (page, bytes) = (&page, &uploads[number]);
                    scope.spawn(move || {
                        let sent = page.try_upload("case", &[("a.gpx", bytes)])?;
                        let kept =
                            page.try_post(&format!("{}/keep", sent.header("location")), &[("stage", "1")])?;
                        (kept.status == 303).then_some(number)
                    })
                })
                .collect();
            let new = |is: fn(&str) -> bool| {
                files(&recordings).difference(&files_before).filter(|name| is(name)).count()
            };
            let has_come = || match round % 5 {
                0 => false, // this round goes through
                1 => new(|_| true) > 0,
                2 => new(|name| !name.starts_with('.')) > 0,
                3 => stages() != stages_before,
                _ => new(|name| !name.starts_with('.')) > 1,
            };
            while !has_come() && !keeping.iter().all(std::thread::ScopedJoinHandle::is_finished) {
                std::thread::sleep(Duration::from_millis(1));
            }
            page.stop();
            keeping.into_iter().map(|one| one.join().unwrap()).collect()
        });
        assert!(round % 5 != 0 || told.iter().all(Option::is_some), "round {round} goes through: {told:?}");
        hits += usize::from(told.iter().any(Option::is_none));
        acknowledged.extend(told.into_iter().flatten());

        assert_eq!(others(), before, "round {round}");
        let stages = stages();
        let stored = tree(&recordings);
        for (path, bytes) in &stored {
            let is_part = path.to_string_lossy().starts_with('.');
            assert!(is_part || uploads.contains(bytes), "{} is not whole", path.display());
        }
        for number in &acknowledged {
            let found = stored.iter().find(|(_, bytes)| *bytes == uploads[*number]);
            let (path, _) = found.unwrap_or_else(|| panic!("upload {number} was acknowledged and is gone"));
            assert!(stages.contains(&format!("{},1\n", path.display())), "{stages}");
        }
        assert!(stages.is_empty() || stages.ends_with(",1\n"), "{stages}");
        round += 1;
    }
    println!(
        "{} of {} uploads were acknowledged, {hits} of {round} kills hit others",
        acknowledged.len(),
        uploads.len()
    );

    // The next start clears up, and serves the case.
    let page = Page::on(&case);
    page.page("/case/case/");
    assert!(tree(&case).iter().all(|(path, _)| !path.to_string_lossy().ends_with(".jogaudit-part")));
}
