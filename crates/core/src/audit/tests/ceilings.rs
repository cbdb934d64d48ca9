//! Pace, heart rate and walking cadence.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::super::testing::{normal, segmentation, with_ceiling};
use super::*;
use crate::clean::{Series, SpeedSource};
use crate::gait::Gait;
use crate::prescription::PaceBasis;
use jogaudit_recording::units::{BeatsPerMinute, StepsPerMinute};

const TWO: &str = "w300 r120 w120 r120 w300";
/// Ceiling of 2.4 m/s.
const CEILING_S_PER_KM: f64 = 1000.0 / 2.4;

/// Speed by bout: one for each run in turn, 1.5 m/s walking.
fn by_run(segmentation: &Segmentation, runs_mps: Vec<f64>) -> impl Fn(f64) -> f64 {
    let bouts = segmentation.bouts().to_vec();
    move |t| {
        let mut run = 0;
        for bout in &bouts {
            if bout.gait == Gait::Run {
                run += 1;
            }
            if t < bout.end_s {
                return if bout.gait == Gait::Run { runs_mps[(run - 1) % runs_mps.len()] } else { 1.5 };
            }
        }
        1.5
    }
}

fn audit_pace(series: &Series, segmentation: &Segmentation, text: &str) -> Noted<Audit> {
    run_audit(segmentation, series, &with_ceiling(stage(text), CEILING_S_PER_KM), &Runner::default())
}

#[test]
fn a_run_faster_than_the_ceiling() {
    let segmentation = segmentation(TWO);
    let track = Track::of(&segmentation).speed(by_run(&segmentation, vec![2.3, 2.6]));
    let noted = audit_pace(&track.build(), &segmentation, TWO);
    let finding = only(&noted.value);
    assert_eq!(
        (finding.code, finding.rep, finding.unit),
        (Code::RunTooFast, Some(2), Unit::SecondsPerKilometre)
    );
    assert!((finding.prescribed.unwrap() - 416.667).abs() < 1e-3);
    assert!((finding.achieved.unwrap() - 1000.0 / 2.6).abs() < 0.5, "{finding:?}");
    assert!((finding.excess.unwrap() - 32.05).abs() < 0.5);
    // 8.3 % above the ceiling by a recorder that may read 4 % too high.
    assert!((0.95..0.98).contains(&finding.certainty), "{}", finding.certainty);
    let [_, first, _, second, _] = noted.value.reps.as_slice() else { panic!() };
    assert_eq!(first.over_ceiling_s, Some(0.0));
    assert!(second.over_ceiling_s.unwrap() > 110.0);
    assert!((first.mean_pace_s_per_km.unwrap() - 1000.0 / 2.3).abs() < 2.0);
    assert_eq!(noted.value.reps[0].over_ceiling_s, None);
}

#[test]
fn tolerance_and_a_burst() {
    let segmentation = segmentation("w300 r600 w300");
    let check = |speed: fn(f64) -> f64| {
        audit_pace(&Track::of(&segmentation).speed(speed).build(), &segmentation, "w300 r600 w300")
    };
    // 2 % over the ceiling is let pass, 2 % under it is as prescribed.
    assert_eq!(codes(&check(|_| 2.4 * 1.02).value), []);
    assert_eq!(check(|_| 2.4 * 0.98).value.outcome, Outcome::Kept);
    // One minute far too fast in ten.
    let burst = check(|t| if (500.0..560.0).contains(&t) { 3.2 } else { 2.2 });
    let finding = only(&burst.value);
    assert_eq!(finding.code, Code::RunTooFast);
    assert!((finding.start_s.unwrap() - 500.0).abs() < 25.0 && (finding.end_s.unwrap() - 560.0).abs() < 25.0);
    assert!((burst.value.reps[1].over_ceiling_s.unwrap() - 60.0).abs() < 20.0);
    // Ten seconds are not.
    assert_eq!(codes(&check(|t| if (500.0..510.0).contains(&t) { 2.9 } else { 2.2 }).value), []);
}

/// Eight watches read too low in the mean but one; that was off by 3.2 % (Gilgen-Ammann et al. 2020, JMIR mHealth 8(6):e17118): if normal, with a
/// standard deviation of √(π/2) times that.
#[test]
fn what_a_recorder_may_be_off_by_is_no_fault_and_not_kept() {
    let segmentation = segmentation("w300 r600 w300");
    let check = |share: f64| {
        let series = Track::of(&segmentation).speed(move |_| 2.4 * share).build();
        audit_pace(&series, &segmentation, "w300 r600 w300")
    };
    // Read between the ceiling and its tolerance of 3 %: with 2.8 % put right it is beyond. A little above tolerance: surer, not sure.
    for (share, found) in [(1.005, false), (1.02, false), (1.04, true)] {
        let noted = check(share);
        assert_eq!(noted.value.outcome, Outcome::Undecided, "{share}");
        assert_eq!(!codes(&noted.value).is_empty(), found, "{share}");
        let said = if found { NoticeCode::VerdictHangs } else { NoticeCode::PaceAtCeiling };
        assert!(has_notice(&noted, said), "{share}");
    }
    // Of a reading 4 % above the ceiling a recorder that is off by 4 % makes one standard error.
    let certainty = only(&check(1.04).value).certainty;
    assert!((0.82..0.85).contains(&certainty), "{certainty}");
    assert_eq!(check(1.07).value.outcome, Outcome::Overdone);
    assert_eq!(check(0.995).value.outcome, Outcome::Kept);
}

#[test]
fn a_step_has_its_own_ceiling() {
    let segmentation = segmentation(TWO);
    let series = Track::of(&segmentation).speed(by_run(&segmentation, vec![2.6])).build();
    let mut stage = with_ceiling(stage(TWO), CEILING_S_PER_KM);
    if let crate::prescription::Item::Interval { ceiling, .. } = &mut stage.session.items[1] {
        *ceiling = Some(jogaudit_recording::units::MetresPerSecond::new(2.7));
    }
    let noted = run_audit(&segmentation, &series, &stage, &Runner::default());
    assert_eq!(only(&noted.value).rep, Some(2));
}

/// Share of made-up sessions in which the test holds, with an error of the speed as given.
fn share(
    seeds: std::ops::Range<u64>,
    run_s: u32,
    runs_mps: &[f64],
    (sd_mps, correlation_s): (f64, f64),
    holds: impl Fn(&Audit) -> bool,
) -> f64 {
    let text =
        format!("w300 r{run_s} w120 r{run_s} w120 r{run_s} w120 r{run_s} w120 r{run_s} w120 r{run_s} w300");
    let segmentation = segmentation(&text);
    let count = seeds.end - seeds.start;
    let good = seeds
        .filter(|seed| {
            let series = Track::of(&segmentation)
                .speed(by_run(&segmentation, runs_mps.to_vec()))
                .speed_error(*seed, sd_mps, correlation_s)
                .build();
            holds(&audit_pace(&series, &segmentation, &text).value)
        })
        .count();
    good as f64 / count as f64
}

/// Error of a recorder's speed, standard deviation and correlation time: ours, for an open sky.
const USUAL_ERROR: (f64, f64) = (0.15, 3.0);

/// Share of sessions in which the fourth of six runs is found too fast, it alone and surely.
fn found(seeds: std::ops::Range<u64>, run_s: u32, fast_mps: f64, error: (f64, f64)) -> f64 {
    let runs = [2.328, 2.328, 2.328, fast_mps, 2.328, 2.328];
    share(seeds, run_s, &runs, error, |audit| {
        overdoing(audit) == [Code::RunTooFast]
            && audit.findings[0].rep == Some(4)
            && audit.findings[0].certainty >= 0.9
    })
}

/// Share of sessions in which runs 3 % below the ceiling are not found too fast.
fn quiet(seeds: std::ops::Range<u64>, run_s: u32, error: (f64, f64)) -> f64 {
    share(seeds, run_s, &[2.328], error, |audit| overdoing(audit).is_empty())
}

#[test]
fn twelve_percent_over_is_found_and_three_percent_under_is_not() {
    let found_at = |fast_mps| found(0..200, 60, fast_mps, USUAL_ERROR);
    let (eight, twelve) = (found_at(2.592), found_at(2.688));
    let quiet = quiet(200..400, 60, USUAL_ERROR);
    println!("8 % over found: {eight}, 12 %: {twelve}, 3 % under quiet: {quiet}");
    assert!(eight >= 0.7, "{eight}");
    assert!(twelve >= 0.97, "{twelve}");
    assert!(quiet >= 0.98, "{quiet}");
}

#[test]
#[ignore = "prints the table of docs/method-audit.md"]
fn table_of_runs_that_are_too_fast() {
    for error in [(0.1, 3.0), (0.15, 3.0), (0.2, 3.0), (0.2, 5.0), (0.3, 3.0), (0.25, 6.0), (0.3, 10.0)] {
        print!("| {:.2} m/s, {} s |", error.0, error.1);
        for run_s in [60, 120, 180] {
            let found_at = |fast_mps| found(0..500, run_s, fast_mps, error);
            print!(
                " {:.3}, {:.3}, {:.3} |",
                found_at(2.592),
                found_at(2.688),
                quiet(500..1000, run_s, error)
            );
        }
        println!();
    }
}

#[test]
fn a_worse_error_makes_fewer_findings_not_false_ones() {
    // Twice the usual error, or nearly twice that hangs together for twice as long.
    for error in [(0.3, 3.0), (0.25, 6.0)] {
        let quiet = quiet(0..200, 60, error);
        println!("{error:?}: 3 % under quiet: {quiet}");
        assert!(quiet >= 0.9, "{error:?}: {quiet}");
    }
}

#[test]
fn the_bias_of_positions_is_taken_off() {
    // 2.3 m/s with white errors of 1.2 m/s along and across: the mean length of a step is 2.57 m.
    let segmentation = segmentation("w300 r600 w300");
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let errors: Vec<(f64, f64)> =
        (0..1300).map(|_| (1.2 * normal(&mut rng), 1.2 * normal(&mut rng))).collect();
    let speed = |t: f64| f64::hypot(2.3 + errors[t as usize].0, errors[t as usize].1);
    let biased: f64 = (303..897).map(|t| speed(f64::from(t))).sum::<f64>() / 594.0;
    assert!(biased > 2.3 * 1.1, "{biased}");
    let check = |source| {
        let series = Track::of(&segmentation).speed(speed).source(source).build();
        let noted = audit_pace(&series, &segmentation, "w300 r600 w300");
        codes(&noted.value)
    };
    // The same speeds by a recorder would be 7 % above the ceiling of 2.4 m/s.
    assert_eq!(check(SpeedSource::Recorder), [Code::RunTooFast]);
    assert_eq!(check(SpeedSource::Positions), []);
}

#[test]
fn level_pace_is_by_ratio_and_decides_when_asked() {
    // 450 s/km at +5 % is 345.77 s/km on the level (Minetti et al. 2002, by ratio).
    let segmentation = segmentation("w300 r600 w300");
    let series = Track::of(&segmentation).speed(|_| 1000.0 / 450.0).altitude(|_, d| 20.0 + 0.05 * d).build();
    let mut stage = with_ceiling(stage("w300 r600 w300"), 400.0);
    let on_ground = run_audit(&segmentation, &series, &stage, &Runner::default());
    assert_eq!(on_ground.value.outcome, Outcome::Kept);
    assert!((on_ground.value.reps[1].mean_pace_s_per_km.unwrap() - 450.0).abs() < 0.01);
    assert!((on_ground.value.reps[1].level_pace_s_per_km.unwrap() - 345.77).abs() < 0.01);
    stage.limits.pace_basis = PaceBasis::Level;
    let level = run_audit(&segmentation, &series, &stage, &Runner::default());
    assert_eq!(only(&level.value).code, Code::RunTooFast);
    assert!((only(&level.value).achieved.unwrap() - 345.77).abs() < 0.01);
    assert_eq!(level.value.outcome, Outcome::Overdone);
}

#[test]
fn without_altitude_a_level_ceiling_decides_nothing_for_sure() {
    let segmentation = segmentation("w300 r600 w300");
    let series = Track::of(&segmentation).speed(|_| 3.0).build();
    let mut stage = with_ceiling(stage("w300 r600 w300"), 400.0);
    stage.limits.pace_basis = PaceBasis::Level;
    let noted = run_audit(&segmentation, &series, &stage, &Runner::default());
    assert_eq!(noted.value.outcome, Outcome::Undecided);
    assert!(has_notice(&noted, NoticeCode::AltitudeAbsent) && has_notice(&noted, NoticeCode::VerdictHangs));
    let coarse =
        Track::of(&segmentation).speed(|_| 3.0).altitude(|_, d| (0.02 * d / 5.0).floor() * 5.0).build();
    let noted = run_audit(&segmentation, &coarse, &stage, &Runner::default());
    assert!(has_notice(&noted, NoticeCode::AltitudeTooCoarse));
    assert!(noted.value.reps[1].level_pace_s_per_km.is_some());
}

#[test]
fn without_speed_the_pace_is_not_judged() {
    let segmentation = segmentation(TWO);
    let series = Track::new(960.0).cadence(|_| 160.0).build();
    let noted = audit_pace(&series, &segmentation, TWO);
    assert!(has_notice(&noted, NoticeCode::PaceNotJudged));
    assert_eq!(noted.value.outcome, Outcome::Undecided);
    assert_eq!((noted.value.reps[1].over_ceiling_s, noted.value.reps[1].mean_pace_s_per_km), (None, None));
    assert_eq!((noted.value.reps[1].achieved_m, noted.value.dose.run_distance_m), (None, None));
}

#[test]
fn one_run_without_speed_leaves_the_ceiling_checked_as_far_as_it_goes() {
    let text = "w300 r120 w120 r120 w120 r120 w300";
    let segmentation = segmentation(text);
    let mut columns = Track::of(&segmentation).build().into_columns();
    columns.speed_mps[300..420].fill(None);
    let series = Series::new(columns).unwrap();
    let noted = audit_pace(&series, &segmentation, text);
    let said = noted.notices.iter().find(|n| n.code == NoticeCode::PaceNotJudged).unwrap();
    assert!(said.text.starts_with("The pace of run 1 is not known"), "{}", said.text);
    assert_eq!(noted.value.outcome, Outcome::Kept);
}

#[test]
fn altitude_is_missed_only_where_it_is_asked_for() {
    let segmentation = segmentation("w300 r600 w300");
    let series = Track::of(&segmentation).build();
    let mut stage = with_ceiling(stage("w300 r600 w300"), 400.0);
    let on_ground = run_audit(&segmentation, &series, &stage, &Runner::default());
    assert!(!has_notice(&on_ground, NoticeCode::AltitudeAbsent));
    assert_eq!(on_ground.value.outcome, Outcome::Kept);
    // Slow enough on the ground, but the ceiling is for level ground.
    stage.limits.pace_basis = PaceBasis::Level;
    let level = run_audit(&segmentation, &series, &stage, &Runner::default());
    assert!(has_notice(&level, NoticeCode::AltitudeAbsent));
    assert_eq!(level.value.outcome, Outcome::Undecided);
}

fn audit_heart(heart: impl Fn(f64) -> f64) -> Noted<Audit> {
    let segmentation = segmentation(TWO);
    let series = Track::of(&segmentation).heart(heart).build();
    let mut stage = stage(TWO);
    stage.limits.heart_rate_ceiling = Some(BeatsPerMinute::new(150.0));
    run_audit(&segmentation, &series, &stage, &Runner::default())
}

#[test]
fn heart_rate_above_the_ceiling() {
    let noted = audit_heart(|t| if (360.0..420.0).contains(&t) { 156.0 } else { 140.0 });
    let finding = only(&noted.value);
    assert_eq!(
        (finding.code, finding.rep, finding.unit),
        (Code::HeartRateTooHigh, Some(1), Unit::BeatsPerMinute)
    );
    assert_eq!((finding.achieved, finding.excess), (Some(156.0), Some(6.0)));
    assert_eq!((finding.start_s, finding.end_s), (Some(360.0), Some(419.0)));
    assert!((0.93..0.96).contains(&finding.certainty), "{}", finding.certainty);
    assert_eq!(noted.value.reps[1].max_heart_rate_bpm, Some(156.0));
    assert_eq!(noted.value.outcome, Outcome::Overdone);
}

#[test]
fn a_spike_or_a_beat_above_the_ceiling_is_let_pass() {
    for heart in [(|t| if (360.0..372.0).contains(&t) { 190.0 } else { 140.0 }) as fn(f64) -> f64, |t| {
        if t > 360.0 { 152.0 } else { 140.0 }
    }] {
        assert_eq!(codes(&audit_heart(heart).value), []);
    }
}

#[test]
fn a_dip_or_a_short_drop_out_does_not_end_a_stretch() {
    let noted = audit_heart(|t| if (360.0..420.0).contains(&t) && t as i64 % 20 > 4 { 160.0 } else { 140.0 });
    assert_eq!(only(&noted.value).code, Code::HeartRateTooHigh);
}

#[test]
fn a_heart_rate_that_follows_the_cadence_decides_nothing() {
    let noted = audit_heart(|t| if (320.0..420.0).contains(&t) { 161.0 } else { 140.0 });
    assert_eq!(noted.value.outcome, Outcome::Undecided);
    assert!(has_notice(&noted, NoticeCode::HeartRateFollowsCadence));
    // Counting the steps of the walks too: from 120 to 160 with the cadence.
    let noted = audit_heart(|t| if (300.0..420.0).contains(&t) { 161.0 } else { 119.0 });
    assert!(has_notice(&noted, NoticeCode::HeartRateFollowsCadence));
}

#[test]
fn a_heart_rate_that_comes_to_equal_the_cadence_decides() {
    // Rises from 90 towards 162 with a time constant of 30 s, and falls as slowly; the cadence is 160.
    let text = "w300 r400 w300";
    let segmentation = segmentation(text);
    let rise = |t: f64| 162.0 - 72.0 * (-(t - 300.0) / 30.0).exp();
    let heart = move |t: f64| match t {
        t if t < 300.0 => 90.0,
        t if t < 700.0 => rise(t),
        t => 90.0 + 72.0 * (-(t - 700.0) / 30.0).exp(),
    };
    let series = Track::of(&segmentation).heart(move |t| heart(t).round()).build();
    let mut stage = stage(text);
    stage.limits.heart_rate_ceiling = Some(BeatsPerMinute::new(150.0));
    let noted = run_audit(&segmentation, &series, &stage, &Runner::default());
    assert!(!has_notice(&noted, NoticeCode::HeartRateFollowsCadence));
    assert_eq!(only(&noted.value).code, Code::HeartRateTooHigh);
    assert_eq!(noted.value.outcome, Outcome::Overdone);
}

/// Optical sensors at the wrist are off by up to 3 beats/min in the mean, beside a chest strap and second by second (Sartor et al. 2018, BMC
/// Sports Sci Med Rehabil 10:10): if normal, with a standard deviation of √(π/2) times that. How it hangs together is not known.
#[test]
fn what_a_sensor_may_be_off_by_is_no_heart_rate_above_its_ceiling() {
    let overdone = |mean_bpm: f64| {
        let wrong = (0..200).filter(|seed| {
            let mut rng = ChaCha8Rng::seed_from_u64(*seed);
            let (sd_bpm, keep) = (3.76, (-1.0_f64 / 20.0).exp());
            let mut error = sd_bpm * normal(&mut rng);
            let errors: Vec<f64> = (0..1000)
                .map(|_| {
                    error = keep * error + (1.0 - keep * keep).sqrt() * sd_bpm * normal(&mut rng);
                    error
                })
                .collect();
            let heart = |t: f64| (mean_bpm + errors[t as usize]).round();
            audit_heart(heart).value.outcome == Outcome::Overdone
        });
        wrong.count() as f64 / 200.0
    };
    let [below, at, above] = [144.0, 149.0, 158.0].map(overdone);
    println!("6 below, 1 below and 8 above the ceiling: {below}, {at}, {above} overdone");
    assert!(below <= 0.01 && above >= 0.97, "{below}, {at}, {above}");
}

#[test]
fn without_heart_rate_its_ceiling_is_not_judged() {
    let segmentation = segmentation(TWO);
    let mut stage = stage(TWO);
    stage.limits.heart_rate_ceiling = Some(BeatsPerMinute::new(150.0));
    let check = |known: fn(f64) -> bool| {
        let mut columns = Track::of(&segmentation).heart(|_| 140.0).build().into_columns();
        for (t, bpm) in columns.time_s.iter().zip(&mut columns.heart_rate_bpm) {
            *bpm = bpm.filter(|_| known(*t));
        }
        let series = Series::new(columns).unwrap();
        run_audit(&segmentation, &series, &stage, &Runner::default())
    };
    // Nothing known; the walks alone; one run of two.
    for (known, outcome) in [
        ((|_| false) as fn(f64) -> bool, Outcome::Undecided),
        (|t| !(300.0..660.0).contains(&t), Outcome::Undecided),
        (|t| !(300.0..420.0).contains(&t), Outcome::Kept),
    ] {
        let noted = check(known);
        assert!(has_notice(&noted, NoticeCode::HeartRateNotJudged));
        assert_eq!(noted.value.outcome, outcome, "{:?}", noted.notices);
    }
    let whole = check(|_| true);
    assert!(!has_notice(&whole, NoticeCode::HeartRateNotJudged) && whole.value.outcome == Outcome::Kept);
}

fn audit_cadence(walk_spm: f64, floor: Option<f64>, usual: Option<f64>) -> Noted<Audit> {
    let segmentation = segmentation(TWO);
    let bouts = segmentation.bouts().to_vec();
    let is_run = move |t: f64| bouts.iter().any(|b| b.gait == Gait::Run && t >= b.start_s && t < b.end_s);
    let series = Track::of(&segmentation).cadence(|t| if is_run(t) { 168.0 } else { walk_spm }).build();
    let mut stage = stage(TWO);
    stage.limits.walk_cadence_floor = floor.map(StepsPerMinute::new);
    let runner = Runner { usual_run_cadence: usual.map(StepsPerMinute::new), max_heart_rate: None };
    run_audit(&segmentation, &series, &stage, &runner)
}

#[test]
fn a_walk_that_is_not_brisk() {
    let noted = audit_cadence(100.0, Some(110.0), None);
    assert_eq!(codes(&noted.value), vec![Code::WalkTooSlow; 3]);
    let finding = &noted.value.findings[0];
    assert_eq!((finding.prescribed, finding.unit), (Some(110.0), Unit::StepsPerMinute));
    assert!((finding.excess.unwrap() - 10.0).abs() < 0.1);
    assert_eq!(noted.value.outcome, Outcome::Kept);
    // One count of a whole-number stride is 2 steps: within the error.
    assert_eq!(codes(&audit_cadence(108.5, Some(110.0), None).value), []);
}

#[test]
fn the_floor_may_come_from_the_usual_running_cadence() {
    // 20 strides a minute (one leg) below 168 steps a minute: 128.
    assert_eq!(codes(&audit_cadence(124.0, None, Some(168.0)).value), vec![Code::WalkTooSlow; 3]);
    assert_eq!(codes(&audit_cadence(127.0, None, Some(168.0)).value), []);
    // A floor of the prescriber stands before it.
    assert_eq!(codes(&audit_cadence(124.0, Some(110.0), Some(168.0)).value), []);
    assert_eq!(codes(&audit_cadence(90.0, None, None).value), []);
}
