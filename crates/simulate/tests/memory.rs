//! Memory of reading: no allocation for a point, and a peak in proportion to what is read.

#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

use allocation_counter::{AllocationInfo, measure};
use jogaudit_core::pipeline::{Config, review_case, segment_recording};
use jogaudit_core::prescription::{Plan, Session};
use jogaudit_core::review::{Recorded, Written};
use jogaudit_recording::read::{Format, ReadConfig, Recording, Sample, read};
use jogaudit_simulate::{Laps, Settings, Simulated, gzip, simulate, write};

fn simulated(hours: usize) -> Simulated {
    let session = Session::parse(&format!("{} x (run 2:00, walk 1:00)", 20 * hours)).unwrap();
    let settings = Settings { seed: 1, hills: true, laps: Laps::Steps, ..Settings::default() };
    simulate(&session.expand().fixed_steps().unwrap(), &settings).unwrap()
}

/// What reading takes, and the bytes of the samples that it gives.
fn reading(name: &str, bytes: &[u8]) -> (AllocationInfo, u64) {
    let mut samples = 0;
    let info = measure(|| {
        let noted = read(bytes, &ReadConfig::default()).unwrap();
        samples = noted.value.iter().map(|recording| recording.samples().len()).sum();
    });
    assert_eq!(info.bytes_current, 0, "nothing is left behind");
    let sample_bytes = (samples * size_of::<Sample>()) as u64;
    println!(
        "{name}: {samples} samples, {} allocations, peak {} bytes, {:.2} times the samples",
        info.count_total,
        info.bytes_max,
        info.bytes_max as f64 / sample_bytes as f64
    );
    (info, sample_bytes)
}

#[test]
fn points_are_not_allocated_one_by_one() {
    let (one, eight) = (simulated(1), simulated(8));
    for format in [Format::Fit, Format::Gpx, Format::Tcx] {
        let (short, _) = reading(&format!("{} of 1 h", format.name()), &write(&one, format).unwrap());
        let (long, _) = reading(&format!("{} of 8 h", format.name()), &write(&eight, format).unwrap());
        // Lists grow by half: eight times as long is five steps more, for each of a few lists.
        assert!(short.count_total < 200, "{short:?}");
        assert!(long.count_total <= short.count_total + 50, "{short:?} {long:?}");
    }
}

#[test]
fn the_peak_is_at_most_three_times_what_is_read() {
    for hours in [1, 3, 8] {
        let simulated = simulated(hours);
        for format in [Format::Fit, Format::Gpx, Format::Tcx] {
            let name = format!("{} of {hours} h", format.name());
            let plain = write(&simulated, format).unwrap();
            let (info, sample_bytes) = reading(&name, &plain);
            assert!(info.bytes_max <= 3 * sample_bytes, "{info:?}");
            // The unfolded bytes count too when there are any.
            let (info, sample_bytes) = reading(&format!("{name}, gzipped"), &gzip(&plain));
            assert!(info.bytes_max <= 3 * (sample_bytes + plain.len() as u64), "{info:?}");
            if format != Format::Fit {
                let text = std::str::from_utf8(&plain).unwrap();
                let utf16: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
                let (info, sample_bytes) = reading(&format!("{name}, UTF-16"), &utf16);
                assert!(info.bytes_max <= 3 * (sample_bytes + plain.len() as u64), "{info:?}");
            }
        }
    }
}

/// Each of them a sample: many that are one activity, and more than are read.
#[test]
fn very_many_short_activities_take_no_more_than_their_samples() {
    const COUNT: usize = 200_000;
    let track =
        "<trk><trkseg><trkpt lat='1' lon='1'><time>2026-03-02T07:10:00Z</time></trkpt></trkseg></trk>";
    let activity = "<Activity Sport='Running'><Lap StartTime='2026-03-02T07:10:00Z'><Track><Trackpoint>\
        <Time>2026-03-02T07:10:00Z</Time></Trackpoint></Track></Lap></Activity>";
    for (name, text) in [
        ("gpx", format!("<gpx>{}</gpx>", track.repeat(COUNT))),
        ("tcx", format!("<TrainingCenterDatabase>{}</TrainingCenterDatabase>", activity.repeat(COUNT))),
    ] {
        let info = measure(|| drop(read(text.as_bytes(), &ReadConfig::default())));
        println!("{COUNT} activities of a sample, {name}: peak {} bytes", info.bytes_max);
        assert!(info.bytes_max <= (4 * COUNT * size_of::<Sample>()) as u64, "{name}: {info:?}");
    }
}

#[test]
fn a_hole_of_years_costs_a_review_as_much_as_a_short_one() {
    let simulated = simulated(1);
    let plan = Plan::parse("[[stage]]\nname = '1'\nsession = '20 x (run 2:00, walk 1:00)'").unwrap().value;
    let reviewing = |hole_s: f64| {
        let mut parts = simulated.recording_in(Format::Fit).unwrap().into_parts();
        let half = parts.samples.len() / 2;
        parts.samples[half..].iter_mut().for_each(|sample| sample.time_s += hole_s);
        let recording = Recording::new(parts).unwrap();
        let config = Config::default();
        let segmented = segment_recording(&recording, &config);
        let recorded = Recorded {
            name: "a".to_owned(),
            content: String::new(),
            channels: 4,
            series: segmented.series,
            segmentation: segmented.segmentation,
            notices: segmented.notices,
        };
        let written = Written::default();
        let as_of = jiff::civil::date(2035, 1, 1);
        measure(|| drop(review_case(&plan, &written, vec![recorded], Vec::new(), as_of, &config))).bytes_max
    };
    let (short, long) = (reviewing(600.0), reviewing(8.0 * 365.0 * 86_400.0));
    println!("a review of an hour: peak {short} bytes with a hole of 10 min, {long} with one of 8 years");
    assert!(long < 2 * short);
}

#[test]
fn a_measured_allocation_is_seen() {
    let info = measure(|| drop(std::hint::black_box(vec![0_u8; 1000])));
    assert_eq!((info.count_total, info.bytes_max), (1, 1000));
}
