//! The last days of the demo's year, reckoned back from now: what is out, what is being laid, what doesn't add up.

use serde_json::json;
use shared_types::Instant;

use super::{
    stock::Stock,
    story::{CLERK, CUTTER, DAY, HOUR, LAMINATOR, MINUTE, QUALITY, Story},
    work::{self, How, Shop},
    yard::{self, PREPREG, Part},
    year::{HELD, NEARLY_OUT_OF_LIFE, NEARLY_OUT_OF_TACK, WRONG_PLACARD},
};

/// Writes the last days. The answer says what there is to try, a line for each.
pub(super) fn write(story: &mut Story, stock: &mut Stock, shop: &mut Shop) -> Vec<String> {
    let parts = yard::parts(1);
    let mut say = vec![nearly_out_of_life(story, stock), nearly_out_of_tack(story, stock)];
    say.extend(wrong_placard(story, stock));
    say.extend(held(story, stock));
    if let [_, _, _, _, _, _, laid, in_oven, kitted, tomorrow, later, ..] = parts.as_slice() {
        // In the order in which they happened, since they take from the same stock.
        say.push(kit_for_tomorrow(story, stock, shop, kitted));
        say.push(in_the_oven(story, stock, shop, in_oven));
        say.push(being_laid(story, stock, shop, laid));
        say.push(planned(story, stock, tomorrow, later));
    }
    say.extend(
        shop.laid_late.iter().map(|part| {
            format!("Part {part}: a take-out told a day later changed what is thought of its film adhesive")
        }),
    );
    say.extend(shop.mistyped.iter().map(|nest| format!("{nest}: its first entry was struck, another stands instead")));
    say.push("Boat NB-31: what is in it, and what that is made of (boat/NB-31)".to_owned());
    say
}

fn ago(story: &Story, hours: i64) -> Instant {
    story.until.minus_ms(hours * HOUR)
}

/// Left out for days more than once; its out-life ends in four and a half hours.
fn nearly_out_of_life(story: &mut Story, stock: &mut Stock) -> String {
    let end = 168 * HOUR - 4 * HOUR - 30 * MINUTE;
    let Some(roll) = stock.kept_for(NEARLY_OUT_OF_LIFE) else { return String::new() };
    let out = ago(story, 5);
    stock.with(roll, |roll| {
        let missing = end - 5 * HOUR - roll.out_ms();
        let each = missing / 3 - (missing / 3).rem_euclid(MINUTE);
        for (days, length) in [(30, each), (21, each), (12, missing - 2 * each)] {
            let from = story.until.minus_ms(days * DAY);
            roll.take_out(story, from, "LAY", LAMINATOR);
            roll.put_away(story, from.plus_ms(length), LAMINATOR);
        }
        roll.take_out(story, out, "LAY", LAMINATOR);
    });
    format!("Roll {}: core splice, out, hours before the end of its out-life", stock.code(roll))
}

fn nearly_out_of_tack(story: &mut Story, stock: &mut Stock) -> String {
    let Some(roll) = stock.kept_for(NEARLY_OUT_OF_TACK) else { return String::new() };
    let out = ago(story, 7);
    stock.with(roll, |roll| {
        for days in [40, 33, 26, 19] {
            let from = story.until.minus_ms(days * DAY);
            roll.take_out(story, from, "CUT", CUTTER);
            roll.put_away(story, from.plus_ms(30 * HOUR + 40 * MINUTE), CUTTER);
        }
        roll.take_out(story, out, "CUT", CUTTER);
    });
    format!("Roll {}: prepreg, out, about a day of tack life left", stock.code(roll))
}

/// Put away while the book has it inside: probably taken out with the wrong placard. Nobody settled it yet.
fn wrong_placard(story: &mut Story, stock: &mut Stock) -> Option<String> {
    let roll = stock.kept_for(WRONG_PLACARD)?;
    let (out, away, again) = (ago(story, 9 * 24 + 4), ago(story, 9 * 24), ago(story, 22));
    stock.with(roll, |roll| {
        roll.take_out(story, out, "CUT", CUTTER);
        roll.put_away(story, away, CUTTER);
        story.fact(again, "roll_put_away", &roll.thing(), CUTTER, json!({"into": roll.freezer}));
    });
    Some(format!("Roll {}: put away twice, so it doesn't add up: was it a take-out?", stock.code(roll)))
}

fn held(story: &mut Story, stock: &mut Stock) -> Option<String> {
    let roll = stock.kept_for(HELD)?;
    let thing = stock.rolls.get(roll)?.thing();
    let body =
        json!({"why": "One end of the core is crushed; look at the first two metres", "nonconformance": "NC-12"});
    story.decide(ago(story, 6 * 24), "place_hold", &thing, QUALITY, body);
    Some(format!("Roll {}: held", stock.code(roll)))
}

/// Laid and in an oven run whose chart nobody has read yet.
fn in_the_oven(story: &mut Story, stock: &mut Stock, shop: &mut Shop, part: &Part) -> String {
    let start = ago(story, 13);
    let oven_at = ago(story, 2);
    work::plan(story, start.minus_ms(5 * DAY), part, false, oven_at.minus_ms(HOUR), oven_at);
    kit_and_lay(story, stock, shop, part, start, start.plus_ms(6 * HOUR));
    let at = oven_at.minus_ms(30 * MINUTE);
    story.fact(at, "layup_completed", &work::part_thing(part), LAMINATOR, json!({"stage": "skin"}));
    let run = work::into_oven(story, shop, part, "skin", oven_at);
    format!("Part {}: in oven run {run}, not confirmed yet", part.code)
}

fn being_laid(story: &mut Story, stock: &mut Stock, shop: &mut Shop, part: &Part) -> String {
    let start = ago(story, 9);
    let (lay_at, oven_at) = (story.until.plus_ms(2 * HOUR), story.until.plus_ms(21 * HOUR));
    work::plan(story, start.minus_ms(6 * DAY), part, false, lay_at, oven_at);
    kit_and_lay(story, stock, shop, part, start, start.plus_ms(5 * HOUR + 30 * MINUTE));
    format!("Part {}: its skin is being laid; it has to be heating within three days of its first ply", part.code)
}

fn kit_and_lay(story: &mut Story, stock: &mut Stock, shop: &mut Shop, part: &Part, start: Instant, lay: Instant) {
    let day = story.today();
    let Some(cuts) = stock.choose(PREPREG, day, 21_000) else { return };
    let kit = work::cut(story, stock, shop, part, &cuts, None, start, How::SameDay);
    work::lay(story, stock, part, "skin", &kit, lay);
}

fn kit_for_tomorrow(story: &mut Story, stock: &mut Stock, shop: &mut Shop, part: &Part) -> String {
    let start = ago(story, 29);
    let (lay_at, oven_at) = (story.until.plus_ms(26 * HOUR), story.until.plus_ms(29 * HOUR));
    work::plan(story, start.minus_ms(4 * DAY), part, false, lay_at, oven_at);
    let day = story.today();
    let Some(cuts) = stock.choose(PREPREG, day, 19_500) else { return String::new() };
    let kit = work::cut(story, stock, shop, part, &cuts, None, start, How::SameDay);
    story.fact(start.plus_ms(5 * HOUR), "kit_put_away", &kit.thing, CUTTER, json!({"into": "F2"}));
    format!("{}: cut yesterday for {}, in freezer F2", kit.thing, part.job)
}

/// Two jobs of the next days, and a fresh roll given to the first.
fn planned(story: &mut Story, stock: &mut Stock, tomorrow: &Part, later: &Part) -> String {
    let asked = ago(story, 48);
    for (part, hours) in [(tomorrow, 20), (later, 70)] {
        let lay_at = story.until.plus_ms(hours * HOUR);
        work::plan(story, asked, part, false, lay_at, lay_at.plus_ms(3 * HOUR));
    }
    let fresh = stock.rolls.iter().rposition(|roll| roll.material == PREPREG && roll.kept_for.is_none());
    if let Some(roll) = fresh.and_then(|at| stock.rolls.get(at)) {
        story.decide(ago(story, 20), "issue", &roll.thing(), CLERK, json!({ "job": tomorrow.job }));
    }
    format!("Jobs {} (tomorrow) and {} (in three days): ask about a roll for each", tomorrow.job, later.job)
}
