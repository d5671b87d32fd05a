//! What the book keeps of long histories changes no answer: a book that was asked after every entry answers as one
//! that was never asked before. No source: the rule is the program's own.

use crate::random::*;
use crate::scene::{Scene, place, sheet, stamp, thing};
use domain::stock::{Filter, stretch};
use domain::{Book, MayUseQuestion, When};
use proptest::prelude::*;
use shared_types::*;

/// Both rolls and kits with so long a history that it is kept.
fn long() -> Scene {
    let yard = Scene::yard_with_sheet(|sheet| {
        sheet.refreezes = Some(Refreezes::None(NoneBy { none_by: "TDS".to_owned() }));
        sheet.shelf_life = Some(ShelfLife::Limit(ShelfLifeLimit { months: 12, tested_at: TestedAt::TakeOut }));
    });
    let scene = ROLLS.into_iter().fold(yard.job("J-1", "Wed 12:00", "Thu 12:00"), |scene, roll| {
        scene.received(roll, "Mon 06:00").opening(1, 0).out(roll, "Mon 06:10")
    });
    let scene =
        scene.cut("N-1", "R-1", "K-1", "Mon 06:20").named("cut").device("D-1", 1).cut("N-1", "R-2", "K-2", "Mon 06:20");
    (0..13).fold(scene, |scene, nth| {
        let at = |minute: i64| move |entry: &mut Entry| entry.occurred_at.at = at_minute(minute + 20 * nth);
        ROLLS.into_iter().chain(KITS).fold(scene, |scene, of| {
            scene.put_away(of, "F1", "Mon 06:30").change(at(30)).out(of, "Mon 06:40").change(at(40))
        })
    })
}

/// The same, and laid in P-1 again and again, which then was in a run that was said to be cured again and again.
fn laid_long() -> Scene {
    let every = |minute: i64, nth: i64| move |entry: &mut Entry| entry.occurred_at.at = at_minute(minute + 20 * nth);
    let scene = (0..13).fold(long(), |scene, nth| {
        let scene = scene.laid("P-1", "R-1", "Tue 06:00").length(1).change(every(1_500, nth));
        scene.laid("P-1", "K-2", "Tue 06:00").change(every(1_510, nth))
    });
    let scene = scene.laid("P-1", "K-1", "Tue 12:00").oven("RUN-1", &["P-1"], "Tue 13:00").named("start");
    let scene =
        (0..25).fold(scene, |scene, nth| scene.ended("RUN-1", "Tue 18:00").cured(true).change(every(2_200, nth)));
    scene.ended("RUN-1", "Wed 08:00").cured(true).committed("Tue 15:00").named("end")
}

/// What is declared anew, and changes what was said of everything that stands on it.
fn declared(scene: Scene, nth: usize) -> Scene {
    let tight = Revision { refreezes: None, ..sheet() };
    match nth % 7 {
        0 => scene.declares(
            "place/F1",
            Body::PlaceDeclared(Place { effective_from: Some(stamp("Tue 06:00")), ..place("F1", false) }),
        ),
        1 => scene.registered("batch/PM-101/B-1", "2025-06-30"),
        2 => scene
            .declares("yard/YARD", Body::YardDeclared(Yard { zone: "Pacific/Auckland".to_owned(), ..Yard::default() })),
        3 => scene.declares("place/F9", Body::PlaceDeclared(place("F9", true))),
        4 => scene.material("PM-101", tight),
        5 => scene.hold("batch/PM-101/B-1", "Mon 06:05"),
        _ => scene.hold("place/F1", "Mon 06:05"),
    }
}

/// What changes an answer about R-1, though it may be said of something else.
fn changes() -> Vec<(&'static str, Scene)> {
    let told = || long().put_away("R-1", "F1", "Tue 06:00").told().named("told");
    let odd = || long().out("R-1", "Tue 06:00").named("odd");
    let other = || odd().settle("odd", "out_while_out", Settlement::Other(thing("R-2")), "Wed 06:00");
    let issued = || long().issued("R-1", "J-1", "Tue 06:00");
    let unknown = || long().put_away("R-1", "F9", "Tue 06:00");
    vec![
        ("a fact that comes late", long().out("R-1", "Mon 06:05")),
        ("a hold on its batch", long().hold("batch/PM-101/B-1", "Mon 06:05")),
        ("a hold on a device, the first hold of all", long().hold("device/D-1", "Mon 06:05")),
        ("a hold on its freezer", long().hold("place/F1", "Mon 06:05")),
        ("its batch's dates", long().registered("batch/PM-101/B-1", "2024-06-30")),
        ("a freezer that was warm", long().place_from("F1", false, "Mon 06:00")),
        (
            "the yard's zone",
            long().declares(
                "yard/YARD",
                Body::YardDeclared(Yard { zone: "Pacific/Auckland".to_owned(), ..Yard::default() }),
            ),
        ),
        ("a cut taken back", long().strike("cut", "Tue 06:00")),
        ("a told fact confirmed", told().confirm("told", "Tue 07:00").by("B-9")),
        (
            "a mismatch answered",
            odd().settle("odd", "out_while_out", Settlement::AssignedS(600.try_into().unwrap()), "Wed 06:00"),
        ),
        ("its scan was another roll's", other()),
        ("an answer taken back", other().strike_last("Wed 07:00")),
        ("a job planned otherwise after the issue", issued().replan("J-1", "Sun 12:00", "Sun 20:00", "Mon 00:00")),
        ("a place declared that nobody knew", unknown().place_from("F9", true, "Mon 00:00")),
    ]
}

/// What changes an answer about P-1 or its run, or about what was laid in it.
fn changes_of_a_part() -> Vec<(&'static str, Scene)> {
    let denied = || laid_long().ended("RUN-1", "Wed 09:00").cured(false).named("denied");
    let settled = || denied().settle("denied", "ends_contradict", Settlement::LookedInto(true), "Wed 10:00");
    let told =
        || laid_long().interrupted("RUN-1", "Wed 09:00").ended("RUN-1", "Wed 09:30").cured(false).told().named("told");
    let held = || laid_long().hold("P-1", "Tue 05:00").named("hold");
    let other = || laid_long().out("K-1", "Mon 06:35").named("odd");
    vec![
        ("another end that can't be as well", denied()),
        ("that looked into", settled()),
        ("and that taken back", settled().strike_last("Wed 11:00")),
        ("an end taken back", laid_long().strike("end", "Wed 10:00")),
        ("its run started again", laid_long().oven("RUN-1", &["P-1"], "Tue 14:00")),
        ("its start taken back", laid_long().strike("start", "Wed 10:00")),
        ("its run broke off", laid_long().interrupted("RUN-1", "Tue 14:00")),
        ("a told end confirmed", told().confirm("told", "Wed 11:00").by("B-9")),
        ("it was held when it was laid", held()),
        ("and that lifted", held().lift("hold", "Tue 05:30")),
        ("a hold on the run", laid_long().hold("RUN-1", "Tue 05:00")),
        ("a hold on a freezer of its kit", laid_long().hold("place/F1", "Mon 06:05")),
        ("its kit's cut taken back", laid_long().strike("cut", "Wed 10:00")),
        ("a roll of its was received otherwise", laid_long().received("R-1", "Mon 06:00").opening(150, 2)),
        ("a freezer that was warm", laid_long().place_from("F1", false, "Mon 06:00")),
        ("what its kit was laid after", laid_long().disposed("K-1", "Mon 20:00")),
        ("its kit was out before", other()),
        ("that was another kit", other().settle("odd", "out_while_out", Settlement::Other(thing("K-2")), "Wed 06:00")),
        ("installed without", laid_long().strike("end", "Wed 10:00").installed("P-1", "H-1", "Wed 11:00")),
        ("more laid", laid_long().laid("P-1", "K-1", "Tue 14:00")),
        ("a plan of it", laid_long().replan("J-1", "Wed 12:00", "Wed 20:00", "Mon 06:00")),
    ]
}

#[test]
fn whatever_changes_an_answer_about_a_part_changes_what_is_kept() {
    changes_what_is_kept(changes_of_a_part());
}

/// A hold that came of a run is lifted on one of its parts, by the run's own entry, and is gone from the other part too. Only
/// that the run changed says so: nothing that the other part names was written to.
#[test]
fn what_acts_on_an_entry_changes_what_is_kept_of_all_that_reads_it() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    let scene = scene.laid("P-1", "R-1", "Tue 08:00").length(1).laid("P-2", "R-1", "Tue 08:10").length(1);
    let scene = scene.oven("RUN-1", &["P-1", "P-2"], "Tue 09:00").interrupted("RUN-1", "Tue 10:00").named("broke");
    let scene = scene.installed("P-2", "H-1", "Wed 06:00");
    let mut book = scene.book();
    let when = When { at: at_minute(8_000), known: u64::MAX, now: at_minute(8_000) };
    let of_other = |book: &Book| {
        let all = domain::mismatches(book, when).mismatches.into_iter().filter(|one| one.thing == thing("P-2"));
        all.map(|one| one.kind).collect::<Vec<_>>()
    };
    assert_eq!(of_other(&book), ["acted_while_held"]);
    let lift = Body::HoldLifted(LiftHold { hold: scene.id("broke"), why: "looked at".to_owned() });
    let lifted = scene.entry("P-1", "Tue 12:00", lift);
    book.insert(lifted.entries.last().unwrap());
    assert_eq!(
        (of_other(&book), of_other(&book.clone())),
        (vec!["installed_not_cured".to_owned()], vec!["installed_not_cured".to_owned()])
    );
}

// Asking for a label that is not there yet is noted too (`Book::label`), and no test can miss it: of what is kept only a
// refused issue asks for a label by its name, the job's, and that issue itself had made the label.

/// How far the log went shows in every answer.
fn without_the_seq(answer: &str) -> String {
    let parts = answer.split("as_of_seq: ").map(|part| part.trim_start_matches(|one: char| one.is_ascii_digit()));
    parts.collect()
}

#[test]
fn whatever_changes_an_answer_changes_what_is_kept() {
    changes_what_is_kept(changes());
}

fn changes_what_is_kept(all: Vec<(&'static str, Scene)>) {
    for (what, scene) in all {
        let last = scene.entries.len() - 1;
        let mut book = Book::default();
        scene.entries[..last].iter().for_each(|entry| book.insert(entry));
        let when = When { at: at_minute(8_000), known: u64::MAX, now: at_minute(8_000) };
        let before = answers(&book, when);
        book.insert(&scene.entries[last]);
        let (asked, never) = (answers(&book, when), answers(&book.clone(), when));
        let kept = |all: &[String]| all.iter().map(|one| without_the_seq(one)).collect::<Vec<_>>();
        assert_ne!(kept(&before), kept(&never), "{what}: it changes nothing");
        assert_eq!(asked, never, "{what}");
    }
}

/// Everything that is answered from what is kept.
fn answers(book: &Book, when: When) -> Vec<String> {
    let of_things =
        THINGS.iter().filter_map(|name| domain::thing_view(book, &thing(name), when)).map(|view| format!("{view:?}"));
    let asked = ROLLS.iter().chain(&KITS).map(|of| (*of, Act::Lay)).chain([("P-1", Act::Oven)]);
    let may_use = asked.map(|(of, act)| {
        let question = MayUseQuestion { thing: thing(of), act, job: None, stage: None, when };
        format!("{:?}", domain::may_use(book, &question))
    });
    let install = format!("{:?}", domain::may_install(book, &thing("P-1"), None, when));
    let cards = THINGS.iter().map(|name| format!("{:?}", domain::out_time_card(book, &thing(name), when)));
    let rows =
        [Kind::Roll, Kind::Kit, Kind::Part].map(|kind| stretch(book, kind, &Filter::default(), None, 9, 9, when).rows);
    let all = [format!("{:?}", domain::mismatches(book, when)), format!("{rows:?}"), install];
    of_things.chain(may_use).chain(cards).chain(all).collect()
}

fn as_never_asked(scene: &Scene, from: usize, minute: i64) -> Result<(), TestCaseError> {
    let mut book = Book::default();
    for (nth, entry) in scene.entries.iter().enumerate() {
        book.insert(entry);
        if nth < from {
            continue;
        }
        let at = at_minute(minute);
        for known in [u64::MAX, entry.seq - 1] {
            let when = When { at, known, now: at };
            // A copy has kept nothing.
            let (asked, never) = (answers(&book, when), answers(&book.clone(), when));
            for (one, other) in asked.iter().zip(&never) {
                prop_assert_eq!(one, other, "after {:?}", entry);
            }
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(cases(8))]

    #[test]
    fn what_is_kept_changes_no_answer(all in ops(24), minute in 0..20_000_i64) {
        let scene = long();
        let from = scene.entries.len();
        let mixed = all.iter().enumerate().fold(scene, |scene, (nth, op)| {
            let scene = if nth % 4 == 3 { declared(scene, nth / 4 + usize::from(op.back)) } else { scene };
            happens(scene, op)
        });
        as_never_asked(&mixed, from - 1, minute)?;
    }

    #[test]
    fn nor_what_is_kept_of_a_part_and_its_run(all in ops(8), minute in 0..20_000_i64) {
        let scene = laid_long();
        let from = scene.entries.len();
        // Of a part and its run alone: kinds 14 to 18, and what acts on an entry.
        let all = all.into_iter().map(|op| Op { kind: 14 + op.kind % 12, ..op });
        let mixed = all.fold(scene, |scene, op| happens(scene, &op));
        as_never_asked(&mixed, from - 1, minute)?;
    }
}
