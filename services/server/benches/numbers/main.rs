//! The numbers that this project promises, each as a share of what it is measured beside, in the same rounds.
//!
//! `scripts/bench` runs all of them; `scripts/bench --quick trace` runs one, short. Ends with 1 if a target is missed.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::print_stdout,
    clippy::print_stderr,
    clippy::disallowed_methods,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "a measuring program, not the product: what goes wrong here ends it with a message, and it reads the clock"
)]

mod append;
mod client;
mod counting;
mod fill;
mod graph;
mod history;
mod keep;
mod listeners;
mod may_use;
mod pages;
mod paths;
mod raw;
mod rebuild;
mod serving;
mod signed;
mod table;
mod work;

use std::process::{Command, ExitCode};

use table::Plan;

/// A section's name, and what measures it.
type Section = (&'static str, fn(&Plan) -> bool);

const SECTIONS: [Section; 9] = [
    ("append", append::run),
    ("keep", keep::run),
    ("listeners", listeners::run),
    ("may-use", may_use::run),
    ("pages", pages::run),
    ("signed", signed::run),
    ("trace", graph::run),
    ("rebuild", rebuild::run),
    ("unclean", rebuild::unclean),
];

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).filter(|word| word != "--bench").collect();
    let quick = words.iter().any(|word| word == "--quick");
    let named: Vec<&str> = words.iter().map(String::as_str).filter(|word| *word != "--quick").collect();
    let known = |name: &&str| SECTIONS.iter().any(|(section, _)| section == name) || *name == "--one";
    if !named.iter().all(known) {
        let sections: Vec<&str> = SECTIONS.iter().map(|(section, _)| *section).collect();
        eprintln!("usage: bench [--quick] [{}]..", sections.join("|"));
        return ExitCode::from(2);
    }
    if let ["--one", section] = named.as_slice() {
        let plan = Plan::new(quick);
        let met = SECTIONS.iter().filter(|(name, _)| name == section).all(|(_, run)| run(&plan));
        return if met { ExitCode::SUCCESS } else { ExitCode::FAILURE };
    }
    all(quick, &named)
}

/// Each section in a process of its own, so that the memory of one is not the next one's.
fn all(quick: bool, named: &[&str]) -> ExitCode {
    println!("{}", table::HEAD);
    let program = std::env::current_exe().unwrap();
    let mut met = true;
    for (section, _) in SECTIONS.iter().filter(|(section, _)| named.is_empty() || named.contains(section)) {
        let mut command = Command::new(&program);
        command.args(["--one", section]).args(quick.then_some("--quick"));
        met &= command.status().unwrap().success();
    }
    println!("\n{}", table::machine());
    println!("{}", if met { "Every target is met." } else { "NOT every target is met." });
    if met { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
