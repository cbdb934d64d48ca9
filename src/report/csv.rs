//! Bouts as CSV (RFC 4180): one line a bout, empty where a value is not known.

use super::view::BoutsView;

/// The columns, as in the JSON document.
const HEADER: &str =
    "gait,start_s,end_s,certainty,distance_m,mean_speed_mps,mean_cadence_spm,mean_heart_rate_bpm\r\n";

/// Writes the bouts with a header line.
pub fn bouts(view: &BoutsView) -> String {
    let mut text = HEADER.to_owned();
    for bout in &view.bouts {
        let numbers = [
            Some(bout.start_s),
            Some(bout.end_s),
            Some(bout.certainty),
            bout.distance_m,
            bout.mean_speed_mps,
            bout.mean_cadence_spm,
            bout.mean_heart_rate_bpm,
        ];
        let numbers = numbers.map(|number| number.map(|n| n.to_string()).unwrap_or_default());
        text.push_str(bout.gait);
        text.push(',');
        text.push_str(&numbers.join(","));
        text.push_str("\r\n");
    }
    text
}
