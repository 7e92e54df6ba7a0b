//! Writes the manual pages of all commands and the completions of three shells.
//!
//! Input: the table of commands. Output: `DIR/man1/lidprop*.1`, `DIR/completions/lidprop.bash`, `_lidprop` (zsh) and `lidprop.fish`. Units: none.
//! Method: clap_mangen and clap_complete. Limits: the pages say what `--help` says and no more.
//!
//! `cargo run --example write_manual -- target/manual`

use clap_complete::{Shell, generate_to};
use std::error::Error;
use std::fs::create_dir_all;
use std::path::PathBuf;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args_os()
        .nth(1)
        .map(PathBuf::from)
        .ok_or("say where to write: cargo run --example write_manual -- DIR")?;
    let (pages, completions) = (folder.join("man1"), folder.join("completions"));
    create_dir_all(&pages)?;
    create_dir_all(&completions)?;
    let mut commands = lidprop::cli::command_line();
    clap_mangen::generate_to(commands.clone(), &pages)?;
    for shell in [Shell::Bash, Shell::Zsh, Shell::Fish] {
        generate_to(shell, &mut commands, "lidprop", &completions)?;
    }
    Ok(())
}
