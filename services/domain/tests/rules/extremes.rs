//! No facts, in no order, with no codes and no times that can be written, make the book panic.

use crate::look::*;
use crate::random::{THINGS, cases, happens, op, yard};
use crate::scene::{Scene, lisbon, sheet, thing};
use domain::{MayUseQuestion, When};
use proptest::prelude::*;
use shared_types::*;

/// The first and the last instants RFC 3339 can write, those beyond what anything can, and some between.
fn extreme() -> impl Strategy<Value = Instant> {
    prop_oneof![
        Just(Stamp::parse("0000-01-01T00:00:00.000+23:59").unwrap().at),
        Just(Stamp::parse("9999-12-31T23:59:59.999-23:59").unwrap().at),
        Just(Instant::MIN),
        Just(Instant::MAX),
        (-62_000_000_000_000..253_000_000_000_000_i64).prop_map(Instant),
        any::<i64>().prop_map(|ms| Instant(ms).plus_ms(0)),
    ]
}

fn wild() -> impl Strategy<Value = (Instant, u32, Option<u64>, bool)> {
    (extreme(), prop_oneof![Just(0), Just(u32::MAX), any::<u32>()], any::<Option<u64>>(), any::<bool>())
}

/// Limits and dates as large as they can be written.
fn wildest_yard(months: u16, ends: &str) -> Scene {
    let most = || Seconds::try_from(10_000_000_000).unwrap();
    let mut widest = sheet();
    widest.revision = Code::new("Z").unwrap();
    widest.shelf_life = Some(ShelfLife::Limit(ShelfLifeLimit { months, tested_at: TestedAt::Lay }));
    widest.out_life_s = Some(StatedSeconds::Limit(most()));
    widest.tack_life_s = Some(StatedSeconds::Limit(Seconds::default()));
    widest.lay_to_cure = Some(LayToCure::Limit(LayToCureLimit { limit_s: most(), from: LayToCureFrom::Complete }));
    widest.refreezes = Some(Refreezes::Limit(RefreezesLimit { allowed: u32::MAX, after_s: Some(most()) }));
    let spare = Yard { spare_s: most(), ..lisbon(0) };
    let certificate = Batch { made_on: Day::parse("9999-12").unwrap(), certificate_ends: Day::parse(ends).ok() };
    let mut scene = Scene::yard().material("PM-101", widest).declares("yard/YARD", Body::YardDeclared(spare));
    scene = scene.declares("batch/PM-101/B-1", Body::BatchRegistered(certificate)).received("R-1", "Mon 06:00");
    scene.change(|entry| {
        if let Body::RollReceived(receipt) = &mut entry.body {
            receipt.revision = Code::new("Z").unwrap();
            let opening = receipt.opening.as_mut().unwrap();
            (opening.out_time_s, opening.refreezes) = (most(), u32::MAX);
        }
    })
}

fn ask_everything(scene: &Scene, at: Instant, known: u64, now: Instant) {
    let book = scene.book();
    let when = When { at, known, now };
    let things =
        THINGS.into_iter().chain(["N-1", "J-1", "place/F1", "PM-101", "batch/PM-101/B-1", "yard/YARD", "device/D-1"]);
    for name in things.map(thing) {
        let shown = domain::thing_view(&book, &name, when);
        serde_json::to_string(&shown).unwrap();
        serde_json::to_string(&domain::out_time_card(&book, &name, when)).unwrap();
        for direction in [Direction::MadeFrom, Direction::WentInto] {
            domain::trace(&book, &name, direction, when);
        }
        for act in [TakeOut, Cut, Lay, Oven] {
            let job = Some(Code::new("J-1").unwrap());
            for job in [None, job] {
                let question = MayUseQuestion { thing: name.clone(), act, job, stage: None, when };
                serde_json::to_string(&domain::may_use(&book, &question).ok()).unwrap();
            }
        }
    }
    domain::runs_out(&book, u32::MAX, when);
    domain::mismatches(&book, when);
    for seq in [0, 1, book.last_seq(), u64::MAX] {
        domain::mismatch::of_entry(&book, seq, when);
    }
}

proptest! {
    #![proptest_config(cases(150))]

    #[test]
    fn nothing_that_can_be_written_panics(
        happened in prop::collection::vec((op(), wild()), 0..25),
        at in extreme(), now in extreme(), known in any::<u64>(), few in 0..40_u64,
        months in any::<u16>(), wildest in any::<bool>(),
    ) {
        let start = if wildest { wildest_yard(months, "9999-12-31") } else { yard(&[]) };
        let scene = happened.iter().fold(start, |scene, (op, (when, uncertain, counter, also_told))| {
            happens(scene, op).change(|entry| {
                entry.occurred_at.at = *when;
                entry.recorded_at = *when;
                entry.uncertain_by_ms = *uncertain;
                entry.counter = *counter;
                entry.told |= *also_told;
            })
        });
        ask_everything(&scene, at, known, now);
        ask_everything(&scene, now, few, at);
    }

    #[test]
    fn any_strike_or_settlement_can_be_asked_for(happened in prop::collection::vec((op(), wild()), 1..12), at in extreme(), last in op()) {
        let scene = happened.iter().fold(yard(&[]), |scene, (op, (when, uncertain, _, _))| {
            happens(scene, op).change(|entry| (entry.occurred_at.at, entry.uncertain_by_ms) = (*when, *uncertain))
        });
        let based_on = Some(scene.entries.len() as u64);
        for kind in 22..26 {
            let after = happens(scene.clone(), &crate::random::Op { kind, ..last });
            let Some(entry) = after.entries.last() else { continue };
            let wish = domain::Wish {
                id: entry.id,
                thing: entry.thing.clone(),
                by: entry.by.clone(),
                by_known: entry.by_known,
                second: entry.second.clone(),
                based_on,
                body: entry.body.clone(),
                strikes: entry.strikes,
                instead: Some(happened[0].1.0).map(|at| Entry { occurred_at: Stamp::utc(at), strikes: None, ..scene.entries[scene.entries.len() - 1].clone() }),
            };
            let _ = domain::decide::decide(&scene.book(), &wish, at);
        }
    }
}

#[test]
fn an_entry_that_acts_on_itself_acts_on_nothing() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").named("out");
    let own = scene.entries.len() as u128 + 1;
    let id = uuid::Uuid::from_u128(own);
    let scene = scene.entry("R-1", "Tue 07:00", Body::FactConfirmed(Confirm { entry: id }));
    let scene = scene.entry("R-1", "Tue 08:00", Body::EntryStruck(Strike { why: "wrong".to_owned(), instead: None }));
    let scene = scene.change(|entry| entry.strikes = Some(entry.id));
    scene.look("R-1", "Tue 09:00").out_time_is("3:00");
    assert!(scene.book().kept_under(u32::try_from(own).unwrap()).len() == 1);
}
