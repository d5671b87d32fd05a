//! What the walk through a thing's facts is given, and the marks it leaves.

use super::entry::{Minute, Order};

/// What a fact means for one thing's being in or out of the cold.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    Received,
    PutAway {
        place: String,
        rack: Minute,
    },
    TakenOut {
        /// The place it is said to have been in, and whether that is a frozen one.
        from: Option<(String, bool)>,
    },
    SeenInside {
        place: String,
        rack: Minute,
    },
    /// Seen or put into a room, cut, laid: it was outside, whatever the book says.
    ActOutside,
    /// A kit comes to be when it is cut.
    Born,
    /// Says nothing; remembers how long the thing had been out at that instant.
    Look,
    /// A put-away that a settlement puts into history.
    Granted {
        place: String,
        rack: Minute,
        /// The scan that did not add up.
        scan: String,
    },
}

/// One fact, as this thing sees it.
#[derive(Clone, Debug)]
pub struct Step {
    pub order: Order,
    pub earliest: Minute,
    pub latest: Minute,
    /// A device that proves the order of its own facts. A told fact has none.
    pub device: Option<String>,
    /// A return into the cold that was only told: it may have been or not.
    pub perhaps: bool,
    pub what: What,
}

impl Step {
    pub fn id(&self) -> &str {
        &self.order.4
    }

    /// The scan itself, or the one of which a person named it.
    pub fn scan(&self) -> &str {
        match &self.what {
            What::Granted { scan, .. } => scan,
            _ => self.id(),
        }
    }
}

/// "Outside from `from` on, up to and without `until`", or for ever.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    pub from: Minute,
    pub until: Option<Minute>,
}

impl Mark {
    pub fn covers(&self, minute: Minute) -> bool {
        self.from <= minute && self.until.is_none_or(|until| minute < until)
    }
}

/// A return into the cold after a stretch outside.
#[derive(Clone, Debug)]
pub struct Return {
    pub order: Order,
    /// The scan that showed it.
    pub scan: String,
    pub from: Minute,
    pub to: Minute,
}

/// Hours that somebody assigned, charged whole at one instant.
#[derive(Clone, Debug, PartialEq)]
pub struct Lump {
    pub settlement: String,
    pub at: Minute,
    /// When the act was that did not add up.
    pub act_at: Minute,
    pub seconds: i64,
}

/// One way through the facts.
#[derive(Clone, Debug, Default)]
pub struct Walk {
    /// What was decided on this way where a fact may count or not: the entry, and whether it did.
    pub decided: Vec<(String, bool)>,
    pub marks: Vec<Mark>,
    pub lumps: Vec<Lump>,
    pub returns: Vec<Return>,
    /// Instants of the acts of taking out, in order: nominal and latest.
    pub take_outs: Vec<(Order, Minute)>,
    /// Entry and kind of everything that does not add up, settled or not.
    pub mismatches: Vec<(String, &'static str)>,
    /// Stays inside: the place, from when, until when.
    pub stays: Vec<(String, Minute, Option<Minute>)>,
    /// For each act, when the stretch outside in which it happened began.
    pub out_since: Vec<(String, Minute)>,
}

/// How the thing begins.
#[derive(Clone, Copy, Debug)]
pub enum Start {
    Cold,
    OutSince(Minute),
}
