//! One way through the page, from nothing to a review and a zip of the case, walked on both hosts: the server on loopback, and the
//! one file, opened from the disk and from a web space.
#![cfg(target_os = "linux")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use fantoccini::Client;
use serde_json::{Value, json};

use crate::browser::Driver;
use crate::browser_page::{click, click_on, drop_files, find, says};
use crate::page::{HANG, HOSTED_PAGES, Page, demo_file};
use crate::program::jogaudit;
use crate::web::{Server, WIDE, address, asked_for, is_shown, listen};

const SESSION: &str = "walk 4:40, 7 x (run 0:50, walk 1:40), walk 3:20";
const RECORDINGS: [&str; 3] = ["2026-03-02.fit", "2026-03-04.gpx.gz", "2026-03-07.tcx"];

/// From the form of an empty plan to the review; gives the ruling.
pub(crate) async fn way(client: &Client) -> String {
    let session = find(client, "#s0-session").await;
    session.clear().await.unwrap();
    session.send_keys(SESSION).await.unwrap();
    click_on(client, "button[value='save']").await;
    says(client, "The plan is saved.").await;

    click(client, "Now").await;
    let files = RECORDINGS.map(|name| (name, demo_file(&format!("recordings/{name}"))));
    let files: Vec<(&str, &[u8])> = files.iter().map(|(name, bytes)| (*name, bytes.as_slice())).collect();
    drop_files(client, &files).await;
    click(client, "Save all that can be read").await;
    says(client, "Everything that could be read is saved to the case.").await;

    click(client, "The diary of 7 Mar").await;
    for (id, value) in [("#pain_during", "0"), ("#pain_next_morning", "1"), ("#effort", "3")] {
        let field = find(client, id).await;
        field.clear().await.unwrap();
        field.send_keys(value).await.unwrap();
    }
    click(client, "Write into the diary").await;
    says(client, "Written into the diary.").await;
    ruling(client).await
}

/// What the case's first page says of the next session.
pub(crate) async fn ruling(client: &Client) -> String {
    find(client, "section.ruling h2").await.text().await.unwrap()
}

/// The ruling and the whole review of a case, as the command gives it.
pub(crate) fn reviewed(case: &Path) -> (String, Value) {
    let output =
        Command::new(jogaudit()).arg("review").arg(case).args(["--format", "json"]).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let review: Value = serde_json::from_slice(&output.stdout).unwrap();
    (review["ruling"]["text"].as_str().unwrap().to_owned(), review)
}

/// A zip unpacked into a folder.
fn unpacked(zip: &Path, folder: &Path) {
    zip::ZipArchive::new(fs::File::open(zip).unwrap()).unwrap().extract(folder).unwrap();
}

/// Waits for a file that the browser is saving.
pub(crate) async fn saved(path: &Path) -> Vec<u8> {
    for _ in 0..HANG.as_millis() / 50 {
        if let Ok(bytes) = fs::read(path) {
            return bytes;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("{} is never saved", path.display());
}

/// Walks the way in the one file at an address, closes the browser, opens it again; gives the zip that it saved.
async fn in_one_file(file: &str, folder: &Path) -> (String, PathBuf) {
    let downloads = folder.join("downloads");
    let preferences = json!({"download.default_directory": downloads, "download.prompt_for_download": false});
    let args = [format!("--user-data-dir={}", folder.join("profile").display())];
    let first = {
        let driver = Driver::start();
        let client = driver.open_with(WIDE, &args, &preferences).await;
        client.goto(file).await.unwrap();
        find(&client, "#name").await.send_keys("case").await.unwrap();
        click(&client, "Begin").await;
        let ruling = way(&client).await;
        let asked = asked_for(&driver, &client).await;
        // The browser's own first page is in the log, too.
        let is_other = |address: &&String| !address.starts_with(file) && !address.starts_with("chrome://");
        let others: Vec<&String> = asked.iter().filter(is_other).collect();
        assert!(others.is_empty() && !asked.is_empty(), "{asked:?}");
        client.close().await.unwrap();
        ruling
    };
    let driver = Driver::start();
    let client = driver.open_with(WIDE, &args, &preferences).await;
    client.goto(file).await.unwrap();
    is_shown(&client, "/").await;
    click_on(&client, "table.cases th a").await;
    assert_eq!(ruling(&client).await, first, "all is there");
    click(&client, "Save the whole case as a zip").await;
    let zip = downloads.join("case.zip");
    saved(&zip).await;
    client.close().await.unwrap();
    (first, zip)
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn one_way_on_both_hosts_gives_the_same_case() {
    let folder = tempfile::tempdir().unwrap();
    // The server.
    let case = folder.path().join("case");
    fs::create_dir(&case).unwrap();
    let page = Page::with(&[case.as_os_str()]);
    let driver = Driver::start();
    let client = driver.open(WIDE).await;
    client.goto(&page.address).await.unwrap();
    click(&client, "Write or fix the plan").await;
    let ruling = way(&client).await;
    client.close().await.unwrap();
    let (text, review) = reviewed(&case);
    assert_eq!(text, ruling);
    assert_eq!(review["sessions"].as_array().unwrap().len(), 3);

    // The one file, from the disk and from a web space.
    let server = Server::start();
    for (name, file) in [("disk", address()), ("http", server.address.clone())] {
        let (said, zip) = in_one_file(&file, &folder.path().join(name)).await;
        assert_eq!(said, ruling, "{name}");
        let whole = folder.path().join(name).join("unpacked");
        unpacked(&zip, &whole);
        let (text, of_zip) = reviewed(&zip);
        assert_eq!(text, ruling, "{name}");
        assert_eq!(of_zip, reviewed(&whole).1, "{name}: the zip and its folder");
        assert_eq!(of_zip, review, "{name}: as on the server");
        for table in ["plan.toml", "diary.csv"] {
            assert_eq!(fs::read(whole.join(table)).unwrap(), fs::read(case.join(table)).unwrap(), "{table}");
        }
    }
    let requests = server.requests.lock().unwrap().clone();
    assert!(requests.iter().all(|line| line.starts_with("GET /jogaudit.html ")), "{requests:?}");
}

/// What the worker of the one file answers.
async fn answered(client: &Client, path: &str) -> String {
    let script = "const [path, done] = arguments, id = 'test ' + path;
        window.worker.addEventListener('message', function told({data}) {
            if (data.id !== id) return;
            window.worker.removeEventListener('message', told);
            done(data.done.location ?? new TextDecoder().decode(data.done.body));
        });
        window.worker.postMessage({id, job: 'handle', method: 'GET', path, form: [], files: []});";
    client.execute_async(script, vec![json!(path)]).await.unwrap().as_str().unwrap().to_owned()
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn the_compiled_page_says_what_the_server_says() {
    let folder = crate::page::case_with(&RECORDINGS);
    // Two cases, so that the server has a list of them as the one file has.
    fs::create_dir(folder.path().join("other")).unwrap();
    fs::write(folder.path().join("other/plan.toml"), demo_file("plan.toml")).unwrap();
    let page = Page::with(&[folder.path().as_os_str()]);
    let driver = Driver::start();
    let client = driver.open(WIDE).await;
    client.goto(&address()).await.unwrap();
    is_shown(&client, "/").await;
    let files = crate::page::tree(&folder.path().join("case"));
    let files: Vec<(&str, &[u8])> =
        files.iter().map(|(name, bytes)| (name.to_str().unwrap(), bytes.as_slice())).collect();
    crate::web::seed(&client, "case", &files).await;
    client.refresh().await.unwrap();
    is_shown(&client, "/").await;
    listen(&client).await;
    crate::web::type_address(&client, "/case/case/").await;
    let others = ["/case/case/diary/2026-03-04", "/page.css", "/nothing"];
    for path in HOSTED_PAGES.into_iter().chain(others) {
        let served = page.settled(path).body;
        assert!(served.len() > 500, "{path}: {served}");
        let compiled = answered(&client, path).await;
        if compiled != served {
            let at = compiled.bytes().zip(served.bytes()).position(|(one, two)| one != two).unwrap_or(0);
            let near = |text: &str| text.chars().skip(at.saturating_sub(100)).take(200).collect::<String>();
            panic!("{path} differs:\n{}\n{}", near(&compiled), near(&served));
        }
    }
    client.close().await.unwrap();
}
