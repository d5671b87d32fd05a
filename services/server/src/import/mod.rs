//! Brings in what a yard has on its first day: `yard.toml` and `cards.csv`, checked whole before anything is written.
//!
//! It is a client like any other: it knows the files, the words and the API, and no rules.

mod cards_file;
mod client;
mod compare;
mod fields;
mod material;
mod plan;
mod problems;
mod tables;
mod text;
pub(crate) mod words;
mod write;
mod yard_file;

use shared_types::{Body, Instant, Kind};
use std::{
    collections::BTreeSet,
    io::{self, Write},
    path::{Path, PathBuf},
};

use crate::cli::progress::{Progress, Steps};

pub(crate) use self::client::caller;
use self::{client::Client, compare::Compared, plan::Planned, problems::Problems, text::Text, yard_file::YardFile};

/// What is asked for.
#[derive(Debug)]
pub(crate) struct Request {
    /// A folder with `yard.toml` and `cards.csv`, or one of the two.
    pub(crate) from: PathBuf,
    pub(crate) server: String,
    /// A program's, once the yard is set up.
    pub(crate) token: Option<String>,
    pub(crate) dry_run: bool,
    /// When this is asked: cards can't have been read later.
    pub(crate) now: Instant,
}

/// True if all is in, or would be.
pub(crate) fn run(request: &Request, told: Progress, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<bool> {
    let mut problems = Problems::default();
    let checked = check(request, &mut problems);
    let Some((planned, notes)) = checked.filter(|_| problems.is_empty()) else {
        return nothing_written(problems, err);
    };
    for note in &notes {
        writeln!(out, "Note: {note}")?;
    }
    let steps = Steps::new(told, "Compared", "entries", err);
    match bring_in(request, planned, &mut problems, steps, out)? {
        Err(say) => {
            writeln!(err, "{say}")?;
            Ok(false)
        }
        Ok(Brought::NotStarted) => nothing_written(problems, err),
        Ok(Brought::Done) if problems.is_empty() => Ok(true),
        Ok(Brought::Done) => {
            list(problems, err)?;
            writeln!(err, "Not all is in. Put that right and run the import again; what is in is passed over.")?;
            Ok(false)
        }
    }
}

enum Brought {
    /// What is in already has other values.
    NotStarted,
    Done,
}

fn bring_in(
    request: &Request,
    planned: Vec<Planned>,
    problems: &mut Problems,
    mut steps: Steps<'_>,
    out: &mut dyn Write,
) -> io::Result<Result<Brought, String>> {
    let asked = || {
        let client = Client::new(&request.server, request.token.as_deref())?;
        let badge = client.badge()?;
        let end = client.end_of_log()?;
        Ok((client, badge, end))
    };
    let (client, badge, end) = match asked() {
        Ok(asked) => asked,
        Err(say) => return Ok(Err(say)),
    };
    let of = planned.len();
    let compared = compare::compare(&client, planned, problems, || steps.more(1, of));
    let Compared { missing, already } = match compared {
        Ok(compared) => compared,
        Err(say) => return Ok(Err(say)),
    };
    // A program writes under its own badge; who copied the cards stands in the files alone.
    let missing = match &badge {
        Some(badge) => missing.into_iter().map(|one| Planned { by: badge.clone(), ..one }).collect(),
        None => missing,
    };
    if badge.is_some()
        && let Err(say) = write::allowed(&client, &missing, end, problems)
    {
        return Ok(Err(say));
    }
    if !problems.is_empty() {
        return Ok(Ok(Brought::NotStarted));
    }
    if request.dry_run {
        for line in missing.iter().filter_map(Planned::say) {
            writeln!(out, "  {line}")?;
        }
        let (missing, already) = (count(&missing), count(&already));
        writeln!(out, "Would be written: {missing}. Already in: {already}. Nothing was written.")?;
        return Ok(Ok(Brought::Done));
    }
    let steps = steps.stretch("Written", "entries");
    let written = write::write(&client, &missing, end, problems, |entries| steps.more(entries, missing.len()));
    match written {
        Err(say) => return Ok(Err(say)),
        Ok(_) if problems.is_empty() => {
            writeln!(out, "Written: {}. Already in: {}.", count(&missing), count(&already))?;
            if badge.is_some() && missing.iter().any(Planned::is_fact) {
                writeln!(
                    out,
                    "Nobody signed for the cards: what they say counts in full once two confirm it at /confirm."
                )?;
            }
        }
        Ok(written) => writeln!(out, "Written: {written} of {} entries.", missing.len())?,
    }
    Ok(Ok(Brought::Done))
}

/// The entries that the files ask for, and notes; nothing if a file can't be meant.
fn check(request: &Request, problems: &mut Problems) -> Option<(Vec<Planned>, Vec<String>)> {
    let (yard, cards) = files(&request.from);
    let yard_text = Text::read(&yard, problems);
    let cards_text = cards.and_then(|path| Text::read(&path, problems));
    let yard_text = yard_text?;
    let file = YardFile::read(&yard_text, problems)?;
    if request.now < file.cards.as_of.at {
        problems
            .add(&yard_text.spot(0), format!("the cards were read at {}, which is still to come", file.cards.as_of));
    }
    let cards = cards_text.map(|text| cards_file::read(&text, &file, problems)).unwrap_or_default();
    Some((plan::plan(&file, &cards), file.notes))
}

/// `yard.toml`, and `cards.csv` unless only the yard is asked for.
fn files(from: &Path) -> (PathBuf, Option<PathBuf>) {
    match from.extension().and_then(|ending| ending.to_str()) {
        Some("toml") if !from.is_dir() => (from.to_owned(), None),
        Some("csv") if !from.is_dir() => (from.with_file_name("yard.toml"), Some(from.to_owned())),
        _ => (from.join("yard.toml"), Some(from.join("cards.csv"))),
    }
}

fn nothing_written(problems: Problems, err: &mut dyn Write) -> io::Result<bool> {
    let count = list(problems, err)?;
    let problems = if count == 1 { "1 problem".to_owned() } else { format!("{count} problems") };
    writeln!(err, "{problems}. Nothing was written.")?;
    Ok(false)
}

fn list(problems: Problems, err: &mut dyn Write) -> io::Result<usize> {
    let problems = problems.sorted();
    for problem in &problems {
        writeln!(err, "{problem}")?;
    }
    Ok(problems.len())
}

/// `the yard, 4 places, 2 materials, 2 batches, 6 rolls`. A put-away is counted with the receipt of its roll.
fn count(entries: &[Planned]) -> String {
    let received: BTreeSet<_> =
        entries.iter().filter(|one| matches!(one.body, Body::RollReceived(_))).map(|one| &one.thing).collect();
    let put_away = |one: &Planned| matches!(one.body, Body::RollPutAway(_));
    let of = |kind: Kind| entries.iter().filter(|one| one.thing.kind() == kind && !put_away(one)).count();
    // A run that broke off between a receipt and its put-away.
    let alone = entries.iter().filter(|one| put_away(one) && !received.contains(&one.thing)).count();
    let counted = [
        (of(Kind::Place), "place", "places"),
        (of(Kind::Material), "material", "materials"),
        (of(Kind::Batch), "batch", "batches"),
        (of(Kind::Roll), "roll", "rolls"),
        (alone, "put-away", "put-aways"),
    ];
    let counted = counted.into_iter().filter_map(|(count, one, many)| match count {
        0 => None,
        1 => Some(format!("1 {one}")),
        count => Some(format!("{count} {many}")),
    });
    let yard = (0 < of(Kind::Yard)).then(|| "the yard".to_owned());
    let all: Vec<String> = yard.into_iter().chain(counted).collect();
    if all.is_empty() { "nothing".to_owned() } else { all.join(", ") }
}

#[cfg(test)]
mod tests;
