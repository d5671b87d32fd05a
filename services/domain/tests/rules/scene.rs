//! A yard built up entry by entry, as sentences: what was declared, what happened, who said so and when it was written.

use crate::when::{hours, instant};
use domain::Book;
use shared_types::*;
use std::collections::BTreeMap;
use uuid::Uuid;

/// A log in the making. What is called after an entry changes that entry.
#[derive(Clone, Default)]
pub struct Scene {
    pub entries: Vec<Entry>,
    names: BTreeMap<String, Uuid>,
}

pub fn code(text: &str) -> Code {
    Code::new(text).unwrap()
}

pub fn stage_name(text: &str) -> StageName {
    StageName::new(text).unwrap()
}

/// `R-1` is a roll, `K-1` a kit, `P-1` a part ...; anything else is named whole.
pub fn thing(text: &str) -> ThingName {
    let kinds = [
        ("R-", "roll"),
        ("K-", "kit"),
        ("P-", "part"),
        ("J-", "job"),
        ("N-", "nest"),
        ("RUN-", "run"),
        ("H-", "boat"),
        ("PM-", "material"),
    ];
    let kind = kinds.iter().find(|(prefix, _)| text.starts_with(prefix) && !text.contains('/'));
    kind.map_or_else(|| text.parse(), |(_, kind)| format!("{kind}/{text}").parse()).unwrap()
}

pub fn stamp(text: &str) -> Stamp {
    Stamp { at: instant(text), offset_s: 3600 }
}

pub fn millimetres(metres: u64) -> Millimetres {
    (metres * 1000).try_into().unwrap()
}

/// PM-101 by its sheet: 100 h tack life, 200 h out-life, 72 h from the first ply to the oven, 3 returns to the cold, and
/// 12 months from manufacture, tested at the oven.
pub fn sheet() -> Revision {
    Revision {
        revision: code("A"),
        name: "invented prepreg".to_owned(),
        form: "prepreg".to_owned(),
        storage_limit_millideg_c: Some(-18_000),
        valid_up_to_millideg_c: Some(30_000),
        shelf_life: Some(ShelfLife::Limit(ShelfLifeLimit { months: 12, tested_at: TestedAt::Oven })),
        out_life_s: Some(StatedSeconds::Limit(hours(200))),
        tack_life_s: Some(StatedSeconds::Limit(hours(100))),
        lay_to_cure: Some(LayToCure::Limit(LayToCureLimit { limit_s: hours(72), from: LayToCureFrom::FirstPly })),
        refreezes: Some(Refreezes::Limit(RefreezesLimit { allowed: 3, after_s: None })),
        rate: Rate { model: RateModel::DoorToDoor },
    }
}

pub fn place(name: &str, frozen: bool) -> Place {
    Place {
        name: name.to_owned(),
        frozen,
        highest_millideg_c: (!frozen).then_some(24_000),
        room: None,
        rack_s: None,
        effective_from: None,
    }
}

pub fn lisbon(spare_h: u64) -> Yard {
    Yard {
        zone: "Europe/Lisbon".to_owned(),
        spare_s: hours(spare_h),
        on_call: Some("4711".to_owned()),
        ..Yard::default()
    }
}

pub const FIRST: &str = "Mon 00:00";

impl Scene {
    /// Nothing is declared.
    pub fn empty() -> Scene {
        Scene::default()
    }

    /// A yard in Lisbon with freezers F1 and F2, a freezer truck TR, rooms CUT and LAY, and PM-101 (batch B-1, made
    /// 31 January 2026). It adds no spare time to plans.
    pub fn yard() -> Scene {
        let mut scene = Scene::empty().declares("yard/YARD", Body::YardDeclared(lisbon(0)));
        for (place_code, frozen) in [("F1", true), ("F2", true), ("TR", true), ("CUT", false), ("LAY", false)] {
            scene = scene.declares(&format!("place/{place_code}"), Body::PlaceDeclared(place(place_code, frozen)));
        }
        scene.material("PM-101", sheet()).registered("batch/PM-101/B-1", "2026-01-31")
    }

    /// The same yard adds this many hours to every plan.
    pub fn yard_with_spare(spare_h: u64) -> Scene {
        Scene::yard().declares("yard/YARD", Body::YardDeclared(lisbon(spare_h)))
    }

    /// The yard whose PM-101 reads otherwise.
    pub fn yard_with_sheet(change: impl FnOnce(&mut Revision)) -> Scene {
        let mut scene = Scene::yard();
        for entry in &mut scene.entries {
            if let Body::MaterialRevised(revision) = &mut entry.body {
                change(revision);
                break;
            }
        }
        scene
    }

    pub fn declares(self, of: &str, body: Body) -> Scene {
        self.entry(of, FIRST, body)
    }

    pub fn material(self, of: &str, revision: Revision) -> Scene {
        self.declares(of, Body::MaterialRevised(revision))
    }

    pub fn registered(self, batch: &str, made_on: &str) -> Scene {
        let dates = Batch { made_on: Day::parse(made_on).unwrap(), certificate_ends: None };
        self.declares(batch, Body::BatchRegistered(dates))
    }

    /// Puts an entry at the log's end, written when it happened or right after the one before.
    pub fn entry(mut self, of: &str, at: &str, body: Body) -> Scene {
        let occurred_at = stamp(at);
        let before = self.entries.last().map_or(Instant::MIN, |entry| entry.recorded_at.plus_ms(1));
        let seq = self.entries.len() as u64 + 1;
        self.entries.push(Entry {
            seq,
            recorded_at: occurred_at.at.max(before),
            told: false,
            id: Uuid::from_u128(u128::from(seq)),
            fp: Fingerprint([0; 16]),
            thing: thing(of),
            by: code("B-1"),
            by_known: KnownBy::Badge,
            second: None,
            device: None,
            device_known: None,
            counter: None,
            device_said: None,
            occurred_at,
            uncertain_by_ms: 0,
            shown: None,
            based_on: None,
            strikes: None,
            body,
        });
        self
    }

    pub fn last(&mut self) -> &mut Entry {
        self.entries.last_mut().unwrap()
    }

    pub fn change(mut self, change: impl FnOnce(&mut Entry)) -> Scene {
        change(self.last());
        self
    }

    /// Gives the last entry a name, by which later ones strike, settle or confirm it.
    pub fn named(mut self, name: &str) -> Scene {
        let id = self.last().id;
        self.names.insert(name.to_owned(), id);
        self
    }

    pub fn id(&self, name: &str) -> Uuid {
        *self.names.get(name).unwrap()
    }

    pub fn seq(&self, name: &str) -> u64 {
        let id = self.id(name);
        self.entries.iter().find(|entry| entry.id == id).unwrap().seq
    }

    pub fn thing_of(&self, name: &str) -> ThingName {
        let id = self.id(name);
        self.entries.iter().find(|entry| entry.id == id).unwrap().thing.clone()
    }

    /// It was typed from memory; nobody stands beside it.
    pub fn told(self) -> Scene {
        self.change(|entry| entry.told = true)
    }

    pub fn uncertain(self, minutes: u32) -> Scene {
        self.change(|entry| entry.uncertain_by_ms = minutes * 60_000)
    }

    pub fn device(self, device: &str, counter: u64) -> Scene {
        self.change(|entry| {
            entry.device = Some(code(device));
            entry.device_known = Some(KnownBy::Token);
            entry.counter = Some(counter);
        })
    }

    /// Said to come from a device that nobody enrolled.
    pub fn claimed_device(self, device: &str, counter: u64) -> Scene {
        self.device(device, counter).change(|entry| entry.device_known = Some(KnownBy::Claimed))
    }

    pub fn recorded(self, at: &str) -> Scene {
        self.change(|entry| entry.recorded_at = instant(at))
    }

    pub fn by(self, badge: &str) -> Scene {
        self.change(|entry| entry.by = code(badge))
    }

    pub fn second(self, badge: &str) -> Scene {
        self.change(|entry| entry.second = Some(Second { by: code(badge), by_known: KnownBy::Badge }))
    }

    pub fn with_id(self, id: u128) -> Scene {
        self.change(|entry| entry.id = Uuid::from_u128(id))
    }

    pub fn book(&self) -> Book {
        book_of(&self.entries)
    }
}

pub fn book_of<'e>(entries: impl IntoIterator<Item = &'e Entry>) -> Book {
    let mut book = Book::default();
    entries.into_iter().for_each(|entry| book.insert(entry));
    book
}
