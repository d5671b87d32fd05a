//! What was worked out once, kept until something that it was read from changes. What a thing was
//! worked out from is not declared but noted, by the book itself, whenever it is asked: nothing can be forgotten. What
//! can't be noted so (something that is not there yet, a question to the whole book) is not kept.
//!
//! Two questions are not noted: `last_seq`, so no sentence that is kept may name the log's end, and `ever_held`, for which
//! the first hold on anything changes all that is kept. Every other new question to the book has to note what it reads.

use crate::fact::Label;
use crate::follow::Scattered;
use std::any::{Any, TypeId};
use std::cell::RefCell;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

/// So many are kept at most, then it begins anew: a yard looks at fewer things between two questions about everything.
const MOST: usize = 20_000;

thread_local! {
    /// What is being worked out by this thread, the innermost last.
    static NOTED: RefCell<Vec<Noted>> = const { RefCell::new(Vec::new()) };
}

/// What one answer was read from.
#[derive(Default)]
struct Noted {
    labels: Vec<Label>,
    /// Something that no label stands for.
    more: bool,
}

/// The book was asked for something that is kept under a label.
pub(crate) fn note(label: Label) {
    note_all(&[label]);
}

fn note_all(labels: &[Label]) {
    NOTED.with_borrow_mut(|open| {
        let Some(noted) = open.last_mut() else { return };
        for label in labels {
            if noted.labels.last() != Some(label) {
                noted.labels.push(*label);
            }
        }
    });
}

/// The book was asked for something that any entry may change.
pub(crate) fn note_more() {
    NOTED.with_borrow_mut(|open| open.iter_mut().for_each(|noted| noted.more = true));
}

/// What was worked out, by its type and by label: one answer of a type about a thing.
#[derive(Default)]
pub(crate) struct Kept(Mutex<HashMap<(TypeId, Label), One, Scattered>>);

struct One {
    answer: Arc<dyn Any + Send + Sync>,
    /// The last entry that there was when it was worked out, or found to be as good as new.
    as_of: u32,
    read: Box<[Label]>,
}

/// A copy of a book goes another way: it begins with nothing.
impl Clone for Kept {
    fn clone(&self) -> Kept {
        Kept::default()
    }
}

impl Kept {
    /// What is kept of a thing, or else what is worked out now. `changed` says which entry changed a label last.
    pub(crate) fn get<T: Any + Send + Sync>(
        &self,
        label: Label,
        last: u32,
        changed: impl Fn(Label) -> u32,
        work: impl FnOnce() -> T,
    ) -> Arc<T> {
        if let Some(answer) = self.found(label, last, changed) {
            return answer;
        }
        let open = Open::begin();
        let answer: Arc<T> = Arc::new(work());
        let Noted { mut labels, more } = open.end();
        if !more {
            labels.sort_unstable();
            labels.dedup();
            let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            if MOST <= all.len() {
                all.clear();
            }
            let one = One { answer: Arc::<T>::clone(&answer), as_of: last, read: labels.into() };
            all.insert((TypeId::of::<T>(), label), one);
        }
        answer
    }

    fn found<T: Any + Send + Sync>(&self, label: Label, last: u32, changed: impl Fn(Label) -> u32) -> Option<Arc<T>> {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let one = all.get_mut(&(TypeId::of::<T>(), label))?;
        if one.as_of != last {
            if one.read.iter().any(|read| one.as_of < changed(*read)) {
                return None;
            }
            one.as_of = last;
        }
        note_all(&one.read);
        Arc::clone(&one.answer).downcast().ok()
    }
}

/// Closes what it opened, also when the work panics.
struct Open(usize);

impl Open {
    fn begin() -> Open {
        NOTED.with_borrow_mut(|open| {
            open.push(Noted::default());
            Open(open.len())
        })
    }

    /// What was noted, which whoever is working around it has read too.
    fn end(self) -> Noted {
        let noted = NOTED.with_borrow_mut(|open| open.pop()).unwrap_or(Noted { labels: Vec::new(), more: true });
        note_all(&noted.labels);
        noted
    }
}

impl Drop for Open {
    fn drop(&mut self) {
        NOTED.with_borrow_mut(|open| open.truncate(self.0.saturating_sub(1)));
    }
}
