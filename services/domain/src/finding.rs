//! One thing that does not add up, as it is found and as it is shown.

use crate::fact::Label;
use crate::say::Say;
use crate::view::View;
use shared_types::Mismatch;

pub(crate) struct Finding {
    pub kind: &'static str,
    pub seq: u32,
    pub say: String,
    pub ask: Option<String>,
    pub settled_by: Option<u32>,
}

impl Finding {
    pub(crate) fn new(kind: &'static str, seq: u32, say: String) -> Finding {
        Finding { kind, seq, say, ask: None, settled_by: None }
    }
}

pub(crate) fn shown(view: View<'_>, label: Label, finding: Finding, say: &Say) -> Option<Mismatch> {
    let meta = view.book.entry(finding.seq)?;
    Some(Mismatch {
        kind: finding.kind.to_owned(),
        thing: view.book.name(label).clone(),
        entry: meta.id,
        seq: u64::from(finding.seq),
        at: say.stamp(meta.occurred_at),
        say: finding.say,
        ask: finding.ask,
        settled_by: finding.settled_by.map(|seq| view.book.id_of(seq)),
    })
}
