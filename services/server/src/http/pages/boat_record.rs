//! The record of each part of a boat: who did what and when, its limits when its cure began, what held it then, what
//! was struck, what the screen had said, and what is judged otherwise today.

use super::thing::{
    history::{Line, Named, lines, of_entries},
    rows::{Row, row},
    shown::{held_words, judged_again},
};
use crate::{http::problems::Fault, yard::Yard};
use actix_web::web;
use domain::{
    Book, When,
    record::{PartRecord, StageRecord, part_record},
    say::Say,
    view::View,
};
use shared_types::{Code, Kind, ThingName};
use std::collections::BTreeMap;

/// What the book says of the parts, before the text of their entries is read.
pub(super) struct Records {
    parts: Vec<PartRecord>,
    named: Named,
    say: Say,
    when: When,
}

/// One part's, in words.
pub(super) struct Record {
    pub(super) part: String,
    pub(super) stages: Vec<Stage>,
    pub(super) judged: Vec<String>,
    pub(super) lines: Vec<Line>,
}

pub(super) struct Stage {
    pub(super) name: String,
    pub(super) say: String,
    /// What is said above its limits.
    pub(super) read_at: String,
    pub(super) rows: Vec<Row>,
    pub(super) holds: Vec<String>,
}

impl Records {
    pub(super) fn of<'n>(book: &Book, parts: impl Iterator<Item = &'n str>, when: When) -> Records {
        let named = parts.filter_map(|name| Some(ThingName::new(Kind::Part, &Code::new(name).ok()?)));
        let parts: Vec<PartRecord> = named.filter_map(|part| part_record(book, &part, when)).collect();
        let mut seqs: Vec<u64> = parts.iter().flat_map(|part| &part.entries).map(|seq| u64::from(*seq)).collect();
        seqs.sort_unstable();
        seqs.dedup();
        Records {
            parts,
            named: of_entries(book, seqs, when),
            say: Say::of(View::new(book, when.known), when.now).in_full(),
            when,
        }
    }

    /// The text of the entries, each read once.
    pub(super) async fn read(self, yard: &web::Data<Yard>) -> Result<Vec<Record>, Fault> {
        if self.parts.is_empty() {
            return Ok(Vec::new());
        }
        let read = lines(yard, &self.named, &self.say, self.when).await?;
        let by_seq: BTreeMap<u64, Line> = read.into_iter().map(|line| (line.seq, line)).collect();
        let record = |part: &PartRecord| Record {
            part: part.part.short().to_owned(),
            stages: part.stages.iter().map(|one| stage(one, &part.part, &self.say, self.when)).collect(),
            judged: judged_again(&part.judged_again, &self.say, self.when),
            lines: part.entries.iter().filter_map(|seq| by_seq.get(&u64::from(*seq)).cloned()).collect(),
        };
        Ok(self.parts.iter().map(record).collect())
    }
}

fn stage(one: &StageRecord, part: &ThingName, say: &Say, when: When) -> Stage {
    let at = say.time(one.at.at, when.now);
    Stage {
        name: one.stage.to_string(),
        say: one.say.clone(),
        read_at: match one.in_oven {
            true => format!("when its cure began, {at}"),
            false => format!("as of {at}"),
        },
        rows: one.limits.iter().map(|limit| row(limit, part, None, say, when.now)).collect(),
        holds: one.holds.iter().map(|hold| held_words(hold, part, say, when)).collect(),
    }
}
