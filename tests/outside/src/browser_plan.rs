//! The plan's form in a real browser: with a thumb's screen, with and without colours reversed, by an accessibility checker.
#![cfg(target_os = "linux")]

use std::fs;

use crate::browser::{Driver, Look, wrong};
use crate::browser_page::{click, click_on, find, says};
use crate::page::{Page, case_with};
use fantoccini::{Client, Locator};

const PLAN: &str = "\
# Åse's plan, agreed on 27 February
title = \"Back on the long way round the lake, after the calf has healed\"

[limits]
sessions_per_week = 3
rest_days_between = 1
effort_ceiling = 4   # talking
pain_limit = 1

# at ease
[[stage]]
name = \"1\"
session = \"walk 4:40, 6 x (run 0:50, walk 1:40), walk 4:40\"   # flat
sessions = 3

[[stage]]
name = \"2\"
weeks = 1
[[stage.session]]
name = \"run-walk\"
do = \"walk 4:40, 6 x (run 1:10, walk 1:40), walk 4:40\"
a_week = 2
[[stage.session]]
name = \"steady\"
do = \"run 3:10\"
a_week = \"0 to 1\"   # if it rains
";

/// Presses the button of the form that sends this.
async fn press(client: &Client, sends: &str) {
    click_on(client, &format!("button[value='{sends}']")).await;
}

async fn type_into(client: &Client, css: &str, text: &str) {
    let field = find(client, css).await;
    field.clear().await.unwrap();
    field.send_keys(text).await.unwrap();
}

/// What is wrong with the page that is open, buttons and fields that are too low for a thumb included.
async fn wrong_with(client: &Client, name: &str) -> Vec<String> {
    let script = "const pressed = document.querySelectorAll(\"main :is(button, summary, select, input:not([type=hidden]))\");
        const seen = [...pressed].filter(element => element.getClientRects().length > 0);
        return seen.filter(element => element.getBoundingClientRect().height < 44).map(e => 'too low: ' + e.outerHTML.slice(0, 100))
            .concat([...document.querySelectorAll('main input')].filter(e => e.scrollWidth > e.clientWidth + 1)
                .map(e => 'cut off: ' + e.outerHTML.slice(0, 100)));";
    let mut found: Vec<String> = wrong(client).await;
    let low = client.execute(script, vec![]).await.unwrap();
    found.extend(serde_json::from_value::<Vec<String>>(low).unwrap());
    found.into_iter().map(|found| format!("{name}: {found}")).collect()
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
async fn a_stage_is_added_by_the_form_remarked_moved_and_saved_and_comments_stay() {
    let folder = case_with(&[]);
    let file = folder.path().join("case/plan.toml");
    fs::write(&file, PLAN).unwrap();
    let (page, driver) = (Page::on(&folder.path().join("case")), Driver::start());
    let client = driver.open(Look { width: 360, height: 740, dark: false }).await;
    client.goto(&page.address).await.unwrap();
    click(&client, "Plan").await;
    press(&client, "add:s0").await;
    says(&client, "Write here what to do.").await;
    // The browser goes on where the new stage is.
    let in_sight = "return document.querySelector('#s1').getBoundingClientRect().top";
    let top = client.execute(in_sight, vec![]).await.unwrap().as_f64().unwrap();
    assert!((0.0..370.0).contains(&top), "the new stage stands at {top} px");
    type_into(&client, "#s1-name", "faster").await;
    type_into(&client, "#s1-session", "walk 4:40, 6 x (run 3:10, walk 1:40), walk 4:40").await;
    type_into(&client, "#s1-sessions", "2").await;
    press(&client, "look").await;
    says(&client, "Not saved yet.").await;
    let row = find(&client, "#s1").await.text().await.unwrap();
    assert!(row.contains("Stage “faster” has 19:00 of running a session"), "{row}");
    press(&client, "down:s1").await;
    // The plan's own second stage stood there until the page has come back.
    let moved = client.wait().for_element(Locator::Css("#s2-name[value='faster']")).await.unwrap();
    assert_eq!(moved.prop("value").await.unwrap().as_deref(), Some("faster"));
    assert_eq!(fs::read_to_string(&file).unwrap(), PLAN, "nothing is written before it is saved");
    press(&client, "save").await;
    says(&client, "The plan is saved.").await;
    let stage = "\n[[stage]]\nname = \"faster\"\nsession = \"walk 4:40, 6 x (run 3:10, walk 1:40), walk 4:40\"\nsessions = 2\n";
    let expected = format!("{PLAN}{stage}");
    assert_eq!(fs::read_to_string(&file).unwrap(), expected);
    press(&client, "text").await;
    let text = find(&client, "#text").await.prop("value").await.unwrap();
    assert_eq!(text.as_deref(), Some(expected.as_str()));
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
async fn the_form_and_its_mistakes_fit_each_screen() {
    let folder = case_with(&[]);
    fs::write(folder.path().join("case/plan.toml"), PLAN).unwrap();
    let page = Page::on(&folder.path().join("case"));
    let patient = Page::with(&[folder.path().join("case").as_os_str(), "--patient".as_ref()]);
    let driver = Driver::start();
    let mut all = Vec::new();
    for look in Look::ALL {
        let client = driver.open(look).await;
        client.goto(&patient.address).await.unwrap();
        client.goto(&format!("http://{}/case/case/plan", patient.host)).await.unwrap();
        says(&client, "This is what was prescribed.").await;
        all.extend(wrong_with(&client, &format!("patient {look:?}")).await);
        client.goto(&page.address).await.unwrap();
        client.goto(&format!("http://{}/case/case/plan", page.host)).await.unwrap();
        let open_all = "document.querySelectorAll('details').forEach(fold => { fold.open = true; })";
        find(&client, "#s0").await;
        client.execute(open_all, vec![]).await.unwrap();
        all.extend(wrong_with(&client, &format!("form {look:?}")).await);
        type_into(&client, "#s0-session", "walk 4:40, 6 x (run 0:5x, walk 1:40), walk 4:40").await;
        type_into(&client, "#limits-pain_limit", "none").await;
        press(&client, "save").await;
        says(&client, "2 things to fix first").await;
        all.extend(wrong_with(&client, &format!("mistakes {look:?}")).await);
        press(&client, "text").await;
        says(&client, "Not a plan yet").await;
        all.extend(wrong_with(&client, &format!("text {look:?}")).await);
        client.close().await.unwrap();
    }
    assert!(all.is_empty(), "{}", all.join("\n"));
}
