//! The invented yard: its places, its three materials, its two boats and the parts they are made of.

use serde_json::{Value, json};
use shared_types::Instant;

use super::story::{CLERK, HOUR, MINUTE, QUALITY, SECOND_QUALITY, Story};

pub(super) const PREPREG: &str = "PM-101";
pub(super) const FILM: &str = "FA-20";
pub(super) const SPLICE: &str = "CS-7";

/// What a material allows, as far as the demo has to keep within it: the rules are the server's.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sheet {
    pub(super) material: &'static str,
    pub(super) revision: &'static str,
    pub(super) roll_mm: i64,
    pub(super) width_mm: i64,
    pub(super) shelf_months: u32,
    /// The out-time at which the demo's people stop taking a roll, in hours.
    pub(super) out_hours: i64,
    pub(super) returns: i64,
}

pub(super) const SHEETS: [Sheet; 3] = [
    Sheet {
        material: PREPREG,
        revision: "B",
        roll_mm: 50_000,
        width_mm: 1_270,
        shelf_months: 12,
        out_hours: 120,
        returns: 5,
    },
    Sheet {
        material: FILM,
        revision: "A",
        roll_mm: 30_000,
        width_mm: 1_000,
        shelf_months: 6,
        out_hours: 40,
        returns: 3,
    },
    Sheet {
        material: SPLICE,
        revision: "A",
        roll_mm: 10_000,
        width_mm: 300,
        shelf_months: 9,
        out_hours: 120,
        returns: 99,
    },
];

/// A part of a boat: sandwich parts are made in three stages, the others in one.
#[derive(Clone, Debug)]
pub(super) struct Part {
    pub(super) boat: &'static str,
    pub(super) code: String,
    pub(super) job: String,
    pub(super) stages: &'static [&'static str],
}

pub(super) const BOATS: [(&str, u32); 2] = [("NB-31", 31), ("NB-32", 32)];
const PARTS_PER_BOAT: u32 = 14;

pub(super) fn parts(boat: usize) -> Vec<Part> {
    let numbered =
        BOATS.iter().skip(boat).take(1).flat_map(|(boat, number)| {
            (1..=PARTS_PER_BOAT).map(move |part| (*boat, format!("{number}{part:02}"), part))
        });
    let part = |(boat, number, part): (&'static str, String, u32)| Part {
        boat,
        code: format!("P-{number}"),
        job: format!("J-{number}"),
        stages: if part % 3 == 1 { &["skin"] } else { &["skin", "core bond", "second skin"] },
    };
    numbered.map(part).collect()
}

/// All that stands before the first roll comes.
pub(super) fn declare(story: &mut Story) {
    let start = story.clock(story.first_day(), 6, 0);
    let both = [QUALITY, SECOND_QUALITY];
    let yard = json!({
        "zone": "Europe/Oslo", "spare_s": 3600, "on_call": "4711", "closed_weekdays": ["saturday", "sunday"],
        "shift_start": "06:00", "shift_end": "22:00",
    });
    story.decide_together(start, "declare_yard", "yard/YARD", both, yard);
    for (at, (code, body)) in (1..).zip(places()) {
        story.decide(start.plus_ms(at * MINUTE), "declare_place", &format!("place/{code}"), CLERK, body);
    }
    for (at, (code, body)) in (1..).zip(materials()) {
        let at = start.plus_ms(HOUR + at * MINUTE);
        story.decide_together(at, "revise_material", &format!("material/{code}"), both, body);
    }
    for (boat, (code, _)) in BOATS.iter().enumerate() {
        let list: Vec<String> = parts(boat).into_iter().map(|part| part.code).collect();
        declare_boat(story, start.plus_ms(2 * HOUR), code, &list);
    }
}

fn declare_boat(story: &mut Story, at: Instant, code: &str, parts: &[String]) {
    story.decide(at, "declare_boat", &format!("boat/{code}"), CLERK, json!({ "parts": parts }));
}

fn places() -> [(&'static str, Value); 7] {
    let room = |name: &str| json!({"name": name, "frozen": false, "highest_millideg_c": 24_000});
    let frozen = |name: &str| json!({"name": name, "frozen": true, "highest_millideg_c": -18_000, "room": "CUT"});
    let truck = json!({"name": "Freezer truck", "frozen": true, "highest_millideg_c": -18_000, "room": "DOCK"});
    [
        ("DOCK", room("Goods-in dock")),
        ("CUT", room("Cutting room")),
        ("LAY", room("Lay-up hall")),
        ("OV1", room("Oven hall")),
        ("F1", frozen("Freezer 1")),
        ("F2", frozen("Freezer 2")),
        ("TRUCK", truck),
    ]
}

/// Invented figures of a usual size; a real yard takes them from the maker's sheet.
fn materials() -> [(&'static str, Value); 3] {
    let prepreg = json!({
        "revision": "B", "name": "Carbon prepreg, unidirectional", "form": "prepreg",
        "storage_limit_millideg_c": -18_000, "valid_up_to_millideg_c": 30_000,
        "shelf_life": {"months": 12, "tested_at": "oven"}, "out_life_s": 240 * 3600, "tack_life_s": 160 * 3600,
        "lay_to_cure": {"limit_s": 72 * 3600, "from": "first_ply"}, "refreezes": {"allowed": 5, "after_s": 1800},
        "rate": {"model": "door_to_door"},
    });
    let film = json!({
        "revision": "A", "name": "Film adhesive", "form": "film adhesive",
        "storage_limit_millideg_c": -18_000, "valid_up_to_millideg_c": 30_000,
        "shelf_life": {"months": 6, "tested_at": "lay"}, "out_life_s": 120 * 3600, "tack_life_s": 72 * 3600,
        "lay_to_cure": {"limit_s": 48 * 3600, "from": "complete"}, "refreezes": {"allowed": 3, "after_s": 1800},
        "rate": {"model": "door_to_door"},
    });
    let splice = json!({
        "revision": "A", "name": "Core splice foam", "form": "core splice",
        "storage_limit_millideg_c": -18_000, "valid_up_to_millideg_c": 30_000,
        "shelf_life": {"months": 9, "tested_at": "take_out"}, "out_life_s": 168 * 3600,
        "tack_life_s": {"none_by": "CS-7 data sheet, issue 4"}, "lay_to_cure": {"limit_s": 96 * 3600},
        "refreezes": {"none_by": "CS-7 data sheet, issue 4"}, "rate": {"model": "door_to_door"},
    });
    [(PREPREG, prepreg), (FILM, film), (SPLICE, splice)]
}
