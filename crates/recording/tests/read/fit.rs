//! FIT bytes → recordings, each quirk of the format by a file written for it.

use crate::fit_bytes::{ENUM, FitFile, I32, NEW_YEAR, TINY_FIT, U8, U16, U32, plain_run, unhex};
use jogaudit_recording::notice::Noted;
use jogaudit_recording::read::{
    Format, GuessSource, GuessedGait, Lap, LapIntensity, LapTrigger, ReadConfig, ReadErrorKind, Recording,
    Sport, TimerEvent, read,
};
use jogaudit_recording::units::Seconds;
use jogaudit_recording::workout::StepEnd;

fn noted(file: &[u8]) -> Noted<Vec<Recording>> {
    read(file, &ReadConfig::default()).unwrap()
}

fn codes(file: &[u8]) -> Vec<&'static str> {
    noted(file).notices.iter().map(|notice| notice.code.word()).collect()
}

/// Reads a file that holds one recording and gives nothing to say.
fn clean(file: &FitFile) -> Recording {
    let mut noted = noted(&file.finish());
    assert_eq!(noted.notices, []);
    assert_eq!(noted.value.len(), 1);
    noted.value.remove(0)
}

fn at(second: u32) -> [u8; 4] {
    (NEW_YEAR + second).to_le_bytes()
}

/// A file with records of these fields, one a second.
fn records(fields: &[(u8, u8, u8)], values: &[&[u8]]) -> FitFile {
    let mut all = vec![(253, 4, U32)];
    all.extend(fields);
    let mut file = FitFile::default().define(0, 20, &all);
    for (second, value) in (0..).zip(values) {
        file = file.data(0, &[&at(second), value]);
    }
    file
}

fn times(recording: &Recording) -> Vec<f64> {
    recording.samples().iter().map(|sample| sample.time_s).collect()
}

fn distances(recording: &Recording) -> Vec<Option<f64>> {
    recording
        .samples()
        .iter()
        .map(|sample| sample.distance.map(jogaudit_recording::units::Metres::get))
        .collect()
}

fn cadences(recording: &Recording) -> Vec<Option<f64>> {
    recording
        .samples()
        .iter()
        .map(|sample| sample.cadence.map(jogaudit_recording::units::StepsPerMinute::get))
        .collect()
}

#[test]
fn the_tiny_file() {
    // Expected values: decoded by fitparse 1.2.0; tests/reference/read_check.py asks fitdecode again.
    let noted = noted(&unhex(TINY_FIT));
    assert_eq!(noted.notices, []);
    let recording = &noted.value[0];
    assert_eq!(recording.format(), Format::Fit);
    assert_eq!(*recording.sport(), Sport::Unspecified);
    assert_eq!(recording.start().to_string(), "2025-01-01T00:00:00Z");
    assert_eq!(times(recording), [0.0, 1.0, 2.0]);
    assert_eq!(distances(recording), [Some(0.0), Some(2.5), Some(5.0)]);
    assert_eq!(cadences(recording), [Some(160.0), Some(160.0), None]);
    for (sample, heart_rate) in recording.samples().iter().zip([120.0, 121.0, 122.0]) {
        assert_eq!(sample.speed.unwrap().get(), 2.5);
        assert_eq!(sample.heart_rate.unwrap().get(), heart_rate);
        assert_eq!(sample.position, None);
    }
}

#[test]
fn a_whole_activity() {
    let recording = clean(&plain_run(60));
    assert_eq!(*recording.sport(), Sport::Running);
    assert_eq!(recording.utc_offset_s(), Some(3600));
    assert_eq!(recording.samples().len(), 60);
    let [stop, start] = [(60.0, false), (0.0, true)].map(|(time_s, running)| TimerEvent { time_s, running });
    assert_eq!(recording.timer(), [start, stop]);
    let (trigger, intensity) = (LapTrigger::Manual, LapIntensity::Active);
    assert_eq!(recording.laps(), [Lap { start_s: 0.0, end_s: Some(60.0), trigger, intensity, step: None }]);
    // 45° = 536870912 and −122° = −1455516695 semicircles.
    let position = recording.samples()[0].position.unwrap();
    assert_eq!(position.lat_deg(), 45.0);
    assert!((position.lon_deg() + 122.0).abs() < 1e-7);
}

#[test]
fn headers_of_either_size_and_without_checksum() {
    let file = plain_run(5);
    let expected = noted(&file.finish());
    let short = file.finish_with(12, file.len() - 14);
    assert_eq!(noted(&short), expected);
    let mut without = file.finish();
    without[12..14].fill(0);
    let end = without.len() - 2;
    let checksum = crate::fit_bytes::checksum(&without[..end]).to_le_bytes();
    without[end..].copy_from_slice(&checksum);
    assert_eq!(noted(&without), expected);
}

#[test]
fn big_endian_numbers() {
    let file = FitFile::default()
        .define_big_endian(0, 20, &[(253, 4, U32), (5, 4, U32), (6, 2, U16)])
        .data(0, &[&NEW_YEAR.to_be_bytes(), &250_u32.to_be_bytes(), &3000_u16.to_be_bytes()]);
    let recording = clean(&file);
    assert_eq!(recording.start().to_string(), "2025-01-01T00:00:00Z");
    assert_eq!(distances(&recording), [Some(2.5)]);
    assert_eq!(recording.samples()[0].speed.unwrap().get(), 3.0);
}

#[test]
fn local_types_redefined_by_the_thousand() {
    let mut file = FitFile::default();
    for second in 0..5000_u32 {
        let local = (second % 16) as u8;
        file = if second % 2 == 0 {
            file.define(local, 20, &[(253, 4, U32), (3, 1, U8)]).data(local, &[&at(second), &[100]])
        } else {
            file.define(local, 20, &[(3, 1, U8), (253, 4, U32), (5, 4, U32)])
                .data(local, &[&[101], &at(second), &[0; 4]])
        };
    }
    let recording = clean(&file);
    assert_eq!(times(&recording), (0..5000).map(f64::from).collect::<Vec<_>>());
    assert_eq!(recording.samples()[4999].heart_rate.unwrap().get(), 101.0);
}

#[test]
fn compressed_times_follow_any_message_with_a_time() {
    // 1104624000 mod 32 = 0; the offsets 5, 31 and then 2 mean 5, 31 and 34 s. The full time stands in another message.
    let file = FitFile::default()
        .define(0, 23, &[(253, 4, U32)])
        .define(1, 20, &[(3, 1, U8)])
        .data(0, &[&at(0)])
        .compressed(1, 5, &[&[100]])
        .compressed(1, 31, &[&[100]])
        .compressed(1, 2, &[&[100]]);
    let recording = clean(&file);
    assert_eq!(times(&recording), [0.0, 26.0, 29.0]);
    assert_eq!(recording.start().to_string(), "2025-01-01T00:00:05Z");
}

#[test]
fn unknown_messages_fields_and_developer_fields_are_stepped_over() {
    let file = FitFile::default()
        .define(7, 0xFF00, &[(0, 200, 0x0D), (253, 4, U32)])
        .data(7, &[&[9; 200], &at(0)])
        .define_with_developer_fields(
            0,
            20,
            &[(253, 4, U32), (200, 3, 0x0D), (3, 1, U8)],
            &[(0, 4, 0), (1, 2, 0)],
        )
        .data(0, &[&at(0), &[1, 2, 3], &[99], &[0xAA; 6]])
        .data(0, &[&at(1), &[1, 2, 3], &[98], &[0xAA; 6]]);
    let recording = clean(&file);
    assert_eq!(times(&recording), [0.0, 1.0]);
    assert_eq!(recording.samples()[1].heart_rate.unwrap().get(), 98.0);
}

#[test]
fn enhanced_fields_replace_the_plain_ones() {
    // altitude 123.4 m = 3117; 2500 = 0 m. speed 2.000 and 2.512 m/s.
    let fields = [(2, 2, U16), (78, 4, U32), (6, 2, U16), (73, 4, U32)];
    let both = [
        &2500_u16.to_le_bytes()[..],
        &3117_u32.to_le_bytes(),
        &2000_u16.to_le_bytes(),
        &2512_u32.to_le_bytes(),
    ];
    let plain_only = [&3117_u16.to_le_bytes()[..], &[0xFF; 4], &2000_u16.to_le_bytes(), &[0xFF; 4]];
    let recording = clean(&records(&fields, &[&both.concat(), &plain_only.concat()]));
    let values: Vec<(f64, f64)> =
        recording.samples().iter().map(|s| (s.altitude.unwrap().get(), s.speed.unwrap().get())).collect();
    assert_eq!(values.iter().map(|(_, speed)| *speed).collect::<Vec<_>>(), [2.512, 2.0]);
    assert!(values.iter().all(|(altitude, _)| (altitude - 123.4).abs() < 1e-9));
}

#[test]
fn cadence_counts_one_leg_with_its_fraction() {
    // 88 + 64/128 strides = 177 steps a minute (published example); cadence256 = 88.5 · 256 where the plain one is missing.
    let fields = [(4, 1, U8), (53, 1, U8), (52, 2, U16)];
    let fine = 22_656_u16.to_le_bytes();
    let recording = clean(&records(
        &fields,
        &[
            &[88, 64, 0xFF, 0xFF],
            &[90, 0xFF, 0xFF, 0xFF],
            &[0xFF, 64, fine[0], fine[1]],
            &[0xFF, 64, 0xFF, 0xFF],
        ],
    ));
    assert_eq!(cadences(&recording), [Some(177.0), Some(180.0), Some(177.0), None]);
}

#[test]
fn invalid_values_are_missing_not_zero() {
    let fields = [(0, 4, I32), (1, 4, I32), (2, 2, U16), (3, 1, U8), (4, 1, U8), (5, 4, U32), (6, 2, U16)];
    let mut invalid = [0xFF; 18];
    invalid[3] = 0x7F;
    invalid[7] = 0x7F;
    let recording = clean(&records(&fields, &[&invalid]));
    assert_eq!(recording.samples(), [jogaudit_recording::read::Sample::default()]);
    let no_pulse = noted(&records(&[(3, 1, U8)], &[&[0]]).finish());
    assert_eq!(no_pulse.value[0].samples()[0].heart_rate, None, "no pulse found is no pulse of 0");
    assert_eq!(no_pulse.notices[0].code.word(), "no_pulse");
}

#[test]
fn a_size_that_does_not_fit_its_type() {
    let file = records(&[(6, 3, U16), (3, 1, U8)], &[&[1, 2, 3, 120]]).finish();
    assert_eq!(codes(&file), ["field_size_odd"]);
    assert_eq!(noted(&file).value[0].samples()[0].heart_rate.unwrap().get(), 120.0);
    // An array is allowed: its first value counts.
    let recording = clean(&records(&[(3, 3, U8)], &[&[120, 121, 122]]));
    assert_eq!(recording.samples()[0].heart_rate.unwrap().get(), 120.0);
}

#[test]
fn pauses_are_timer_events() {
    let event =
        |file: FitFile, second, event, event_type| file.data(1, &[&at(second), &[event], &[event_type]]);
    let mut file =
        records(&[(3, 1, U8)], &[&[100], &[100]]).define(1, 21, &[(253, 4, U32), (0, 1, ENUM), (1, 1, ENUM)]);
    // start, stop, start, stop_all, marker, a workout's start, stop_disable_all
    for (second, number, kind) in
        [(0, 0, 0), (1, 0, 1), (9, 0, 0), (12, 0, 4), (13, 0, 3), (14, 3, 0), (15, 0, 9)]
    {
        file = event(file, second, number, kind);
    }
    let timer: Vec<(f64, bool)> =
        clean(&file).timer().iter().map(|event| (event.time_s, event.running)).collect();
    assert_eq!(timer, [(0.0, true), (1.0, false), (9.0, true), (12.0, false), (15.0, false)]);
}

#[test]
fn laps_of_every_kind() {
    let mut file = records(&[(3, 1, U8)], &[&[100][..]; 4]).define(
        1,
        19,
        &[(253, 4, U32), (2, 4, U32), (7, 4, U32), (23, 1, ENUM), (24, 1, ENUM)],
    );
    for (intensity, trigger) in [(0, 0), (1, 1), (2, 2), (3, 7), (4, 0xFF), (0xFF, 0)] {
        file = file.data(1, &[&at(9), &at(2), &1500_u32.to_le_bytes(), &[intensity], &[trigger]]);
    }
    file = file.data(1, &[&at(9), &at(2), &[0xFF; 4], &[0], &[0]]);
    let recording = clean(&file);
    let laps = recording.laps();
    let kinds: Vec<_> = laps.iter().map(|lap| (lap.intensity, lap.trigger)).collect();
    assert_eq!(
        kinds[..6],
        [
            (LapIntensity::Active, LapTrigger::Manual),
            (LapIntensity::Rest, LapTrigger::Time),
            (LapIntensity::WarmUp, LapTrigger::Distance),
            (LapIntensity::CoolDown, LapTrigger::Other),
            (LapIntensity::Rest, LapTrigger::Other),
            (LapIntensity::Unknown, LapTrigger::Manual),
        ]
    );
    assert_eq!((laps[0].start_s, laps[0].end_s), (2.0, Some(3.5)));
    assert_eq!(laps[6].end_s, Some(9.0), "without an elapsed time a lap ends when it was written");
}

#[test]
fn sports() {
    let sport_of = |sport: u8, sub_sport: u8| {
        let file = records(&[(3, 1, U8), (4, 1, U8)], &[&[100, 80]]);
        let file = file.define(1, 18, &[(253, 4, U32), (5, 1, ENUM), (6, 1, ENUM)]);
        clean(&file.data(1, &[&at(1), &[sport], &[sub_sport]]))
    };
    assert_eq!(*sport_of(1, 0).sport(), Sport::Running);
    assert_eq!(*sport_of(11, 0).sport(), Sport::Walking);
    assert_eq!(*sport_of(17, 0).sport(), Sport::Walking);
    assert_eq!(*sport_of(0, 0).sport(), Sport::Unspecified);
    assert_eq!(*sport_of(5, 0).sport(), Sport::Other("swimming".to_owned()));
    assert_eq!(cadences(&sport_of(17, 0)), [Some(160.0)]);
    assert_eq!(cadences(&sport_of(2, 0)), [None], "crank turns are no steps");
    // Cut before the session: the sport message near the beginning tells.
    let file = FitFile::default().define(1, 12, &[(0, 1, ENUM), (1, 1, ENUM)]).data(1, &[&[2], &[0]]);
    let file = file.define(0, 20, &[(253, 4, U32)]).data(0, &[&at(0)]);
    assert_eq!(*clean(&file).sport(), Sport::Other("cycling".to_owned()));
}

#[test]
fn several_sessions_are_several_recordings() {
    let mut file =
        records(&[(3, 1, U8)], &[&[100][..]; 10]).define(1, 18, &[(253, 4, U32), (2, 4, U32), (5, 1, ENUM)]);
    file = file.data(1, &[&at(6), &at(0), &[2]]).data(1, &[&at(10), &at(6), &[1]]);
    let noted = noted(&file.finish());
    let [ride, run] = noted.value.as_slice() else { panic!("{noted:?}") };
    assert_eq!((ride.sport(), ride.samples().len()), (&Sport::Other("cycling".to_owned()), 6));
    assert_eq!((run.sport(), times(run)), (&Sport::Running, vec![0.0, 1.0, 2.0, 3.0]));
    assert_eq!(run.start().to_string(), "2025-01-01T00:00:06Z");
}

#[test]
fn chained_files_are_several_recordings_in_order() {
    let later = plain_run(5).finish();
    let earlier = FitFile::default()
        .define(0, 20, &[(253, 4, U32)])
        .data(0, &[&(NEW_YEAR - 900).to_le_bytes()])
        .finish();
    let settings = FitFile::default().define(0, 0, &[(0, 1, ENUM)]).data(0, &[&[2]]).finish();
    let noted = noted(&[later, settings, earlier].concat());
    assert_eq!(
        noted.notices.iter().map(|notice| notice.code.word()).collect::<Vec<_>>(),
        ["activity_without_samples"]
    );
    let starts: Vec<String> = noted.value.iter().map(|recording| recording.start().to_string()).collect();
    assert_eq!(starts, ["2025-01-01T00:00:00Z", "2024-12-31T23:45:00Z"]);
}

#[test]
fn definitions_are_not_carried_into_the_next_file() {
    let second = FitFile::default().raw(&[2, 1, 2, 3]).finish();
    let file = [plain_run(3).finish(), second].concat();
    assert_eq!(codes(&file), ["fit_damaged", "activity_without_samples"]);
}

#[test]
fn a_wrong_size_in_the_header() {
    let file = plain_run(20);
    let real = file.len() - 14;
    let expected = noted(&file.finish()).value;
    for stated in [0, 1, real - 7, real + 1, real + 999] {
        let wrong = file.finish_with(14, stated);
        let noted = noted(&wrong);
        assert_eq!(noted.value, expected, "stated {stated}");
        assert_eq!(
            noted.notices.iter().map(|notice| notice.code.word()).collect::<Vec<_>>(),
            ["size_wrong"],
            "stated {stated}"
        );
    }
    // Unfinished: no checksum either.
    let mut unfinished = file.finish_with(14, 0);
    unfinished.truncate(unfinished.len() - 2);
    assert_eq!(noted(&unfinished).value, expected);
    assert_eq!(codes(&unfinished), ["size_wrong"]);
    // Nothing was written to the size, and the checksum is that of a header that was finished later.
    for unfilled in [0, u32::MAX] {
        let mut stale = file.finish();
        stale.splice(4..8, unfilled.to_le_bytes());
        assert_eq!(noted(&stale).value, expected);
        assert_eq!(codes(&stale), ["size_wrong"], "{unfilled}");
        // Room behind it.
        for empty in [0, 0xFF] {
            let mut with_room = stale.clone();
            with_room.extend([empty; 3]);
            assert_eq!(noted(&with_room).value, expected);
            assert_eq!(codes(&with_room), ["size_wrong"], "{unfilled}, room of {empty}");
        }
        // Half a message is missing.
        stale.truncate(stale.len() - 5);
        assert_eq!(codes(&stale), ["recording_cut"], "{unfilled}");
    }
    // The first of a chain.
    let chain = [file.finish_with(14, 0), file.finish()].concat();
    assert_eq!(noted(&chain).value, [expected.clone(), expected].concat());
    assert_eq!(codes(&chain), ["size_wrong"]);
}

#[test]
fn a_wrong_checksum_is_a_notice() {
    let mut file = plain_run(20).finish();
    let expected = noted(&file).value;
    let last = file.len() - 1;
    file[last] ^= 0xFF;
    assert_eq!(codes(&file), ["checksum_wrong"]);
    assert_eq!(noted(&file).value, expected);
}

#[test]
fn bytes_behind_the_end() {
    let file = [plain_run(5).finish(), b"<html>".to_vec()].concat();
    assert_eq!(codes(&file), ["trailing_bytes"]);
    assert_eq!(noted(&file).value[0].samples().len(), 5);
}

#[test]
fn damage_in_the_middle_loses_only_itself() {
    let before = FitFile::default().define(0, 20, &[(253, 4, U32), (3, 1, U8)]);
    let before = (0..10).fold(before, |file, second| file.data(0, &[&at(second), &[100]]));
    let damaged_at = before.len();
    let damaged = before.raw(&[0x0C; 11]);
    let whole = (10..20).fold(damaged, |file, second| file.data(0, &[&at(second), &[100]]));
    let noted = noted(&whole.finish());
    assert_eq!(times(&noted.value[0]), (0..20).map(f64::from).collect::<Vec<_>>());
    assert_eq!(noted.notices.len(), 1);
    assert_eq!(noted.notices[0].code.word(), "fit_damaged");
    assert_eq!(noted.notices[0].place.as_ref().unwrap().byte, Some(damaged_at as u64));
}

#[test]
fn times_from_before_the_clock_was_set() {
    let file = |times: &[u32]| {
        let start = FitFile::default().define(0, 20, &[(253, 4, U32)]);
        times.iter().fold(start, |file, time| file.data(0, &[&time.to_le_bytes()]))
    };
    let all = file(&[5000, 5001, 5003]).finish();
    assert_eq!(codes(&all), ["clock_not_set"]);
    assert_eq!(times(&noted(&all).value[0]), [0.0, 1.0, 3.0]);
    let some = file(&[5000, 5001, NEW_YEAR, NEW_YEAR + 1]).finish();
    assert_eq!(codes(&some), ["clock_set_late"]);
    assert_eq!(times(&noted(&some).value[0]), [0.0, 1.0]);
    // timestamp_correlation: at system time 5002 it was NEW_YEAR.
    let told = file(&[5000, 5001, NEW_YEAR]).define(1, 162, &[(253, 4, U32), (1, 4, U32)]);
    let told = clean(&told.data(1, &[&at(0), &5002_u32.to_le_bytes()]));
    assert_eq!(times(&told), [0.0, 1.0, 2.0]);
    assert_eq!(told.start().to_string(), "2024-12-31T23:59:58Z");
}

#[test]
fn out_of_order_times_stay_in_the_order_of_the_file() {
    let start = FitFile::default().define(0, 20, &[(253, 4, U32)]);
    let file = [5, 6, 2, 2].iter().fold(start, |file, second| file.data(0, &[&at(*second)]));
    let recording = clean(&file);
    assert_eq!(recording.start().to_string(), "2025-01-01T00:00:02Z");
    assert_eq!(times(&recording), [3.0, 4.0, 0.0, 0.0]);
}

#[test]
fn files_that_are_no_recording() {
    let of_type = |number: u8| FitFile::default().define(0, 0, &[(0, 1, ENUM)]).data(0, &[&[number]]);
    let kind = |file: &FitFile| read(&file.finish(), &ReadConfig::default()).unwrap_err().kind;
    assert_eq!(kind(&of_type(5)), ReadErrorKind::NotARecording { content: "a workout to follow" });
    let course = of_type(6).define(1, 20, &[(253, 4, U32)]).data(1, &[&at(0)]);
    assert_eq!(kind(&course), ReadErrorKind::NotARecording { content: "a course to follow" });
    assert_eq!(kind(&of_type(4)), ReadErrorKind::NoSamples);
    let timeless = of_type(4).define(1, 20, &[(3, 1, U8)]).data(1, &[&[100]]);
    assert_eq!(kind(&timeless), ReadErrorKind::RecordsWithoutTimes { records: 1 });
}

#[test]
fn values_that_no_legs_have_are_left_out() {
    // Cadence and a lap's length as float32: a field may have any base type that the file states.
    let float = 0x88;
    let file = |cadence: f32, length_ms: f32| {
        records(&[(4, 4, float)], &[&cadence.to_le_bytes()])
            .define(1, 19, &[(253, 4, U32), (2, 4, U32), (7, 4, float)])
            .data(1, &[&at(9), &at(0), &length_ms.to_le_bytes()])
    };
    let told = |cadence, length_ms| {
        let recording = clean(&file(cadence, length_ms));
        (cadences(&recording)[0], recording.laps()[0].end_s)
    };
    assert_eq!(told(80.0, 5000.0), (Some(160.0), Some(5.0)));
    assert_eq!(told(-80.0, -5000.0), (None, Some(9.0)), "the lap then ends when it was written");
    assert_eq!(told(f32::MAX, f32::MAX), (None, Some(9.0)));
}

#[test]
fn a_lap_of_a_workout_s_step_says_so() {
    // lap: 24 lap_trigger, 71 wkt_step_index, in either order; 0xFFFF is no step.
    let file = records(&[], &[&[], &[]])
        .define(1, 19, &[(2, 4, U32), (24, 1, ENUM), (71, 2, U16)])
        .data(1, &[&at(0), &[1], &3_u16.to_le_bytes()])
        .data(1, &[&at(1), &[1], &0xFFFF_u16.to_le_bytes()])
        .define(1, 19, &[(71, 2, U16), (2, 4, U32), (24, 1, ENUM)])
        .data(1, &[&4_u16.to_le_bytes(), &at(2), &[0]]);
    let triggers: Vec<LapTrigger> = clean(&file).laps().iter().map(|lap| lap.trigger).collect();
    assert_eq!(triggers, [LapTrigger::Step, LapTrigger::Time, LapTrigger::Step]);
}

/// A `workout_step`: index, `duration_type` and value in milliseconds, name of four bytes.
const STEP: &[(u8, u8, u8)] = &[(254, 2, U16), (1, 1, ENUM), (2, 4, U32), (0, 4, 0x07)];

fn step(file: FitFile, index: u16, value: u32) -> FitFile {
    file.data(2, &[&index.to_le_bytes(), &[0], &value.to_le_bytes(), b"run\0"])
}

#[test]
fn a_recording_carries_the_first_workout_of_its_file() {
    let file = records(&[], &[&[], &[]]).define(1, 26, &[(8, 6, 0x07)]).define(2, 27, STEP);
    let file = file.data(1, &[b"easy\0?"]);
    // The step of index 7 has no place; what stands behind a second workout belongs to that.
    let file = step(step(step(file, 0, 60_000), 7, 1), 1, 90_000);
    let file = step(file.data(1, &[b"hard\0\0"]), 2, 1);
    let workout = clean(&file).workout().cloned().unwrap();
    assert_eq!(workout.name, "easy");
    let ends: Vec<(&str, StepEnd)> =
        workout.steps.iter().map(|step| (step.name.as_str(), step.end)).collect();
    let time = |seconds| StepEnd::Time(Seconds::new(seconds));
    assert_eq!(ends, [("run", time(60.0)), ("run", time(90.0))]);
    assert!(clean(&records(&[], &[&[], &[]])).workout().is_none());
}

#[test]
fn a_workout_costs_no_more_than_its_size_explains() {
    let file = records(&[], &[&[], &[]]).define(2, 27, STEP).define(3, 18, &[(2, 4, U32), (5, 1, ENUM)]);
    let file = (0..12_000).fold(file, |file, index| step(file, index, 1000));
    let file = (0..300).fold(file, |file, second| file.data(3, &[&at(second), &[1]]));
    let recordings = read(&file.finish(), &ReadConfig::default()).unwrap().value;
    let steps: Vec<usize> = recordings.iter().filter_map(|r| r.workout()).map(|w| w.steps.len()).collect();
    assert_eq!(steps, [10_000], "one session has it, and only so many steps are kept");
}

use GuessedGait::{Run, Stand, Walk};

fn guesses(recording: &Recording) -> Vec<(f64, f64, GuessedGait, GuessSource)> {
    recording.guesses().iter().map(|guess| (guess.start_s, guess.end_s, guess.gait, guess.source)).collect()
}

/// Fields of `split`: type, `start_time`, `end_time`.
const SPLIT: [(u8, u8, u8); 3] = [(0, 1, ENUM), (9, 4, U32), (27, 4, U32)];

#[test]
fn splits_of_run_walk_and_stand_are_guesses() {
    let file = records(&[], &[&[], &[], &[]]).define(1, 312, &SPLIT);
    let file = [(17, 0, 60), (18, 60, 90), (22, 90, 95)]
        .iter()
        .fold(file, |file, &(kind, from, to)| file.data(1, &[&[kind], &at(from), &at(to)]));
    let expected = [(0.0, 60.0, Run), (60.0, 90.0, Walk), (90.0, 95.0, Stand)];
    let expected = expected.map(|(from_s, to_s, gait)| (from_s, to_s, gait, GuessSource::Split));
    assert_eq!(guesses(&clean(&file)), expected);
    // The same with total_elapsed_time in ms, big-endian, and after damage to neither.
    let length = FitFile::default()
        .define_big_endian(0, 20, &[(253, 4, U32)])
        .data(0, &[&NEW_YEAR.to_be_bytes()])
        .define_big_endian(1, 312, &[(1, 4, U32), (9, 4, U32), (0, 1, ENUM)])
        .data(1, &[&2500_u32.to_be_bytes(), &(NEW_YEAR + 3).to_be_bytes(), &[18]]);
    assert_eq!(guesses(&clean(&length)), [(3.0, 5.5, Walk, GuessSource::Split)]);
}

#[test]
fn splits_that_say_nothing_or_nonsense() {
    let split = |kind: u8, from: u32, to: u32| {
        let file = records(&[], &[&[], &[]]).define(1, 312, &SPLIT);
        guesses(&clean(&file.data(1, &[&[kind], &from.to_le_bytes(), &to.to_le_bytes()])))
    };
    let source = GuessSource::Split;
    // What a stretch was meant for (interval_active, run_active), a type that nobody knows, none.
    for kind in [3, 12, 13, 200, 0xFF] {
        assert_eq!(split(kind, NEW_YEAR, NEW_YEAR + 60), []);
    }
    assert_eq!(split(17, NEW_YEAR, NEW_YEAR), [], "no length");
    assert_eq!(split(17, NEW_YEAR + 60, NEW_YEAR), [], "ends before it starts");
    assert_eq!(split(17, u32::MAX, NEW_YEAR), [], "no start");
    assert_eq!(split(17, NEW_YEAR, u32::MAX), [], "no end and no length");
    // Years long, long before and long after: kept as written, cut when the recording is cleaned.
    assert_eq!(split(17, 0x1000_0000, u32::MAX - 1)[0].0, f64::from(0x1000_0000) - f64::from(NEW_YEAR));
    assert_eq!(split(18, NEW_YEAR - 9, NEW_YEAR + 9), [(-9.0, 9.0, Walk, source)]);
    // In the order of the file, overlapping or not.
    let file = records(&[], &[&[], &[]]).define(1, 312, &SPLIT);
    let file = file.data(1, &[&[18], &at(60), &at(90)]).data(1, &[&[17], &at(0), &at(70)]);
    assert_eq!(guesses(&clean(&file)), [(60.0, 90.0, Walk, source), (0.0, 70.0, Run, source)]);
    // Fields of the wrong size are left out, and with them the split.
    let odd = records(&[], &[&[]]).define(1, 312, &[(0, 1, ENUM), (9, 3, U32), (27, 4, U32)]);
    let odd = noted(&odd.data(1, &[&[17], &[0; 3], &at(60)]).finish());
    assert_eq!((odd.notices[0].code.word(), odd.value[0].guesses().len()), ("field_size_odd", 0));
}

#[test]
fn records_that_name_several_gaits_are_guesses() {
    // record: 42 activity_type, running 1, walking 6, sedentary 8.
    let of = |types: &[u8]| {
        let values: Vec<&[u8]> = types.chunks(1).collect();
        guesses(&clean(&records(&[(42, 1, ENUM)], &values)))
    };
    let source = GuessSource::Samples;
    assert_eq!(
        of(&[1, 1, 1, 6, 6, 8, 8]),
        [(0.0, 2.0, Run, source), (3.0, 4.0, Walk, source), (5.0, 6.0, Stand, source)]
    );
    // No type, cycling and one that nobody knows end a stretch; one record alone has no length.
    assert_eq!(
        of(&[1, 1, 0xFF, 1, 1, 2, 77, 6, 6, 1]),
        [(0.0, 1.0, Run, source), (3.0, 4.0, Run, source), (7.0, 8.0, Walk, source)]
    );
    assert_eq!(of(&[1; 9]), [], "one gait throughout repeats the chosen sport");
    // Out of order and repeated times.
    let start = FitFile::default().define(0, 20, &[(253, 4, U32), (42, 1, ENUM)]);
    let file = [(5, 1), (6, 1), (2, 1), (3, 6), (3, 6), (4, 6)];
    let file = file.iter().fold(start, |file, (second, kind)| file.data(0, &[&at(*second), &[*kind]]));
    assert_eq!(guesses(&clean(&file)), [(3.0, 4.0, Run, source), (1.0, 2.0, Walk, source)]);
}

#[test]
fn guesses_go_to_their_session_and_follow_its_clock() {
    let file = records(&[(42, 1, ENUM)], &[&[1], &[1], &[6], &[6], &[6], &[6]])
        .define(1, 18, &[(2, 4, U32), (5, 1, ENUM)])
        .data(1, &[&at(0), &[1]])
        .data(1, &[&at(4), &[11]])
        .define(2, 312, &SPLIT)
        .data(2, &[&[18], &at(4), &at(5)]);
    let both = noted(&file.finish()).value;
    assert_eq!(guesses(&both[0]).len(), 2);
    assert_eq!(guesses(&both[1]), [(0.0, 1.0, Walk, GuessSource::Split)]);
    // Counted from when the recorder was turned on: at system time 5002 it was NEW_YEAR.
    let file = FitFile::default()
        .define(0, 20, &[(253, 4, U32)])
        .data(0, &[&5000_u32.to_le_bytes()])
        .define(1, 162, &[(253, 4, U32), (1, 4, U32)])
        .data(1, &[&at(0), &5002_u32.to_le_bytes()])
        .define(2, 312, &SPLIT)
        .data(2, &[&[17], &5000_u32.to_le_bytes(), &5060_u32.to_le_bytes()]);
    assert_eq!(guesses(&clean(&file)), [(0.0, 60.0, Run, GuessSource::Split)]);
}
