//! The command line: one file a command, and the table that lists them.
//!
//! Input: the arguments of the process. Output: an exit code; results on standard output, sentences on standard error.
//! Units: as each command states. Method: clap's derive; help comes from the doc comments of the arguments.
//! Limits: a command holds no music and no sound of its own, it only joins the stages and the views.

pub mod against;
mod clock;
pub mod drill;
pub mod error;
pub mod hear;
mod interrupts;
pub mod learning;
pub mod logbook;
pub mod name;
pub mod options;
pub mod pianos;
mod refusal;
pub mod remedies;
mod results;
pub mod sheet;
pub mod soundcheck;
pub mod standin;
pub mod take;
pub mod targets;
mod terminal;

pub use error::{CliError, CommandResult};

use crate::view::ink::Ink;
use clap::error::ErrorKind;
use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};
use remedies::InCommand;
use std::io::{self, Write};
use std::process::ExitCode;

/// Hears an acoustic piano: the keys that sound, the names the chord can have, what it stands for.
#[derive(Debug, Parser)]
#[command(name = "lidprop", version, after_help = error::EXIT_CODES_HELP, max_term_width = 100)]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
}

/// The command table: a new command is one line here, one in each table below, and its file.
#[derive(Debug, Subcommand)]
enum Command {
    Hear(hear::HearArgs),
    Take(take::TakeArgs),
    Name(name::NameArgs),
    Standin(standin::StandinArgs),
    Drill(drill::DrillArgs),
    Logbook(logbook::LogbookArgs),
    Soundcheck(soundcheck::SoundcheckArgs),
}

impl Command {
    fn run(&self) -> CommandResult {
        match self {
            Self::Hear(args) => hear::run(args),
            Self::Take(args) => take::run(args),
            Self::Name(args) => name::run(args),
            Self::Standin(args) => standin::run(args),
            Self::Drill(args) => drill::run(args),
            Self::Logbook(args) => logbook::run(args),
            Self::Soundcheck(args) => soundcheck::run(args),
        }
    }

    fn word(&self) -> InCommand {
        match self {
            Self::Hear(_) => InCommand::Hear,
            Self::Take(_) => InCommand::Take,
            Self::Name(_) => InCommand::Name,
            Self::Standin(_) => InCommand::Standin,
            Self::Drill(_) => InCommand::Drill,
            Self::Logbook(_) => InCommand::Logbook,
            Self::Soundcheck(_) => InCommand::Soundcheck,
        }
    }
}

/// All commands with their options and help, for what is made of them: the manual, completions in shells.
pub fn command_line() -> clap::Command {
    CommandLine::command()
}

/// The command line of this process. The command that tells of the others is the parser's own; its words are ours.
fn parsed() -> Result<CommandLine, clap::Error> {
    let mut commands = CommandLine::command();
    commands.build();
    let commands =
        commands.mut_subcommand("help", |help| help.about("Shows the help of a command"));
    CommandLine::from_arg_matches(&commands.try_get_matches()?)
}

/// Runs the command line of this process.
pub fn main() -> ExitCode {
    let command_line = match parsed() {
        Ok(command_line) => command_line,
        Err(answer) => {
            // Help and version go to standard output with 0, wrong usage to standard error with 2; nobody may be reading.
            let asked = std::env::args().nth(1);
            let of = asked.filter(|word| CommandLine::command().find_subcommand(word).is_some());
            match answer.kind() {
                ErrorKind::DisplayHelp
                | ErrorKind::DisplayVersion
                | ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand => print_help(&answer),
                _ => error::tell(&refusal::sentence(&answer, of.as_deref())),
            }
            return ExitCode::from(if answer.use_stderr() { 2 } else { 0 });
        }
    };
    match command_line.command.run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => error.tell(command_line.command.word()),
    }
}

/// Prints what the parser answers, with signs that can be shown.
fn print_help(answer: &clap::Error) {
    let ink = Ink::of_stdout();
    if !ink.ascii {
        _ = answer.print();
        return;
    }
    let text = ink.signs(answer.render().to_string());
    _ = match answer.use_stderr() {
        true => io::stderr().write_all(text.as_bytes()),
        false => io::stdout().write_all(text.as_bytes()),
    };
}

#[cfg(test)]
mod tests {
    use super::CommandLine;
    use clap::CommandFactory;

    #[test]
    fn the_command_table_is_sound() {
        CommandLine::command().debug_assert();
    }

    #[test]
    fn every_command_and_every_option_explains_itself() {
        for command in CommandLine::command().get_subcommands() {
            assert!(
                command.get_about().is_some(),
                "{} says nothing of itself",
                command.get_name()
            );
            for argument in command.get_arguments() {
                assert!(
                    argument.get_help().is_some(),
                    "{} {} has no help",
                    command.get_name(),
                    argument.get_id()
                );
            }
        }
    }
}
