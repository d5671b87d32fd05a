//! A big yard: 100,000 rolls with a million entries, the longest history 400 entries long.

use shared_types::{Body, Code, Entry, Fingerprint, Instant, Kind, KnownBy, Stamp, ThingName};
use uuid::Uuid;

use super::work::MATERIAL;

const LONGEST: usize = 400;
const SHORTEST: usize = 5;
const HOUR: i64 = 3_600_000;
const DAY: i64 = 24 * HOUR;
const ROLLS_OF_A_BATCH: usize = 20;
const FREEZERS: usize = 4;
/// An outing: taken out, seen or cut, put away, seen in the cold. Ten minutes, so that long histories stay within limits.
const WITHIN: [i64; 4] = [0, 5 * 60_000, 10 * 60_000, HOUR];

pub(crate) struct History {
    pub(crate) things: usize,
    /// Rolls that are in the cold when it ends.
    pub(crate) inside: Vec<u32>,
    end: Instant,
    /// When, which roll, and its how manieth entry it is; in the order in which they come.
    events: Vec<(Instant, u32, u32)>,
}

/// A number that looks like chance, the same in every run.
pub(crate) fn mix(number: u64) -> u64 {
    let mut z = number.wrapping_mul(0x9e37_79b9_7f4a_7c15).wrapping_add(0x632b_e5ab);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

impl History {
    /// About so many entries over so many rolls, the last of them at `end`.
    pub(crate) fn new(entries: usize, things: usize, end: Instant) -> History {
        let mut events = Vec::with_capacity(entries);
        let mut inside = Vec::new();
        for (roll, length) in lengths(entries, things).into_iter().enumerate() {
            // Everything in its last 60 days, so that no limit but out-time ends before it is asked for.
            let begin = end.minus_ms(60 * DAY - (mix(roll as u64) % (20 * DAY as u64)) as i64);
            let last = end.minus_ms(2 * HOUR + (mix(!roll as u64) % (4 * HOUR as u64)) as i64);
            let outings = (length + 1) / 4;
            let step = last.since(begin) / outings as i64;
            inside.extend(matches!(length % 4, 1 | 2).then_some(roll as u32));
            let when = |nth: usize| begin.plus_ms(step * ((nth + 2) / 4) as i64 + WITHIN[(nth + 2) % 4]);
            events.extend((0..length).map(|nth| (when(nth), roll as u32, nth as u32)));
        }
        events.sort_unstable();
        History { things, inside, end, events }
    }

    pub(crate) fn roll(number: usize) -> String {
        format!("R-{number:06}")
    }

    /// Where a roll is kept.
    pub(crate) fn freezer(roll: usize) -> String {
        format!("F{}", roll % FREEZERS)
    }

    pub(crate) fn entries(&self) -> impl Iterator<Item = Entry> + '_ {
        let declared = declared(self.end.minus_ms(61 * DAY), self.things / ROLLS_OF_A_BATCH + 1);
        let facts = self.events.iter().map(|(at, roll, nth)| fact(*at, *roll as usize, *nth as usize));
        let all = declared.into_iter().chain(facts);
        (1..).zip(all).map(|(seq, (at, thing, body))| entry(seq, at, thing, body))
    }
}

/// How long each roll's history is: few long ones, many short ones.
fn lengths(entries: usize, things: usize) -> Vec<usize> {
    let of = |factor: f64| -> Vec<usize> {
        let length = |rank: usize| (factor / (rank as f64 + 1.0).sqrt()) as usize;
        (0..things).map(|rank| length(rank).clamp(SHORTEST, LONGEST)).collect()
    };
    let (mut low, mut high) = (1.0, entries as f64);
    for _ in 0..40 {
        let middle = (low + high) / 2.0;
        if of(middle).iter().sum::<usize>() < entries { low = middle } else { high = middle }
    }
    let mut lengths = of(high);
    lengths[0] = LONGEST;
    lengths
}

pub(crate) fn entry(seq: u64, at: Instant, thing: ThingName, body: Body) -> Entry {
    let (one, other) = (mix(seq * 2), mix(seq * 2 + 1));
    let is_fact = body.is_fact();
    let scanned = is_fact && one % 2 == 0;
    Entry {
        seq,
        recorded_at: at,
        told: false,
        id: Uuid::from_u64_pair(one, other),
        fp: Fingerprint(Uuid::from_u64_pair(other, one).into_bytes()),
        thing,
        by: code(&format!("B-{}", one % 60)),
        by_known: KnownBy::Claimed,
        second: None,
        device: scanned.then(|| code(&format!("H-{}", other % 12))),
        device_known: scanned.then_some(KnownBy::Token),
        counter: scanned.then_some(seq),
        device_said: None,
        occurred_at: Stamp::utc(at),
        uncertain_by_ms: 0,
        shown: None,
        based_on: (!is_fact).then(|| seq - 1),
        strikes: None,
        body,
    }
}

pub(crate) fn body(kind: &str, json: &str) -> Body {
    Body::read(kind, json).unwrap_or_else(|error| panic!("{kind} {json}: {error}"))
}

pub(crate) fn code(text: &str) -> Code {
    Code::new(text).unwrap()
}

pub(crate) fn declared(at: Instant, batches: usize) -> Vec<(Instant, ThingName, Body)> {
    let place = |name: &str, frozen: bool| {
        let json = format!(r#"{{"name":"{name}","frozen":{frozen},"rack_s":120}}"#);
        (at, ThingName::new(Kind::Place, &code(name)), body("place_declared", &json))
    };
    let yard = body("yard_declared", r#"{"zone":"Europe/Oslo","spare_s":3600,"on_call":"4711"}"#);
    let mut all = vec![
        (at, ThingName::yard(), yard),
        place("CUT", false),
        place("TRUCK", true),
        (at, ThingName::new(Kind::Material, &code("PM-1")), body("material_revised", MATERIAL)),
    ];
    all.extend((0..FREEZERS).map(|number| place(&format!("F{number}"), true)));
    let made = format!(r#"{{"made_on":"{}"}}"#, &Stamp::utc(at).to_string()[..10]);
    let batch = |number| ThingName::batch(&code("PM-1"), &code(&format!("B-{number:05}")));
    all.extend((0..batches).map(|number| (at, batch(number), body("batch_registered", &made))));
    all
}

pub(crate) fn received(roll: usize, at: Instant) -> Body {
    let opening = format!(r#"{{"out_time_s":0,"as_of":"{}","source":"certificate"}}"#, Stamp::utc(at));
    let batch = roll / ROLLS_OF_A_BATCH;
    body(
        "roll_received",
        &format!(
            r#"{{"material":"PM-1","revision":"A","batch":"B-{batch:05}","length_mm":90000,"from":"TRUCK","opening":{opening}}}"#
        ),
    )
}

fn fact(at: Instant, roll: usize, nth: usize) -> (Instant, ThingName, Body) {
    let name = History::roll(roll);
    let freezer = roll % FREEZERS;
    let thing = ThingName::roll(&code(&name));
    match nth {
        0 => (at, thing, received(roll, at)),
        1 => (at, thing, body("roll_put_away", &format!(r#"{{"into":"F{freezer}"}}"#))),
        _ => match nth % 4 {
            2 => (at, thing, body("roll_taken_out", &format!(r#"{{"from":"F{freezer}","to":"CUT"}}"#))),
            3 if roll.is_multiple_of(10) => {
                let nest = ThingName::new(Kind::Nest, &code(&format!("N-{roll}-{nth}")));
                let items = format!(r#"[{{"roll":"{name}","length_mm":12,"plies":4}}]"#);
                let json =
                    format!(r#"{{"kits":[{{"kit":"K-{roll}-{nth}","job":"J-{}","items":{items}}}]}}"#, roll % 999);
                (at, nest, body("nest_cut", &json))
            }
            3 => (at, thing, body("seen", r#"{"in":"CUT"}"#)),
            0 => (at, thing, body("roll_put_away", &format!(r#"{{"into":"F{freezer}","position":"A-1"}}"#))),
            _ => (at, thing, body("seen", &format!(r#"{{"in":"F{freezer}","position":"A-1"}}"#))),
        },
    }
}
