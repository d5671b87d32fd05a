//! What is installed: not on a record that contradicts itself, nor in a boat it was not meant for; and what was laid or
//! installed twice does not add up.

use crate::look::*;
use crate::scene::{Scene, code, thing};
use domain::{may_install, trace};
use shared_types::*;

const THU: &str = "Thu 12:00";

fn asked(scene: &Scene, part: &str, boat: Option<&str>) -> MayInstall {
    may_install(&scene.book(), &thing(part), boat.map(code).as_ref(), when(THU)).unwrap()
}

/// Cured together on Tuesday in RUN-1.
fn cured(scene: Scene, stages: &[&str]) -> Scene {
    scene.oven("RUN-1", stages, "Tue 12:00").ended("RUN-1", "Tue 20:00").committed("Tue 14:00").cured(true)
}

/// cut into K-1.
fn kit() -> Scene {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").stored("R-2", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").out("R-2", "Tue 06:00");
    scene.cut_many("N-1", &[("K-1", "J-1", &[("R-1", 2), ("R-2", 2)])], "Tue 07:00")
}

const TWICE: &str = "K-1 was laid in P-2 skin, though its plies were laid in P-1 skin already, Tue 5 May 2026 08:00.";

#[test]
fn a_kit_laid_in_two_parts_does_not_add_up_and_the_second_waits_for_quality() {
    let first = || kit().laid("P-1", "K-1", "Tue 08:00");
    let one_way = first().laid("P-2", "K-1", "Tue 09:00").named("again");
    // By when it happened, not by what was written first.
    let other_way = kit().laid("P-2", "K-1", "Tue 09:00").named("again").laid("P-1", "K-1", "Tue 08:00");
    for scene in [cured(one_way, &["P-1", "P-2"]), cured(other_way, &["P-1", "P-2"])] {
        scene.look("P-1", THU).no_mismatch();
        let mismatch = scene.look("P-2", THU).mismatches_are(&["laid_twice"]).mismatch("laid_twice");
        assert_eq!((mismatch.entry, mismatch.say.as_str()), (scene.id("again"), TWICE));
        assert_eq!(mismatch.ask.as_deref(), Some("What was laid in P-2 skin? Strike the lay-up that is wrong."));
        assert_eq!(domain::mismatches(&scene.book(), when(THU)).mismatches.len(), 1);
        assert_eq!(asked(&scene, "P-1", None).answer, Yes);
        let second = asked(&scene, "P-2", None);
        assert_eq!((second.answer, second.why), (CannotSay, vec![TWICE.to_owned()]));
        // Settled in words by two, or struck, nothing waits any more.
        let settled = scene.settle("again", "laid_twice", Settlement::AssignedS(0.try_into().unwrap()), "Wed 13:00");
        assert_eq!(asked(&settled, "P-2", None).answer, Yes);
    }
    // A roll of the kit, by its name; and once more in the same part.
    let named = first().laid("P-2", "K-1", "Tue 09:00").items(&["R-2"]);
    named.look("P-2", THU).mismatches_are(&["laid_twice"]);
    first().laid("P-1", "K-1", "Tue 09:00").look("P-1", THU).mismatches_are(&["laid_twice"]);
}

#[test]
fn a_kit_laid_in_two_steps_or_cut_into_again_adds_up() {
    let steps = || kit().laid("P-1", "K-1", "Tue 08:00").items(&["R-1"]);
    let named = cured(steps().laid("P-2", "K-1", "Tue 09:00").items(&["R-2"]), &["P-1", "P-2"]);
    named.look("P-2", THU).no_mismatch();
    assert_eq!((asked(&named, "P-1", None).answer, asked(&named, "P-2", None).answer), (Yes, Yes));
    steps().laid("P-2", "K-1", "Tue 09:00").look("P-2", THU).no_mismatch();
    let again = kit().laid("P-1", "K-1", "Tue 08:00").cut("N-2", "R-1", "K-1", "Tue 08:30");
    again.laid("P-2", "K-1", "Tue 09:00").look("P-2", THU).no_mismatch();
}

fn one_part() -> Scene {
    cured(kit().laid("P-1", "K-1", "Tue 08:00"), &["P-1"])
}

fn parts_of(scene: &Scene, boat: &str) -> bool {
    let trace = trace(&scene.book(), &thing(boat), Direction::MadeFrom, when(THU)).unwrap();
    trace.nodes.iter().any(|node| node.thing == thing("P-1"))
}

#[test]
fn a_part_installed_in_two_boats_does_not_add_up_and_both_boats_name_it() {
    let moved = one_part().installed("P-1", "H-1", "Wed 08:00").installed("P-1", "H-2", "Wed 09:00").named("again");
    let mismatch = moved.look("P-1", THU).mismatches_are(&["installed_twice"]).mismatch("installed_twice");
    let say = "P-1 was installed in H-2 Wed 6 May 2026 09:00, and nobody removed it from H-1, where it is since Wed 6 May 2026 08:00.";
    assert_eq!((mismatch.entry, mismatch.say.as_str()), (moved.id("again"), say));
    assert_eq!((parts_of(&moved, "H-1"), parts_of(&moved, "H-2")), (true, true));
    let boats = trace(&moved.book(), &thing("R-1"), Direction::WentInto, when(THU)).unwrap().nodes;
    assert_eq!(boats.iter().filter(|node| node.thing.kind() == Kind::Boat).count(), 2);
    // Removed from one, it is in the other still.
    let out = moved.clone().removed("P-1", "H-2", "Wed 10:00");
    assert_eq!((parts_of(&out, "H-1"), parts_of(&out, "H-2")), (true, false));
    assert_eq!(asked(&out, "P-1", None).why, ["It is in boat H-1 since Wed 08:00."]);
    // Taken out before, it may go into another; and once more in the same boat is no other boat.
    let way = one_part().installed("P-1", "H-1", "Wed 08:00");
    let way = way.removed("P-1", "H-1", "Wed 08:30").installed("P-1", "H-2", "Wed 09:00");
    way.look("P-1", THU).no_mismatch();
    assert_eq!((parts_of(&way, "H-1"), parts_of(&way, "H-2")), (false, true));
    let same = one_part().installed("P-1", "H-1", "Wed 08:00").installed("P-1", "H-1", "Wed 09:00");
    same.look("P-1", THU).no_mismatch();
}

#[test]
fn a_part_whose_run_contradicts_itself_is_not_installed_while_that_is_open() {
    let both = one_part().ended("RUN-1", "Tue 21:00").committed("Tue 15:00").named("later");
    let why = "skin: Of RUN-1 it was said Tue 5 May 2026 20:00 that its cure was under way Tue 5 May 2026 14:00, and Tue 5 May 2026 21:00 that its cure \
               was under way Tue 5 May 2026 15:00.";
    let may = asked(&both, "P-1", None);
    assert_eq!((may.answer, may.why), (CannotSay, vec![why.to_owned()]));
    let answer = Settlement::AssignedS(0.try_into().unwrap());
    assert_eq!(asked(&both.clone().settle("later", "ends_contradict", answer, "Wed 13:00"), "P-1", None).answer, Yes);
    assert_eq!(asked(&both.strike("later", "Wed 13:00"), "P-1", None).answer, Yes);
}

#[test]
fn a_part_that_was_put_into_a_second_run_meanwhile_is_not_installed_before_somebody_has_said_which_it_was() {
    let two = one_part().oven("RUN-2", &["P-1"], "Tue 13:00").named("again");
    let why = "RUN-2 was started Tue 5 May 2026 13:00 with P-1 skin, which was in RUN-1 since Tue 5 May 2026 12:00.";
    let may = asked(&two, "P-1", None);
    assert_eq!((may.answer, may.why), (CannotSay, vec![why.to_owned()]));
    let settled = two.clone().settle("again", "in_two_runs", Settlement::LookedInto(true), "Wed 13:00");
    assert_eq!(asked(&settled, "P-1", None).answer, Yes);
    assert_eq!(asked(&two.strike("again", "Wed 13:00"), "P-1", None).answer, Yes);
}

#[test]
fn a_part_asked_for_a_boat_it_was_not_meant_for_can_not_be_said() {
    let nobody = asked(&one_part(), "P-1", Some("H-9"));
    let why = vec!["Nobody has named a boat H-9 before.".to_owned()];
    assert_eq!((nobody.answer, nobody.why, nobody.notes.len()), (CannotSay, why, 0));
    let plan = Job { boat: Some(code("H-1")), ..crate::facts::plan("P-1", "Tue 08:00", "Tue 12:00") };
    let planned = one_part().entry("J-1", "Tue 06:00", Body::JobOpened(plan)).hold("H-2", "Tue 06:30");
    let other = asked(&planned, "P-1", Some("H-2"));
    let why = vec!["P-1 was planned for boat H-1, by J-1.".to_owned()];
    assert_eq!((other.answer, other.why), (CannotSay, why.clone()));
    assert_eq!(asked(&planned, "P-1", Some("H-1")).answer, Yes);
    // Beside a no it stands as a note.
    let held = asked(&planned.hold("P-1", "Wed 06:00"), "P-1", Some("H-2"));
    assert_eq!((held.answer, held.notes), (No, why));
}

#[test]
fn a_part_is_not_installed_while_the_start_of_any_run_it_was_cured_in_is_only_told() {
    let later = one_part().laid("P-1", "R-2", "Wed 08:00").oven("RUN-2", &["P-1"], "Wed 09:00").told().named("told");
    let scene = later.ended("RUN-2", "Wed 12:00").committed("Wed 10:00").cured(true);
    let may = asked(&scene, "P-1", None);
    assert_eq!((may.answer, may.why), (No, vec!["skin: no confirmed cure.".to_owned()]));
    assert_eq!(asked(&scene.confirm("told", "Wed 13:00"), "P-1", None).answer, Yes);
}

#[test]
fn what_was_over_by_less_than_a_minute_is_said_to_be_a_minute_over() {
    // 100 h of tack life, 80 h used: it ends on Wednesday at 02:00.
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(80, 0).put_away("R-1", "F1", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").laid("P-1", "R-1", "Wed 02:00:20");
    let scene = scene.oven("RUN-1", &["P-1"], "Wed 03:00").ended("RUN-1", "Wed 09:00").committed("Wed 04:00");
    assert_eq!(asked(&scene, "P-1", None).why, ["skin: R-1 was 1 min over its tack life."]);
}
