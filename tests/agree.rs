//! `agree` from end to end, its document against its schema, and its statistics against `pingouin`, `scikit-learn`, `scipy`.

mod cli_support;

use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use boon::{Compiler, Schemas};
use cli_support::{Folder, PLAN};
use jogaudit::agree::bouts::Tally;
use jogaudit::agree::scores::{Estimate, bland_altman, concordance, icc_2_1};
use jogaudit::gait::Gait;
use jogaudit::gait::agreement::Span;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};

/// Peak expiratory flow of 17 people by two meters, l/min (Bland & Altman 1986, Lancet i:307–310, table 1).
const LARGE: &str = "who,flow\n1,494\n2,395\n3,516\n4,434\n5,476\n6,557\n7,413\n8,442\n9,650\n10,433\n11,417\n12,656\n13,267\n14,478\n\
                     15,178\n16,423\n17,427\n";
const MINI: &str = "who,flow\n17,451\n1,512\n2,430\n3,520\n4,428\n5,500\n6,600\n7,364\n8,380\n9,658\n10,445\n11,432\n12,626\n13,260\n\
                    14,477\n15,259\n16,350\n";

/// The document, after the schema has judged it.
fn document(text: &str) -> Value {
    let document: Value = serde_json::from_str(text).unwrap();
    let path = format!("{}/docs/schema/agree.schema.json", env!("CARGO_MANIFEST_DIR"));
    let mut schemas = Schemas::new();
    let schema = Compiler::new().compile(&path, &mut schemas).expect("a valid schema of draft 2020-12");
    if let Err(error) = schemas.validate(&document, schema) {
        panic!("{error:#}\n{text}");
    }
    document
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

/// Asks `tests/reference/agree_check.py`.
fn python(cases: &[Value]) -> Vec<Value> {
    let interpreter = std::env::var_os("JOGAUDIT_PYTHON").expect("JOGAUDIT_PYTHON names an interpreter");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/agree_check.py");
    let mut child = Command::new(interpreter)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the interpreter starts");
    let input = cases.iter().map(Value::to_string).collect::<Vec<_>>().join("\n");
    let mut stdin = child.stdin.take().expect("piped");
    let writer = std::thread::spawn(move || stdin.write_all(input.as_bytes()));
    let output = child.wait_with_output().expect("the script ends");
    writer.join().expect("no panic").expect("the script reads all");
    assert!(output.status.success());
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
}

/// Equal to 1e-9, of the greater of 1 and their size.
fn same(ours: f64, theirs: &Value, what: &str) {
    let theirs = theirs.as_f64().expect("a number");
    assert!((ours - theirs).abs() <= 1e-9 * theirs.abs().max(1.0), "{what}: {ours} and {theirs}");
}

fn same_estimate(ours: Estimate, theirs: &Value, what: &str) {
    let interval = ours.interval.expect("an interval");
    for (value, at) in [(ours.value, 0), (interval.low, 1), (interval.high, 2)] {
        same(value, &theirs[at], what);
    }
}

#[test]
#[ignore = "needs tests/run"]
fn scores_as_pingouin_scores_them() {
    let mut rng = ChaCha8Rng::seed_from_u64(6);
    let mut sets: Vec<(Vec<f64>, Vec<f64>)> = Vec::new();
    for n in [3, 4, 5, 8, 17, 50, 300, 5000] {
        for (shift, noise) in [(0.0, 1.0), (3.0, 0.05), (-20.0, 30.0), (0.5, 8.0)] {
            let reference: Vec<f64> = (0..n).map(|_| rng.random_range(0.0..10.0)).collect();
            let other = reference.iter().map(|v| v + shift + noise * rng.random_range(-1.0..1.0)).collect();
            sets.push((reference, other));
        }
    }
    let cases: Vec<Value> = sets.iter().map(|(r, o)| json!({"reference": r, "other": o})).collect();
    for ((reference, other), theirs) in sets.iter().zip(python(&cases)) {
        let what = format!("{} pairs, first {} and {}", reference.len(), reference[0], other[0]);
        let limits = bland_altman(reference, other).unwrap();
        // Their picture has a line at 0 as well; both lists are in rising order.
        let mut lines = vec![limits.lower.value, limits.bias.value, limits.upper.value, 0.0];
        lines.sort_by(f64::total_cmp);
        for (ours, theirs) in lines.into_iter().zip(theirs["lines"].as_array().unwrap()) {
            same(ours, theirs, &what);
        }
        let mut bands = [limits.lower, limits.bias, limits.upper].map(|e| e.interval.unwrap());
        bands.sort_by(|a, b| a.low.total_cmp(&b.low));
        for (ours, theirs) in bands.iter().zip(theirs["bands"].as_array().unwrap()) {
            same(ours.low, &theirs[0], &what);
            same(ours.high, &theirs[1], &what);
        }
        same_estimate(icc_2_1(&[reference, other]).unwrap(), &theirs["icc"], &format!("ICC, {what}"));
        same_estimate(
            concordance(reference, other).unwrap(),
            &theirs["concordance"],
            &format!("concordance, {what}"),
        );
    }
}

#[test]
#[ignore = "needs tests/run"]
fn four_judges_as_pingouin_scores_them() {
    let judges: [&[f64]; 4] = [
        &[9., 6., 8., 7., 10., 6.],
        &[2., 1., 4., 1., 5., 2.],
        &[5., 3., 6., 2., 6., 4.],
        &[8., 2., 8., 6., 9., 7.],
    ];
    same_estimate(icc_2_1(&judges).unwrap(), &python(&[json!({"raters": judges})])[0], "Shrout and Fleiss");
}

#[test]
#[ignore = "needs tests/run"]
fn time_as_scikit_learn_scores_it() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let gaits = [Gait::Run, Gait::Walk, Gait::Stand];
    // Second by second for their side, as bouts for ours.
    let mut seconds = |stay: f64| -> Vec<usize> {
        let mut at = 0;
        let mut next = || {
            if rng.random_range(0.0..1.0) > stay {
                at = rng.random_range(0..3);
            }
            at
        };
        (0..900).map(|_| next()).collect()
    };
    let sets: Vec<(Vec<usize>, Vec<usize>)> = (0..20)
        .map(|_| {
            let (reference, noise) = (seconds(0.98), seconds(0.9));
            let found = (0..900).map(|i| if i % 7 == 0 { noise[i] } else { reference[i] }).collect();
            (reference, found)
        })
        .collect();
    let cases: Vec<Value> = sets.iter().map(|(r, f)| json!({"gaits": r, "found": f})).collect();
    for ((reference, found), theirs) in sets.iter().zip(python(&cases)) {
        let spans = |names: &[usize]| -> Vec<Span> {
            let span =
                |(i, g): (usize, &usize)| Span { gait: gaits[*g], start_s: i as f64, end_s: i as f64 + 1.0 };
            names.iter().enumerate().map(span).collect()
        };
        let tally = Tally::of(&spans(reference), &spans(found));
        same(tally.kappa().unwrap(), &theirs[0], "kappa");
        same(tally.accuracy().unwrap(), &theirs[1], "accuracy");
    }
}
