//! What the file `jogaudit.html` keeps in a browser: across restarts, beside a second tab, in a storage that fails.
#![cfg(target_os = "linux")]

use fantoccini::Client;
use serde_json::json;

use crate::browser::{Driver, wrong};
use crate::browser_page::{body, click, find};
use crate::browser_web::write_pain;
use crate::web::{
    HEAD, PLAN, WIDE, address, comes, diary, is_shown, listen, opened, seed, stored, type_address,
};

const DAY: &str = "/case/anna/diary/2026-03-09";
const WRITTEN: &str = "/case/anna/?done=diary";

/// Whether a sentence of the shell stands above the page.
fn noted(id: &str) -> String {
    format!(
        "return document.querySelector('#shell-{id}') !== null && document.querySelector('#shell-{id}').innerText.length > 40"
    )
}

/// Ends the worker, which [`listen`] has seen, and waits until the page says so.
async fn end_worker(client: &Client) {
    let end = "window.worker.dispatchEvent(new ErrorEvent('error', {message: 'ended by the test'}))";
    client.execute(end, vec![]).await.unwrap();
    comes(client, "what happened", &noted("died")).await;
}

async fn second_tab(client: &Client) {
    let tab = client.new_window(true).await.unwrap();
    client.switch_to_window(tab.handle).await.unwrap();
    client.goto(&address()).await.unwrap();
    is_shown(client, "/").await;
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn a_case_outlives_the_browser() {
    let profile = tempfile::tempdir().unwrap();
    let args = [format!("--user-data-dir={}", profile.path().display())];
    {
        let driver = Driver::start();
        let client = driver.open_with(WIDE, &args, &json!({})).await;
        client.goto(&address()).await.unwrap();
        is_shown(&client, "/").await;
        seed(&client, "anna", &[("plan.toml", PLAN.as_bytes()), ("diary.csv", HEAD.as_bytes())]).await;
        type_address(&client, DAY).await;
        write_pain(&client, "6").await;
        is_shown(&client, WRITTEN).await;
        client.close().await.unwrap();
    }
    let driver = Driver::start();
    let client = driver.open_with(WIDE, &args, &json!({})).await;
    client.goto(&format!("{}#{DAY}", address())).await.unwrap();
    is_shown(&client, DAY).await;
    comes(&client, "what was written", "return document.querySelector('#pain_next_morning').value === '6'")
        .await;
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn two_tabs_lose_nothing_of_each_other() {
    let driver = Driver::start();
    let client = opened(&driver).await;
    let first = client.window().await.unwrap();
    type_address(&client, DAY).await;
    second_tab(&client).await;
    let second = client.window().await.unwrap();
    type_address(&client, DAY).await;
    write_pain(&client, "7").await;
    is_shown(&client, WRITTEN).await;

    // The first tab's form was made before: it is told so, and nothing is written over.
    client.switch_to_window(first.clone()).await.unwrap();
    write_pain(&client, "3").await;
    comes(&client, "what differs", "return document.querySelector('main').innerText.length > 0 && !document.body.hasAttribute('aria-busy')").await;
    is_shown(&client, DAY).await;
    assert!(diary(&client, "anna").await.contains("2026-03-09,,,7,,"), "{}", diary(&client, "anna").await);
    comes(&client, "what was typed", "return document.querySelector('#pain_next_morning').value === '3'")
        .await;
    click(&client, "Write into the diary").await;
    is_shown(&client, WRITTEN).await;
    assert!(diary(&client, "anna").await.contains("2026-03-09,,,3,,"));

    // Another day from a tab that did not look meanwhile: both are there.
    client.switch_to_window(second).await.unwrap();
    type_address(&client, "/case/anna/diary/2026-03-11").await;
    client.switch_to_window(first).await.unwrap();
    type_address(&client, "/case/anna/diary/2026-03-13").await;
    write_pain(&client, "1").await;
    is_shown(&client, WRITTEN).await;
    let windows = client.windows().await.unwrap();
    client.switch_to_window(windows.into_iter().next_back().unwrap()).await.unwrap();
    write_pain(&client, "2").await;
    is_shown(&client, WRITTEN).await;
    let all = diary(&client, "anna").await;
    for line in ["2026-03-09,,,3,,", "2026-03-11,,,2,,", "2026-03-13,,,1,,"] {
        assert!(all.contains(line), "{line}: {all}");
    }
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn a_write_between_a_request_and_its_saving_is_not_written_over() {
    let driver = Driver::start();
    let client = opened(&driver).await;
    type_address(&client, DAY).await;
    // The other tab's write comes after this one has looked at the versions, before it saves.
    let script = "const [diary] = arguments;
        const send = Worker.prototype.postMessage;
        let isDone = false;
        window.posts = 0;
        Worker.prototype.postMessage = function (data, ...rest) {
            if (data.method === 'POST') window.posts += 1;
            if (isDone || data.method !== 'POST') return send.call(this, data, ...rest);
            isDone = true;
            indexedDB.open('jogaudit').onsuccess = ({target: {result: database}}) => {
                const tx = database.transaction(['cases', 'files'], 'readwrite');
                tx.objectStore('cases').get('anna').onsuccess = ({target: {result}}) =>
                    tx.objectStore('cases').put({...result, version: result.version + 1});
                tx.objectStore('files').put(new TextEncoder().encode(diary), ['anna', 'diary.csv']);
                tx.oncomplete = () => { database.close(); send.call(this, data, ...rest); };
            };
        };";
    client.execute(script, vec![json!(format!("{HEAD}2026-03-02,,,1,,\n"))]).await.unwrap();
    write_pain(&client, "5").await;
    is_shown(&client, WRITTEN).await;
    assert_eq!(client.execute("return window.posts", vec![]).await.unwrap(), json!(2), "it was sent again");
    assert_eq!(diary(&client, "anna").await, format!("{HEAD}2026-03-02,,,1,,\n2026-03-09,,,5,,\n"));
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium, axe-core and jogaudit.html, see tests/full"]
async fn a_full_storage_is_said_and_nothing_is_lost_in_memory() {
    let driver = Driver::start();
    let client = opened(&driver).await;
    let full = "window.put = IDBObjectStore.prototype.put;
        IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError'); };";
    client.execute(full, vec![]).await.unwrap();
    type_address(&client, DAY).await;
    write_pain(&client, "8").await;
    is_shown(&client, WRITTEN).await;
    comes(&client, "what is the matter", &noted("unsaved")).await;
    comes(
        &client,
        "a link to the zip",
        "return document.querySelector('#shell-unsaved a[href=\"#/case/anna/case.zip\"]') !== null",
    )
    .await;
    assert_eq!(wrong(&client).await, Vec::<String>::new());
    assert_eq!(diary(&client, "anna").await, HEAD, "nothing half");
    type_address(&client, DAY).await;
    comes(&client, "what is in memory", "return document.querySelector('#pain_next_morning').value === '8'")
        .await;
    comes(&client, "the sentence on each page", &noted("unsaved")).await;

    // The worker's end does not take it away either.
    listen(&client).await;
    type_address(&client, "/case/anna/").await;
    end_worker(&client).await;
    type_address(&client, DAY).await;
    comes(&client, "what is in memory", "return document.querySelector('#pain_next_morning').value === '8'")
        .await;

    // With room again the next change takes along what was not kept.
    client.execute("IDBObjectStore.prototype.put = window.put", vec![]).await.unwrap();
    type_address(&client, "/case/anna/diary/2026-03-11").await;
    write_pain(&client, "2").await;
    is_shown(&client, WRITTEN).await;
    comes(&client, "its end", "return document.querySelector('#shell-unsaved') === null").await;
    assert_eq!(diary(&client, "anna").await, format!("{HEAD}2026-03-09,,,8,,\n2026-03-11,,,2,,\n"));
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn a_save_that_fails_at_its_end_is_told() {
    let driver = Driver::start();
    let client = opened(&driver).await;
    type_address(&client, DAY).await;
    let abort = "const put = IDBObjectStore.prototype.put;
        IDBObjectStore.prototype.put = function (...all) {
            const request = put.apply(this, all);
            if (this.name === 'cases') request.onsuccess = () => this.transaction.abort();
            return request;
        };";
    client.execute(abort, vec![]).await.unwrap();
    write_pain(&client, "8").await;
    is_shown(&client, WRITTEN).await;
    comes(&client, "what is the matter", &noted("unsaved")).await;
    assert_eq!(diary(&client, "anna").await, HEAD);
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn a_browser_that_keeps_nothing_says_so_from_the_start() {
    let driver = Driver::start();
    let client = driver.open(WIDE).await;
    let refused = "Object.defineProperty(window, 'indexedDB', {get() { throw new DOMException('no', 'SecurityError'); }})";
    driver
        .ask(
            &client,
            "goog/cdp/execute",
            &json!({
                "cmd": "Page.addScriptToEvaluateOnNewDocument", "params": {"source": refused}
            }),
        )
        .await;
    client.goto(&address()).await.unwrap();
    is_shown(&client, "/").await;
    comes(&client, "the sentence", &noted("unsaved")).await;
    assert!(body(&client).await.contains("its settings forbid it"));
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn a_tab_closed_in_the_middle_of_a_save_leaves_the_old_state_whole() {
    let driver = Driver::start();
    let client = opened(&driver).await;
    let first = client.window().await.unwrap();
    second_tab(&client).await;
    type_address(&client, DAY).await;
    // Holds the transaction open, after its files were put.
    let hold = "const put = IDBObjectStore.prototype.put;
        window.puts = 0;
        IDBObjectStore.prototype.put = function (...all) {
            const request = put.apply(this, all);
            window.puts += 1;
            const again = () => (this.get(['anna', 'plan.toml']).onsuccess = again);
            if (this.name === 'files') again();
            return request;
        };";
    client.execute(hold, vec![]).await.unwrap();
    write_pain(&client, "9").await;
    comes(&client, "the save", "return window.puts === 2").await;
    tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    let waits = "return document.body.hasAttribute('aria-busy') && document.querySelector('#pain_next_morning') !== null";
    assert_eq!(client.execute(waits, vec![]).await.unwrap(), json!(true), "told only when it is stored");
    client.close_window().await.unwrap();
    client.switch_to_window(first).await.unwrap();
    assert_eq!(diary(&client, "anna").await, HEAD);
    type_address(&client, DAY).await;
    write_pain(&client, "1").await;
    is_shown(&client, WRITTEN).await;
    assert_eq!(diary(&client, "anna").await, format!("{HEAD}2026-03-09,,,1,,\n"));
    assert_eq!(stored(&client, "anna").await.len(), 2);
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn a_worker_that_ends_is_started_again_and_typed_text_stays() {
    let driver = Driver::start();
    let client = opened(&driver).await;
    listen(&client).await;
    type_address(&client, DAY).await;
    find(&client, "#pain_next_morning").await.send_keys("4").await.unwrap();
    end_worker(&client).await;
    comes(&client, "what was typed", "return document.querySelector('#pain_next_morning').value === '4'")
        .await;
    click(&client, "Write into the diary").await;
    is_shown(&client, WRITTEN).await;
    assert_eq!(diary(&client, "anna").await, format!("{HEAD}2026-03-09,,,4,,\n"));
    client.close().await.unwrap();
}
