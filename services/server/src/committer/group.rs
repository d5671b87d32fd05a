//! The lines that are written together, and who waits for them. Its buffers are kept from group to group.

use std::{collections::BTreeSet, io::Write, ops::Range};

use shared_types::{Body, Code, Entry, Instant, Stamp};
use tokio::sync::oneshot;

use super::{Outcome, Written};
use crate::{
    intake::NewFact,
    journal::{MAX_GROUP_BYTES, MAX_GROUP_LINES},
};

/// Room for what a line says before its id.
const HEAD_BYTES: usize = 96;

#[derive(Default)]
pub(super) struct Group {
    next_seq: u64,
    now: Instant,
    recorded_at: Instant,
    recorded_at_text: String,
    text: Vec<u8>,
    lines: Vec<Range<usize>>,
    pub(super) entries: Vec<Entry>,
    waiting: Vec<Waiting>,
}

struct Waiting {
    to: oneshot::Sender<Outcome>,
    /// Which of the entries is the answer.
    entry: usize,
    instead: bool,
}

impl Group {
    /// `now` is the server's clock; `recorded_at` is that or the last entry's, if that is later.
    pub(super) fn begin(&mut self, next_seq: u64, now: Instant, recorded_at: Instant) {
        self.text.clear();
        self.lines.clear();
        self.entries.clear();
        self.waiting.clear();
        self.next_seq = next_seq;
        self.now = now;
        if self.recorded_at != recorded_at || self.recorded_at_text.is_empty() {
            self.recorded_at = recorded_at;
            self.recorded_at_text = Stamp::utc(recorded_at).to_string();
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.entries.is_empty()
    }

    /// Whether one more line finds room, `bytes` long from its id on.
    pub(super) fn has_room(&self, bytes: usize) -> bool {
        let bytes = self.text.len() + self.lines.len() + HEAD_BYTES + bytes + 1;
        self.lines.len() < MAX_GROUP_LINES && bytes <= MAX_GROUP_BYTES
    }

    /// Whether what was added makes a group.
    pub(super) fn fits(&self) -> bool {
        self.lines.len() <= MAX_GROUP_LINES && self.text.len() + self.lines.len() <= MAX_GROUP_BYTES
    }

    pub(super) fn now(&self) -> Instant {
        self.now
    }

    /// Adds the fact, told or not.
    pub(super) fn push_fact(&mut self, fact: NewFact, told: bool) {
        let NewFact { mut entry, tail, .. } = fact;
        entry.seq = self.next_seq;
        entry.recorded_at = self.recorded_at;
        entry.told = told;
        let start = self.text.len();
        let told = if entry.told { "\"told\":true," } else { "" };
        // Writing to a Vec does not fail.
        let _ = write!(self.text, "{{\"seq\":{},\"recorded_at\":\"{}\",{told}", entry.seq, self.recorded_at_text);
        self.text.extend_from_slice(&tail);
        self.keep(start, entry);
    }

    /// Devices that an entry of this group enrols or revokes.
    pub(super) fn devices_changed(&self) -> BTreeSet<Code> {
        let changes = |entry: &&Entry| matches!(entry.body, Body::DeviceEnrolled(_) | Body::DeviceRevoked(_));
        self.entries.iter().filter(changes).map(|entry| entry.thing.own_code()).collect()
    }

    pub(super) fn mark(&self) -> usize {
        self.entries.len()
    }

    /// Takes back what was added since the mark; nobody may wait for it yet.
    pub(super) fn back_to(&mut self, mark: usize) {
        let end = self.lines.get(mark).map_or(self.text.len(), |range| range.start);
        self.text.truncate(end);
        self.next_seq -= (self.entries.len() - mark) as u64;
        self.lines.truncate(mark);
        self.entries.truncate(mark);
    }

    /// Adds an entry that is whole but for its place in the log.
    pub(super) fn push_entry(&mut self, mut entry: Entry) -> serde_json::Result<()> {
        entry.seq = self.next_seq;
        entry.recorded_at = self.recorded_at;
        let start = self.text.len();
        let written = entry.write(&mut self.text);
        match written {
            Ok(()) => self.keep(start, entry),
            Err(_) => self.text.truncate(start),
        }
        written
    }

    fn keep(&mut self, start: usize, entry: Entry) {
        self.lines.push(start..self.text.len());
        self.entries.push(entry);
        self.next_seq += 1;
    }

    /// Who asked is answered when the group is written; the last entry is what they asked for, or the one before
    /// that, when the last stands instead of a struck one.
    pub(super) fn promise(&mut self, to: oneshot::Sender<Outcome>, instead: bool) {
        let entry = self.entries.len().saturating_sub(1 + usize::from(instead));
        self.waiting.push(Waiting { to, entry, instead });
    }

    pub(super) fn lines(&self) -> Vec<&[u8]> {
        self.lines.iter().filter_map(|range| self.text.get(range.clone())).collect()
    }

    /// Everybody is told that their entry is on the disk.
    pub(super) fn written(&mut self) {
        for Waiting { to, entry, instead } in self.waiting.drain(..) {
            let Some(entry) = self.entries.get(entry) else { continue };
            // Who asked may have gone away; what is written stays written.
            let _ = to.send(Outcome::Written(Written {
                id: entry.id,
                seq: entry.seq,
                kind: entry.body.kind(),
                recorded_at: entry.recorded_at,
                told: entry.told,
                instead_seq: instead.then_some(entry.seq + 1),
            }));
        }
    }

    /// Everybody is told that nothing came of it.
    pub(super) fn failed(&mut self, outcome: &Outcome) {
        for waiting in self.waiting.drain(..) {
            let _ = waiting.to.send(outcome.clone());
        }
    }
}
