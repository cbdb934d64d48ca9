//! The reports in a real browser: nothing wider than the screen, no text cut, nothing that an accessibility checker finds.

use crate::browser::{Driver, Look, barriers, misfits, wrong};
use crate::folder::Folder;
use crate::hand_made::{PLAN, SECOND_RUN_LONG, session};

/// A long session with many faults, so that the strip is crowded.
const LONG: &str = "title = 'A long made-up stage'\n[limits]\npace_ceiling = '6:45 /km'\nheart_rate_ceiling = '150 bpm'\n\
    walk_cadence_floor = '110 spm'\n[[stage]]\nname = 'long'\nsession = 'walk 10:00, 50 x (run 1:00, walk 2:00)'";

/// Reports of several kinds, as files.
fn pages(folder: &Folder) -> Vec<&'static str> {
    folder.write("plan.toml", PLAN);
    folder.write("long.toml", LONG);
    folder.write("short.tcx", session(SECOND_RUN_LONG));
    let run = |line: &str| {
        let (code, _, errors) = folder.run(&line.split(' ').collect::<Vec<_>>(), b"");
        assert_eq!(code, 0, "{line}: {errors}");
    };
    run("check short.tcx --plan plan.toml --stage first --format html --out short.html");
    run(
        "simulate --plan long.toml --stage long --seed 4 --out long.fit --fault run-longer:40:3 --fault walk-cut:80:7 \
         --fault run-faster:20:12 --fault heart-rate-high:25 --fault walk-slower:25:5 --fault rep-missing --hole 100@3000",
    );
    run("check long.fit --plan long.toml --format html --out long.html");
    run("plan show plan.toml --format html --out handout.html");
    run("plan show long.toml --format html --large-print --out large.html");
    run("demo case");
    let (_, review, _) = folder.run(&["review", "case", "--as-of", "2026-05-10", "--format", "html"], b"");
    folder.write("review.html", review);
    vec!["short.html", "long.html", "review.html", "handout.html", "large.html"]
}

/// Opens what is folded.
async fn unfold(client: &fantoccini::Client) {
    let script = "document.querySelectorAll('details').forEach(folded => folded.open = true);";
    client.execute(script, vec![]).await.expect("the script runs");
}

fn address(folder: &Folder, name: &str) -> String {
    format!("file://{}", folder.path().join(name).display())
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
async fn reports_fit_the_screen_and_are_accessible() {
    let folder = Folder::new();
    let pages = pages(&folder);
    let driver = Driver::start();
    let mut found = Vec::new();
    for look in Look::ALL {
        let client = driver.open(look).await;
        for name in &pages {
            client.goto(&address(&folder, name)).await.expect("the page opens");
            let width = client.execute("return innerWidth", vec![]).await.expect("a number");
            assert_eq!(width, look.width, "the screen is as wide as asked for");
            let is_dark = "return matchMedia('(prefers-color-scheme: dark)').matches";
            assert_eq!(client.execute(is_dark, vec![]).await.expect("a truth"), look.dark);
            unfold(&client).await;
            found.extend(wrong(&client).await.into_iter().map(|what| format!("{name} {look:?}: {what}")));
        }
        client.close().await.expect("the browser closes");
    }
    assert!(found.is_empty(), "{found:#?}");
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
async fn the_checks_see_what_is_wrong() {
    let folder = Folder::new();
    folder.write(
        "wrong.html",
        "<!DOCTYPE html><html lang=en><title>x</title><body style='background:#fff'>\
         <main><h1>x</h1><p style='color:#bbb;width:600px'>too faint and too wide</p><img src=''>\
         <p style='overflow:hidden;white-space:nowrap;width:90px'>a text that ends before its end</p>\
         <select style='width:60px'><option>a choice that is much too long</option></select></main>",
    );
    let driver = Driver::start();
    let client = driver.open(Look::ALL[0]).await;
    client.goto(&address(&folder, "wrong.html")).await.expect("the page opens");
    let found = misfits(&client).await;
    for what in ["the page is 2", "beyond the screen: p", "is cut: p", "a choice is cut"] {
        assert!(found.iter().any(|line| line.contains(what)), "{what}: {found:?}");
    }
    let found = barriers(&client).await;
    for rule in ["color-contrast", "image-alt"] {
        assert!(found.iter().any(|line| line.starts_with(rule)), "{rule}: {found:?}");
    }
    client.close().await.expect("the browser closes");
}
