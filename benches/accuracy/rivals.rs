//! Ours and its rivals: each makes spans of a series.

use std::collections::BTreeMap;
use std::hash::{Hash, Hasher};
use std::io::{BufRead, BufReader, Write};
use std::process::{Command, Stdio};

use jogaudit_core::clean::Series;
use jogaudit_core::gait::agreement::GaitSpan;
use jogaudit_core::gait::{Gait, GaitConfig, segment};

/// What is found, with a certainty where there is one.
pub(crate) struct Found {
    pub(crate) spans: Vec<GaitSpan>,
    pub(crate) certainty: Vec<f64>,
    /// Standard error of each start, s.
    pub(crate) error_s: Vec<f64>,
}

impl Found {
    /// Adds the bouts, to the last bit, to a digest of many.
    pub(crate) fn hash_into(&self, digest: &mut impl Hasher) {
        for (span, certainty) in self.spans.iter().zip(&self.certainty) {
            (span.gait, span.start_s.to_bits(), span.end_s.to_bits(), certainty.to_bits()).hash(digest);
        }
    }

    fn plain(spans: Vec<GaitSpan>) -> Self {
        Self { certainty: vec![f64::NAN; spans.len()], error_s: vec![f64::NAN; spans.len()], spans }
    }
}

pub(crate) fn ours(series: &Series) -> Found {
    let found = segment(series, &GaitConfig::default(), None).value;
    Found {
        spans: found.bouts().iter().map(GaitSpan::from).collect(),
        certainty: found.bouts().iter().map(|b| b.certainty).collect(),
        error_s: found.bouts().iter().map(|b| b.start_error_s).collect(),
    }
}

fn filled(column: &[Option<f64>]) -> Option<Vec<f64>> {
    let known: Vec<(usize, f64)> = column.iter().enumerate().filter_map(|(i, v)| v.map(|v| (i, v))).collect();
    if known.len() * 3 < column.len() || known.len() < 10 {
        return None;
    }
    let mut out = vec![0.0; column.len()];
    let mut next = 0;
    for (i, value) in out.iter_mut().enumerate() {
        while next < known.len() && known[next].0 < i {
            next += 1;
        }
        *value = match (next.checked_sub(1).map(|k| known[k]), known.get(next)) {
            (Some((a, u)), Some(&(b, v))) => u + (v - u) * (i - a) as f64 / (b - a) as f64,
            (Some((_, u)), None) => u,
            (None, Some(&(_, v))) => v,
            (None, None) => 0.0,
        };
    }
    Some(out)
}

fn median(values: &[f64], width: usize) -> Vec<f64> {
    (0..values.len())
        .map(|i| {
            let mut window =
                values[i.saturating_sub(width / 2)..(i + width / 2 + 1).min(values.len())].to_vec();
            window.sort_by(f64::total_cmp);
            window[window.len() / 2]
        })
        .collect()
}

fn spans_of(series: &Series, gaits: &[Gait]) -> Vec<GaitSpan> {
    let mut out: Vec<GaitSpan> = Vec::new();
    let mut start_s = 0.0;
    for i in 1..=gaits.len() {
        if i == gaits.len() || gaits[i] != gaits[i - 1] {
            let end_s = if i == gaits.len() {
                series.elapsed_s()
            } else {
                f64::midpoint(series.time_s()[i - 1], series.time_s()[i])
            };
            out.push(GaitSpan { gait: gaits[i - 1], start_s, end_s });
            start_s = end_s;
        }
    }
    out
}

/// Run at or above `run`, standing below `stand`, after a median filter.
fn by_threshold(
    series: &Series,
    column: &[Option<f64>],
    width: usize,
    stand: f64,
    run: f64,
) -> Option<Found> {
    let gait = |&value: &f64| match value {
        v if v >= run => Gait::Run,
        v if v < stand => Gait::Stand,
        _ => Gait::Walk,
    };
    let gaits: Vec<Gait> = median(&filled(column)?, width).iter().map(gait).collect();
    Some(Found::plain(spans_of(series, &gaits)))
}

/// Run at 2.0 m/s or more.
pub(crate) fn speed_threshold(series: &Series, width: usize) -> Option<Found> {
    by_threshold(series, series.speed_mps(), width, 0.5, 2.0)
}

/// The bare rival: run at 1.9 m/s or more after a median over 9 s, standing below 0.5 m/s for 10 s or more. The last is in its favour:
/// a recorder's speed begins at 0, which would cost it the count of every recording.
pub(crate) fn bare(series: &Series) -> Option<Found> {
    const WIDTH_S: f64 = 9.0;
    const SHORTEST_STAND_S: f64 = 10.0;
    let times_s = series.time_s();
    let seconds = times_s.last().copied().unwrap_or(0.0) / times_s.len().max(2) as f64;
    // So many samples, an odd number, as span the seconds.
    let width = 2 * (0.5 * WIDTH_S / seconds).floor() as usize + 1;
    let found = by_threshold(series, series.speed_mps(), width, 0.5, 1.9)?;
    let mut spans: Vec<GaitSpan> = Vec::new();
    for span in found.spans {
        let moves = span.gait == Gait::Stand && span.end_s - span.start_s < SHORTEST_STAND_S;
        let gait = if moves { Gait::Walk } else { span.gait };
        match spans.last_mut() {
            Some(last) if last.gait == gait => last.end_s = span.end_s,
            _ => spans.push(GaitSpan { gait, ..span }),
        }
    }
    Some(Found::plain(spans))
}

/// Run at 140 steps/min or more.
pub(crate) fn cadence_threshold(series: &Series, width: usize) -> Option<Found> {
    by_threshold(series, series.cadence_spm(), width, 40.0, 140.0)
}

/// Gait, start and end in seconds, and how sure, as the Python rivals write a bout.
type Answered = (String, f64, f64, Option<f64>);

/// The Python rivals, one process for all recordings.
pub(crate) struct Rivals {
    input: std::process::ChildStdin,
    output: BufReader<std::process::ChildStdout>,
}

impl Rivals {
    pub(crate) fn start(python: &str) -> Self {
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../../benches/accuracy/rivals.py");
        let kept = concat!(env!("CARGO_MANIFEST_DIR"), "/../../target/rivals");
        let mut child = Command::new(python)
            .args([script, kept])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the rivals' Python starts");
        Self {
            input: child.stdin.take().expect("piped"),
            output: BufReader::new(child.stdout.take().expect("piped")),
        }
    }

    pub(crate) fn ask(&mut self, series: &Series, penalties: &[u32]) -> BTreeMap<String, Found> {
        let asked = serde_json::json!({
            "time_s": series.time_s(), "speed_mps": series.speed_mps(), "cadence_spm": series.cadence_spm(),
            "elapsed_s": series.elapsed_s(), "penalties": penalties,
        });
        writeln!(self.input, "{asked}").expect("the rivals listen");
        let mut line = String::new();
        self.output.read_line(&mut line).expect("the rivals answer");
        let answer: BTreeMap<String, Vec<Answered>> = serde_json::from_str(&line).expect("JSON");
        let gait = |word: &str| match word {
            "run" => Gait::Run,
            "walk" => Gait::Walk,
            _ => Gait::Stand,
        };
        let found = |spans: Vec<Answered>| Found {
            certainty: spans.iter().map(|s| s.3.unwrap_or(f64::NAN)).collect(),
            error_s: vec![f64::NAN; spans.len()],
            spans: spans.iter().map(|s| GaitSpan { gait: gait(&s.0), start_s: s.1, end_s: s.2 }).collect(),
        };
        answer.into_iter().map(|(name, spans)| (name, found(spans))).collect()
    }
}
