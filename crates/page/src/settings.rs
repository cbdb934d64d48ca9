//! What holds for all pages of a host.

/// What holds for all pages of a host.
#[derive(Clone, Debug)]
pub struct Settings {
    /// Whether the pages are of several cases.
    pub is_caseload: bool,
    /// Entries of the caseload that are links, which are not followed, in words.
    pub not_followed: Vec<String>,
    /// Whether the case is made up, which every page then says.
    pub made_up: bool,
    /// Whether the page is the patient's: nothing on it changes the plan.
    pub is_patient: bool,
    /// Largest file that is taken, bytes.
    pub max_file_bytes: usize,
    /// Who keeps the cases.
    pub keeper: Keeper,
}

impl Settings {
    /// What the page of all cases is called.
    pub(crate) fn all_title(&self) -> &'static str {
        match self.keeper {
            Keeper::Folders => "Patients",
            Keeper::Browser => "Cases",
        }
    }
}

/// Who keeps the cases.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Keeper {
    /// In folders on a disk, which people reach also without the page.
    Folders,
    /// By the browser, where cases are begun, opened from a zip and taken away on the page.
    Browser,
}
