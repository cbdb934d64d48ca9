//! Training besides running that is agreed.

use toml::de::{DeTable, DeValue};

use jogaudit_recording::read::Sport;

use super::super::{OtherTraining, bounds};
use super::Reader;

/// The keys of `[[other]]`.
pub(super) const OTHER_KEYS: &[&str] = &["sport"];

impl<'i> Reader<'i> {
    pub(super) fn other(&mut self, table: &DeTable<'i>) -> Vec<OtherTraining> {
        const EXPECTED: &str = "`[[other]]`, with two brackets on each side";
        let Some(value) = table.get("other") else { return Vec::new() };
        let DeValue::Array(entries) = value.get_ref() else {
            self.wrong_kind(value, value.get_ref(), EXPECTED);
            return Vec::new();
        };
        let mut all: Vec<OtherTraining> = Vec::new();
        for entry in entries {
            let DeValue::Table(table) = entry.get_ref() else {
                self.wrong_kind(entry, entry.get_ref(), EXPECTED);
                continue;
            };
            self.known_keys(table, &[OTHER_KEYS], "of [[other]]");
            let Some(value) = table.get("sport") else {
                self.fault(entry.span(), "expected a `sport`, such as `sport = \"cycling\"`");
                continue;
            };
            let Some(sport) = self.line(table, "sport", "cycling", &bounds::SPORT_LENGTH) else { continue };
            if !matches!(Sport::of_word(&sport), Sport::Other(_)) {
                self.fault(
                    value.span(),
                    "expected a sport besides running and walking, which the stages prescribe",
                );
            } else if all.iter().any(|earlier| Sport::is_same(&earlier.sport, &sport)) {
                self.fault(value.span(), "expected another sport: an earlier [[other]] is the same");
            } else {
                all.push(OtherTraining { sport });
            }
        }
        all
    }
}
