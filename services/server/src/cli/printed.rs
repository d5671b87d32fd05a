//! What stands at the foot of a printed page, held against a log years later: is it the log that the page came from?

use std::{
    fs,
    io::{self, Write},
    path::Path,
};

use crate::{
    checkpoint::{Checkpoint, NoteError, Verifier},
    journal::{Hash, Tree, leaf},
};

/// So many digits of a root are enough to be sure, and few enough to be typed.
const FEWEST: usize = 16;

/// `570:112fc44aa6e05660…`: an entry, and the root over everything up to it, or its first digits.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Printed {
    entry: u64,
    root: String,
    /// Who signed it, if anybody did.
    by: Option<String>,
}

impl Printed {
    pub(super) fn parse(text: &str) -> Result<Printed, String> {
        let wrong =
            || format!("write it as 570:112fc44aa6e05660, the entry, a colon, {FEWEST} or more digits of the root");
        let (entry, root) = text.trim().split_once(':').ok_or_else(wrong)?;
        let entry = entry.trim().parse().ok().filter(|entry| 0 < *entry).ok_or_else(wrong)?;
        let root: String = root.chars().filter(|c| !c.is_whitespace()).collect::<String>().to_ascii_lowercase();
        let fits = (FEWEST..=64).contains(&root.len()) && root.bytes().all(|digit| digit.is_ascii_hexdigit());
        if fits { Ok(Printed { entry, root, by: None }) } else { Err(wrong()) }
    }
}

/// A signed checkpoint, held against a log like the foot of a page; or why it is none.
pub(super) fn signed(file: &Path, key: &str) -> Result<Printed, String> {
    let unread = |path: &Path, error: io::Error| format!("{} can't be read: {error}", path.display());
    let key = match Verifier::parse(key) {
        Some(key) => key,
        None => {
            let text = fs::read_to_string(key).map_err(|error| unread(Path::new(key), error))?;
            Verifier::parse(&text).ok_or_else(|| {
                format!("{key} holds no key of a log: one line of name, id and key, as people/log-key.pub has it")
            })?
        }
    };
    let note = fs::read_to_string(file).map_err(|error| unread(file, error))?;
    let shown = file.display();
    let over = Checkpoint::opened(&note, &key).map_err(|error| match error {
        NoteError::Shape(_) => format!("{shown} is no checkpoint: {error}"),
        NoteError::Forged(_) => format!("NOT SIGNED: {shown}: {error}"),
        NoteError::OtherKey { .. } => format!("NOT SIGNED WITH THIS KEY: {shown}: {error}"),
    })?;
    Ok(Printed { entry: over.size, root: hex(&over.root), by: Some(over.origin) })
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
        let tree = Tree::default();
        // Every log begins with nothing.
        let found = asked.iter().filter(|page| page.entry == 0).map(|_| (0, hex(&tree.root()))).collect();
        Pages { asked, last, tree, found }
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
        for Printed { entry, root, by } in self.asked {
            let own = self.found.iter().find(|(seq, _)| seq == entry).map(|(_, own)| own);
            match own {
                Some(own) if own == root && by.is_some() => writeln!(
                    out,
                    "The checkpoint over {entry} entries is signed by {}. This log goes on from it: nothing before entry {} \
                     was changed or left out.",
                    by.as_deref().unwrap_or_default(),
                    entry + 1
                )?,
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
