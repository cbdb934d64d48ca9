//! Documents printed by a real browser, on A4 and Letter: every word is on a page, and no page is nearly empty.
//!
//! Poppler's `pdftotext` reads the pages.

use std::collections::BTreeMap;
use std::process::Command;

use fantoccini::wd::{PrintConfigurationBuilder, PrintMargins, PrintSize};

use crate::browser::{Driver, Look};
use crate::folder::Folder;

/// Width and height of paper, cm: ISO 216 and ANSI/ASME Y14.1.
const PAPERS: [(&str, f64, f64); 2] = [("A4", 21.0, 29.7), ("Letter", 21.59, 27.94)];

/// Words that a page has at the least: a table of a few lines has more. Our choice.
const LEAST_WORDS: usize = 20;

const LONG: &str = "title = 'Ida: back to running after a shin injury'\nstart = 2026-03-02\n\
    weekdays = ['tue', 'thu', 'sun']\nnote = 'You can talk in whole sentences while you jog.'\n\
    contact = 'Ring the practice if pain stays: 555 0101'\n[limits]\npace_ceiling = '6:45 /km'\neffort_ceiling = 4\n\
    heart_rate_ceiling = '150 bpm'\nwalk_cadence_floor = '110 spm'\nsessions_per_week = '2 to 3'\npain_limit = 2\n\
    [[stage]]\nname = 'walk'\nsession = 'walk 25:00 to 35:00'\nsessions = 2\n\
    [[stage]]\nname = '1'\nsession = 'walk 4:40, 7 x (run 0:50, walk 1:40), walk 3:20'\nsessions = 3\n\
    [[stage]]\nname = '2'\nsession = 'walk 4:00 or more, for 22:00 to 28:00 (run 3:10, walk 1:20)'\nsessions = 3\n\
    note = 'On grass, if you can.'\n\
    [[stage]]\nname = 'mixed'\nweeks = 1\n\
    [[stage.session]]\nname = 'run-walk'\ndo = 'walk 5:00, 5 to 6 x (run 5:10, walk 1:15)'\na_week = 2\n\
    [[stage.session]]\nname = 'steady'\ndo = 'run 18:00 to 22:00 @ 7:00 /km'\na_week = '0 to 1'\n\
    [[stage]]\nname = 'grow'\nsession = 'walk 6:00, 4 rising to 7 x (run 1:40, walk 2:20)'\nsessions = 4\n\
    [[stage]]\nname = 'far'\nsession = 'walk 400 m, 3 x (run 800 m, rest 2:00)'\nsessions = 12\n";

const SHORT: &str =
    "title = 'Short'\n[[stage]]\nname = '1'\nsession = 'walk 5:00, 4 x (run 1:10, walk 2:00)'\n";

/// How often each word stands in a text; parts of words that a line end cuts would be words of their own.
fn words(text: &str) -> BTreeMap<&str, usize> {
    let mut counts = BTreeMap::new();
    for word in text.split_whitespace() {
        *counts.entry(word).or_default() += 1;
    }
    counts
}

/// The text of each page.
fn pages(folder: &Folder, pdf: &[u8]) -> Vec<String> {
    folder.write("page.pdf", pdf);
    let output = Command::new("pdftotext")
        .args(["-layout", "-enc", "UTF-8"])
        .args(["page.pdf", "-"])
        .current_dir(folder.path())
        .output()
        .expect("pdftotext runs; `bash tests/install` installs it");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    // A form feed ends each page.
    let text = String::from_utf8(output.stdout).expect("text");
    text.split_terminator('\u{c}').map(str::to_owned).collect()
}

#[tokio::test]
#[ignore = "needs Chromium and Poppler, see tests/full"]
async fn a_hand_out_prints_whole_on_both_papers() {
    let folder = Folder::new();
    let driver = Driver::start();
    let client = driver.open(Look::ALL[2]).await;
    for (plan, text) in [("long.toml", LONG), ("short.toml", SHORT)] {
        folder.write(plan, text);
        for large in [&[][..], &["--large-print"]] {
            let arguments = ["plan", "show", plan, "--format", "html", "--out", "sheet.html"];
            let (code, _, errors) = folder.run(&[&arguments[..], large].concat(), b"");
            assert_eq!(code, 0, "{errors}");
            let address = format!("file://{}", folder.path().join("sheet.html").display());
            client.goto(&address).await.expect("the page opens");
            let visible = client.execute("return document.querySelector('main').innerText", vec![]);
            let visible = visible.await.expect("a text").as_str().expect("a text").to_owned();
            for (paper, width, height) in PAPERS {
                let what = format!("{plan} {large:?} on {paper}");
                let config = PrintConfigurationBuilder::default()
                    .size(PrintSize { width, height })
                    .margins(PrintMargins { top: 1.4, bottom: 1.4, left: 1.4, right: 1.4 })
                    .shrink_to_fit(false)
                    .build()
                    .expect("a configuration");
                let pdf = client.print(config).await.expect("the page prints");
                let pages = pages(&folder, &pdf);
                check_pages(&what, &visible, &pages);
            }
        }
    }
    client.close().await.expect("the browser closes");
}

fn check_pages(what: &str, visible: &str, pages: &[String]) {
    let all = pages.join("\n");
    let printed = words(&all);
    // Heads of tables stand again on the next page, so that a word may be there more often.
    let lost: Vec<&str> = words(visible)
        .into_iter()
        .filter(|(word, count)| printed.get(word).is_none_or(|printed| printed < count))
        .map(|(word, _)| word)
        .collect();
    assert_eq!(lost, [] as [&str; 0], "{what}: {all}");
    for (number, page) in (1..).zip(pages) {
        let count = page.split_whitespace().count();
        assert!(count >= LEAST_WORDS, "{what}, page {number} has {count} words: {page}");
    }
}
