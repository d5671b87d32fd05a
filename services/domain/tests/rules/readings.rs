//! Many facts that may have been or not: more ways to read them than are kept apart. Where readings are put together, what
//! is said must still be no kinder than any of them: each way is made the only one by confirming or striking what was told.

use crate::random::{at_minute, cases};
use crate::scene::{Scene, place, stamp, thing};
use domain::When;
use proptest::prelude::*;
use shared_types::*;

/// R-1 in F1; in F3 it would be in the rack 10 min after the scan at the door.
fn with_slow_f3() -> Scene {
    let slow = Place { rack_s: Some(600.try_into().unwrap()), ..place("F3", true) };
    Scene::yard().declares("place/F3", Body::PlaceDeclared(slow)).stored("R-1", "Mon 06:00")
}

#[test]
fn what_a_person_says_puts_it_back_where_it_was_in_each_reading() {
    let scene =
        with_slow_f3().put_away("R-1", "F3", "Tue 05:00").told().out("R-1", "Tue 06:00").out("R-1", "Tue 08:00");
    let scene = scene.named("again");
    let away = Settlement::PutAwayAt(stamp("Tue 07:00"));
    let scene = scene.settle("again", "out_while_out", away, "Tue 09:00");
    // If it came to F3: out until 05:10 on Tuesday, then 06:00 to 07:10, and from 08:00 on.
    scene.look("R-1", "Tue 09:00").out_time_is("25:20");
}

#[test]
fn where_it_was_not_before_is_another_question_than_where_it_was() {
    // Nobody knows where it was before, or it was in F1: then what somebody says of the second take-out is a return.
    let scene = Scene::yard().put_away("R-1", "F1", "Tue 05:00").told().out("R-1", "Tue 06:00");
    let scene = scene.received("R-1", "Tue 07:00").out("R-1", "Tue 12:00").named("again");
    let away = Settlement::PutAwayAt(stamp("Tue 08:00"));
    scene.settle("again", "out_while_out", away, "Wed 06:00").look("R-1", "Tue 13:00").returns_are(1);
}

#[test]
fn a_scan_elsewhere_is_not_swallowed_because_somebody_named_a_put_away() {
    // Seen in F2 while out: put there at 07:50. If it was taken to F1 at 08:10, it came back to F2 by 08:20.
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 05:00");
    let scene = scene.put_away("R-1", "F1", "Tue 08:10").told().seen("R-1", "F2", "Tue 08:20").named("seen");
    let scene = scene.settle("seen", "seen_inside_while_out", Settlement::PutAwayAt(stamp("Tue 07:50")), "Tue 09:00");
    // 05:00 to 07:50, to 08:10, and to 08:20.
    scene.look("R-1", "Wed 06:00").out_time_is("3:20");
}

#[test]
fn a_scan_that_is_odd_in_one_reading_alone_brings_no_other_roll_back() {
    // R-1 came into F2 at 08:00 after a take-out, or had come to F1 at 07:30 as told: then the scan is odd. Said to be R-2's,
    // it is so only where it is odd, and R-2 stays out.
    let scene = Scene::yard().stored("R-1", "Mon 06:00").stored("R-2", "Mon 06:00").out("R-2", "Tue 06:00");
    let scene = scene.out("R-1", "Tue 07:00").put_away("R-1", "F1", "Tue 07:30").told();
    let scene = scene.put_away("R-1", "F2", "Tue 08:00").named("scan");
    let scene = scene.settle("scan", "in_while_in_elsewhere", Settlement::Other(thing("R-2")), "Wed 06:00");
    scene.look("R-2", "Tue 12:00").out_time_is("6:00");
}

/// One scan or word about the roll, so many minutes after the one before.
#[derive(Clone, Copy, Debug)]
struct Turn {
    after: i64,
    kind: u8,
    place: usize,
    told: bool,
    unsure: u32,
    /// Where everything is made sure: it was so.
    was_so: bool,
}

const PLACES: [&str; 5] = ["F1", "F2", "F3", "F4", "CUT"];

fn turns() -> impl Strategy<Value = Vec<Turn>> {
    let minutes = prop_oneof![1..40_i64, 20..400_i64];
    let unsure = prop_oneof![3 => Just(0_u32), 1 => 1..90_u32];
    let turn = (minutes, 0..10_u8, 0..8_usize, 0..10_u8, unsure, any::<bool>());
    let turn = turn.prop_map(|(after, kind, place, told, unsure, was_so)| Turn {
        after,
        kind,
        // Mostly the two that are nearest.
        place: if place < 5 { place } else { place % 2 },
        told: told < 6,
        unsure,
        was_so,
    });
    prop::collection::vec(turn, 4..40)
}

/// The yard in which all of it happened as `becomes` says: told or not, or not at all.
fn yard(turns: &[Turn], becomes: impl Fn(&Turn, bool) -> Option<bool>) -> Scene {
    let declared = ["F3", "F4"].into_iter().fold(Scene::yard(), |scene, name| {
        scene.declares(&format!("place/{name}"), Body::PlaceDeclared(place(name, true)))
    });
    let (mut scene, mut minute) = (declared.stored("R-1", "Mon 06:00"), 0);
    for (turn, id) in turns.iter().zip(1_000..) {
        minute += turn.after;
        let moves_back = 3 < turn.kind && PLACES[turn.place] != "CUT";
        let Some(told) = becomes(turn, moves_back) else { continue };
        scene = match turn.kind {
            0..=3 => scene.out("R-1", "Mon 06:00"),
            4..=7 => scene.put_away("R-1", PLACES[turn.place], "Mon 06:00"),
            _ => scene.seen("R-1", PLACES[turn.place], "Mon 06:00"),
        };
        scene = scene.uncertain(turn.unsure).with_id(id).change(|entry| {
            entry.occurred_at.at = at_minute(minute);
            // Written when all was over: nothing happens after it was written.
            entry.recorded_at = at_minute(16_001).plus_ms(i64::try_from(id).unwrap());
            entry.told = told;
        });
    }
    scene
}

/// Out-time and returns so far.
fn so_far(scene: &Scene, minute: i64) -> (i64, i64) {
    let view = domain::thing_view(&scene.book(), &thing("R-1"), When::now(at_minute(minute))).unwrap();
    let of = |limit: LimitName| {
        let row = view.limits.iter().find(|row| row.limit == limit).unwrap();
        row.so_far_s.or(row.so_far).unwrap()
    };
    (of(LimitName::OutLife), of(LimitName::Refreezes))
}

proptest! {
    #![proptest_config(cases(200))]

    #[test]
    fn many_readings_are_as_careful_as_each_of_them(turns in turns(), minute in 0..9_000_i64) {
        let open = so_far(&yard(&turns, |turn, moves_back| Some(turn.told && moves_back)), minute);
        let was_so = |turn: &Turn, moves_back: bool| (turn.was_so || !turn.told || !moves_back).then_some(false);
        let sure = so_far(&yard(&turns, was_so), minute);
        prop_assert!(sure.0 <= open.0, "out {} s, and {} s if all were sure", open.0, sure.0);
        prop_assert!(sure.1 <= open.1, "{} returns, and {} if all were sure", open.1, sure.1);
    }

    #[test]
    fn of_many_told_moves_none_gives_anything_back(turns in turns(), minute in 0..9_000_i64) {
        let moves = |turn: &Turn, moves_back: bool| turn.told && (moves_back || turn.kind < 4);
        let all = so_far(&yard(&turns, |turn, moves_back| Some(moves(turn, moves_back))), minute);
        let only = |turn: &Turn, moves_back: bool| {
            let told = moves(turn, moves_back);
            (turn.was_so || !told).then_some(told)
        };
        let fewer = so_far(&yard(&turns, only), minute);
        prop_assert!(fewer.0 <= all.0, "out {} s, and {} s where less was told", all.0, fewer.0);
        // Of returns more may be counted than any one reading has, so they are compared with what is sure.
        let sure = |turn: &Turn, moves_back: bool| (!moves(turn, moves_back) || turn.was_so && moves_back).then_some(false);
        let sure = so_far(&yard(&turns, sure), minute);
        prop_assert!(sure.1 <= all.1, "{} returns, and {} if all were sure and none taken out", all.1, sure.1);
    }
}
