//! Times of the file `jogaudit.html` in Chromium, printed beside the command's in the same run. Nothing here fails by the clock.
#![cfg(target_os = "linux")]

use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use fantoccini::Client;
use serde_json::json;

use crate::browser::Driver;
use crate::browser_page::drop_files;
use crate::program::jogaudit;
use crate::web::{WIDE, address, is_shown, listen, seed, type_address};

/// An hour: 5 min of walking, 18 repetitions of 3 min, a minute more.
const PLAN: &str = "[[stage]]\nname = '1'\nsession = 'walk 5:00, 18 x (run 1:00, walk 2:00), walk 1:00'\n";

/// Makes up a recording of a day; gives its bytes.
fn recording(folder: &Path, day: usize, session: &str, format: &str) -> Vec<u8> {
    let plan = folder.join("plan.toml");
    fs::write(&plan, format!("[[stage]]\nname = '1'\nsession = '{session}'\n")).unwrap();
    let out = folder.join(format!("{day}.{format}"));
    // Every second day of ten weeks and more.
    let (month, day_of_month) = (1 + 2 * day / 28, 1 + 2 * day % 28);
    let start = format!("2026-{month:02}-{day_of_month:02}T07:10:00Z");
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
async fn case(client: &Client, folder: &Path, days: usize, session: &str) {
    let case = folder.join(format!("case{days}"));
    fs::create_dir_all(case.join("recordings")).unwrap();
    let plan = format!("[[stage]]\nname = '1'\nsession = '{session}'\nsessions = 400\n");
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
    const HALF: &str = "walk 5:00, 9 x (run 1:00, walk 2:00), walk 1:00";
    let folder = tempfile::tempdir().unwrap();
    let driver = Driver::start();
    let mut opened = Vec::new();
    for _ in 0..5 {
        let client = fresh(&driver).await;
        let shown = "return performance.getEntriesByName('jogaudit-shown')[0].startTime / 1000";
        opened.push(client.execute(shown, vec![]).await.unwrap().as_f64().unwrap());
        client.close().await.unwrap();
    }
    opened.sort_by(f64::total_cmp);
    println!("opening to the first view, fresh browser, 5 times: {opened:.2?} s");

    let client = fresh(&driver).await;
    seed(&client, "one", &[("plan.toml", PLAN.as_bytes())]).await;
    client.refresh().await.unwrap();
    is_shown(&client, "/").await;
    for (what, minutes, format) in [("an hour", 18, "fit"), ("an hour", 18, "gpx"), ("24 hours", 478, "fit")]
    {
        let session = format!("walk 5:00, {minutes} x (run 1:00, walk 2:00), walk 1:00");
        let bytes = recording(folder.path(), 0, &session, format);
        let file = folder.path().join(format!("0.{format}"));
        let plan = folder.path().join("one.toml");
        fs::write(&plan, PLAN).unwrap();
        let by_command = command_s(&[
            "check".as_ref(),
            file.as_os_str(),
            "--plan".as_ref(),
            plan.as_os_str(),
            "--format".as_ref(),
            "html".as_ref(),
        ]);
        type_address(&client, "/case/one/").await;
        drop_files(&client, &[]).await;
        let script = "window.bytes = Uint8Array.from(arguments[0])";
        client.execute(script, vec![json!(bytes)]).await.unwrap();
        let drop = "const all = new DataTransfer(); all.items.add(new File([window.bytes], 'a.fit'));
            document.querySelector('form.drop').dispatchEvent(
                new DragEvent('drop', {dataTransfer: all, bubbles: true, cancelable: true}))";
        // The bar above the report has the button, the report its pictures.
        let here = until_s(&client, drop, "form[action$='/keep']").await;
        println!(
            "{what} of {format} ({} KiB) to its report: {here:.2} s, command {by_command:.2} s",
            bytes.len() >> 10
        );
    }
    client.close().await.unwrap();

    for days in [60, 300] {
        let client = fresh(&driver).await;
        case(&client, folder.path(), days, HALF).await;
        let place = folder.path().join(format!("case{days}"));
        let by_command = command_s(&["review".as_ref(), place.as_os_str()]);
        client.refresh().await.unwrap();
        is_shown(&client, "/").await;
        listen(&client).await;
        type_address(&client, "/case/big/plan").await;
        let here = until_s(&client, "location.hash = '#/case/big/review'", "main table").await;
        let again = "history.back(); setTimeout(() => location.hash = '#/case/big/diary', 300)";
        let diary = until_s(&client, again, "table.days").await;
        println!(
            "a case of {days} recordings of half an hour to its review: {here:.2} s, command {by_command:.2} s; then the diary: {diary:.2} s \
             with the 0.3 s of the test; memory of the page's WebAssembly {:.0} MiB",
            memory_mib(&client).await
        );
        client.close().await.unwrap();
    }
}
