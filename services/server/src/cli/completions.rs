//! What a shell needs to complete the commands and options.

use clap::{CommandFactory, ValueEnum};
use std::io::{self, Write};

#[derive(clap::Args)]
pub(super) struct Completions {
    /// Which shell
    shell: Shell,
}

#[derive(Clone, Copy, ValueEnum)]
enum Shell {
    Bash,
    Zsh,
    Fish,
}

pub(super) fn print(asked: &Completions, out: &mut dyn Write) -> io::Result<bool> {
    let shell = match asked.shell {
        Shell::Bash => clap_complete::Shell::Bash,
        Shell::Zsh => clap_complete::Shell::Zsh,
        Shell::Fish => clap_complete::Shell::Fish,
    };
    // Into memory first: the generator does not bear a reader that goes away.
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut super::Rimebook::command(), "rimebook", &mut script);
    out.write_all(&script)?;
    Ok(true)
}
