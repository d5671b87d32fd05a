//! What a scene's book answers, and how a test says what it must be.

use crate::scene::{Scene, code, stage_name, thing};
use crate::when::{instant, seconds};
use domain::{Book, MayUseQuestion, When};
use shared_types::*;

pub use shared_types::LimitName::{
    LayToCure as ToCure, OutLife as Out, Refreezes as Returns, ShelfLife as Shelf, TackLife as Tack,
};
pub use shared_types::{Act::*, Word::*};

pub fn when(at: &str) -> When {
    When::now(instant(at))
}

/// One thing looked at, at one time.
pub struct Look {
    book: Book,
    thing: ThingName,
    when: When,
}

/// An answer to "may I use it?".
pub struct Asked(pub MayUse);

impl Scene {
    #[track_caller]
    pub fn look(&self, of: &str, at: &str) -> Look {
        Look { book: self.book(), thing: thing(of), when: when(at) }
    }

    /// As was known after so many entries.
    #[track_caller]
    pub fn look_known(&self, of: &str, at: &str, known: u64) -> Look {
        let look = self.look(of, at);
        Look { when: When { known, ..look.when }, ..look }
    }

    #[track_caller]
    pub fn may(&self, act: Act, of: &str, at: &str) -> Asked {
        Asked(self.ask(act, of, None, at).unwrap())
    }

    #[track_caller]
    pub fn may_for(&self, job: &str, act: Act, of: &str, at: &str) -> Asked {
        Asked(self.ask(act, of, Some(job), at).unwrap())
    }

    /// `P-1/skin` names a stage.
    #[track_caller]
    pub fn ask(&self, act: Act, of: &str, job: Option<&str>, at: &str) -> Result<MayUse, domain::NotAsked> {
        let (of, stage) = match of.split_once('/') {
            Some((part, stage)) if part.starts_with("P-") => (part, Some(stage_name(stage))),
            _ => (of, None),
        };
        let question = MayUseQuestion { thing: thing(of), act, job: job.map(code), stage, when: when(at) };
        domain::may_use(&self.book(), &question)
    }
}

/// The row of one limit, in every answer the same.
#[track_caller]
fn row(rows: &[LimitRow], limit: LimitName) -> &LimitRow {
    rows.iter().find(|row| row.limit == limit).unwrap_or_else(|| panic!("no row of {limit:?} in {rows:#?}"))
}

impl Look {
    #[track_caller]
    pub fn view(&self) -> ThingView {
        domain::thing_view(&self.book, &self.thing, self.when).unwrap()
    }

    #[track_caller]
    pub fn card(&self) -> OutTimeCard {
        domain::out_time_card(&self.book, &self.thing, self.when).unwrap()
    }

    /// Hours and minutes of the first item's out-time, on its card; the card's lines must add up to it.
    #[track_caller]
    pub fn out_time_is(&self, expected: &str) -> &Look {
        let card = self.card();
        let first = card.cards.first().unwrap();
        assert_eq!(first.out_time_s, Some(seconds(expected)), "out-time of {}: {first:#?}", self.thing);
        let last = first.lines.iter().rev().find_map(|line| line.running_total_s);
        assert_eq!(last, first.out_time_s, "the card's lines of {}: {first:#?}", self.thing);
        self
    }

    #[track_caller]
    pub fn left_is(&self, limit: LimitName, expected: &str) -> &Look {
        let view = self.view();
        assert_eq!(row(&view.limits, limit).left_s, Some(seconds(expected)), "{:#?}", view.limits);
        self
    }

    /// Of a part's stage.
    #[track_caller]
    pub fn stage_left_is(&self, stage: &str, limit: LimitName, expected: &str) -> &Look {
        let view = self.view();
        let of = view.stages.iter().find(|one| one.stage.as_str() == stage).unwrap();
        assert_eq!(row(&of.limits, limit).left_s, Some(seconds(expected)), "{:#?}", of.limits);
        self
    }

    #[track_caller]
    pub fn returns_are(&self, expected: i64) -> &Look {
        let view = self.view();
        assert_eq!(row(&view.limits, Returns).so_far, Some(expected), "{:#?}", view.limits);
        self
    }

    #[track_caller]
    pub fn row(&self, limit: LimitName) -> LimitRow {
        row(&self.view().limits, limit).clone()
    }

    #[track_caller]
    pub fn stage_row(&self, stage: &str, limit: LimitName) -> LimitRow {
        let view = self.view();
        let of = view.stages.iter().find(|one| one.stage.as_str() == stage).unwrap();
        row(&of.limits, limit).clone()
    }

    /// The thing's mismatches, settled or not, each once, in no order that matters. That a time is not sure is left
    /// out: every uncertain fact of these stories would say so.
    #[track_caller]
    pub fn mismatches_are(&self, expected: &[&str]) -> &Look {
        let view = self.view();
        let mut kinds: Vec<&str> = view.mismatches.iter().map(|one| one.kind.as_str()).collect();
        kinds.retain(|kind| *kind != "clock_doubtful");
        kinds.sort_unstable();
        let mut expected = expected.to_vec();
        expected.sort_unstable();
        assert_eq!(kinds, expected, "{:#?}", view.mismatches);
        self
    }

    #[track_caller]
    pub fn mismatch(&self, kind: &str) -> Mismatch {
        let view = self.view();
        let found = view.mismatches.iter().find(|one| one.kind == kind);
        found.unwrap_or_else(|| panic!("no {kind} in {:#?}", view.mismatches)).clone()
    }

    #[track_caller]
    pub fn no_mismatch(&self) -> &Look {
        self.mismatches_are(&[])
    }

    #[track_caller]
    pub fn says(&self, expected: &str) -> &Look {
        assert_eq!(self.view().say, expected);
        self
    }
}

impl Asked {
    #[track_caller]
    pub fn answer(&self, expected: Word) -> &Asked {
        assert_eq!(self.0.answer, expected, "{:#?}", self.0);
        self
    }

    #[track_caller]
    pub fn says(&self, expected: &str) -> &Asked {
        assert_eq!(self.0.say, expected, "{:#?}", self.0);
        self
    }

    #[track_caller]
    pub fn because(&self, expected: &str) -> &Asked {
        assert_eq!(self.0.why, expected, "{:#?}", self.0);
        self
    }

    #[track_caller]
    pub fn governed_by(&self, expected: LimitName) -> &Asked {
        assert_eq!(self.0.governing, Some(expected), "{:#?}", self.0);
        self
    }

    #[track_caller]
    pub fn notes(&self, expected: &str) -> &Asked {
        assert!(self.0.notes.iter().any(|note| note == expected), "{:#?}", self.0.notes);
        self
    }

    #[track_caller]
    pub fn last_ply_by(&self, expected: &str) -> &Asked {
        assert_eq!(self.0.last_ply_by.map(|at| at.at), Some(instant(expected)), "{:#?}", self.0);
        self
    }

    #[track_caller]
    pub fn heating_by(&self, expected: &str) -> &Asked {
        assert_eq!(self.0.heating_by.map(|at| at.at), Some(instant(expected)), "{:#?}", self.0);
        self
    }

    #[track_caller]
    pub fn left_is(&self, limit: LimitName, expected: &str) -> &Asked {
        assert_eq!(row(&self.0.limits, limit).left_s, Some(seconds(expected)), "{:#?}", self.0.limits);
        self
    }

    #[track_caller]
    pub fn row(&self, limit: LimitName) -> &LimitRow {
        row(&self.0.limits, limit)
    }
}
