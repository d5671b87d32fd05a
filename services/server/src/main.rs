//! The program `rimebook`: the command line, and nothing else.

use std::{env, io, process::ExitCode};

fn main() -> ExitCode {
    let (mut out, mut err) = (io::stdout(), io::stderr());
    ExitCode::from(server::cli::run(env::args_os(), &mut out, &mut err))
}
