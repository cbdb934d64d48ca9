//! The file `jogaudit.html` in a real browser does what people expect of pages: back, forward, reload, focus, files.
//!
//! `bash web/build` builds the file.
#![cfg(target_os = "linux")]

use fantoccini::{Client, Locator};
use serde_json::json;

use crate::browser::{Driver, wrong};
use crate::browser_page::{body, click, click_on, find, named};
use crate::program::top;
use crate::web::{
    Server, WIDE, address, asked_for, comes, diary, fake, is_shown, listen, opened, seed, stored, times_sent,
    type_address,
};

/// Writes pain on the morning after a day.
pub(crate) async fn write_pain(client: &Client, value: &str) {
    let field = find(client, "#pain_next_morning").await;
    field.clear().await.unwrap();
    field.send_keys(value).await.unwrap();
    click(client, "Write into the diary").await;
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn opens_by_a_double_click_and_asks_for_nothing() {
    let driver = Driver::start();
    let client = opened(&driver).await;
    let first = asked_for(&driver, &client).await;
    assert!(first.iter().any(|address| address.starts_with("file://")), "the log works: {first:?}");
    assert!(first.iter().all(|asked| asked.split('#').next() == Some(&address())), "{first:?}");
    for page in [
        "/",
        "/case/anna/",
        "/case/anna/diary",
        "/case/anna/review",
        "/case/anna/plan",
        "/case/anna/plan/text",
    ] {
        type_address(&client, page).await;
    }
    type_address(&client, "/case/anna/diary/2026-03-09").await;
    write_pain(&client, "2").await;
    is_shown(&client, "/case/anna/?done=diary").await;
    assert_eq!(asked_for(&driver, &client).await, Vec::<String>::new());
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn opens_from_a_server_which_is_asked_once() {
    let (driver, server) = (Driver::start(), Server::start());
    let client = driver.open(WIDE).await;
    client.goto(&server.address).await.unwrap();
    is_shown(&client, "/").await;
    seed(&client, "anna", &[("plan.toml", crate::web::PLAN.as_bytes())]).await;
    type_address(&client, "/case/anna/").await;
    type_address(&client, "/case/anna/diary/2026-03-09").await;
    write_pain(&client, "2").await;
    is_shown(&client, "/case/anna/?done=diary").await;
    assert!(diary(&client, "anna").await.contains("2026-03-09,,,2,,"));
    let asked = asked_for(&driver, &client).await;
    assert!(asked.iter().all(|asked| asked.split('#').next() == Some(&server.address)), "{asked:?}");
    client.close().await.unwrap();
    assert_eq!(*server.requests.lock().unwrap(), ["GET /jogaudit.html HTTP/1.1"]);
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn back_forward_and_reload_keep_address_scroll_and_focus() {
    let driver = Driver::start();
    let client = opened(&driver).await;
    let focused = "const at = document.activeElement; return at.matches('main h1, main')";
    type_address(&client, "/case/anna/").await;
    let height =
        "document.querySelector('main').append(Object.assign(document.createElement('div'), {id: 'tall'}));
        document.querySelector('#tall').setAttribute('tabindex', '-1');";
    client.execute(height, vec![]).await.unwrap();
    click(&client, "Diary").await;
    is_shown(&client, "/case/anna/diary").await;
    comes(&client, "focus", focused).await;
    comes(
        &client,
        "what is announced",
        "return document.querySelector('#shell-said').textContent.includes(document.title)",
    )
    .await;
    click(&client, "Review").await;
    is_shown(&client, "/case/anna/review").await;
    client.back().await.unwrap();
    is_shown(&client, "/case/anna/diary").await;
    client.back().await.unwrap();
    is_shown(&client, "/case/anna/").await;
    comes(&client, "focus", focused).await;
    client.forward().await.unwrap();
    is_shown(&client, "/case/anna/diary").await;
    client.refresh().await.unwrap();
    is_shown(&client, "/case/anna/diary").await;
    client.back().await.unwrap();
    is_shown(&client, "/case/anna/").await;
    client.forward().await.unwrap();
    is_shown(&client, "/case/anna/diary").await;
    assert!(body(&client).await.contains("Diary"));
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn scroll_comes_back_and_parts_of_a_page_are_found() {
    let driver = Driver::start();
    let client = opened(&driver).await;
    listen(&client).await;
    let tall = "<p>Room.</p>".repeat(200);
    let page = format!(
        "<title>Tall</title><main id=main><h1>Tall</h1><a href='#low'>Down</a> <a href='/case/anna/low#low'>There</a>{tall}
         <p id=low>Low</p>{tall}</main>"
    );
    fake(&client, "/case/anna/tall", &page).await;
    fake(&client, "/case/anna/low", &page.replace("Tall", "Other")).await;
    type_address(&client, "/case/anna/tall").await;
    client.execute("scrollTo(0, 700)", vec![]).await.unwrap();
    comes(&client, "a scroll that is noticed", "return scrollY === 700").await;
    tokio::time::sleep(std::time::Duration::from_millis(200)).await;
    type_address(&client, "/").await;
    comes(&client, "the top", "return scrollY === 0").await;
    client.back().await.unwrap();
    is_shown(&client, "/case/anna/tall").await;
    comes(&client, "the scroll as it was", "return scrollY === 700").await;

    let at_low = "const top = document.querySelector('#low').getBoundingClientRect().top;
        return Math.abs(top) < 5 && document.activeElement.id === 'low'";
    // By script: the driver would scroll to the link first.
    let down = "document.querySelector('main a').click()";
    client.execute(down, vec![]).await.unwrap();
    is_shown(&client, "/case/anna/tall#low").await;
    comes(&client, "the part", at_low).await;
    client.back().await.unwrap();
    is_shown(&client, "/case/anna/tall").await;
    comes(&client, "the scroll as it was", "return scrollY === 700").await;
    click(&client, "There").await;
    is_shown(&client, "/case/anna/low#low").await;
    comes(&client, "the part of the other page", at_low).await;
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn what_was_typed_is_there_after_back_and_forward() {
    let driver = Driver::start();
    let client = opened(&driver).await;
    type_address(&client, "/case/anna/diary/2026-03-09").await;
    find(&client, "#pain_next_morning").await.send_keys("4").await.unwrap();
    click(&client, "Review").await;
    is_shown(&client, "/case/anna/review").await;
    client.back().await.unwrap();
    is_shown(&client, "/case/anna/diary/2026-03-09").await;
    let typed = "return document.querySelector('#pain_next_morning').value === '4'";
    comes(&client, "what was typed", typed).await;
    click(&client, "Write into the diary").await;
    is_shown(&client, "/case/anna/?done=diary").await;
    assert!(diary(&client, "anna").await.contains("2026-03-09,,,4,,"));
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn a_form_is_sent_once_and_a_second_tab_opens_by_a_click_with_control() {
    let driver = Driver::start();
    let client = opened(&driver).await;
    listen(&client).await;
    type_address(&client, "/case/anna/diary/2026-03-09").await;
    find(&client, "#pain_next_morning").await.send_keys("3").await.unwrap();
    let twice = "const button = [...document.querySelectorAll('main form button')].at(-1); button.click(); button.click();";
    client.execute(twice, vec![]).await.unwrap();
    is_shown(&client, "/case/anna/?done=diary").await;
    assert_eq!(times_sent(&client, "POST /case/anna/diary/2026-03-09").await, 1);

    let link = "const link = document.querySelector('nav a[href$=\"/review\"]');
        link.dispatchEvent(new MouseEvent('click', {bubbles: true, cancelable: true, ctrlKey: true}));
        return link.href";
    let href = client.execute(link, vec![]).await.unwrap();
    assert_eq!(href, json!(format!("{}#/case/anna/review", address())));
    let places = client.windows().await.unwrap();
    assert_eq!(places.len(), 2, "another tab");
    is_shown(&client, "/case/anna/?done=diary").await;
    client.switch_to_window(places.into_iter().next_back().unwrap()).await.unwrap();
    is_shown(&client, "/case/anna/review").await;
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn files_are_dropped_and_saved_and_reports_are_downloaded() {
    let folder = tempfile::tempdir().unwrap();
    let driver = Driver::start();
    let to = json!({"download.default_directory": folder.path(), "download.prompt_for_download": false});
    let client = driver.open_with(WIDE, &[], &to).await;
    client.goto(&address()).await.unwrap();
    is_shown(&client, "/").await;
    seed(&client, "anna", &[("plan.toml", crate::web::PLAN.as_bytes())]).await;
    type_address(&client, "/case/anna/").await;

    let huge =
        "const all = new DataTransfer(); all.items.add(new File([new Uint8Array(17 * 2 ** 20)], 'huge.fit'));
        document.querySelector('form.drop').dispatchEvent(
            new DragEvent('drop', {dataTransfer: all, bubbles: true, cancelable: true}));";
    client.execute(huge, vec![]).await.unwrap();
    comes(
        &client,
        "why not",
        "return document.querySelector('.drop .trouble').textContent.includes('huge.fit')",
    )
    .await;

    let bytes = std::fs::read(top().join("testdata/tiny.fit")).unwrap();
    let script = "const all = new DataTransfer();
        all.items.add(new File([Uint8Array.from(arguments[0])], 'this morning.fit'));
        document.querySelector('form.drop').dispatchEvent(
            new DragEvent('drop', {dataTransfer: all, bubbles: true, cancelable: true}));";
    client.execute(script, vec![json!(bytes)]).await.unwrap();
    click(&client, "Save to case").await;
    comes(&client, "the end of it", "return location.hash.includes('done=kept')").await;
    let latin: String = bytes.iter().map(|byte| char::from(*byte)).collect();
    let files = stored(&client, "anna").await;
    let saved: Vec<usize> = files
        .iter()
        .filter(|(name, _)| name.starts_with("recordings/"))
        .map(|(_, text)| text.len())
        .collect();
    assert_eq!(saved.len(), 1, "{saved:?}, {}", latin.len());

    type_address(&client, "/case/anna/review").await;
    let before = client.execute("return document.querySelector('main').innerText", vec![]).await.unwrap();
    click(&client, "Save this report as a file").await;
    for _ in 0..1200 {
        if folder.path().join("review.html").exists() {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    assert!(folder.path().join("review.html").metadata().is_ok_and(|file| file.len() > 0));
    let after = client.execute("return document.querySelector('main').innerText", vec![]).await.unwrap();
    assert_eq!(before, after, "the page stays");
    is_shown(&client, "/case/anna/review").await;
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn a_page_that_is_being_read_comes_again_but_not_while_somebody_types() {
    let driver = Driver::start();
    let client = opened(&driver).await;
    listen(&client).await;
    let reading = "<title>R</title><meta http-equiv=refresh content=1><main id=main><h1>Reading</h1><input id=field></main>";
    fake(&client, "/case/anna/", reading).await;
    type_address(&client, "/case/anna/").await;
    click_on(&client, "#field").await;
    // What was on its way before the field had the focus.
    tokio::time::sleep(std::time::Duration::from_secs(1)).await;
    let before = times_sent(&client, "GET /case/anna/").await;
    let progress = "window.worker.dispatchEvent(new MessageEvent('message', {data: {isMore: true}}))";
    client.execute(progress, vec![]).await.unwrap();
    tokio::time::sleep(std::time::Duration::from_secs(1)).await;
    assert_eq!(times_sent(&client, "GET /case/anna/").await, before, "the field has the focus");
    fake(&client, "/case/anna/", "<title>R</title><main id=main><h1>Read</h1></main>").await;
    client.execute("document.activeElement.blur()", vec![]).await.unwrap();
    comes(&client, "the whole page", "return document.querySelector('h1').textContent === 'Read'").await;
    client.execute(progress, vec![]).await.unwrap();
    tokio::time::sleep(std::time::Duration::from_secs(1)).await;
    let after = times_sent(&client, "GET /case/anna/").await;
    assert_eq!(after, before + 1, "a page that does not ask for it stays");
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium, axe-core and jogaudit.html, see tests/full"]
async fn remarks_come_as_one_types_and_pages_have_no_barriers() {
    let driver = Driver::start();
    let client = opened(&driver).await;
    for page in ["/", "/case/anna/", "/case/anna/plan/text"] {
        type_address(&client, page).await;
        assert_eq!(wrong(&client).await, Vec::<String>::new(), "{page}");
    }
    let field = client.find(Locator::Css("#text")).await.unwrap();
    field.send_keys("x").await.unwrap();
    comes(
        &client,
        "remarks",
        "return document.querySelector('#remarks').innerText.includes('Not a plan yet')",
    )
    .await;
    assert!(named(&client, "Save").await.is_displayed().await.unwrap());
    client.close().await.unwrap();
}
