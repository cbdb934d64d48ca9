use proptest::prelude::*;

use super::*;
use jogaudit_recording::units::Seconds;

fn expand(text: &str) -> Expansion {
    Session::parse(text).unwrap().expand()
}

fn shown(steps: &[Step]) -> String {
    let words: Vec<String> = steps.iter().map(|s| format!("{} {}", s.motion.word(), s.extent)).collect();
    words.join(", ")
}

fn fixed(text: &str) -> String {
    shown(&expand(text).fixed_steps().expect(text))
}

fn mps(speed: f64) -> MetresPerSecond {
    MetresPerSecond::new(speed)
}

#[test]
fn repeats_unroll_in_order() {
    assert_eq!(
        fixed("walk 5:00, 2 x (run 1:00, 2 x (walk 0:30, run 0:10))"),
        "walk 5:00, run 1:00, walk 0:30, run 0:10, walk 0:30, run 0:10, \
         run 1:00, walk 0:30, run 0:10, walk 0:30, run 0:10"
    );
}

#[test]
fn one_unit_throughout_is_cut_exactly() {
    assert_eq!(fixed("for 7:00 (run 1:00, walk 3:00)"), "run 1:00, walk 3:00, run 1:00, walk 2:00");
    assert_eq!(fixed("for 8:00 (run 1:00, walk 3:00)"), "run 1:00, walk 3:00, run 1:00, walk 3:00");
    assert_eq!(fixed("for 1 km (run 400 m, walk 200 m)"), "run 400 m, walk 200 m, run 400 m");
    assert_eq!(fixed("for 5:00 (for 2:00 (run 1:30, walk 1:00), walk 1:00)"), {
        "run 1:30, walk 0:30, walk 1:00, run 1:30, walk 0:30"
    });
    // 0.1 mi sums do not come out even in floating point: still ten steps and no crumb.
    assert_eq!(expand("for 1 mi (run 0.1 mi, walk 0.1 mi)").fixed_steps().unwrap().len(), 10);
}

#[test]
fn only_one_gait_inside_is_one_step() {
    assert_eq!(fixed("for 30:00 (run 400 m)"), "run 30:00");
}

#[test]
fn mixed_units_stay_open() {
    let expansion = expand("walk 5:00, 2 x (for 1 km (run 1:00, walk 1:00), walk 2:00)");
    assert_eq!(expansion.fixed_steps(), None);
    assert_eq!(expansion.blocks.len(), 5);
}

fn ways(text: &str) -> Vec<String> {
    expand(text).ways_at(mps(2.5), mps(1.5)).iter().map(|way| shown(way)).collect()
}

#[test]
fn a_count_may_be_one_of_several() {
    assert_eq!(
        ways("walk 4:10, 1 to 3 x (run 0:50, walk 1:40)"),
        [
            "walk 4:10, run 0:50, walk 1:40",
            "walk 4:10, run 0:50, walk 1:40, run 0:50, walk 1:40",
            "walk 4:10, run 0:50, walk 1:40, run 0:50, walk 1:40, run 0:50, walk 1:40"
        ]
    );
    // Two outer rounds, each of one or two inner ones.
    assert_eq!(ways("2 x (1 to 2 x (run 0:50), walk 1:40)").len(), 4);
    assert_eq!(expand("2 x (1 to 2 x (run 0:50), walk 1:40)").ways(), 4);
}

#[test]
fn a_whole_may_end_in_one_of_several_steps() {
    // A round is 2:30. After 4:00 the second run has 1:30 behind it, so that it is over at 3:20 and the walk is cut at
    // 0:40; 6:00 lies 1:00 into the third round, 0:10 into its walk.
    assert_eq!(
        ways("for 4:00 to 6:00 (run 0:50, walk 1:40)"),
        [
            "run 0:50, walk 1:40, run 0:50, walk 0:40 to 1:40",
            "run 0:50, walk 1:40, run 0:50, walk 1:40, run 0:50 or less",
            "run 0:50, walk 1:40, run 0:50, walk 1:40, run 0:50, walk 0:10 or less"
        ]
    );
    let expansion = expand("for 4:00 to 6:00 (run 0:50, walk 1:40)");
    assert_eq!(expansion.ways(), 3);
    let at = |end| shown(&expansion.steps_at(mps(2.5), mps(1.5), end));
    assert_eq!(at(End::Least), "run 0:50, walk 1:40, run 0:50, walk 0:40");
    assert_eq!(at(End::Most), "run 0:50, walk 1:40, run 0:50, walk 1:40, run 0:50, walk 0:10");
}

#[test]
fn a_whole_without_a_most_ends_in_any_step_from_its_least_on() {
    // A round is 2:30. 4:00 are over 0:40 into the second walk, which may be all of it; twice as much is over 0:30 into
    // the fourth run.
    assert_eq!(
        ways("for 4:00 or more (run 0:50, walk 1:40)"),
        [
            "run 0:50, walk 1:40, run 0:50, walk 0:40 to 1:40",
            "run 0:50, walk 1:40, run 0:50, walk 1:40, run 0:50 or less",
            "run 0:50, walk 1:40, run 0:50, walk 1:40, run 0:50, walk 1:40 or less",
            "run 0:50, walk 1:40, run 0:50, walk 1:40, run 0:50, walk 1:40, run 0:50 or less"
        ]
    );
    let expansion = expand("for 4:00 or more (run 0:50, walk 1:40)");
    assert_eq!(expansion.ways(), 4);
    let at = |end| shown(&expansion.steps_at(mps(2.5), mps(1.5), end));
    assert_eq!(at(End::Least), at(End::Most), "where there is no most, the least");
    // So many as are asked for: 17:30 are seven rounds, of which the first has no end.
    let long = expansion.ways_within(mps(2.5), mps(1.5), Seconds::new(1050.0));
    assert_eq!((long.len(), long[long.len() - 1].len()), (11, 14));
    // At 2.5 m/s and 1.5 m/s a round is 125 m and 150 m: 500 m are over in the second walk, 1 km in the fourth.
    let by_distance = ways("for 500 m or more (run 0:50, walk 1:40)");
    assert_eq!((by_distance.len(), by_distance[0].matches("run").count()), (5, 2));
    assert_eq!(ways("for 4:00 or more (run 0:50)"), ["run 4:00 or more"]);
}

#[test]
fn a_whole_without_a_least_ends_in_any_step() {
    assert_eq!(
        ways("for 3:00 or less (run 0:50, walk 1:40)"),
        ["run 0:50 or less", "run 0:50, walk 1:40 or less", "run 0:50, walk 1:40, run 0:30 or less"]
    );
}

#[test]
fn a_rising_count_is_settled_by_the_sessions_kept() {
    let session = Session::parse("walk 4:10, 4 rising to 6 x (run 1:10, walk 2:20)").unwrap();
    let after = |kept| session.after_kept(kept).to_string();
    assert!(session.due_after(0).is_some() && session.after_kept(0).due_after(0).is_none());
    assert_eq!(after(0), "walk 4:10, 4 x (run 1:10, walk 2:20)");
    assert_eq!(after(1), "walk 4:10, 5 x (run 1:10, walk 2:20)");
    assert_eq!(after(9), "walk 4:10, 6 x (run 1:10, walk 2:20)");
    assert_eq!(session.expand().ways(), 3);
}

#[test]
fn speeds_settle_an_open_part() {
    // By hand: 60 s at 2.5 m/s is 150 m, 60 s at 1.5 m/s is 90 m; 150 + 90 + 150 + 90 = 480 m, 20 m left at
    // 2.5 m/s is 8 s.
    let expansion = expand("for 500 m (run 1:00, walk 1:00)");
    let steps = expansion.steps_at(mps(2.5), mps(1.5), End::Most);
    assert_eq!(shown(&steps), "run 1:00, walk 1:00, run 1:00, walk 1:00, run 0:08");
    // 400 m at 2.5 m/s is 160 s; + 60 s walk; 80 s are left: 200 m.
    let steps = expand("for 5:00 (run 400 m, walk 1:00)").steps_at(mps(2.5), mps(1.5), End::Least);
    assert_eq!(shown(&steps), "run 400 m, walk 1:00, run 200 m");
}

#[test]
fn sessions_made_by_hand_do_not_run_away() {
    let nothing = Item::Repeat { times: u32::MAX.into(), items: vec![] };
    let session = Session { items: vec![Item::Repeat { times: u32::MAX.into(), items: vec![nothing] }] };
    assert_eq!(session.expand().fixed_steps(), Some(vec![]));
    let bout =
        Item::Interval { motion: Move::Run, extent: Extent::Time(Seconds::new(1.0)).into(), ceiling: None };
    let session = Session { items: vec![Item::Repeat { times: u32::MAX.into(), items: vec![bout] }] };
    assert_eq!(session.expand().fixed_steps().unwrap().len(), 10_000);
}

#[test]
fn running_is_seen_at_any_depth() {
    assert!(!Session::parse("walk 30:00").unwrap().prescribes_running());
    assert!(Session::parse("walk 1:00, 2 x (for 2:00 (run 0:30, walk 0:30))").unwrap().prescribes_running());
}

proptest! {
    #[test]
    fn an_exact_cut_adds_up(total in 60u32..7200, run in 1u32..600, walk in 1u32..600) {
        let steps = Session::parse(&format!("for {total} s (run {run} s, walk {walk} s)"));
        prop_assume!(steps.is_ok());
        let steps = steps.unwrap().expand().fixed_steps().unwrap();
        prop_assert!((sum(&steps) - f64::from(total)).abs() < 1e-6);
        prop_assert!(steps.iter().all(|step| step.extent.least.amount() > 0.0));
    }

    #[test]
    fn laying_out_at_a_speed_covers_the_extent(run in 2.0f64..5.0, walk in 0.8f64..2.0) {
        let expansion = expand("for 2 mi (run 1:00, walk 2:00)");
        let steps = expansion.steps_at(mps(run), mps(walk), End::Most);
        let covered: f64 = steps
            .iter()
            .map(|s| s.extent.least.amount() * if s.motion == Move::Run { run } else { walk })
            .sum();
        prop_assert!((covered - 2.0 * 1609.344).abs() < 1e-6);
    }
}
