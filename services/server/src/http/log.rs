//! Reading the log: which entries are asked for, and their stored lines.

use super::{ask::ask, problems::Fault};
use crate::yard::Yard;
use domain::Book;
use serde::Deserialize;
use shared_types::{
    ThingName,
    catalogue::{KINDS, OLDER},
};

/// About so many bytes are read for one page.
const ENOUGH: usize = 1 << 20;
/// Lines read from the disk in one go.
const STEP: usize = 20;

/// Which entries are asked for.
#[derive(Clone, Default)]
pub(crate) struct Filter {
    /// A kind with its version, or without: then any version of it.
    kind: Option<Box<str>>,
    thing: Option<ThingName>,
}

/// Lines with their numbers.
pub(crate) struct Chosen {
    pub(crate) lines: Vec<(u64, Vec<u8>)>,
    /// The last entry that was looked at.
    pub(crate) reached: u64,
    /// Whether more that are asked for stand behind it.
    pub(crate) more: bool,
    /// The last entry of the log.
    pub(crate) last: u64,
}

impl Filter {
    pub(crate) fn new(kind: Option<&str>, thing: Option<&str>) -> Result<Filter, Fault> {
        let thing = thing.map(|thing| {
            thing.parse::<ThingName>().map_err(|error| {
                Fault::cannot_read(format!("The thing could not be read: {error}.")).field("/thing", error.to_string())
            })
        });
        if let Some(kind) = kind
            && !KINDS.iter().any(|(name, _)| *name == kind || plain(name) == kind)
            && !OLDER.contains(&kind)
        {
            let kind: String = kind.chars().take(60).collect();
            let detail = format!("No entry is of a kind {kind}. The kinds are in the document, as roll_taken_out.");
            return Err(Fault::cannot_read(detail).field("/kind", "a kind that entries are stored under"));
        }
        Ok(Filter { kind: kind.map(Box::from), thing: thing.transpose()? })
    }

    /// The same in an address, to go on with.
    pub(crate) fn in_query(&self) -> String {
        let kind = self.kind.as_ref().map(|kind| format!("&kind={kind}")).unwrap_or_default();
        let thing = self.thing.as_ref().map(|thing| format!("&thing={}", super::fallback::in_a_path(thing)));
        kind + &thing.unwrap_or_default()
    }

    fn is_open(&self) -> bool {
        self.kind.is_none() && self.thing.is_none()
    }

    /// Numbers of up to `count` entries that may be asked for, from the book alone, and whether there are more.
    fn seqs(&self, book: &Book, after: u64, count: usize) -> Vec<u64> {
        let last = book.last_seq();
        let of_kind = |seq: &u64| {
            let entry = u32::try_from(*seq).ok().and_then(|seq| book.entry(seq));
            self.kind.as_ref().is_none_or(|kind| entry.is_some_and(|entry| entry.kind == plain(kind)))
        };
        match &self.thing {
            None => (after.saturating_add(1)..=last).filter(of_kind).take(count).collect(),
            Some(thing) => {
                let mut seqs = book.entries_of(thing);
                seqs.retain(|seq| after < *seq);
                seqs.sort_unstable();
                seqs.into_iter().filter(of_kind).take(count).collect()
            }
        }
    }

    /// Whether the stored line is of the very version that is asked for.
    fn fits(&self, line: &[u8]) -> bool {
        #[derive(Deserialize)]
        struct Stored<'a> {
            kind: &'a str,
        }
        let exact = self.kind.as_deref().filter(|kind| plain(kind) != *kind);
        exact.is_none_or(|kind| serde_json::from_slice::<Stored<'_>>(line).is_ok_and(|stored| stored.kind == kind))
    }
}

/// A kind without its version.
fn plain(kind: &str) -> &str {
    kind.rsplit_once(".v").map_or(kind, |(plain, _)| plain)
}

/// Up to `count` lines after a position. It may wait for the disk.
pub(crate) fn chosen(yard: &Yard, filter: &Filter, after: u64, count: usize) -> Result<Chosen, Fault> {
    let unread =
        |error: std::io::Error| Fault::went_wrong(format!("The log could not be read from the disk: {error}."));
    if filter.is_open() {
        let last = yard.reader.last_seq();
        let first = after.saturating_add(1);
        let lines = if after < last { yard.reader.lines(first, count).map_err(unread)? } else { Vec::new() };
        let lines: Vec<(u64, Vec<u8>)> = (first..).zip(lines).collect();
        let reached = lines.last().map_or(after, |(seq, _)| *seq);
        return Ok(Chosen { lines, reached, more: reached < last && reached != after, last });
    }
    // One more than is given, which shows whether there are more.
    let (seqs, last) = ask(yard, |book| Ok((filter.seqs(book, after, count.saturating_add(1)), book.last_seq())))?;
    let mut found = Chosen { lines: Vec::new(), reached: after, more: false, last };
    let mut bytes = 0;
    for step in seqs.get(..count.min(seqs.len())).unwrap_or_default().chunks(STEP) {
        let lines = yard.entries(step).map_err(unread)?;
        bytes += lines.iter().map(Vec::len).sum::<usize>();
        found.reached = step.last().copied().unwrap_or(found.reached);
        found.lines.extend(step.iter().copied().zip(lines).filter(|(_, line)| filter.fits(line)));
        if ENOUGH < bytes {
            break;
        }
    }
    found.more = seqs.last().is_some_and(|last| found.reached < *last);
    Ok(found)
}
