//! Words of the prescriber for the runner.

use toml::de::DeTable;

use super::super::bounds;
use super::Reader;

/// What one table says to the runner.
#[derive(Clone, Default)]
pub(super) struct Words {
    pub(super) note: Option<String>,
    pub(super) contact: Option<String>,
}

/// The keys of [`Words`], of a plan and of a stage.
pub(in crate::prescription) const WORD_KEYS: &[&str] = &["note", "contact"];

impl<'i> Reader<'i> {
    pub(super) fn words(&mut self, table: &DeTable<'i>) -> Words {
        Words {
            note: self.line(table, "note", "You can talk while you run.", &bounds::NOTE_LENGTH),
            contact: self.line(table, "contact", "Ring 555 0101.", &bounds::CONTACT_LENGTH),
        }
    }
}
