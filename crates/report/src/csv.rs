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
        text.push_str(bout.gait.word());
        text.push(',');
        text.push_str(&numbers.join(","));
        text.push_str("\r\n");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::RecordingFacts;
    use jogaudit_core::gait::{Bout, Gait, Segmentation};

    #[test]
    fn what_is_not_known_is_empty() {
        let bout = Bout {
            gait: Gait::Stand,
            start_s: 0.0,
            end_s: 12.34,
            start_error_s: 0.0,
            end_error_s: 0.0,
            certainty: 0.95,
            distance_m: Some(0.0),
            mean_speed_mps: None,
            mean_cadence_spm: None,
            mean_heart_rate_bpm: Some(f64::NAN),
        };
        let facts = RecordingFacts {
            format: "fit",
            sha256: String::new(),
            start: jiff::Timestamp::UNIX_EPOCH,
            samples: 13,
            has: vec![],
        };
        let view = BoutsView::new(&facts, &Segmentation::new(vec![bout]).unwrap(), &[]);
        assert_eq!(bouts(&view), format!("{HEADER}stand,0,12.3,0.95,0,,,\r\n"));
    }
}
