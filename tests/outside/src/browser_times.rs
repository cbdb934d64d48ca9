//! Times of the file `jogaudit.html` in Chromium, printed beside the command's in the same run. Nothing here fails by the clock.
#![cfg(target_os = "linux")]
#![allow(clippy::print_stdout)] // what was measured

use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use fantoccini::Client;
use serde_json::json;

use crate::browser::Driver;
use crate::browser_page::{click, says};
use crate::program::jogaudit;
use crate::web::{WIDE, address, is_shown, listen, seed, type_address};

/// An hour: 5 min of walking, 18 repetitions of 3 min, a minute more.
const PLAN: &str = "[[stage]]\nname = '1'\nsession = 'walk 5:00, 18 x (run 1:00, walk 2:00), walk 1:00'\n";

/// Makes up a recording of a day; gives its bytes.
fn recording(folder: &Path, day: u16, session: &str, format: &str) -> Vec<u8> {
    let plan = folder.join("plan.toml");
    fs::write(&plan, format!("[[stage]]\nname = '1'\nsession = '{session}'\n")).unwrap();
    let out = folder.join(format!("{day}.{format}"));
    // Every second day.
    let date = jiff::civil::date(2024, 1, 1).saturating_add(jiff::Span::new().days(2 * i64::from(day)));
    let start = format!("{date}T07:10:00Z");
    let mut made = Command::new(jogaudit());
    made.args(["simulate", "--stage", "1", "--seed", &(day + 1).to_string(), "--start", &start, "--plan"]);
    let made = made.arg(&plan).arg("--out").arg(&out).output().unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    fs::read(out).unwrap()
}

/// Seconds that the command takes.
fn command_s(args: &[&std::ffi::OsStr]) -> f64 {
    let begin = Instant::now();
    let done = Command::new(jogaudit()).args(args).output().unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    begin.elapsed().as_secs_f64()
}

/// Seconds until a page has what is asked for, from a click or a change of the address by this script.
async fn until_s(client: &Client, begin: &str, css: &str) -> f64 {
    let script = format!(
        "const [css, done] = arguments, begin = performance.now();
        const look = () => document.querySelector(css) && !document.body.hasAttribute('aria-busy')
            ? done((performance.now() - begin) / 1000) : setTimeout(look, 5);
        {begin}; setTimeout(look, 5);"
    );
    client.execute_async(&script, vec![json!(css)]).await.unwrap().as_f64().unwrap()
}

/// Memory of the page's WebAssembly, MiB.
async fn memory_mib(client: &Client) -> f64 {
    let script = "const [done] = arguments;
        window.worker.addEventListener('message', ({data}) => data.id === 'size' && done(data.done / 2 ** 20));
        window.worker.postMessage({id: 'size', job: 'size'});";
    client.execute_async(script, vec![]).await.unwrap().as_f64().unwrap()
}

async fn fresh(driver: &Driver) -> Client {
    let client = driver.open(WIDE).await;
    client.goto(&address()).await.unwrap();
    is_shown(&client, "/").await;
    client
}

/// A case in the browser's storage and in a folder: recordings of so many days.
async fn case(client: &Client, folder: &Path, days: u16, session: &str) {
    let case = folder.join(format!("case{days}"));
    fs::create_dir_all(case.join("recordings")).unwrap();
    let plan = format!("[[stage]]\nname = '1'\nsession = '{session}'\nsessions = 100\n");
    fs::write(case.join("plan.toml"), &plan).unwrap();
    seed(client, "big", &[("plan.toml", plan.as_bytes())]).await;
    for day in 0..days {
        let bytes = recording(folder, day, session, "fit");
        fs::write(case.join(format!("recordings/{day:03}.fit")), &bytes).unwrap();
        seed(client, "big", &[(&format!("recordings/{day:03}.fit"), &bytes)]).await;
    }
}

#[tokio::test]
#[ignore = "prints times; needs Chromium and jogaudit.html, see tests/full"]
async fn times_of_the_one_file_beside_the_command() {
    let folder = tempfile::tempdir().unwrap();
    let driver = Driver::start();
    opening(&driver).await;
    recordings(&driver, folder.path()).await;
    for days in [60, 300] {
        whole_case(&driver, folder.path(), days).await;
    }
}

async fn opening(driver: &Driver) {
    let mut opened = Vec::new();
    for _ in 0..5 {
        let client = fresh(driver).await;
        let shown = "return performance.getEntriesByName('jogaudit-shown')[0].startTime / 1000";
        opened.push(client.execute(shown, vec![]).await.unwrap().as_f64().unwrap());
        client.close().await.unwrap();
    }
    opened.sort_by(f64::total_cmp);
    println!("opening to the first view, fresh browser, 5 times: {opened:.2?} s");
}

async fn recordings(driver: &Driver, folder: &Path) {
    let client = fresh(driver).await;
    seed(&client, "one", &[("plan.toml", PLAN.as_bytes())]).await;
    client.refresh().await.unwrap();
    is_shown(&client, "/").await;
    let plan = folder.join("one.toml");
    fs::write(&plan, PLAN).unwrap();
    for (what, repetitions, format) in
        [("an hour", 18, "fit"), ("an hour", 18, "gpx"), ("24 hours", 478, "fit")]
    {
        let session = format!("walk 5:00, {repetitions} x (run 1:00, walk 2:00), walk 1:00");
        let bytes = recording(folder, 0, &session, format);
        let file = folder.join(format!("0.{format}"));
        let args = ["check".as_ref(), file.as_os_str(), "--plan".as_ref(), plan.as_os_str()];
        let by_command = command_s(&[&args[..], &["--format".as_ref(), "html".as_ref()]].concat());
        type_address(&client, "/case/one/").await;
        client.execute("window.bytes = Uint8Array.from(arguments[0])", vec![json!(bytes)]).await.unwrap();
        let drop = "const all = new DataTransfer(); all.items.add(new File([window.bytes], 'a.fit'));
            document.querySelector('form.drop').dispatchEvent(
                new DragEvent('drop', {dataTransfer: all, bubbles: true, cancelable: true}))";
        // A day and a night are no session of the plan: its page has the bar above the report alone.
        let ready = if repetitions == 18 { "main svg" } else { "form[action$='/keep']" };
        let here = until_s(&client, drop, ready).await;
        let kib = bytes.len() >> 10;
        println!("{what} of {format} ({kib} KiB) to its report: {here:.2} s, command {by_command:.2} s");
        click(&client, "Discard").await;
        says(&client, "Discarded").await;
    }
    client.close().await.unwrap();
}

async fn whole_case(driver: &Driver, folder: &Path, days: u16) {
    const HALF: &str = "walk 5:00, 9 x (run 1:00, walk 2:00), walk 1:00";
    let client = fresh(driver).await;
    case(&client, folder, days, HALF).await;
    let by_command = command_s(&["review".as_ref(), folder.join(format!("case{days}")).as_os_str()]);
    // Opened anew at the review: nothing of the case has been read.
    client.goto("about:blank").await.unwrap();
    client.goto(&format!("{}#/case/big/review", address())).await.unwrap();
    let script = "const [done] = arguments;
        const look = () => document.querySelector('main table') && !document.body.hasAttribute('aria-busy')
            ? done(performance.now() / 1000) : setTimeout(look, 5);
        look();";
    let here = client.execute_async(script, vec![]).await.unwrap().as_f64().unwrap();
    listen(&client).await;
    let diary = until_s(&client, "location.hash = '#/case/big/diary'", "table.days").await;
    let mib = memory_mib(&client).await;
    println!(
        "a case of {days} recordings of half an hour, from opening the file to its review: {here:.2} s, command \
         {by_command:.2} s; then its diary: {diary:.2} s; memory of the page's WebAssembly {mib:.0} MiB"
    );
    client.close().await.unwrap();
}
