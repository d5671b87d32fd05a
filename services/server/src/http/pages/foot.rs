//! What stands below every desk page and on every sheet of paper: when it was read, from how much of the log, under
//! which root.

use crate::yard::Yard;
use domain::{When, say::Say, view::View};
use std::sync::Arc;

pub(super) struct Foot {
    /// As `Wed 6 May 2026 06:02`.
    pub(super) at: String,
    /// When it was asked, where that is another time.
    pub(super) asked: Option<String>,
    pub(super) as_of_seq: u64,
    /// Why nothing on it that is reckoned as of now is to be believed.
    pub(super) doubt: Option<String>,
    root: String,
    /// The signed checkpoint of that moment, for paper.
    pub(super) checkpoint: Option<Arc<str>>,
}

impl Foot {
    pub(super) fn of(yard: &Yard, view: View<'_>, when: When) -> Foot {
        let say = Say::of(view, when.now);
        let as_of_seq = u64::from(view.known).min(view.book.last_seq());
        Foot {
            at: say.whole_time(when.at),
            asked: (when.at != when.now).then(|| say.whole_time(when.now)),
            as_of_seq,
            doubt: view.book.clock_doubt().filter(|_| when.at == when.now).map(str::to_owned),
            root: root(yard, as_of_seq),
            checkpoint: yard.checkpoints.now(&yard.reader).ok().map(|(_, note)| note),
        }
    }

    pub(super) fn words(&self) -> String {
        let asked = self.asked.as_ref().map_or(String::new(), |asked| format!(", asked {asked}"));
        format!("{}{asked}, from the log up to entry {}, {}.", self.at, self.as_of_seq, self.root)
    }
}

/// The root over what was read; where the log is longer, the root that there is and up to where.
fn root(yard: &Yard, as_of_seq: u64) -> String {
    let (last, root) = yard.reader.head();
    let root: String = root.iter().map(|byte| format!("{byte:02x}")).collect();
    match last == as_of_seq {
        true => format!("root {root}"),
        false => format!("root at entry {last} {root}"),
    }
}

/// Where the style of every sheet of paper is: what the page is of on top, what it was read from below.
pub(super) fn print(head: &str, foot: &Foot) -> String {
    format!("/print.css?head={}&foot={}", super::in_a_query(head), super::in_a_query(&foot.words()))
}
