//! What stands on disk: the inputs that the user named, results written whole, case folders and others; and what is said when that
//! fails. The command line, the batch and the page share it.

mod case;
mod failure;
mod input;
mod output;

pub use case::{Activities, activities, files_below, read_case, read_case_with, recording_files, table};
pub use failure::{Failure, named};
pub use input::{
    CheckReport, MAX_RECORDING_BYTES, MAX_UNZIPPED_MIB, at_most, bytes, hexadecimal, plan, session,
    session_in, session_of, sha256, stage,
};
pub use output::{is_part, refuse_inputs, write_whole};
