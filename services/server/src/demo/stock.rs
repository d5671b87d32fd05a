//! The rolls of the demo's year: delivered, chosen oldest first, put away again, thrown away when their time is over.

use chrono::{Days, Months, NaiveDate};
use serde_json::json;
use shared_types::Instant;

use super::{
    story::{CLERK, HOUR, MINUTE, QUALITY, SECOND_QUALITY, Story, stamp},
    yard::{SHEETS, Sheet},
};

/// A remnant shorter than this is cut off as waste.
const NOT_WORTH_KEEPING_MM: i64 = 2_000;
const FREEZERS: [&str; 2] = ["F1", "F2"];

/// A roll as its people know it.
#[derive(Clone, Debug)]
pub(super) struct Roll {
    pub(super) code: String,
    pub(super) material: &'static str,
    pub(super) freezer: &'static str,
    pub(super) left_mm: i64,
    keeps_until: NaiveDate,
    out_ms: i64,
    out_since: Option<Instant>,
    returns: i64,
    sheet: Sheet,
    /// Set apart for something special; nobody else takes it.
    pub(super) kept_for: Option<&'static str>,
}

impl Roll {
    pub(super) fn thing(&self) -> String {
        format!("roll/{}", self.code)
    }

    pub(super) fn take_out(&mut self, story: &mut Story, at: Instant, to: &str, by: &str) {
        self.out_since = Some(at);
        story.fact(at, "roll_taken_out", &self.thing(), by, json!({"from": self.freezer, "to": to}));
    }

    pub(super) fn put_away(&mut self, story: &mut Story, at: Instant, by: &str) {
        let out_ms = self.out_since.take().map_or(0, |since| at.since(since));
        self.out_ms += out_ms;
        self.returns += i64::from(30 * MINUTE < out_ms);
        story.fact(at, "roll_put_away", &self.thing(), by, json!({"into": self.freezer}));
    }

    /// Out-time so far, in milliseconds, while it is inside.
    pub(super) fn out_ms(&self) -> i64 {
        self.out_ms
    }

    fn may_be_taken(&self, material: &str, day: NaiveDate) -> bool {
        self.material == material
            && self.kept_for.is_none()
            && self.out_since.is_none()
            && NOT_WORTH_KEEPING_MM <= self.left_mm
            && self.out_ms < self.sheet.out_hours * HOUR
            && self.returns < self.sheet.returns
            && day.checked_add_days(Days::new(10)).is_some_and(|later| later < self.keeps_until)
    }
}

#[derive(Debug, Default)]
pub(super) struct Stock {
    pub(super) rolls: Vec<Roll>,
    batches: u32,
}

/// Some of a roll, by its place in the stock.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cut {
    pub(super) roll: usize,
    pub(super) mm: i64,
}

impl Stock {
    /// A delivery of one material: the batch, the rolls, and the freezers they go into.
    pub(super) fn deliver(
        &mut self,
        story: &mut Story,
        day: NaiveDate,
        sheet: usize,
        rolls: u32,
        kept_for: Option<&'static str>,
    ) {
        let Some(sheet) = SHEETS.get(sheet).copied() else { return };
        let older = u64::try_from(story.rng.between(28, 40)).unwrap_or(30);
        let made = day.checked_sub_days(Days::new(older)).unwrap_or(day);
        let keeps_until = made.checked_add_months(Months::new(sheet.shelf_months)).unwrap_or(day);
        self.batches += 1;
        let batch = format!("B-{}-{}", made.format("%y%m"), self.batches);
        let body = json!({"made_on": made.to_string(), "certificate_ends": keeps_until.to_string()});
        let papers = story.clock(day, 8, 30);
        let both = [QUALITY, SECOND_QUALITY];
        story.decide_together(papers, "register_batch", &format!("batch/{}/{batch}", sheet.material), both, body);
        let loaded = story.clock(day, 10, 0).minus_ms(story.rng.between(20, 44) * HOUR);
        let out_time_s = story.rng.between(15, 80) * 60;
        for n in 0..i64::from(rolls) {
            let code = format!("R-{}", self.rolls.len() + 1);
            let freezer = if self.rolls.len().is_multiple_of(2) { FREEZERS[0] } else { FREEZERS[1] };
            let came = story.clock(day, 10, 0).plus_ms(n * MINUTE);
            let opening =
                json!({"out_time_s": out_time_s, "refreezes": 0, "as_of": stamp(loaded), "source": "certificate"});
            let received = json!({
                "material": sheet.material, "revision": sheet.revision, "batch": batch, "length_mm": sheet.roll_mm,
                "width_mm": sheet.width_mm, "from": "TRUCK", "opening": opening,
            });
            story.fact(came, "roll_received", &format!("roll/{code}"), CLERK, received);
            let away = came.plus_ms(story.rng.between(12, 25) * MINUTE);
            story.fact(away, "roll_put_away", &format!("roll/{code}"), CLERK, json!({ "into": freezer }));
            self.rolls.push(Roll {
                code,
                material: sheet.material,
                freezer,
                left_mm: sheet.roll_mm,
                keeps_until,
                out_ms: out_time_s * 1000 + away.since(came),
                out_since: None,
                returns: 0,
                sheet,
                kept_for: kept_for.filter(|_| n == 0),
            });
        }
    }

    /// Enough of a material, what runs out of date first; nothing if there is not enough.
    pub(super) fn choose(&self, material: &str, day: NaiveDate, need_mm: i64) -> Option<Vec<Cut>> {
        let mut usable: Vec<(usize, &Roll)> =
            self.rolls.iter().enumerate().filter(|(_, roll)| roll.may_be_taken(material, day)).collect();
        usable.sort_by_key(|(at, roll)| (roll.keeps_until, *at));
        let mut missing = need_mm;
        let mut cuts = Vec::new();
        for (at, roll) in usable {
            let mm = missing.min(roll.left_mm);
            cuts.push(Cut { roll: at, mm });
            missing -= mm;
            if missing <= 0 {
                return Some(cuts);
            }
        }
        None
    }

    pub(super) fn with(&mut self, roll: usize, act: impl FnOnce(&mut Roll)) {
        if let Some(roll) = self.rolls.get_mut(roll) {
            act(roll);
        }
    }

    pub(super) fn code(&self, roll: usize) -> String {
        self.rolls.get(roll).map(|roll| roll.code.clone()).unwrap_or_default()
    }

    pub(super) fn kept_for(&self, what: &str) -> Option<usize> {
        self.rolls.iter().position(|roll| roll.kept_for == Some(what))
    }

    /// Takes the length off; the waste with it, if what remains is not worth keeping.
    pub(super) fn cut_off(&mut self, cut: Cut) -> Option<i64> {
        let roll = self.rolls.get_mut(cut.roll)?;
        roll.left_mm -= cut.mm;
        let rest = roll.left_mm;
        if rest < NOT_WORTH_KEEPING_MM {
            roll.left_mm = 0;
        }
        (1..NOT_WORTH_KEEPING_MM).contains(&rest).then_some(rest)
    }

    /// Throws away what may not be used any more.
    pub(super) fn clear_out(&mut self, story: &mut Story, day: NaiveDate) {
        let mut at = story.clock(day, 14, 0);
        for roll in
            self.rolls.iter_mut().filter(|roll| roll.out_since.is_none() && 0 < roll.left_mm && roll.kept_for.is_none())
        {
            let why = match (roll.keeps_until < day, roll.sheet.returns <= roll.returns) {
                (true, _) => "Past shelf life",
                (false, true) => "No return to the cold is left",
                (false, false) => continue,
            };
            at = at.plus_ms(2 * MINUTE);
            roll.left_mm = 0;
            story.fact(at, "disposed", &roll.thing(), CLERK, json!({ "why": why }));
        }
    }
}
