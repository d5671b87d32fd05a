//! `cards.csv`: a line per roll, copied from its paper out-time card.

use chrono::NaiveDate;
use shared_types::{Batch, Code, Day, Millimetres, Seconds};
use std::collections::BTreeMap;

use super::{
    problems::{Problems, Spot},
    tables,
    text::Text,
    words,
    yard_file::YardFile,
};

const COLUMNS: [&str; 9] =
    ["roll", "material", "batch", "made", "received", "place", "out_time", "refreezes", "metres_left"];
const MAY_BE_LEFT_OUT: [&str; 2] = ["revision", "width_mm"];

/// One roll as its card has it.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct Card {
    pub(crate) spot: Spot,
    pub(crate) roll: Code,
    pub(crate) material: Code,
    pub(crate) revision: Code,
    pub(crate) batch: Code,
    pub(crate) place: Code,
    pub(crate) out_time: Seconds,
    pub(crate) refreezes: u32,
    pub(crate) left: Millimetres,
    pub(crate) width: Option<Millimetres>,
}

/// Reads every line and compares it with what `yard.toml` says.
pub(crate) fn read(file: &Text, yard: &YardFile, problems: &mut Problems) -> Vec<Card> {
    let mut reader = csv::ReaderBuilder::new().flexible(true).trim(csv::Trim::All).from_reader(file.text.as_bytes());
    let Some(columns) = reader.headers().ok().and_then(|first| columns(file, first, problems)) else {
        return Vec::new();
    };
    let today = yard.cards.as_of.at;
    let today =
        chrono::DateTime::from_timestamp_millis(today.0).map(|at| at.with_timezone(&yard.cards.zone).date_naive());
    let mut cards = Vec::new();
    let mut first: BTreeMap<Code, u64> = BTreeMap::new();
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                let line = error.position().map_or(0, csv::Position::line);
                problems.add(&file.spot(line), format!("this line can't be read: {error}"));
                continue;
            }
        };
        let spot = file.spot(record.position().map_or(0, csv::Position::line));
        if columns.len() != record.len() {
            let say = format!(
                "{} values, and {} columns in the first line; put quotes round a value with a comma in it",
                record.len(),
                columns.len()
            );
            problems.add(&spot, say);
            continue;
        }
        let row = Row { spot, values: columns.iter().map(String::as_str).zip(record.iter()).collect() };
        let Some(card) = card(&row, yard, today, problems) else { continue };
        match first.get(&card.roll) {
            Some(line) => problems.add(&card.spot, format!("{} is in line {line} already", card.roll)),
            None => {
                first.insert(card.roll.clone(), card.spot.line);
                cards.push(card);
            }
        }
    }
    cards
}

/// The names in the first line, if they are all there and none is strange.
fn columns(file: &Text, first: &csv::StringRecord, problems: &mut Problems) -> Option<Vec<String>> {
    let spot = file.spot(1);
    let names: Vec<String> = first.iter().map(|name| name.trim().to_lowercase()).collect();
    if names.iter().any(|name| name.contains(';') || name.contains('\t')) {
        problems.add(&spot, "the columns are not parted by commas; save the file with commas");
        return None;
    }
    let missing: Vec<_> = COLUMNS.into_iter().filter(|name| !names.iter().any(|other| other == name)).collect();
    if !missing.is_empty() {
        problems.add(&spot, format!("the first line names the columns; it lacks {}", missing.join(", ")));
    }
    let known = |name: &str| COLUMNS.contains(&name) || MAY_BE_LEFT_OUT.contains(&name);
    for name in names.iter().filter(|name| !known(name)) {
        problems.add(
            &spot,
            format!(
                "\"{name}\" is no column; they are {}, and if you like {}",
                COLUMNS.join(", "),
                MAY_BE_LEFT_OUT.join(", ")
            ),
        );
    }
    for (at, name) in names.iter().enumerate() {
        if names.iter().take(at).any(|other| other == name) {
            problems.add(&spot, format!("the column {name} is there twice"));
        }
    }
    missing.is_empty().then_some(names)
}

struct Row<'a> {
    spot: Spot,
    values: BTreeMap<&'a str, &'a str>,
}

impl Row<'_> {
    fn need<T>(&self, name: &str, problems: &mut Problems, read: tables::Read<T>) -> Option<T> {
        match self.values.get(name).copied().unwrap_or_default() {
            "" => {
                problems.add(&self.spot, format!("{name} is empty"));
                None
            }
            text => read(text).map_err(|say| problems.add(&self.spot, format!("{name}: {say}"))).ok(),
        }
    }

    fn may<T>(&self, name: &str, problems: &mut Problems, read: tables::Read<T>) -> Option<T> {
        match self.values.get(name).copied().unwrap_or_default() {
            "" => None,
            text => read(text).map_err(|say| problems.add(&self.spot, format!("{name}: {say}"))).ok(),
        }
    }
}

fn card(row: &Row<'_>, yard: &YardFile, today: Option<NaiveDate>, problems: &mut Problems) -> Option<Card> {
    let roll = row.need("roll", problems, tables::code);
    let material = row.need("material", problems, tables::code);
    let revision = row.may("revision", problems, tables::code);
    let batch = row.need("batch", problems, tables::code);
    let made = row.need("made", problems, |text| Day::parse(text).map_err(tables::say));
    let received = row.need("received", problems, |text| match Day::parse(text) {
        Ok(Day::Day(day)) => Ok(day),
        Ok(Day::Month { .. }) => Err(format!("\"{text}\" is a month; write the day, such as 2026-01-31")),
        Err(error) => Err(error.to_string()),
    });
    let place = row.need("place", problems, tables::code);
    let out_time = row.need("out_time", problems, words::duration);
    let refreezes = row.need("refreezes", problems, tables::count);
    let left = row.need("metres_left", problems, words::metres);
    let width = row.may("width_mm", problems, |text| {
        let mm = text
            .parse::<u64>()
            .map_err(|_| format!("\"{text}\" is no width; write whole millimetres, such as 1270"))?;
        Millimetres::try_from(mm).map_err(tables::say)
    });
    let revision = material.as_ref().and_then(|material| known_revision(row, yard, material, revision, problems));
    if let Some(place) = &place {
        known_place(row, yard, place, problems);
    }
    if let (Some(material), Some(batch)) = (&material, &batch) {
        known_batch(row, yard, material, batch, made, problems);
    }
    dates(row, made, received, today, problems);
    Some(Card {
        spot: row.spot.clone(),
        roll: roll?,
        material: material?,
        revision: revision?,
        batch: batch?,
        place: place?,
        out_time: out_time?,
        refreezes: refreezes?,
        left: left?,
        width,
    })
}

/// The revision the row names, or the only one there is.
fn known_revision(
    row: &Row<'_>,
    yard: &YardFile,
    material: &Code,
    named: Option<Code>,
    problems: &mut Problems,
) -> Option<Code> {
    let revisions: Vec<&Code> =
        yard.materials.iter().filter(|(_, code, _)| code == material).map(|(_, _, body)| &body.revision).collect();
    match (named, revisions.as_slice()) {
        (_, []) => problems.add(&row.spot, format!("material {material} is not in yard.toml")),
        (None, [only]) => return Some((*only).clone()),
        (None, _) => {
            problems.add(&row.spot, format!("{material} has several revisions; name the one that binds this roll"))
        }
        (Some(named), known) if known.contains(&&named) => return Some(named),
        (Some(named), _) => problems.add(&row.spot, format!("revision {named} of {material} is not in yard.toml")),
    }
    None
}

fn known_place(row: &Row<'_>, yard: &YardFile, place: &Code, problems: &mut Problems) {
    match yard.places.iter().find(|(_, code, _)| code == place) {
        None => problems.add(&row.spot, format!("place {place} is not in yard.toml")),
        Some((_, _, body)) if !body.frozen => {
            let say = format!(
                "{place} is a room; put the roll into a frozen place, write its time on its card, then import it"
            );
            problems.add(&row.spot, say);
        }
        Some(_) => {}
    }
}

fn known_batch(
    row: &Row<'_>,
    yard: &YardFile,
    material: &Code,
    batch: &Code,
    made: Option<Day>,
    problems: &mut Problems,
) {
    match yard.batches.iter().find(|(_, of, code, _)| of == material && code == batch) {
        None => problems.add(&row.spot, format!("batch {batch} of {material} is not in yard.toml")),
        Some((spot, _, _, body)) => {
            let Some(made) = made else { return };
            if !same_day(made, body) {
                let say = format!("made {made}, and {spot} says that batch {batch} was made {}", body.made_on);
                problems.add(&row.spot, say);
            }
        }
    }
}

/// A day and the month it lies in may be one manufacture date, written more or less exactly.
fn same_day(made: Day, batch: &Batch) -> bool {
    let (first, last) = (made.first(), made.last());
    batch.made_on.first() <= last && first <= batch.made_on.last()
}

fn dates(
    row: &Row<'_>,
    made: Option<Day>,
    received: Option<NaiveDate>,
    today: Option<NaiveDate>,
    problems: &mut Problems,
) {
    if let (Some(made), Some(received)) = (made, received)
        && made.first().is_some_and(|made| received < made)
    {
        problems.add(&row.spot, format!("received {received}, before it was made ({made})"));
    }
    if let (Some(received), Some(today)) = (received, today)
        && today < received
    {
        problems.add(&row.spot, format!("received {received}, after the cards were read ({today})"));
    }
}
