//! What stays: every field of each format but the position, activities in their order, envelopes, and whatever can be saved of
//! damaged files.

use std::io::{Cursor, Read, Write};

use jogaudit_core::on_foot::OffFoot;
use jogaudit_core::pipeline::Config;
use jogaudit_core::prescription::Session;
use jogaudit_recording::notice::NoticeCode;
use jogaudit_recording::read::{
    Format, Guess, GuessSource, GuessedGait, Lap, LapIntensity, LapTrigger, Recording, Sample, Sport,
    TimerEvent, read,
};
use jogaudit_share::{Shared, without_places};
use jogaudit_simulate::{
    CadenceStep, Channels, Guesses, Laps, Sampling, Settings, Window, gzip, simulate, write,
};

fn shared(bytes: &[u8]) -> Shared {
    without_places(bytes, &Config::default()).unwrap()
}

fn recordings(bytes: &[u8]) -> Vec<Recording> {
    read(bytes, &Config::default().read).unwrap().value
}

/// A session with everything in it that the format has a place for.
fn busy(format: Format) -> Vec<u8> {
    let steps =
        Session::parse("walk 2:00, 3 x (run 1:00, walk 1:00)").unwrap().expand().fixed_steps().unwrap();
    let settings = Settings {
        seed: 11,
        format,
        hills: true,
        missing: 0.05,
        laps: Laps::Steps,
        guesses: Guesses::Right,
        cadence_step: CadenceStep::HalfStride,
        utc_offset_s: (format == Format::Fit).then_some(-12_600),
        pauses: vec![Window { at_s: Some(150.0), length_s: 30.0 }],
        ..Settings::default()
    };
    write(&simulate(&steps, &settings).unwrap(), format).unwrap()
}

/// A recording but for its positions, what they told, its format and its laps.
fn rest(
    recording: &Recording,
) -> (Vec<Sample>, Vec<TimerEvent>, Vec<Guess>, Sport, jiff::Timestamp, Option<i32>) {
    let parts = recording.clone().into_parts();
    let bare = |sample| Sample { position: None, speed_by_positions: None, ..sample };
    let samples = parts.samples.into_iter().map(bare).collect();
    (samples, parts.timer, parts.guesses, parts.sport, parts.start, parts.utc_offset_s)
}

#[test]
fn every_field_but_the_position_stays() {
    for format in [Format::Fit, Format::Tcx, Format::Gpx] {
        let bytes = busy(format);
        let sent = shared(&bytes);
        let (before, after) = (&recordings(&bytes)[0], &recordings(&sent.bytes)[0]);
        assert_eq!(rest(before), rest(after), "{format:?}");
        assert!(!before.timer().is_empty());
        assert!(after.samples().iter().all(|sample| sample.position.is_none()));
        assert!(after.samples().iter().filter(|s| s.speed_by_positions.is_some()).count() > 300);
        if format == Format::Gpx {
            assert_eq!((after.format(), sent.ending), (Format::Tcx, Some(".tcx")));
            assert_eq!(after.laps().len(), 1, "TCX asks for one");
        } else {
            assert_eq!((after.format(), sent.ending), (format, None));
            assert_eq!(before.laps(), after.laps());
            assert!(before.laps().len() > 5);
        }
        assert_eq!(format == Format::Fit, !before.guesses().is_empty());
        assert_eq!(shared(&sent.bytes).bytes, sent.bytes, "once more changes nothing");
        assert_eq!(shared(&sent.bytes).with_places, 0);
    }
}

/// A TCX document of these activities.
fn tcx(activities: &str) -> Vec<u8> {
    format!("<TrainingCenterDatabase><Activities>{activities}</Activities></TrainingCenterDatabase>")
        .into_bytes()
}

#[test]
fn laps_pauses_sports_and_offsets_of_tcx_stay() {
    let point = |s: u32, inside: &str| {
        format!(
            "<Trackpoint><Time>2026-03-02T08:{:02}:{:02}.25+01:00</Time>{inside}</Trackpoint>",
            s / 60,
            s % 60
        )
    };
    let lap = |s: u32, inside: &str, tracks: &str| {
        format!("<Lap StartTime='2026-03-02T08:{:02}:{:02}+01:00'>{inside}{tracks}</Lap>", s / 60, s % 60)
    };
    let work = "<TotalTimeSeconds>60</TotalTimeSeconds><Intensity>Active</Intensity><TriggerMethod>Manual</TriggerMethod>";
    let rest_lap = "<TotalTimeSeconds>30.5</TotalTimeSeconds><Intensity>Resting</Intensity><TriggerMethod>Distance</TriggerMethod>";
    let tracks = format!(
        "<Track>{}{}</Track><Track>{}</Track>",
        point(0, "<Cadence>82</Cadence>"),
        point(10, ""),
        point(50, "")
    );
    let first = format!(
        "<Activity Sport='Running'>{}{}{}</Activity>",
        lap(0, work, &tracks),
        lap(60, rest_lap, &format!("<Track>{}</Track>", point(61, "<Cadence>50</Cadence>"))),
        lap(100, "", "")
    );
    let ride = format!(
        "<Activity Sport='Biking'>{}</Activity>",
        lap(200, work, &format!("<Track>{}</Track>", point(200, "")))
    );
    let walk = format!(
        "<Activity Sport='hiking'>{}</Activity>",
        lap(300, work, &format!("<Track>{}</Track>", point(300, "")))
    );
    let bytes = tcx(&[first, ride, walk].concat());
    let sent = shared(&bytes);
    let (before, after) = (recordings(&bytes), recordings(&sent.bytes));
    assert_eq!((before.len(), after.len(), sent.activities), (3, 3, 3));
    for (before, after) in before.iter().zip(&after) {
        let (a, b) = (rest(before), rest(after));
        assert_eq!((a.0, a.1, a.2, a.4, a.5), (b.0, b.1, b.2, b.4, b.5));
        let of = |laps: &[Lap]| laps.iter().map(|l| (l.start_s, l.trigger, l.intensity)).collect::<Vec<_>>();
        assert_eq!(of(before.laps()), of(after.laps()));
    }
    assert_eq!(after[0].timer().len(), 2);
    assert_eq!(after[0].utc_offset_s(), Some(3600));
    assert_eq!(
        (after[0].laps()[1].trigger, after[0].laps()[1].intensity),
        (LapTrigger::Distance, LapIntensity::Rest)
    );
    assert_eq!((after[1].sport().word(), after[2].sport()), (Some("cycling"), &Sport::Walking));
    // 82 and 50 without a speed were taken for one leg's; what is sent says so outright and leaves nothing to settle.
    assert_eq!(
        after[0].samples()[0].cadence.map(jogaudit_recording::units::StepsPerMinute::get),
        Some(164.0)
    );
    let codes = |bytes: &[u8]| {
        read(bytes, &Config::default().read).unwrap().notices.iter().map(|n| n.code).collect::<Vec<_>>()
    };
    assert_eq!(codes(&bytes), [NoticeCode::CadenceDoubled]);
    assert_eq!(sent.notices[0].code, NoticeCode::CadenceDoubled, "the sender is told");
    assert_eq!(codes(&sent.bytes), []);
}

#[test]
fn steps_of_a_workout_and_guesses_by_samples_stay_in_fit() {
    let mut parts = recordings(&busy(Format::Fit)).remove(0).into_parts();
    // By a first writing of these parts into a file: the simulator's writer knows neither.
    parts.laps[1] = Lap { trigger: LapTrigger::Step, step: Some(3), ..parts.laps[1] };
    parts.laps[2] = Lap { intensity: LapIntensity::WarmUp, ..parts.laps[2] };
    parts.laps[3] = Lap { intensity: LapIntensity::Unknown, trigger: LapTrigger::Other, ..parts.laps[3] };
    let guess = |start: usize, end: usize, gait| Guess {
        start_s: parts.samples[start].time_s,
        end_s: parts.samples[end].time_s,
        gait,
        source: GuessSource::Samples,
    };
    parts.guesses = vec![
        guess(10, 60, GuessedGait::Walk),
        guess(61, 90, GuessedGait::Run),
        guess(95, 99, GuessedGait::Stand),
    ];
    parts.samples.iter_mut().for_each(|sample| sample.position = None);
    let made = Recording::new(parts).unwrap();
    let bytes = jogaudit_share::written(std::slice::from_ref(&made)).unwrap();
    assert_eq!(recordings(&bytes), [made]);
}

#[test]
fn several_activities_keep_their_numbers_in_every_envelope() {
    let (fit, gpx, tcx) = (busy(Format::Fit), busy(Format::Gpx), busy(Format::Tcx));
    let chain = [fit.clone(), fit.clone()].concat();
    let files: [(&str, &[u8]); 5] = [
        ("b/ride home.fit", &chain),
        ("readme.txt", b"none"),
        ("a.gpx", &gpx),
        ("c.tcx.gz", &gzip(&tcx)),
        ("d.fit", &fit[..900]),
    ];
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in files {
        zip.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        zip.write_all(content).unwrap();
    }
    let archive = zip.finish().unwrap().into_inner();
    for (bytes, ending) in [
        (chain.clone(), ".fit"),
        (gzip(&chain), ".fit.gz"),
        (gzip(&gpx), ".tcx.gz"),
        (gzip(&tcx), ".tcx.gz"),
        (archive.clone(), ".zip"),
    ] {
        let sent = shared(&bytes);
        let (before, after) = (recordings(&bytes), recordings(&sent.bytes));
        assert_eq!(before.iter().map(rest).collect::<Vec<_>>(), after.iter().map(rest).collect::<Vec<_>>());
        assert_eq!(sent.name_ending, ending);
        assert_eq!(sent.ending.is_some(), before[0].format() == Format::Gpx);
        assert_eq!(shared(&bytes).bytes, sent.bytes, "the same bytes each time");
    }
    let sent = shared(&archive);
    let mut zip = zip::ZipArchive::new(Cursor::new(&sent.bytes[..])).unwrap();
    let names: Vec<String> =
        (0..zip.len()).map(|index| zip.by_index(index).unwrap().name().unwrap().into_owned()).collect();
    assert_eq!(names, ["1.fit", "2.fit", "3.tcx", "4.tcx", "5.fit"]);
    let mut first = Vec::new();
    zip.by_index(0).unwrap().read_to_end(&mut first).unwrap();
    assert_eq!(recordings(&first).len(), 1);
    assert!(sent.notices.iter().any(|notice| notice.code == NoticeCode::ZipOtherFiles));
}

#[test]
fn who_is_too_fast_to_be_on_foot_stays_so() {
    // 9 m/s for half an hour, by positions alone, in a file that does not say its sport.
    let point = |s: u32| {
        let (minute, second, lon) = (s / 60, s % 60, 0.5 + f64::from(s) * 9.0 / 111_320.0);
        format!("<trkpt lat='0.5' lon='{lon:.6}'><time>2026-03-02T07:{minute:02}:{second:02}Z</time></trkpt>")
    };
    for step in [1, 30] {
        let points: String = (0..1800).step_by(step).map(point).collect();
        let bytes = format!("<gpx><trk><trkseg>{points}</trkseg></trk></gpx>").into_bytes();
        let sent = shared(&bytes);
        let off = |bytes: &[u8]| OffFoot::of(&recordings(bytes)[0], &Config::default().clean);
        let (Some(OffFoot::TooFast { distance_m: a, .. }), Some(OffFoot::TooFast { distance_m: b, .. })) =
            (off(&bytes), off(&sent.bytes))
        else {
            panic!("{:?} {:?}", off(&bytes), off(&sent.bytes));
        };
        // Positions count every 15 s, and the way ends with the last that does.
        assert!((a - b).abs() < 15.0 * 9.0, "{a} {b}");
    }
}

#[test]
fn what_can_be_saved_of_damaged_files_is_sent_and_nothing_panics() {
    let config = Config::default();
    let mut sent = 0;
    for format in [Format::Fit, Format::Tcx, Format::Gpx] {
        let sampling =
            Settings { format, sampling: Sampling::Slow, channels: Channels::ALL, ..Settings::default() };
        let steps = Session::parse("walk 1:00, run 1:00").unwrap().expand().fixed_steps().unwrap();
        let whole = write(&simulate(&steps, &sampling).unwrap(), format).unwrap();
        for number in 0..60_usize {
            let mut bytes = whole.clone();
            if number % 2 == 0 {
                bytes.truncate(bytes.len() * number / 60);
            }
            for k in 0..number % 7 {
                let at = (number * 7919 + k * 104_729) % bytes.len().max(1);
                if let Some(byte) = bytes.get_mut(at) {
                    *byte = byte.wrapping_mul(31).wrapping_add(number as u8);
                }
            }
            let (Ok(before), Ok(shared)) = (read(&bytes, &config.read), without_places(&bytes, &config))
            else {
                continue;
            };
            let after = recordings(&shared.bytes);
            sent += 1;
            assert_eq!(before.value.len(), after.len());
            for (before, after) in before.value.iter().zip(&after) {
                assert_eq!((before.start(), before.samples().len()), (after.start(), after.samples().len()));
                let times = |r: &Recording| r.samples().iter().map(|s| s.time_s).collect::<Vec<_>>();
                assert_eq!(times(before), times(after), "{format:?} {number}");
            }
        }
    }
    assert!(sent > 100, "{sent}");
}

#[test]
fn the_files_of_testdata_are_shared_where_they_can_be_read() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../testdata");
    let list = |folder: &str| {
        std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect::<Vec<_>>()
    };
    let (mut read_count, mut all) = (0, 0);
    for path in
        [list(folder), list(&format!("{folder}/malformed"))].concat().iter().filter(|path| path.is_file())
    {
        let bytes = std::fs::read(path).unwrap();
        all += 1;
        let before = read(&bytes, &Config::default().read);
        let sent = without_places(&bytes, &Config::default());
        assert_eq!(before.is_ok(), sent.is_ok(), "{path:?}");
        let (Ok(before), Ok(sent)) = (before, sent) else { continue };
        read_count += 1;
        let after = recordings(&sent.bytes);
        assert_eq!(before.value.len(), after.len());
        for (before, after) in before.value.iter().zip(&after) {
            assert_eq!(rest(before).1, rest(after).1, "{path:?}");
            assert_eq!(
                (before.start(), before.utc_offset_s()),
                (after.start(), after.utc_offset_s()),
                "{path:?}"
            );
            assert_eq!(before.samples().len(), after.samples().len());
            assert_eq!(before.sport().on_foot(), after.sport().on_foot());
        }
    }
    assert!(read_count > 15 && read_count < all, "{read_count} of {all}");
}
