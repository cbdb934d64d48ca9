//! Speed of reading, beside other readers of the same bytes in the same run: `cargo bench -p jogaudit-outside --bench readers`.
//!
//! The files are made up: an hour at one sample a second with every field. `JOGAUDIT_BENCH_DIR` may name a folder of
//! recordings; all its FIT, GPX and TCX files, also in folders inside, are then read one after another as one case more.
//! Each line gives samples and bytes a second. Files that a reader refuses count for it as read.

use std::hint::black_box;
use std::path::Path;
use std::time::Duration;

use criterion::measurement::WallTime;
use criterion::{BenchmarkGroup, Criterion, Throughput, criterion_group, criterion_main};
use jogaudit_core::prescription::Session;
use jogaudit_recording::read::{Format, ReadConfig, read};
use jogaudit_simulate::{Settings, simulate, write};

const FORMATS: [Format; 3] = [Format::Fit, Format::Gpx, Format::Tcx];

fn an_hour(format: Format) -> Vec<u8> {
    let session = Session::parse("20 x (run 2:00, walk 1:00)").expect("the session language");
    let steps = session.expand().fixed_steps().expect("by time only");
    let settings = Settings { seed: 1, hills: true, ..Settings::default() };
    write(&simulate(&steps, &settings).expect("a session"), format).expect("positions")
}

fn folder(dir: &Path, extension: &str, files: &mut Vec<Vec<u8>>) {
    let entries = std::fs::read_dir(dir).unwrap_or_else(|error| panic!("{}: {error}", dir.display()));
    let mut paths: Vec<_> = entries.map(|entry| entry.expect("listed").path()).collect();
    paths.sort();
    for path in paths {
        if path.is_dir() {
            folder(&path, extension, files);
        } else if path.extension().is_some_and(|e| e.eq_ignore_ascii_case(extension)) {
            files.push(std::fs::read(&path).expect("readable"));
        }
    }
}

fn our_samples(bytes: &[u8]) -> usize {
    read(bytes, &ReadConfig::default())
        .map_or(0, |noted| noted.value.iter().map(|recording| recording.samples().len()).sum())
}

/// The least that any reader of XML on this parser does: look at every event.
fn quick_xml_events(bytes: &[u8]) -> usize {
    let mut reader = quick_xml::Reader::from_reader(bytes);
    let mut events = 0;
    while let Ok(event) = reader.read_event() {
        if matches!(event, quick_xml::events::Event::Eof) {
            break;
        }
        black_box(&event);
        events += 1;
    }
    events
}

fn time(
    group: &mut BenchmarkGroup<'_, WallTime>,
    name: &str,
    files: &[Vec<u8>],
    reader: impl Fn(&[u8]) -> usize,
) {
    group.bench_function(name, |bencher| {
        bencher.iter(|| files.iter().map(|file| reader(black_box(file))).sum::<usize>());
    });
}

fn cases(criterion: &mut Criterion, case: &str, format: Format, files: &[Vec<u8>]) {
    let mut group = criterion.benchmark_group(format!("{} {case}", format.name()));
    let bytes = files.iter().map(Vec::len).sum::<usize>() as u64;
    let samples = files.iter().map(|file| our_samples(file)).sum::<usize>() as u64;
    group.throughput(Throughput::ElementsAndBytes { elements: samples, bytes });
    time(&mut group, "jogaudit", files, our_samples);
    match format {
        Format::Fit => {
            time(&mut group, "fitparser", files, |file| fitparser::from_bytes(file).map_or(0, |r| r.len()));
        }
        Format::Gpx => {
            time(&mut group, "quick-xml events", files, quick_xml_events);
            time(&mut group, "gpx", files, |file| gpx::read(file).map_or(0, |gpx| gpx.tracks.len()));
        }
        Format::Tcx => time(&mut group, "quick-xml events", files, quick_xml_events),
    }
    group.finish();
}

fn readers(criterion: &mut Criterion) {
    for format in FORMATS {
        cases(criterion, "hour", format, &[an_hour(format)]);
    }
    let Some(dir) = std::env::var_os("JOGAUDIT_BENCH_DIR") else { return };
    for format in FORMATS {
        let mut files = Vec::new();
        folder(Path::new(&dir), format.name(), &mut files);
        if !files.is_empty() {
            cases(criterion, "folder", format, &files);
        }
    }
}

criterion_group! {
    name = benches;
    config = Criterion::default().warm_up_time(Duration::from_secs(1)).measurement_time(Duration::from_secs(4));
    targets = readers
}
criterion_main!(benches);
