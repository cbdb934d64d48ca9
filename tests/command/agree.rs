//! `agree` from end to end.

use serde_json::{Value, json};

use crate::folder::Folder;
use crate::hand_made::PLAN;

/// Peak expiratory flow of 17 people by two meters, l/min (Bland & Altman 1986, Lancet i:307–310, table 1).
const LARGE: &str = "who,flow\n1,494\n2,395\n3,516\n4,434\n5,476\n6,557\n7,413\n8,442\n9,650\n10,433\n11,417\n12,656\n13,267\n14,478\n\
                     15,178\n16,423\n17,427\n";
const MINI: &str = "who,flow\n17,451\n1,512\n2,430\n3,520\n4,428\n5,500\n6,600\n7,364\n8,380\n9,658\n10,445\n11,432\n12,626\n13,260\n\
                    14,477\n15,259\n16,350\n";

fn document(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|error| panic!("{error} in\n{text}"))
}

/// A folder with the truth, the found bouts and the recording of three made-up sessions.
fn sessions() -> Folder {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    std::fs::create_dir(folder.file("truth")).unwrap();
    std::fs::create_dir(folder.file("found")).unwrap();
    for seed in ["1", "2", "3"] {
        let (file, truth) = (format!("{seed}.fit"), format!("truth/{seed}.truth.json"));
        let args = [
            "simulate",
            "--plan",
            "plan.toml",
            "--stage",
            "first",
            "--seed",
            seed,
            "--out",
            &file,
            "--truth",
            &truth,
        ];
        assert_eq!(folder.run(&args, b"").0, 0);
        let (format, ending) = if seed == "2" { ("csv", "csv") } else { ("json", "json") };
        let (code, bouts, _) = folder.run(&["bouts", &file, "--format", format], b"");
        assert_eq!(code, 0);
        folder.write(&format!("found/{seed}.{ending}"), bouts);
    }
    folder
}

#[test]
fn found_bouts_against_the_truth() {
    let folder = sessions();
    let (code, out, err) =
        folder.run(&["agree", "truth", "found", "--format", "json", "--plot", "errors.svg"], b"");
    assert_eq!((code, err.as_str()), (0, ""));
    let all = document(&out);
    assert_eq!(all["recordings"]["compared"], 3);
    assert!(all["accuracy"]["value"].as_f64().unwrap() > 0.95, "{out}");
    assert!(all["kappa"]["value"].as_f64().unwrap() > 0.9, "{out}");
    assert_eq!(all["events"][0]["reference"], 6);
    assert!(String::from_utf8(folder.read("errors.svg")).unwrap().starts_with("<svg"));

    let (code, one, _) = folder.run(&["agree", "truth/2.truth.json", "found/2.csv", "--format", "json"], b"");
    assert_eq!(code, 0);
    assert_eq!(document(&one)["accuracy"], all["each"][1]["accuracy"]);

    let (code, text, _) = folder.run(&["agree", "truth", "found"], b"");
    assert_eq!(code, 0);
    assert!(text.starts_with("The same gait in ") && text.contains("(3 recordings)"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
}

#[test]
fn recordings_on_one_side_only_are_named() {
    let folder = sessions();
    std::fs::remove_file(folder.file("found/3.json")).unwrap();
    let (code, out, err) = folder.run(&["agree", "truth", "found", "--format", "json"], b"");
    assert_eq!((code, err.as_str()), (0, ""));
    let document = document(&out);
    assert_eq!(document["recordings"], json!({"compared": 2, "only_reference": ["3"], "only_other": []}));
    assert_eq!(document["notices"][0]["code"], "no_partner");
    let (_, _, err) = folder.run(&["agree", "truth", "found"], b"");
    let said = err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("1 recording of the reference, 0 recordings of the other side. [no_partner]"),
        "{err}"
    );
}

#[test]
fn the_published_meters() {
    let folder = Folder::new();
    folder.write("mini.csv", MINI);
    folder.write("large.csv", LARGE);
    let (code, out, _) = folder.run(&["agree", "mini.csv", "large.csv"], b"");
    assert_eq!(code, 0);
    for printed in ["17 rows joined by `who`; 1 column", "-2.118", "38.77", "-78.10", "73.86", "ICC(2,1)"] {
        assert!(out.contains(printed), "{printed}\n{out}");
    }
    let (_, out, _) =
        folder.run(&["agree", "mini.csv", "large.csv", "--format", "json", "--plot", "p.svg"], b"");
    let column = &document(&out)["columns"][0];
    assert_eq!(
        (&column["column"], &column["pairs"], &column["missing"]),
        (&json!("flow"), &json!(17), &json!(0))
    );
    assert_eq!(column["icc_2_1"]["reason"], Value::Null);
}

#[test]
fn what_is_undefined_is_null_with_its_reason() {
    let folder = Folder::new();
    folder.write("a.csv", "id,x,flat,same,few\n1,1,5,1,\n2,2,5,2,\n3,4,5,4,7\n4,3,5,3,8\n");
    folder.write("b.csv", "id,x,flat,same,few\n1,1,1,1,\n2,3,2,2,\n3,4,3,4,7\n4,2,4,3,9\n");
    let (code, out, err) = folder.run(&["agree", "a.csv", "b.csv", "--format", "json"], b"");
    assert_eq!((code, err.as_str()), (0, ""));
    let document = document(&out);
    let column =
        |name: &str| document["columns"].as_array().unwrap().iter().find(|c| c["column"] == name).unwrap();
    assert_eq!(column("flat")["icc_2_1"]["value"], Value::Null);
    assert_eq!(column("flat")["concordance"]["reason"], "the values of one side do not vary");
    assert_eq!(column("same")["concordance"]["value"], 1.0);
    assert_eq!(column("same")["concordance"]["low"], Value::Null);
    assert_eq!(column("same")["icc_2_1"]["reason"], "both sides are the same, value by value");
    assert_eq!(column("few")["bias"]["reason"], "fewer than 3 pairs");
    assert_eq!(column("few")["missing"], 2);
    assert!(!out.contains("NaN"));
}

#[test]
fn bad_sides_are_refused_with_a_hint() {
    let folder = sessions();
    folder.write("a.csv", "id,x\n1,1\n2,2\n");
    folder.write("b.csv", "id,x\n3,1\n");
    for (args, part) in [
        (["agree", "a.csv", "found"], "one side has bouts and the other has scores"),
        (["agree", "a.csv", "b.csv"], "no row stands on both sides"),
        (["agree", "none.csv", "b.csv"], "could not read `none.csv`"),
        (["agree", "1.fit", "b.csv"], "a side is CSV or JSON"),
        (["agree", "truth", "."], "holds no bouts"),
    ] {
        let (code, out, err) = folder.run(&args, b"");
        assert_eq!((code, out.as_str()), (2, ""), "{args:?}");
        assert!(err.contains(part) && err.contains("hint: "), "{args:?}\n{err}");
    }
    let (code, _, err) = folder.run(&["agree", "a.csv", "b.csv", "--plot", "a.csv"], b"");
    assert_eq!(code, 2);
    assert!(err.contains("overwrite its own input"), "{err}");
}
