//! Random yards for the laws: moves, cuts, lay-ups, runs and what people decide about them, late, told and unsure.

use crate::facts::settling;
use crate::scene::{Scene, code, stamp, thing};
use crate::when::instant;
use proptest::prelude::*;
use shared_types::*;

/// One happening, as numbers that shrink well.
#[derive(Clone, Copy, Debug)]
pub struct Op {
    pub kind: u8,
    pub which: u8,
    pub place: u8,
    pub minute: i64,
    pub unsure: u8,
    pub device: u8,
    pub told: bool,
    pub back: u8,
}

pub const ROLLS: [&str; 2] = ["R-1", "R-2"];
pub const KITS: [&str; 2] = ["K-1", "K-2"];
pub const THINGS: [&str; 6] = ["R-1", "R-2", "K-1", "K-2", "P-1", "RUN-1"];
const PLACES: [&str; 4] = ["F1", "F2", "CUT", "F9"];

/// How many cases a law tries: more where somebody has the time.
pub fn cases(few: u32) -> ProptestConfig {
    let many = if std::env::var_os("RIMEBOOK_LONG").is_some() { few * 50 } else { few };
    ProptestConfig { cases: many, failure_persistence: None, ..ProptestConfig::default() }
}

pub fn op() -> impl Strategy<Value = Op> {
    (0..26_u8, 0..2_u8, 0..4_u8, 0..8_000_i64, 0..6_u8, 0..4_u8, 0..6_u8, any::<u8>()).prop_map(
        |(kind, which, place, minute, unsure, device, told, back)| Op {
            kind,
            which,
            place,
            minute,
            unsure,
            device,
            told: told == 0,
            back,
        },
    )
}

pub fn ops(most: usize) -> impl Strategy<Value = Vec<Op>> {
    prop::collection::vec(op(), 0..most)
}

/// A time by the minute from Monday 06:00 on.
pub fn at_minute(minute: i64) -> Instant {
    instant("Mon 06:00").plus_ms(minute * 60_000)
}

/// When everything is written down: nothing is before it happened.
fn afterwards() -> Instant {
    at_minute(16_001)
}

/// The yard with its two rolls received on Monday, and then all that happens.
pub fn yard(ops: &[Op]) -> Scene {
    let scene =
        Scene::yard().job("J-1", "Wed 12:00", "Thu 12:00").stored("R-1", "Mon 06:00").received("R-2", "Mon 06:00");
    ops.iter().fold(scene.opening(3, 1), happens)
}

/// The same without strikes of places: what was told of a freezer waits, and of a place that is none any more it counts.
pub fn with_its_places(mut scene: Scene) -> Scene {
    let places: Vec<uuid::Uuid> =
        scene.entries.iter().filter(|entry| entry.thing.kind() == Kind::Place).map(|entry| entry.id).collect();
    scene.entries.retain(|entry| entry.strikes.is_none_or(|struck| !places.contains(&struck)));
    scene
}

/// Puts one happening at the log's end.
pub fn happens(scene: Scene, op: &Op) -> Scene {
    let now = "Mon 06:00";
    let roll = ROLLS[usize::from(op.which)];
    let kit = KITS[usize::from(op.which)];
    let either = if op.back.is_multiple_of(3) { kit } else { roll };
    let place = PLACES[usize::from(op.place)];
    let earlier =
        (!scene.entries.is_empty()).then(|| scene.entries[usize::from(op.back) % scene.entries.len()].clone());
    let scene = match op.kind {
        0..=4 => scene.out(either, now),
        5..=9 => scene.put_away(either, place, now),
        10..=11 => scene.seen(either, place, now),
        12..=13 => scene.cut("N-1", roll, kit, now),
        14 => scene.laid("P-1", kit, now).begun_at(now),
        15 => scene.laid("P-1", roll, now).length(1),
        16 => scene.oven("RUN-1", &["P-1"], now),
        17 => scene.ended("RUN-1", now).cured(!op.back.is_multiple_of(4)),
        18 => scene.interrupted("RUN-1", now),
        19 => scene.received(roll, now).opening(u64::from(op.back % 90), 0).counted_from(now),
        20 => scene.hold(either, now),
        21 => scene.issued(either, "J-1", now),
        22..=25 => return acts_on(scene, op, earlier.as_ref()),
        _ => scene.completed("P-1", now),
    };
    let at = at_minute(op.minute);
    scene.change(|entry| {
        entry.occurred_at.at = at;
        entry.recorded_at = entry.recorded_at.max(afterwards());
        entry.uncertain_by_ms = [0, 0, 0, 60_000, 600_000, 7_200_000][usize::from(op.unsure)];
        entry.told = op.told;
        entry.by = code(["B-1", "B-2"][usize::from(op.back % 2)]);
        if 0 < op.device {
            entry.device = Some(code(["D-1", "D-2", "D-3"][usize::from(op.device - 1)]));
            entry.device_known = (op.device == 3).then_some(KnownBy::Claimed);
            // A device never counts twice alike.
            entry.counter = u64::try_from(op.minute).ok().map(|minute| minute * 1_000 + entry.seq);
        }
        match &mut entry.body {
            Body::OvenRunEnded(end) if op.which == 0 => {
                end.committed_at = Some(Stamp { at: at.minus_ms(3_600_000), offset_s: 0 })
            }
            Body::PliesLaid(laid) => {
                laid.from_at = laid.from_at.map(|from| Stamp { at: at.minus_ms(i64::from(op.back) * 60_000), ..from });
                laid.items = op.told.then(|| vec![code(roll)]);
            }
            Body::RollReceived(receipt) => {
                receipt.opening.as_mut().unwrap().as_of.at = at.minus_ms(i64::from(op.back) * 60_000)
            }
            _ => {}
        }
    })
}

/// A strike, a confirmation, a lift or a settlement of an earlier entry.
fn acts_on(scene: Scene, op: &Op, earlier: Option<&Entry>) -> Scene {
    let Some(earlier) = earlier else { return scene };
    // What acts on an entry acts on a fact or a decision; only a strike takes back one of these too.
    if op.kind != 22 && acts_on_another(earlier) {
        return scene;
    }
    let of = earlier.thing.to_string();
    let scene = match op.kind {
        22 => {
            let body = Body::EntryStruck(Strike { why: "wrong".to_owned(), instead: None });
            scene.entry(&of, "Mon 06:00", body).change(|entry| entry.strikes = Some(earlier.id))
        }
        23 => scene.entry(&of, "Mon 06:00", Body::FactConfirmed(Confirm { entry: earlier.id })).by("B-3"),
        24 => {
            let lift = LiftHold { hold: earlier.id, why: "dry".to_owned() };
            scene.entry(&of, "Mon 06:00", Body::HoldLifted(lift))
        }
        _ => {
            let (kind, answer) = settlement(op);
            // What a cut or a lay-up puzzles is a roll.
            let puzzled = matches!(earlier.body, Body::NestCut(_) | Body::PliesLaid(_));
            let of = if puzzled { ROLLS[usize::from(op.back % 2)] } else { &of };
            scene.entry(of, "Mon 06:00", Body::MismatchSettled(settling(kind, earlier.id, answer)))
        }
    };
    scene.change(|entry| {
        entry.occurred_at.at = at_minute(op.minute + 8_000);
        entry.recorded_at = entry.recorded_at.max(afterwards());
    })
}

pub const PUZZLES: [&str; 6] = [
    "out_while_out",
    "in_while_in",
    "in_while_in_elsewhere",
    "seen_inside_while_out",
    "acted_while_inside",
    "put_away_not_after_take_out",
];

pub fn settlement(op: &Op) -> (&'static str, Settlement) {
    let at = Stamp { at: at_minute(op.minute), offset_s: 0 };
    let answers = [
        Settlement::OutSince(at),
        Settlement::PutAwayAt(at),
        Settlement::WasTakeOut(true),
        Settlement::CarriedOverS(600.try_into().unwrap()),
        Settlement::AssignedS(u64::from(op.back).try_into().unwrap()),
        Settlement::Other(thing(ROLLS[usize::from(op.which)])),
    ];
    (PUZZLES[usize::from(op.place + op.which * 2) % 6], answers[usize::from(op.unsure)].clone())
}

/// Whether an entry acts on another one, and so must come after it.
pub fn acts_on_another(entry: &Entry) -> bool {
    matches!(entry.body, Body::EntryStruck(_) | Body::FactConfirmed(_) | Body::HoldLifted(_) | Body::MismatchSettled(_))
}

#[test]
fn random_yards_are_made_of_every_kind_of_happening() {
    let all: Vec<Op> = (0..26)
        .map(|kind| Op { kind, which: 0, place: 0, minute: 60, unsure: 1, device: 1, told: false, back: 1 })
        .collect();
    let kinds: std::collections::BTreeSet<&str> =
        yard(&all).entries.iter().map(|entry| entry.body.plain_kind()).collect();
    assert!(20 <= kinds.len(), "{kinds:?}");
    assert_eq!(stamp("Mon 06:00").at, at_minute(0));
}
