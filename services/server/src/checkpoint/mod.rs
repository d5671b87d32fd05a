//! Signed checkpoints: how many entries the log has and the root over them, signed with the log's own key. Whoever
//! keeps one, a handheld or a sheet of paper, can tell later whether the log still begins with what it began with then.
//!
//! The texts are those of transparency logs (C2SP: tlog-checkpoint over signed-note). The key is made when it is first
//! needed and stands in `people/`; so does the newest checkpoint, so that a start notices a log that lost its end.

mod keeper;
mod note;

use base64::{Engine, engine::general_purpose::STANDARD};

use crate::journal::Hash;

pub(crate) use keeper::{Checkpoints, KEPT, PUBLIC_KEY};
pub(crate) use note::{NoteError, Verifier};

/// What a checkpoint says.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) struct Checkpoint {
    /// The log's own name.
    pub(crate) origin: String,
    /// How many entries it stands over.
    pub(crate) size: u64,
    /// The root over them, RFC 9162.
    pub(crate) root: Hash,
}

impl Checkpoint {
    /// The text that is signed.
    pub(crate) fn text(&self) -> String {
        format!("{}\n{}\n{}\n", self.origin, self.size, STANDARD.encode(self.root))
    }

    pub(crate) fn parse(text: &str) -> Option<Checkpoint> {
        let mut lines = text.strip_suffix('\n')?.split('\n');
        let (origin, size, root) = (lines.next()?, lines.next()?, lines.next()?);
        let number: u64 = size.parse().ok().filter(|number: &u64| number.to_string() == size)?;
        let root = STANDARD.decode(root).ok()?.try_into().ok()?;
        // Lines below these are anybody's, and none may be empty.
        let fits = !origin.is_empty() && lines.all(|line| !line.is_empty());
        fits.then(|| Checkpoint { origin: origin.to_owned(), size: number, root })
    }

    /// What this key signed. A note that is no checkpoint is no note of a log.
    pub(crate) fn opened(note: &str, key: &Verifier) -> Result<Checkpoint, NoteError> {
        Checkpoint::parse(key.open(note)?).ok_or(NoteError::Shape("its text is no checkpoint"))
    }

    /// What a note says, whoever signed it.
    pub(crate) fn claimed(note: &str) -> Option<Checkpoint> {
        Checkpoint::parse(note::parts(note).ok()?.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::Tree;

    #[test]
    fn the_published_example_is_read_as_it_says() {
        // C2SP, tlog-checkpoint.md: its example's text, origin, size and root.
        let text = "example.com/behind-the-sofa\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n";
        let read = Checkpoint::parse(text).unwrap();
        assert_eq!((read.origin.as_str(), read.size, read.root[0]), ("example.com/behind-the-sofa", 20_852_163, 0x0a));
        assert_eq!(read.text(), text);
        // The root of no entries: SHA-256 of nothing (transparency-dev/merkle, testonly/constants.go).
        let empty = Checkpoint { origin: "a".to_owned(), size: 0, root: Tree::default().root() };
        assert_eq!(empty.text(), "a\n0\n47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=\n");
        assert_eq!(Checkpoint::parse(&empty.text()), Some(empty));
    }

    #[test]
    fn what_is_no_checkpoint_is_not_read_as_one() {
        let root = STANDARD.encode([1; 32]);
        let whole = format!("log\n7\n{root}\nmore\n");
        assert!(Checkpoint::parse(&whole).is_some());
        for text in [
            String::new(),
            "log\n7\n".to_owned(),
            format!("\n7\n{root}\n"),
            format!("log\n07\n{root}\n"),
            format!("log\n+7\n{root}\n"),
            format!("log\n-7\n{root}\n"),
            format!("log\n18446744073709551616\n{root}\n"),
            format!("log\n7\n{}\n", STANDARD.encode([1; 31])),
            format!("log\n7\n{root}\n\nmore\n"),
            format!("log\n7\n{root}"),
        ] {
            assert_eq!(Checkpoint::parse(&text), None, "{text:?}");
        }
    }
}
