//! The readings of a recording as the page's script takes them. Nothing here knows of gaits.

use serde_json::{Value, json};

use jogaudit_core::clean::{GapKind, Series};

use super::marks::thousandths;

/// Metres a second to kilometres an hour.
const KMH_PER_MPS: f64 = 3.6;

/// Times, s from the first sample; a list of values a curve, null where nothing is known; where nothing was recorded, and why.
pub(super) fn json(series: &Series) -> String {
    let curves: Vec<Value> = [
        ("Speed, km/h", "km/h", series.speed_mps(), KMH_PER_MPS),
        ("Cadence, steps a minute", "steps a minute", series.cadence_spm(), 1.0),
        ("Heart rate, beats a minute", "beats a minute", series.heart_rate_bpm(), 1.0),
        ("Altitude, m", "m", series.altitude_m(), 1.0),
    ]
    .into_iter()
    .filter(|(_, _, values, _)| values.iter().any(Option::is_some))
    .map(|(name, unit, values, factor)| {
        let values: Vec<Option<f64>> =
            values.iter().map(|value| value.map(|value| (100.0 * factor * value).round() / 100.0)).collect();
        json!({"name": name, "unit": unit, "values": values})
    })
    .collect();
    let gaps: Vec<Value> = series
        .gaps()
        .iter()
        .map(|gap| {
            let why = match gap.kind {
                GapKind::Pause => "the recorder was paused",
                GapKind::Hole => "nothing was recorded",
            };
            json!({"start_s": gap.start_s, "end_s": gap.end_s, "why": why})
        })
        .collect();
    let time_s: Vec<f64> = series.time_s().iter().map(|s| thousandths(*s)).collect();
    json!({"time_s": time_s, "curves": curves, "gaps": gaps}).to_string()
}
