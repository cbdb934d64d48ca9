//! The page has two hosts, the server on loopback and the browser itself: both show the same pages, byte for byte.

use std::fs;

use jiff::Timestamp;
use jiff::civil::date;
use jogaudit::page::{MemoryStore, Method, Sent};

use crate::page::{HOSTED_PAGES, Page, case_with, demo_file, tree};

fn asked(store: &mut MemoryStore, address: &str) -> String {
    let now = Timestamp::now();
    store.prepare(Method::Get, address, now);
    while store.step(now) {}
    let sent =
        Sent { method: Method::Get, address: address.to_owned(), fields: Vec::new(), files: Vec::new() };
    String::from_utf8(store.answer(sent, now).body).unwrap()
}

#[test]
fn both_hosts_show_the_same_pages() {
    let folder = case_with(&["2026-03-02.fit", "2026-03-04.gpx.gz", "2026-03-07.tcx"]);
    // A second case, so that both have several.
    let other = folder.path().join("other");
    fs::create_dir(&other).unwrap();
    fs::write(other.join("plan.toml"), demo_file("plan.toml")).unwrap();
    let page = Page::on(folder.path());
    let mut store = MemoryStore::default().as_of(date(2026, 5, 10));
    for case in ["case", "other"] {
        let files = tree(&folder.path().join(case)).into_iter();
        store.put_case(case, files.map(|(name, bytes)| (name.to_str().unwrap().to_owned(), bytes)).collect());
    }
    let upload = demo_file("recordings/2026-03-09.fit");
    let waits = page.upload("case", &[("this morning.fit", &upload)]);
    let sent = Sent {
        method: Method::Post,
        address: "/case/case/files".to_owned(),
        fields: Vec::new(),
        files: vec![("this morning.fit".to_owned(), upload)],
    };
    let answer = store.answer(sent, Timestamp::now());
    assert_eq!(answer.location.as_deref(), Some(waits.location()));
    let others = ["/case/case/diary/2026-03-09", "/case/case/nothing", waits.location()];
    for address in HOSTED_PAGES.into_iter().chain(others) {
        let served = page.settled(address).body;
        assert!(served.len() > 500, "{address}: {served}");
        assert!(asked(&mut store, address) == served, "{address} differs");
    }
}
