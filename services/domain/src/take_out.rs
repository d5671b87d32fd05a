//! What has to be out of the cold by when, for the lay-ups that are planned; and what there is not enough of.

use crate::RULES;
use crate::against::Against;
use crate::book::Book;
use crate::calendar::Calendar;
use crate::fact::Label;
use crate::guard::guarded;
use crate::history::Spot;
use crate::jobs::{ForJob, OpenJob, for_job, material_of, open_jobs};
use crate::kit::kit_life;
use crate::limits::{At, LimitState};
use crate::may_use::may_use;
use crate::question::{MayUseQuestion, When};
use crate::roll::roll_life;
use crate::say::Say;
use crate::view::View;
use shared_types::{Act, Code, Instant, Kind, LimitName, Metres, ShortLine, TakeOutLine, TakeOutList, Word};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Which lay-ups are looked at.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct TakeOutQuestion {
    /// Planned until then; the end of the next open day where it is not said.
    pub until: Option<Instant>,
    pub when: When,
}

struct Asked<'b> {
    read: At<'b>,
    say: Say,
    calendar: Calendar<'b>,
    /// Rolls that are there, by material, with what no earlier job of the list takes.
    stock: BTreeMap<Label, Vec<(Label, u64)>>,
    /// Rolls given to a job that is still to be made.
    given: BTreeSet<Label>,
    list: TakeOutList,
}

pub fn take_out_list(book: &Book, question: &TakeOutQuestion) -> TakeOutList {
    listed(book, question, question.when.at)
}

/// What there is not enough of for every lay-up until then, those that are overdue included: they take first.
pub(crate) fn short(book: &Book, question: &TakeOutQuestion) -> Vec<ShortLine> {
    listed(book, question, Instant::MIN).short
}

/// What there is not enough of for one job, once every lay-up planned before has taken its own.
pub fn short_of(book: &Book, job: &Code, lay_at: Instant, when: When) -> Vec<ShortLine> {
    let all = short(book, &TakeOutQuestion { until: Some(lay_at), when });
    all.into_iter().filter(|one| one.job == *job).collect()
}

/// Of the lay-ups planned from an instant on.
fn listed(book: &Book, question: &TakeOutQuestion, first: Instant) -> TakeOutList {
    let view = View::new(book, question.when.known);
    let at = question.when.at;
    let read = At::new(view, at);
    let (say, calendar) = (Say::of(view, at), Calendar::of(view, at));
    let until = question.until.unwrap_or_else(|| calendar.end_of_next_day(at));
    let mut jobs = open_jobs(read);
    let given = jobs.iter().flat_map(|job| job.still_given(view).collect::<Vec<_>>()).collect();
    jobs.retain(|job| (first..=until).contains(&job.plan.job.lay_at.at));
    jobs.sort_by(|one, other| (one.plan.job.lay_at.at, &one.code).cmp(&(other.plan.job.lay_at.at, &other.code)));
    let list = TakeOutList {
        until: say.stamp(until),
        lines: Vec::new(),
        short: Vec::new(),
        notes: Vec::new(),
        at: say.stamp(at),
        as_of_seq: u64::from(view.known),
        rules: RULES.to_owned(),
    };
    let mut asked = Asked { read, say, calendar, stock: stock(read), given, list };
    for job in &jobs {
        for kit in &job.kits {
            asked.kit(job, *kit);
        }
        for (material, needed_mm) in job.still_needed(view) {
            asked.material(job, material, needed_mm);
        }
    }
    let mut list = asked.list;
    list.lines
        .sort_by(|one, other| (one.out_by.at, &one.job, &one.thing).cmp(&(other.out_by.at, &other.job, &other.thing)));
    let materials: BTreeSet<&Code> = list.lines.iter().map(|line| &line.material).collect();
    let stated = "These times are when the last ply has to be down. Warming up, cutting and laying come before and are not \
                  taken off: take it out earlier by as long as they need.";
    let not_stated =
        materials.iter().map(|of| format!("Warm-up time is not stated for {of}: follow the maker's instructions."));
    list.notes = Some(stated.to_owned()).filter(|_| !materials.is_empty()).into_iter().chain(not_stated).collect();
    list
}

/// Every roll that is received and not used up, by its material, with its length.
fn stock(read: At<'_>) -> BTreeMap<Label, Vec<(Label, u64)>> {
    let mut stock: BTreeMap<Label, Vec<(Label, u64)>> = BTreeMap::new();
    let rolls = read.view.book.labels().filter(|label| read.view.book.kind(*label) == Kind::Roll);
    for roll in rolls {
        let there = guarded(|| {
            let life = roll_life(read.view, roll);
            let there = life.received_by(read.at) && life.ended(read.at).is_none();
            life.length_left_mm.filter(|_| there).and_then(|left| u64::try_from(left).ok())
        });
        if let (Some(material), Some(left)) = (material_of(read.view, roll), there.flatten().filter(|left| 0 < *left)) {
            stock.entry(material).or_default().push((roll, left));
        }
    }
    stock
}

/// Where something is by the book: in a frozen place, or out.
fn place(read: At<'_>, label: Label) -> Option<Label> {
    let history = match read.view.book.kind(label) {
        Kind::Roll => Arc::clone(&roll_life(read.view, label).history),
        _ => kit_life(read.view, label).history,
    };
    match history.spot(read.at) {
        Some((_, Spot::Inside(place) | Spot::OnItsWay(place) | Spot::Out(Some(place)))) => Some(place),
        Some((_, Spot::Out(None))) | None => None,
    }
}

impl Asked<'_> {
    fn kit(&mut self, job: &OpenJob<'_>, kit: Label) {
        let held = kit_life(self.read.view, kit).items;
        let material = held.iter().find_map(|item| material_of(self.read.view, item.roll));
        let Some(material) = material else { return };
        let weighed = guarded(|| for_job(self.read, job, kit, None)).flatten();
        let Some(weighed) = weighed else { return };
        let line = self.line(job, (kit, material), &weighed, None, true);
        self.list.lines.push(line);
    }

    /// Of the rolls that make it, those given to the job first, then those whose life ends first.
    fn material(&mut self, job: &OpenJob<'_>, material: Label, needed_mm: u64) {
        let given: BTreeSet<Label> = job.still_given(self.read.view).collect();
        let there = self.stock.get(&material).cloned().unwrap_or_default();
        let free = there.into_iter().filter(|(roll, _)| given.contains(roll) || !self.given.contains(roll));
        let mut why_not = Vec::new();
        let weighed = free.filter(|(_, left)| 0 < *left).filter_map(|(roll, left)| {
            let weighed = guarded(|| for_job(self.read, job, roll, None)).flatten()?;
            let against = match self.is_overdue(job) {
                true => self.against_cutting_now(roll),
                false => gravest(roll, &weighed.weighed.against),
            };
            let makes_it = against.is_none();
            why_not.extend(against);
            makes_it.then_some((roll, left, weighed))
        });
        let mut usable: Vec<(Label, u64, ForJob<'_>)> = weighed.collect();
        usable.sort_by_key(|(roll, _, one)| {
            (!given.contains(roll), life_left_ms(job, one), self.read.view.book.name(*roll))
        });
        let mut missing_mm = needed_mm;
        let mut lines = Vec::new();
        for (roll, left, weighed) in usable {
            if missing_mm == 0 {
                break;
            }
            let takes = left.min(missing_mm);
            missing_mm -= takes;
            lines.push((roll, takes, self.line(job, (roll, material), &weighed, Some(takes), given.contains(&roll))));
        }
        for (roll, takes, line) in lines {
            let rest = self.stock.get_mut(&material).into_iter().flatten().find(|(other, _)| *other == roll);
            rest.into_iter().for_each(|(_, left)| *left = left.saturating_sub(takes));
            self.list.lines.push(line);
        }
        if 0 < missing_mm {
            let mut short = self.short(job, material, needed_mm, needed_mm - missing_mm);
            if short.usable_mm == 0 {
                short.say.push_str(&self.why_none(material, why_not));
            }
            self.list.short.push(short);
        }
    }

    /// Its lay-up should have been: no plan says any more until when its material has to last.
    fn is_overdue(&self, job: &OpenJob<'_>) -> bool {
        job.plan.job.lay_at.at < self.read.at
    }

    /// Nothing, where it may be cut now.
    fn against_cutting_now(&self, roll: Label) -> Option<WhyNot> {
        let At { view, at, .. } = self.read;
        let when = When { at, known: u64::from(view.known), now: at };
        let thing = view.book.name(roll).clone();
        let question = MayUseQuestion { thing, act: Act::Cut, job: None, stage: None, when };
        let may = match may_use(view.book, &question) {
            Ok(may) => may,
            Err(why) => return Some(WhyNot { roll, word: Word::CannotSay, limit: None, say: why.to_string() }),
        };
        (Word::NotYet < may.answer).then_some(WhyNot { roll, word: may.answer, limit: may.governing, say: may.why })
    }

    /// Why nothing of a material can be used: what stands against most of its rolls, said of one of them.
    fn why_none(&self, material: Label, why_not: Vec<WhyNot>) -> String {
        let book = self.read.view.book;
        let alike = |one: &WhyNot| why_not.iter().filter(|other| other.is_like(one)).count();
        let first = why_not.iter().max_by_key(|one| (alike(one), one.word, std::cmp::Reverse(book.name(one.roll))));
        let Some(first) = first else {
            let there = self.stock.get(&material).is_some_and(|rolls| !rolls.is_empty());
            return if there { " What is there is for other jobs." } else { " There is none." }.to_owned();
        };
        let more = match alike(first) - 1 {
            0 => String::new(),
            1 => " So is 1 more roll.".to_owned(),
            more => format!(" So are {more} more rolls."),
        };
        format!(" {}: {}{more}", book.name(first.roll).short(), first.say)
    }

    fn line(
        &self,
        job: &OpenJob<'_>,
        (thing, material): (Label, Label),
        of: &ForJob<'_>,
        length_mm: Option<u64>,
        given: bool,
    ) -> TakeOutLine {
        let (view, at) = (self.read.view, self.read.at);
        let (lay_at, oven_at) = (job.plan.job.lay_at.at, job.plan.job.oven_at.at);
        let out_by = self.calendar.last_open(lay_at);
        let not_before = not_before(job, of).filter(|first| of.stands && at < *first);
        let place = place(self.read, thing);
        let (name, material) = (view.book.name(thing).clone(), view.book.code(material));
        let length = length_mm.map_or(String::new(), |mm| format!(": {} of {material}", up(mm)));
        let place_words = place.map_or(String::new(), |place| format!(" {}", view.book.name(place).short()));
        let time = |at: Instant| self.say.time(at, self.read.at);
        let closed = match out_by < lay_at {
            true => format!(": the yard is closed until its lay-up, {}", time(lay_at)),
            false => String::new(),
        };
        let mut say = match of.stands {
            true => {
                let from = if place_words.is_empty() { String::new() } else { format!(" of{place_words}") };
                format!("{} out{from} well before {}{closed}, for {}{length}.", name.short(), time(out_by), job.code)
            }
            false if place_words.is_empty() => format!("{} is out already, for {}{length}.", name.short(), job.code),
            false => format!("{} is out already, in{place_words}, for {}{length}.", name.short(), job.code),
        };
        say.extend(not_before.map(|first| format!(" Not before {}.", time(first))));
        if of.weighed.against.iter().any(|one| one.word != Word::Yes) {
            say.push_str(&format!(
                " It will not make it: {}",
                of.weighed.against.iter().map(|one| one.say.as_str()).collect::<Vec<_>>().join(" ")
            ));
        }
        TakeOutLine {
            thing: name,
            job: job.code.clone(),
            material,
            place: place.map(|place| view.book.code(place)),
            out: !of.stands,
            given,
            length_mm,
            out_by: self.say.stamp(out_by),
            not_before: not_before.map(|first| self.say.stamp(first)),
            lay_at: self.say.stamp(lay_at),
            oven_at: self.say.stamp(oven_at),
            say,
        }
    }

    fn short(&self, job: &OpenJob<'_>, material: Label, needed_mm: u64, usable_mm: u64) -> ShortLine {
        let of = self.read.view.book.code(material);
        let cut = job.cut_mm.get(&material).is_some_and(|mm| 0 < *mm);
        let needs = if cut { "still needs" } else { "needs" };
        let usable = if usable_mm == 0 { "none".to_owned() } else { Metres(usable_mm).to_string() };
        let lay_at = job.plan.job.lay_at.at;
        let overdue = match self.is_overdue(job) {
            true => format!(" Its lay-up was planned {}.", self.say.time(lay_at, self.read.at)),
            false => String::new(),
        };
        ShortLine {
            job: job.code.clone(),
            needed_mm,
            usable_mm,
            lay_at: self.say.stamp(lay_at),
            say: format!("{} {needs} {} of {of}; {usable} can be used.{overdue}", job.code, up(needed_mm)),
            material: of,
        }
    }
}

/// What stands against a roll.
struct WhyNot {
    roll: Label,
    word: Word,
    limit: Option<LimitName>,
    say: String,
}

impl WhyNot {
    fn is_like(&self, other: &WhyNot) -> bool {
        (self.word, self.limit) == (other.word, other.limit) && (self.limit.is_some() || self.say == other.say)
    }
}

/// The gravest of what stands against a roll, the first of several.
fn gravest(roll: Label, against: &[Against]) -> Option<WhyNot> {
    let word = against.iter().map(|one| one.word).max().filter(|word| *word != Word::Yes)?;
    let one = against.iter().find(|one| one.word == word)?;
    Some(WhyNot { roll, word, limit: one.limit, say: one.say.clone() })
}

/// Metres that are needed, up to the decimetre: what is there reads as no more than it is, what is needed as no less.
fn up(mm: u64) -> Metres {
    Metres(mm.saturating_add(99) / 100 * 100)
}

/// What the roll's own limit that ends first has left at the lay-up; lay-to-cure is the same for all.
fn life_left_ms(job: &OpenJob<'_>, of: &ForJob<'_>) -> i64 {
    let waits_ms = job.plan.job.lay_at.at.since(of.weighed.read.at);
    let own = of.weighed.subject.limits.sets.iter().flatten().filter_map(|limit| match &limit.state {
        LimitState::Clock { .. } | LimitState::Date { tested: false, .. } => limit.state.left(),
        _ => None,
    });
    own.min().map_or(i64::MAX, |left| left.saturating_sub(waits_ms))
}

/// Taken out before this its clocks would not last through the plan, spare time included.
fn not_before(job: &OpenJob<'_>, of: &ForJob<'_>) -> Option<Instant> {
    let spare_ms = of.weighed.spare_ms;
    let firsts = of.weighed.subject.limits.sets.iter().flatten().filter_map(|limit| {
        let until = match limit.name {
            LimitName::TackLife => job.plan.job.lay_at.at,
            LimitName::OutLife => job.plan.job.oven_at.at,
            _ => return None,
        };
        match &limit.state {
            LimitState::Clock { allowed, so_far, .. } => {
                Some(until.plus_ms(spare_ms).minus_ms(allowed.saturating_sub(*so_far)))
            }
            _ => None,
        }
    });
    firsts.max()
}
