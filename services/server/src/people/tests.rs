use super::*;
use crate::clock::SetClock;
use std::fs;
use std::net::IpAddr;
use tempfile::TempDir;

const PASSWORD: &str = "a boat on a cold slip";

struct Yard {
    data: TempDir,
    clock: Arc<SetClock>,
    people: People,
}

fn yard() -> Yard {
    let data = tempfile::tempdir().unwrap();
    let clock = Arc::new(SetClock::new(Instant(1_780_000_000_000)));
    let people = People::open(data.path(), clock.clone()).unwrap();
    Yard { data, clock, people }
}

fn code(text: &str) -> Code {
    Code::new(text).unwrap()
}

fn shows(badge: &str, password: &str, one_time: &str) -> Shows {
    Shows::Password { badge: badge.to_owned(), password: password.to_owned(), one_time: one_time.to_owned() }
}

fn here() -> Option<IpAddr> {
    Some("127.0.0.1".parse().unwrap())
}

#[test]
fn a_password_and_a_one_time_code_prove_who_it_is_and_the_code_only_once() {
    let Yard { data: _data, clock, people } = yard();
    let secret = one_time::new_secret(clock.as_ref()).unwrap();
    people.keep_sign_in(&code("A-1"), "Ana Example", PASSWORD, Some(secret.clone())).unwrap();
    let now = one_time::at(&secret, clock.now());
    let proven = people.prove(&shows("a-1", PASSWORD, &now), here(), |_| true).unwrap();
    assert_eq!(proven, Proven { badge: code("A-1"), known: KnownBy::Password, two_factors: true });
    assert_eq!(people.prove(&shows("A-1", PASSWORD, &now), here(), |_| true), Err(NotProven::Wrong));
    clock.advance_ms(30_000);
    let next = one_time::at(&secret, clock.now());
    assert_eq!(people.prove(&shows("A-1", "something else now", &next), here(), |_| true), Err(NotProven::Wrong));
    assert_eq!(people.prove(&shows("A-1", PASSWORD, ""), here(), |_| true), Err(NotProven::Wrong));
    assert!(people.prove(&shows("A-1", PASSWORD, &next), here(), |_| true).is_ok());
}

#[test]
fn a_password_alone_is_enough_only_for_who_needs_no_code() {
    let Yard { data: _data, people, clock: _clock } = yard();
    people.keep_sign_in(&code("B-17"), "Rui Example", PASSWORD, None).unwrap();
    assert!(people.prove(&shows("B-17", PASSWORD, ""), here(), |_| false).is_ok_and(|proven| !proven.two_factors));
    assert_eq!(people.prove(&shows("B-17", PASSWORD, ""), here(), |_| true), Err(NotProven::NeedsOneTime));
}

#[test]
fn wrong_tries_slow_down_alike_whether_or_not_anybody_has_the_badge() {
    let Yard { data: _data, people, clock } = yard();
    people.keep_sign_in(&code("B-17"), "Rui Example", PASSWORD, None).unwrap();
    let tried = |badge: &str| -> Vec<NotProven> {
        (0..6).filter_map(|_| people.prove(&shows(badge, "not the password", ""), None, |_| false).err()).collect()
    };
    let known = tried("B-17");
    assert_eq!(known, tried("B-99"));
    assert_eq!(known.last(), Some(&NotProven::Wait(1)));
    // Not even the right one is taken before the wait is over.
    assert_eq!(people.prove(&shows("B-17", PASSWORD, ""), None, |_| false), Err(NotProven::Wait(1)));
    clock.advance_ms(1_000);
    assert!(people.prove(&shows("B-17", PASSWORD, ""), None, |_| false).is_ok());
}

#[test]
fn a_badge_that_is_spelt_in_many_ways_waits_as_one() {
    let Yard { data: _data, people, clock: _clock } = yard();
    people.keep_sign_in(&code("É-É-1"), "Rui Example", PASSWORD, None).unwrap();
    // Composed and not (Unicode Standard Annex #15): to people, and in a code, it is the same letter.
    let spelt = ["É-É-1", "e\u{301}-é-1", "é-E\u{301}-1", "E\u{301}-E\u{301}-1", " é-é-1", "E\u{301}-É-1"];
    let tried: Vec<NotProven> =
        spelt.iter().filter_map(|badge| people.prove(&shows(badge, "not it", ""), None, |_| false).err()).collect();
    assert_eq!(tried.last(), Some(&NotProven::Wait(1)), "{tried:?}");
}

#[test]
fn a_badge_is_known_by_its_symbol_and_a_new_symbol_ends_the_old_one() {
    let Yard { data: _data, people, clock: _clock } = yard();
    let old = people.new_badge(&code("B-17")).unwrap();
    assert!(old.starts_with(BADGE));
    let proven = people.prove(&Shows::Badge(old.clone()), here(), |_| true).unwrap();
    assert_eq!(proven, Proven { badge: code("B-17"), known: KnownBy::Badge, two_factors: false });
    let new = people.new_badge(&code("B-17")).unwrap();
    assert_eq!(people.prove(&Shows::Badge(old), here(), |_| true), Err(NotProven::Wrong));
    // What stands on the badge in letters opens nothing.
    assert_eq!(people.prove(&Shows::Badge("B-17".to_owned()), here(), |_| true), Err(NotProven::Wrong));
    assert!(people.prove(&Shows::Badge(new.clone()), here(), |_| true).is_ok());
    people.withdraw(&code("B-17")).unwrap();
    assert_eq!(people.prove(&Shows::Badge(new), here(), |_| true), Err(NotProven::Wrong));
}

#[test]
fn secrets_are_found_again_after_a_restart_and_stand_nowhere_as_they_are() {
    let Yard { data, clock, people } = yard();
    let (device, program) =
        (people.keep_device(&code("H-1")).unwrap(), people.keep_program("T-1", &code("P-1")).unwrap());
    let badge = people.new_badge(&code("B-17")).unwrap();
    people.keep_sign_in(&code("B-17"), "Rui Example", PASSWORD, None).unwrap();
    let again = People::open(data.path(), clock).unwrap();
    assert_eq!(again.device_of(&device), Some(code("H-1")));
    assert_eq!(again.device_of(&program), None);
    assert!(again.program_of(&program).is_some_and(|(name, program)| name == "T-1" && program.badge == "P-1"));
    let text = fs::read_to_string(data.path().join("people/people.json")).unwrap();
    for secret in [&device, &program, &badge, PASSWORD] {
        assert!(!text.contains(secret));
    }
}

#[test]
fn a_reset_leaves_a_code_that_the_next_start_takes_once() {
    let Yard { data, clock, people } = yard();
    let code = people.reset().unwrap();
    let again = People::open(data.path(), clock.clone()).unwrap();
    assert!(again.codes.begin(&code, clock.as_ref()).unwrap().is_some_and(|waiting| waiting.what == For::SetUp));
    again.codes.take(&code, clock.now()).unwrap();
    again.forget_set_up_code().unwrap();
    let after = People::open(data.path(), clock.clone()).unwrap();
    assert!(after.codes.begin(&code, clock.as_ref()).unwrap().is_none());
}

#[test]
fn the_same_is_news_once_a_minute() {
    let Yard { data: _data, people, clock } = yard();
    assert!(people.is_news(&code("B-17"), "lift_hold"));
    assert!(!people.is_news(&code("B-17"), "lift_hold"));
    assert!(people.is_news(&code("B-17"), "settle") && people.is_news(&code("B-18"), "lift_hold"));
    clock.advance_ms(FOLDED_MS);
    assert!(people.is_news(&code("B-17"), "lift_hold"));
}
