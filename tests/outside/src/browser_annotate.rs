//! Marking a recording in a real browser: by mouse, by keyboard alone, on each screen, two raters and the program through `agree`.
#![cfg(target_os = "linux")]

use fantoccini::Client;
use fantoccini::actions::{
    InputSource, KeyAction, KeyActions, MOUSE_BUTTON_LEFT, MouseActions, PointerAction,
};
use fantoccini::key::Key;
use serde_json::{Value, json};

use crate::browser::{Driver, Look, wrong};
use crate::browser_page::{click, click_on, find, says};
use crate::browser_situations::keep_picture;
use crate::folder::Folder;
use crate::page::Page;

const PLAN: &str = "[[stage]]\nname = 'first'\nsession = 'walk 5:00, 2 x (run 1:00, walk 2:00), walk 5:00'\n\
                    [[stage]]\nname = 'long'\nsession = 'walk 5:00, 40 x (run 2:00, walk 2:00)'\n";
/// Width of the scale left of the curves, px, as in `annotate.js`.
const EDGE_PX: f64 = 44.0;
/// How far a mark may lie from what was aimed at, s.
const MOST_OFF_S: f64 = 1.0;

/// Recordings `1.fit` and on of a stage with their truth, so many.
fn made_up(stage: &str, count: usize) -> Folder {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    for name in ["truth", "anna", "bert", "program"] {
        std::fs::create_dir(folder.file(name)).expect("a folder");
    }
    for seed in 1..=count {
        let (seed, out, truth) = (seed.to_string(), format!("{seed}.fit"), format!("truth/{seed}.json"));
        let args = ["simulate", "--plan", "plan.toml", "--stage", stage, "--seed", &seed, "--out", &out];
        assert_eq!(folder.run(&[&args[..], &["--truth", &truth]].concat(), b"").0, 0);
    }
    folder
}

/// Where each gait of a recording truly begins, s.
fn true_changes(folder: &Folder, name: &str) -> Vec<(f64, String)> {
    let truth: Value = serde_json::from_slice(&folder.read(&format!("truth/{name}.json"))).unwrap();
    let change =
        |bout: &Value| (bout["start_s"].as_f64().unwrap(), bout["gait"].as_str().unwrap().to_owned());
    truth["bouts"].as_array().unwrap().iter().map(change).collect()
}

/// Opens the page on which a rater marks a recording.
async fn opened(folder: &Folder, client: &Client, name: &str, rater: &str) -> Page {
    let args = [&format!("{name}.fit"), "--rater", rater, "--out", &format!("{rater}/{name}.csv")];
    let page = Page::annotating(folder.path(), &args);
    client.goto(&page.address).await.unwrap();
    find(client, "main[data-ready] #timeline svg").await;
    page
}

async fn press(client: &Client, keys: &[char]) {
    let mut actions = KeyActions::new("keys".to_owned());
    for &value in keys {
        actions = actions.then(KeyAction::Down { value }).then(KeyAction::Up { value });
    }
    client.perform_actions(actions).await.unwrap();
}

async fn press_with(client: &Client, held: Key, key: char) {
    let held = char::from(held);
    let actions = KeyActions::new("keys".to_owned())
        .then(KeyAction::Down { value: held })
        .then(KeyAction::Down { value: key })
        .then(KeyAction::Up { value: key })
        .then(KeyAction::Up { value: held });
    client.perform_actions(actions).await.unwrap();
}

/// What an attribute says, s.
async fn seconds(client: &Client, css: &str, attribute: &str) -> f64 {
    let text = find(client, css).await.attr(attribute).await.unwrap();
    text.and_then(|text| text.parse().ok()).expect("seconds")
}

/// Presses the left button at one place of the timeline and lets it go at another, s.
async fn drag(client: &Client, from_s: f64, to_s: f64, view_s: (f64, f64)) {
    let timeline = find(client, "#timeline").await;
    let script =
        "arguments[0].scrollIntoView({block: 'center'}); const box = arguments[0].getBoundingClientRect();
        return [box.left, box.top, box.width];";
    let measured = client.execute(script, vec![serde_json::to_value(&timeline).unwrap()]).await.unwrap();
    let [left, top, width] = [0, 1, 2].map(|i| measured[i].as_f64().unwrap());
    let x = |s: f64| left + EDGE_PX + (width - EDGE_PX) * (s - view_s.0) / (view_s.1 - view_s.0);
    let to = |s: f64| PointerAction::MoveTo { duration: None, x: x(s), y: top + 60.0 };
    let mut actions = MouseActions::new("mouse".to_owned())
        .then(to(from_s))
        .then(PointerAction::Down { button: MOUSE_BUTTON_LEFT });
    if from_s < to_s || to_s < from_s {
        actions = actions.then(to(f64::midpoint(from_s, to_s))).then(to(to_s));
    }
    client.perform_actions(actions.then(PointerAction::Up { button: MOUSE_BUTTON_LEFT })).await.unwrap();
}

/// Presses Tab until the curves have the focus, and sees that it shows.
async fn tab_to_curves(client: &Client) {
    let at =
        "const at = document.activeElement; return [at.id, getComputedStyle(at).outlineStyle !== 'none'];";
    for _ in 0..80 {
        press(client, &[char::from(Key::Tab)]).await;
        let focus = client.execute(at, vec![]).await.unwrap();
        if focus[0] == "timeline" {
            assert_eq!(focus[1], true, "the focus shows");
            return;
        }
    }
    panic!("Tab never comes to the curves");
}

/// Marks by keys alone: to each place by minutes, tens and single seconds, then the letter of the gait; corrects a slip; saves.
async fn mark_by_keys(client: &Client, changes: &[(f64, String)]) {
    tab_to_curves(client).await;
    for (at, (at_s, gait)) in changes.iter().enumerate() {
        let whole = at_s.round() as usize;
        let mut keys = vec![char::from(Key::Home)];
        keys.extend(vec![char::from(Key::PageDown); whole / 60]);
        press(client, &keys).await;
        for _ in 0..whole % 60 / 10 {
            press_with(client, Key::Shift, char::from(Key::Right)).await;
        }
        let mut keys = vec![char::from(Key::Right); whole % 10];
        keys.push(gait.chars().next().unwrap());
        press(client, &keys).await;
        if at == 1 {
            // A slip: another gait, undone; one mark too many, deleted; the mark moved there and back.
            press(client, &['s', 'z']).await;
            press(
                client,
                &[char::from(Key::PageDown), 'u', char::from(Key::Delete), 'p', 'l', 'l', 'e', 'e'],
            )
            .await;
        }
    }
    press_with(client, Key::Control, 's').await;
    says(client, "What is marked is saved.").await;
}

/// Marks by mouse alone: a click into the curves, a click on the gait; the second mark is first set wrong and dragged.
async fn mark_by_mouse(client: &Client, changes: &[(f64, String)], elapsed_s: f64) {
    let whole = (0.0, elapsed_s);
    for (at, (at_s, gait)) in changes.iter().enumerate() {
        let slip_s = if at == 1 { 20.0 } else { 0.0 };
        drag(client, at_s + slip_s, at_s + slip_s, whole).await;
        click_on(client, &format!("button[data-gait={gait}]")).await;
        if at == 1 {
            drag(client, at_s + slip_s, *at_s, whole).await;
        }
    }
    click(client, "Save").await;
    says(client, "What is marked is saved.").await;
}

/// The greatest distance of what a rater saved from what was aimed at, s.
fn most_off_s(folder: &Folder, name: &str, rater: &str, changes: &[(f64, String)]) -> f64 {
    let table = String::from_utf8(folder.read(&format!("{rater}/{name}.csv"))).unwrap();
    let rows: Vec<(f64, &str)> = table
        .lines()
        .skip(1)
        .map(|row| row.split(',').collect::<Vec<_>>())
        .map(|row| (row[6].parse().unwrap(), row[5]))
        .collect();
    // A pointer at the beginning may come to lie a little behind it.
    let rows: Vec<_> = rows.into_iter().filter(|(_, gait)| *gait != "unknown").collect();
    assert_eq!(
        rows.iter().map(|(_, gait)| *gait).collect::<Vec<_>>(),
        changes.iter().map(|(_, gait)| gait.as_str()).collect::<Vec<_>>(),
        "{table}"
    );
    rows.iter().zip(changes).map(|((row_s, _), (at_s, _))| (row_s - at_s).abs()).fold(0.0, f64::max)
}

fn agreed(folder: &Folder, reference: &str, other: &str) -> Value {
    let (code, out, err) = folder.run(&["agree", reference, other, "--format", "json"], b"");
    assert_eq!((code, err.as_str()), (0, ""));
    serde_json::from_str(&out).unwrap()
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
#[expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]
async fn a_rater_by_keys_and_a_rater_by_mouse_and_the_program() {
    const RECORDINGS: usize = 6;
    let folder = made_up("first", RECORDINGS);
    let driver = Driver::start();
    let narrow = driver.open(Look { width: 360, height: 740, dark: true }).await;
    let wide = driver.open(Look { width: 1400, height: 900, dark: false }).await;
    let mut off_s = [0.0_f64; 2];
    for name in (1..=RECORDINGS).map(|n| n.to_string()) {
        let changes = true_changes(&folder, &name);
        assert!(changes.len() >= 5, "{changes:?}");
        let page = opened(&folder, &narrow, &name, "anna").await;
        mark_by_keys(&narrow, &changes).await;
        page.end();
        let page = opened(&folder, &wide, &name, "bert").await;
        mark_by_mouse(&wide, &changes, seconds(&wide, "main", "data-elapsed").await).await;
        page.end();
        for (rater, most_s) in ["anna", "bert"].into_iter().zip(&mut off_s) {
            *most_s = most_s.max(most_off_s(&folder, &name, rater, &changes));
        }
        let (code, bouts, _) = folder.run(&["bouts", &format!("{name}.fit"), "--format", "json"], b"");
        assert_eq!(code, 0);
        folder.write(&format!("program/{name}.json"), bouts);
    }
    println!("farthest from what was aimed at: {:.2} s by keys, {:.2} s by mouse", off_s[0], off_s[1]);
    assert!(off_s.iter().all(|most_s| *most_s <= MOST_OFF_S), "{off_s:?}");
    for (reference, other) in [("anna", "bert"), ("anna", "program"), ("bert", "program")] {
        let found = agreed(&folder, reference, other);
        assert_eq!((&found["recordings"]["compared"], &found["notices"]), (&json!(RECORDINGS), &json!([])));
        let (error, ends) = (&found["boundaries"], &found["intervals"]);
        println!(
            "{reference} and {other}: {} boundaries, bias {} s ({} to {}), median {} s ({} to {}), 95th {} s ({} to {})",
            error["count"],
            error["bias_s"],
            ends["bias_s"]["low"],
            ends["bias_s"]["high"],
            error["median_s"],
            ends["median_s"]["low"],
            ends["median_s"]["high"],
            error["p95_s"],
            ends["p95_s"]["low"],
            ends["p95_s"]["high"]
        );
        assert!(ends["p95_s"]["high"].as_f64().unwrap() >= error["median_s"].as_f64().unwrap());
    }
    // The two aimed at the same.
    assert!(agreed(&folder, "anna", "bert")["boundaries"]["p95_s"].as_f64().unwrap() <= 2.0 * MOST_OFF_S);
    narrow.close().await.unwrap();
    wide.close().await.unwrap();
}

/// Waits until the program has so many marks.
async fn wait_until_sent(client: &Client, marks: usize) {
    let sent = "return fetch('/marks.json').then(answer => answer.json()).then(state => state.marks.length)";
    for _ in 0..600 {
        if client.execute(sent, vec![]).await.unwrap() == marks {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    panic!("the program never has {marks} marks");
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
async fn a_long_recording_is_zoomed_marked_reloaded_and_gone_on_with_later() {
    let folder = made_up("long", 1);
    let changes = true_changes(&folder, "1");
    let driver = Driver::start();
    let client = driver.open(Look { width: 360, height: 740, dark: false }).await;
    let page = opened(&folder, &client, "1", "anna").await;
    // By mouse to a change in the middle of 2:45 hours: near it first, then zoomed in until a pixel is far less than a second.
    let (at_s, gait) = &changes[40];
    let elapsed = seconds(&client, "main", "data-elapsed").await;
    assert!(elapsed > 9000.0);
    drag(&client, *at_s, *at_s, (0.0, elapsed)).await;
    let cursor_s = seconds(&client, "#timeline", "aria-valuenow").await;
    let zooms = 7;
    for _ in 0..zooms {
        click(&client, "Zoom in").await;
    }
    let width_s = elapsed / f64::from(1 << zooms);
    let from_s = cursor_s - width_s * cursor_s / elapsed;
    drag(&client, *at_s, *at_s, (from_s, from_s + width_s)).await;
    click_on(&client, &format!("button[data-gait={gait}]")).await;
    says(&client, "A reload of the page keeps it.").await;
    let shown = "return [...document.querySelectorAll('#marks th')].map(cell => cell.textContent)";
    // The table is drawn with the next picture, after the page has said so.
    find(&client, "#marks tr:nth-child(2)").await;
    let before = client.execute(shown, vec![]).await.unwrap();
    assert_eq!(before.as_array().unwrap().len(), 2, "{before}");
    client.refresh().await.unwrap();
    // By the time the page says so, the marks are drawn.
    says(&client, "What was marked before is here.").await;
    assert_eq!(client.execute(shown, vec![]).await.unwrap(), before);

    // The same page open twice: the one that does not know of the last change is told so, and nothing is lost.
    let second = driver.open(Look { width: 1400, height: 900, dark: false }).await;
    second.goto(&page.address).await.unwrap();
    find(&second, "main[data-ready]").await;
    tab_to_curves(&second).await;
    press(&second, &['r']).await;
    says(&second, "A reload of the page keeps it.").await;
    wait_until_sent(&second, 2).await;
    tab_to_curves(&client).await;
    press(&client, &['s']).await;
    says(&client, "changed in another window").await;
    client.refresh().await.unwrap();
    says(&client, "What was marked before is here.").await;
    click(&client, "Save").await;
    says(&client, "What is marked is saved.").await;
    page.end();
    press(&second, &['s']).await;
    says(&second, "The program has ended").await;

    let args = ["1.fit", "--rater", "anna", "--out", "anna/1.csv", "--resume"];
    let page = Page::annotating(folder.path(), &args);
    client.goto(&page.address).await.unwrap();
    says(&client, "What was marked before is here.").await;
    let again = client.execute(shown, vec![]).await.unwrap();
    assert_eq!(again.as_array().unwrap()[1], before.as_array().unwrap()[1]);
    let saved = String::from_utf8(folder.read("anna/1.csv")).unwrap();
    let row = saved.lines().last().unwrap().split(',').collect::<Vec<_>>();
    assert_eq!(row[5], gait);
    assert!((row[6].parse::<f64>().unwrap() - at_s).abs() <= MOST_OFF_S, "{at_s}: {saved}");
    client.close().await.unwrap();
    second.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
async fn the_page_fits_each_screen_and_is_accessible() {
    let folder = made_up("first", 1);
    let changes = true_changes(&folder, "1");
    let args = ["1.fit", "--rater", "anna", "--out", "anna/1.csv"];
    let page = Page::annotating(folder.path(), &args);
    let marks: Vec<String> = changes.iter().map(|(at_s, gait)| format!("{at_s:.1} {gait}")).collect();
    let fields = marks.iter().map(|mark| ("mark", mark.as_str()));
    let fields: Vec<_> = std::iter::once(("version", "0")).chain(fields).collect();
    assert_eq!(page.post("/marks", &fields).status, 200);
    let driver = Driver::start();
    let mut found = Vec::new();
    for look in Look::ALL {
        let client = driver.open(look).await;
        client.goto(&page.address).await.unwrap();
        says(&client, "What was marked before is here.").await;
        find(&client, "#timeline svg").await;
        found.extend(wrong(&client).await.into_iter().map(|what| format!("{look:?}: {what}")));
        click_on(&client, "summary").await;
        click(&client, "Zoom in").await;
        click(&client, "Next mark").await;
        found.extend(wrong(&client).await.into_iter().map(|what| format!("{look:?}, keys open: {what}")));
        let scheme = if look.dark { "dark" } else { "light" };
        keep_picture(&client, &format!("annotate {} {scheme}", look.width)).await;
        client.close().await.unwrap();
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}
