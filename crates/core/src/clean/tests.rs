use jiff::Timestamp;

use super::{ChangeKind, CleanConfig, GapKind, Series, SpeedSource, clean, speeds_by_positions};
use jogaudit_recording::geodesy::LatLon;
use jogaudit_recording::notice::{Noted, NoticeCode};
use jogaudit_recording::read::{Format, Recording, RecordingParts, Sample, Sport, TimerEvent};
use jogaudit_recording::units::{BeatsPerMinute, Metres, MetresPerSecond, StepsPerMinute};

fn recording(samples: Vec<Sample>) -> Recording {
    with_timer(samples, Vec::new())
}

fn with_timer(samples: Vec<Sample>, timer: Vec<TimerEvent>) -> Recording {
    Recording::new(RecordingParts {
        format: Format::Gpx,
        sport: Sport::Running,
        start: Timestamp::UNIX_EPOCH,
        utc_offset_s: None,
        samples,
        laps: Vec::new(),
        timer,
        guesses: Vec::new(),
        workout: None,
    })
    .unwrap()
}

fn cleaned(recording: &Recording) -> Noted<Series> {
    clean(recording, &CleanConfig::default())
}

fn codes(noted: &Noted<Series>) -> Vec<NoticeCode> {
    noted.notices.iter().map(|n| n.code).collect()
}

/// A person moving north at `speed_mps` along the Greenwich meridian; one sample a second.
fn moving(seconds: usize, speed_mps: f64) -> Vec<Sample> {
    (0..seconds)
        .map(|t| Sample {
            time_s: t as f64,
            position: LatLon::new(speed_mps * t as f64 / 110_574.3, 0.0),
            ..Sample::default()
        })
        .collect()
}

#[test]
fn order_and_duplicates() {
    let at = |time_s: f64, bpm: f64| Sample {
        time_s,
        speed: Some(MetresPerSecond::new(1.0 + time_s / 10.0)),
        heart_rate: Some(BeatsPerMinute::new(bpm)),
        ..Sample::default()
    };
    let noted = cleaned(&recording(vec![at(0.0, 90.0), at(2.0, 92.0), at(1.0, 91.0), at(2.0, 99.0)]));
    assert_eq!(noted.value.time_s(), [0.0, 1.0, 2.0]);
    assert_eq!(noted.value.heart_rate_bpm(), [Some(90.0), Some(91.0), Some(92.0)]);
    assert_eq!(
        noted.value.ledger().iter().map(|c| (c.sample, c.kind)).collect::<Vec<_>>(),
        [(2, ChangeKind::Reordered), (3, ChangeKind::Merged)]
    );
    assert!(codes(&noted).starts_with(&[NoticeCode::OutOfOrder, NoticeCode::DuplicateTimes]));
}

#[test]
fn an_order_that_tells_nothing_is_doubtful() {
    let doubtful = |samples: Vec<Sample>| {
        let noted = cleaned(&recording(samples));
        let is_said = codes(&noted).contains(&NoticeCode::OrderDoubtful);
        assert_eq!(noted.value.is_order_doubtful(), is_said);
        is_said
    };
    // Every third second was written with the time of the one 40 s later, and back.
    let mut mixed = moving(300, 2.5);
    for at in (3..240).step_by(6) {
        let (near_s, far_s) = (mixed[at].time_s, mixed[at + 40].time_s);
        (mixed[at].time_s, mixed[at + 40].time_s) = (far_s, near_s);
    }
    assert!(doubtful(mixed));
    // Two halves in the wrong order, and a single sample out of place, are put right.
    let mut halves = moving(300, 2.5);
    halves.rotate_left(150);
    assert!(!doubtful(halves));
    let mut one = moving(300, 2.5);
    let last = one.pop().unwrap();
    one.insert(1, last);
    assert!(!doubtful(one));
}

#[test]
fn speed_from_positions_is_the_true_one() {
    let noted = cleaned(&recording(moving(60, 2.5)));
    assert_eq!(noted.value.speed_source(), SpeedSource::Positions);
    for speed in noted.value.speed_mps().iter().flatten() {
        assert!((speed - 2.5).abs() < 1e-3, "{speed}");
    }
    let far = noted.value.distance_m().last().copied().flatten().unwrap();
    assert!((far - 59.0 * 2.5).abs() < 0.2, "{far}");
    assert!(codes(&noted).contains(&NoticeCode::SpeedFromPositions));
}

#[test]
fn a_spike_is_left_out_and_a_lasting_jump_is_followed() {
    let mut samples = moving(120, 2.5);
    samples[30].position = LatLon::new(0.01, 0.01);
    for s in &mut samples[60..] {
        s.position = s.position.and_then(|p| LatLon::new(p.lat_deg() + 0.002, p.lon_deg()));
    }
    let noted = cleaned(&recording(samples));
    let spikes: Vec<usize> =
        noted.value.ledger().iter().filter(|c| c.kind == ChangeKind::Spike).map(|c| c.sample).collect();
    assert_eq!(spikes, [30]);
    let good = noted.value.speed_mps().iter().flatten().filter(|v| (*v - 2.5).abs() < 0.05).count();
    assert!(good > 108, "{good}");
}

/// Walks 300 s at 1.4 m/s, then runs 600 s at 2.6 m/s; the recorder writes a new position only at the times that `renews` names.
fn held(renews: impl Fn(usize) -> bool) -> Vec<Sample> {
    let north_m = |t: usize| if t < 300 { 1.4 * t as f64 } else { 420.0 + 2.6 * (t - 300) as f64 };
    let mut position = None;
    let sample = |t: usize| {
        if position.is_none() || renews(t) {
            position = LatLon::new(north_m(t) / 110_574.3, 0.0);
        }
        Sample { time_s: t as f64, position, ..Sample::default() }
    };
    (0..900).map(sample).collect()
}

#[test]
fn positions_that_are_held_and_then_jump_tell_the_speed_between() {
    let every = |seconds: usize| move |t: usize| t.is_multiple_of(seconds);
    // Held for 2 to 9 s in turn; and held for 6 s from the middle on.
    let in_turn = |t: usize| [0, 2, 11, 15, 24, 27, 35, 40].contains(&(t % 44));
    let from_the_middle = |t: usize| t < 450 || t.is_multiple_of(6);
    let cases = [
        held(|_| true),
        held(every(2)),
        held(every(4)),
        held(every(10)),
        held(in_turn),
        held(from_the_middle),
    ];
    for (case, samples) in cases.into_iter().enumerate() {
        let series = cleaned(&recording(samples)).value;
        assert_eq!(series.ledger(), [], "{case}: nothing of it is a spike");
        for (&t, speed) in series.time_s().iter().zip(series.speed_mps()) {
            let (true_mps, near_change) = if t < 300.0 { (1.4, t > 285.0) } else { (2.6, t < 315.0) };
            let Some(speed) = speed else {
                // The last position of all may have been held to the end.
                assert!(t > 885.0, "{case}: no speed at {t}");
                continue;
            };
            assert!(near_change || t > 885.0 || (speed - true_mps).abs() < 0.1, "{case}: {speed} at {t}");
        }
    }
}

#[test]
fn who_stands_at_one_position_stands() {
    // 60 s at one and the same position within a run; then positions held for 4 s, as before.
    for every in [1, 4] {
        let mut samples = moving(360, 2.5);
        let mut position = None;
        for (t, sample) in samples.iter_mut().enumerate() {
            let north_m = 2.5 * (t.min(150) + t.saturating_sub(210)) as f64;
            if t % every == 0 {
                position = LatLon::new(north_m / 110_574.3, 0.0);
            }
            sample.position = position;
        }
        let series = cleaned(&recording(samples)).value;
        for (t, speed) in series.speed_mps().iter().enumerate() {
            let Some(speed) = speed else {
                // The last position of all may have been held to the end.
                assert!(t > 350, "every {every}: no speed at {t}");
                continue;
            };
            match t {
                162..200 => assert!(*speed < 0.1, "every {every}: {speed} at {t}"),
                10..140 | 222..350 => assert!((speed - 2.5).abs() < 0.1, "every {every}: {speed} at {t}"),
                _ => {}
            }
        }
    }
}

#[test]
fn a_stop_of_the_timer_is_a_pause_and_silence_a_hole() {
    let mut samples = moving(300, 1.5);
    samples.retain(|s| !(100.0..160.0).contains(&s.time_s) && !(200.0..230.0).contains(&s.time_s));
    let timer =
        vec![TimerEvent { time_s: 99.5, running: false }, TimerEvent { time_s: 160.0, running: true }];
    let paused = cleaned(&with_timer(samples, timer)).value;
    let gaps = paused.gaps();
    assert_eq!(gaps.len(), 2);
    assert_eq!((gaps[0].start_s, gaps[0].end_s, gaps[0].kind), (99.5, 160.0, GapKind::Pause));
    assert_eq!((gaps[1].start_s, gaps[1].end_s, gaps[1].kind), (199.0, 230.0, GapKind::Hole));
}

#[test]
fn sparse_sampling_is_no_row_of_holes() {
    let mut samples = moving(1800, 1.5);
    samples.retain(|s| (s.time_s as usize).is_multiple_of(20));
    assert!(cleaned(&recording(samples)).value.gaps().is_empty());
}

#[test]
fn a_month_without_samples_is_one_hole() {
    let mut samples = moving(120, 1.5);
    for s in &mut samples[60..] {
        s.time_s += 30.0 * 86_400.0;
    }
    let noted = cleaned(&recording(samples));
    assert_eq!(noted.value.gaps().len(), 1);
    assert_eq!(noted.value.time_s().len(), 120);
}

/// Speed and cadence each second.
fn stepping(parts: &[(usize, f64, f64)]) -> Recording {
    let each = parts.iter().flat_map(|&(n, v, c)| std::iter::repeat_n((v, c), n));
    recording(
        each.enumerate()
            .map(|(t, (v, c))| Sample {
                time_s: t as f64,
                // Told apart by a little, so that the speed does not look stuck.
                speed: Some(MetresPerSecond::new(v + 0.01 * (t % 3) as f64)),
                cadence: Some(StepsPerMinute::new(c)),
                distance: Some(Metres::new(v * t as f64)),
                ..Sample::default()
            })
            .collect(),
    )
}

#[test]
fn cadence_faults_are_mended_where_the_speed_tells() {
    // Half of 160 at 2.4 m/s would be steps of 1.8 m; double of 116 at 1.6 m/s steps of 0.41 m.
    let noted = cleaned(&stepping(&[(60, 2.4, 80.0), (60, 1.6, 232.0), (60, 2.4, 0.0), (60, 2.4, 160.0)]));
    let spm = noted.value.cadence_spm();
    assert_eq!((spm[30], spm[90], spm[150], spm[200]), (Some(160.0), Some(116.0), None, Some(160.0)));
    let found = codes(&noted);
    for code in
        [NoticeCode::CadenceHalfCorrected, NoticeCode::CadenceDoubleCorrected, NoticeCode::CadenceRefused]
    {
        assert!(found.contains(&code), "{found:?}");
    }
}

#[test]
fn a_lock_goes_on_while_it_may() {
    // Steps of 0.4 m, counted twice throughout, but only at times above 195 a minute; and runs that slow down, counted half.
    let walked = [(30, 2.4, 160.0), (30, 1.3, 198.0), (30, 1.2, 188.0), (30, 1.3, 198.0), (30, 1.2, 168.0)];
    let noted = cleaned(&stepping(&walked));
    let spm = noted.value.cadence_spm();
    assert_eq!([15, 45, 75, 105, 135].map(|at| spm[at].unwrap()), [160.0, 99.0, 94.0, 99.0, 84.0]);
    let noted = cleaned(&stepping(&[(30, 1.5, 74.0), (30, 2.4, 80.0), (30, 1.4, 74.0), (30, 1.5, 104.0)]));
    let spm = noted.value.cadence_spm();
    assert_eq!([15, 45, 75, 105].map(|at| spm[at].unwrap()), [148.0, 160.0, 148.0, 104.0]);
}

#[test]
fn short_steps_beside_no_lock_are_left_alone() {
    // People who jog slowly with very many steps, and who walk with very long ones.
    let noted = cleaned(&stepping(&[(40, 1.3, 184.0), (40, 1.5, 88.0), (40, 1.4, 178.0)]));
    assert!(noted.value.ledger().is_empty(), "{:?}", noted.notices);
}

#[test]
fn a_sound_cadence_is_left_alone() {
    // A slow walk with short steps, a brisk one, a slow jog and a fast run.
    let noted = cleaned(&stepping(&[(60, 0.9, 84.0), (60, 2.0, 132.0), (60, 1.9, 158.0), (60, 4.5, 186.0)]));
    assert!(noted.value.ledger().is_empty(), "{:?}", noted.notices);
}

#[test]
fn a_cadence_held_over_a_change_of_gait_is_left_out() {
    let noted = cleaned(&stepping(&[(60, 1.5, 114.0), (30, 2.4, 114.0), (60, 2.4, 160.0)]));
    assert_eq!(noted.value.cadence_spm()[70], None);
    assert_eq!(noted.value.cadence_spm()[120], Some(160.0));
}

#[test]
fn a_cadence_that_stays_the_same_for_longer_than_this_recorder_says_one_is_left_out() {
    let mut parts: Vec<_> = (0..120).map(|t| (1, 2.4, 160.0 + 2.0 * f64::from(t % 3))).collect();
    let of_a_run = parts.clone();
    // A walk, steady enough, with the last value of the run before.
    parts.push((50, 1.5, 164.0));
    parts.extend(&of_a_run);
    let noted = cleaned(&stepping(&parts));
    assert!(noted.value.cadence_spm()[121..168].iter().all(Option::is_none));
    assert_eq!(noted.value.cadence_spm()[60], Some(160.0));
    assert!(codes(&noted).contains(&NoticeCode::CadenceRefused));
    // Shorter it may be a runner who is steady.
    parts[120].0 = 40;
    assert!(cleaned(&stepping(&parts)).value.ledger().is_empty());
}

#[test]
fn a_jump_out_and_back_is_left_out() {
    let mut samples = moving(120, 2.5);
    for s in &mut samples[50..53] {
        s.position = s.position.and_then(|p| LatLon::new(p.lat_deg(), p.lon_deg() + 0.000_15));
    }
    let noted = cleaned(&recording(samples));
    assert_eq!(noted.value.ledger().iter().map(|c| c.sample).collect::<Vec<_>>(), [50, 51, 52]);
    assert!(noted.value.speed_mps().iter().flatten().all(|v| (v - 2.5).abs() < 0.05));
}

#[test]
fn a_cadence_held_while_standing_is_left_out() {
    let noted = cleaned(&stepping(&[(60, 2.4, 160.0), (20, 0.0, 160.0), (60, 1.5, 114.0)]));
    assert_eq!(noted.value.cadence_spm()[70], None);
}

#[test]
fn out_of_range_values_are_left_out_and_said() {
    let mut wild = stepping(&[(60, 2.4, 160.0)]).into_parts();
    wild.samples[10].heart_rate = Some(BeatsPerMinute::new(0.0));
    wild.samples[20].speed = Some(MetresPerSecond::new(60.0));
    let noted = cleaned(&Recording::new(wild).unwrap());
    assert_eq!(noted.value.speed_mps()[20], None);
    let found = codes(&noted);
    assert!(
        found.contains(&NoticeCode::HeartRateRefused) && found.contains(&NoticeCode::SpeedRefused),
        "{found:?}"
    );
}

proptest::proptest! {
    /// Whatever the samples: time rises strictly from 0, columns have one length, gaps are in order.
    #[test]
    fn cleaning_keeps_its_promises(
        rows in proptest::collection::vec((-1e4..1e4_f64, proptest::option::of(-5.0..90.0_f64), proptest::option::of(-10.0..600.0_f64)), 1..80),
        stops in proptest::collection::vec((-1e4..1e4_f64, proptest::bool::ANY), 0..6),
    ) {
        let earliest_s = rows.iter().map(|row| row.0).reduce(f64::min).unwrap();
        let samples = rows.iter().map(|&(time_s, v, c)| Sample {
            time_s: time_s - earliest_s,
            speed: v.map(MetresPerSecond::new),
            cadence: c.map(StepsPerMinute::new),
            position: v.and_then(|v| LatLon::new(v, 180.0)),
            ..Sample::default()
        }).collect();
        let timer = stops.iter().map(|&(time_s, running)| TimerEvent { time_s, running }).collect();
        let series = cleaned(&with_timer(samples, timer)).value;
        let n = series.time_s().len();
        proptest::prop_assert!(series.time_s()[0] == 0.0 && series.time_s().windows(2).all(|w| w[0] < w[1]));
        proptest::prop_assert!([series.speed_mps().len(), series.cadence_spm().len(), series.distance_m().len()] == [n; 3]);
        proptest::prop_assert!(series.gaps().windows(2).all(|w| w[0].end_s <= w[1].start_s));
        proptest::prop_assert!(series.gaps().iter().all(|g| g.start_s < g.end_s && g.start_s >= 0.0 && g.end_s <= series.elapsed_s()));
        proptest::prop_assert!(series.speed_mps().iter().flatten().all(|v| v.is_finite() && *v >= 0.0));
        let far: Vec<f64> = series.distance_m().iter().flatten().copied().collect();
        proptest::prop_assert!(far.windows(2).all(|w| w[0] <= w[1]));
        // Segmenting whatever cleaning gives always tiles.
        let bouts = crate::gait::segment(&series, &crate::gait::GaitConfig::default(), None).value;
        proptest::prop_assert!(crate::gait::Segmentation::new(bouts.bouts().to_vec()).is_some());
        proptest::prop_assert!((bouts.elapsed_s() - series.elapsed_s()).abs() < 1e-9);
        proptest::prop_assert!(bouts.bouts().iter().all(|b| (0.0..=1.0).contains(&b.certainty)));
    }
}

#[test]
fn what_positions_told_serves_once_they_are_taken_out() {
    let config = CleanConfig::default();
    let own = |t: f64| Some(MetresPerSecond::new(if t < 200.0 { 1.4 } else { 2.6 }));
    // Two samples of one time, one out of order, and a position that jumps; with and without the recorder's own speed.
    for has_own in [false, true] {
        let mut samples = held(|_| true);
        samples.swap(500, 501);
        samples[700].time_s = 699.0;
        samples[800].position = LatLon::new(1.0, 1.0);
        samples.iter_mut().filter(|_| has_own).for_each(|sample| sample.speed = own(sample.time_s - 3.0));
        let before = recording(samples);
        let told = speeds_by_positions(&before, &config);
        let mut parts = before.clone().into_parts();
        for (sample, told_mps) in parts.samples.iter_mut().zip(told) {
            sample.position = None;
            sample.speed_by_positions = told_mps.map(MetresPerSecond::new);
        }
        let after = Recording::new(parts).unwrap();
        let (mut was, mut is) = (cleaned(&before).value.into_columns(), cleaned(&after).value.into_columns());
        // That a position jumped is no longer to be seen.
        let spikes = was.ledger.extract_if(.., |change| change.kind == ChangeKind::Spike).count();
        assert_eq!(spikes, 1);
        assert_eq!(was, is);
        let source = if has_own { SpeedSource::Recorder } else { SpeedSource::Positions };
        assert_eq!((is.speed_source, is.has_position), (source, true));
        is.speed_mps.retain(Option::is_some);
        assert!(is.speed_mps.len() > 800);
    }
}
