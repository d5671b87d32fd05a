use super::*;
use crate::{
    journal::Upkeep,
    testing::{Bench, START, asked, decision, fact, hold, taken_out},
    yard::Yard,
};
use domain::Refusal;
use serde_json::{Value, json};
use shared_types::{Body, Entry};
use std::{sync::atomic::Ordering, time::Duration};
use tokio::sync::oneshot::Receiver;

fn line(outcome: Outcome) -> Entry {
    match outcome {
        Outcome::Already { line } | Outcome::IdReused { line } => Entry::read(&line).unwrap(),
        other => panic!("{other:?}"),
    }
}

fn written(outcome: Outcome) -> Written {
    match outcome {
        Outcome::Written(written) => written,
        other => panic!("{other:?}"),
    }
}

/// Hands in without waiting for the answer.
fn hand_in(committer: &Committer, item: impl Into<Item>) -> Receiver<Outcome> {
    let (request, answer) = request(item.into());
    committer.queue.push_blocking(request);
    answer
}

#[test]
fn a_fact_is_written_whole_and_stands_in_the_book() {
    let bench = Bench::new();
    let yard = bench.open();
    let new = fact(&taken_out(1, "R-42"));
    let got = written(yard.committer.submit_blocking(new.clone()));
    assert_eq!((got.seq, got.recorded_at, got.kind, got.told), (1, START, "roll_taken_out.v1", false));
    let stored = Entry::read(&yard.reader.line(1).unwrap()).unwrap();
    assert_eq!(stored, Entry { seq: 1, recorded_at: START, ..new.entry.clone() });
    assert_eq!(yard.read().last_seq(), 1);
    assert_eq!(yard.history(&new.entry.thing).unwrap(), [yard.reader.line(1).unwrap()]);
}

#[test]
fn the_same_id_twice_is_the_same_entry_also_after_a_restart() {
    let bench = Bench::new();
    let yard = bench.open();
    let item = taken_out(1, "R-42");
    written(yard.committer.submit_blocking(fact(&item)));
    assert_eq!(line(yard.committer.submit_blocking(fact(&item))).seq, 1);
    yard.close();
    let yard = bench.open();
    assert_eq!(line(yard.committer.submit_blocking(fact(&item))).seq, 1);
    assert_eq!(yard.read().last_seq(), 1);
}

#[test]
fn the_same_id_twice_at_once_is_one_entry() {
    let bench = Bench::new();
    let yard = bench.open();
    bench.hand.hold();
    let first = hand_in(&yard.committer, fact(&taken_out(1, "R-1")));
    bench.hand.somebody_waits();
    let [a, b, c] = [taken_out(2, "R-2"), taken_out(2, "R-2"), taken_out(2, "R-3")];
    let answers = [&a, &b, &c].map(|item| hand_in(&yard.committer, fact(item)));
    bench.hand.let_go();
    written(first.blocking_recv().unwrap());
    let [a, b, c] = answers.map(|answer| answer.blocking_recv().unwrap());
    assert_eq!((written(a).seq, line(b).seq), (2, 2));
    assert!(matches!(c, Outcome::IdReused { .. }));
    assert_eq!(yard.reader.last_seq(), 2);
}

#[test]
fn an_id_used_for_something_else_is_refused_at_the_desk_and_set_aside_from_a_device() {
    let bench = Bench::new();
    let yard = bench.open();
    written(yard.committer.submit_blocking(fact(&taken_out(1, "R-42"))));
    let mut other = taken_out(1, "R-43");
    assert_eq!(line(yard.committer.submit_blocking(fact(&other))).seq, 1);
    assert!(matches!(yard.committer.submit_blocking(decision(&hold(1, "R-42", 1))), Outcome::IdReused { .. }));
    other["device"] = json!("H-3");
    let aside = written(yard.committer.submit_blocking(fact(&other)));
    assert_eq!((aside.seq, aside.kind), (2, "entry_set_aside.v1"));
    let again = line(yard.committer.submit_blocking(fact(&other)));
    assert_eq!((again.seq, again.id), (2, aside.id));
    let Body::SetAside(kept) = again.body else { panic!("{again:?}") };
    assert_eq!((kept.raw, kept.why.contains("entry 1")), (other.to_string(), true));
}

#[test]
fn a_fact_is_told_when_its_time_is_more_than_fifteen_minutes_away() {
    let bench = Bench::new();
    let yard = bench.open();
    let told_at = |number: u64, ms: i64| {
        bench.clock.set(START.plus_ms(ms));
        written(yard.committer.submit_blocking(fact(&taken_out(number, "R-42")))).told
    };
    assert!(!told_at(1, 15 * 60_000));
    assert!(told_at(2, 15 * 60_000 + 1));
    let mut early = taken_out(3, "R-42");
    early["occurred_at"] = json!("2026-05-06T08:31:00.001+02:00");
    assert!(written(yard.committer.submit_blocking(fact(&early))).told);
    early["id"] = taken_out(4, "R-42")["id"].clone();
    early["occurred_at"] = json!("2026-05-06T08:30:00.001+02:00");
    assert!(!written(yard.committer.submit_blocking(fact(&early))).told);
    assert!(yard.reader.line(3).unwrap().windows(12).any(|bytes| bytes == b"\"told\":true,"));
}

#[test]
fn told_is_measured_by_the_clock_also_when_it_was_set_back() {
    let bench = Bench::new();
    let yard = bench.open();
    let (recorded, now) = (START.plus_ms(20 * 60_000), START.plus_ms(12 * 60_000));
    for (number, clock, told) in [(1, recorded, true), (2, now, false)] {
        bench.clock.set(clock);
        let got = written(yard.committer.submit_blocking(fact(&taken_out(number, "R-42"))));
        assert_eq!((got.recorded_at, got.told), (recorded, told));
    }
}

#[test]
fn a_batch_is_one_group() {
    let bench = Bench::new();
    let yard = bench.open();
    for batch in 0..20 {
        let before = bench.hand.barriers.load(Ordering::SeqCst);
        let items = (0..100).map(|number| fact(&taken_out(batch * 100 + number, "R-42")).into()).collect();
        let outcomes = actix_web::rt::System::new().block_on(yard.committer.submit_all(items));
        let seqs = outcomes.into_iter().map(|outcome| written(outcome).seq);
        assert!(seqs.eq(batch * 100 + 1..=batch * 100 + 100));
        assert_eq!(bench.hand.barriers.load(Ordering::SeqCst), before + 1);
    }
}

#[test]
fn a_decision_that_shares_a_thing_waits_for_what_the_earlier_one_made_durable() {
    let bench = Bench::new();
    let yard = bench.open();
    bench.hand.hold();
    let first = hand_in(&yard.committer, fact(&taken_out(1, "R-1")));
    bench.hand.somebody_waits();
    let barriers = bench.hand.barriers.load(Ordering::SeqCst);
    let job = |number, job: &str, part: &str| {
        let at = "2026-05-09T08:00:00Z";
        let body = json!({"part": part, "stages": ["skin"], "lay_at": at, "oven_at": at});
        hand_in(&yard.committer, decision(&asked(number, "open_job", &format!("job/{job}"), 0, body)))
    };
    let answers = [job(2, "J-1", "P-1"), job(3, "J-1", "P-1"), job(4, "J-2", "P-2")];
    let last = hand_in(&yard.committer, fact(&taken_out(5, "R-2")));
    bench.hand.let_go();
    written(first.blocking_recv().unwrap());
    let [one, same, other] = answers.map(|answer| answer.blocking_recv().unwrap());
    assert_eq!((written(one).seq, written(other).seq), (2, 3));
    assert!(matches!(same, Outcome::Refused(Refusal::ChangedMeanwhile { based_on: 0, .. })), "{same:?}");
    assert_eq!(written(last.blocking_recv().unwrap()).seq, 4);
    // The held one, and one for all the others: a refusal leaves no trace.
    assert_eq!(bench.hand.barriers.load(Ordering::SeqCst), barriers + 2);
    assert_eq!(yard.reader.last_seq(), 4);
}

#[test]
fn a_decision_occurs_when_it_is_recorded() {
    let bench = Bench::new();
    let yard = bench.open();
    bench.clock.advance_ms(1_234);
    written(yard.committer.submit_blocking(decision(&hold(1, "R-42", 0))));
    let stored = Entry::read(&yard.reader.line(1).unwrap()).unwrap();
    assert_eq!((stored.occurred_at.at, stored.occurred_at.offset_s), (START.plus_ms(1_234), 0));
    assert_eq!(stored.based_on, Some(0));
}

fn strike(second: bool) -> (Written, Entry) {
    let bench = Bench::new();
    let yard = bench.open();
    let wrong = taken_out(1, "R-42");
    written(yard.committer.submit_blocking(fact(&wrong)));
    bench.clock.advance_ms(3_600_000);
    let body = json!({"entry": wrong["id"], "why": "it was R-24", "instead": taken_out(2, "R-24")});
    let mut item = asked(3, "strike", "roll/R-42", 1, body);
    if second {
        item["second"] = json!({"by": "B-2"});
    }
    let got = written(yard.committer.submit_blocking(decision(&item)));
    assert_eq!(line(yard.committer.submit_blocking(decision(&item))).seq, got.seq);
    // What stands instead is an entry like any other: sending it again is nothing new.
    assert_eq!(line(yard.committer.submit_blocking(fact(&taken_out(2, "R-24")))).seq, got.seq + 1);
    let instead = Entry::read(&yard.reader.line(got.instead_seq.unwrap()).unwrap()).unwrap();
    (got, instead)
}

#[test]
fn a_strike_and_what_stands_instead_are_two_lines_of_one_frame() {
    let (got, instead) = strike(true);
    assert_eq!((got.seq, got.instead_seq, got.kind), (2, Some(3), "entry_struck.v1"));
    assert_eq!((instead.seq, instead.recorded_at, instead.thing.code()), (3, got.recorded_at, "R-24"));
    assert!(!instead.told);
}

#[test]
fn a_strike_whose_replacement_has_a_known_id_is_refused() {
    let bench = Bench::new();
    let yard = bench.open();
    let [wrong, other] = [taken_out(1, "R-42"), taken_out(2, "R-24")];
    written(yard.committer.submit_blocking(fact(&wrong)));
    written(yard.committer.submit_blocking(fact(&other)));
    let body = json!({"entry": wrong["id"], "why": "w", "instead": other});
    let item = decision(&asked(3, "strike", "roll/R-42", 2, body));
    assert_eq!(line(yard.committer.submit_blocking(item)).seq, 2);
}

#[test]
fn after_a_failed_barrier_nothing_is_written_and_reads_go_on() {
    let bench = Bench::new();
    let yard = bench.open();
    let [kept, lost, late] = [taken_out(1, "R-1"), taken_out(2, "R-2"), taken_out(3, "R-3")];
    written(yard.committer.submit_blocking(fact(&kept)));
    bench.hand.barriers_fail.store(true, Ordering::SeqCst);
    assert!(matches!(yard.committer.submit_blocking(fact(&lost)), Outcome::Stopped { .. }));
    bench.hand.barriers_fail.store(false, Ordering::SeqCst);
    assert!(matches!(yard.committer.submit_blocking(fact(&late)), Outcome::Stopped { .. }));
    assert!(matches!(yard.committer.submit_blocking(decision(&hold(4, "R-1", 1))), Outcome::Stopped { .. }));
    assert!(yard.committer.waits().unwrap().contains("the barrier failed"));
    assert_eq!(line(yard.committer.submit_blocking(fact(&kept))).seq, 1);
    assert_eq!((yard.read().last_seq(), yard.reader.last_seq()), (1, 1));
    yard.close();
    // It reached the disk or it did not; asking again with the same id is safe.
    let yard = bench.open();
    let before = yard.read().last_seq();
    let outcome = yard.committer.submit_blocking(fact(&lost));
    assert_eq!(matches!(outcome, Outcome::Already { .. }), before == 2, "{outcome:?}");
    assert_eq!(yard.read().last_seq(), 2);
}

#[test]
fn a_full_disk_refuses_and_writing_goes_on_by_itself_when_there_is_space() {
    let bench = Bench { segment_bytes: 16 << 10, ..Bench::new() };
    let mut options = bench.options();
    options.journal.upkeep = Upkeep::InBackground;
    options.journal.retry = Duration::from_millis(1);
    let yard = Yard::open(bench.folder.path(), options).unwrap();
    bench.hand.is_full.store(true, Ordering::SeqCst);
    let mut refused = None;
    for number in 1..1_000 {
        match yard.committer.submit_blocking(fact(&taken_out(number, "R-42"))) {
            Outcome::Written(_) => {}
            Outcome::NoSpace { .. } => {
                refused = Some(number);
                break;
            }
            other => panic!("{other:?}"),
        }
    }
    let refused = refused.unwrap();
    assert_eq!(yard.reader.last_seq(), refused - 1);
    assert_eq!(yard.read().last_seq(), refused - 1);
    assert_eq!(line(yard.committer.submit_blocking(fact(&taken_out(1, "R-42")))).seq, 1);
    bench.hand.is_full.store(false, Ordering::SeqCst);
    let mut outcome = yard.committer.submit_blocking(fact(&taken_out(refused, "R-42")));
    while matches!(outcome, Outcome::NoSpace { .. }) {
        std::thread::yield_now();
        outcome = yard.committer.submit_blocking(fact(&taken_out(refused, "R-42")));
    }
    assert_eq!(written(outcome).seq, refused);
}

fn jumped(bench: &Bench) -> Option<ClockJump> {
    let yard = bench.open();
    let number = 1_000 + yard.read().last_seq();
    match yard.committer.submit_blocking(fact(&taken_out(number, "R-42"))) {
        Outcome::Written(_) => None,
        Outcome::ClockJumped(jump) => {
            assert_eq!(yard.committer.waits(), Some(jump.to_string()));
            Some(jump)
        }
        other => panic!("{other:?}"),
    }
}

const MINUTE: i64 = 60_000;

#[test]
fn a_clock_far_from_the_last_entry_at_a_start_waits_for_a_person() {
    let bench = Bench::new();
    assert_eq!(jumped(&bench), None);
    bench.clock.set(START.minus_ms(10 * MINUTE));
    assert_eq!(jumped(&bench), None);
    bench.clock.set(START.minus_ms(10 * MINUTE + 1));
    assert_eq!(jumped(&bench), Some(ClockJump::Behind(10 * MINUTE + 1)));
    bench.clock.set(START.plus_ms(24 * 60 * MINUTE + 1));
    assert_eq!(jumped(&bench), Some(ClockJump::Ahead(24 * 60 * MINUTE + 1)));
    bench.clock.set(START.plus_ms(24 * 60 * MINUTE));
    assert_eq!(jumped(&bench), None);
}

#[test]
fn a_clock_that_jumps_while_it_runs_waits_for_a_person() {
    for (ms, jump) in [(20 * MINUTE, ClockJump::Jumped(20 * MINUTE)), (-20 * MINUTE, ClockJump::Jumped(-20 * MINUTE))] {
        let bench = Bench::new();
        let yard = bench.open();
        written(yard.committer.submit_blocking(fact(&taken_out(1, "R-42"))));
        bench.clock.jump_ms(ms);
        assert_eq!(yard.committer.submit_blocking(fact(&taken_out(2, "R-42"))), Outcome::ClockJumped(jump));
    }
    let bench = Bench::new();
    let yard = bench.open();
    written(yard.committer.submit_blocking(fact(&taken_out(1, "R-42"))));
    bench.clock.advance_ms(-11 * MINUTE);
    let waits = Outcome::ClockJumped(ClockJump::Behind(11 * MINUTE));
    assert_eq!(yard.committer.submit_blocking(fact(&taken_out(2, "R-42"))), waits);
    // Coming back is not enough: somebody has to look.
    bench.clock.advance_ms(11 * MINUTE);
    assert_eq!(yard.committer.submit_blocking(fact(&taken_out(2, "R-42"))), waits);
    assert_eq!(line(yard.committer.submit_blocking(fact(&taken_out(1, "R-42")))).seq, 1);
}

#[test]
fn a_checked_clock_is_written_down_and_believed_and_times_still_never_fall() {
    let bench = Bench::new();
    assert_eq!(jumped(&bench), None);
    bench.clock.advance_ms(-30 * MINUTE);
    let mut options = bench.options();
    options.clock_checked = true;
    let yard = Yard::open(bench.folder.path(), options).unwrap();
    let checked = Entry::read(&yard.reader.line(2).unwrap()).unwrap();
    assert_eq!(checked.body, Body::ClockChecked(shared_types::ClockChecked { behind_s: 1_800 }));
    assert_eq!((checked.by.as_str(), checked.recorded_at), ("LOG", START));
    let got = written(yard.committer.submit_blocking(fact(&taken_out(9, "R-42"))));
    assert_eq!((got.seq, got.recorded_at), (3, START));
}

#[test]
fn async_handlers_get_their_answers_in_order_and_wait_while_too_much_waits() {
    let bench = Bench::new();
    let yard = bench.open();
    bench.hand.hold();
    let first = hand_in(&yard.committer, fact(&taken_out(1, "R-1")));
    bench.hand.somebody_waits();
    let items: Vec<Value> = (2..2_502).map(|number| taken_out(number, "R-1")).collect();
    let hand = bench.hand.clone();
    let outcomes = actix_web::rt::System::new().block_on(async {
        let committer = yard.committer.clone();
        let items: Vec<Item> = items.iter().map(|item| fact(item).into()).collect();
        let batch = actix_web::rt::spawn(async move { committer.submit_all(items).await });
        // It runs until there is no room any more.
        actix_web::rt::task::yield_now().await;
        hand.let_go();
        batch.await.unwrap()
    });
    written(first.blocking_recv().unwrap());
    let seqs: Vec<u64> = outcomes.into_iter().map(|outcome| written(outcome).seq).collect();
    assert_eq!(seqs, (2..2_502).collect::<Vec<u64>>());
}

#[test]
fn what_waits_when_the_server_stops_is_written_and_what_comes_later_is_told_so() {
    let bench = Bench::new();
    let yard = bench.open();
    let committer = yard.committer.clone();
    bench.hand.hold();
    let first = hand_in(&committer, fact(&taken_out(1, "R-1")));
    bench.hand.somebody_waits();
    let second = hand_in(&committer, fact(&taken_out(2, "R-1")));
    let closing = std::thread::spawn(move || yard.close());
    bench.hand.let_go();
    closing.join().unwrap();
    assert_eq!(written(first.blocking_recv().unwrap()).seq, 1);
    assert_eq!(written(second.blocking_recv().unwrap()).seq, 2);
    assert!(matches!(committer.submit_blocking(fact(&taken_out(3, "R-1"))), Outcome::Stopped { .. }));
    assert_eq!(bench.open().read().last_seq(), 2);
}

#[test]
fn a_take_is_at_most_five_hundred_and_twelve_lines_and_one_mebibyte() {
    let bench = Bench::new();
    let yard = bench.open();
    bench.hand.hold();
    let first = hand_in(&yard.committer, fact(&taken_out(1, "R-1")));
    bench.hand.somebody_waits();
    let barriers = bench.hand.barriers.load(Ordering::SeqCst);
    let mut big = taken_out(0, "R-1");
    big["device"] = json!("H-3");
    big["body"] = json!({"unreadable": vec!["x".repeat(1_500); 40]});
    let answers: Vec<_> = (2..42)
        .map(|number| {
            big["id"] = taken_out(number, "R-1")["id"].clone();
            hand_in(&yard.committer, fact(&big))
        })
        .collect();
    bench.hand.let_go();
    written(first.blocking_recv().unwrap());
    for answer in answers {
        assert_eq!(written(answer.blocking_recv().unwrap()).kind, "entry_set_aside.v1");
    }
    // 40 lines of 60 kB are 2.4 MB: three groups, after the held one.
    assert_eq!(bench.hand.barriers.load(Ordering::SeqCst), barriers + 4);
}
