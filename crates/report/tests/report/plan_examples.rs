//! The example plans in `docs/plans/`: each parses, its doses are its source's arithmetic, its remarks are fixed.

use jogaudit_core::prescription::lint::{LintConfig, lint};
use jogaudit_core::prescription::{Block, Extent, Figures, Move, Plan, Step};
use jogaudit_core::range::Range;
use jogaudit_report::plan_lint::{self, LintView};

const MILE_M: f64 = 1609.344;
/// One millimetre: sums of tenths of a mile do not come out even in floating point.
const CLOSE_M: f64 = 1e-3;

fn text(name: &str) -> String {
    let path = format!("{}/../../docs/plans/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn plan(name: &str) -> Plan {
    Plan::parse(&text(name)).unwrap_or_else(|error| panic!("{}", error.render(name))).value
}

fn names() -> Vec<String> {
    let folder = format!("{}/../../docs/plans", env!("CARGO_MANIFEST_DIR"));
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .filter_map(|entry| {
            entry.unwrap().file_name().into_string().ok()?.strip_suffix(".toml").map(str::to_owned)
        })
        .collect();
    names.sort();
    names
}

fn figures(plan: &Plan) -> Vec<Figures> {
    plan.stages.iter().map(|stage| stage.session.figures().exact().expect("exact")).collect()
}

/// Metres of all steps of one motion.
fn metres(steps: &[Step], motion: Move) -> f64 {
    steps
        .iter()
        .filter(|step| step.motion == motion)
        .map(|step| match step.extent.exact().unwrap() {
            Extent::Distance(m) => m.get(),
            Extent::Time(_) => panic!("by time"),
        })
        .sum()
}

#[test]
fn the_examples_parse() {
    let all = [
        "calf-strain",
        "hospital-five-weeks",
        "knee-injury-until-a-distance",
        "knee-surgery-by-distance",
        "quarter-mile-ladder",
    ];
    assert_eq!(names(), all);
    for name in names() {
        plan(&name);
    }
}

#[test]
fn the_progression_by_distance_is_its_source() {
    // Ann Joint 2018;3:40, table 4, doi 10.21037/aoj.2018.04.11: levels 1 to 4 take 2 mi = 3218.688 m in pieces of
    // 0.1 mi = 160.9344 m; jogged tenths of a mile by hand: 10 of 20; 13 of 20 (six times 2, then 1 is cut); 15; 16.
    let plan = plan("knee-surgery-by-distance");
    assert_eq!(plan.stages.len(), 7);
    let jogged = [10.0, 13.0, 15.0, 16.0, 20.0, 25.0, 30.0];
    let all = [20.0, 20.0, 20.0, 20.0, 20.0, 25.0, 30.0];
    for ((stage, jogged), all) in plan.stages.iter().zip(jogged).zip(all) {
        let steps = stage.session.expand().fixed_steps().unwrap();
        let run_m = metres(&steps, Move::Run);
        assert!((run_m - jogged * 160.9344).abs() < CLOSE_M, "level {}: {run_m}", stage.name);
        let whole_m = run_m + metres(&steps, Move::Walk);
        assert!((whole_m - all * 160.9344).abs() < CLOSE_M, "level {}: {whole_m}", stage.name);
    }
    // Lengths of the jogs of levels 1 to 4 and of the walks between.
    for (stage, tenths) in plan.stages.iter().zip([1.0, 2.0, 3.0, 4.0]) {
        let longest_m = stage.session.figures().most.longest_run_m.unwrap();
        assert!((longest_m - tenths * 160.9344).abs() < CLOSE_M);
    }
    // At most 4 times a week, never on consecutive days; what is not printed is not there.
    for stage in &plan.stages {
        assert_eq!(
            (stage.limits.sessions_per_week, stage.limits.rest_days_between),
            (Some(Range::exactly(4)), Some(1))
        );
        assert_eq!((stage.sessions, stage.limits.pain_limit, stage.limits.pace_ceiling), (None, None, None));
        assert_eq!(stage.limits.weekly_running_increase, None);
    }
}

#[test]
fn the_trial_protocol_is_its_source() {
    // Trials 2023, table 1, doi 10.1186/s13063-023-07502-x: minutes of walking and running in turn, miles in all.
    let plan = plan("knee-injury-until-a-distance");
    let table = [(2.0, 3.0, 1.0), (2.0, 3.0, 1.5), (2.0, 4.0, 1.5), (2.0, 4.0, 2.0), (1.0, 4.0, 2.0)];
    assert_eq!(plan.stages.len(), table.len() + 1);
    for (stage, (walk_min, run_min, miles)) in plan.stages.iter().zip(table) {
        let expansion = stage.session.expand();
        let open = expansion.blocks.iter().find_map(|block| match block {
            Block::Until { extent, cycle } => Some((extent.exact().unwrap(), cycle)),
            Block::Steps(_) | Block::Times { .. } => None,
        });
        let (Extent::Distance(whole), cycle) = open.unwrap() else { panic!("by time") };
        assert!((whole.get() - miles * MILE_M).abs() < CLOSE_M, "phase {}", stage.name);
        let minutes: Vec<(Move, f64)> = cycle
            .iter()
            .map(|step| match step.extent.exact().unwrap() {
                Extent::Time(s) => (step.motion, s.get() / 60.0),
                Extent::Distance(_) => panic!("by distance"),
            })
            .collect();
        assert_eq!(minutes, [(Move::Walk, walk_min), (Move::Run, run_min)]);
    }
    let last = plan.stages[5].session.expand().fixed_steps().unwrap();
    assert!((metres(&last[1..], Move::Run) - 2.0 * MILE_M).abs() < CLOSE_M);
    for stage in &plan.stages {
        assert!(stage.session.to_string().starts_with("walk 10:00 to 15:00, "), "warm-up of 10 to 15 min");
        assert_eq!(stage.sessions, Some(2), "each phase at least twice");
        assert_eq!((stage.limits.rest_days_between, stage.limits.sessions_per_week), (Some(1), None));
        assert_eq!((stage.limits.pain_limit, stage.limits.pace_ceiling), (None, None));
    }
    // Effort of 10, phase by phase.
    let efforts: Vec<f64> = plan.stages.iter().filter_map(|stage| stage.limits.effort_ceiling).collect();
    assert_eq!(efforts, [3.0, 3.0, 4.0, 4.0, 5.0, 5.0]);
}

#[test]
fn published_examples_name_their_source() {
    for (name, doi) in [
        ("knee-surgery-by-distance", "10.21037/aoj.2018.04.11"),
        ("knee-injury-until-a-distance", "10.1186/s13063-023-07502-x"),
    ] {
        assert!(text(name).lines().any(|line| line.starts_with('#') && line.contains(doi)), "{name}");
    }
    assert!(text("calf-strain").contains("made-up runner"));
}

#[test]
fn our_own_example_adds_up() {
    // Seconds of running by hand, stage by stage.
    let all: Vec<f64> = figures(&plan("calf-strain")).iter().map(|f| f.run_s).collect();
    assert_eq!(all, [420.0, 520.0, 640.0, 760.0, 880.0, 930.0, 1050.0, 1160.0, 1280.0, 1210.0]);
    let longest: Vec<f64> = figures(&plan("calf-strain")).iter().map(|f| f.longest_run_s).collect();
    assert_eq!(longest, [70.0, 130.0, 160.0, 190.0, 250.0, 310.0, 430.0, 610.0, 850.0, 1210.0]);
    assert_eq!(plan("calf-strain").weeks().len(), 10);
}

#[test]
fn their_remarks_are_fixed() {
    let snapshots = [
        ("calf-strain", include_str!("plan_snapshots/calf-strain.txt")),
        ("knee-injury-until-a-distance", include_str!("plan_snapshots/knee-injury-until-a-distance.txt")),
        ("knee-surgery-by-distance", include_str!("plan_snapshots/knee-surgery-by-distance.txt")),
    ];
    for (name, snapshot) in snapshots {
        let plan = plan(name);
        let remarks = lint(&plan, LintConfig::default());
        let shown = plan_lint::text(&LintView::new(&plan, &remarks));
        let shown = anstream::adapter::strip_str(&shown).to_string();
        assert_eq!(shown, snapshot, "{name}\n{shown}");
    }
}

#[test]
fn the_hospital_plan_is_its_source() {
    // manhattansportsdoc.com, secondary: running minutes of the sessions of each week.
    let table: [&[f64]; 5] =
        [&[3.0, 6.0, 9.0], &[16.0, 15.0, 18.0], &[21.0, 16.0, 20.0], &[12.0, 15.0, 18.0], &[20.0]];
    let plan = plan("hospital-five-weeks");
    assert_eq!(plan.places(), table.len());
    for (place, minutes) in table.iter().enumerate() {
        let kinds = &plan.stages[plan.kinds_at(place)];
        let run_min: Vec<f64> = kinds.iter().map(|kind| kind.session.figures().most.run_s / 60.0).collect();
        assert_eq!(run_min, *minutes, "week {}", place + 1);
        assert!(kinds.iter().all(|kind| kind.weeks == Some(1) && kind.limits.rest_days_between == Some(1)));
        assert!(kinds.iter().all(|kind| kind.limits.sessions_per_week == Some(Range::exactly(3))));
    }
    let weeks = plan.weeks();
    assert_eq!((weeks.len(), weeks.iter().all(|week| week.sessions.len() == 3)), (5, true));
}

#[test]
fn the_ladder_of_quarter_miles_is_its_source() {
    // semc.org, secondary: quarter miles jogged, and walked.
    let plan = plan("quarter-mile-ladder");
    for (stage, quarters) in plan.stages.iter().zip([1.0, 2.0, 3.0]) {
        let steps = stage.session.expand().fixed_steps().unwrap();
        assert!((metres(&steps, Move::Run) - quarters * MILE_M / 4.0).abs() < CLOSE_M);
        assert!((metres(&steps, Move::Walk) - (4.0 - quarters) * MILE_M / 4.0).abs() < CLOSE_M);
    }
    for (kept, quarters) in [(0, 4.0), (1, 5.0), (4, 8.0)] {
        let due = plan.stages[3].session.due_after(kept).unwrap();
        let run_m = metres(&due.session.expand().fixed_steps().unwrap(), Move::Run);
        assert!((run_m - quarters * MILE_M / 4.0).abs() < CLOSE_M, "{kept} kept");
    }
}
