//! What the log says of badges, devices and tokens: who has which role, what is enrolled, what was revoked. Read as of a
//! place in the log, so that an entry is judged by what held when it was written.

use crate::book::Book;
use crate::fact::{Fact, Label, What};
use crate::kept;
use crate::view::View;
use shared_types::{Code, GrantRoles, Instant, Kind, Role, Scope, ThingName};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Grants, enrolments and tokens by the badge or device that they are about, in the order of the log.
#[derive(Default, Clone)]
pub(crate) struct Said {
    of: BTreeMap<Label, Vec<Fact>>,
    /// Entries that made an administrator, and the entry that struck it.
    administrators: Vec<(u32, u32)>,
}

impl Said {
    pub(crate) fn keep(&mut self, label: Label, fact: &Fact) {
        if let What::Granted(grant) = &fact.what
            && grant.roles.contains(&Role::Administrator)
        {
            self.administrators.push((fact.seq, fact.struck_by));
        }
        self.of.entry(label).or_default().push(fact.clone());
    }

    pub(crate) fn strike(&mut self, label: Label, target: u32, by: u32) {
        let facts = self.of.get_mut(&label).into_iter().flatten();
        facts.filter(|fact| fact.seq == target).for_each(|fact| fact.struck_by = by);
        let made = self.administrators.iter_mut().filter(|(seq, _)| *seq == target);
        made.for_each(|(_, struck_by)| *struck_by = by);
    }

    fn stands(&self, label: Label, known: u32) -> impl DoubleEndedIterator<Item = &Fact> {
        let said = self.of.get(&label).map_or(&[][..], Vec::as_slice);
        said.iter().filter(move |fact| fact.seq <= known && known < fact.struck_by)
    }
}

/// Whether a device may record.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Standing {
    /// It is only said to be one of the yard's.
    NotEnrolled,
    Enrolled,
    Revoked,
}

/// A token, as the log knows it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Token {
    /// Whom it acts for.
    pub badge: Code,
    pub name: String,
    pub scopes: Vec<Scope>,
    pub ends_at: Option<Instant>,
    pub revoked: bool,
}

impl Token {
    /// Whether it may be used at a time. What it may be used for is what its badge may do and its scopes name.
    pub fn holds(&self, at: Instant) -> bool {
        !self.revoked && self.ends_at.is_none_or(|ends| at < ends)
    }
}

/// Whether the yard has had an administrator by an entry: from then on roles and enrolled devices count.
pub fn set_up(book: &Book, known: u32) -> bool {
    // Not noted: what held by an entry that is written never changes.
    book.said().administrators.iter().any(|(seq, struck_by)| *seq <= known && known < *struck_by)
}

/// Whether the yard is set up now.
pub fn is_set_up(book: &Book) -> bool {
    set_up(book, View::new(book, u64::MAX).known)
}

/// What a badge was granted by an entry; nothing if nobody ever granted it anything.
pub(crate) fn granted(book: &Book, badge: Label, known: u32) -> Option<&GrantRoles> {
    // Not noted, as above.
    book.said().stands(badge, known).rev().find_map(|fact| match &fact.what {
        What::Granted(grant) => Some(&**grant),
        _ => None,
    })
}

/// What a badge may do now; nothing if nobody ever granted it anything.
pub fn roles_of<'b>(book: &'b Book, badge: &Code) -> Option<&'b GrantRoles> {
    kept::note_more();
    granted(book, book.label(&ThingName::new(Kind::Badge, badge))?, View::new(book, u64::MAX).known)
}

/// Every badge that has this role now.
pub fn who_has(book: &Book, role: Role) -> impl Iterator<Item = Label> {
    kept::note_more();
    let known = View::new(book, u64::MAX).known;
    let badges = book.said().of.keys().copied();
    badges.filter(move |badge| granted(book, *badge, known).is_some_and(|grant| grant.roles.contains(&role)))
}

/// Whether a device may record, by an entry.
pub(crate) fn device_by(book: &Book, device: Label, known: u32) -> Standing {
    let last = book.said().stands(device, known).rev().find_map(|fact| match fact.what {
        What::Enrolled(_) => Some(Standing::Enrolled),
        What::DeviceRevoked(_) => Some(Standing::Revoked),
        _ => None,
    });
    last.unwrap_or(Standing::NotEnrolled)
}

/// What was said of a device, in the order of the log.
pub(crate) fn of_device<'b>(view: View<'b>, device: Label) -> impl Iterator<Item = &'b Fact> {
    kept::note(device);
    view.book.said().stands(device, view.known)
}

/// Whether a device may record now.
pub fn device(book: &Book, code: &Code) -> Standing {
    kept::note_more();
    let label = book.label(&ThingName::new(Kind::Device, code));
    label.map_or(Standing::NotEnrolled, |label| device_by(book, label, View::new(book, u64::MAX).known))
}

/// A token as it stands now, named by the id of the entry that issued it.
pub fn token(book: &Book, issued_by: &Uuid) -> Option<Token> {
    kept::note_more();
    let known = View::new(book, u64::MAX).known;
    let seq = u32::try_from(book.seq_of(issued_by)?).ok()?;
    let badge = book.entry(seq)?.thing;
    let said = || book.said().stands(badge, known);
    let issued = said().find_map(|fact| match &fact.what {
        What::TokenIssued(token) if fact.seq == seq => Some(token),
        _ => None,
    })?;
    let revoked = said().any(|fact| matches!(&fact.what, What::TokenRevoked(token) if token == issued_by));
    Some(Token {
        badge: book.code(badge),
        name: issued.name.clone(),
        scopes: issued.scopes.clone(),
        ends_at: issued.ends_at.map(|ends| ends.at),
        revoked,
    })
}
