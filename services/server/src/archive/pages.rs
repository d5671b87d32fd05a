//! How a segment's text is laid out in sled: pages of whole lines sorted by thing, and one index value that says
//! where each entry stands. Both begin with the CRC32C of the rest.

use std::{borrow::Cow, collections::HashMap};

use serde::Deserialize;

use super::{
    Segment,
    store::{Store, StoreError},
};
use crate::journal::{Hash, leaf};

/// The longest page, in bytes: sled is to be given nothing near 64 KiB.
const PAGE_BYTES: usize = 48 << 10;
/// So many entries of a segment are archived; the index value stays below 48 KiB then.
const MOST_ENTRIES: usize = 12_000;
const CRC_BYTES: usize = 4;
/// CRC, and the leaf of the segment's last line.
const INDEX_HEAD: usize = CRC_BYTES + size_of::<Hash>();
const PLACE_BYTES: usize = 4;
/// The index value's page number; as a place it means: read this one from the journal.
const INDEX: u16 = u16::MAX;

/// A key: the segment's number, then the page's.
pub(super) type Key = [u8; 6];

fn key(segment: u32, page: u16) -> Key {
    let ([a, b, c, d], [e, f]) = (segment.to_be_bytes(), page.to_be_bytes());
    [a, b, c, d, e, f]
}

/// The values of a segment, the index last: it makes the others count.
pub(super) fn values(number: u32, lines: &[&[u8]]) -> Vec<(Key, Vec<u8>)> {
    let numbered = lines.iter().take(MOST_ENTRIES).enumerate();
    let mut by_thing: Vec<(Cow<'_, str>, usize, &[u8])> = numbered.map(|(at, line)| (thing(line), at, *line)).collect();
    by_thing.sort_unstable();

    let mut places = vec![(INDEX, 0_u16); by_thing.len()];
    let mut pages: Vec<Vec<u8>> = Vec::new();
    for (_, at, line) in by_thing {
        if CRC_BYTES + line.len() + 1 > PAGE_BYTES {
            continue;
        }
        if pages.last().is_none_or(|page| page.len() + line.len() + 1 > PAGE_BYTES) {
            let mut page = Vec::with_capacity(PAGE_BYTES);
            page.extend([0; CRC_BYTES]);
            pages.push(page);
        }
        let number = u16::try_from(pages.len() - 1).unwrap_or(INDEX);
        if let (Some(page), Some(place)) = (pages.last_mut(), places.get_mut(at)) {
            *place = (number, u16::try_from(page.len()).unwrap_or_default());
            page.extend_from_slice(line);
            page.push(b'\n');
        }
    }

    let mut index = vec![0; CRC_BYTES];
    index.extend(lines.last().map_or([0; size_of::<Hash>()], |line| leaf(line)));
    index.extend(places.iter().flat_map(|(page, start)| {
        let ([a, b], [c, d]) = (page.to_be_bytes(), start.to_be_bytes());
        [a, b, c, d]
    }));
    let numbered = pages.into_iter().zip(0..INDEX).map(|(page, at)| (key(number, at), sealed(page)));
    let mut values: Vec<(Key, Vec<u8>)> = numbered.collect();
    values.push((key(number, INDEX), sealed(index)));
    values
}

/// What an entry is about. A line's own members up to that one hold no quotes, so its name is found as it stands; a
/// thing that needs escapes is read as JSON.
fn thing(line: &[u8]) -> Cow<'_, str> {
    #[derive(Deserialize)]
    struct Named<'a> {
        #[serde(borrow)]
        thing: Cow<'a, str>,
    }
    const NAME: &str = "\"thing\":\"";
    let text = str::from_utf8(line).unwrap_or_default();
    let plain = text.split_once(NAME).and_then(|(_, behind)| behind.split_once('"')).map(|(thing, _)| thing);
    match plain.filter(|thing| !thing.contains('\\')) {
        Some(thing) => Cow::Borrowed(thing),
        None => serde_json::from_slice(line).map(|Named { thing }| thing).unwrap_or_default(),
    }
}

fn sealed(mut value: Vec<u8>) -> Vec<u8> {
    if let Some((crc, rest)) = value.split_first_chunk_mut::<CRC_BYTES>() {
        *crc = crc32c::crc32c(rest).to_be_bytes();
    }
    value
}

fn is_sound(value: &[u8]) -> bool {
    value.split_first_chunk::<CRC_BYTES>().is_some_and(|(crc, rest)| *crc == crc32c::crc32c(rest).to_be_bytes())
}

/// Whether this very segment of this very journal is archived: its index is sound and ends with the same line.
pub(super) fn is_kept(store: &Store, number: u32, last_line: &[u8]) -> Result<bool, StoreError> {
    let Some(index) = store.get(&key(number, INDEX))? else { return Ok(false) };
    Ok(is_sound(&index) && index.get(CRC_BYTES..INDEX_HEAD).is_some_and(|hash| *hash == leaf(last_line)))
}

/// The values that one question has read so far.
#[derive(Default)]
pub(super) struct Kept {
    values: HashMap<Key, sled::IVec>,
}

impl Kept {
    /// The line of an entry of an archived segment. `None` where it is only in the journal; an error where the
    /// archive does not hold what it should.
    pub(super) fn line(
        &mut self,
        store: &Store,
        (first_seq, segment): (u64, Segment),
        seq: u64,
    ) -> Result<Option<Vec<u8>>, StoreError> {
        let index = self.value(store, key(segment.number, INDEX))?;
        let at = usize::try_from(seq - first_seq).unwrap_or(usize::MAX);
        let place = index.get(INDEX_HEAD..).and_then(|places| places.chunks_exact(PLACE_BYTES).nth(at));
        let Some(&[a, b, c, d]) = place else { return Ok(None) };
        let (page, start) = (u16::from_be_bytes([a, b]), usize::from(u16::from_be_bytes([c, d])));
        if page == INDEX {
            return Ok(None);
        }
        let page = self.value(store, key(segment.number, page))?;
        let text = page.get(start..).unwrap_or_default();
        let line = text.split(|byte| *byte == b'\n').next().unwrap_or_default();
        match line.starts_with(format!("{{\"seq\":{seq},").as_bytes()) {
            true => Ok(Some(line.to_vec())),
            false => Err(StoreError::Unsound),
        }
    }

    fn value(&mut self, store: &Store, key: Key) -> Result<sled::IVec, StoreError> {
        if let Some(value) = self.values.get(&key) {
            return Ok(value.clone());
        }
        let value = store.get(&key)?.filter(|value| is_sound(value)).ok_or(StoreError::Unsound)?;
        self.values.insert(key, value.clone());
        Ok(value)
    }
}
