//! Questions to a running server, answered in words, or with `--json` as the API answers.

mod install;

use super::{
    DONE, NOT_DONE, NOT_MEANT, NOT_YES,
    numbers::whole,
    rest::{Rest, Unanswered},
    tables::{clock, foot, table, wrapped},
};
use crate::{
    http::{in_a_path, in_a_query},
    tree::{Item, Step, tree, usual_direction},
};
use clap::ValueEnum;
use domain::rows::{left_of, left_words};
use domain::say::{limit, so_far};
use serde::de::DeserializeOwned;
use shared_types::{
    Direction, LimitRow, MayUse, MismatchList, RunsOut as Running, Scan, Stamp, ThingName, Trace as Traced,
    Warnings as Warned, Word,
};
use std::io::{self, Write};

#[derive(clap::Args)]
struct To {
    /// The server that is asked
    #[arg(long, value_name = "URL", env = "RIMEBOOK_SERVER", default_value = "http://127.0.0.1:8787")]
    server: String,
    /// A token for programs, once the yard is set up; best given in the environment, where no list of processes shows it
    #[arg(long, value_name = "TOKEN", env = "RIMEBOOK_TOKEN", hide_env_values = true)]
    token: Option<String>,
    /// Print the API's own answer, byte for byte
    #[arg(long)]
    json: bool,
}

#[derive(clap::Args)]
struct When {
    /// The instant at which the history is read, such as 2026-05-06T09:00:00+02:00; without it, now
    #[arg(long, value_name = "TIME", value_parser = Stamp::parse)]
    at: Option<Stamp>,
    /// The number of the last entry that counts as known; without it, all of them
    #[arg(long, value_name = "ENTRY", value_parser = whole::<u64>)]
    known: Option<u64>,
}

#[derive(clap::Args)]
#[command(after_help = super::EXIT_CODES)]
pub(super) struct Ask {
    /// A roll, a kit or a part, such as roll/R-42; the code alone will do where it means one thing
    thing: String,
    /// What somebody wants to do with it
    #[arg(long)]
    act: Act,
    /// For which job; without it the answer gives the last instants
    #[arg(long)]
    job: Option<String>,
    /// Which lay-up stage of a part
    #[arg(long)]
    stage: Option<String>,
    /// To install: into which boat
    #[arg(long)]
    boat: Option<String>,
    #[command(flatten)]
    when: When,
    #[command(flatten)]
    to: To,
}

#[derive(Clone, Copy, ValueEnum)]
enum Act {
    TakeOut,
    Cut,
    Lay,
    Oven,
    Install,
}

#[derive(clap::Args)]
pub(super) struct RunsOut {
    /// How many hours to look ahead
    #[arg(long, value_name = "HOURS", default_value_t = 168, value_parser = whole::<u32>)]
    within_h: u32,
    #[command(flatten)]
    when: When,
    #[command(flatten)]
    to: To,
}

#[derive(clap::Args)]
pub(super) struct Trace {
    /// Any thing, such as boat/NB-31 or batch/PM-101/B-123; the code alone will do where it means one thing
    thing: String,
    /// What it went into; without either, this for materials, batches, rolls and nests
    #[arg(long, conflicts_with = "from")]
    into: bool,
    /// What it is made from; without either, this for everything else
    #[arg(long)]
    from: bool,
    #[command(flatten)]
    when: When,
    #[command(flatten)]
    to: To,
}

#[derive(clap::Args)]
pub(super) struct Mismatches {
    #[command(flatten)]
    when: When,
    #[command(flatten)]
    to: To,
}

#[derive(clap::Args)]
pub(super) struct Warnings {
    /// Only what is of this material
    #[arg(long)]
    material: Option<String>,
    /// Only what this job needs
    #[arg(long)]
    job: Option<String>,
    #[command(flatten)]
    when: When,
    #[command(flatten)]
    to: To,
}

/// Why it ends without an answer: in words, or because nobody reads them.
pub(super) enum Ended {
    Unanswered(Unanswered),
    Unread(io::Error),
}

impl From<Unanswered> for Ended {
    fn from(why: Unanswered) -> Ended {
        Ended::Unanswered(why)
    }
}

impl From<io::Error> for Ended {
    fn from(why: io::Error) -> Ended {
        Ended::Unread(why)
    }
}

pub(super) fn ask(asked: &Ask, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<u8> {
    ended(may_use(asked, out), err)
}

pub(super) fn runs_out(asked: &RunsOut, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<u8> {
    ended(running(asked, out), err)
}

pub(super) fn trace(asked: &Trace, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<u8> {
    ended(traced(asked, out), err)
}

pub(super) fn mismatches(asked: &Mismatches, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<u8> {
    ended(open(asked, out), err)
}

pub(super) fn warnings(asked: &Warnings, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<u8> {
    ended(warned(asked, out), err)
}

pub(super) fn ended(answer: Result<u8, Ended>, err: &mut dyn Write) -> io::Result<u8> {
    match answer {
        Ok(code) => Ok(code),
        Err(Ended::Unread(error)) => Err(error),
        Err(Ended::Unanswered(why)) => {
            writeln!(err, "{}", why.say)?;
            Ok(if why.ask_otherwise { NOT_MEANT } else { NOT_DONE })
        }
    }
}

fn may_use(asked: &Ask, out: &mut dyn Write) -> Result<u8, Ended> {
    let rest = Rest::new(&asked.to.server, asked.to.token.as_deref())?;
    let thing = thing(&rest, &asked.thing)?;
    let act = match asked.act {
        Act::TakeOut => "take_out",
        Act::Cut => "cut",
        Act::Lay => "lay",
        Act::Oven => "oven",
        Act::Install => return install::may_install(&rest, &thing, asked, out),
    };
    if asked.boat.is_some() {
        return Err(not_meant("--boat goes with --act install.".to_owned()).into());
    }
    let mut query = format!("act={act}");
    for (name, value) in [("job", &asked.job), ("stage", &asked.stage)] {
        query.extend(value.iter().map(|value| format!("&{name}={}", in_a_query(value))));
    }
    let body = rest.get(&format!("/api/v1/things/{}/may-use?{query}{}", in_a_path(&thing), asked.when.query()))?;
    let answer: MayUse = read(&body)?;
    let code = if answer.answer == Word::Yes { DONE } else { NOT_YES };
    if asked.to.json {
        out.write_all(&body)?;
        return Ok(code);
    }
    wrapped(&answer.say, "", out)?;
    wrapped(&answer.why, "", out)?;
    for hold in &answer.holds {
        wrapped(
            &format!("Held with {} since {}: {}", hold.on.short(), clock(&hold.since, &answer.at), hold.why),
            "",
            out,
        )?;
    }
    for more in answer.mismatches.iter().filter(|one| one.settled_by.is_none()) {
        wrapped(&format!("Doesn't add up: {}", more.say), "", out)?;
    }
    for note in &answer.notes {
        wrapped(note, "", out)?;
    }
    if !answer.limits.is_empty() {
        let head = ["limit", "of", "so far", "left", "ends"].map(str::to_owned).to_vec();
        let rows: Vec<_> = answer.limits.iter().map(|row| limit_row(row, &answer.at)).collect();
        writeln!(out)?;
        table(&[vec![head], rows].concat(), out)?;
    }
    foot(&answer.at, answer.as_of_seq, out)?;
    Ok(code)
}

fn not_meant(say: String) -> Unanswered {
    Unanswered { say, ask_otherwise: true }
}

fn limit_row(row: &LimitRow, near: &Stamp) -> Vec<String> {
    let ms = |seconds: i64| seconds.saturating_mul(1000);
    let so_far = match (row.so_far_s, row.so_far, row.allowed) {
        (Some(seconds), ..) => so_far(ms(seconds)),
        (None, Some(count), Some(allowed)) => format!("{count} of {allowed}"),
        (None, ..) => String::new(),
    };
    let left = match (&row.none_by, &row.missing) {
        (Some(document), _) => format!("no limit, by {document}"),
        (None, Some(missing)) => format!("missing: {missing}"),
        (None, None) => left_words(row),
    };
    let ends = row.ends_at.map(|at| clock(&at, near)).or_else(|| row.ends_on.clone()).unwrap_or_default();
    vec![limit(row.limit).to_owned(), row.item.short().to_owned(), so_far, left, ends]
}

fn running(asked: &RunsOut, out: &mut dyn Write) -> Result<u8, Ended> {
    let rest = Rest::new(&asked.to.server, asked.to.token.as_deref())?;
    let body = rest.get(&format!("/api/v1/runs-out?within_h={}{}", asked.within_h, asked.when.query()))?;
    if asked.to.json {
        out.write_all(&body)?;
        return Ok(DONE);
    }
    let list: Running = read(&body)?;
    if list.lines.is_empty() {
        writeln!(out, "Nothing runs out within {} h.", list.within_h)?;
    } else {
        let mut rows = vec![["ends", "left", "what", "limit"].map(str::to_owned).to_vec()];
        rows.extend(list.lines.iter().map(|line| {
            let stage = line.stage.as_ref().map_or(String::new(), |stage| format!(" {stage}"));
            let what = format!("{}{stage}", line.thing);
            vec![clock(&line.ends_at, &list.at), left_of(line.limit, line.left_s), what, limit(line.limit).to_owned()]
        }));
        table(&rows, out)?;
    }
    foot(&list.at, list.as_of_seq, out)?;
    Ok(DONE)
}

fn traced(asked: &Trace, out: &mut dyn Write) -> Result<u8, Ended> {
    let rest = Rest::new(&asked.to.server, asked.to.token.as_deref())?;
    let thing = thing(&rest, &asked.thing)?;
    let direction = match (asked.into, asked.from) {
        (true, _) => Direction::WentInto,
        (_, true) => Direction::MadeFrom,
        (false, false) => usual_direction(thing.kind()),
    };
    let (word, says) = match direction {
        Direction::MadeFrom => ("made_from", "is made from"),
        Direction::WentInto => ("went_into", "went into"),
    };
    let path = format!("/api/v1/things/{}/trace?direction={word}{}", in_a_path(&thing), asked.when.query());
    let body = rest.get(&path)?;
    if asked.to.json {
        out.write_all(&body)?;
        return Ok(DONE);
    }
    let traced: Traced = read(&body)?;
    let tree = tree(&traced);
    match tree.steps.is_empty() {
        true => writeln!(out, "The book does not know what {thing} {says}.")?,
        false => writeln!(out, "{thing} {says}:")?,
    }
    for step in &tree.steps {
        if let Step::Item(item) = step {
            writeln!(out, "{}{}", "  ".repeat(item.depth + 1), item_words(item))?;
        }
    }
    if 0 < tree.left_out {
        writeln!(out, "{} more are not shown; --json has them all.", tree.left_out)?;
    }
    foot(&traced.at, traced.as_of_seq, out)?;
    Ok(DONE)
}

fn item_words(item: &Item) -> String {
    let stages = if item.stages.is_empty() { String::new() } else { format!(" {}", item.stages.join(", ")) };
    let numbers: Vec<String> = item.entries.iter().map(ToString::to_string).collect();
    let entries = match numbers.len() {
        0 => String::new(),
        1 => format!(", entry {}", numbers.concat()),
        _ => format!(", entries {}", numbers.join(", ")),
    };
    format!("{}{stages}{entries}{}", item.thing, if item.again { ", told above" } else { "" })
}

fn open(asked: &Mismatches, out: &mut dyn Write) -> Result<u8, Ended> {
    let rest = Rest::new(&asked.to.server, asked.to.token.as_deref())?;
    let query = asked.when.query();
    let body = rest.get(&format!("/api/v1/mismatches{}", query.replacen('&', "?", 1)))?;
    if asked.to.json {
        out.write_all(&body)?;
        return Ok(DONE);
    }
    let list: MismatchList = read(&body)?;
    if list.mismatches.is_empty() {
        writeln!(out, "Everything adds up.")?;
    }
    for one in &list.mismatches {
        let ask = one.ask.as_deref().unwrap_or_default();
        wrapped(&format!("entry {}, {}: {} {ask}", one.seq, one.thing, one.say), "  ", out)?;
    }
    writeln!(out, "From the log up to entry {}.", list.as_of_seq)?;
    Ok(DONE)
}

fn warned(asked: &Warnings, out: &mut dyn Write) -> Result<u8, Ended> {
    let rest = Rest::new(&asked.to.server, asked.to.token.as_deref())?;
    let mut query = String::new();
    for (name, value) in [("material", &asked.material), ("job", &asked.job)] {
        query.extend(value.iter().map(|value| format!("&{name}={}", in_a_query(value))));
    }
    query.push_str(&asked.when.query());
    let body = rest.get(&format!("/api/v1/warnings{}", query.replacen('&', "?", 1)))?;
    if asked.to.json {
        out.write_all(&body)?;
        return Ok(DONE);
    }
    let list: Warned = read(&body)?;
    if list.warnings.is_empty() {
        writeln!(out, "Nobody has to act: nothing runs out soon.")?;
    }
    for one in &list.warnings {
        wrapped(&one.say, "  ", out)?;
    }
    foot(&list.at, list.as_of_seq, out)?;
    Ok(DONE)
}

/// A name, or a code alone that means one thing.
fn thing(rest: &Rest, text: &str) -> Result<ThingName, Unanswered> {
    if text.contains('/') {
        return text.parse().map_err(|error| not_meant(format!("{error}.")));
    }
    let found: Scan = read(&rest.get(&format!("/api/v1/scan/{}", in_a_query(text)))?)?;
    match found.things.as_slice() {
        [one] => Ok(one.clone()),
        several => {
            let names: Vec<String> = several.iter().map(ToString::to_string).collect();
            Err(not_meant(format!("{} is on several labels. Name one of {}.", found.code, names.join(", "))))
        }
    }
}

pub(super) fn read<T: DeserializeOwned>(body: &[u8]) -> Result<T, Unanswered> {
    serde_json::from_slice(body).map_err(|error| Unanswered {
        say: format!("The server does not answer as a rimebook of this version does: {error}. Look at --server."),
        ask_otherwise: false,
    })
}

impl When {
    /// As it follows another parameter.
    fn query(&self) -> String {
        let at = self.at.map_or(String::new(), |at| format!("&at={}", in_a_query(&at.to_string())));
        let known = self.known.map_or(String::new(), |known| format!("&known={known}"));
        at + &known
    }
}
