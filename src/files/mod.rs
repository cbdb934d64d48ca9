//! What stands on disk: the inputs that the user named, results written whole, case folders; and what is said when that
//! fails. The command line, the batch and the page share it.

mod case;
mod failure;
mod input;
mod output;

pub(crate) use case::{Activities, activities, read_case, read_case_with, recording_files, table};
pub(crate) use failure::{Failure, named};
pub(crate) use input::{
    CheckReport, MAX_RECORDING_BYTES, MAX_UNZIPPED_MIB, bytes, hex, plan, session, session_in, sha256, stage,
};
pub(crate) use output::{is_part, refuse_inputs, write_whole};
