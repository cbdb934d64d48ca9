//! What stands on disk: the inputs that the user named, results written whole, case folders and others; and what is said when that
//! fails. The command line, the batch and the page share it.

mod case;
mod failure;
mod hash;
mod input;
mod output;
mod tree;

pub use case::{Activities, activities, read_case, read_case_with, recording_files, table};
pub use failure::{Failure, named};
pub use hash::{hexadecimal, sha256, sha256_of_file};
pub use input::{
    Input, MAX_RECORDING_BYTES, MAX_UNZIPPED_MIB, at_most, bytes, config_unzipping, input, input_in, plan,
    stage,
};
pub use output::{Staged, could_not_write, refuse_inputs, remove_unfinished, with_suffix, write_whole};
pub use tree::files_below;
