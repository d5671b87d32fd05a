//! What is not sure takes and never gives: a clock that may be wrong by more never leaves more life, and what was told
//! and waits counts for what it takes.

use crate::look::*;
use crate::random::*;
use crate::scene::{Scene, stamp, thing};
use domain::{MayUseQuestion, When};
use proptest::prelude::*;
use shared_types::Settlement::*;
use shared_types::*;

fn stored() -> Scene {
    Scene::yard().stored("R-1", "Mon 06:00")
}

/// Out on Tuesday at 06:00, put away at 06:20, and put away again on Thursday where it was.
fn put_away_again(unsure_minutes: u32) -> Scene {
    let scene = stored().out("R-1", "Tue 06:00").uncertain(unsure_minutes).put_away("R-1", "F1", "Tue 06:20");
    scene.named("first").put_away("R-1", "F1", "Thu 06:00").named("again")
}

#[test]
fn an_unsure_clock_gives_no_life_that_a_sure_one_takes() {
    // With a sure clock the second put-away is one where it was already: 20 min, and out since Tuesday 06:20, running on.
    put_away_again(0).look("R-1", "Fri 06:00").out_time_is("72:00").mismatches_are(&["in_while_in"]);
    // Out since 05:30 at the earliest, and running on past the second put-away as well.
    let unsure = put_away_again(30);
    let both = ["put_away_not_after_take_out", "in_while_in"];
    unsure.look("R-1", "Fri 06:00").out_time_is("72:30").mismatches_are(&both);
    // It is in once it was surely taken out before it was put away.
    let known = unsure.out("R-1", "Fri 06:00").put_away("R-1", "F1", "Fri 07:00");
    known.look("R-1", "Sat 07:00").out_time_is("73:30");
}

#[test]
fn an_unsure_put_away_does_not_keep_the_clock_running_past_another_place() {
    // 05:30 on Tuesday to 06:00 on Thursday, with a sure clock as with an unsure one.
    let scene = stored().out("R-1", "Tue 06:00").uncertain(30).put_away("R-1", "F1", "Tue 06:20");
    scene.put_away("R-1", "F2", "Thu 06:00").look("R-1", "Fri 06:00").out_time_is("48:30");
}

#[test]
fn what_somebody_said_of_an_unsure_put_away_settles_it() {
    // Away at 06:45 on Tuesday; then the scan on Thursday was carried over in 10 min.
    let at = PutAwayAt(stamp("Tue 06:45"));
    let scene = put_away_again(30).settle("first", "put_away_not_after_take_out", at, "Fri 06:00");
    scene.look("R-1", "Fri 06:00").out_time_is("72:30");
    let carried = || CarriedOverS(600.try_into().unwrap());
    let scene = scene.settle("again", "in_while_in", carried(), "Fri 06:10");
    scene.look("R-1", "Fri 06:30").out_time_is("1:25");
    // Of the scan on Thursday alone: it was in by then, whether the first one counted or not.
    let scene = put_away_again(30).settle("again", "in_while_in", carried(), "Fri 06:00");
    scene.look("R-1", "Fri 06:30").out_time_is("48:30");
}

#[test]
fn an_unsure_put_away_is_a_return_to_the_cold_and_two_readings_of_one_are_one() {
    // Out for an hour at most when it was put away: a return, though the clock runs on.
    let first = stored().out("R-1", "Tue 06:00").uncertain(30).put_away("R-1", "F1", "Tue 06:20").uncertain(15);
    first.look("R-1", "Wed 06:00").returns_are(1);
    // Either it came back on Tuesday or on Thursday.
    first.clone().put_away("R-1", "F1", "Thu 06:00").look("R-1", "Fri 06:00").returns_are(1);
    // In another place it may have come back both times.
    first.put_away("R-1", "F2", "Thu 06:00").look("R-1", "Fri 06:00").returns_are(2);
}

#[test]
fn a_commit_is_confirmed_by_no_clock_that_is_less_sure() {
    let scene = |start: u32, read: u32, committed: &str| {
        let scene =
            stored().out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00").laid("P-1", "K-1", "Tue 10:00");
        let scene = scene.oven("RUN-1", &["P-1"], "Tue 12:00").uncertain(start);
        scene.ended("RUN-1", "Tue 20:00").committed(committed).uncertain(read).look("P-1", "Thu 12:00")
    };
    for (committed, confirmed) in [("Tue 14:00", true), ("Tue 11:50", false), ("Tue 20:10", false)] {
        for (start, read) in [(0, 0), (30, 0), (0, 30)] {
            let row = scene(start, read, committed).stage_row("skin", Out);
            assert_eq!(row.runs, !confirmed, "{committed} {start} {read}");
        }
    }
}

#[test]
fn a_told_put_away_where_it_was_counts_as_out_until_somebody_says_what_it_was() {
    // If that is so, it is out since Monday 06:00; if not, it is in.
    let scene = stored().put_away("R-1", "F1", "Tue 06:00").told().named("told");
    scene.look("R-1", "Tue 08:00").out_time_is("26:00").mismatches_are(&["in_while_in"]);
    let settled = scene.clone().settle("told", "in_while_in", OutSince(stamp("Tue 05:00")), "Wed 06:00");
    settled.look("R-1", "Tue 08:00").out_time_is("1:00");
    scene.clone().strike("told", "Wed 06:00").look("R-1", "Tue 08:00").out_time_is("0:00");
    // Scanned where it was, it is a question of its own: out since Monday in either reading.
    scene.put_away("R-1", "F1", "Tue 09:00").look("R-1", "Tue 12:00").out_time_is("30:00");
}

#[test]
fn a_told_put_away_in_another_place_counts_as_out_up_to_then() {
    let scene = stored().put_away("R-1", "F2", "Tue 06:00").told().named("told");
    let look = scene.look("R-1", "Tue 08:00");
    look.out_time_is("24:00").mismatches_are(&["in_while_in_elsewhere"]).returns_are(1);
    look.says("R-1 is in F1 since Mon 06:00.");
    // Nobody knows in which of the two it is, so a scan in either may have been a take-out.
    for place in ["F1", "F2"] {
        scene.clone().put_away("R-1", place, "Tue 09:00").look("R-1", "Tue 12:00").out_time_is("30:00");
    }
    scene.confirm("told", "Wed 06:00").look("R-1", "Tue 12:00").out_time_is("24:00").returns_are(1);
}

#[test]
fn a_told_put_away_makes_the_next_scan_of_one_a_question() {
    // Nothing is given for what was told at 07:00; and if it is so, the scan at 09:00 was one where it was already.
    let scene = stored().out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 07:00").told().named("told");
    let scene = scene.put_away("R-1", "F1", "Tue 09:00").named("scan");
    scene.look("R-1", "Tue 12:00").out_time_is("6:00").mismatches_are(&["in_while_in"]).returns_are(1);
    let settled = scene.clone().settle("scan", "in_while_in", PutAwayAt(stamp("Tue 09:00")), "Wed 06:00");
    settled.look("R-1", "Tue 12:00").out_time_is("3:00");
    scene.strike("told", "Wed 06:00").look("R-1", "Tue 12:00").out_time_is("3:00").no_mismatch();
}

#[test]
fn a_told_return_beyond_the_count_refuses_until_it_is_confirmed_or_struck() {
    let days = ["Tue", "Wed", "Thu"];
    let scene = days.iter().fold(stored(), |scene, day| {
        scene.out("R-1", &format!("{day} 06:00")).put_away("R-1", "F1", &format!("{day} 07:00"))
    });
    let told = scene.clone().out("R-1", "Fri 06:00").put_away("R-1", "F1", "Fri 07:00").told().named("told");
    scene.may(TakeOut, "R-1", "Fri 08:00").answer(Yes);
    told.may(Cut, "R-1", "Fri 08:00").answer(No).governed_by(Returns);
    told.strike("told", "Fri 09:00").may(Cut, "R-1", "Fri 08:00").answer(Yes);
}

#[test]
fn a_told_sighting_elsewhere_counts_as_out_up_to_then_and_one_where_it_is_takes_nothing() {
    let elsewhere = stored().seen("R-1", "F2", "Tue 06:00").told();
    elsewhere.look("R-1", "Tue 08:00").out_time_is("24:00").mismatches_are(&["in_while_in_elsewhere"]).returns_are(0);
    stored().seen("R-1", "F1", "Tue 06:00").told().look("R-1", "Tue 08:00").out_time_is("0:00").no_mismatch();
}

#[test]
fn what_somebody_said_of_one_reading_settles_nothing_in_another() {
    // Seen in F2 while out: it was put there at 08:00, says somebody. If the told one is so, it lay in F1 since 07:00 and
    // came into F2 without having been taken out: out until it was seen there.
    let scene = stored().out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 07:00").told().named("told");
    let scene = scene.seen("R-1", "F2", "Wed 06:00").named("seen");
    let scene = scene.settle("seen", "seen_inside_while_out", PutAwayAt(stamp("Tue 08:00")), "Wed 07:00");
    scene.look("R-1", "Thu 06:00").out_time_is("24:00");
    scene.strike("told", "Wed 08:00").look("R-1", "Thu 06:00").out_time_is("2:00");
}

#[test]
fn a_told_take_out_counts_though_the_put_away_before_it_is_charged_to_its_latest() {
    // Put away at 08:00, at 09:00 at the latest; told to be out again at 08:30, and it stays out.
    let scene = stored().out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 08:00").uncertain(60);
    scene.out("R-1", "Tue 08:30").told().look("R-1", "Tue 12:00").out_time_is("6:00");
}

#[test]
fn a_told_take_out_makes_no_roll_usable_that_is_held_by_its_lay_up() {
    // Planned to be laid on Thursday at 12:00; known to be held from Wednesday on.
    let needs = vec![Need { material: crate::scene::code("PM-101"), length_mm: crate::scene::millimetres(30) }];
    let plan = Job { needs, ..crate::facts::plan("P-2", "Thu 12:00", "Fri 12:00") };
    let scene = stored().declares("J-2", Body::JobOpened(plan)).hold("R-1", "Wed 06:00");
    let short = |scene: &Scene| {
        let question = domain::TakeOutQuestion { until: Some(stamp("Sat 06:00").at), when: when("Tue 12:00") };
        let list = domain::take_out_list(&scene.book(), &question);
        (list.short.iter().map(|one| one.usable_mm).collect::<Vec<_>>(), list.lines.len())
    };
    assert_eq!(short(&scene), (vec![0], 0));
    assert_eq!(short(&scene.clone().out("R-1", "Tue 06:00").told()), (vec![0], 0));
    assert_eq!(short(&scene.out("R-1", "Tue 06:00")), (vec![0], 0));
}

/// Seconds or counts left of each limit, and the word of the answer for each act.
#[derive(Debug)]
struct Standing {
    of: String,
    words: Vec<(Act, Word)>,
    left: Vec<(LimitName, i64)>,
}

fn standing(scene: &Scene, at: Instant) -> Vec<Standing> {
    let (book, when) = (scene.book(), When::now(at));
    let left_of = |rows: &[LimitRow]| {
        let left = rows.iter().filter_map(|row| Some((row.limit, row.left_s.or(row.left)?)));
        let if_never = rows.iter().filter_map(|row| Some((row.limit, row.left_s_if_never_started?)));
        left.chain(if_never).collect::<Vec<_>>()
    };
    let of = |name: &&str| {
        let label = thing(name);
        let view = domain::thing_view(&book, &label, when)?;
        let acts: &[Act] = if label.kind() == Kind::Part { &[Lay, Oven] } else { &[TakeOut, Cut, Lay, Oven] };
        let words = acts.iter().filter_map(|act| {
            let question = MayUseQuestion { thing: label.clone(), act: *act, job: None, stage: None, when };
            Some((*act, domain::may_use(&book, &question).ok()?.answer))
        });
        let rows: Vec<LimitRow> =
            view.limits.into_iter().chain(view.stages.into_iter().flat_map(|one| one.limits)).collect();
        Some(Standing { of: (*name).to_owned(), words: words.collect(), left: left_of(&rows) })
    };
    ["R-1", "R-2", "K-1", "K-2", "P-1"].iter().filter_map(of).collect()
}

/// No answer of the second moved towards yes, and no limit of it has more left.
fn no_more(before: &Standing, after: &Standing, said: &str) -> Result<(), TestCaseError> {
    for (before, after) in before.words.iter().zip(&after.words) {
        prop_assert!(before <= after, "{said}: {before:?} became {after:?}");
    }
    for ((limit, before), (other, left)) in before.left.iter().zip(&after.left) {
        prop_assert_eq!(limit, other);
        prop_assert!(left <= before, "{said}: of {limit:?} {before} became {left}");
    }
    Ok(())
}

proptest! {
    #![proptest_config(cases(300))]

    #[test]
    fn a_clock_that_is_less_sure_leaves_no_more(ops in ops(20), which in 0..60_usize, wider in 0..3_usize, minute in 0..16_000_i64) {
        // What somebody settled because of a clock settles nothing where the mismatch is another.
        let ops: Vec<Op> = ops.into_iter().filter(|op| op.kind != 25).collect();
        let exact = yard(&ops);
        let mut wide = exact.clone();
        let which = which % wide.entries.len();
        let entry = &mut wide.entries[which];
        entry.uncertain_by_ms += [60_000, 1_800_000, 7_200_000][wider];
        let said = format!("{} {} {:?}", entry.thing, entry.occurred_at, entry.body);
        let (exact, wide) = (standing(&exact, at_minute(minute)), standing(&wide, at_minute(minute)));
        for (exact, wide) in exact.into_iter().zip(wide) {
            no_more(&exact, &wide, &said)?;
        }
    }

    #[test]
    fn what_was_told_counts_as_the_worse_of_having_been_and_not(ops in ops(20), told in op(), minute in 0..16_000_i64) {
        // Take-outs that were only told are read with and without at once, for what they make of returns: more than either.
        let scanned = |op: Op| Op { told: op.told && 4 < op.kind, ..op };
        let ops: Vec<Op> = ops.into_iter().filter(|op| op.kind != 25).map(scanned).collect();
        let without = with_its_places(yard(&ops));
        // Put away or seen inside; a take-out that was told inside a stretch that is out anyway changes nothing.
        let told = happens(without.clone(), &Op { kind: 5 + told.kind % 7, place: told.place % 2, told: true, ..told });
        let confirmed = told.clone().second("B-9");
        let told_now = standing(&told, at_minute(minute));
        for other in [&without, &confirmed] {
            let other = standing(other, at_minute(minute));
            for (told, other) in told_now.iter().filter_map(|told| Some((told, other.iter().find(|one| one.of == told.of)?))) {
                no_more(other, told, &told.of)?;
            }
        }
    }
}
