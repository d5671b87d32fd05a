//! Reading a journal offline and saying in words what is there. Nothing is changed, not even a lock is taken.

use std::{fmt, path::Path};

use super::{
    Cut, Damage, Disk, Fault, Hash, OpenError, Options, SegmentInfo, cut,
    index::Index,
    opening::has_its_journal,
    scan::{OnSegment, Scan, ScanError},
};

/// What was found in a journal, up to its end or to the first thing that is wrong. Its text is for people.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Report {
    /// A server has the folder open, so the end may have been moving while it was read.
    pub in_use: bool,
    pub segments: Vec<SegmentInfo>,
    /// Segments laid down ahead of need, checked to be empty.
    pub spares: Vec<u32>,
    /// The highest number of a segment's file, read or not; 0 if there is none.
    pub last_segment: u32,
    pub frames: u64,
    /// The number of entries, which is the last `seq`.
    pub entries: u64,
    /// The root over all of them.
    pub root: Hash,
    /// The last entry that a root in a later frame covers.
    pub covered: u64,
    /// What power cuts tore off in the past, and whether it is kept unchanged.
    pub cuts: Vec<(Cut, bool)>,
    pub ending: Ending,
}

/// How the journal ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ending {
    Sound,
    /// The last group was torn by a power cut and never acknowledged. The next start keeps its bytes and cuts it away.
    Torn {
        segment: u32,
        offset: u64,
        bytes: u64,
    },
    /// The server would refuse to start.
    Damaged(Damage),
}

impl Report {
    /// A server would start with it, and nothing that was kept has changed.
    pub fn is_sound(&self) -> bool {
        !matches!(self.ending, Ending::Damaged(_)) && self.cuts.iter().all(|(_, unchanged)| *unchanged)
    }
}

/// Reads the journal of the data folder `dir`. An error means that it cannot be read at all.
pub fn verify(disk: &dyn Disk, dir: &Path) -> Result<Report, OpenError> {
    verify_lines(disk, dir, &mut |_, _| ())
}

/// The same, handing out each entry's `seq` and line.
pub fn verify_lines(disk: &dyn Disk, dir: &Path, on_line: &mut dyn FnMut(u64, &[u8])) -> Result<Report, OpenError> {
    verify_by_segment(disk, dir, &Options::default(), on_line, &mut |_, _, _| ())
}

/// The same for a journal that is laid out in another way.
pub fn verify_as(disk: &dyn Disk, dir: &Path, options: &Options) -> Result<Report, OpenError> {
    verify_by_segment(disk, dir, options, &mut |_, _| (), &mut |_, _, _| ())
}

/// The same, handing out each segment too, as soon as it was checked.
pub(crate) fn verify_by_segment(
    disk: &dyn Disk,
    dir: &Path,
    options: &Options,
    on_line: &mut dyn FnMut(u64, &[u8]),
    on_segment: &mut OnSegment<'_>,
) -> Result<Report, OpenError> {
    let failed = |doing: &'static str| move |source| OpenError::Io { doing: doing.to_owned(), source };
    let folder = dir.join("journal");
    let in_use = disk.is_locked(&dir.join("lock")).map_err(failed("looking at the lock"))?;
    has_its_journal(disk, dir)?;
    let mut scan = Scan::new(options.segment_bytes);
    let each = |seq, line: &[u8]| {
        on_line(seq, line);
        Ok(())
    };
    let ending = match scan.run_by_segment(disk, &folder, each, on_segment) {
        Ok(()) => scan.torn.as_ref().map_or(Ending::Sound, |torn| Ending::Torn {
            segment: torn.segment,
            offset: torn.extent.start as u64,
            bytes: torn.bytes.len() as u64,
        }),
        Err(ScanError::Damaged(damage)) => Ending::Damaged(damage),
        Err(other) => return Err(other.into()),
    };
    let names = disk.list(&folder).map_err(failed("listing the journal's folder"))?;
    let numbers = names.iter().filter_map(|name| name.strip_suffix(".log")?.parse::<u32>().ok());
    let last_segment = numbers.max().unwrap_or_default();
    let mut cuts = Vec::new();
    for cut in cut::kept(disk, &folder).map_err(failed("listing what was cut off"))? {
        let unchanged = cut::is_sound(disk, &folder, &cut).map_err(failed("reading what was cut off"))?;
        cuts.push((cut, unchanged));
    }
    let (entries, root, covered) = (scan.tree.size(), scan.tree.root(), scan.covered);
    let index = Index { segments: scan.segments, last_seq: entries, root };
    let (segments, spares, frames) = (index.segments(), scan.spares, scan.frames);
    Ok(Report { in_use, segments, spares, last_segment, frames, entries, root, covered, cuts, ending })
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.in_use {
            writeln!(f, "A server has this folder open: what is said about the end is true only once it has stopped.")?;
        }
        match self.entries {
            0 => writeln!(f, "No entries.")?,
            1 => writeln!(f, "1 entry, in {}.", groups(self.frames))?,
            last => writeln!(f, "{last} entries, 1 to {last}, in {}.", groups(self.frames))?,
        }
        for SegmentInfo { number, first_seq, last_seq, sealed } in &self.segments {
            let state = if *sealed { "sealed" } else { "open" };
            if last_seq < first_seq {
                writeln!(f, "  journal/{number:08}.log  no entry yet, {state}")?;
            } else {
                writeln!(f, "  journal/{number:08}.log  entries {first_seq} to {last_seq}, {state}")?;
            }
        }
        for number in &self.spares {
            writeln!(f, "  journal/{number:08}.log  laid down, empty")?;
        }
        write!(f, "Root over all of them: ")?;
        self.root.iter().try_for_each(|byte| write!(f, "{byte:02x}"))?;
        match self.entries - self.covered {
            0 => writeln!(f, "\nA root in the journal covers every entry.")?,
            1 => writeln!(f, "\nThe last entry has its checksum, but no later root yet.")?,
            open => writeln!(f, "\nThe last {open} entries have their checksum, but no later root yet.")?,
        }
        for (Cut { file, bytes, segment, offset }, unchanged) in &self.cuts {
            let state = if *unchanged { "unchanged" } else { "CHANGED SINCE: it does not fit its checksum" };
            writeln!(
                f,
                "Torn off by a power cut: {bytes} bytes of segment {segment} at byte {offset}, kept in journal/{file}, {state}."
            )?;
        }
        match &self.ending {
            Ending::Sound => writeln!(f, "The end is sound. Nothing to do."),
            Ending::Torn { segment, offset, bytes } => writeln!(
                f,
                "The write of the last group was torn by a power cut: {bytes} bytes of segment {segment} at byte \
                 {offset}. It was never acknowledged. The next start keeps these bytes in a file of their own, cuts them \
                 off and writes that down as an entry. Nothing to do."
            ),
            Ending::Damaged(damage) => {
                writeln!(f, "DAMAGED: {damage}.")?;
                match unread(damage, self.last_segment) {
                    Some(unread) => writeln!(f, "Not read: {unread}."),
                    None => Ok(()),
                }
            }
        }
    }
}

fn groups(frames: u64) -> String {
    if frames == 1 { "1 group".to_owned() } else { format!("{frames} groups") }
}

/// What was left unread because reading ends at the first damage.
fn unread(damage: &Damage, last: u32) -> Option<String> {
    let later = match (damage.segment + 1, last) {
        (first, last) if last < first => None,
        (first, last) if first == last => Some(format!("segment {last}")),
        (first, last) => Some(format!("segments {first} to {last}")),
    };
    // Of a file that is missing there is no rest.
    let rest = (damage.fault != Fault::Missing).then(|| format!("the rest of segment {}", damage.segment));
    match (rest, later) {
        (Some(rest), Some(later)) => Some(format!("{rest} and {later}")),
        (rest, later) => rest.or(later),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn report(entries: u64, covered: u64, ending: Ending) -> String {
        let (segments, spares, cuts) = (Vec::new(), Vec::new(), Vec::new());
        let (in_use, last_segment, frames, root) = (false, 9, entries, [0; 32]);
        Report { in_use, segments, spares, last_segment, frames, entries, root, covered, cuts, ending }.to_string()
    }

    #[test]
    fn one_is_not_said_as_many() {
        let one = report(1, 0, Ending::Sound);
        assert!(one.starts_with("1 entry, in 1 group.\n"), "{one}");
        assert!(one.contains("\nThe last entry has its checksum"), "{one}");
        let more = report(7, 5, Ending::Sound);
        assert!(more.starts_with("7 entries, 1 to 7, in 7 groups.\n"), "{more}");
        assert!(more.contains("\nThe last 2 entries have their checksum"), "{more}");
    }

    #[test]
    fn after_damage_it_says_how_much_was_not_read() {
        let ends = |segment, fault| report(7, 7, Ending::Damaged(Damage { segment, offset: 512, seq: 8, fault }));
        for (segment, fault, unread) in [
            (3, Fault::Root, "\nNot read: the rest of segment 3 and segments 4 to 9.\n"),
            (8, Fault::Header, "\nNot read: the rest of segment 8 and segment 9.\n"),
            (9, Fault::Lines(3), "\nNot read: the rest of segment 9.\n"),
            (3, Fault::Missing, "\nNot read: segments 4 to 9.\n"),
        ] {
            let said = ends(segment, fault);
            assert!(said.ends_with(unread), "{said}");
        }
    }
}
