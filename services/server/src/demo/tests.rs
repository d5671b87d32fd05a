use super::*;
use crate::{
    clock::SetClock,
    yard::{Options, Yard},
};
use domain::When;
use shared_types::{Act, MayUse, ThingName, Word};
use std::{collections::BTreeSet, sync::Arc};

/// 2026-05-06T05:00:00Z, a Wednesday.
const UNTIL: Instant = Instant(1_778_043_600_000);
const HOUR_MS: i64 = 3_600_000;

#[test]
fn the_year_ends_now_whatever_day_and_hour_it_is() {
    for hours in (0..24 * 9).step_by(7) {
        let until = UNTIL.plus_ms(hours * HOUR_MS);
        let year = make_up(1, until);
        let last = year.steps.iter().map(|step| step.at).max().unwrap();
        assert!(last <= until, "{:?}", year.steps.iter().find(|step| until < step.at));
        assert!(until.since(last) < 24 * HOUR_MS);
        assert!(year.steps.iter().all(|step| until.since(step.at) <= 366 * 24 * HOUR_MS));
        assert_eq!(year.missed, 0, "there was no material");
    }
}

#[test]
fn the_same_seed_gives_the_same_year() {
    let posted = |seed| make_up(seed, UNTIL).steps.iter().map(|step| step.posted.to_string()).collect::<Vec<_>>();
    assert_eq!(posted(1), posted(1));
    assert_ne!(posted(1), posted(2));
}

#[test]
fn everything_the_demo_is_for_is_in_it() {
    for seed in 1..20 {
        let year = make_up(seed, UNTIL);
        let names: BTreeSet<&str> = year
            .steps
            .iter()
            .filter_map(|step| {
                step.posted.get("kind").or_else(|| step.posted.get("decide")).and_then(|name| name.as_str())
            })
            .collect();
        for name in ["strike", "place_hold", "lift_hold", "part_installed", "disposed", "issue", "oven_run_ended"] {
            assert!(names.contains(name), "seed {seed}: {name}");
        }
        let told = year.steps.iter().filter(|step| {
            step.posted["occurred_at"].as_str().is_some_and(|at| {
                let at = shared_types::Stamp::parse(at).unwrap().at;
                15 * 60_000 < step.at.since(at)
            })
        });
        assert_eq!(told.count(), 1, "seed {seed}: one late take-out");
        assert_eq!(year.to_try.len(), 11, "{:#?}", year.to_try);
    }
}

/// The year as the server has it, read at its end.
fn written(seed: u64) -> (tempfile::TempDir, Yard) {
    let folder = tempfile::tempdir().unwrap();
    let request = Request { data: folder.path().join("yard"), seed, until: UNTIL };
    let (mut out, mut err) = (Vec::new(), Vec::new());
    assert!(run(&request, Progress::Silent, &mut out, &mut err).unwrap(), "{}", String::from_utf8(err).unwrap());
    let yard = Yard::open(&request.data, Options::new(Arc::new(SetClock::new(UNTIL)))).unwrap();
    (folder, yard)
}

fn may_use(yard: &Yard, thing: &str, act: Act, job: Option<&str>) -> MayUse {
    let question = domain::MayUseQuestion {
        thing: thing.parse().unwrap(),
        act,
        job: job.map(|job| shared_types::Code::new(job).unwrap()),
        stage: None,
        when: When::now(UNTIL),
    };
    domain::may_use(&yard.read(), &question).unwrap()
}

#[test]
fn nothing_in_the_year_fails_to_add_up_but_what_was_meant_to() {
    let (_folder, yard) = written(1);
    let book = yard.read();
    let found = domain::mismatches(&book, When::now(UNTIL)).mismatches;
    let kinds: Vec<&str> = found.iter().map(|mismatch| mismatch.kind.as_str()).collect();
    // The late take-out makes three, the wrong placard one.
    assert_eq!(kinds, ["out_while_out", "limit_over_at_act", "limit_over_at_act", "in_while_in"], "{found:#?}");
}

#[test]
fn the_late_take_out_changes_what_is_thought_of_a_past_act() {
    let (_folder, yard) = written(1);
    let book = yard.read();
    let year = make_up(1, UNTIL);
    let line = year.to_try.iter().find(|line| line.contains("told a day later")).unwrap();
    let thing: ThingName = format!("part/{}", line.split([' ', ':']).nth(1).unwrap()).parse().unwrap();
    let view = domain::thing_view(&book, &thing, When::now(UNTIL)).unwrap();
    let turned = |act: &&shared_types::JudgedAgain| act.then.answer == Word::Yes && act.now.answer == Word::No;
    assert_eq!(view.judged_again.iter().filter(turned).count(), 1, "{:#?}", view.judged_again);
}

#[test]
fn the_answers_at_its_end_are_worth_asking_for() {
    let (_folder, yard) = written(1);
    let roll = |to_try: &str| {
        let year = make_up(1, UNTIL);
        let line = year.to_try.iter().find(|line| line.contains(to_try)).unwrap().clone();
        format!("roll/{}", line.split([' ', ':']).nth(1).unwrap())
    };
    let splice = may_use(&yard, &roll("end of its out-life"), Act::Lay, None);
    assert_eq!(splice.answer, Word::Yes);
    let left = splice.limits.iter().find(|row| row.limit == shared_types::LimitName::OutLife).unwrap().left_s.unwrap();
    assert!((4 * 3600..5 * 3600).contains(&left), "{left}");
    let prepreg = roll("about a day of tack life left");
    assert_eq!(may_use(&yard, &prepreg, Act::Lay, Some("J-3210")).answer, Word::Yes);
    assert_eq!(may_use(&yard, &prepreg, Act::Lay, Some("J-3211")).answer, Word::No);
    assert_eq!(may_use(&yard, &roll("held"), Act::TakeOut, None).answer, Word::No);
    let twice = may_use(&yard, &roll("put away twice"), Act::Lay, None);
    assert_eq!((twice.answer, twice.ask.is_some()), (Word::Stop, true), "{twice:#?}");
}
