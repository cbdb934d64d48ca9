//! The `jogaudit` command.

use std::process::ExitCode;

fn main() -> ExitCode {
    jogaudit::cli::main(std::env::args_os())
}
