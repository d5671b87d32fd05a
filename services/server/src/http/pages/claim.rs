//! The sentences above a boat's build sheet: how much of its list is installed, and was all of that within life?

use domain::sheet::{Made, NOT_CURED, Part, Sheet, Stands};
use std::collections::BTreeSet;

/// The first sentence answers; each part is told once by where it stands, and each installed one once by its worst stage.
pub(super) fn claim(boat: &str, sheet: &Sheet) -> Vec<String> {
    let (listed, parts) = (sheet.listed, &sheet.parts);
    let installed: Vec<&Part> = parts.iter().filter(|part| part.stands == Stands::Installed).collect();
    let mut claim = vec![first(boat, listed, &installed)];
    // They are in the boat as much as the others: their rolls are counted right behind those of the list.
    let strangers: Vec<&Part> = installed.iter().copied().filter(|part| !part.on_list).collect();
    if !strangers.is_empty() {
        let names: Vec<&str> = strangers.iter().map(|part| part.name.as_str()).collect();
        let are = if names.len() == 1 { "is" } else { "are" };
        claim.push(format!("{} {are} in it and not on its list: {}.", names.len(), names.join(", ")));
        claim.push(format!("With {}, it has {}.", if names.len() == 1 { "it" } else { "them" }, made_of(&installed)));
    }
    let mut tell = |names: Vec<&str>, one: &str, many: &str| match names.as_slice() {
        [] => {}
        [only] => claim.push(format!("{only} {one}.")),
        _ => claim.push(format!("{} {many}.", list(&names))),
    };
    let others = |made: Made| {
        let of = parts.iter().filter(|part| part.stands == Stands::NotInstalled && part.made() == made);
        of.map(|part| part.name.as_str()).collect::<Vec<_>>()
    };
    tell(others(Made::Cured), "is cured, not installed", "are cured, not installed");
    let in_part = "not cured in all stages, not installed";
    tell(others(Made::CuredInPart), &format!("is laid, {in_part}"), &format!("are laid, {in_part}"));
    tell(others(Made::Begun), "is begun, not installed", "are begun, not installed");
    tell(others(Made::Laid), "is laid, not cured, not installed", "are laid, not cured, not installed");
    for part in parts {
        if let Stands::Elsewhere(other) = &part.stands {
            tell(vec![&part.name], &format!("is in boat {other}"), "");
        }
    }
    let unknown = others(Made::NoRecord);
    match unknown.len() {
        0 => {}
        1 => claim.push(format!("1 has no record: {}.", list(&unknown))),
        count => claim.push(format!("{count} have no record: {}.", list(&unknown))),
    }
    claim.extend(judged(&installed));
    let astray = parts.iter().filter(|part| part.stands != Stands::Installed && NOT_CURED < part.rank().unwrap_or(0));
    let astray: Vec<&str> = astray.map(|part| part.name.as_str()).collect();
    if !astray.is_empty() {
        claim.push(format!("Of those not installed, not within life or can't be judged: {}.", astray.join(", ")));
    }
    claim
}

fn first(boat: &str, listed: Option<usize>, installed: &[&Part]) -> String {
    let Some(listed) = listed else {
        return match installed.len() {
            0 => format!("Nobody has said which parts {boat} has, and nothing is installed in it."),
            count => {
                let are = if count == 1 { "is" } else { "are" };
                let parts = number(count, "part");
                format!(
                    "Nobody has said which parts {boat} has. {parts} {are} installed in it: {}.",
                    made_of(installed)
                )
            }
        };
    };
    let of_list: Vec<&Part> = installed.iter().copied().filter(|part| part.on_list).collect();
    match (of_list.len(), listed) {
        (_, 0) => format!("{boat}'s list has no parts."),
        (0, 1) => format!("The 1 part on {boat}'s list is not installed."),
        (0, many) => format!("None of the {many} parts on {boat}'s list is installed."),
        (1, 1) => format!("The 1 part on {boat}'s list is installed: {}.", made_of(&of_list)),
        (all, many) if all == many => {
            format!("All {many} parts on {boat}'s list are installed: {}.", made_of(&of_list))
        }
        (1, many) => format!("1 of the {many} parts on {boat}'s list is installed: {}.", made_of(&of_list)),
        (some, many) => format!("{some} of the {many} parts on {boat}'s list are installed: {}.", made_of(&of_list)),
    }
}

/// `40 rolls of 9 batches`, of these parts alone.
fn made_of(parts: &[&Part]) -> String {
    let sources = parts.iter().flat_map(|part| &part.stages).flat_map(|stage| &stage.sources);
    let pairs: Vec<&(String, String)> = sources.flat_map(|source| &source.rolls).collect();
    let rolls: BTreeSet<&str> = pairs.iter().map(|(roll, _)| roll.as_str()).collect();
    let batches: BTreeSet<&str> =
        pairs.iter().flat_map(|(_, batches)| batches.split(", ")).filter(|batch| !batch.is_empty()).collect();
    format!("{} of {}", number(rolls.len(), "roll"), number(batches.len(), "batch"))
}

/// What is installed, by the worst of each part's stages.
fn judged(installed: &[&Part]) -> Vec<String> {
    let named = |rank: Option<u8>| -> Vec<&str> {
        installed.iter().filter(|part| part.rank() == rank).map(|part| part.name.as_str()).collect()
    };
    let mut said = Vec::new();
    let mut tell = |names: Vec<&str>, one: &str, many: &str| match names.len() {
        0 => {}
        1 => said.push(format!("1 {one}: {}.", names.join(", "))),
        count => said.push(format!("{count} {many}: {}.", names.join(", "))),
    };
    tell(named(Some(3)), "was not", "were not");
    tell(named(Some(2)), "can't be judged", "can't be judged");
    tell(named(Some(NOT_CURED)), "is not cured, or not confirmed", "are not cured, or not confirmed");
    tell(named(None), "has no record of what was laid", "have no record of what was laid");
    if installed.iter().any(|part| part.rank().is_some()) {
        let within = named(Some(0)).len();
        said.insert(0, format!("{within} {} laid and cured within life.", if within == 1 { "was" } else { "were" }));
    }
    said
}

/// `P-1, P-2 and P-3`.
pub(super) fn list(names: &[&str]) -> String {
    match names.split_last() {
        Some((last, [])) => (*last).to_owned(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
        None => String::new(),
    }
}

pub(super) fn number(count: usize, word: &str) -> String {
    match (count, word) {
        (1, _) => format!("1 {word}"),
        (_, "batch") => format!("{count} batches"),
        (_, "entry") => format!("{count} entries"),
        (_, _) => format!("{count} {word}s"),
    }
}
