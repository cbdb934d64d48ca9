//! What a shell and a manual know of the command: `jogaudit completions`, `jogaudit man`, made from the command line itself.

use clap::{Command, CommandFactory};
use jogaudit_case::Failure;

use super::{Cli, Done, Io};

#[derive(clap::Args, Debug)]
pub(super) struct CompletionsArgs {
    /// The shell
    shell: clap_complete::Shell,
}

#[derive(clap::Args, Debug)]
pub(super) struct ManArgs {
    /// The command that the page is about, such as `plan show`; none: jogaudit
    #[arg(value_name = "COMMAND")]
    command: Vec<String>,
}

/// Prints what a shell completes the command line by.
pub(super) fn completions(args: &CompletionsArgs, io: &mut Io<'_>) -> Result<Done, Failure> {
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "jogaudit", &mut text);
    io.result(&String::from_utf8_lossy(&text))?;
    Ok(Done::Plain)
}

/// Prints a page of the manual, as `man` reads it.
pub(super) fn man(args: &ManArgs, io: &mut Io<'_>) -> Result<Done, Failure> {
    let mut whole = Cli::command();
    whole.build();
    let mut command: &Command = &whole;
    for name in &args.command {
        command = command.find_subcommand(name).ok_or_else(|| {
            Failure::refused(format!(
                "there is no command `{} {name}`",
                command.get_bin_name().unwrap_or("jogaudit")
            ))
            .hint("see `jogaudit --help` for the commands")
        })?;
    }
    let mut text = Vec::new();
    let page = clap_mangen::Man::new(command.clone()).source(concat!("jogaudit ", env!("CARGO_PKG_VERSION")));
    page.render(&mut text).map_err(Failure::output)?;
    io.result(&String::from_utf8_lossy(&text))?;
    Ok(Done::Plain)
}
