//! What the log says of badges, devices and tokens counts from its entry on, and never before.

use crate::scene::{Scene, code};
use crate::when::instant;
use domain::standing::{Standing, device, is_set_up, roles_of, set_up, token, who_has};
use shared_types::{Role::*, Scope};

#[test]
fn a_yard_is_set_up_once_somebody_is_an_administrator_and_stays_so() {
    let scene = Scene::yard().granted("B-2", &[Stores], "Mon 06:00");
    assert!(!is_set_up(&scene.book()));
    let scene = scene.granted("A-1", &[Administrator], "Mon 07:00");
    let first = u32::try_from(scene.entries.len()).unwrap();
    let scene = scene.granted("A-2", &[Administrator, Quality], "Mon 08:00").granted("A-1", &[], "Mon 09:00");
    let book = scene.book();
    assert!(is_set_up(&book) && set_up(&book, first) && !set_up(&book, first - 1));
    assert_eq!(who_has(&book, Administrator).map(|badge| book.code(badge)).collect::<Vec<_>>(), [code("A-2")]);
}

#[test]
fn a_grant_replaces_the_whole_set_and_an_empty_one_means_that_they_left() {
    let scene = Scene::yard().granted("B-2", &[Stores, Laminator], "Mon 06:00");
    let roles = |scene: &Scene| roles_of(&scene.book(), &code("B-2")).map(|grant| grant.roles.clone());
    assert_eq!(roles(&scene), Some(vec![Stores, Laminator]));
    let scene = scene.granted("B-2", &[Supervisor], "Mon 07:00");
    assert_eq!(roles(&scene), Some(vec![Supervisor]));
    let scene = scene.granted("B-2", &[], "Mon 08:00");
    assert_eq!(roles(&scene), Some(Vec::new()));
    assert_eq!(roles_of(&scene.book(), &code("B-3")), None);
}

#[test]
fn the_later_entry_counts_whatever_time_it_names() {
    let scene = Scene::yard().granted("B-2", &[Stores], "Tue 06:00").granted("B-2", &[Reader], "Mon 06:00");
    assert_eq!(roles_of(&scene.book(), &code("B-2")).unwrap().roles, [Reader]);
}

#[test]
fn a_device_is_enrolled_until_it_is_revoked() {
    let scene = Scene::yard().out("R-1", "Mon 05:00").claimed_device("H-3", 1);
    assert_eq!(device(&scene.book(), &code("H-3")), Standing::NotEnrolled);
    assert_eq!(device(&scene.book(), &code("H-4")), Standing::NotEnrolled);
    let scene = scene.enrolled("H-3", "Mon 06:00");
    assert_eq!(device(&scene.book(), &code("H-3")), Standing::Enrolled);
    let scene = scene.revoked("H-3", "Mon 07:00");
    assert_eq!(device(&scene.book(), &code("H-3")), Standing::Revoked);
}

#[test]
fn a_token_holds_until_it_ends_or_is_revoked() {
    let scene = Scene::yard().integrates("X-1", &[Scope::Read], "Mon 05:00");
    let scene = scene.token_issued("X-1", &[Scope::Read], Some("Tue 06:00"), "Mon 06:00").named("token");
    let found = token(&scene.book(), &scene.id("token")).unwrap();
    assert_eq!((&found.badge, found.scopes.as_slice()), (&code("X-1"), &[Scope::Read][..]));
    assert!(found.holds(instant("Tue 05:59")) && !found.holds(instant("Tue 06:00")));
    let revoked = scene.clone().token_revoked("X-1", "token", "Mon 07:00");
    assert!(!token(&revoked.book(), &scene.id("token")).unwrap().holds(instant("Mon 08:00")));
    // What is no token is none.
    let other = scene.out("R-1", "Mon 08:00").named("out");
    assert_eq!(token(&other.book(), &other.id("out")), None);
}
