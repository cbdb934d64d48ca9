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

/// A table as `annotate` writes it, of the true bouts of a session.
fn marked(folder: &Folder, seed: &str, rater: &str, later_s: f64) -> String {
    let found = folder.run(&["bouts", &format!("{seed}.fit"), "--format", "json"], b"").1;
    let recording = &document(&found)["recording"];
    let truth = document(&String::from_utf8(folder.read(&format!("truth/{seed}.truth.json"))).unwrap());
    let bouts = truth["bouts"].as_array().unwrap();
    let mut table = vec!["recording,sha256,start,rater,marked_at,gait,start_s,end_s\r\n".to_owned()];
    for (at, bout) in bouts.iter().enumerate() {
        let late =
            |name: &str, is_outer: bool| bout[name].as_f64().unwrap() + if is_outer { 0.0 } else { later_s };
        table.push(format!(
            "{seed}.fit,{},{},{rater},2026-03-05T08:00:00Z,{},{},{}\r\n",
            recording["sha256"].as_str().unwrap(),
            recording["start"].as_str().unwrap(),
            bout["gait"].as_str().unwrap(),
            late("start_s", at == 0),
            late("end_s", at + 1 == bouts.len())
        ));
    }
    table.concat()
}

#[test]
fn what_raters_marked_is_paired_by_what_it_says_of_the_recording() {
    let folder = sessions();
    std::fs::create_dir(folder.file("anna")).unwrap();
    std::fs::create_dir(folder.file("bert")).unwrap();
    for (seed, late_s) in [("1", 1.0), ("2", 1.0), ("3", -0.5)] {
        folder.write(&format!("anna/{seed}.csv"), marked(&folder, seed, "anna", 0.0));
        folder.write(&format!("bert/{seed} by bert.csv"), marked(&folder, seed, "bert", late_s));
    }
    let compared = |args: &[&str]| {
        let (code, out, err) = folder.run(&[args, &["--format", "json"]].concat(), b"");
        assert_eq!((code, err.as_str()), (0, ""));
        document(&out)
    };
    let raters = compared(&["agree", "anna", "bert"]);
    assert_eq!(raters["recordings"], json!({"compared": 3, "only_reference": [], "only_other": []}));
    assert_eq!(raters["notices"], json!([]));
    assert_eq!(raters["boundaries"]["median_s"], 1.0);
    // All in one table, by its column `recording`.
    let one = ["1", "2", "3"].map(|seed| marked(&folder, seed, "bert", if seed == "3" { -0.5 } else { 1.0 }));
    let rest = one[1..].iter().flat_map(|table| table.split_inclusive('\n').skip(1));
    folder.write("bert.csv", one[0].clone() + &rest.collect::<String>());
    for side in ["1", "2", "3"] {
        std::fs::rename(
            folder.file(&format!("anna/{side}.csv")),
            folder.file(&format!("anna/{side}.fit.csv")),
        )
        .unwrap();
    }
    assert_eq!(compared(&["agree", "anna", "bert.csv"])["boundaries"], raters["boundaries"]);
    // A table under the name of another recording is said.
    std::fs::rename(folder.file("bert/1 by bert.csv"), folder.file("bert/3.fit.csv")).unwrap();
    let wrong = compared(&["agree", "anna", "bert"]);
    assert!(wrong["notices"].as_array().unwrap().iter().any(|n| n["code"] == "recording_differs"), "{wrong}");
}

#[test]
fn intervals_say_how_they_were_made() {
    let folder = sessions();
    let few = document(&folder.run(&["agree", "truth", "found", "--format", "json"], b"").1);
    assert_eq!(
        few["intervals"]["kappa"],
        json!({"low": null, "high": null, "reason": "fewer than 5 recordings"})
    );
    // Each session twice more: six recordings.
    for seed in ["1", "2", "3"] {
        let truth = folder.read(&format!("truth/{seed}.truth.json"));
        let found = folder.run(&["bouts", &format!("{seed}.fit"), "--format", "json"], b"").1;
        folder.write(&format!("truth/{seed}0.json"), truth);
        folder.write(&format!("found/{seed}0.json"), found);
    }
    let args = ["agree", "truth", "found", "--format", "json", "--resamples", "300", "--seed", "8"];
    let (_, out, _) = folder.run(&args, b"");
    let intervals = &document(&out)["intervals"];
    assert_eq!((&intervals["resamples"], &intervals["seed"]), (&json!(300), &json!(8)));
    let bias = document(&out)["boundaries"]["bias_s"].as_f64().unwrap();
    let end = |name: &str| intervals["bias_s"][name].as_f64().unwrap();
    assert!(end("low") <= bias && bias <= end("high") && end("low") < end("high"), "{out}");
    assert_eq!(folder.run(&args, b"").1, out);
    let (_, text, _) = folder.run(&["agree", "truth", "found"], b"");
    assert!(text.contains("Intervals of 95 % over recordings, 2000 draws, seed 1"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    for wrong in [["--resamples", "99"], ["--resamples", "20001"], ["--seed", "x"]] {
        assert_eq!(folder.run(&["agree", "truth", "found", wrong[0], wrong[1]], b"").0, 2);
    }
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
