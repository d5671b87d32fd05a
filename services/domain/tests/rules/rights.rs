//! Who may do what once the yard has an administrator: decisions are refused, facts are taken and shown. The rows are
//! the yard's own reading of the trade; there is no source.

use crate::people::grant;
use crate::scene::{Scene, code, lisbon, place, sheet, stamp};
use crate::wishing::Asking;
use domain::{
    Refusal,
    rights::{Beside, Right, right},
};
use shared_types::{Role::*, *};
use uuid::Uuid;

/// A badge for each role, and a second one for some. What was before has no role of anybody.
fn staffed() -> Scene {
    Scene::yard().stored("R-1", "Mon 06:00").job("J-1", "Thu 12:00", "Fri 12:00").staff()
}

impl Scene {
    fn staff(self) -> Scene {
        let people = [
            ("S-1", Stores),
            ("L-1", Laminator),
            ("V-1", Supervisor),
            ("Q-1", Quality),
            ("Q-2", Quality),
            ("D-1", Reader),
        ];
        let scene = self.granted("A-1", &[Administrator], "Mon 07:00");
        let scene = people.iter().fold(scene, |scene, (badge, role)| scene.granted(badge, &[*role], "Mon 07:00"));
        scene.integrates("I-1", &[Scope::Read, Scope::Facts, Scope::Decisions], "Mon 07:00")
    }
}

fn is_allowed(asking: &Asking<'_>) -> bool {
    !matches!(asking.decided(), Err(Refusal::NotAllowed { .. }))
}

/// Who may ask for each decision.
#[test]
fn each_decision_is_asked_for_by_the_roles_whose_work_it_is() {
    let scene = staffed().out("R-1", "Mon 08:00").by("S-1").told().named("out").hold("R-1", "Mon 08:10").by("V-1");
    let scene = scene.named("hold").put_away("R-1", "F1", "Mon 09:00").by("S-1").put_away("R-1", "F1", "Mon 10:00");
    let scene = scene.by("S-1").named("again").token_issued("I-1", &[Scope::Read], None, "Mon 10:00").named("token");
    let scene = scene.enrolled("H-3", "Mon 10:00");
    let job = || crate::facts::plan("P-2", "Thu 12:00", "Fri 12:00");
    let dates = Batch { made_on: Day::parse("2026-01-31").unwrap(), certificate_ends: None };
    let enrol = EnrolDevice { what: DeviceIs::Tablet, place: None };
    let revoke = RevokeDevice { why: "lost".to_owned() };
    let issue = IssueToken { name: "plans".to_owned(), scopes: vec![Scope::Read], ends_at: None };
    let no_token = RevokeToken { token: scene.id("token"), why: None };
    let settle = |answer| scene.wish_settle("again", "in_while_in", answer);
    let floor = "stores laminator supervisor quality";
    let rows: Vec<(Asking<'_>, &str)> = vec![
        (scene.wish("yard/YARD", Body::YardDeclared(lisbon(1))), "administrator"),
        (scene.wish("place/F9", Body::PlaceDeclared(place("F9", true))), "administrator"),
        (scene.wish("PM-202", Body::MaterialRevised(sheet())), "quality"),
        (scene.wish("batch/PM-101/B-7", Body::BatchRegistered(dates)), "quality integrator"),
        (scene.wish("J-2", Body::JobOpened(job())), "supervisor integrator"),
        (scene.wish("J-1", Body::JobReplanned(job())), "supervisor integrator"),
        (scene.wish("H-1", Body::BoatDeclared(BoatList { parts: vec![code("P-1")] })), "supervisor quality integrator"),
        (scene.wish_issue("R-1", "J-1"), "stores supervisor integrator"),
        (scene.wish_hold("R-1"), "stores laminator supervisor quality administrator integrator"),
        (scene.wish_lift("hold"), "supervisor quality"),
        (scene.wish_confirm("out"), floor),
        (settle(Settlement::WasTakeOut(true)), floor),
        (settle(Settlement::AssignedS(crate::when::hours(1))), "supervisor quality"),
        (scene.wish_strike("out"), floor),
        (scene.wish_strike("hold"), "supervisor quality"),
        (scene.wish("badge/B-9", grant(&[Stores])), "administrator"),
        (scene.wish("device/T-1", Body::DeviceEnrolled(enrol)), "administrator"),
        (scene.wish("device/H-3", Body::DeviceRevoked(revoke)), "administrator"),
        (scene.wish("badge/I-1", Body::TokenIssued(issue)), "administrator"),
        (scene.wish("badge/I-1", Body::TokenRevoked(no_token)), "administrator"),
    ];
    let people = [
        ("S-1", "stores"),
        ("L-1", "laminator"),
        ("V-1", "supervisor"),
        ("Q-1", "quality"),
        ("A-1", "administrator"),
        ("D-1", "reader"),
        ("I-1", "integrator"),
        ("B-8", "nobody"),
    ];
    for (asking, may) in rows {
        for (badge, role) in people {
            let asked = asking.clone().by(badge);
            let allowed = may.split(' ').any(|one| one == role);
            assert_eq!(is_allowed(&asked), allowed, "{role}: {:?}", asked.decided());
        }
    }
}

#[test]
fn before_the_yard_has_an_administrator_anybody_decides() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").granted("B-2", &[Reader], "Mon 07:00");
    scene.wish_hold("R-1").by("B-2").is_granted();
    scene.wish_hold("R-1").claimed().is_granted();
    scene.wish("badge/A-1", grant(&[Administrator])).claimed().is_granted();
}

#[test]
fn who_may_not_is_told_which_role_it_needs_and_what_to_do() {
    let scene = staffed();
    let refused = scene.wish_issue("R-1", "J-1").by("L-1").is_refused(
        "L-1 has the role laminator. To issue material to a job needs stores or supervisor: let somebody do it who has \
         that role, or ask an administrator for it.",
    );
    assert!(matches!(refused, Refusal::NotAllowed { needs, .. } if needs == [Stores, Supervisor]));
    scene.wish_issue("R-1", "J-1").by("B-8").is_refused(
        "B-8 has no role here. To issue material to a job needs stores or supervisor: let somebody do it who has that \
         role, or ask an administrator for it.",
    );
    let claimed = scene.wish_issue("R-1", "J-1").by("S-1").claimed();
    claimed.is_refused("S-1 has not shown who they are: scan the badge or sign in, then ask again.");
    let left = scene.clone().granted("S-1", &[], "Mon 09:00");
    assert!(!is_allowed(&left.wish_issue("R-1", "J-1").by("S-1")));
    scene.wish_issue("R-1", "J-1").by("S-1").is_granted();
}

#[test]
fn another_program_decides_within_its_scopes_alone() {
    let scene = staffed().integrates("I-2", &[Scope::Read, Scope::Facts], "Mon 08:00");
    scene.wish_issue("R-1", "J-1").by("I-1").is_granted();
    assert!(!is_allowed(&scene.wish_issue("R-1", "J-1").by("I-2")));
}

#[test]
fn a_fact_from_a_role_that_does_not_fit_is_taken_and_shown() {
    let scene = staffed().out("R-1", "Tue 06:00").by("D-1").named("out");
    let look = scene.look("R-1", "Tue 08:00");
    look.out_time_is("2:00").mismatches_are(&["role_does_not_fit"]);
    let found = look.mismatch("role_does_not_fit");
    assert_eq!((found.entry, found.settled_by), (scene.id("out"), None));
    let words = "R-1: D-1 has the role reader. To take something out needs stores, laminator, supervisor or quality.";
    assert_eq!(found.say, words);
    for badge in ["S-1", "L-1", "V-1", "Q-1", "I-1"] {
        staffed().out("R-1", "Tue 06:00").by(badge).look("R-1", "Tue 08:00").no_mismatch();
    }
    staffed().out("R-1", "Tue 06:00").by("A-1").look("R-1", "Tue 08:00").mismatches_are(&["role_does_not_fit"]);
}

#[test]
fn a_fact_is_judged_by_the_roles_that_held_when_it_was_written() {
    // Before there was an administrator nobody had a role.
    staffed().look("R-1", "Tue 08:00").no_mismatch();
    // A role that came later does not make it fit, and one that ended later does not make it unfit.
    let late = staffed().out("R-1", "Tue 06:00").by("B-9").granted("B-9", &[Stores], "Tue 07:00");
    late.look("R-1", "Tue 08:00").mismatches_are(&["role_does_not_fit"]);
    let left = staffed().out("R-1", "Tue 06:00").by("S-1").granted("S-1", &[], "Tue 07:00");
    left.look("R-1", "Tue 08:00").no_mismatch();
    // It is written that counts: a scan of before that came after they had left is shown.
    let after = staffed().granted("S-1", &[], "Tue 07:00").out("R-1", "Tue 06:00").by("S-1");
    after.look("R-1", "Tue 08:00").mismatches_are(&["role_does_not_fit"]);
    // And as it was known then it reads as it does now.
    let known = u64::try_from(late.entries.len() - 1).unwrap();
    late.look_known("R-1", "Tue 08:00", known).mismatches_are(&["role_does_not_fit"]);
    late.look_known("R-1", "Tue 08:00", known - 1).no_mismatch();
}

#[test]
fn a_badge_that_nobody_showed_is_not_judged_by_its_role() {
    let scene = staffed().out("R-1", "Tue 06:00").by("D-1").change(|entry| entry.by_known = KnownBy::Claimed);
    scene.look("R-1", "Tue 08:00").no_mismatch();
}

#[test]
fn a_role_that_does_not_fit_may_rest_once_quality_has_looked_into_it() {
    let scene = staffed().out("R-1", "Tue 06:00").by("D-1").named("out");
    let asked = || {
        let mut settle = scene.wish_settle("out", "role_does_not_fit", Settlement::LookedInto(true)).by("V-1");
        settle.says("he carried it for the clerk");
        settle
    };
    assert!(!is_allowed(&asked().by("S-1")));
    asked().needs_a_second("R-1 would no longer show a fact from a role that does not fit");
    asked().second("Q-1").is_granted();
}

#[test]
fn what_was_granted_enrolled_or_revoked_is_done_anew_and_not_struck() {
    let scene = staffed().granted("S-1", &[Stores, Quality], "Tue 06:00").named("grant");
    let words = "Roles, devices and tokens are not struck: grant, enrol or revoke as it should be now.";
    scene.wish_strike("grant").by("Q-1").second("Q-2").is_refused(words);
}

#[test]
fn the_only_administrator_stays_one() {
    let scene = staffed();
    let words = "A-1 is the only administrator. Make somebody else one first.";
    scene.wish("badge/A-1", grant(&[])).by("A-1").is_refused(words);
    scene.wish("badge/A-1", grant(&[Administrator, Quality])).by("A-1").is_granted();
    let two = scene.granted("A-2", &[Administrator], "Tue 06:00");
    two.wish("badge/A-1", grant(&[])).by("A-2").is_granted();
}

#[test]
fn a_device_is_enrolled_once_and_its_name_stays_with_what_it_sent() {
    let enrol = |scene: &Scene| {
        let body = EnrolDevice { what: DeviceIs::Handheld, place: None };
        scene.wish("device/H-3", Body::DeviceEnrolled(body)).by("A-1").decided().map_err(|refused| refused.to_string())
    };
    let revoke = |scene: &Scene| {
        let body = RevokeDevice { why: "lost".to_owned() };
        scene.wish("device/H-3", Body::DeviceRevoked(body)).by("A-1").decided().map_err(|refused| refused.to_string())
    };
    let none = staffed();
    assert_eq!(revoke(&none), Err("Nobody has enrolled H-3. Look at the list of devices.".to_owned()));
    assert_eq!(enrol(&none), Ok(()));
    let enrolled = none.enrolled("H-3", "Mon 08:00");
    assert_eq!(enrol(&enrolled), Err("H-3 is enrolled already.".to_owned()));
    assert_eq!(revoke(&enrolled), Ok(()));
    let revoked = enrolled.revoked("H-3", "Mon 09:00");
    assert_eq!(revoke(&revoked), Err("H-3 is revoked already.".to_owned()));
    let again = "H-3 was revoked, and its name stays with what it sent. Enrol the device under a new name.";
    assert_eq!(enrol(&revoked), Err(again.to_owned()));
}

#[test]
fn a_token_does_no_more_than_its_badge_may() {
    let scene = staffed().integrates("I-2", &[Scope::Read], "Mon 08:00");
    let issue = |badge: &str, scopes: &[Scope], ends_at: Option<&str>| {
        let ends_at = ends_at.map(stamp);
        let body = IssueToken { name: "plans".to_owned(), scopes: scopes.to_vec(), ends_at };
        let asked = scene.wish(&format!("badge/{badge}"), Body::TokenIssued(body)).by("A-1").at("Tue 06:00");
        asked.decided().map_err(|refused| refused.to_string())
    };
    assert_eq!(issue("I-2", &[Scope::Read], Some("Tue 06:01")), Ok(()));
    assert_eq!(
        issue("I-2", &[Scope::Read], Some("Tue 06:00")),
        Err("That time has passed. Name a later one, or none.".to_owned())
    );
    let more = issue("I-2", &[Scope::Read, Scope::Facts], None);
    assert_eq!(more, Err("I-2 has not the scope facts. Grant it first, or leave it out.".to_owned()));
    let person = issue("S-1", &[Scope::Read], None);
    assert_eq!(person, Err("S-1 is no integrator. Grant the role integrator with its scopes first.".to_owned()));
}

#[test]
fn a_token_is_revoked_once_and_by_the_entry_that_issued_it() {
    let scene = staffed().token_issued("I-1", &[Scope::Read], None, "Mon 08:00").named("token");
    let revoke = |scene: &Scene, badge: &str, token: Uuid| {
        let body = RevokeToken { token, why: None };
        let asked = scene.wish(&format!("badge/{badge}"), Body::TokenRevoked(body)).by("A-1");
        asked.decided().map_err(|refused| refused.to_string())
    };
    let id = scene.id("token");
    assert_eq!(revoke(&scene, "I-1", id), Ok(()));
    let other = format!("S-1 has no token {id}. Look at its tokens.");
    assert_eq!(revoke(&scene, "S-1", id), Err(other));
    let revoked = scene.clone().token_revoked("I-1", "token", "Mon 09:00");
    assert_eq!(revoke(&revoked, "I-1", id), Err("The token for planning is revoked already.".to_owned()));
}

/// The table as a yard reads it.
#[test]
fn the_readme_has_the_table_that_counts() {
    let list = |roles: &[Role]| match roles {
        [] => "nobody".to_owned(),
        roles => roles.iter().map(|role| role.word()).collect::<Vec<_>>().join(", "),
    };
    let row = |right: Right| {
        let beside = match right.beside {
            Beside::Floor => "floor",
            Beside::Quality => "quality",
        };
        let program = right.scope.map_or("no", |scope| scope.word());
        format!("| {} | {} | {program} | {} | {beside} |", right.does, list(right.roles), list(right.strikes))
    };
    let mut rows: Vec<String> = BodyKind::ALL.iter().filter_map(|kind| right(*kind)).map(row).collect();
    rows.dedup();
    let readme = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../../README.md")).unwrap();
    let (_, table) = readme.split_once("| to | roles that may |").unwrap();
    let kept: Vec<&str> = table.lines().skip(2).take_while(|line| line.starts_with('|')).collect();
    assert_eq!(kept, rows, "\n{}\n", rows.join("\n"));
}

#[test]
fn a_badge_says_what_it_may_do() {
    let scene = staffed().granted("S-1", &[Stores, Laminator, Quality], "Mon 08:00").granted("L-1", &[], "Mon 08:00");
    let scene = scene.out("R-1", "Tue 06:00").by("B-8");
    for (badge, words) in [
        ("S-1", "S-1 has the roles stores, laminator and quality."),
        ("V-1", "V-1 has the role supervisor."),
        ("L-1", "L-1 has no role here any more."),
        ("I-1", "I-1 has the role integrator, within read, facts, decisions."),
        ("B-8", "B-8 has no role here."),
    ] {
        scene.look(&format!("badge/{badge}"), "Tue 08:00").says(words);
    }
    Scene::yard().look("badge/B-1", "Tue 08:00").says("badge B-1: 0 entries.");
}
