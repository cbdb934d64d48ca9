use jogaudit_core::agree::input::{Side, parse};
use jogaudit_core::clean::{Columns, Series};
use jogaudit_core::gait::Gait;

use super::*;
use crate::request::Content;

const NOW: Timestamp = Timestamp::UNIX_EPOCH;

/// Ten minutes from a quarter past seven, a reading a second.
fn readings() -> Readings {
    let start = "2026-03-02T06:15:00Z".parse().unwrap();
    let columns = Columns::without_readings(start, (0..=600).map(f64::from).collect());
    let speed_mps = (0..=600).map(|t| Some(if t < 300 { 1.5 } else { 2.5 })).collect();
    let series = Series::new(Columns { speed_mps, utc_offset_s: Some(3600), ..columns }).unwrap();
    Readings { series, notices: Vec::new() }
}

fn sheet() -> Sheet {
    Sheet::new(Path::new("a/1 & 2.fit"), "ab12", &readings(), "anna", Path::new("1.csv")).unwrap()
}

fn post(
    sheet: &mut Sheet,
    address: &str,
    version: u64,
    marks: &[&str],
    kept: &mut Vec<String>,
) -> (u16, String) {
    let mut fields = vec![("version".to_owned(), version.to_string())];
    fields.extend(marks.iter().map(|mark| ("mark".to_owned(), (*mark).to_owned())));
    let request = Request::new(Method::Post, address, Content::Form(fields));
    let answer = handle(&request, sheet, NOW, &mut |table| {
        kept.push(table.to_owned());
        Ok(())
    });
    (answer.status, String::from_utf8(answer.body).unwrap())
}

fn get(sheet: &mut Sheet, address: &str) -> Response {
    let request = Request::new(Method::Get, address, Content::Nothing);
    handle(&request, sheet, NOW, &mut |_| panic!("nothing is kept"))
}

#[test]
fn what_is_marked_is_kept_and_read_back() {
    let (mut sheet, mut kept) = (sheet(), Vec::new());
    let marks = ["30 walk", "300.5 run", "420 run", "480 stand"];
    let (status, state) = post(&mut sheet, "/marks", 0, &marks, &mut kept);
    assert_eq!((status, kept.len()), (200, 0));
    // A second mark of one gait stays for the rater, who may not be done, and is one stretch in the table.
    let sent = r#"{"at_s":30.0,"gait":"walk"},{"at_s":300.5,"gait":"run"},{"at_s":420.0,"gait":"run"},{"at_s":480.0,"gait":"stand"}"#;
    assert_eq!(state, format!(r#"{{"version":1,"is_saved":false,"marks":[{sent}]}}"#));
    assert_eq!(post(&mut sheet, "/save", 1, &marks, &mut kept).0, 200);
    let row =
        |rest: &str| format!("1 & 2.fit,ab12,2026-03-02T06:15:00Z,anna,1970-01-01T00:00:00Z,{rest}\r\n");
    let rows = ["unknown,0,30", "walk,30,300.5", "run,300.5,480", "stand,480,600"].map(row);
    let head = "recording,sha256,start,rater,marked_at,gait,start_s,end_s\r\n";
    assert_eq!(kept, [head.to_owned() + &rows.concat()]);

    let Side::Bouts(sets) = parse(&kept[0], &[]).unwrap() else { panic!("bouts") };
    let set = &sets["1 & 2.fit"];
    assert_eq!(set.spans[2].gait, Gait::Run);
    assert_eq!((set.origin.sha256.as_deref(), set.origin.rater.as_deref()), (Some("ab12"), Some("anna")));
    let mut again = super::tests::sheet().resumed(&kept[0]).unwrap();
    let state = String::from_utf8(get(&mut again, "/marks.json").body).unwrap();
    let read_back = sent.replace(r#"{"at_s":420.0,"gait":"run"},"#, "");
    assert_eq!(state, format!(r#"{{"version":0,"is_saved":true,"marks":[{read_back}]}}"#));
}

#[test]
fn only_the_table_of_this_recording_and_rater_is_gone_on_with() {
    let (mut sheet, mut kept) = (sheet(), Vec::new());
    post(&mut sheet, "/save", 0, &["0 run"], &mut kept);
    let table = &kept[0];
    for (wrong, why) in [
        (table.replace("ab12", "cd34"), "it is of another recording"),
        (table.replace("06:15", "06:16"), "it is of another recording"),
        (table.replace("anna", "bert"), "it is by `bert`"),
        (table.replace("anna", ""), "it does not say who marked it"),
        ("a,b\n1,2\n".to_owned(), "it is not the table of one recording"),
        ("nothing".to_owned(), "it is not"),
    ] {
        let said = super::tests::sheet().resumed(&wrong).err().expect("refused").to_string();
        assert!(said.contains(why) && said.contains("hint: name another file"), "{said}");
    }
}

#[test]
fn odd_forms_are_refused_and_change_nothing() {
    let (mut sheet, mut kept) = (sheet(), Vec::new());
    for (marks, expected) in [
        (vec!["601 run"], 422),
        (vec!["-1 run"], 422),
        (vec!["NaN run"], 422),
        (vec!["1e400 run"], 422),
        (vec!["5 jog"], 422),
        (vec!["5"], 422),
        (vec!["5 run", "5 walk"], 422),
        (vec!["9 run", "5 walk"], 422),
        (vec![], 422), // nothing to save
    ] {
        let (status, said) = post(&mut sheet, "/save", 0, &marks, &mut kept);
        assert_eq!(status, expected, "{marks:?}");
        assert!(said.contains("trouble") && said.contains("What to do"), "{said}");
    }
    let many: Vec<String> =
        (0..2000).map(|n| format!("{} {}", f64::from(n) / 10.0, ["run", "walk"][n as usize % 2])).collect();
    let many: Vec<&str> = many.iter().map(String::as_str).collect();
    assert_eq!(post(&mut sheet, "/marks", 0, &many, &mut kept).0, 422);
    assert_eq!(post(&mut sheet, "/marks", 0, &many[..1999], &mut kept).0, 200);
    // Another window that still shows the first state.
    let (status, said) = post(&mut sheet, "/save", 0, &["5 run"], &mut kept);
    assert_eq!(status, 409);
    assert!(said.contains("changed in another window"), "{said}");
    assert_eq!(sheet.marks.len(), 1999);
    assert!(kept.is_empty());
    assert_eq!(get(&mut sheet, "/nothing").status, 404);
}

#[test]
fn what_cannot_be_written_is_said_and_not_called_saved() {
    let mut sheet = sheet();
    let fields = vec![("version".to_owned(), "0".to_owned()), ("mark".to_owned(), "5 run".to_owned())];
    let request = Request::new(Method::Post, "/save", Content::Form(fields));
    let answer = handle(&request, &mut sheet, NOW, &mut |_| Err(Failure::refused("the disk is full")));
    let said = String::from_utf8(answer.body).unwrap();
    assert_eq!(answer.status, 422);
    assert!(said.contains("The disk is full."), "{said}");
    assert!(!sheet.is_saved && sheet.marks.len() == 1);
}

#[test]
fn the_page_holds_readings_and_nothing_that_was_made_of_them() {
    let mut sheet = sheet();
    let curves: serde_json::Value = serde_json::from_slice(&get(&mut sheet, "/curves.json").body).unwrap();
    let keys = |value: &serde_json::Value| value.as_object().unwrap().keys().cloned().collect::<Vec<_>>();
    assert_eq!(keys(&curves), ["time_s", "curves", "gaps"]);
    assert_eq!(keys(&curves["curves"][0]), ["name", "unit", "values"]);
    assert_eq!(curves["curves"].as_array().unwrap().len(), 1, "what was not recorded is not drawn");
    assert_eq!(curves["curves"][0]["values"][0], 5.4);
    for address in ["/", "/annotate.js", "/page.css"] {
        let text = String::from_utf8(get(&mut sheet, address).body).unwrap();
        let of_the_model =
            ["bout", "bouts", "certainty", "segmentation", "prescribed", "verdict", "finding", "findings"];
        let found = text.split(|c: char| !c.is_alphanumeric()).find(|word| of_the_model.contains(word));
        assert_eq!(found, None, "{address}");
    }
    let page = String::from_utf8(get(&mut sheet, "/").body).unwrap();
    assert!(page.contains("<code><bdi>1.csv</bdi></code>"), "{page}");
    assert!(page.contains("1 &amp; 2.fit") && page.contains("07:15 by the recorder’s clock"), "{page}");
}

#[test]
fn a_rater_has_a_name() {
    for (text, name) in
        [(" anna ", "anna"), ("Åse-Marie O'Hara", "Åse-Marie O'Hara"), ("R1", "R1"), ("評者", "評者")]
    {
        assert_eq!(rater_name(text).as_deref(), Ok(name));
    }
    let long = "x".repeat(61);
    for wrong in ["", "  ", "=1+1", "-x", "a,b", "a\nb", "a\u{202e}b", "<b>", &long] {
        assert!(rater_name(wrong).is_err(), "{wrong}");
    }
}

#[test]
fn a_recording_without_length_cannot_be_marked() {
    let start = Timestamp::UNIX_EPOCH;
    let series = Series::new(Columns::without_readings(start, vec![0.0])).unwrap();
    let readings = Readings { series, notices: Vec::new() };
    let refused = Sheet::new(Path::new("a.fit"), "ab", &readings, "anna", Path::new("x"))
        .err()
        .expect("refused")
        .to_string();
    assert!(refused.contains("no length"), "{refused}");
}
