//! One roll's material on its way: in the roll, in a kit cut from it, in a stage laid from either.

use std::rc::Rc;

use serde_json::Value;

use super::book::Book;
use super::calendar::{add_months, end_of_day_ms, first_day, last_day};
use super::entry::{Entry, Minute, Order, whole_minutes};
use super::life::{Life, charged_from};
use super::marks::Lump;

/// Material of one roll, under one of its receipts.
#[derive(Clone)]
pub struct Item<'log> {
    pub roll: String,
    pub receipt: &'log Entry,
    pub in_roll: Rc<Life>,
    /// The cut that brought it into a kit, and the kit's life.
    pub in_kit: Option<(&'log Entry, Rc<Life>)>,
    /// The act that laid it.
    pub laid: Option<&'log Entry>,
    /// From here on its clocks stand: used up, or in the oven.
    pub stands_from: Option<Minute>,
    /// In an oven of whose run nobody knows that it was: its clocks may run on all the same.
    pub unconfirmed: bool,
}

/// What a material states about one limit.
pub enum Stated<'a> {
    Limit(&'a Value),
    NoneBy,
    Nothing,
}

pub fn stated<'a>(material: &'a Value, limit: &str) -> Stated<'a> {
    match &material[limit] {
        Value::Null => Stated::Nothing,
        value if value["none_by"].is_string() => Stated::NoneBy,
        value => Stated::Limit(value),
    }
}

impl Item<'_> {
    pub fn material_code(&self) -> &str {
        self.receipt.text("material").unwrap_or_default()
    }

    /// Is it outside during this minute? Each part of its way has its own history, joined at the instants of the cut
    /// and of the laying; laid, it stays outside.
    pub fn outside(&self, minute: Minute) -> bool {
        let cut = self.in_kit.as_ref().filter(|(cut, _)| cut.at <= minute);
        match (self.laid, cut) {
            (Some(laid), _) if laid.at <= minute => true,
            (_, Some((_, kit))) => kit.outside(minute),
            _ => self.in_roll.outside(minute),
        }
    }

    /// As it would be if an oven start that is not confirmed never was.
    pub fn at_worst(&self) -> Self {
        Item { stands_from: self.stands_from.filter(|_| !self.unconfirmed), ..self.clone() }
    }

    pub fn runs(&self, at: Minute) -> bool {
        self.outside(at) && self.stands_from.is_none_or(|stands| at < stands)
    }

    fn counted_until(&self, at: Minute) -> Minute {
        self.stands_from.map_or(at, |stands| at.min(stands))
    }

    /// Hours assigned: those of the roll before the cut, those of the kit before the laying.
    fn assigned(&self) -> Vec<Lump> {
        let laid_at = self.laid.map_or(Minute::MAX, |laid| laid.at);
        let left_roll = self.in_kit.as_ref().map_or(laid_at, |(cut, _)| cut.at);
        let of_roll = self.in_roll.assigned().into_iter().filter(|lump| lump.at < left_roll);
        let of_kit = self.in_kit.iter().flat_map(|(_, kit)| kit.assigned()).filter(|lump| lump.at < laid_at);
        of_roll.chain(of_kit).collect()
    }

    /// The first minute at which anything can have been outside.
    fn begins(&self) -> Minute {
        let of_kit = self.in_kit.iter().filter_map(|(_, kit)| kit.begins());
        self.in_roll.begins().into_iter().chain(of_kit).min().unwrap_or(self.receipt.at)
    }

    /// Out-time in seconds, as a person would keep it on paper: minute after minute of what is known, and from the
    /// instant of the opening on never less than it states; none where it states nothing.
    pub fn out_time_s(&self, at: Minute) -> Option<i64> {
        let opening = self.receipt.body["opening"]["out_time_s"].as_i64()?;
        let (from, until) = (charged_from(self.receipt)?, self.counted_until(at));
        let outside =
            |from: Minute, until: Minute| (from..until).filter(|minute| self.outside(*minute)).count() as i64 * 60;
        // What was assigned to an act after the opening stands beside the opening.
        let is_known = |lump: &&Lump| until < from || lump.act_at < from;
        let assigned = self.assigned();
        let known = assigned.iter().filter(is_known).filter(|lump| lump.at <= until).map(|lump| lump.seconds);
        let known = known.sum::<i64>() + outside(self.begins(), until.min(from));
        let beside = assigned.iter().filter(|lump| !is_known(lump) && lump.at <= until).map(|lump| lump.seconds);
        Some(opening.max(known) + outside(from, until) + beside.sum::<i64>())
    }

    /// When the out-time passed `allowed_s`, in milliseconds; none if it has not by `at`.
    pub fn passed_ms(&self, allowed_s: i64, at: Minute) -> Option<i64> {
        let opening = self.receipt.body["opening"]["out_time_s"].as_i64()?;
        let (from, until) = (charged_from(self.receipt)?, self.counted_until(at));
        let known: Vec<Lump> = self.assigned().into_iter().filter(|lump| until < from || lump.act_at < from).collect();
        let known: Vec<(Minute, i64)> = known.iter().map(|lump| (lump.at, lump.seconds)).collect();
        let before = match self.counts_up(0, self.begins().min(from)..until.min(from), &known, allowed_s) {
            Ok(before) => before.max(opening),
            Err(passed) => return Some(passed),
        };
        if allowed_s < before {
            return Some(from * 60_000);
        }
        let beside = self.assigned().into_iter().filter(|lump| from <= lump.act_at);
        let beside: Vec<(Minute, i64)> = beside.map(|lump| (lump.at.max(from), lump.seconds)).collect();
        self.counts_up(before, from..until, &beside, allowed_s).err()
    }

    /// Minute after minute, until the sum is over what is allowed.
    fn counts_up(
        &self,
        mut so_far: i64,
        minutes: std::ops::Range<Minute>,
        assigned: &[(Minute, i64)],
        allowed_s: i64,
    ) -> Result<i64, i64> {
        let end = minutes.end;
        let at = |minute: Minute| assigned.iter().filter(|(when, _)| *when == minute).map(|(_, s)| s).sum::<i64>();
        for minute in minutes {
            so_far += at(minute);
            if allowed_s < so_far {
                return Err(minute * 60_000);
            }
            if self.outside(minute) {
                if allowed_s < so_far + 60 {
                    return Err(minute * 60_000 + (allowed_s - so_far) * 1000);
                }
                so_far += 60;
            }
        }
        so_far += at(end);
        if allowed_s < so_far { Err(end * 60_000) } else { Ok(so_far) }
    }

    /// Refreezes by `at`: the receipt's, the roll's at the cut, the kit's own.
    pub fn refreezes(&self, material: &Value, at: Minute) -> Option<i64> {
        let opening = self.receipt.body["opening"]["refreezes"].as_i64()?;
        let after_s = material["refreezes"]["after_s"].as_i64();
        let longer_than = |unstated_s: i64| whole_minutes(after_s.unwrap_or(unstated_s));
        let until = self.counted_until(at);
        let laid = self.laid.map(Entry::order);
        let before_laying = |order: &Order| order.0 <= until && laid.as_ref().is_none_or(|laid| order < laid);
        let cut = self.in_kit.as_ref().map(|(cut, _)| cut.order());
        let before_cut = |order: &Order| before_laying(order) && cut.as_ref().is_none_or(|cut| order < cut);
        // What went back before the opening's instant stands in its count, unless more did.
        let as_of = charged_from(self.receipt).unwrap_or(self.receipt.at);
        let in_roll = self.in_roll.refreezes(longer_than(1800), as_of, before_cut, |from, _| from);
        let in_kit = self.in_kit.as_ref().map_or(vec![(0, 0)], |(cut, kit)| {
            // A stretch in which it was cut began with the roll's take-out.
            let since = self.in_roll.out_since(cut);
            let begins = |from: Minute, back: &Order| match from <= cut.at && cut.order() <= *back {
                true => from.min(since),
                false => from,
            };
            kit.refreezes(longer_than(0), as_of, before_laying, begins)
        });
        let both = in_roll.iter().flat_map(|roll| in_kit.iter().map(move |kit| (roll.0 + kit.0, roll.1 + kit.1)));
        both.map(|(early, late)| opening.max(early) + late).max()
    }

    /// The last day of its shelf life: the earlier of the certificate's and so many months after its manufacture.
    pub fn shelf_life(&self, book: &Book, months: u32) -> Option<chrono::NaiveDate> {
        let batch = book.batch(self.receipt)?;
        let made = batch["made_on"].as_str().and_then(first_day).map(|made| add_months(made, months));
        let certificate = batch["certificate_ends"].as_str().and_then(last_day);
        match (made, certificate) {
            (Some(made), Some(certificate)) => Some(made.min(certificate)),
            (made, certificate) => made.or(certificate),
        }
    }

    /// The instant at which the shelf life was tested for good by the act that the material names; none before that
    /// act. What was only told may make that instant later, and cannot be the act itself.
    pub fn shelf_life_tested(&self, tested_at: &str, at: Minute) -> Option<Minute> {
        match tested_at {
            "lay" => self.laid.map(Entry::latest),
            "take_out" => {
                let laid = self.laid.map(Entry::order);
                let by_then = |order: &Order| order.0 <= at && laid.as_ref().is_none_or(|laid| order < laid);
                let cut = self.in_kit.as_ref().map(|(cut, _)| cut.order());
                let before_cut = |order: &Order| by_then(order) && cut.as_ref().is_none_or(|cut| order < cut);
                let (firm, full) = self.in_roll.last_take_out(before_cut);
                let (kit_firm, kit_full) = match &self.in_kit {
                    Some((_, kit)) => kit.last_take_out(by_then),
                    None => (None, None),
                };
                firm.max(kit_firm).map(|firm| full.max(kit_full).map_or(firm, |full| full.max(firm)))
            }
            _ => None,
        }
    }

    /// Seconds of shelf life left at an instant, rounded down.
    pub fn shelf_life_left_s(&self, book: &Book, ends_on: chrono::NaiveDate, when: Minute) -> i64 {
        (end_of_day_ms(book.zone(), ends_on) - when * 60_000).div_euclid(1000)
    }

    /// In the oven it was tested at the latest instant of the start, as every act is.
    pub fn shelf_life_read_at(&self, tested_at: &str, at: Minute) -> Minute {
        let oven = self.stands_from.filter(|_| tested_at == "oven" && self.laid.is_some());
        self.shelf_life_tested(tested_at, at).or(oven).unwrap_or_else(|| self.counted_until(at))
    }
}
