//! Workout files as the `fitparser` crate reads them: field by field, with the times and distances of the plan.

use std::collections::BTreeMap;

use fitparser::profile::MesgNum;
use fitparser::{FitDataRecord, Value};
use jogaudit_core::prescription::{Block, Extent, Item, Move, Plan, Session, Stage, Step};
use jogaudit_core::range::Range;
use jogaudit_export::{workout, workout_of};
use jogaudit_recording::read::{LapIntensity, read_workout};
use jogaudit_recording::workout::{StepEnd, StepTarget, Workout, WorkoutStep};

use crate::plans_made_up::{made_up, written};

/// Fields by name, each as text.
pub(crate) type Fields = BTreeMap<String, String>;

/// A file as it is expected, from the plan alone: the name of each message, its fields.
pub(crate) fn expected(workout: &Workout) -> Vec<Fields> {
    let mut messages = vec![fields(&[
        ("sport", "running".to_owned()),
        ("num_valid_steps", workout.steps.len().to_string()),
        ("wkt_name", workout.name.clone()),
    ])];
    messages.extend(workout.steps.iter().enumerate().map(|(index, step)| step_fields(index, step)));
    messages
}

fn fields(pairs: &[(&str, String)]) -> Fields {
    let some = pairs.iter().filter(|(_, value)| !value.is_empty());
    some.map(|(name, value)| ((*name).to_owned(), value.clone())).collect()
}

/// As both libraries write a number.
pub(crate) fn number(value: f64) -> String {
    format!("{value:.3}")
}

fn step_fields(index: usize, step: &WorkoutStep) -> Fields {
    let intensity = match step.intensity {
        LapIntensity::Active => "active",
        LapIntensity::Rest => "rest",
        LapIntensity::WarmUp => "warmup",
        LapIntensity::CoolDown => "cooldown",
        LapIntensity::Unknown => "",
    };
    let mut all = fields(&[
        ("message_index", index.to_string()),
        ("wkt_step_name", step.name.clone()),
        ("notes", step.notes.clone()),
        ("intensity", intensity.to_owned()),
    ]);
    all.extend(match step.end {
        StepEnd::Time(time) => {
            fields(&[("duration_type", "time".into()), ("duration_time", number(time.get()))])
        }
        StepEnd::Distance(distance) => {
            let centimetres = (distance.get() * 100.0).round() / 100.0;
            fields(&[("duration_type", "distance".into()), ("duration_distance", number(centimetres))])
        }
        StepEnd::Open | StepEnd::Other => fields(&[("duration_type", "open".into())]),
        StepEnd::Repeat { first, times } => fields(&[
            ("duration_type", "repeat_until_steps_cmplt".into()),
            ("duration_step", number(first as f64)),
            ("repeat_steps", number(f64::from(times))),
        ]),
        StepEnd::RepeatForTime { first, time } => fields(&[
            ("duration_type", "repeat_until_time".into()),
            ("duration_step", number(first as f64)),
            ("repeat_time", number(time.get())),
        ]),
        StepEnd::RepeatForDistance { first, distance } => fields(&[
            ("duration_type", "repeat_until_distance".into()),
            ("duration_step", number(first as f64)),
            ("repeat_distance", number((distance.get() * 100.0).round() / 100.0)),
        ]),
    });
    let [first, second] = step.targets;
    all.extend(target_fields(first, ["target_type", "custom_target_{}_low", "custom_target_{}_high"]));
    if first.is_none() {
        all.insert("target_type".to_owned(), "open".to_owned());
    }
    let second_names =
        ["secondary_target_type", "secondary_custom_target_{}_low", "secondary_custom_target_{}_high"];
    all.extend(target_fields(second, second_names));
    all
}

/// Type, lower and upper end of a range.
fn target_fields(target: Option<StepTarget>, [kind, low, high]: [&str; 3]) -> Fields {
    let of = |word: &str, place: &str, least: f64, most: f64| {
        fields(&[
            (kind, word.to_owned()),
            (&low.replace("{}", place), number(least)),
            (&high.replace("{}", place), number(most)),
        ])
    };
    match target {
        None => Fields::new(),
        // Millimetres a second, never more than the ceiling; an open slow end is 0.
        Some(StepTarget::SpeedAtMost(most)) => {
            of("speed", "speed", 0.0, ((most.get() + 1e-9) * 1000.0).floor() / 1000.0)
        }
        // 100 more than beats a minute; 30 is below all that is read.
        Some(StepTarget::HeartRateAtMost(most)) => of("heart_rate", "heart_rate", 130.0, 100.0 + most.get()),
        // One leg.
        Some(StepTarget::Cadence { least, most }) => of(
            "cadence",
            "cadence",
            (least.get() / 2.0).ceil(),
            most.map_or(254.0, |most| (most.get() / 2.0).floor()),
        ),
    }
}

fn shown(value: &Value) -> String {
    match value {
        Value::Float64(v) => number(*v),
        Value::UInt8(v) | Value::Enum(v) | Value::Byte(v) => number(f64::from(*v)),
        Value::UInt16(v) => number(f64::from(*v)),
        Value::UInt32(v) => number(f64::from(*v)),
        other => other.to_string(),
    }
}

/// A field as both sides write it: whole numbers of an index or a count, else three places.
pub(crate) fn normal(name: &str, value: String) -> String {
    let is_whole = ["message_index", "num_valid_steps"].contains(&name);
    match value.parse::<f64>() {
        Ok(number) if is_whole => format!("{number:.0}"),
        Ok(number) => self::number(number),
        Err(_) => value,
    }
}

/// What a library may say besides: fields that stand for others, and zones, of which none is used.
const BESIDES: [&str; 7] = [
    "duration_value",
    "target_value",
    "target_speed_zone",
    "target_hr_zone",
    "target_cadence_zone",
    "secondary_target_value",
    "secondary_target_hr_zone",
];

/// The fields that are compared.
pub(crate) fn compared(found: Fields) -> Fields {
    found.into_iter().filter(|(name, _)| !BESIDES.contains(&name.as_str())).collect()
}

fn by_fitparser(bytes: &[u8]) -> Vec<FitDataRecord> {
    fitparser::from_bytes(bytes).expect("both checksums fit, every message decodes")
}

fn fields_of(record: &FitDataRecord) -> Fields {
    let field = |field: &fitparser::FitDataField| {
        (field.name().to_owned(), normal(field.name(), shown(field.value())))
    };
    compared(record.fields().iter().map(field).filter(|(_, value)| !value.is_empty()).collect())
}

/// Each stage of the plans with its file.
pub(crate) fn files() -> Vec<(Plan, Stage, Vec<u8>)> {
    let plans = written().into_iter().chain(made_up(500));
    let stages =
        plans.flat_map(|plan| plan.stages.clone().into_iter().map(move |stage| (plan.clone(), stage)));
    stages
        .map(|(plan, stage)| {
            let file = workout(&plan, &stage, None).expect("it fits").value;
            (plan, stage, file)
        })
        .collect()
}

#[test]
fn workouts_read_back_equal_with_fitparser() {
    let mut steps = 0;
    for (plan, stage, file) in files() {
        let records = by_fitparser(&file);
        let of = |kind| records.iter().filter(move |record| record.kind() == kind);
        let kind = of(MesgNum::FileId).next().expect("a file_id").fields();
        assert_eq!(
            kind.iter().find(|f| f.name() == "type").map(|f| f.value().to_string()),
            Some("workout".into())
        );
        let found: Vec<Fields> =
            of(MesgNum::Workout).chain(of(MesgNum::WorkoutStep)).map(fields_of).collect();
        let ours = workout_of(&plan, &stage, None);
        assert_eq!(found, expected(&ours), "{}: {}", plan.title, stage.session);
        steps += ours.steps.len();
    }
    assert!(steps > 3000, "{steps}");
}

#[test]
fn workouts_read_back_equal_with_our_reader() {
    for (plan, stage, file) in files() {
        let (ours, read) = (workout_of(&plan, &stage, None), read_workout(&file).expect("a workout"));
        assert_eq!(read.name, ours.name);
        assert_eq!(read.steps.len(), ours.steps.len());
        for (read, ours) in read.steps.iter().zip(&ours.steps) {
            assert_eq!((&read.name, &read.notes, read.intensity), (&ours.name, &ours.notes, ours.intensity));
            let near = |a: f64, b: f64| (a - b).abs() <= 0.0051;
            let is_near = match (read.end, ours.end) {
                (StepEnd::Time(a), StepEnd::Time(b)) => near(a.get(), b.get()),
                (StepEnd::Distance(a), StepEnd::Distance(b)) => near(a.get(), b.get()),
                (
                    StepEnd::RepeatForDistance { first: a, distance: m },
                    StepEnd::RepeatForDistance { first: b, distance: n },
                ) => a == b && near(m.get(), n.get()),
                (a, b) => a == b,
            };
            assert!(is_near, "{:?} for {:?}", read.end, ours.end);
            assert_eq!(read.targets.map(|t| t.is_some()), ours.targets.map(|t| t.is_some()));
        }
    }
}

/// Seconds and metres of all steps that end by themselves, as the numbers of the file say.
fn totals(records: &[FitDataRecord]) -> (f64, f64) {
    let steps: Vec<Fields> =
        records.iter().filter(|record| record.kind() == MesgNum::WorkoutStep).map(fields_of).collect();
    let amount = |step: &Fields, name: &str| {
        step.get(name).map_or(0.0, |value| value.parse::<f64>().expect("a number"))
    };
    // Sums up to each step, so that a way back adds what stands between, so often.
    let (mut sums, mut all) = (Vec::new(), (0.0, 0.0));
    for step in &steps {
        sums.push(all);
        let first = amount(step, "duration_step") as usize;
        match step["duration_type"].as_str() {
            "repeat_until_steps_cmplt" => {
                let more = amount(step, "repeat_steps") - 1.0;
                let from: (f64, f64) = sums[first];
                all = (all.0 + more * (all.0 - from.0), all.1 + more * (all.1 - from.1));
            }
            "repeat_until_time" => all = (sums[first].0 + amount(step, "repeat_time"), sums[first].1),
            "repeat_until_distance" => all = (sums[first].0, sums[first].1 + amount(step, "repeat_distance")),
            _ => all = (all.0 + amount(step, "duration_time"), all.1 + amount(step, "duration_distance")),
        }
    }
    all
}

/// The least of the session, without what the button ends: rests and what has no most. What has no least counts its most.
fn closed(items: &[Item]) -> Vec<Item> {
    let least = |extent: Range<Extent>| {
        Range::exactly(if extent.least.amount() > 0.0 { extent.least } else { extent.most })
    };
    let item = |item: &Item| match item {
        Item::Interval { motion: Move::Rest, .. } => None,
        Item::Interval { extent, .. } if extent.most.amount().is_infinite() => None,
        Item::Interval { motion, extent, ceiling } => {
            Some(Item::Interval { motion: *motion, extent: least(*extent), ceiling: *ceiling })
        }
        Item::Repeat { times, items } => {
            let items = closed(items);
            (!items.is_empty()).then(|| Item::Repeat { times: times.range().least.into(), items })
        }
        Item::Until { extent, items } => Some(Item::Until { extent: least(*extent), items: items.clone() }),
    };
    items.iter().filter_map(item).collect()
}

#[test]
fn totals_are_the_doses_of_the_plan() {
    let (mut sessions, mut doses) = (0, 0);
    for (plan, stage, file) in files() {
        let is_alike = |items: &[Item]| is_one_alike_open(items);
        if is_alike(&stage.session.items) {
            continue; // one step with an open end: the button ends it
        }
        let closed = Session { items: closed(&stage.session.items) };
        let (mut time_s, mut distance_m) = (0.0, 0.0);
        let mut add = |extent: Extent| match extent {
            Extent::Time(time) => time_s += time.get(),
            Extent::Distance(distance) => distance_m += distance.get(),
        };
        for block in closed.expand().blocks {
            match block {
                Block::Steps(steps) => steps.iter().for_each(|step: &Step| add(step.extent.least)),
                Block::Until { extent, .. } => add(extent.least),
                Block::Times { .. } => unreachable!("every count is one figure"),
            }
        }
        let (found_s, found_m) = totals(&by_fitparser(&file));
        let what = format!("{}: {}", plan.title, stage.session);
        assert!((found_s - time_s).abs() < 0.5, "{what}: {found_s} s for {time_s} s");
        assert!((found_m - distance_m).abs() < 1.0, "{what}: {found_m} m for {distance_m} m");
        // Where nothing is open this is the dose of the plan's own session.
        if let Some(dose) = stage.session.dose().session.filter(|_| closed == stage.session) {
            assert!((dose.least.get() - found_s).abs() < 0.5, "{what}");
            doses += 1;
        }
        sessions += 1;
    }
    assert!(sessions > 900 && doses > 100, "{sessions} sessions, {doses} of them exact and by time");
}

/// Whether a whole with an open end is one step only.
fn is_one_alike_open(items: &[Item]) -> bool {
    items.iter().any(|item| match item {
        Item::Interval { .. } => false,
        Item::Repeat { items, .. } => is_one_alike_open(items),
        Item::Until { extent, .. } => {
            let whole = Session { items: vec![item.clone()] }.watch_steps();
            whole.len() == 1 && extent.most.amount().is_infinite()
        }
    })
}
