//! Lists, warnings, handovers and take-out lists are never kinder than *may I use it?* is about the same thing and act:
//! no instant is later, no limit has more left, nothing held or struck is offered, and nothing told makes any of it better.
//! And no receipt, whenever it is written and whatever it states, makes known out-time undone.

use crate::look::*;
use crate::random::*;
use crate::scene::{Scene, millimetres, stamp, thing};
use domain::stock::{Filter, stretch};
use domain::{Book, MayUseQuestion, TakeOutQuestion, WarningsQuestion, When};
use proptest::prelude::*;
use shared_types::*;

type Case = Result<(), TestCaseError>;

/// A random yard in which two jobs need some of what is there, with spare time.
fn needing(ops: &[Op]) -> Scene {
    let mut scene = yard(ops);
    for (job, part) in [("J-2", "P-2"), ("J-3", "P-3")] {
        let needs = vec![Need { material: crate::scene::code("PM-101"), length_mm: millimetres(30) }];
        let plan = crate::facts::plan(part, "Wed 12:00", "Thu 12:00");
        scene = scene.declares(job, Body::JobOpened(Job { needs, ..plan }));
    }
    scene.declares("yard/YARD", Body::YardDeclared(crate::scene::lisbon(1)))
}

fn asked(thing: &ThingName, act: Act, job: Option<&Code>, stage: Option<&StageName>, when: When) -> MayUseQuestion {
    MayUseQuestion { thing: thing.clone(), act, job: job.cloned(), stage: stage.cloned(), when }
}

/// The limits of a thing, or of a stage of it, as they stand by themselves.
fn rows(book: &Book, of: &ThingName, stage: Option<&StageName>, when: When) -> Vec<LimitRow> {
    let Some(seen) = domain::thing_view(book, of, when) else { return Vec::new() };
    match stage {
        None => seen.limits,
        Some(stage) => seen.stages.into_iter().find(|one| one.stage == *stage).map_or(Vec::new(), |one| one.limits),
    }
}

/// What a list says of a limit, against the limit's own row.
#[derive(Debug)]
struct Said<'a> {
    of: &'a ThingName,
    stage: Option<&'a StageName>,
    limit: LimitName,
    ends_at: Option<Stamp>,
    left_s: i64,
}

fn no_kinder_than_the_limit(book: &Book, said: &Said<'_>, when: When) -> Case {
    let rows = rows(book, said.of, said.stage, when);
    let row = rows.iter().find(|row| row.limit == said.limit);
    prop_assert!(row.is_some(), "{said:?}: no such limit");
    if let Some(row) = row {
        prop_assert!(row.missing.is_none() && row.none_by.is_none(), "{said:?} {row:?}");
        for left in row.left_s.into_iter().chain(row.left_s_if_never_started) {
            prop_assert!(said.left_s <= left, "{said:?} {row:?}");
        }
        if let (Some(said_at), Some(ends)) = (said.ends_at, row.ends_at) {
            prop_assert!(said_at.at <= ends.at, "{said:?} {row:?}");
        }
    }
    Ok(())
}

fn no_later(said: Option<Stamp>, of: Option<Stamp>, what: &str) -> Case {
    if let Some(said) = said {
        prop_assert!(of.is_some_and(|of| said.at <= of.at), "{what}: {said} is later than {of:?}");
    }
    Ok(())
}

/// Minutes of `19 h 5 min` at the end of a sentence.
fn minutes(words: &str) -> i64 {
    let words: Vec<&str> = words.trim_end_matches('.').split(' ').collect();
    let of = |pair: &[&str]| pair[0].parse::<i64>().unwrap() * if pair[1] == "h" { 60 } else { 1 };
    words.chunks(2).map(of).sum()
}

/// For a job nothing more is said to be left than its own rows leave, were it laid now; and the limit named as the first
/// is the first of them.
fn answers_for_a_job_are_careful(book: &Book, when: When) -> Case {
    let rolls_and_kits = THINGS.map(thing).into_iter().filter(|of| [Kind::Roll, Kind::Kit].contains(&of.kind()));
    for of in rolls_and_kits.filter(|of| book.label(of).is_some()) {
        for (job, act) in ["J-2", "J-3"].into_iter().flat_map(|job| [TakeOut, Cut, Lay].map(|act| (job, act))) {
            let job = crate::scene::code(job);
            let answer = domain::may_use(book, &asked(&of, act, Some(&job), None, when)).unwrap();
            if answer.answer != Yes {
                continue;
            }
            let left = |of: &[LimitName]| {
                answer.limits.iter().filter(|row| of.contains(&row.limit)).filter_map(|row| row.left_s).min()
            };
            let governing = answer.governing.and_then(|name| left(&[name]));
            prop_assert_eq!(governing, left(&[Tack, Out, ToCure, Shelf]), "{:#?}", answer);
            let to_oven_s = crate::when::instant("Thu 12:00").since(when.at) / 1000;
            let least = left(&[Out, ToCure, Shelf]).unwrap_or(i64::MAX) - to_oven_s;
            match answer.say.split_once("oven starts: ") {
                Some((_, said)) => {
                    prop_assert!(minutes(said.split(" of its").next().unwrap()) * 60 <= least, "{least}: {answer:#?}")
                }
                None => prop_assert!(answer.say.contains("if its first ply goes down"), "{answer:#?}"),
            }
        }
    }
    Ok(())
}

/// Every limit in a list, by thing, stage and limit.
fn listed(book: &Book, when: When) -> Vec<(ThingName, Option<StageName>, LimitName, Stamp, i64)> {
    let lines = domain::runs_out(book, 2_000, when).lines;
    lines.into_iter().map(|line| (line.thing, line.stage, line.limit, line.ends_at, line.left_s)).collect()
}

fn stocked(book: &Book, when: When) -> Vec<StockRow> {
    let kinds = [Kind::Roll, Kind::Kit, Kind::Part, Kind::Job];
    kinds.into_iter().flat_map(|kind| stretch(book, kind, &Filter::default(), None, 99, 99, when).rows).collect()
}

fn take_out(book: &Book, when: When) -> TakeOutList {
    let until = Some(when.at.plus_ms(14 * 86_400_000));
    domain::take_out_list(book, &TakeOutQuestion { until, when })
}

fn warned(book: &Book, when: When) -> Vec<Warning> {
    let question = WarningsQuestion { within_h: 2_000, shelf_within_h: 20_000, ..WarningsQuestion::usual(when) };
    domain::warnings(book, &question).warnings
}

fn lists_are_careful(book: &Book, when: When) -> Case {
    for (of, stage, limit, ends_at, left_s) in listed(book, when) {
        let said = Said { of: &of, stage: stage.as_ref(), limit, ends_at: Some(ends_at), left_s };
        no_kinder_than_the_limit(book, &said, when)?;
    }
    for row in stocked(book, when) {
        let seen = domain::thing_view(book, &row.thing, when).unwrap();
        prop_assert_eq!(&row.holds, &seen.holds);
        if row.thing.kind() == Kind::Job {
            continue;
        }
        let Some(first) = &row.ends_first else { continue };
        let said = Said {
            of: &row.thing,
            stage: first.stage.as_ref(),
            limit: first.limit,
            ends_at: first.ends_at,
            left_s: first.left_s,
        };
        no_kinder_than_the_limit(book, &said, when)?;
        // It is the first: no other limit that runs ends before it.
        if first.stage.is_none() {
            for row in seen.limits.iter().filter(|row| row.limit != ToCure) {
                if let (Some(ends), Some(first)) = (row.ends_at, first.ends_at) {
                    prop_assert!(first.at <= ends.at, "{first} {row:?}");
                }
            }
        }
    }
    Ok(())
}

fn warnings_are_careful(book: &Book, when: When) -> Case {
    for one in warned(book, when) {
        prop_assert!(one.act_by.at <= one.ends_at.at, "{one:?}");
        let Some(limit) = one.limit.filter(|_| one.about == WarningAbout::LimitEnds) else { continue };
        let said =
            Said { of: &one.thing, stage: one.stage.as_ref(), limit, ends_at: Some(one.ends_at), left_s: one.left_s };
        no_kinder_than_the_limit(book, &said, when)?;
    }
    Ok(())
}

/// Whether a roll would be out if somebody had received it long ago, in a freezer truck.
fn is_out(book: &Book, of: &ThingName, when: When) -> bool {
    let body = Body::RollReceived(RollReceived {
        material: crate::scene::code("PM-101"),
        revision: crate::scene::code("A"),
        batch: crate::scene::code("B-1"),
        length_mm: millimetres(50_000),
        width_mm: None,
        from: Some(crate::scene::code("TR")),
        opening: None,
    });
    let mut book = book.clone();
    let mut entry = Scene::empty().entry("R-1", "Mon 05:00", body).entries.remove(0);
    (entry.thing, entry.id) = (of.clone(), uuid::Uuid::from_u128(u128::MAX));
    book.insert(&entry);
    let seen = domain::thing_view(&book, of, When { known: u64::MAX, ..when }).unwrap();
    matches!(seen.whereabouts, Whereabouts::Out { since, .. } if stamp("Mon 05:00").at < since.at)
}

fn handover_is_careful(book: &Book, when: When) -> Case {
    let shift = domain::handover(book, when);
    for one in &shift.out {
        for act in [Cut, Lay] {
            let answer = domain::may_use(book, &asked(&one.thing, act, None, None, when)).unwrap();
            no_later(one.last_ply_by, answer.last_ply_by, &one.say)?;
            no_later(one.heating_by, answer.heating_by, &one.say)?;
            let usable = one.last_ply_by.is_some() || one.heating_by.is_some();
            prop_assert!(!usable || answer.holds.is_empty(), "held: {one:?}");
        }
    }
    let today = domain::today(book, when).tonight;
    for one in shift.waiting.iter().chain(&today) {
        let answer = domain::may_use(book, &asked(&one.part, Oven, None, Some(&one.stage), when)).unwrap();
        match answer.answer {
            Yes | NotYet => no_later(one.heating_by, answer.heating_by, &one.say)?,
            _ => {
                // Over a limit already, or held: still no later than the limits that can be read.
                for row in answer.limits.iter().filter(|row| row.limit != Tack && !row.not_confirmed) {
                    let late = one.heating_by.zip(row.ends_at).is_some_and(|(by, ends)| ends.at < by.at);
                    prop_assert!(!late, "{one:?} {row:?}");
                }
            }
        }
    }
    // What is out is not left out, whether anybody received it or not.
    for row in stocked(book, when) {
        let seen = domain::thing_view(book, &row.thing, when).unwrap();
        let unreceived = seen.mismatches.iter().any(|one| one.kind == "not_received");
        let out = row.whereabouts.state() == State::Out || unreceived && is_out(book, &row.thing, when);
        if row.thing.kind() == Kind::Roll && out {
            prop_assert!(shift.out.iter().any(|one| one.thing == row.thing), "{row:?}");
        }
    }
    Ok(())
}

fn take_out_is_careful(book: &Book, when: When) -> Case {
    let list = take_out(book, when);
    let mut taken: Vec<(ThingName, u64)> = Vec::new();
    for line in list.lines.iter().filter(|line| !line.say.contains("It will not make it")) {
        let (act, at) = if line.out { (Cut, when.at) } else { (Lay, line.lay_at.at) };
        let then = When { at, ..when };
        let answer = domain::may_use(book, &asked(&line.thing, act, Some(&line.job), None, then)).unwrap();
        prop_assert!(answer.answer == Yes && answer.holds.is_empty(), "{line:?} {answer:?}");
        prop_assert!(line.out_by.at <= line.lay_at.at, "{line:?}");
        taken.push((line.thing.clone(), line.length_mm.unwrap_or(0)));
    }
    for line in list.lines.iter().filter(|line| line.length_mm.is_some()) {
        let all: u64 = taken.iter().filter(|(of, _)| *of == line.thing).map(|(_, mm)| mm).sum();
        let left = domain::thing_view(book, &line.thing, when).and_then(|seen| seen.length_left_mm).unwrap_or(0);
        prop_assert!(i64::try_from(all).unwrap() <= left, "{line:?}: {all} of {left}");
    }
    Ok(())
}

/// Nothing that stood in a list before says more now.
fn no_better(before: &Book, after: &Book, when: When) -> Case {
    let now = listed(after, when);
    for (of, stage, limit, ends_at, left_s) in listed(before, when) {
        let same = now.iter().find(|one| (&one.0, &one.1, one.2) == (&of, &stage, limit));
        prop_assert!(same.is_some(), "{of} {stage:?} {limit:?} ended {ends_at} and is not listed any more");
        if let Some((.., ends, left)) = same {
            prop_assert!(ends.at <= ends_at.at && *left <= left_s, "{of} {limit:?}: {ends_at} became {ends}");
        }
    }
    let now = domain::handover(after, when).out;
    for one in domain::handover(before, when).out {
        let same = now.iter().find(|other| other.thing == one.thing);
        prop_assert!(same.is_some(), "{one:?} is not out any more");
        let same = same.unwrap();
        no_later(same.last_ply_by, one.last_ply_by, &same.say)?;
        no_later(same.heating_by, one.heating_by, &same.say)?;
    }
    let short = |book| take_out(book, when).short;
    let (was, is) = (short(before), short(after));
    for one in was {
        let usable = is.iter().find(|other| (&other.job, &other.material) == (&one.job, &one.material));
        prop_assert!(usable.is_some_and(|now| now.usable_mm <= one.usable_mm), "{one:?} became {usable:?}");
    }
    let rows = stocked(after, when);
    for row in stocked(before, when).into_iter().filter(|row| row.thing.kind() != Kind::Job) {
        let same = rows.iter().find(|other| other.thing == row.thing).unwrap();
        prop_assert!(row.holds.iter().all(|hold| same.holds.contains(hold)));
        if let (Some(was), Some(is)) = (&row.ends_first, &same.ends_first)
            && was.limit == is.limit
        {
            prop_assert!(is.left_s <= was.left_s, "{was:?} became {is:?}");
        }
    }
    Ok(())
}

/// The same yard, whose rolls were received with this opening, in a freezer truck that nobody strikes.
fn received_with(mut scene: Scene, at: Instant, opening: Opening) -> Scene {
    let truck = scene.entries.iter().find(|entry| entry.thing == thing("place/TR")).map(|entry| entry.id);
    scene.entries.retain(|entry| entry.strikes.is_none() || entry.strikes != truck);
    let receipts = scene.entries.iter_mut().filter_map(|entry| match &mut entry.body {
        Body::RollReceived(receipt) => Some((&mut entry.occurred_at, receipt)),
        _ => None,
    });
    for (occurred_at, receipt) in receipts {
        occurred_at.at = at;
        (receipt.from, receipt.opening) = (Some(crate::scene::code("TR")), Some(opening.clone()));
    }
    scene
}

/// Out-time and returns so far: of rolls by limit; of kits and stages by each roll in them, since the row of a limit is
/// that of whichever roll ends first.
fn so_far(book: &Book, when: When) -> Vec<(String, i64)> {
    let mut all = Vec::new();
    for of in THINGS.map(thing) {
        let Some(seen) = domain::thing_view(book, &of, when) else { continue };
        let rows =
            seen.limits.iter().filter(|row| of.kind() == Kind::Roll && [Out, Tack, Returns].contains(&row.limit));
        all.extend(rows.filter_map(|row| Some((format!("{of} {:?}", row.limit), row.so_far_s.or(row.so_far)?))));
        for card in domain::out_time_card(book, &of, when).into_iter().flat_map(|card| card.cards) {
            let name = format!("{of} {:?} {:?} {}", card.stage, card.kit, card.item);
            all.extend(card.out_time_s.map(|so_far| (name.clone(), so_far)));
            all.extend(card.refreezes.map(|so_far| (format!("{name} Refreezes"), so_far)));
        }
    }
    all
}

proptest! {
    #![proptest_config(cases(150))]

    #[test]
    fn no_receipt_makes_known_out_time_undone(
        ops in ops(20), received in 0..9_000_i64, before in 0..9_000_i64, out_h in 0..90_u32, minute in 0..16_000_i64,
    ) {
        let at = |minute: i64| Stamp { at: at_minute(minute), offset_s: 0 };
        let with = |out_h: u32, refreezes: u32, as_of: Stamp| {
            let opening =
                Opening { out_time_s: crate::when::hours(out_h.into()), refreezes, as_of, source: OpeningSource::Card };
            let book = received_with(yard(&ops), at_minute(received), opening).book();
            so_far(&book, When::now(at_minute(minute)))
        };
        // From before everything on, the facts alone say how long it was out.
        let known = with(0, 0, at(-600_000));
        let stated = with(out_h, out_h / 40, at(received - before));
        prop_assert_eq!(known.len(), stated.len());
        for ((of, known), (same, so_far)) in known.into_iter().zip(stated) {
            prop_assert_eq!(&of, &same);
            prop_assert!(known <= so_far, "{}: {} is known, {} is said", of, known, so_far);
            if !of.ends_with("Refreezes") {
                prop_assert!(i64::from(out_h) * 3_600 <= so_far, "{of}: {so_far}");
            }
        }
    }

    #[test]
    fn no_list_is_kinder_than_may_use(ops in ops(24), minute in 0..16_000_i64) {
        let (book, when) = (needing(&ops).book(), When::now(at_minute(minute)));
        lists_are_careful(&book, when)?;
        warnings_are_careful(&book, when)?;
        handover_is_careful(&book, when)?;
        take_out_is_careful(&book, when)?;
        answers_for_a_job_are_careful(&book, when)?;
    }

    #[test]
    fn nothing_is_said_of_a_stage_in_which_something_lies_that_nobody_cut(
        ops in ops(12), struck in any::<bool>(), minute in 0..4_000_i64,
    ) {
        let scene = needing(&ops).out("R-1", "Mon 06:10").cut("N-9", "R-1", "K-9", "Mon 06:20").named("cut");
        let scene = scene.laid("P-1", "K-9", "Mon 06:30").laid("P-1", "R-1", "Mon 06:40").length(1);
        let scene = if struck { scene.strike("cut", "Mon 06:50") } else { scene };
        let when = When::now(at_minute(minute));
        if !crate::uncut::all_plies_are_known(&scene, when.at) {
            let (book, stage, part) = (scene.book(), crate::scene::stage_name("skin"), thing("P-1"));
            let answer = domain::may_use(&book, &asked(&part, Oven, None, Some(&stage), when)).unwrap();
            prop_assert!(CannotSay <= answer.answer && answer.heating_by.is_none(), "{answer:#?}");
            prop_assert!(CannotSay <= domain::may_install(&book, &part, None, when).unwrap().answer);
            let shift = domain::handover(&book, when).waiting.into_iter().chain(domain::today(&book, when).tonight);
            for one in shift.filter(|one| one.part == part) {
                prop_assert!(one.heating_by.is_none(), "{one:?}");
            }
        }
    }

    #[test]
    fn what_is_told_makes_no_list_better(ops in ops(20), told in op(), minute in 0..16_000_i64) {
        let before = with_its_places(needing(&ops));
        // As in the law of answers: into a freezer only, for one in a room counts as the scanned one does.
        let told = Op { kind: told.kind % 12, place: told.place % 2, told: true, ..told };
        let after = happens(before.clone(), &told);
        no_better(&before.book(), &after.book(), When::now(at_minute(minute)))?;
    }

    #[test]
    fn what_was_never_received_or_is_held_is_offered_to_nobody(ops in ops(20), minute in 0..16_000_i64) {
        let mut scene = needing(&ops).hold("R-1", "Mon 06:00");
        let receipts: Vec<Entry> = scene.entries.iter().filter(|entry| entry.thing == thing("R-2") && matches!(entry.body, Body::RollReceived(_))).cloned().collect();
        for receipt in receipts {
            let body = Body::EntryStruck(Strike { why: "wrong".to_owned(), instead: None });
            scene = scene.entry("R-2", "Mon 06:00", body).change(|entry| entry.strikes = Some(receipt.id));
        }
        let (book, when) = (scene.book(), When::now(at_minute(minute)));
        let lifted = ops.iter().any(|op| op.kind == 22 || op.kind == 24);
        for line in take_out(&book, when).lines {
            let of_it = line.say.contains("It will not make it");
            prop_assert!(line.thing != thing("R-2") || of_it, "{line:?}");
            prop_assert!(lifted || line.thing != thing("R-1") || of_it, "{line:?}");
        }
        prop_assert!(listed(&book, when).iter().all(|(of, ..)| *of != thing("R-2")));
        for one in domain::handover(&book, when).out {
            // Out it may be; until when it may be used nobody can say.
            prop_assert!(one.thing != thing("R-2") || one.last_ply_by.is_none() && one.heating_by.is_none(), "{one:?}");
            prop_assert!(lifted || one.thing != thing("R-1") || one.last_ply_by.is_none() && one.heating_by.is_none(), "{one:?}");
        }
    }
}
