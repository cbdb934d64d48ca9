//! What stands on disk: recordings, plans and cases that the user named, results that appear whole or not at all. The command
//! line, the batch and the page's server share it.
//!
//! | item | does |
//! |---|---|
//! | [`input()`], [`readings`], [`plan`], [`bytes`] | read what the user named |
//! | [`open_case`], [`read_case`] | open and read a case: a folder or a zip of one, its recordings on all cores |
//! | [`FolderCase`] | a case folder: one writer at a time, each file whole, no link out of it followed |
//! | [`side`], [`compare_sides`] | the two sides of an agreement and what they have in common |
//! | [`files_below`] | lists the files of a folder, at any depth |
//! | [`output()`], [`Claims`] | hold the outputs of a run against its inputs and each other, lock them, write them whole |
//! | [`write_whole`], [`Staged`] | write beside the target, then rename |
//!
//! **Errors:** every function that can fail gives a [`jogaudit_case::Failure`] or an error of input and output. Sizes are bounded
//! before anything is read into memory.
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
//! assert_eq!(review.left_out.len(), 1);
//!
//! // What cannot be done says what to do.
//! let failure = read_case(&case.path().join("recordings"), &config).err().expect("no case");
//! assert_eq!(failure.exit_code(), 2);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod case;
mod claim;
mod folder;
mod hash;
mod identity;
mod input;
mod inside;
mod output;
mod sides;
mod tree;

pub use case::{case_inputs, open_case, read_all, read_case, share_case};
pub use claim::{Claims, Output, open_lock, output, outputs, write_together};
pub use folder::FolderCase;
pub use hash::sha256_of_file;
pub use input::{at_most, bytes, input, plan, plan_and_hash, readings};
pub use inside::{inside, plain_bytes};
pub use output::{
    Staged, could_not_write, is_unfinished, make_folder, remove_unfinished, with_suffix, write_whole,
};
pub use sides::{Compared, compare_sides, give_one_name, side, side_files};
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
