//! `yard.toml`: the yard, its places, materials and batches, and who copied the paper cards.

use chrono_tz::Tz;
use shared_types::{Batch, ClockTime, Code, Day, Place, Stamp, Yard};
use std::collections::BTreeMap;
use toml::de::DeTable;

use super::{
    material,
    problems::{Problems, Spot},
    tables::{self, Table},
    text::Text,
    words,
};

/// What the file says, parsed. Each thing remembers where it stands.
#[derive(Debug)]
pub(crate) struct YardFile {
    pub(crate) yard: (Spot, Yard),
    pub(crate) cards: Cards,
    pub(crate) places: Vec<(Spot, Code, Place)>,
    pub(crate) materials: Vec<(Spot, Code, shared_types::Revision)>,
    pub(crate) batches: Vec<(Spot, Code, Code, Batch)>,
    /// Limits that a material does not state, in words.
    pub(crate) notes: Vec<String>,
}

/// Who read the paper cards, who compared what was typed with them, and when that was.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct Cards {
    pub(crate) copied_by: Code,
    pub(crate) compared_by: Code,
    pub(crate) as_of: Stamp,
    pub(crate) zone: Tz,
}

impl YardFile {
    /// Reads the whole file; nothing if anything in it can't be meant.
    pub(crate) fn read(file: &Text, problems: &mut Problems) -> Option<YardFile> {
        let (document, errors) = DeTable::parse_recoverable(&file.text);
        for error in &errors {
            let spot = file.spot_of(error.span().map_or(0, |span| span.start));
            problems.add(&spot, format!("this is not TOML: {}", error.message().replace('\n', " ")));
        }
        if !errors.is_empty() {
            return None;
        }
        let mut top = Table::new(file, "the file", document.get_ref(), &(0..0));
        let yard = yard(&mut top, problems);
        let cards = cards(&mut top, yard.as_ref().map(|(_, _, zone)| *zone), problems);
        let places = all(&mut top, "place", problems, place);
        let mut notes = Vec::new();
        let materials = all(&mut top, "material", problems, |table, problems| {
            let (spot, code, revision) = material::read(table, problems)?;
            notes.extend(material::unstated(&code, &revision));
            Some((spot, code, revision))
        });
        let batches = all(&mut top, "batch", problems, batch);
        top.no_others(problems);

        twice(places.iter().map(|(spot, code, _)| (spot, format!("place {code}"))), problems);
        let revision = |(spot, code, body): &(Spot, Code, shared_types::Revision)| {
            (spot.clone(), format!("material {code} revision {}", body.revision))
        };
        let revisions: Vec<_> = materials.iter().map(revision).collect();
        twice(revisions.iter().map(|(spot, name)| (spot, name.clone())), problems);
        twice(batches.iter().map(|(spot, of, code, _)| (spot, format!("batch {code} of {of}"))), problems);
        rooms(&places, problems);
        known_materials(&materials, &batches, problems);

        let (spot, yard, _) = yard?;
        Some(YardFile { yard: (spot, yard), cards: cards?, places, materials, batches, notes })
    }
}

fn all<'a, T>(
    top: &mut Table<'a>,
    name: &'static str,
    problems: &mut Problems,
    mut read: impl FnMut(Table<'a>, &mut Problems) -> Option<T>,
) -> Vec<T> {
    top.list(name, problems).into_iter().filter_map(|table| read(table, problems)).collect()
}

fn yard(top: &mut Table<'_>, problems: &mut Problems) -> Option<(Spot, Yard, Tz)> {
    let Some(mut table) = top.table("yard", problems, "[yard], with zone, spare and on_call under it") else {
        problems.add(top.spot(), "there is no [yard]; it says the zone, the spare time and the on-call number");
        return None;
    };
    let zone = table.need("zone", problems, |text| {
        text.trim().parse::<Tz>().map_err(|_| format!("\"{text}\" is no zone; write its name, such as Europe/Lisbon"))
    });
    let spare_s = table.need("spare", problems, tables::seconds);
    let on_call = table.may("on_call", problems, tables::name);
    let closed_weekdays = table.several("closed_weekdays", problems, words::weekday);
    let closed_on = table.several("closed_on", problems, |text| Day::parse(text).map_err(tables::say));
    let shift_start = table.may("shift_start", problems, |text| ClockTime::parse(text).map_err(tables::say));
    let shift_end = table.may("shift_end", problems, |text| ClockTime::parse(text).map_err(tables::say));
    let spot = table.spot().clone();
    table.no_others(problems);
    let zone = zone?;
    let name = zone.name().to_owned();
    let yard = Yard { zone: name, spare_s: spare_s?, on_call, closed_weekdays, closed_on, shift_start, shift_end };
    Some((spot, yard, zone))
}

fn cards(top: &mut Table<'_>, zone: Option<Tz>, problems: &mut Problems) -> Option<Cards> {
    let Some(mut table) = top.table("cards", problems, "[cards], with as_of, copied_by and compared_by under it")
    else {
        problems
            .add(top.spot(), "there is no [cards]; it says when the cards were read, who copied and who compared them");
        return None;
    };
    let copied_by = table.need("copied_by", problems, tables::code);
    let compared_by = table.need("compared_by", problems, tables::code);
    let as_of = table.need("as_of", problems, |text| Ok(text.to_owned()));
    let as_of_spot = table.get("as_of").map_or_else(|| table.spot().clone(), |value| value.spot);
    if copied_by.is_some() && copied_by == compared_by {
        problems.add(table.spot(), "copied_by and compared_by are one badge; somebody else compares the cards");
    }
    table.no_others(problems);
    let zone = zone?;
    let as_of = words::time_in(zone, &as_of?).map_err(|say| problems.add(&as_of_spot, format!("as_of: {say}"))).ok();
    Some(Cards { copied_by: copied_by?, compared_by: compared_by?, as_of: as_of?, zone })
}

fn place(mut table: Table<'_>, problems: &mut Problems) -> Option<(Spot, Code, Place)> {
    let code = table.need("code", problems, tables::code);
    let name = table.need("name", problems, tables::name);
    let frozen = table.need_flag("frozen", problems);
    let highest_millideg_c = table.may("highest", problems, words::millideg_c);
    let room = table.may("room", problems, tables::code);
    let rack_s = table.may("rack", problems, tables::seconds);
    let spot = table.spot().clone();
    table.no_others(problems);
    let place = Place { name: name?, frozen: frozen?, highest_millideg_c, room, rack_s, effective_from: None };
    Some((spot, code?, place))
}

fn batch(mut table: Table<'_>, problems: &mut Problems) -> Option<(Spot, Code, Code, Batch)> {
    let material = table.need("material", problems, tables::code);
    let code = table.need("batch", problems, tables::code);
    let made_on = table.need("made_on", problems, |text| Day::parse(text).map_err(tables::say));
    let certificate_ends = table.may("certificate_ends", problems, |text| Day::parse(text).map_err(tables::say));
    let spot = table.spot().clone();
    table.no_others(problems);
    let made_on = made_on?;
    if certificate_ends.is_some_and(|ends| ends.last() < made_on.first()) {
        problems.add(&spot, "the certificate ends before the batch was made");
    }
    Some((spot, material?, code?, Batch { made_on, certificate_ends }))
}

fn twice<'a>(named: impl Iterator<Item = (&'a Spot, String)>, problems: &mut Problems) {
    let mut first = BTreeMap::new();
    for (spot, name) in named {
        match first.get(&name) {
            Some(line) => problems.add(spot, format!("{name} is in line {line} already")),
            None => {
                first.insert(name, spot.line);
            }
        }
    }
}

fn rooms(places: &[(Spot, Code, Place)], problems: &mut Problems) {
    for (spot, code, place) in places {
        let Some(room) = &place.room else { continue };
        match places.iter().find(|(_, other, _)| other == room) {
            None => problems.add(spot, format!("{code} stands in {room}, and there is no [[place]] of that code")),
            Some((_, _, other)) if other.frozen => {
                problems.add(spot, format!("{code} stands in {room}, which is a frozen place and no room"));
            }
            Some(_) if !place.frozen => {
                problems.add(spot, format!("{code} is a room; only a frozen place stands in one"))
            }
            Some(_) => {}
        }
    }
}

fn known_materials(
    materials: &[(Spot, Code, shared_types::Revision)],
    batches: &[(Spot, Code, Code, Batch)],
    problems: &mut Problems,
) {
    for (spot, material, batch, _) in batches {
        if !materials.iter().any(|(_, code, _)| code == material) {
            problems.add(spot, format!("batch {batch} is of {material}, and there is no [[material]] of that code"));
        }
    }
}
