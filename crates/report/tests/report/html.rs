//! The reports as HTML: everything escaped, every link with its target, gaps drawn as gaps.

use std::collections::BTreeSet;

use jogaudit_core::audit::{Code, Prescription};
use jogaudit_core::gait::Gait;
use jogaudit_core::pipeline::{Config, activity};
use jogaudit_core::prescription::Plan;
use jogaudit_report::{Charts, CheckReport, CheckView, HandoutView, html};

use crate::hand_made::{AS_PRESCRIBED, PLAN, SECOND_RUN_LONG, session};
use crate::html_page::{assert_anchors, assert_self_contained, values};

/// Checks a recording against the first stage of a plan and lays the check out.
fn page(plan: &str, recording: &str) -> (CheckView, Charts, String) {
    let plan = Plan::parse(plan).expect("a plan").value;
    let (config, stage) = (Config::default(), &plan.stages[0]);
    let activity = activity(recording.as_bytes(), None, &config).expect("a recording");
    let checked = activity.check(Prescription::of(&plan, stage), &config, true);
    let CheckReport { view, charts } = CheckReport::new(&activity, &"0".repeat(64), &plan, stage, &checked);
    let page = html::check(&view, charts.as_ref());
    let charts = charts.expect("curves");
    (view, charts, page)
}

#[test]
fn what_comes_from_a_plan_is_escaped() {
    let plan = "title = '<script>alert(1)</script> \"&amp;\"'\n[[stage]]\nname = '<img onerror=alert(2)>'\n\
                session = 'walk 5:00, 2 x (run 1:00, walk 2:00), walk 5:00'";
    let (_, _, page) = page(plan, &session(AS_PRESCRIBED));
    assert_self_contained(&page);
    assert!(!page.contains("<img"));
    assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt; &quot;&amp;amp;&quot;"));
}

#[test]
fn every_finding_leads_to_its_place_and_back() {
    let limits = "[limits]\npace_ceiling = '8:00 /km'\nwalk_cadence_floor = '120 spm'\n[[stage]]";
    let plan = PLAN.replacen("[[stage]]", limits, 1);
    let (view, charts, page) = page(&plan, &session(SECOND_RUN_LONG));
    let codes: BTreeSet<&str> = view.findings.iter().map(|f| f.code.word()).collect();
    assert!(
        codes.is_superset(&BTreeSet::from(["run_too_long", "run_too_fast", "walk_too_slow"])),
        "{codes:?}"
    );
    assert_anchors(&page);
    let (ids, links) = (values(&page, "id"), values(&page, "href"));
    for number in 1..=view.findings.len() {
        for name in [format!("place-{number}"), format!("finding-{number}")] {
            assert!(ids.contains(&name.as_str()), "{name}");
            assert!(links.contains(&format!("#{name}").as_str()), "{name}");
        }
    }
    // The curves are there with their limits; no heart rate is said to be none.
    assert_eq!(charts.pace.as_ref().map(|pace| pace.limits.len()), Some(2));
    assert!(
        page.contains("class=\"band\"")
            && page.contains("class=\"limit\"")
            && page.contains("class=\"tolerated\"")
    );
    assert!(page.contains("The recording has no heart rate."));
    assert_self_contained(&page);
}

#[test]
fn a_missing_run_is_marked_where_it_was_prescribed() {
    let one_run = &[(300, 1.5, 112.0), (60, 2.6, 164.0), (600, 1.5, 112.0)];
    let (view, _, page) = page(PLAN, &session(one_run));
    let missing: Vec<_> = view.findings.iter().filter(|f| f.code == Code::RepMissing).collect();
    assert_eq!(missing.len(), 1, "{:?}", view.findings);
    assert_anchors(&page);
    assert!(page.contains("class=\"flag less\""));
}

#[test]
fn a_gap_is_drawn_as_a_gap() {
    let recording = session(AS_PRESCRIBED);
    // 100 s of samples are lost in the last walk.
    let lost: Vec<String> = recording.lines().map(str::to_owned).collect();
    let lost = [&lost[..650], &lost[750..]].concat().join("\n");
    let (view, charts, page) = page(PLAN, &lost);
    assert_eq!(charts.gaps.len(), 1);
    let gap = charts.gaps[0];
    assert!((gap.end_s - gap.start_s - 101.0).abs() < 1.5, "{gap:?}");
    let pace = charts.pace.expect("a pace");
    let cadence = charts.cadence.expect("a cadence");
    for chart in [&pace, &cadence] {
        let points = || chart.pieces.iter().flatten();
        assert!(points().all(|p| p.at_s <= gap.start_s || p.at_s >= gap.end_s), "{}", chart.name);
        let is_across = |piece: &Vec<_>| {
            let (first, last): (&jogaudit_report::chart::Point, _) = (&piece[0], &piece[piece.len() - 1]);
            first.at_s < gap.start_s && last.at_s > gap.end_s
        };
        assert!(!chart.pieces.iter().any(is_across), "{}", chart.name);
    }
    assert!(view.bouts.iter().any(|bout| bout.gait == Gait::Unknown));
    assert!(
        page.contains("class=\"unknown\"")
            && page.contains("class=\"gap\"")
            && page.contains("nothing was recorded")
    );
}

#[test]
fn a_hand_out_has_boxes_cautions_and_the_words_of_the_plan_isolated() {
    let plan = "title = '<script>alert(1)</script>'\nstart = 2026-03-02\nnote = '<b>slow</b>'\ncontact = 'ring\u{202e}555'\n\
        [[stage]]\nname = '<i>1</i>'\nsession = 'walk 5:00, 2 x (run 1:10, walk 2:00)'\nsessions = 3\n";
    let plan = Plan::parse(plan).expect("a plan").value;
    let view = HandoutView::new(&plan, None);
    let page = html::handout(&view, false);
    assert_anchors(&page);
    assert_self_contained(&page);
    for shown in [
        "<bdi>&lt;script&gt;alert(1)&lt;/script&gt;</bdi>",
        "<bdi>&lt;b&gt;slow&lt;/b&gt;</bdi>",
        "<bdi>ring\\u{202e}555</bdi>",
        "Stage <bdi>&lt;i&gt;1&lt;/i&gt;</bdi>",
        "Mon 2 March",
        "What your clinician says comes first.",
    ] {
        assert!(page.contains(shown), "{shown}");
    }
    assert!(!page.contains("<i>") && !page.contains("<b>slow"));
    let boxes = |page: &str| page.matches("class=\"box\"").count();
    // Two runs, three walks, a strip a session; three boxes and the diary's.
    assert_eq!(
        (page.matches("<rect class=\"run\"").count(), page.matches("<rect class=\"walk\"").count()),
        (2, 3)
    );
    assert_eq!(boxes(&page), 3 + 16);
    let large = html::handout(&view, true);
    assert!(large.contains("class=\"handout large\"") && !page.contains("class=\"handout large\""));
    assert_eq!(boxes(&large), 3 + 9);
}
