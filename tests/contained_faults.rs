//! A fault of lidprop itself costs the recording in which it shows, and nothing else.
//!
//! The program has no fault to be asked for, so a reader that has one is handed to the command; in a process of its own, since what is
//! looked at is an exit code and all that stands on standard error.

#[path = "support/command.rs"]
mod command;

use clap::Parser;
use command::{Answer, Desk};
use lidprop::chart::recording::{HeardSoFar, Wording};
use lidprop::cli::CommandResult;
use lidprop::cli::take::{TakeArgs, run_reading_with};
use lidprop::units::SamplePos;
use std::path::Path;
use std::process::{Command, Stdio};

/// Names the arguments of `take`, one a line, to the process that is to run it.
const ARGUMENTS: &str = "TAKE_WITH_A_FAULTY_READER";

#[derive(Parser)]
struct CommandLine {
    #[command(flatten)]
    take: TakeArgs,
}

/// Hears nothing in any recording, and breaks down over those that have a bad day.
fn take(arguments: &str) -> CommandResult {
    let command_line = CommandLine::parse_from(["take"].into_iter().chain(arguments.lines()));
    run_reading_with(&command_line.take, &|path, _, _, progress| {
        progress(0.5);
        if path == Path::new("tuesday.wav") {
            panic!("the strings\nare tangled");
        }
        let name = path.display().to_string();
        let heard = HeardSoFar::new(name, Wording::default());
        Ok(heard.end(SamplePos::START, None))
    })
}

#[test]
#[ignore = "run by the tests below, in a process of its own"]
fn takes_with_a_faulty_reader() {
    let Ok(arguments) = std::env::var(ARGUMENTS) else {
        return;
    };
    let code = match take(&arguments) {
        Ok(()) => 0,
        Err(lidprop::cli::CliError::AlreadyTold) => 1,
        Err(_) => 2,
    };
    std::process::exit(code);
}

fn taken(desk: &Desk, arguments: &[&str]) -> Answer {
    let output = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "takes_with_a_faulty_reader"])
        .args(["--ignored", "--nocapture", "--quiet"])
        .env(ARGUMENTS, arguments.join("\n"))
        // who wants traces gets none of what is contained
        .env("RUST_BACKTRACE", "full")
        .current_dir(desk.path("."))
        .stdin(Stdio::null())
        .output()
        .unwrap();
    Answer::of(output)
}

#[test]
fn a_fault_over_one_recording_is_one_sentence_and_the_others_are_read() {
    let desk = Desk::new();
    let answer = taken(
        &desk,
        &[
            "--write",
            "json",
            "--into",
            "out",
            "monday.wav",
            "tuesday.wav",
            "friday.wav",
        ],
    );
    let place = format!("{}:", file!());
    answer.refuses(
        1,
        &[
            "tuesday.wav: ",
            "a fault of lidprop itself (the strings are tangled",
            &place,
            env!("CARGO_PKG_VERSION"),
            "please report it",
        ],
    );
    assert!(!answer.err.contains("backtrace"), "{}", answer.err);
    assert_eq!(desk.files(), ["out/friday.json", "out/monday.json"]);
}

#[test]
fn a_fault_over_one_recording_leaves_the_charts_of_the_others_whole_and_in_order() {
    let desk = Desk::new();
    let answer = taken(&desk, &["tuesday.wav", "monday.wav", "friday.wav"]);
    answer.refuses(1, &["tuesday.wav: "]);
    let at = |name: &str| answer.out.find(name);
    assert!(at("monday.wav").is_some() && at("monday.wav") < at("friday.wav"));
    assert_eq!(at("tuesday.wav"), None, "{}", answer.out);
}

#[test]
fn without_a_fault_the_same_reader_ends_well() {
    let desk = Desk::new();
    let answer = taken(&desk, &["monday.wav", "friday.wav"]);
    assert_eq!((answer.code, answer.err.as_str()), (0, ""));
}
