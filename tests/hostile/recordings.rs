//! Recordings that are damaged, made up by hand to do harm, and wrapped.

use std::fmt::Write as _;
use std::io::{Cursor, Write as _};

use flate2::Compression;
use flate2::write::GzEncoder;
use jogaudit_core::prescription::Session;
use jogaudit_recording::read::Format;
use jogaudit_simulate::{Realism, Settings, gzip, simulate, write};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use super::damage::{damaged, odd, one_in, pick};

/// What the session of the seeds prescribes.
pub(super) const SESSION: &str = "walk 0:40, 2 x (run 0:50, walk 0:30)";

/// Simulated recordings that the damage starts from.
pub(super) struct Seeds(Vec<Vec<u8>>);

impl Seeds {
    pub(super) fn new() -> Self {
        let steps = Session::parse(SESSION).unwrap().expand().fixed_steps().unwrap();
        let mut seeds = Vec::new();
        for seed in 0..4 {
            let realism = if seed % 2 == 0 { Realism::Ideal } else { Realism::Realistic };
            let settings = Settings { seed: 3_000_000 + seed, realism, ..Settings::default() };
            let simulated = simulate(&steps, &settings).unwrap();
            seeds.extend(
                [Format::Fit, Format::Gpx, Format::Tcx].map(|format| write(&simulated, format).unwrap()),
            );
        }
        Self(seeds)
    }

    pub(super) fn whole(&self, random: &mut ChaCha8Rng) -> Vec<u8> {
        self.0[random.random_range(0..self.0.len())].clone()
    }

    /// A recording that is damaged, made to do harm, or now and then whole; often wrapped.
    pub(super) fn hostile(&self, random: &mut ChaCha8Rng) -> Vec<u8> {
        let bytes = match random.random_range(0..20) {
            0 => self.whole(random),
            1 | 2 => fit_of_our_own(random),
            3 | 4 => xml_of_our_own(random),
            5 => return bomb(random),
            _ => {
                let (one, two) = (self.whole(random), self.whole(random));
                damaged(random, one, &two)
            }
        };
        match random.random_range(0..8) {
            0 => wrapped(random, &bytes),
            1 => {
                let wrapped = wrapped(random, &bytes);
                damaged(random, wrapped, &bytes)
            }
            _ => bytes,
        }
    }
}

/// Bytes in gzip, zip, or one in the other.
fn wrapped(random: &mut ChaCha8Rng, bytes: &[u8]) -> Vec<u8> {
    let mut whole = bytes.to_vec();
    for _ in 0..random.random_range(1..=3) {
        whole = match random.random_range(0..3) {
            0 => gzip(&whole),
            1 => [gzip(&whole), gzip(bytes)].concat(),
            _ => {
                let files = random.random_range(1..=4);
                zipped((0..files).map(|n| (name(random, n), whole.as_slice())), CompressionMethod::Deflated)
            }
        };
    }
    whole
}

fn name(random: &mut ChaCha8Rng, number: usize) -> String {
    let base = pick(
        random,
        &["a.fit", "b.gpx", "../up.tcx", "/etc/passwd", "deep/er/x.gpx", "x/", "inner.zip", ".hidden"],
    );
    if one_in(random, 4) { format!("{}{number}{base}", odd(random)) } else { format!("{number}{base}") }
}

pub(super) fn zipped<'a>(
    files: impl Iterator<Item = (String, &'a [u8])>,
    method: CompressionMethod,
) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        // A name that cannot stand in an archive, or stands twice, is left out.
        if zip.start_file(name, SimpleFileOptions::default().compression_method(method)).is_ok() {
            zip.write_all(bytes).unwrap();
        }
    }
    zip.finish().unwrap().into_inner()
}

/// Little that unfolds to much. It is never held unfolded here: what a child is said to take counts what we had.
fn bomb(random: &mut ChaCha8Rng) -> Vec<u8> {
    const POINT: &str = "<trkpt lat='1' lon='1'><time>2026-03-02T07:10:00Z</time></trkpt>";
    const TRACK: &str = "<trk><type>run</type><trkseg><trkpt lat='1' lon='1'><time>2026-03-02T07:10:00Z</time></trkpt></trkseg></trk>";
    let piece =
        pick(random, &[" ", "<a>", "<a></a>", POINT, TRACK, "<!-- -->", "&#65;", "<a b='c'/>", "\u{0}"]);
    let bytes = if one_in(random, 12) { 64 << 20 } else { 1 << random.random_range(16..24) };
    // Random bytes spoil the ratio by which bombs are told.
    let noise = if one_in(random, 2) { bytes / 100 } else { 0 };
    let noise: String = (0..noise).map(|_| char::from(random.random_range(b'a'..=b'z'))).collect();
    let head = format!("<?xml version='1.0'?><!--{noise}--><gpx><trk><trkseg>");
    let block = piece.repeat((64 << 10) / piece.len());
    let unfold = |to: &mut dyn std::io::Write| {
        to.write_all(head.as_bytes()).unwrap();
        (0..=bytes / block.len()).for_each(|_| to.write_all(block.as_bytes()).unwrap());
    };
    match random.random_range(0..4) {
        0 => {
            // So many files that their list alone is long.
            let most = random.random_range(1..20_000);
            zipped((0..most).map(|n| (format!("{n}.gpx"), &b"<gpx/>"[..])), CompressionMethod::Stored)
        }
        1 => {
            let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
            for n in 0..=(1 << 24) / bytes.max(1 << 21) {
                zip.start_file(format!("{n}.gpx"), SimpleFileOptions::default()).unwrap();
                unfold(&mut zip);
            }
            zip.finish().unwrap().into_inner()
        }
        kind => {
            let mut gz = GzEncoder::new(Vec::new(), Compression::fast());
            unfold(&mut gz);
            let gz = gz.finish().unwrap();
            if kind == 2 { gz } else { gzip(&gz) }
        }
    }
}

/// A FIT file whose definitions, values and lengths are drawn, with checksums that fit.
fn fit_of_our_own(random: &mut ChaCha8Rng) -> Vec<u8> {
    const TYPES: [u8; 17] =
        [0, 1, 2, 0x83, 0x84, 0x85, 0x86, 7, 0x88, 0x89, 0x0a, 0x8b, 0x8c, 0x0d, 0x8e, 0x8f, 0x90];
    const MESSAGES: [u16; 12] = [0, 18, 19, 20, 21, 23, 34, 49, 206, 207, 312, 0xff00];
    let mut data = Vec::new();
    let mut sizes = [None; 16];
    let messages = if one_in(random, 10) { 100_000 } else { 300 };
    for _ in 0..random.random_range(1..messages) {
        let local = random.random_range(0..16_usize);
        match sizes[local] {
            Some(size) if !one_in(random, 10) => {
                let header = if one_in(random, 8) { 0x80 | random.random::<u8>() } else { local as u8 };
                data.push(header);
                let like: u8 = random.random();
                data.extend((0..size).map(|_| if random.random_bool(0.7) { like } else { random.random() }));
            }
            _ => {
                let has_developer_fields = one_in(random, 6);
                data.push(0x40 | local as u8 | if has_developer_fields { 0x20 } else { 0 });
                data.extend([0, u8::from(one_in(random, 3))]);
                data.extend(MESSAGES[random.random_range(0..MESSAGES.len())].to_le_bytes());
                let fields = if one_in(random, 10) { 255 } else { random.random_range(0..8) };
                data.push(fields);
                let mut size = 0;
                let mut field = |random: &mut ChaCha8Rng, last: u8| {
                    let length =
                        if one_in(random, 6) { random.random() } else { *pick(random, &[&1_u8, &2, &4, &8]) };
                    size += usize::from(length);
                    let number = *pick(random, &[&253_u8, &0, &1, &2, &3, &4, &5, &6, &7, &78, &73, &254]);
                    [number, length, last]
                };
                for _ in 0..fields {
                    let kind = TYPES[random.random_range(0..TYPES.len())];
                    let bytes = field(random, kind);
                    data.extend(bytes);
                }
                if has_developer_fields {
                    data.push(1);
                    let bytes = field(random, 0);
                    data.extend(bytes);
                }
                sizes[local] = Some(size);
            }
        }
        data.truncate(4 << 20);
    }
    let length = if one_in(random, 5) { random.random() } else { data.len() as u32 };
    let mut file = vec![14, 0x20, 0x35, 0x08];
    file.extend(length.to_le_bytes());
    file.extend(b".FIT");
    file.extend(crc(&file).to_le_bytes());
    file.extend(&data);
    file.extend(crc(&file).to_le_bytes());
    if one_in(random, 4) { file.repeat(random.random_range(2..6)) } else { file }
}

/// CRC-16/ARC, by its bits.
fn crc(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| if crc & 1 == 1 { crc >> 1 ^ 0xa001 } else { crc >> 1 })
    })
}

/// GPX or TCX whose times, places and values are drawn, some of them odd, nested as nobody nests.
#[expect(clippy::too_many_lines, reason = "two formats, each told once")]
fn xml_of_our_own(random: &mut ChaCha8Rng) -> Vec<u8> {
    let is_gpx = random.random();
    let points = if one_in(random, 15) { 20_000 } else { 400 };
    let mut text = String::new();
    let mut second: i64 = 0;
    for _ in 0..random.random_range(1..points) {
        second += match random.random_range(0..60) {
            0 => random.random_range(-100_000..100_000),
            1 => random.random_range(-3_000_000_000..3_000_000_000),
            2 => 0,
            _ => 1,
        };
        let time = jiff::Timestamp::from_second(1_772_000_000 + second)
            .map_or_else(|_| "?".to_owned(), |t| t.to_string());
        let mut number = |usual: f64| {
            if one_in(random, 40) {
                odd(random).replace('<', "")
            } else {
                format!("{:.6}", usual * random.random::<f64>())
            }
        };
        let (lat, lon, height, rate, cadence, speed) =
            (number(90.0), number(180.0), number(3000.0), number(220.0), number(120.0), number(9.0));
        let _ = if is_gpx {
            write!(
                text,
                "<trkpt lat=\"{lat}\" lon=\"{lon}\"><ele>{height}</ele><time>{time}</time><extensions><TrackPointExtension>\
                <hr>{rate}</hr><cad>{cadence}</cad><speed>{speed}</speed></TrackPointExtension></extensions></trkpt>"
            )
        } else {
            write!(
                text,
                "<Trackpoint><Time>{time}</Time><Position><LatitudeDegrees>{lat}</LatitudeDegrees><LongitudeDegrees>{lon}\
                </LongitudeDegrees></Position><AltitudeMeters>{height}</AltitudeMeters><DistanceMeters>{speed}</DistanceMeters>\
                <HeartRateBpm><Value>{rate}</Value></HeartRateBpm><Cadence>{cadence}</Cadence></Trackpoint>"
            )
        };
        if one_in(random, 100) {
            text += pick(
                random,
                &[
                    "</trkseg><trkseg>",
                    "</trk><trk>",
                    "</Track><Track>",
                    "</Lap><Lap StartTime='x'>",
                    "<a><b>",
                    "<![CDATA[",
                    "<!DOCTYPE x [<!ENTITY a 'b'>]>",
                ],
            );
        }
    }
    let depth = if one_in(random, 10) { random.random_range(1..60_000) } else { 0 };
    let (open, close) = ("<a>".repeat(depth), "</a>".repeat(depth));
    if is_gpx {
        format!("<gpx>{open}<trk><trkseg>{text}</trkseg></trk>{close}</gpx>").into_bytes()
    } else {
        format!(
            "<TrainingCenterDatabase><Activities>{open}<Activity Sport='Running'><Lap StartTime='2026-03-02T07:10:00Z'><Track>\
             {text}</Track></Lap></Activity>{close}</Activities></TrainingCenterDatabase>"
        )
        .into_bytes()
    }
}
