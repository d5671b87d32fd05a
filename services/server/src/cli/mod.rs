//! The command line: what is asked for, and the exit code. Everything printed goes through the two writers handed in.
//!
//! Exit codes: 0 done and sound, or *yes*; 1 not done, not sound, or no answer; 2 asked for in a way that can't be meant;
//! 3 an answer that is not *yes*; 4 what starting again can't cure.

mod bring_in;
mod certify;
mod completions;
mod logs;
mod numbers;
mod offline;
mod people;
mod printed;
pub(crate) mod progress;
mod questions;
mod ready;
pub(crate) mod rest;
mod serve;
mod tables;

use clap::{Parser, Subcommand};
use shared_types::Stamp;
use std::{
    ffi::OsString,
    io::{self, Write},
    net::SocketAddr,
    path::PathBuf,
    time::Duration,
};

use progress::Progress;

use crate::{
    clock::{Clock, SystemClock},
    demo, import,
    yard::Options,
};

const DONE: u8 = 0;
const NOT_DONE: u8 = 1;
const NOT_MEANT: u8 = 2;
const NOT_YES: u8 = 3;
/// Of `serve`: whoever starts it again and again gets nowhere before a person has looked.
const NEEDS_A_PERSON: u8 = 4;

const EXIT_CODES: &str = "Exit codes:
  0  done; the answer is yes; a list, also an empty one
  1  not done, not sound, or nobody answered
  2  asked for in a way that can't be meant
  3  ask: the answer is no, stop, not yet or can't say
  4  serve: the log is damaged, lost its end, or is of a newer version; starting again does not help, a person has to look";

#[derive(Parser)]
#[command(name = "rimebook", version, max_term_width = 110, after_help = EXIT_CODES)]
/// Keeps track of frozen composite material: its out-time, its limits, and what it went into
struct Rimebook {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Serve a data folder: pages and a REST API on this machine
    Serve(Serve),
    /// Make the certificate with which handhelds reach this server over HTTPS, and the yard's own authority behind it
    ///
    /// The authority vouches for the hosts named when it is made, for private addresses, and for nothing else. Every device
    /// is told to believe it once; a certificate lasts 397 days, and a new one for the same names needs nothing more.
    Certify(certify::Certify),
    /// Bring in what a yard has on its first day, from yard.toml and cards.csv
    ///
    /// Both files are checked whole, and compared with what is in already, before anything is written. Run it again
    /// after it broke off: what is in with the same values is passed over.
    Import(Import),
    /// Bring in what a device recorded and never sent, from a file that was read from it
    ///
    /// Without --save it only says what would change. Nobody vouches for what is brought in: badges and devices stand as said.
    BringIn(bring_in::BringIn),
    /// Make an invented yard with a year behind it
    Demo(Demo),
    /// Bring a log that was exported line by line into an empty folder, offline
    ///
    /// Each line is an entry as GET /api/v1/entries gives it, or as it was posted together with a recorded_at.
    /// recorded_at and told are kept; the first entry of the new log says that it was loaded.
    Load(Load),
    /// Read the journal of a data folder or of a backup and say in words what was found; nothing is changed
    Verify(Verify),
    /// Look after who can sign in, beside a stopped server
    People(People),
    /// Copy a data folder's journal into a folder of its own, also while a server is at work
    ///
    /// Into the same folder again it writes what is new, and compares everything else. The log is read whole and checked;
    /// what is written is read back from the disk. A damaged log is never copied over a backup.
    Backup(Backup),
    /// Make a data folder of a backup
    ///
    /// The backup is checked whole before anything is written, and the copy before it is put in place.
    Restore(Restore),
    /// Print a data folder's entries, one as JSON a line, as rimebook load takes them
    Export(Export),
    /// May a roll, a kit or a part be used, for which act, until when; may a part be installed?
    Ask(questions::Ask),
    /// What runs out, soonest first
    RunsOut(questions::RunsOut),
    /// What something is made from, or what it went into
    Trace(questions::Trace),
    /// What does not add up and waits for an answer
    Mismatches(questions::Mismatches),
    /// What runs out soon: who has to do what, by when
    Warnings(questions::Warnings),
    /// Does a server take entries? For whatever looks after it: a container, a service, a script
    Ready(ready::Ready),
    /// Print the completions for a shell, for its own file of completions
    Completions(completions::Completions),
}

#[derive(clap::Args)]
struct Serve {
    /// The data folder; it is made if it is not there
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// Address and port; port 0 takes a free one. May stand several times: this machine's own addresses are served in plain
    /// HTTP, any other in HTTPS alone
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:8787", value_parser = address)]
    listen: Vec<SocketAddr>,
    /// HTTPS on this machine's own addresses too
    #[arg(long)]
    https: bool,
    /// The certificate for HTTPS with those it stands on, in PEM; without it the one that rimebook certify made
    #[arg(long, value_name = "FILE", requires = "key")]
    cert: Option<PathBuf>,
    /// Its key, in PEM
    #[arg(long, value_name = "FILE", requires = "cert")]
    key: Option<PathBuf>,
    /// Take backups into this folder, best on another disk, while the server works
    #[arg(long, value_name = "DIR")]
    backup_to: Option<PathBuf>,
    /// How often: a number and m, h or d, at least a minute
    #[arg(long, value_name = "TIME", default_value = "24h", value_parser = every, requires = "backup_to")]
    backup_every: Duration,
    /// What it says of itself on standard error, one JSON object a line
    #[arg(long, value_enum, default_value = "warn")]
    log: logs::Logs,
    /// The server's clock jumped, and you looked at it: it is right, write again
    #[arg(long)]
    clock_checked: bool,
    /// Others have seen more of the log than this folder has, and you know that it is lost: go on from here, under a new
    /// key
    #[arg(long)]
    behind_is_known: bool,
    /// Let the yard's own network ask what may be used without signing in; such an answer has no names in it
    #[arg(long)]
    open_questions: bool,
}

#[derive(clap::Args)]
struct People {
    #[command(subcommand)]
    what: OfPeople,
}

#[derive(Subcommand)]
enum OfPeople {
    /// Make a new set-up code, for whoever lost every other way in
    ///
    /// The server has to be stopped. Whoever types the code at /set-up becomes an administrator, and the log says so.
    Reset {
        /// The data folder
        #[arg(long, value_name = "DIR")]
        data: PathBuf,
    },
}

/// Of work that takes a while.
#[derive(clap::Args)]
struct Long {
    /// Say on standard error how far it has come, also where that is no terminal
    #[arg(long)]
    progress: bool,
}

#[derive(clap::Args)]
struct Import {
    /// A folder with yard.toml and cards.csv; or yard.toml alone; or a .csv with yard.toml beside it
    #[arg(value_name = "DIR|FILE")]
    from: PathBuf,
    /// The server that writes it
    #[arg(long, value_name = "URL")]
    server: String,
    /// A token for programs, once the yard is set up; best given in the environment, where no list of processes shows it
    #[arg(long, value_name = "TOKEN", env = "RIMEBOOK_TOKEN", hide_env_values = true)]
    token: Option<String>,
    /// Check everything and say what would be written; write nothing
    #[arg(long)]
    dry_run: bool,
    #[command(flatten)]
    long: Long,
}

#[derive(clap::Args)]
struct Demo {
    /// The data folder; it must be empty or not there
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// Another number makes another year
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = numbers::whole::<u64>)]
    seed: u64,
    /// The end of the year, such as 2026-05-06T09:00:00+02:00; without it, now
    #[arg(long, value_name = "TIME", value_parser = Stamp::parse)]
    until: Option<Stamp>,
    #[command(flatten)]
    long: Long,
}

#[derive(clap::Args)]
struct Load {
    /// One entry as JSON a line
    #[arg(value_name = "FILE.jsonl")]
    file: PathBuf,
    /// The data folder; it must be empty or not there
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    #[command(flatten)]
    long: Long,
}

#[derive(clap::Args)]
struct Verify {
    /// The data folder, or a backup's
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// From the foot of a printed page, the entry and the root: did the page come from this log? May stand several times
    #[arg(long, value_name = "ENTRY:ROOT", value_parser = printed::Printed::parse)]
    printed: Vec<printed::Printed>,
    /// A signed checkpoint of this log, as GET /api/v1/checkpoint gives it and printed sheets have it: does the log go on
    /// from there?
    #[arg(long, value_name = "FILE", requires = "key")]
    checkpoint: Option<PathBuf>,
    /// The log's key, as people/log-key.pub has it: a file, or the line itself
    #[arg(long, value_name = "FILE|KEY", requires = "checkpoint")]
    key: Option<String>,
    #[command(flatten)]
    long: Long,
}

#[derive(clap::Args)]
struct Backup {
    /// The data folder
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// The backup's own folder, best on another disk; it is made if it is not there
    #[arg(long, value_name = "DIR")]
    to: PathBuf,
    #[command(flatten)]
    long: Long,
}

#[derive(clap::Args)]
struct Restore {
    /// The backup's folder
    #[arg(long, value_name = "DIR")]
    from: PathBuf,
    /// The data folder; it must be empty or not there
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// A signed checkpoint that a device or a sheet of paper has: a backup with less is refused. May stand several times
    #[arg(long, value_name = "FILE")]
    seen: Vec<PathBuf>,
    /// Others have seen more than the backup has, and you know that it is lost
    #[arg(long, requires = "seen")]
    behind_is_known: bool,
}

#[derive(clap::Args)]
struct Export {
    /// The data folder
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// Begin behind this entry
    #[arg(long, value_name = "SEQ", default_value_t = 0, value_parser = numbers::whole::<u64>)]
    after: u64,
}

impl Long {
    fn wanted(&self) -> Progress {
        Progress::wanted(self.progress)
    }
}

/// Does what the arguments ask for. The answer is the exit code.
pub fn run(args: impl IntoIterator<Item = OsString>, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    let asked = match Rimebook::try_parse_from(args) {
        Ok(asked) => asked,
        Err(other) => {
            // Help and version are answers, the rest are mistakes.
            let code = u8::try_from(other.exit_code()).unwrap_or(NOT_DONE);
            let printed = match other.use_stderr() {
                true => write!(err, "{}", other.render()),
                false => write!(out, "{}", other.render()),
            };
            return printed.map_or(NOT_DONE, |()| code);
        }
    };
    match act(asked.command, out, err) {
        Ok(code) => code,
        // A reader that went away (`| head`) is not to be told anything.
        Err(_) => NOT_DONE,
    }
}

/// The exit code. An error means that the answer could not be printed.
fn act(command: Command, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<u8> {
    let now = || SystemClock::new().now();
    let done = match command {
        Command::Ask(asked) => return questions::ask(&asked, out, err),
        Command::RunsOut(asked) => return questions::runs_out(&asked, out, err),
        Command::Trace(asked) => return questions::trace(&asked, out, err),
        Command::Mismatches(asked) => return questions::mismatches(&asked, out, err),
        Command::Warnings(asked) => return questions::warnings(&asked, out, err),
        Command::BringIn(asked) => return bring_in::run(&asked, out, err),
        Command::Certify(asked) => certify::run(&asked, now(), out, err),
        Command::Completions(asked) => completions::print(&asked, out),
        Command::Serve(asked) => return serve::run(&asked, out, err),
        Command::Ready(asked) => return ready::run(&asked, out, err),
        Command::People(People { what: OfPeople::Reset { data } }) => {
            people::reset(&data, Options::default(), out, err)
        }
        Command::Import(Import { from, server, token, dry_run, long }) => {
            import::run(&import::Request { from, server, token, dry_run, now: now() }, long.wanted(), out, err)
        }
        Command::Demo(Demo { data, seed, until, long }) => {
            let until = until.map_or_else(now, |stamp| stamp.at);
            demo::run(&demo::Request { data, seed, until }, long.wanted(), out, err)
        }
        Command::Load(Load { file, data, long }) => offline::load(&file, &data, long.wanted(), out, err),
        Command::Backup(Backup { data, to, long }) => offline::backup(&data, &to, now(), long.wanted(), out, err),
        Command::Restore(asked) => offline::restore(&asked, out, err),
        Command::Export(Export { data, after }) => offline::export(&data, after, out, err),
        Command::Verify(Verify { data, mut printed, checkpoint, key, long }) => {
            if let (Some(file), Some(key)) = (checkpoint, key) {
                match printed::signed(&file, &key) {
                    Ok(signed) => printed.push(signed),
                    Err(why) => {
                        writeln!(err, "{why}")?;
                        return Ok(NOT_DONE);
                    }
                }
            }
            offline::verify(&data, &printed, long.wanted(), out, err)
        }
    };
    done.map(|done| if done { DONE } else { NOT_DONE })
}

/// An address with its port. `localhost` is this machine (RFC 6761, section 6.3), whatever a name server says.
fn address(text: &str) -> Result<SocketAddr, String> {
    let (name, port) = text.rsplit_once(':').unwrap_or((text, ""));
    let numbers = if name.eq_ignore_ascii_case("localhost") { format!("127.0.0.1:{port}") } else { text.to_owned() };
    numbers.parse().map_err(|_| "write it as 127.0.0.1:8787: an address in numbers, a colon, a port".to_owned())
}

/// `24h`.
fn every(text: &str) -> Result<Duration, String> {
    let wrong = || "write it as 24h: a number and m, h or d; at least 1m".to_owned();
    let (number, unit) = text.split_at_checked(text.len().saturating_sub(1)).ok_or_else(wrong)?;
    let seconds = match unit {
        "m" => 60,
        "h" => 3_600,
        "d" => 86_400,
        _ => return Err(wrong()),
    };
    let number: u32 = number.parse().ok().filter(|number| 0 < *number).ok_or_else(wrong)?;
    Ok(Duration::from_secs(u64::from(number) * seconds))
}

/// An error and what is behind it, in one sentence.
fn whole(error: &dyn std::error::Error) -> String {
    let behind = std::iter::successors(error.source(), |error| error.source());
    behind.fold(error.to_string(), |say, error| format!("{say}: {error}"))
}

#[cfg(test)]
mod tests;
