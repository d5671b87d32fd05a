//! The list of devices: what came from each by its own count, what never arrived, and who may record.

use crate::look::when;
use crate::scene::Scene;
use domain::devices::devices;
use shared_types::{DeviceIs, DeviceStanding, DeviceView, KnownBy, Missing};

fn seen(scene: &Scene, name: &str, at: &str) -> DeviceView {
    let list = devices(&scene.book(), when(at));
    list.devices.into_iter().find(|one| one.device.short() == name).unwrap()
}

fn scans(scene: Scene, device: &str, counters: &[u64]) -> Scene {
    counters.iter().fold(scene, |scene, counter| scene.seen("R-1", "F1", "Tue 06:00").device(device, *counter))
}

#[test]
fn what_never_arrived_is_named_by_the_devices_own_count() {
    let scene = scans(Scene::yard().enrolled("H-3", "Mon 06:00"), "H-3", &[116, 117, 122, 123]);
    let device = seen(&scene, "H-3", "Tue 08:00");
    assert_eq!((device.last_counter, device.missing_count, device.entries), (Some(123), 4, 4));
    assert_eq!(device.missing, [Missing { from: 118, to: 121 }]);
    let words = "H-3 is enrolled: a handheld at F1. Something came from it last Tue 06:00. 118 to 121 never arrived.";
    assert_eq!(device.say, words);
    // What comes after all closes the gap, in whatever order.
    let scene = scans(scene, "H-3", &[121, 118, 120]);
    assert_eq!(seen(&scene, "H-3", "Tue 08:00").missing, [Missing { from: 119, to: 119 }]);
    assert_eq!(seen(&scans(scene, "H-3", &[119]), "H-3", "Tue 08:00").missing, []);
}

#[test]
fn many_gaps_are_counted_and_the_last_hundred_named() {
    let counters: Vec<u64> = (1..=151).map(|one| 2 * one).collect();
    let scene = scans(Scene::yard().enrolled("H-3", "Mon 06:00"), "H-3", &counters);
    let device = seen(&scene, "H-3", "Tue 08:00");
    assert_eq!((device.missing.len(), device.more_missing, device.missing_count), (100, 50, 150));
    assert_eq!(device.missing[0], Missing { from: 301, to: 301 });
    assert!(device.say.ends_with("150 of its scans never arrived."), "{}", device.say);
    let three = scans(Scene::yard(), "H-4", &[1, 3, 5, 9]);
    assert!(seen(&three, "H-4", "Tue 08:00").say.ends_with(" 2, 4, 6 to 8 never arrived."));
}

#[test]
fn a_device_that_was_revoked_stays_listed_with_what_is_missing() {
    let scene = scans(Scene::yard().enrolled("H-3", "Mon 06:00"), "H-3", &[1, 4]).revoked("H-3", "Tue 07:00");
    let device = seen(&scene, "H-3", "Tue 08:00");
    assert_eq!((device.standing, device.what), (DeviceStanding::Revoked, Some(DeviceIs::Handheld)));
    assert_eq!(device.missing, [Missing { from: 2, to: 3 }]);
    let words = "H-3 was revoked Tue 07:00: lost. Something came from it last Tue 06:00. 2 to 3 never arrived.";
    assert_eq!(device.say, words);
}

#[test]
fn a_device_that_nobody_enrolled_is_listed_once_something_names_it() {
    let scene = Scene::yard().out("R-1", "Tue 06:00").claimed_device("H-7", 5).enrolled("H-8", "Tue 06:30");
    let scene = scene.hold("device/H-9", "Tue 07:00");
    let list = devices(&scene.book(), when("Tue 08:00")).devices;
    let names: Vec<&str> = list.iter().map(|one| one.device.short()).collect();
    assert_eq!(names, ["H-7", "H-8"]);
    assert_eq!((list[0].standing, list[0].last_counter), (DeviceStanding::NotEnrolled, Some(5)));
    assert_eq!(list[1].say, "H-8 is enrolled: a handheld at F1. Nothing has come from it yet.");
}

#[test]
fn nobody_else_counts_for_an_enrolled_device() {
    let scene = scans(Scene::yard().enrolled("H-3", "Mon 06:00"), "H-3", &[1, 2]);
    let scene = scene.seen("R-1", "F1", "Tue 09:00").claimed_device("H-3", 900);
    let device = seen(&scene, "H-3", "Tue 10:00");
    assert_eq!((device.last_counter, device.missing_count, device.entries), (Some(2), 0, 2));
    // Its own scan of that number still comes.
    let scene = scans(scene, "H-3", &[900]);
    assert_eq!(seen(&scene, "H-3", "Tue 10:00").missing, [Missing { from: 3, to: 899 }]);
    // What it kept and could not send any more can be brought in by hand once it is revoked, and closes its gaps.
    let scene = scene.revoked("H-3", "Tue 11:00");
    let brought =
        (3..900).fold(scene, |scene, counter| scene.seen("R-1", "F1", "Tue 12:00").claimed_device("H-3", counter));
    assert_eq!(seen(&brought, "H-3", "Tue 13:00").missing_count, 0);
}

#[test]
fn a_device_says_itself_what_is_missing() {
    let scene = scans(Scene::yard().enrolled("H-3", "Mon 06:00"), "H-3", &[1, 4]).hold("device/H-9", "Tue 07:00");
    let words = "H-3 is enrolled: a handheld at F1. Something came from it last Tue 06:00. 2 to 3 never arrived.";
    scene.look("device/H-3", "Tue 08:00").says(words);
    scene.look("device/H-9", "Tue 08:00").says("device H-9: 1 entry.");
}

#[test]
fn the_list_reads_as_it_was_known() {
    let scene = scans(Scene::yard().enrolled("H-3", "Mon 06:00"), "H-3", &[1, 4]);
    let known = scene.entries.len() as u64;
    let scene = scans(scene, "H-3", &[2, 3]).revoked("H-3", "Tue 07:00");
    let then = domain::When { known, ..when("Tue 08:00") };
    let list = devices(&scene.book(), then).devices;
    assert_eq!((list[0].standing, list[0].missing_count, list[0].entries), (DeviceStanding::Enrolled, 2, 2));
}

#[test]
fn a_sign_in_is_heard_of_too() {
    let scene = Scene::yard().enrolled("H-3", "Mon 06:00").signed_in("B-2", "H-3", "Tue 06:00");
    let device = seen(&scene, "H-3", "Tue 08:00");
    assert_eq!((device.entries, device.last_counter), (1, None));
    assert_eq!(device.last_seen.map(|seen| seen.at), Some(crate::when::instant("Tue 06:00")));
    let claimed =
        scene.signed_in("B-2", "H-3", "Tue 07:00").change(|entry| entry.device_known = Some(KnownBy::Claimed));
    assert_eq!(seen(&claimed, "H-3", "Tue 08:00").entries, 1);
}
