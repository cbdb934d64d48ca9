//! Bouts as CSV (RFC 4180): one line a bout, empty where a value is not known.

use csv::{Terminator, WriterBuilder};

use super::view::BoutsView;

/// The columns, named as in the JSON document: seconds from the first sample, metres, metres a second, steps a minute
/// (both feet), beats a minute.
const COLUMNS: [&str; 8] = [
    "gait",
    "start_s",
    "end_s",
    "certainty",
    "distance_m",
    "mean_speed_mps",
    "mean_cadence_spm",
    "mean_heart_rate_bpm",
];

/// Writes the bouts under a line of column names; lines end in CR LF.
pub fn bouts(view: &BoutsView) -> String {
    // Memory takes every byte and every row has all columns: nothing here fails.
    String::from_utf8(table(view).unwrap_or_default()).unwrap_or_default()
}

fn table(view: &BoutsView) -> csv::Result<Vec<u8>> {
    let mut table = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    table.write_record(COLUMNS)?;
    for bout in &view.bouts {
        // As JSON and the text have them: 300, not 300.0.
        let number = |value: Option<f64>| value.map(|n| n.to_string()).unwrap_or_default();
        table.write_record([
            bout.gait.word().to_owned(),
            number(Some(bout.start_s)),
            number(Some(bout.end_s)),
            number(Some(bout.certainty)),
            number(bout.distance_m),
            number(bout.mean_speed_mps),
            number(bout.mean_cadence_spm),
            number(bout.mean_heart_rate_bpm),
        ])?;
    }
    table.into_inner().map_err(|error| error.into_error().into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Source;
    use jogaudit_core::gait::{Bout, Gait, Segmentation};
    use jogaudit_recording::read::{Facts, Format, Sport};
    use jogaudit_recording::units::LengthUnit;

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
        let facts = Facts {
            format: Format::Fit,
            sport: Sport::Running,
            start: jiff::Timestamp::UNIX_EPOCH,
            utc_offset_s: None,
            samples: 13,
            channels: vec![],
        };
        let source = Source { facts: &facts, sha256: "" };
        let view =
            BoutsView::new(source, &Segmentation::new(vec![bout]).unwrap(), &[], LengthUnit::Kilometre);
        let header =
            "gait,start_s,end_s,certainty,distance_m,mean_speed_mps,mean_cadence_spm,mean_heart_rate_bpm";
        assert_eq!(bouts(&view), format!("{header}\r\nstand,0,12.3,0.95,0,,,\r\n"));
    }
}
