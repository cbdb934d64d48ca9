//! What stands on disk: recordings, plans and cases that the user named, results that appear whole or not at all; and what is
//! said when that fails. The command line, the batch and the page share it.
//!
//! | item | does |
//! |---|---|
//! | [`input()`], [`plan`], [`stage`], [`bytes`] | read what the user named |
//! | [`read_case`] | reads a case folder: plan, diary, stages, recordings on all cores |
//! | [`files_below`] | lists the files of a folder, at any depth |
//! | [`output()`], [`Claims`] | hold the outputs of a run against its inputs and each other, lock them, write them whole |
//! | [`write_whole`], [`Staged`] | write beside the target, then rename |
//! | [`Failure`] | what could not be done, where, and what to do: the command prints it |
//!
//! **Errors:** every function that can fail gives a [`Failure`]; [`Failure::exit_code`] is what the command ends with.
//! Sizes are bounded before anything is read into memory. A recording of a case that cannot be read is no failure: it is
//! listed in the review with the reason.
//!
//! ```
//! use jogaudit_core::pipeline::Config;
//! use jogaudit_files::read_case;
//!
//! let case = tempfile::tempdir()?;
//! let write = |name: &str, text: &str| std::fs::write(case.path().join(name), text);
//! write("plan.toml", "[[stage]]\nname = '1'\nsession = 'walk 5:00, 6 x (run 1:00, walk 2:00)'\n")?;
//! write("diary.csv", "date,pain_during,pain_next_morning,effort\n2026-03-02,0,0,3\n")?;
//! std::fs::create_dir(case.path().join("recordings"))?;
//! write("recordings/2026-03-02.gpx", "<gpx><trk><trkseg/></trk></gpx>")?;
//!
//! let config = Config::default();
//! let review = read_case(case.path(), &config)?.review(jiff::civil::date(2026, 3, 3), &config);
//! assert!(review.sessions.is_empty());
//! let [left_out] = review.left_out.as_slice() else { panic!("one recording") };
//! assert_eq!(left_out.recording, "2026-03-02.gpx");
//! assert!(left_out.text.starts_with("Not readable: "), "{}", left_out.text);
//!
//! // What cannot be done says what to do.
//! let failure = read_case(&case.path().join("recordings"), &config).err().expect("no case");
//! assert_eq!(failure.exit_code(), 2);
//! assert!(failure.to_string().ends_with("hint: write the prescription to plan.toml in that folder\n"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod case;
mod claim;
mod failure;
mod hash;
mod identity;
mod input;
mod inside;
mod output;
mod tree;

pub use case::{
    Activities, activities, case_recordings, due_in_case, read_case, read_case_with, recording_files, table,
};
pub use claim::{Claims, Output, open_lock, output, outputs, write_together};
pub use failure::{Failure, named, named_output};
pub use hash::{hexadecimal, sha256, sha256_of_file};
pub use input::{
    Input, MAX_PLAN_BYTES, MAX_RECORDING_BYTES, MAX_UNZIPPED_MIB, at_most, bytes, case_plan,
    config_unzipping, input, input_in, plan, plan_and_hash, stage,
};
pub use inside::{case_bytes, inside, plain_bytes};
pub use output::{
    Staged, could_not_write, is_unfinished, make_folder, remove_unfinished, with_suffix, write_whole,
};
pub use tree::{Links, files_below};

#[cfg(test)]
mod tests {
    use std::path::Path;

    /// The names of what a folder holds, in order.
    pub(crate) fn names(folder: &Path) -> Vec<String> {
        let entries = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name());
        let mut names: Vec<String> = entries.map(|name| name.into_string().unwrap()).collect();
        names.sort();
        names
    }
}
