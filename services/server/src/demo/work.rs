//! An ordinary stage of a part: rolls out, cut into a kit, laid, into the oven, cured.

use chrono::{Days, NaiveDate};
use serde_json::{Value, json};
use shared_types::Instant;

use super::{
    stock::{Cut, Stock},
    story::{
        CLERK, CUTTER, DAY, HOUR, LAMINATOR, MINUTE, OVEN_HAND, QUALITY, SECOND_QUALITY, Story, THIRD_QUALITY, stamp,
    },
    yard::{FILM, PREPREG, Part, SPLICE},
};

/// Counts nests, kits and runs.
#[derive(Debug, Default)]
pub(super) struct Shop {
    nests: u32,
    kits: u32,
    runs: u32,
    /// The nest whose first entry was struck.
    pub(super) mistyped: Option<String>,
    /// The part that was laid with a roll that had been out too long.
    pub(super) laid_late: Option<String>,
}

/// The roll that was out since Friday.
pub(super) const LATE: &str = "late";

/// How a stage is made.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) enum How {
    /// Cut in the morning, laid in the afternoon.
    SameDay,
    /// The kit spends a night in the freezer.
    Overnight,
    /// Somebody typed one nought too many; it was struck and written again.
    Mistyped,
    /// The roll had been out since the Friday before, and somebody said so a day after it was laid.
    LateTakeOut,
}

/// A kit that was cut.
#[derive(Debug)]
pub(super) struct Kit {
    pub(super) thing: String,
    /// Straight from the roll, beside the kit.
    pub(super) splice: Option<Cut>,
}

/// The job of a part, and its plan as it stands now.
pub(super) fn plan(story: &mut Story, at: Instant, part: &Part, again: bool, lay_at: Instant, oven_at: Instant) {
    // A kit of prepreg for each skin; film and splice for the core between them.
    let skins = part.stages.iter().filter(|stage| stage.contains("skin")).count();
    let needs: Vec<Value> = [(PREPREG, 22_000 * skins), (FILM, 9_000), (SPLICE, 1_500)]
        .iter()
        .take(if part.stages.len() == 1 { 1 } else { 3 })
        .map(|(material, mm)| json!({"material": material, "length_mm": mm}))
        .collect();
    let decide = if again { "replan_job" } else { "open_job" };
    let body = json!({
        "part": part.code, "stages": part.stages, "needs": needs, "lay_at": stamp(lay_at), "oven_at": stamp(oven_at),
        "boat": part.boat,
    });
    story.decide(at, decide, &format!("job/{}", part.job), CLERK, body);
}

/// One stage from the freezer to the cured laminate. False if there is not enough material.
pub(super) fn stage(
    story: &mut Story,
    stock: &mut Stock,
    shop: &mut Shop,
    part: &Part,
    stage: usize,
    day: NaiveDate,
    how: How,
) -> bool {
    let Some(name) = part.stages.get(stage).copied() else { return false };
    let laid_on = day.checked_add_days(Days::new(u64::from(how == How::Overnight))).unwrap_or(day);
    let (lay_at, oven_at) = (story.clock(laid_on, 16, 30), story.clock(laid_on, 17, 30));
    let planned = story.clock(day, 14, 0).minus_ms(if stage == 0 { 7 * DAY } else { DAY });
    let Some((film_or_prepreg, splice)) = material(story, stock, name, day) else { return false };
    plan(story, planned, part, stage != 0, lay_at, oven_at);
    let start = story.clock(day, 6, 10);
    let kit = cut(story, stock, shop, part, &film_or_prepreg, splice, start, how);
    if how == How::Overnight {
        story.fact(start.plus_ms(5 * HOUR), "kit_put_away", &kit.thing, CUTTER, json!({"into": "F2"}));
        let out = json!({"from": "F2", "to": "LAY"});
        story.fact(story.clock(laid_on, 6, 30), "kit_taken_out", &kit.thing, LAMINATOR, out);
    }
    lay(story, stock, part, name, &kit, story.clock(laid_on, 12, 30));
    story.fact(lay_at, "layup_completed", &part_thing(part), LAMINATOR, json!({ "stage": name }));
    let run = into_oven(story, shop, part, name, oven_at);
    let committed = oven_at.plus_ms(story.rng.between(140, 190) * MINUTE);
    let ended = json!({"committed_at": stamp(committed), "cured": true, "source": "chart"});
    story.fact(oven_at.plus_ms(13 * HOUR + 30 * MINUTE), "oven_run_ended", &run, OVEN_HAND, ended);
    if how == How::LateTakeOut {
        shop.laid_late = Some(part.code.clone());
        late_take_out(story, stock, &film_or_prepreg, part, start);
    }
    true
}

type Material = (Vec<Cut>, Option<Cut>);

fn material(story: &mut Story, stock: &Stock, stage: &str, day: NaiveDate) -> Option<Material> {
    match stage {
        "core bond" => {
            let film = stock.choose(FILM, day, story.rng.between(80, 100) * 100)?;
            // Shorter than what is worth keeping, so it always comes from one roll.
            let splice = stock.choose(SPLICE, day, 1_500)?;
            Some((film, splice.first().copied()))
        }
        "skin" => Some((stock.choose(PREPREG, day, story.rng.between(200, 260) * 100)?, None)),
        _ => Some((stock.choose(PREPREG, day, story.rng.between(160, 200) * 100)?, None)),
    }
}

/// Takes the rolls out, cuts the kit, puts away what is left.
#[expect(clippy::too_many_arguments, reason = "what a nest card says, and who holds it")]
pub(super) fn cut(
    story: &mut Story,
    stock: &mut Stock,
    shop: &mut Shop,
    part: &Part,
    cuts: &[Cut],
    splice: Option<Cut>,
    start: Instant,
    how: How,
) -> Kit {
    for (cut, at) in cuts.iter().zip(0..) {
        stock.with(cut.roll, |roll| roll.take_out(story, start.plus_ms(at * MINUTE), "CUT", CUTTER));
    }
    shop.nests += 1;
    shop.kits += 1;
    let kit = format!("K-{}", shop.kits);
    let nest = format!("nest/N-{}", shop.nests);
    let at = start.plus_ms(170 * MINUTE);
    let waste: Vec<Value> = cuts
        .iter()
        .filter_map(|cut| Some(json!({"roll": stock.code(cut.roll), "length_mm": stock.cut_off(*cut)?})))
        .collect();
    let body = |times: i64| {
        let items = cuts
            .iter()
            .map(|cut| json!({"roll": stock.code(cut.roll), "length_mm": cut.mm * times, "plies": 1 + cut.mm / 1_500}));
        let kits = json!([{"kit": kit, "job": part.job, "items": items.collect::<Vec<_>>()}]);
        json!({"kits": kits, "waste": waste})
    };
    if how == How::Mistyped {
        let wrong = story.fact(at, "nest_cut", &nest, CUTTER, body(10));
        let (_, instead) = story.made_up(at, "nest_cut", &nest, CUTTER, body(1));
        let strike = json!({"entry": wrong, "why": "One nought too many was typed for the length", "instead": instead});
        shop.mistyped = Some(nest.clone());
        story.decide_together(at.plus_ms(25 * MINUTE), "strike", &nest, [CUTTER, QUALITY], strike);
    } else {
        story.fact(at, "nest_cut", &nest, CUTTER, body(1));
    }
    for (cut, after) in cuts.iter().zip(0..) {
        stock.with(cut.roll, |roll| {
            if 0 < roll.left_mm {
                roll.put_away(story, at.plus_ms((45 + after) * MINUTE), CUTTER);
            }
        });
    }
    Kit { thing: format!("kit/{kit}"), splice }
}

/// Lays the kit, and a splice straight from its roll.
pub(super) fn lay(story: &mut Story, stock: &mut Stock, part: &Part, stage: &str, kit: &Kit, from: Instant) {
    let laid = json!({"stage": stage, "from": kit.thing, "from_at": stamp(from)});
    story.fact(from.plus_ms(150 * MINUTE), "plies_laid", &part_thing(part), LAMINATOR, laid);
    let Some(splice) = kit.splice else { return };
    stock.with(splice.roll, |roll| {
        roll.take_out(story, from.plus_ms(60 * MINUTE), "LAY", LAMINATOR);
        let (from_at, at) = (from.plus_ms(155 * MINUTE), from.plus_ms(180 * MINUTE));
        let body = json!({"stage": stage, "from": roll.thing(), "from_at": stamp(from_at), "length_mm": splice.mm});
        story.fact(at, "plies_laid", &part_thing(part), LAMINATOR, body);
    });
    let end = stock.cut_off(splice);
    let at = from.plus_ms(200 * MINUTE);
    stock.with(splice.roll, |roll| match end {
        Some(mm) => {
            let body = json!({"why": "Left over", "length_mm": mm});
            story.fact(at, "disposed", &roll.thing(), LAMINATOR, body);
        }
        None if 0 < roll.left_mm => roll.put_away(story, at, LAMINATOR),
        None => {}
    });
}

/// Switches the oven on. The answer is the run.
pub(super) fn into_oven(story: &mut Story, shop: &mut Shop, part: &Part, stage: &str, at: Instant) -> String {
    shop.runs += 1;
    let run = format!("run/RUN-{}", shop.runs);
    let body = json!({"oven": "OV1", "stages": [{"part": part.code, "stage": stage}]});
    story.fact(at, "oven_run_started", &run, OVEN_HAND, body);
    run
}

pub(super) fn part_thing(part: &Part) -> String {
    format!("part/{}", part.code)
}

/// Told the day after: it had been on the bench since Friday. Quality holds the part, and lifts the hold by two.
fn late_take_out(story: &mut Story, stock: &mut Stock, cuts: &[Cut], part: &Part, start: Instant) {
    let (really, told) = (start.minus_ms(67 * HOUR), start.plus_ms(26 * HOUR));
    let Some(cut) = cuts.first() else { return };
    stock.with(cut.roll, |roll| {
        roll.kept_for = Some(LATE);
        let body = json!({"from": roll.freezer, "to": "CUT"});
        story.told(told, really, "roll_taken_out", &roll.thing(), LAMINATOR, body);
        if 0 < roll.left_mm {
            roll.left_mm = 0;
            story.fact(told.plus_ms(2 * HOUR), "disposed", &roll.thing(), CLERK, json!({"why": "Out of life"}));
        }
    });
    let why = "Film adhesive was past its tack life when it was laid";
    let hold = json!({"why": why, "nonconformance": "NC-7"});
    let hold = story.decide(told.plus_ms(HOUR), "place_hold", &part_thing(part), QUALITY, hold);
    let lift = json!({"hold": hold, "why": "Three lap shear coupons of the same day met the figure; report NC-7"});
    // Who placed a hold does not lift it.
    let both = [SECOND_QUALITY, THIRD_QUALITY];
    story.decide_together(told.plus_ms(3 * DAY + 4 * HOUR), "lift_hold", &part_thing(part), both, lift);
}
