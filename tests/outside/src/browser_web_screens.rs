//! The file `jogaudit.html` on each screen, by an accessibility checker, by keyboard alone; and what hostile cases do to it.
#![cfg(target_os = "linux")]

use std::fs;
use std::io::{Cursor, Write};

use fantoccini::key::Key;
use serde_json::json;

use crate::browser::{Driver, Look, wrong};
use crate::browser_page::{body, click, click_on, find, says, tab_to};
use crate::page::{case_with, demo, demo_file, gpx, tree};
use crate::web::{WIDE, address, asked_for, comes, is_shown, seed, type_address};

/// The files of a case with three recordings.
fn case() -> Vec<(String, Vec<u8>)> {
    let folder = case_with(&["2026-03-02.fit", "2026-03-04.gpx.gz", "2026-03-07.tcx"]);
    let files = tree(&folder.path().join("case")).into_iter();
    files.map(|(name, bytes)| (name.to_str().unwrap().to_owned(), bytes)).collect()
}

fn borrowed(files: &[(String, Vec<u8>)]) -> Vec<(&str, &[u8])> {
    files.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect()
}

#[tokio::test]
#[ignore = "needs Chromium, axe-core and jogaudit.html, see tests/full"]
async fn every_page_of_the_file_fits_each_screen_and_is_accessible() {
    let files = case();
    let driver = Driver::start();
    let mut found = Vec::new();
    for look in Look::ALL {
        let client = driver.open(look).await;
        client.goto(&address()).await.unwrap();
        is_shown(&client, "/").await;
        found.extend(wrong(&client).await.into_iter().map(|what| format!("empty {look:?}: {what}")));
        if let Some(folder) = std::env::var_os("JOGAUDIT_SHOTS") {
            let name = format!("empty {} {}.png", look.width, if look.dark { "dark" } else { "light" });
            fs::write(std::path::Path::new(&folder).join(name), client.screenshot().await.unwrap()).unwrap();
        }
        seed(&client, "Tove, after a calf strain", &borrowed(&files)).await;
        client.refresh().await.unwrap();
        is_shown(&client, "/").await;
        let root = "/case/Tove%2C%20after%20a%20calf%20strain";
        let of_case = ["/", "/diary", "/diary/2026-03-04", "/review", "/plan", "/plan/text"];
        let mut pages: Vec<String> = of_case.iter().map(|page| format!("{root}{page}")).collect();
        pages.extend(["/".to_owned(), "/nothing".to_owned()]);
        pages.push(format!("{root}/session?recording=2026-03-02.fit&stage=2"));
        for page in pages {
            type_address(&client, &page).await;
            if page == "/" {
                client
                    .execute("document.querySelectorAll('details').forEach(one => one.open = true)", vec![])
                    .await
                    .unwrap();
            }
            found.extend(wrong(&client).await.into_iter().map(|what| format!("{page} {look:?}: {what}")));
            if let Some(folder) = std::env::var_os("JOGAUDIT_SHOTS") {
                let plain: String =
                    page.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
                let name = format!("{plain} {} {}.png", look.width, if look.dark { "dark" } else { "light" });
                fs::write(std::path::Path::new(&folder).join(name), client.screenshot().await.unwrap())
                    .unwrap();
            }
        }
        client.close().await.unwrap();
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn everything_of_the_file_can_be_done_by_keyboard_alone() {
    let driver = Driver::start();
    let client = driver.open(Look { width: 360, height: 740, dark: true }).await;
    client.goto(&address()).await.unwrap();
    is_shown(&client, "/").await;
    let enter = Key::Enter.to_string();
    tab_to(&client, "name").await.send_keys("Åse").await.unwrap();
    tab_to(&client, "Begin").await.send_keys(&enter).await.unwrap();
    says(&client, "As text").await;
    tab_to(&client, "s0-session").await.send_keys("walk 4:40, 7 x (run 0:50, walk 1:40)").await.unwrap();
    tab_to(&client, "Save").await.send_keys(&enter).await.unwrap();
    says(&client, "The plan is saved.").await;
    tab_to(&client, "Now").await.send_keys(&enter).await.unwrap();
    // The system's own dialog is not the page's: its result is typed in.
    let file = demo().join("demo/recordings/2026-03-02.fit");
    find(&client, "#files").await.send_keys(&file.display().to_string()).await.unwrap();
    tab_to(&client, "Look at them").await.send_keys(&enter).await.unwrap();
    says(&client, "is not in the case yet").await;
    tab_to(&client, "Save to case").await.send_keys(&enter).await.unwrap();
    says(&client, "Saved to the case.").await;
    tab_to(&client, "Write the diary").await.send_keys(&enter).await.unwrap();
    tab_to(&client, "pain_during").await.send_keys("1").await.unwrap();
    tab_to(&client, "Write into the diary").await.send_keys(&enter).await.unwrap();
    says(&client, "Written into the diary.").await;
    tab_to(&client, "Review").await.send_keys(&enter).await.unwrap();
    says(&client, "Pain 1 of 10").await;
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn a_folder_of_cases_is_opened_as_it_stands() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["Arne", "Berit"] {
        let case = case_with(&["2026-03-02.fit"]);
        fs::create_dir_all(folder.path().join("patients")).unwrap();
        fs::rename(case.path().join("case"), folder.path().join("patients").join(name)).unwrap();
    }
    let driver = Driver::start();
    let client = driver.open(WIDE).await;
    client.goto(&address()).await.unwrap();
    is_shown(&client, "/").await;
    let place = folder.path().join("patients").display().to_string();
    find(&client, "#folder").await.send_keys(&place).await.unwrap();
    let open = "document.querySelector('#folder').form.querySelector('button').click()";
    client.execute(open, vec![]).await.unwrap();
    says(&client, "The cases are opened.").await;
    click(&client, "Berit").await;
    says(&client, "The last session").await;
    client.close().await.unwrap();
}

/// A zip with these entries.
fn zipped(entries: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default();
    for (name, bytes) in entries {
        zip.start_file(*name, options).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn nothing_in_a_case_that_was_sent_runs_and_bad_zips_are_told() {
    const HARM: &str = "<img src=x onerror=\"window.harm=1\"><script>window.harm=2</script>";
    let plan = format!(
        "title = '''{HARM}'''\nnote = '''{HARM}'''\ncontact = '''<a href=\"javascript:window.harm=3\">x</a>'''\n\
         [[stage]]\nname = '<script>window.harm=6</script>'\nsession = \"walk 4:40, 7 x (run 0:50, walk 1:40)\"\nsessions = 3\n"
    );
    let diary = format!(
        "date,pain_during,pain_pattern,pain_next_morning,effort,note\n2026-03-02,0,,0,3,\"{}\"\n",
        HARM.replace('"', "\"\"")
    );
    let track = gpx(1, "<name>&lt;script&gt;window.harm=4&lt;/script&gt;</name><type>running</type>");
    let name = "recordings/<svg onload=window.harm=5>.gpx";
    let evil = [("plan.toml", plan.as_bytes()), ("diary.csv", diary.as_bytes()), (name, &track)];
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        path.display().to_string()
    };
    let driver = Driver::start();
    let client = driver.open(WIDE).await;
    client.goto(&address()).await.unwrap();
    is_shown(&client, "/").await;
    asked_for(&driver, &client).await;

    let bomb = {
        let large = vec![0; 300 << 20];
        zipped(&[("plan.toml", plan.as_bytes()), ("recordings/a.gpx", &large)])
    };
    let plain = demo_file("plan.toml");
    for (name, bytes, said) in [
        ("photo.zip", zipped(&[("photo.jpg", b"x")]), "holds no case"),
        ("two.zip", zipped(&[("a/plan.toml", &plain), ("b/plan.toml", &plain)]), "more than one plan.toml"),
        ("up.zip", zipped(&[("plan.toml", &plain), ("recordings/../../x", b"x")]), "leads out of the case"),
        ("cut.zip", zipped(&evil)[..200].to_vec(), "could not be opened as a zip"),
        ("bomb.zip", bomb, "unfolds to more than a case may have"),
    ] {
        assert!(bytes.len() < 1 << 20, "{name}");
        find(&client, "#zip").await.send_keys(&write(name, &bytes)).await.unwrap();
        click_on(&client, "form[action='/open-zip'] button").await;
        says(&client, said).await;
        says(&client, "What to do: ").await;
        click(&client, "To the start").await;
    }

    find(&client, "#zip").await.send_keys(&write("evil <b>.zip", &zipped(&evil))).await.unwrap();
    click_on(&client, "form[action='/open-zip'] button").await;
    says(&client, "Take the case along").await;
    for page in ["Diary", "Review", "Plan", "Now", "All cases"] {
        click(&client, page).await;
        comes(&client, page, "return !document.body.hasAttribute('aria-busy')").await;
        let text = body(&client).await;
        assert!(text.len() > 100, "{page}: {text}");
    }
    let root = "/case/evil%20%3Cb%3E";
    let recording = "%3Csvg%20onload%3Dwindow.harm%3D5%3E.gpx";
    for page in [format!("{root}/session?recording={recording}"), format!("{root}/diary/2026-03-02")] {
        type_address(&client, &page).await;
    }
    tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    assert_eq!(client.execute("return window.harm ?? null", vec![]).await.unwrap(), json!(null));
    assert_eq!(asked_for(&driver, &client).await, Vec::<String>::new());
    client.close().await.unwrap();
}
