//! Six situations of a runner on each screen, and how many taps people need.
//!
//! With `JOGAUDIT_SHOTS=FOLDER` a picture of every page is kept, to be looked at.
#![cfg(target_os = "linux")]

use std::fs;
use std::path::Path;
use std::process::Command;

use fantoccini::Client;
use tempfile::TempDir;

use crate::browser::{Driver, Look, wrong};
use crate::browser_page::{find, named, says};
use crate::page::{Page, case_with, demo};
use crate::program::jogaudit;

const PHONE: Look = Look { width: 360, height: 740, dark: false };
const HEAD: &str = "date,pain_during,pain_pattern,pain_next_morning,effort,note\n";
const KEPT: [&str; 3] = ["2026-03-02.fit", "2026-03-04.gpx.gz", "2026-03-07.tcx"];
const EASY: &str = "2026-03-02,0,,0,3,first jog since January\n2026-03-04,1,,0,3,\n";

/// A situation: its recordings, diary, visits, day of the review, and what the page of the case says in it.
struct Situation {
    name: &'static str,
    recordings: &'static [&'static str],
    diary: &'static str,
    visits: &'static str,
    as_of: &'static str,
    says: &'static str,
    /// Only the first stage of the demo's plan.
    is_short_plan: bool,
}

const SITUATIONS: [Situation; 6] = [
    Situation {
        name: "new",
        recordings: &[],
        diary: "",
        visits: "",
        as_of: "2026-03-01",
        says: "First session",
        is_short_plan: false,
    },
    Situation {
        name: "as-prescribed",
        recordings: &KEPT,
        diary: "2026-03-07,0,,0,3,\n",
        visits: "",
        as_of: "2026-03-08",
        says: "By the plan, stage “2” comes next",
        is_short_plan: false,
    },
    Situation {
        name: "overdone-with-pain",
        recordings: &["2026-03-02.fit", "2026-03-04.gpx.gz", "2026-03-07.tcx", "2026-03-09.fit"],
        diary: "2026-03-07,0,,0,3,\n2026-03-09,2,warm_up_only,4,6,felt good and let it run\n",
        visits: "",
        as_of: "2026-03-10",
        says: "rest",
        is_short_plan: false,
    },
    Situation {
        name: "see-a-clinician",
        recordings: &KEPT,
        diary: "2026-03-07,3,night,3,4,\n",
        visits: "",
        as_of: "2026-03-08",
        says: "See a health professional before you run again.",
        is_short_plan: false,
    },
    Situation {
        name: "seen-and-going-on",
        recordings: &KEPT,
        diary: "2026-03-07,3,night,3,4,\n",
        visits: "date,by,stage,note\n2026-03-10,R. Lunde,1,calm calf\n",
        as_of: "2026-03-11",
        says: "Go on with stage “1”",
        is_short_plan: false,
    },
    Situation {
        name: "plan-done",
        recordings: &KEPT,
        diary: "2026-03-07,0,,0,3,\n",
        visits: "",
        as_of: "2026-03-08",
        says: "The plan is done",
        is_short_plan: true,
    },
];

impl Situation {
    fn case(&self) -> TempDir {
        let folder = case_with(self.recordings);
        let case = folder.path().join("case");
        let easy = if self.recordings.is_empty() { "" } else { EASY };
        fs::write(case.join("diary.csv"), format!("{HEAD}{easy}{}", self.diary)).unwrap();
        if !self.visits.is_empty() {
            fs::write(case.join("seen.csv"), self.visits).unwrap();
        }
        if self.is_short_plan {
            let plan = fs::read_to_string(case.join("plan.toml")).unwrap();
            let end = plan.match_indices("[[stage]]").nth(1).map_or(plan.len(), |(at, _)| at);
            fs::write(case.join("plan.toml"), &plan[..end]).unwrap();
        }
        folder
    }

    fn paths(&self) -> Vec<String> {
        let last = self.recordings.last();
        let session = last.map(|name| format!("/case/case/session?recording={name}"));
        let diary = last.map(|name| format!("/case/case/diary/{}", &name[..10]));
        ["/case/case/", "/case/case/diary", "/case/case/review", "/case/case/plan"]
            .into_iter()
            .map(str::to_owned)
            .chain(session)
            .chain(diary)
            .collect()
    }
}

pub(crate) async fn keep_picture(client: &Client, name: &str) {
    let Some(folder) = std::env::var_os("JOGAUDIT_SHOTS") else { return };
    fs::create_dir_all(&folder).unwrap();
    fs::write(Path::new(&folder).join(format!("{name}.png")), client.screenshot().await.unwrap()).unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
async fn six_situations_fit_each_screen_and_are_accessible() {
    let driver = Driver::start();
    let mut found = Vec::new();
    for situation in &SITUATIONS {
        let folder = situation.case();
        let case = folder.path().join("case");
        let page = Page::with(&[case.as_os_str(), "--as-of".as_ref(), situation.as_of.as_ref()]);
        let now = page.page("/case/case/");
        assert!(now.contains(situation.says), "{}: {now}", situation.name);
        let report = folder.path().join("report.html");
        let mut review = Command::new(jogaudit());
        review.args(["review", "--as-of", situation.as_of, "--format", "html"]).arg(&case);
        let done = review.output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        fs::write(&report, done.stdout).unwrap();
        for look in Look::ALL {
            let client = driver.open(look).await;
            client.goto(&page.address).await.unwrap();
            let mut all: Vec<String> =
                situation.paths().iter().map(|path| format!("http://{}{path}", page.host)).collect();
            all.push(format!("file://{}", report.display()));
            for (index, address) in all.iter().enumerate() {
                client.goto(address).await.unwrap();
                let kind = if look.dark { "dark" } else { "light" };
                let name = format!("{}_{}_{kind}_{index}", situation.name, look.width);
                keep_picture(&client, &name).await;
                found.extend(wrong(&client).await.into_iter().map(|what| format!("{name}: {what}")));
            }
            client.close().await.unwrap();
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// Counts what a thumb does.
struct Thumb<'c> {
    client: &'c Client,
    taps: u32,
}

impl Thumb<'_> {
    async fn tap(&mut self, text: &str) {
        named(self.client, text).await.click().await.unwrap();
        self.taps += 1;
    }
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
async fn a_runner_needs_six_taps_from_the_link_to_the_next_session() {
    let folder = case_with(&KEPT);
    let case = folder.path().join("case");
    fs::write(case.join("diary.csv"), format!("{HEAD}{EASY}2026-03-07,0,,0,3,\n")).unwrap();
    let page = Page::with(&[case.as_os_str(), "--as-of".as_ref(), "2026-03-09".as_ref()]);
    let driver = Driver::start();
    let client = driver.open(PHONE).await;
    client.goto(&page.address).await.unwrap();
    let mut thumb = Thumb { client: &client, taps: 0 };
    // One tap opens the telephone's own list of files, one takes the file.
    let file = demo().join("demo/recordings/2026-03-09.fit");
    find(&client, "input[type=file]").await.send_keys(&file.display().to_string()).await.unwrap();
    thumb.taps += 2;
    thumb.tap("Look at them").await;
    says(&client, "Save to case").await;
    thumb.tap("Save to case").await;
    says(&client, "Saved to the case.").await;
    thumb.tap("Write the diary of 9 March").await;
    let pain = find(&client, "#pain_during").await;
    pain.send_keys("1").await.unwrap();
    thumb.tap("Write into the diary").await;
    says(&client, "Written into the diary.").await;
    says(&client, "The next session").await;
    assert!(thumb.taps <= 6, "{} taps", thumb.taps);
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and axe-core, see tests/full"]
async fn a_physio_needs_one_tap_from_the_patients_to_the_reason() {
    let caseload = tempfile::tempdir().unwrap();
    for (name, situation) in [("Arne", &SITUATIONS[3]), ("Berit", &SITUATIONS[1])] {
        fs::rename(situation.case().path().join("case"), caseload.path().join(name)).unwrap();
    }
    let page = Page::with(&[caseload.path().as_os_str(), "--as-of".as_ref(), "2026-03-08".as_ref()]);
    page.page("/");
    let driver = Driver::start();
    let client = driver.open(PHONE).await;
    client.goto(&page.address).await.unwrap();
    says(&client, "See a clinician.").await;
    assert_eq!(find(&client, "tbody th a").await.text().await.unwrap(), "Arne", "the gravest is first");
    let mut thumb = Thumb { client: &client, taps: 0 };
    thumb.tap("Arne").await;
    says(&client, "See a health professional before you run again.").await;
    says(&client, "Pain at night was noted on 7 March.").await;
    assert_eq!(thumb.taps, 1);
    client.close().await.unwrap();
}
