//! Decisions as they are asked for in a scene, and what the book says to them.

use crate::facts::settling;
use crate::scene::{Scene, code, thing};
use crate::when::instant;
use domain::{Refusal, Wish, decide::decide};
use shared_types::*;
use uuid::Uuid;

#[derive(Clone)]
pub struct Asking<'s> {
    scene: &'s Scene,
    wish: Wish,
    at: Instant,
}

impl Scene {
    /// Asked by B-1 alone, on what the whole log says, right after its last entry.
    pub fn wish(&self, of: &str, body: Body) -> Asking<'_> {
        let wish = Wish {
            id: Uuid::from_u128(9_999),
            thing: thing(of),
            by: code("B-1"),
            by_known: KnownBy::Badge,
            second: None,
            based_on: Some(self.entries.len() as u64),
            body,
            strikes: None,
            instead: None,
        };
        let at = self.entries.iter().map(|entry| entry.recorded_at.max(entry.occurred_at.at)).max();
        Asking { scene: self, wish, at: at.unwrap_or_default() }
    }

    pub fn wish_issue(&self, of: &str, job: &str) -> Asking<'_> {
        self.wish(of, Body::Issued(Issue { job: code(job) }))
    }

    pub fn wish_hold(&self, on: &str) -> Asking<'_> {
        self.wish(on, Body::HoldPlaced(PlaceHold { why: "wet".to_owned(), nonconformance: None }))
    }

    pub fn wish_lift(&self, name: &str) -> Asking<'_> {
        let body = LiftHold { hold: self.id(name), why: "dry".to_owned() };
        self.wish(&self.thing_of(name).to_string(), Body::HoldLifted(body))
    }

    pub fn wish_strike(&self, name: &str) -> Asking<'_> {
        let body = Strike { why: "wrong".to_owned(), instead: None };
        let mut asking = self.wish(&self.thing_of(name).to_string(), Body::EntryStruck(body));
        asking.wish.strikes = Some(self.id(name));
        asking
    }

    pub fn wish_confirm(&self, name: &str) -> Asking<'_> {
        self.wish(&self.thing_of(name).to_string(), Body::FactConfirmed(Confirm { entry: self.id(name) }))
    }

    pub fn wish_settle(&self, name: &str, kind: &str, answer: Settlement) -> Asking<'_> {
        let body = settling(kind, self.id(name), answer);
        self.wish(&self.thing_of(name).to_string(), Body::MismatchSettled(body))
    }
}

impl Asking<'_> {
    pub fn by(mut self, badge: &str) -> Self {
        self.wish.by = code(badge);
        self
    }

    pub fn second(mut self, badge: &str) -> Self {
        self.wish.second = Some(Second { by: code(badge), by_known: KnownBy::Badge });
        self
    }

    /// Nobody showed who they are.
    pub fn claimed(mut self) -> Self {
        self.wish.by_known = KnownBy::Claimed;
        self
    }

    pub fn claimed_second(mut self, badge: &str) -> Self {
        self.wish.second = Some(Second { by: code(badge), by_known: KnownBy::Claimed });
        self
    }

    /// A settlement says why.
    pub fn says(&mut self, why: &str) {
        if let Body::MismatchSettled(settle) = &mut self.wish.body {
            settle.why = Some(why.to_owned());
        }
    }

    pub fn based_on(mut self, seq: u64) -> Self {
        self.wish.based_on = Some(seq);
        self
    }

    pub fn based_on_nothing(mut self) -> Self {
        self.wish.based_on = None;
        self
    }

    pub fn at(mut self, at: &str) -> Self {
        self.at = instant(at);
        self
    }

    pub fn about(mut self, other: &str) -> Self {
        self.wish.thing = thing(other);
        self
    }

    pub fn striking(mut self, id: u128) -> Self {
        self.wish.strikes = Some(Uuid::from_u128(id));
        self
    }

    /// The last entry of that scene stands instead of the struck one.
    pub fn instead(mut self, scene: &Scene) -> Self {
        self.wish.instead = scene.entries.last().cloned();
        self
    }

    pub fn decided(&self) -> Result<(), Refusal> {
        decide(&self.scene.book(), &self.wish, self.at)
    }

    #[track_caller]
    pub fn is_granted(&self) {
        assert_eq!(self.decided(), Ok(()));
    }

    #[track_caller]
    pub fn refusal(&self) -> Refusal {
        self.decided().unwrap_err()
    }

    /// Refused in these words.
    #[track_caller]
    pub fn is_refused(&self, words: &str) -> Refusal {
        let refusal = self.refusal();
        assert_eq!(refusal.to_string(), words, "{refusal:?}");
        refusal
    }

    /// The first thing it gives back, if it needs a second person for that.
    #[track_caller]
    pub fn refusal_or_granted(&self) -> Option<String> {
        match self.decided() {
            Ok(()) => None,
            Err(Refusal::NeedsSecondPerson { gives_back, .. }) => gives_back.into_iter().next(),
            Err(other) => panic!("{other:?}"),
        }
    }

    /// It needs a second person, because of this.
    #[track_caller]
    pub fn needs_a_second(&self, because: &str) {
        match self.refusal() {
            Refusal::NeedsSecondPerson { gives_back, .. } => {
                assert!(gives_back.iter().any(|one| one == because), "{gives_back:#?}")
            }
            other => panic!("{other:?}"),
        }
    }
}
