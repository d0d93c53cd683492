//! Writes what a package brings beside the program: man pages, and completions for three shells, from the command line
//! itself. `cargo run --example packaging-texts FOLDER`.

use std::path::PathBuf;
use std::{env, fs, io};

use clap_complete::Shell;

fn main() -> io::Result<()> {
    let folder = env::args_os().nth(1).map(PathBuf::from);
    let folder = folder.ok_or_else(|| io::Error::other("say into which folder: packaging-texts FOLDER"))?;
    let mut command = handspan::cli::command_line();
    let pages = folder.join("man");
    fs::create_dir_all(&pages)?;
    // One for the program, and one for each command.
    clap_mangen::generate_to(command.clone().disable_help_subcommand(true), &pages)?;
    let completions = folder.join("completions");
    fs::create_dir_all(&completions)?;
    for shell in [Shell::Bash, Shell::Zsh, Shell::Fish] {
        clap_complete::generate_to(shell, &mut command, "handspan", &completions)?;
    }
    Ok(())
}
