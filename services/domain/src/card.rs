//! The out-time card: the sums behind a number, as the trade writes them.

use crate::book::Book;
use crate::clock::{Charge, Clock};
use crate::fact::{Label, What};
use crate::history::{History, Puzzle, Spot};
use crate::kit::kit_life;
use crate::limits::ROLL_WARMS_MS;
use crate::question::When;
use crate::roll::{Life, roll_life};
use crate::say::{Say, ceil_s, floor_s, so_far};
use crate::stage::{Oven, stage_life, stages_of};
use crate::view::View;
use crate::{RULES, fact};
use shared_types::{CardLine, Instant, ItemCard, Kind, OpeningSource, OutTimeCard, StatedSeconds, ThingName};

/// Which entries stand behind a stretch that begins or ends at an instant.
type Behind<'a> = Vec<&'a History>;

pub fn out_time_card(book: &Book, thing: &ThingName, when: When) -> Option<OutTimeCard> {
    let view = View::new(book, when.known);
    let label = book.label(thing)?;
    let say = Say::of(view, when.at);
    let mut cards = Vec::new();
    match thing.kind() {
        Kind::Roll => {
            let roll = roll_life(view, label);
            cards.extend(
                roll.lives.iter().map(|life| card(view, label, life, &life.clock, &vec![&roll.history], when.at, &say)),
            );
            if let Some(card) = cards.first_mut() {
                card.lines.extend(struck(view, label, &say));
                card.lines.sort_by_key(|line| line.out.at);
            }
        }
        Kind::Kit => {
            let kit = kit_life(view, label);
            for item in kit.held_at(when.at) {
                let Some(roll) = kit.rolls.get(&item.roll) else { continue };
                let then = |life: &Life| {
                    let clock = life.clock.clone().then(item.cut_at, &kit.history);
                    kit.end.map_or(clock.clone(), |end| clock.ended(end.latest))
                };
                let behind: Behind<'_> = vec![&roll.history, &kit.history];
                cards.extend(
                    roll.lives.iter().map(|life| card(view, item.roll, life, &then(life), &behind, when.at, &say)),
                );
            }
        }
        Kind::Part => cards.extend(stage_cards(view, label, when.at, &say)),
        _ => return None,
    }
    Some(OutTimeCard {
        thing: thing.clone(),
        cards,
        at: say.stamp(when.at),
        as_of_seq: u64::from(view.known),
        rules: RULES.to_owned(),
    })
}

fn stage_cards(view: View<'_>, part: Label, at: Instant, say: &Say) -> Vec<ItemCard> {
    let mut cards = Vec::new();
    for name in stages_of(view, part) {
        let stage = stage_life(view, part, &name);
        // Of what nobody recorded the cut there is no sum.
        for item in stage.lying(at).filter(|item| !item.cut_unknown) {
            let roll = roll_life(view, item.roll);
            let kit = item.kit.map(|kit| kit_life(view, kit).history);
            let mut behind: Behind<'_> = vec![&roll.history];
            behind.extend(kit.as_deref());
            let oven = stage.oven_of(item, at);
            let started = oven.run();
            let unsure = started.filter(|run| run.told || matches!(oven, Oven::Provisional(_)));
            for life in &item.lives {
                let clock = started.map_or(life.clock.clone(), |run| life.clock.clone().ended(run.start));
                let mut of_roll = card(view, item.roll, life, &clock, &behind, at, say);
                if let Some((run, last)) = unsure.zip(of_roll.lines.last_mut()) {
                    let stops = format!("stops as oven run {} starts, not confirmed", view.book.name(run.run).short());
                    last.note = Some(last.note.take().map_or(stops.clone(), |note| format!("{note}; {stops}")));
                }
                let kit = item.kit.map(|kit| view.book.name(kit).clone());
                cards.push(ItemCard { stage: Some(name.clone()), kit, ..of_roll });
            }
        }
    }
    cards
}

fn card(
    view: View<'_>,
    item: Label,
    life: &Life,
    clock: &Clock,
    behind: &Behind<'_>,
    at: Instant,
    say: &Say,
) -> ItemCard {
    let seconds = |stated: Option<&StatedSeconds>| match stated {
        Some(StatedSeconds::Limit(limit)) => Some(limit.as_ms()),
        Some(StatedSeconds::None(_)) | None => None,
    };
    let revision = life.revision.as_ref();
    let tack = revision.and_then(|revision| seconds(revision.tack_life_s.as_ref()));
    let out_life = revision.and_then(|revision| seconds(revision.out_life_s.as_ref()));
    let mut total = clock.opening_ms.map(|_| 0);
    let mut lines = Vec::new();
    let mut push = |line: &str, charge: &Charge, entries: Vec<u32>, note: Option<String>| {
        total = total.map(|total: i64| total.saturating_add(charge.ms));
        let who = entries.iter().filter_map(|seq| view.book.entry(*seq)).map(|meta| view.book.code(meta.by)).collect();
        lines.push(CardLine {
            line: line.to_owned(),
            out: say.stamp(charge.from),
            back: charge.to.map(|back| say.stamp(back)),
            interval_s: ceil_s(charge.ms),
            running_total_s: total.map(ceil_s),
            tack_left_s: total.and_then(|total| Some(floor_s(tack? - total))),
            out_life_left_s: total.and_then(|total| Some(floor_s(out_life? - total))),
            who,
            entries: entries.into_iter().map(u64::from).collect(),
            note,
        });
    };
    let word = |charge: &Charge| if charge.assigned { "assigned" } else { "out" };
    let known = clock.known_instead(at);
    for charge in &known {
        let (entries, note) = behind_it(view, behind, charge.from, charge.to);
        push(word(charge), charge, entries, note);
    }
    if let Some(opening) = &life.received.opening {
        let charge = Charge { from: clock.from, to: Some(clock.from), ms: 0, assigned: false };
        let ms = opening.out_time_s.as_ms();
        let source = source(opening.source);
        let (ms, note) = match known.is_empty() {
            true => (ms, source.to_owned()),
            false => (0, format!("{source}: {}; what is known of the time before is more, and counts", so_far(ms))),
        };
        push("opening", &Charge { ms, ..charge }, vec![life.receipt.seq], Some(note));
    }
    for charge in clock.charges(at) {
        let (entries, note) = behind_it(view, behind, charge.from, charge.to);
        push(word(&charge), &charge, entries, note);
    }
    let after_ms =
        |one: &crate::history::Return| life.refreeze_after_ms().unwrap_or(if one.of_kit { 0 } else { ROLL_WARMS_MS });
    ItemCard {
        item: view.book.name(item).clone(),
        stage: None,
        kit: None,
        lines,
        out_time_s: clock.so_far_ms(at).map(ceil_s),
        refreezes: clock.opening_ms.map(|_| clock.refreezes(at, after_ms)),
    }
}

fn source(of: OpeningSource) -> &'static str {
    match of {
        OpeningSource::Certificate => "from certificate",
        OpeningSource::Card => "from card",
    }
}

/// The entries at a stretch's ends, and what is to be said about them.
fn behind_it(view: View<'_>, behind: &Behind<'_>, from: Instant, to: Option<Instant>) -> (Vec<u32>, Option<String>) {
    let mut entries: Vec<u32> = Vec::new();
    let mut notes: Vec<String> = Vec::new();
    for history in behind {
        for stretch in history.stretches.between(from, to.unwrap_or(Instant::MAX)) {
            entries.push(stretch.from_seq);
            entries.extend(stretch.to_seq);
            // Nobody took it out: the place was not cold enough.
            let lay_in = Some(stretch).filter(|stretch| stretch.from_seq == 0);
            if let Some((_, Spot::Inside(place))) = lay_in.and_then(|stretch| history.spot(stretch.from)) {
                notes.push(format!("in {}, not cold enough for it", view.book.name(place).short()));
            }
        }
        for found in history.found.iter().filter(|found| entries.contains(&found.seq)) {
            let settled = if found.settled_by.is_some() { ", settled" } else { "" };
            notes.push(format!("{}{settled}", puzzle_words(found.puzzle)));
        }
    }
    entries.retain(|seq| *seq != 0);
    // In the order in which they happened: the order of arrival must not show.
    entries.sort_by_key(|seq| view.book.entry(*seq).map(|meta| (meta.occurred_at, meta.id)));
    entries.dedup();
    for seq in &entries {
        if let Some(told) = view.fact_of(*seq).filter(|fact| fact.marks.told) {
            let confirmed = if view.waits(told) { "not confirmed" } else { "confirmed" };
            notes.push(format!("told by {}, {confirmed}", view.book.code(told.by)));
        }
    }
    notes.dedup();
    (entries, (!notes.is_empty()).then(|| notes.join("; ")))
}

fn puzzle_words(puzzle: Puzzle) -> &'static str {
    match puzzle {
        Puzzle::OutWhileOut => "taken out while out",
        Puzzle::InWhileIn => "put away while in: counts as out since last known inside",
        Puzzle::InWhileInElsewhere => "came in elsewhere without a take-out: counts as out since last known inside",
        Puzzle::SeenInsideWhileOut => "seen inside while out",
        Puzzle::ActedWhileInside => "used or seen outside while in: counts as out since last known inside",
        Puzzle::PutAwayNotAfterTakeOut => "put away, not surely after it was taken out",
    }
}

/// Struck entries stay on the card, struck through.
fn struck(view: View<'_>, label: Label, say: &Say) -> Vec<CardLine> {
    let all = view.book.all_facts(label).iter();
    let struck =
        all.filter(|fact| fact.seq <= view.known && fact.struck_by <= view.known && fact.struck_by != fact::NEVER);
    struck
        .filter(|fact| {
            matches!(
                fact.what,
                What::TakenOut { .. } | What::PutAway { .. } | What::Seen { .. } | What::Cut(_) | What::Received(_)
            )
        })
        .map(|fact| {
            let by = view
                .book
                .entry(fact.struck_by)
                .map_or_else(String::new, |meta| format!(" by {}", view.book.code(meta.by)));
            let kind = view.book.entry(fact.seq).map_or("entry", |meta| meta.kind);
            CardLine {
                line: "struck".to_owned(),
                out: say.stamp(fact.at),
                back: None,
                interval_s: 0,
                running_total_s: None,
                tack_left_s: None,
                out_life_left_s: None,
                who: vec![view.book.code(fact.by)],
                entries: vec![u64::from(fact.seq)],
                note: Some(format!("{}, struck{by} in entry {}", crate::say::entry_kind(kind), fact.struck_by)),
            }
        })
        .collect()
}
