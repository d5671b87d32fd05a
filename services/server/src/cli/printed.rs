//! What stands at the foot of a printed page, held against a log years later: is it the log that the page came from?

use std::io::{self, Write};

use crate::journal::{Hash, Tree, leaf};

/// So many digits of a root are enough to be sure, and few enough to be typed.
const FEWEST: usize = 16;

/// `570:112fc44aa6e05660…`: an entry, and the root over everything up to it, or its first digits.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Printed {
    entry: u64,
    root: String,
}

impl Printed {
    pub(super) fn parse(text: &str) -> Result<Printed, String> {
        let wrong =
            || format!("write it as 570:112fc44aa6e05660, the entry, a colon, {FEWEST} or more digits of the root");
        let (entry, root) = text.trim().split_once(':').ok_or_else(wrong)?;
        let entry = entry.trim().parse().ok().filter(|entry| 0 < *entry).ok_or_else(wrong)?;
        let root: String = root.chars().filter(|c| !c.is_whitespace()).collect::<String>().to_ascii_lowercase();
        let fits = (FEWEST..=64).contains(&root.len()) && root.bytes().all(|digit| digit.is_ascii_hexdigit());
        if fits { Ok(Printed { entry, root }) } else { Err(wrong()) }
    }
}

/// Pages that a log is held against while it is read.
pub(super) struct Pages<'a> {
    asked: &'a [Printed],
    last: u64,
    tree: Tree,
    found: Vec<(u64, String)>,
}

impl<'a> Pages<'a> {
    pub(super) fn new(asked: &'a [Printed]) -> Pages<'a> {
        let last = asked.iter().map(|page| page.entry).max().unwrap_or_default();
        Pages { asked, last, tree: Tree::default(), found: Vec::new() }
    }

    pub(super) fn line(&mut self, seq: u64, line: &[u8]) {
        if self.last < seq {
            return;
        }
        self.tree.push(leaf(line));
        if self.asked.iter().any(|page| page.entry == seq) {
            self.found.push((seq, hex(&self.tree.root())));
        }
    }

    /// Says of each page whether it came from this log. True if all did.
    pub(super) fn say(&self, out: &mut dyn Write) -> io::Result<bool> {
        let mut all = true;
        for Printed { entry, root } in self.asked {
            let own = self.found.iter().find(|(seq, _)| seq == entry).map(|(_, own)| own);
            match own {
                Some(own) if own.starts_with(root) && root.len() == own.len() => {
                    writeln!(
                        out,
                        "The page printed at entry {entry} came from this log, and nothing before it was changed."
                    )?;
                }
                Some(own) if own.starts_with(root) => writeln!(
                    out,
                    "The page printed at entry {entry} came from this log, by the {} digits of its root that were given: \
                     nothing before it was changed.",
                    root.len()
                )?,
                Some(own) => writeln!(
                    out,
                    "NOT THIS LOG: up to entry {entry} its root is {own}. The digits were misread, the page came from another \
                     log, or this one was changed since."
                )?,
                None => writeln!(
                    out,
                    "NOT TO BE SAID: this log does not reach entry {entry}. It is an older copy, damaged before it, or another log."
                )?,
            }
            all &= own.is_some_and(|own| own.starts_with(root));
        }
        Ok(all)
    }
}

fn hex(root: &Hash) -> String {
    root.iter().map(|byte| format!("{byte:02x}")).collect()
}
