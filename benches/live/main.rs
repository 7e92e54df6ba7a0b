//! The live path as a player meets it: from the strike of a key to the name on the screen, half an hour of running, and the marks of drills.
//!
//! Input: `--corpus DIR` with `truth.json` and its held voicings; `--clips N` of them, evenly spread; `--minutes M` of running.
//! Output: one table, with what is asked for beside what was measured. Units: milliseconds, changes a chord, percent of one core, MiB.
//! Method: a sound server of its own plays each clip into a virtual input; `lidprop hear` runs in a pseudo-terminal, whose
//! screen is read by a terminal emulator with the time of each change ([`terminal`]). A strike counts from the start of the
//! player plus its place in the clip, so the player's own start counts against us. What the windows, hops and rules take of that is
//! measured on the samples alone ([`reference`]). The running time is measured while loops keep every core busy.
//! Limits: a real terminal draws up to one picture (17 ms) later; a real microphone has no player before it.
//!
//! Run by `make bench-live`; without `--corpus` it does nothing but say so.

#[cfg(all(feature = "live", target_os = "linux"))]
mod clips;
#[cfg(all(feature = "live", target_os = "linux"))]
mod drill;
#[cfg(all(feature = "live", target_os = "linux"))]
mod figures;
#[cfg(all(feature = "live", target_os = "linux"))]
mod played;
#[cfg(all(feature = "live", target_os = "linux"))]
mod process;
#[cfg(all(feature = "live", target_os = "linux"))]
mod reference;
#[cfg(all(feature = "live", target_os = "linux"))]
mod session;
#[cfg(all(feature = "live", target_os = "linux"))]
mod shares;
#[cfg(all(feature = "live", target_os = "linux"))]
#[path = "../../tests/support/shown.rs"]
mod shown;
#[cfg(all(feature = "live", target_os = "linux"))]
mod sound;
#[cfg(all(feature = "live", target_os = "linux"))]
#[path = "../../tests/support/mod.rs"]
mod support;
#[cfg(all(feature = "live", target_os = "linux"))]
mod terminal;
#[cfg(all(feature = "live", target_os = "linux"))]
#[path = "../shared/transforms.rs"]
mod transforms;

use std::process::ExitCode;

#[cfg(all(feature = "live", target_os = "linux"))]
fn main() -> ExitCode {
    use clap::Parser;
    let options = session::Options::parse();
    let corpus = match (&options.corpus, options.shares_only) {
        (Some(corpus), _) => Some(corpus.clone()),
        // it needs none
        (None, shares_only) => shares_only.then(Default::default),
    };
    let Some(corpus) = corpus else {
        println!("SKIPPED: the live path is measured with `make bench-live CORPUS=DIR`");
        return ExitCode::SUCCESS;
    };
    match session::run(&options, &corpus) {
        Ok(()) => ExitCode::SUCCESS,
        Err(sentence) => {
            eprintln!("bench-live: {sentence}");
            ExitCode::FAILURE
        }
    }
}

#[cfg(not(all(feature = "live", target_os = "linux")))]
fn main() -> ExitCode {
    println!("SKIPPED: the live path is measured on Linux, with live capture");
    ExitCode::SUCCESS
}
