//! What the world was told, against what the journal says after the power was gone.

use std::{collections::BTreeSet, path::Path, sync::Arc};

use server::journal::{AppendError, Hash, Journal, OpenError, Options, Recovery, Upkeep, leaf, node, verify_as};

use crate::{
    sim_content::Chance,
    sim_disk::{Barriers, SimDisk},
};

pub(crate) const DIR: &str = "/yard";
pub(crate) const SEGMENT_BYTES: u32 = 16 << 10;

/// Small, so that much happens; and nothing in the background, so that a history repeats exactly.
pub(crate) fn options() -> Options {
    let (segment_entries, segment_ms) = (40, 1_000);
    Options { segment_bytes: SEGMENT_BYTES, segment_entries, segment_ms, upkeep: Upkeep::ByHand, ..Options::default() }
}

/// The tree as RFC 9162, section 2.1.1, defines it.
fn root_by_definition(lines: &[Vec<u8>]) -> Hash {
    match lines {
        [] => sha2::Digest::finalize(<sha2::Sha256 as sha2::Digest>::new()).into(),
        [line] => leaf(line),
        _ => {
            let (left, right) = lines.split_at(lines.len().next_power_of_two() / 2);
            node(&root_by_definition(left), &root_by_definition(right))
        }
    }
}

/// What the world was told, against what the journal says.
struct Witness {
    options: Options,
    disk: SimDisk,
    chance: Chance,
    /// In order, all that is known to be in the journal.
    acknowledged: Vec<Vec<u8>>,
    /// A group whose outcome is unknown.
    unknown: Vec<Vec<u8>>,
    /// The files of cut ends that an opening told of.
    cut_files: BTreeSet<String>,
    made: usize,
    now_ms: i64,
}

/// What a history went through, to see that the test tests something.
#[derive(Default, Debug)]
pub(crate) struct Events {
    pub(crate) power_cuts: usize,
    pub(crate) failed_openings: usize,
    pub(crate) cut_ends: usize,
    pub(crate) stops: usize,
    pub(crate) no_space: usize,
    pub(crate) groups: usize,
    pub(crate) segments: usize,
    pub(crate) unknown_kept: usize,
    pub(crate) unknown_lost: usize,
}

pub(crate) type Checked<T> = Result<T, String>;

impl Witness {
    fn new(seed: u64, barriers: Barriers, upkeep: Upkeep) -> Self {
        Self {
            options: Options { upkeep, ..options() },
            disk: SimDisk::new(seed, barriers),
            chance: Chance(!seed),
            acknowledged: Vec::new(),
            unknown: Vec::new(),
            cut_files: BTreeSet::new(),
            made: 0,
            now_ms: 0,
        }
    }

    fn line(&mut self) -> Vec<u8> {
        self.made += 1;
        let length = if self.chance.one_in(4) { self.chance.below(2_500) } else { self.chance.below(200) };
        format!("{{\"line\":{},\"text\":\"{}\"}}", self.made, "x".repeat(length)).into_bytes()
    }

    fn plan_trouble(&mut self) {
        let soon = self.chance.below(40);
        match self.chance.below(6) {
            0 => self.disk.fail_barrier_after(soon / 3),
            1 => self.disk.fail_write_after(soon / 3),
            2 => {
                // A barrier fails, and later the power goes.
                self.disk.fail_barrier_after(soon / 3);
                self.disk.cut_power_after(soon + self.chance.below(30));
            }
            _ => self.disk.cut_power_after(soon),
        }
    }

    /// Opens until it works, with trouble on the way, and compares.
    fn open(&mut self, events: &mut Events) -> Checked<Journal> {
        loop {
            if self.chance.one_in(3) {
                self.plan_trouble();
            }
            let mut seen = Vec::new();
            let opened =
                Journal::open(Arc::new(self.disk.clone()), Path::new(DIR), self.options.clone(), |seq, line| {
                    seen.push(line.to_vec());
                    assert_eq!(seq, seen.len() as u64);
                    Ok(())
                });
            match opened {
                Ok((journal, recovery)) => {
                    self.compare(seen, &journal, &recovery, events)?;
                    return Ok(journal);
                }
                Err(OpenError::Io { .. }) => {
                    events.failed_openings += 1;
                    events.power_cuts += usize::from(self.disk.power_on());
                }
                Err(other) => return Err(format!("refused to open: {other}")),
            }
        }
    }

    fn compare(
        &mut self,
        seen: Vec<Vec<u8>>,
        journal: &Journal,
        recovery: &Recovery,
        events: &mut Events,
    ) -> Checked<()> {
        let (known, more) = seen.split_at_checked(self.acknowledged.len()).ok_or("acknowledged entries are missing")?;
        if known != self.acknowledged {
            return Err("acknowledged entries changed".to_owned());
        }
        if !more.is_empty() && more != self.unknown {
            return Err("entries that were never written so".to_owned());
        }
        events.unknown_kept += usize::from(!more.is_empty());
        events.unknown_lost += usize::from(more.is_empty() && !self.unknown.is_empty());
        self.unknown.clear();
        self.acknowledged = seen;
        if recovery.entries != self.acknowledged.len() as u64 || journal.next_seq() != recovery.entries + 1 {
            return Err("the journal miscounts".to_owned());
        }
        let kept: BTreeSet<String> = recovery.kept.iter().map(|cut| cut.file.clone()).collect();
        events.cut_ends += usize::from(recovery.cut.is_some());
        self.cut_files.extend(recovery.cut.iter().map(|cut| cut.file.clone()));
        if !self.cut_files.is_subset(&kept) {
            return Err("a cut end is not kept".to_owned());
        }
        self.check_reading(journal)
    }

    /// Everything that can be asked of the open journal, as long as there is power.
    fn check_reading(&self, journal: &Journal) -> Checked<()> {
        let read = self.read_all(journal);
        if self.disk.is_off() { Ok(()) } else { read }
    }

    fn read_all(&self, journal: &Journal) -> Checked<()> {
        let reader = journal.reader();
        let count = self.acknowledged.len();
        if reader.head() != (count as u64, root_by_definition(&self.acknowledged)) {
            return Err("the head is another".to_owned());
        }
        if reader.lines(1, count).map_err(|error| error.to_string())? != self.acknowledged {
            return Err("the lines read back are others".to_owned());
        }
        let mut by_segment = Vec::new();
        for segment in reader.segments() {
            by_segment.extend(reader.segment_lines(segment.number).map_err(|error| error.to_string())?);
        }
        if !by_segment.into_iter().eq((1..).zip(self.acknowledged.iter().cloned())) {
            return Err("the lines read by segment are others".to_owned());
        }
        if self.options.upkeep == Upkeep::InBackground {
            // A segment may get its name between listing and reading.
            return Ok(());
        }
        let report = verify_as(&self.disk, Path::new(DIR), &self.options).map_err(|error| error.to_string())?;
        // A group that failed may be there as well.
        if !report.is_sound() || (self.unknown.is_empty() && report.root != reader.root()) || !report.in_use {
            return Err(format!("verify says otherwise: {report}"));
        }
        Ok(())
    }

    /// Writes until trouble comes, or for a while. Every journal ends as if its process were killed.
    fn write(&mut self, mut journal: Journal, events: &mut Events) -> Checked<()> {
        for _ in 0..self.chance.below(40) {
            self.now_ms += i64::try_from(self.chance.below(60)).unwrap();
            let failed = match self.chance.below(10) {
                0 => journal.rest(self.now_ms).err(),
                1 | 2 => {
                    journal.upkeep();
                    None
                }
                _ => {
                    let lines: Vec<_> = (0..=self.chance.below(4)).map(|_| self.line()).collect();
                    match journal.append(&lines, self.now_ms) {
                        Ok(seq) if seq != self.acknowledged.len() as u64 + 1 => return Err("a wrong seq".to_owned()),
                        Ok(_) => {
                            events.groups += 1;
                            self.acknowledged.extend(lines);
                            None
                        }
                        Err(error) => {
                            self.unknown =
                                if matches!(error, AppendError::Stopped { .. }) { lines } else { Vec::new() };
                            Some(error)
                        }
                    }
                }
            };
            match failed {
                None => {}
                Some(AppendError::NoSpace { .. }) => events.no_space += 1,
                Some(AppendError::Unfit(unfit)) => return Err(unfit.to_string()),
                Some(AppendError::Stopped { .. }) => {
                    events.stops += 1;
                    if !matches!(journal.append(&[b"more"], 0), Err(AppendError::Stopped { .. })) {
                        return Err("it went on writing after a failure".to_owned());
                    }
                    break;
                }
            }
        }
        events.segments = events.segments.max(journal.reader().segments().len());
        self.check_reading(&journal)
    }
}

/// One random history of a yard. Adds to `events` what happened in it.
pub(crate) fn history(seed: u64, barriers: Barriers, upkeep: Upkeep, events: &mut Events) -> Checked<()> {
    let mut witness = Witness::new(seed, barriers, upkeep);
    for _ in 0..8 {
        let journal = witness.open(events)?;
        witness.plan_trouble();
        witness.write(journal, events)?;
        if witness.chance.one_in(2) && !witness.disk.is_off() {
            witness.disk.cut_power();
        }
        events.power_cuts += usize::from(witness.disk.power_on());
    }
    witness.open(events)?;
    Ok(())
}
