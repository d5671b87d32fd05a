//! What contradicts itself is said, and never believed where that would give back: the careful reading counts until a
//! person has said what is right. No source: the rules are the yard's own.

use crate::look::*;
use crate::scene::{Scene, code, stamp, thing};
use shared_types::*;

/// Out on Tuesday at 06:00, laid in P-1 at 10:00, in the oven since 12:00.
fn in_oven() -> Scene {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    let scene = scene.cut("N-1", "R-1", "K-1", "Tue 08:00").laid("P-1", "K-1", "Tue 10:00");
    scene.oven("RUN-1", &["P-1"], "Tue 12:00")
}

#[test]
fn a_cure_said_to_be_under_way_before_its_start_or_a_day_after_confirms_nothing() {
    // 24 h is what a start waits for its record: one under way later had lapsed by then.
    let committed = |at: &str| in_oven().ended("RUN-1", "Sun 12:00").committed(at).named("end");
    for (at, how) in [
        ("Tue 11:59", "1 min before its start"),
        ("Wed 12:01", "24 h 1 min after its start, 24 h at most are believed"),
        ("Sat 05:00", "89 h after its start, 24 h at most are believed"),
    ] {
        let scene = committed(at);
        for of in ["RUN-1", "P-1"] {
            let look = scene.look(of, "Sun 12:00");
            look.mismatches_are(&["commit_outside_run"]);
            let mismatch = look.mismatch("commit_outside_run");
            assert_eq!(mismatch.entry, scene.id("end"));
            assert!(mismatch.say.contains(how), "{}", mismatch.say);
            assert!(mismatch.ask.unwrap().contains("Strike what is wrong"));
        }
        // Out since Tuesday 06:00: 126 h by Sunday noon, of 200.
        scene.look("P-1", "Sun 12:00").stage_left_is("skin", Out, "74:00");
        let install = domain::may_install(&scene.book(), &thing("P-1"), None, when("Sun 13:00")).unwrap();
        assert_ne!(install.answer, Yes);
    }
    // Inclusive, as the wait itself is.
    committed("Wed 12:00").look("P-1", "Sun 12:00").no_mismatch().stage_left_is("skin", Out, "194:00");
}

#[test]
fn two_who_looked_into_a_late_commit_let_it_stand_and_nobody_lets_one_before_the_start() {
    let settled = |at: &str| {
        let scene = in_oven().ended("RUN-1", "Sun 12:00").committed(at).named("end");
        scene.settle("end", "commit_outside_run", Settlement::LookedInto(true), "Sun 13:00").second("B-2")
    };
    settled("Wed 14:00").look("P-1", "Sun 14:00").stage_left_is("skin", Out, "194:00");
    settled("Tue 11:00").look("P-1", "Sun 14:00").stage_left_is("skin", Out, "72:00");
    let scene = in_oven().ended("RUN-1", "Sun 12:00").committed("Wed 14:00").named("end");
    let answer = Settlement::LookedInto(true);
    let body = Settle {
        why: Some("the chart".to_owned()),
        ..crate::facts::settling("commit_outside_run", scene.id("end"), answer)
    };
    let wish = scene.wish("RUN-1", Body::MismatchSettled(body));
    wish.at("Sun 13:00").needs_a_second("P-1 gets back 121 h of out-life");
}

#[test]
fn a_time_that_its_device_does_not_say_gives_nothing_back_until_somebody_confirms_it() {
    let out = || Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    let said = |at: &'static str| move |entry: &mut Entry| entry.device_said = Some(stamp(at));
    let back = |at: &'static str| out().put_away("R-1", "F1", "Tue 07:00").change(said(at)).named("back");
    // Within a quarter of an hour it is the moment at which it was made.
    back("Tue 07:15").look("R-1", "Tue 12:00").out_time_is("1:00").no_mismatch();
    for at in ["Tue 07:16", "Tue 06:44", "Wed 07:00", "0001-01-01T00:00:00Z"] {
        let scene = back(at);
        let look = scene.look("R-1", "Tue 12:00");
        look.out_time_is("6:00").mismatches_are(&["device_said_otherwise"]);
        assert_eq!(look.mismatch("device_said_otherwise").entry, scene.id("back"));
        assert_eq!(look.view().to_confirm.len(), 1);
        scene.wish_confirm("back").by("B-2").is_granted();
        scene.confirm("back", "Tue 12:00").by("B-2").look("R-1", "Tue 12:00").out_time_is("1:00").no_mismatch();
    }
    // Told of what is past, or as unsure as that, it is explained.
    back("Tue 08:00").told().look("R-1", "Tue 12:00").no_mismatch();
    back("Tue 07:20").uncertain(20).look("R-1", "Tue 12:00").no_mismatch();
    back("Tue 06:00").told().look("R-1", "Tue 12:00").mismatches_are(&["device_said_otherwise"]);
    // What takes counts at once.
    let taken = out().put_away("R-1", "F1", "Tue 07:00").out("R-1", "Tue 08:00").change(said("Wed 08:00"));
    taken.look("R-1", "Tue 12:00").out_time_is("5:00");
}

#[test]
fn of_an_enrolled_device_the_log_says_what_was_told() {
    // Its clock is an hour off, and the log has put that right: what it wrote down counts.
    let back = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 07:00");
    let said = |entry: &mut Entry| entry.device_said = Some(stamp("Tue 08:00"));
    let scanned = back.device("H-3", 1).change(said);
    scanned.clone().look("R-1", "Tue 12:00").out_time_is("1:00").no_mismatch();
    scanned.clone().told().look("R-1", "Tue 12:00").out_time_is("6:00").no_mismatch();
    let claimed = scanned.change(|entry| entry.device_known = Some(KnownBy::Claimed));
    claimed.look("R-1", "Tue 12:00").out_time_is("6:00").mismatches_are(&["device_said_otherwise"]);
}

#[test]
fn a_first_ply_before_there_was_anything_to_lay_is_a_mismatch_and_counts_as_said() {
    let scene = || Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    let kit = || scene().cut("N-1", "R-1", "K-1", "Tue 08:00").laid("P-1", "K-1", "Tue 10:00");
    kit().begun_at("Tue 08:00").look("P-1", "Tue 12:00").no_mismatch();
    let year_1 = |entry: &mut Entry| {
        if let Body::PliesLaid(laid) = &mut entry.body {
            laid.from_at = Some(Stamp::parse("0001-01-01T00:00:00Z").unwrap());
        }
    };
    let roll = || scene().laid("P-1", "R-1", "Tue 10:00").length(1);
    for (scene, how) in [
        (kit().begun_at("Tue 07:59"), "but K-1 was cut only Tue 5 May 2026 08:00."),
        (kit().change(year_1), "but K-1 was cut only Tue 5 May 2026 08:00."),
        (roll().begun_at("Mon 05:59"), "but R-1 was received only Mon 4 May 2026 06:00."),
        (roll().change(year_1), "but R-1 was received only Mon 4 May 2026 06:00."),
        (roll().begun_at("Tue 10:01"), "but its last ply was down Tue 5 May 2026 10:00."),
    ] {
        let look = scene.look("P-1", "Tue 12:00");
        look.mismatches_are(&["begun_wrongly"]);
        let mismatch = look.mismatch("begun_wrongly");
        assert!(mismatch.say.ends_with(how), "{}", mismatch.say);
        assert!(mismatch.ask.is_some());
    }
    // The careful reading counts: it waits since then, or since its last ply where that was earlier.
    kit().begun_at("Tue 07:59").look("P-1", "Tue 12:00").stage_left_is("skin", ToCure, "67:59");
    roll().begun_at("Tue 10:01").look("P-1", "Tue 12:00").stage_left_is("skin", ToCure, "70:00");
}

/// Put away in F1 on Monday at 06:00 and taken out of another place on Tuesday at 06:00.
fn taken_out_of(place: &str) -> Scene {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").named("out");
    scene.change(|entry| {
        if let Body::RollTakenOut(out) = &mut entry.body {
            out.from = Some(code(place));
        }
    })
}

#[test]
fn taken_out_of_another_freezer_than_the_book_has_it_in_it_was_out_since_last_known_inside() {
    taken_out_of("F1").look("R-1", "Tue 08:00").out_time_is("2:00").no_mismatch();
    let scene = taken_out_of("F2");
    let look = scene.look("R-1", "Tue 08:00");
    // Since Monday 06:00.
    look.out_time_is("26:00").mismatches_are(&["in_while_in_elsewhere"]);
    let mismatch = look.mismatch("in_while_in_elsewhere");
    assert_eq!(
        mismatch.say,
        "R-1 was taken out of F2 Tue 5 May 2026 06:00, where the book does not have it. It counts as out since Mon 4 May 2026 06:00."
    );
    assert_eq!(mismatch.ask.as_deref(), Some("Was it carried over to F2?"));
    let settled = |answer| scene.clone().settle("out", "in_while_in_elsewhere", answer, "Tue 07:00");
    // 10 min to carry it over, and out since.
    settled(Settlement::CarriedOverS(600.try_into().unwrap())).look("R-1", "Tue 08:00").out_time_is("2:10");
    // Out from Monday 06:00 to 20:00, and since Tuesday 06:00.
    settled(Settlement::PutAwayAt(stamp("Mon 20:00"))).look("R-1", "Tue 08:00").out_time_is("16:00");
    // R-2 was taken out instead.
    let other = settled(Settlement::Other(thing("R-2")));
    other.look("R-1", "Tue 08:00").out_time_is("26:00");
    let there = scene.clone().received("R-2", "Mon 06:00").put_away("R-2", "F2", "Mon 06:00");
    let there = there.settle("out", "in_while_in_elsewhere", Settlement::Other(thing("R-2")), "Tue 07:00");
    there.look("R-1", "Tue 08:00").out_time_is("0:00").says("R-1 is in F1 since Mon 06:00.");
    there.look("R-2", "Tue 08:00").out_time_is("2:00");
    // Out of a room, or of a place that nobody declared, it was outside before.
    for place in ["CUT", "F9"] {
        let look = taken_out_of(place).look("R-1", "Tue 08:00");
        look.out_time_is("26:00").mismatches_are(&["acted_while_inside"]);
    }
    // While it is out already, that alone is asked.
    let again = taken_out_of("F1").out("R-1", "Tue 07:00").change(|entry| {
        if let Body::RollTakenOut(out) = &mut entry.body {
            out.from = Some(code("F2"));
        }
    });
    again.look("R-1", "Tue 08:00").out_time_is("2:00").mismatches_are(&["out_while_out"]);
}

#[test]
fn a_time_after_the_scan_or_a_thing_nobody_received_settles_nothing() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").put_away("R-1", "F1", "Tue 12:00").named("again");
    let wish = |answer| scene.wish_settle("again", "in_while_in", answer).second("B-2").at("Wed 06:00");
    let late = "The scan was Tue 5 May 2026 12:00: name a time that is not after it.";
    wish(Settlement::OutSince(stamp("Tue 12:01"))).is_refused(late);
    wish(Settlement::PutAwayAt(stamp("Tue 12:01"))).is_refused(late);
    wish(Settlement::PutAwayAt(stamp("Tue 12:00"))).is_granted();
    let nobody = "Nobody has received R-9. Name one that is there, or receive it first.";
    wish(Settlement::Other(thing("R-9"))).is_refused(nobody);
    // In a log that has it already it is not followed, and says so.
    for (answer, why) in [
        (Settlement::OutSince(stamp("Tue 12:01")), "it names a time after that scan"),
        (Settlement::PutAwayAt(stamp("9999-01-01T00:00:00Z")), "it names a time after that scan"),
        (Settlement::Other(thing("R-9")), "nobody received or cut what it names"),
    ] {
        let written = scene.clone().settle("again", "in_while_in", answer, "Wed 06:00").named("answer");
        let look = written.look("R-1", "Wed 12:00");
        // Out since Monday 06:00, and it runs on.
        look.out_time_is("54:00").mismatches_are(&["in_while_in", "settles_nothing"]);
        assert_eq!(look.mismatch("in_while_in").settled_by, None);
        let nothing = look.mismatch("settles_nothing");
        assert_eq!(nothing.entry, written.id("answer"));
        assert!(nothing.say.ends_with(&format!("settles nothing: {why}.")), "{}", nothing.say);
    }
    // Once R-9 is received, it was that one.
    let known = scene.clone().settle("again", "in_while_in", Settlement::Other(thing("R-9")), "Wed 06:00");
    let known = known.received("R-9", "Mon 06:00");
    known.look("R-1", "Wed 12:00").out_time_is("0:00");
}

#[test]
fn a_stage_put_into_a_second_run_while_another_with_it_is_open_does_not_add_up() {
    let scene = in_oven().oven("RUN-2", &["P-1", "P-2"], "Tue 13:00").named("again");
    let expected =
        "RUN-2 was started Tue 5 May 2026 13:00 with P-1 skin, which was in RUN-1 since Tue 5 May 2026 12:00.";
    for of in ["RUN-2", "P-1"] {
        let look = scene.look(of, "Tue 14:00");
        look.mismatches_are(&["in_two_runs"]);
        let mismatch = look.mismatch("in_two_runs");
        assert_eq!((mismatch.say.as_str(), mismatch.entry), (expected, scene.id("again")));
        assert_eq!(
            mismatch.ask.as_deref(),
            Some(
                "Which run was it in? Strike the start that is wrong, or say what came of the other run before RUN-2."
            )
        );
    }
    // What was in no other run has nothing to say, nor has the run that came first.
    scene.look("P-2", "Tue 14:00").no_mismatch();
    scene.look("RUN-1", "Tue 14:00").no_mismatch();
    // Two of them are said in one.
    let both = in_oven().laid("P-2", "R-1", "Tue 11:00").length(1).oven("RUN-3", &["P-2"], "Tue 12:30");
    let both = both.oven("RUN-2", &["P-1", "P-2"], "Tue 13:00").look("RUN-2", "Tue 14:00").mismatch("in_two_runs");
    assert!(
        both.say
            .ends_with("since Tue 5 May 2026 12:00, and with P-2 skin, which was in RUN-3 since Tue 5 May 2026 12:30."),
        "{}",
        both.say
    );
    // Struck or settled, it is gone.
    scene.clone().strike("again", "Tue 14:00").look("P-1", "Tue 15:00").no_mismatch();
    let settled = scene.settle("again", "in_two_runs", Settlement::LookedInto(true), "Tue 14:00");
    assert_eq!(domain::mismatches(&settled.book(), when("Tue 15:00")).mismatches, []);
}

#[test]
fn a_run_that_ended_broke_off_or_was_taken_for_none_leaves_its_stages_to_the_next() {
    let again = |scene: Scene, at: &str| scene.oven("RUN-2", &["P-1"], at).look("RUN-2", at).view();
    let ended = || in_oven().ended("RUN-1", "Tue 20:00").committed("Tue 14:00");
    assert_eq!(again(ended(), "Tue 20:00").mismatches, []);
    assert_eq!(again(in_oven().interrupted("RUN-1", "Tue 13:00"), "Tue 14:00").mismatches, []);
    // 24 h is what a start waits for its record.
    assert_eq!(again(in_oven(), "Wed 12:01").mismatches, []);
    assert_eq!(again(in_oven(), "Wed 12:00").mismatches.len(), 1);
    // It was said to end only after the other had begun.
    assert_eq!(again(ended(), "Tue 19:59").mismatches.len(), 1);
}
