//! The local page in a real browser: as a runner, as a physio, by keyboard alone, on each screen, by an accessibility checker.
#![cfg(target_os = "linux")]

use std::fs;
use std::time::Duration;

use crate::browser::{Driver, Look, wrong};
use crate::page::{HANG, Page, case_with, demo, demo_file, tree};
use fantoccini::actions::{InputSource, KeyAction, KeyActions};
use fantoccini::elements::Element;
use fantoccini::key::Key;
use fantoccini::{Client, Locator};
use serde_json::json;

/// Attempts to click on what a page that comes again takes away.
const CLICKS: usize = 20;
const WIDE: Look = Look { width: 1400, height: 900, dark: false };

pub(crate) async fn find(client: &Client, css: &str) -> Element {
    comes(client, Locator::Css(css)).await
}

/// The link or button with this text.
pub(crate) async fn named(client: &Client, text: &str) -> Element {
    comes(client, Locator::XPath(&path_of(text))).await
}

pub(crate) async fn click(client: &Client, text: &str) {
    click_at(client, Locator::XPath(&path_of(text))).await;
}

/// Clicks on what the page has at a CSS selector.
pub(crate) async fn click_on(client: &Client, css: &str) {
    click_at(client, Locator::Css(css)).await;
}

/// Path of a link or button by its text.
fn path_of(text: &str) -> String {
    format!("//*[self::a or self::button][contains(normalize-space(.), '{text}')]")
}

/// Waits for an element.
async fn comes(client: &Client, place: Locator<'_>) -> Element {
    let wait = client.wait().at_most(HANG).every(Duration::from_millis(50));
    wait.for_element(place).await.unwrap_or_else(|error| panic!("{place:?}: {error}"))
}

/// Clicks on an element, anew where the page came again between finding and clicking, so that nothing was clicked.
async fn click_at(client: &Client, place: Locator<'_>) {
    for _ in 0..CLICKS {
        match comes(client, place).await.click().await {
            Err(error) if error.is_stale_element_reference() => {}
            clicked => return clicked.unwrap(),
        }
    }
    panic!("{place:?} never stays to be clicked");
}

/// Waits until the page says something.
pub(crate) async fn says(client: &Client, text: &str) {
    for _ in 0..HANG.as_millis() / 100 {
        if body(client).await.contains(text) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("the page never says “{text}”: {}", body(client).await);
}

pub(crate) async fn body(client: &Client) -> String {
    let text = client.execute("return document.body ? document.body.innerText : ''", vec![]).await;
    text.ok().and_then(|text| text.as_str().map(str::to_owned)).unwrap_or_default()
}

/// Drops files onto the page.
pub(crate) async fn drop_files(client: &Client, files: &[(&str, &[u8])]) {
    let script = "const all = new DataTransfer();
        for (const [name, bytes] of arguments[0]) all.items.add(new File([Uint8Array.from(bytes)], name));
        const dropped = new DragEvent('drop', {dataTransfer: all, bubbles: true, cancelable: true});
        document.querySelector('form.drop').dispatchEvent(dropped);";
    find(client, "form.drop").await;
    client.execute(script, vec![json!(files)]).await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
async fn a_runner_drops_a_file_keeps_it_writes_the_diary_and_sees_the_review() {
    let folder = case_with(&["2026-03-02.fit", "2026-03-04.gpx.gz", "2026-03-07.tcx"]);
    let (page, driver) = (Page::on(&folder.path().join("case")), Driver::start());
    let client = driver.open(WIDE).await;
    client.goto(&page.address).await.unwrap();
    let address = client.current_url().await.unwrap();
    assert!(!address.as_str().contains("token"), "the token is out of the address: {address}");

    drop_files(&client, &[("this morning.fit", &demo_file("recordings/2026-03-09.fit"))]).await;
    says(&client, "Overdone: more was done than stage “2” prescribes").await;
    says(&client, "Taken for stage “2”").await;
    let drawn = "return document.querySelectorAll('main svg').length";
    assert!(client.execute(drawn, vec![]).await.unwrap().as_u64().unwrap() > 0, "the strip is drawn");

    click(&client, "Save to case").await;
    says(&client, "Saved to the case.").await;
    click(&client, "Write the diary of 9 March").await;
    let pain = find(&client, "#pain_next_morning").await;
    pain.clear().await.unwrap();
    pain.send_keys("7").await.unwrap();
    click(&client, "Write into the diary").await;
    says(&client, "Written into the diary.").await;
    let diary = fs::read_to_string(folder.path().join("case/diary.csv")).unwrap();
    assert!(diary.contains("2026-03-09,2,warm_up_only,7,6,felt good and let it run\n"), "{diary}");

    click(&client, "Review").await;
    says(&client, "Pain 7 of 10 on the morning after").await;
    click(&client, "Plan").await;
    click(&client, "As text").await;
    let text = find(&client, "#text").await;
    text.send_keys("x").await.unwrap();
    says(&client, "Not a plan yet").await;
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
async fn a_bad_file_a_large_file_and_two_uploads_at_once() {
    let folder = case_with(&[]);
    let case = folder.path().join("case");
    let (page, driver) = (Page::on(&case), Driver::start());
    let (one, two) = tokio::join!(driver.open(WIDE), driver.open(WIDE));
    for client in [&one, &two] {
        client.goto(&page.address).await.unwrap();
    }
    drop_files(&one, &[("photo.jpg", b"\xff\xd8\xff\xe0 no recording")]).await;
    says(&one, "“photo.jpg” can’t be read").await;
    says(&one, "What to do: export the session again").await;
    click(&one, "Discard").await;
    says(&one, "Discarded: it is not in the case.").await;

    // The script says it before anything is sent.
    let grow =
        "const all = new DataTransfer(); all.items.add(new File([new Uint8Array(17 * 2 ** 20)], 'huge.fit'));
        document.querySelector('form.drop').dispatchEvent(
            new DragEvent('drop', {dataTransfer: all, bubbles: true, cancelable: true}));";
    one.execute(grow, vec![]).await.unwrap();
    says(&one, "huge.fit: more than the 16 MiB").await;

    let files = ["2026-03-02.fit", "2026-03-04.gpx.gz"].map(|name| demo_file(&format!("recordings/{name}")));
    let way = async |client: &Client, bytes: &[u8]| {
        drop_files(client, &[("a.fit", bytes)]).await;
        click(client, "Save to case").await;
        says(client, "Saved to the case.").await;
    };
    tokio::join!(way(&one, &files[0]), way(&two, &files[1]));
    let mut kept: Vec<Vec<u8>> = tree(&case.join("recordings")).into_iter().map(|(_, bytes)| bytes).collect();
    let mut sent = files.to_vec();
    kept.sort();
    sent.sort();
    assert!(kept == sent, "both are in the case, as they were");
    one.close().await.unwrap();
    two.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
async fn a_physio_leafs_through_patients() {
    let caseload = caseload();
    let page = Page::with(&[caseload.path().as_os_str(), "--as-of".as_ref(), "2026-03-03".as_ref()]);
    let driver = Driver::start();
    let client = driver.open(WIDE).await;
    client.goto(&page.address).await.unwrap();
    says(&client, "See a clinician.").await;
    let first = find(&client, "tbody th a").await;
    assert_eq!(first.text().await.unwrap(), "Arne");
    first.click().await.unwrap();
    says(&client, "See a health professional before you run again.").await;
    click(&client, "All cases").await;
    click(&client, "Berit").await;
    says(&client, "The last session").await;
    client.close().await.unwrap();
}

fn caseload() -> tempfile::TempDir {
    let caseload = tempfile::tempdir().unwrap();
    for name in ["Berit", "Arne"] {
        let case = case_with(&["2026-03-02.fit"]);
        fs::rename(case.path().join("case"), caseload.path().join(name)).unwrap();
    }
    fs::write(caseload.path().join("Arne/diary.csv"), "date,pain_during,pain_pattern\n2026-03-02,6,night\n")
        .unwrap();
    caseload
}

/// Presses Tab until what has the focus holds this text, and sees that the focus shows.
pub(crate) async fn tab_to(client: &Client, text: &str) -> Element {
    let shown = "const at = document.activeElement; const style = getComputedStyle(at);
        if (at === document.body) return ['', false];
        return [(at.type === 'text' && at.value) || at.innerText || at.id || '', style.outlineStyle !== 'none' && style.outlineWidth !== '0px'];";
    for _ in 0..80 {
        let active = client.active_element().await.unwrap();
        let focus = client.execute(shown, vec![]).await.unwrap();
        if focus[0].as_str().is_some_and(|name| name.contains(text)) {
            assert_eq!(focus[1], true, "the focus on “{text}” shows");
            return active;
        }
        let (tab, keys) = (char::from(Key::Tab), KeyActions::new("keys".to_owned()));
        let press = keys.then(KeyAction::Down { value: tab }).then(KeyAction::Up { value: tab });
        client.perform_actions(press).await.unwrap();
    }
    panic!("Tab never comes to “{text}”");
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
async fn everything_can_be_done_by_keyboard_alone() {
    let folder = case_with(&[]);
    let (page, driver) = (Page::on(&folder.path().join("case")), Driver::start());
    let client = driver.open(Look { width: 360, height: 740, dark: true }).await;
    client.goto(&page.address).await.unwrap();
    // The system's own dialog is not the page's: its result is typed in.
    let file = demo().join("demo/recordings/2026-03-02.fit");
    find(&client, "input[type=file]").await.send_keys(&file.display().to_string()).await.unwrap();
    let enter = Key::Enter.to_string();
    tab_to(&client, "Look at them").await.send_keys(&enter).await.unwrap();
    says(&client, "is not in the case yet").await;
    tab_to(&client, "Save to case").await.send_keys(&enter).await.unwrap();
    says(&client, "Saved to the case.").await;
    tab_to(&client, "Write the diary").await.send_keys(&enter).await.unwrap();
    find(&client, "#effort").await;
    let note = tab_to(&client, "first jog since January").await;
    note.send_keys(" and it rained").await.unwrap();
    note.send_keys(&enter).await.unwrap();
    says(&client, "Written into the diary.").await;
    let diary = fs::read_to_string(folder.path().join("case/diary.csv")).unwrap();
    assert!(diary.contains("and it rained"), "{diary}");
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
async fn every_page_fits_each_screen_and_is_accessible() {
    let folder = case_with(&["2026-03-02.fit", "2026-03-04.gpx.gz", "2026-03-07.tcx"]);
    let page = Page::on(&folder.path().join("case"));
    let waits =
        page.upload("case", &[("long name of this morning.fit", &demo_file("recordings/2026-03-09.fit"))]);
    let bad = page.upload("case", &[("photo.jpg", b"\xff\xd8\xff\xe0 no recording")]);
    let caseload = caseload();
    let patients = Page::with(&[caseload.path().as_os_str(), "--as-of".as_ref(), "2026-03-03".as_ref()]);
    patients.page("/");
    let paths = [
        "/case/case/?done=kept",
        "/case/case/diary",
        "/case/case/diary/2026-03-09",
        "/case/case/review",
        "/case/case/plan",
        "/case/case/plan/text",
        "/case/case/session?recording=2026-03-02.fit&stage=2",
        waits.location(),
        bad.location(),
        "/nothing",
    ];
    page.page(waits.location());
    let driver = Driver::start();
    let mut found = Vec::new();
    for look in Look::ALL {
        let client = driver.open(look).await;
        let mut all: Vec<String> = paths.iter().map(|path| format!("http://{}{path}", page.host)).collect();
        client.goto(&page.address).await.unwrap();
        client.goto(&patients.address).await.unwrap();
        all.push(format!("http://{}/", patients.host));
        for address in all {
            client.goto(&address).await.unwrap();
            let name = format!("{} {look:?}", address.split('/').skip(3).collect::<Vec<_>>().join("/"));
            found.extend(wrong(&client).await.into_iter().map(|what| format!("{name}: {what}")));
        }
        client.close().await.unwrap();
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}
