//! The invented yard of the random histories: its places, materials and batches.

use serde_json::{Value, json};

use super::{Writer, time};
use crate::stepper::Minute;

/// 24 March 2025, 04:00 UTC: the clocks of the yard's zone go forward on the sixth day.
pub(super) const OPENS: Minute = 29_046_480;

/// Frozen places, the last one with a rack time; a truck; rooms; a place that nobody declared.
pub(super) const FREEZERS: [&str; 3] = ["F1", "F2", "F3"];
pub(super) const TRUCK: &str = "T1";
pub(super) const ROOMS: [&str; 3] = ["CUT", "LAY", "YONDER"];

/// Materials with the number of batches that each has.
pub(super) const MATERIALS: [(&str, usize); 3] = [("PM-101", 2), ("PM-102", 2), ("PM-103", 1)];

pub(super) fn declare(writer: &mut Writer) {
    let spare_s = writer.random.between(0, 3) * 1800;
    writer.decision("declare_yard", "yard/YARD", OPENS - 100, json!({"zone": "Europe/Berlin", "spare_s": spare_s}));
    for place in ["F1", "F2", TRUCK] {
        let body = json!({"name": place, "frozen": true, "highest_millideg_c": -18_000});
        writer.decision("declare_place", &format!("place/{place}"), OPENS - 99, body);
    }
    let trolleys = json!({"name": "F3", "frozen": true, "highest_millideg_c": -18_000, "rack_s": 600});
    writer.decision("declare_place", "place/F3", OPENS - 98, trolleys.clone());
    if writer.random.chance(30) {
        let from = OPENS + writer.random.between(3000, 15_000);
        let mut slower = trolleys;
        slower["rack_s"] = json!(1200);
        // Too warm for all but PM-103 from then on.
        slower["highest_millideg_c"] = json!(-15_000);
        slower["effective_from"] = json!(time(from));
        writer.decision("declare_place", "place/F3", OPENS - 97, slower);
    }
    for room in ["CUT", "LAY"] {
        let body = json!({"name": room, "frozen": false, "highest_millideg_c": 25_000});
        writer.decision("declare_place", &format!("place/{room}"), OPENS - 96, body);
    }
    materials(writer);
    batches(writer);
    jobs(writer);
}

/// So often a job lays, and so many of them there are; four parts are made again and again.
const EVERY: Minute = 480;
const JOBS: Minute = 40;

/// The job that lays a day or so after an instant.
pub(super) fn job_after(at: Minute) -> String {
    format!("J-{}", ((at - OPENS) / EVERY + 3).clamp(1, JOBS))
}

fn jobs(writer: &mut Writer) {
    for job in 1..=JOBS {
        let lay_at = OPENS + job * EVERY + job * 7 % 60;
        let oven_at = lay_at + [60, 200, 900, 2000, 4000][job as usize % 5];
        let body = json!({"part": format!("P-{}", job % 4 + 1), "stages": ["skin"], "needs": [],
            "lay_at": time(lay_at), "oven_at": time(oven_at)});
        writer.decision("open_job", &format!("job/J-{job}"), OPENS - 70, body);
    }
}

fn material(name: &str, limits: Value) -> Value {
    let mut body = json!({
        "revision": "A", "name": name, "form": "prepreg",
        "storage_limit_millideg_c": -18_000, "valid_up_to_millideg_c": 25_000, "rate": {"model": "door_to_door"}
    });
    if let (Some(body), Some(limits)) = (body.as_object_mut(), limits.as_object()) {
        body.extend(limits.clone());
    }
    body
}

fn materials(writer: &mut Writer) {
    let all_stated = json!({
        "shelf_life": {"months": 6, "tested_at": "oven"},
        "out_life_s": 432_000, "tack_life_s": 259_200,
        "lay_to_cure": {"limit_s": 172_800, "from": "first_ply"}, "refreezes": {"allowed": 4, "after_s": 1800}
    });
    let no_tack = json!({
        "shelf_life": {"months": 3, "tested_at": "take_out"},
        "out_life_s": 864_000, "tack_life_s": {"none_by": "DOC-12"},
        "lay_to_cure": {"limit_s": 86_400, "from": "complete"}, "refreezes": {"allowed": 2, "after_s": 0}
    });
    let few = json!({
        "shelf_life": {"months": 13, "tested_at": "lay"},
        "storage_limit_millideg_c": -12_000, "out_life_s": {"none_by": "DOC-13"}, "tack_life_s": 518_400,
        "lay_to_cure": {"none_by": "DOC-13"}, "refreezes": {"none_by": "DOC-13"}
    });
    for (code, limits) in [("PM-101", all_stated), ("PM-102", no_tack), ("PM-103", few)] {
        writer.decision("revise_material", &format!("material/{code}"), OPENS - 90, material(code, limits));
    }
}

fn batches(writer: &mut Writer) {
    // Ends that fall before, among and after what happens; month ends; months without a day.
    let batches = [
        ("PM-101/B-1", json!({"made_on": "2024-11-30"})),
        ("PM-101/B-2", json!({"made_on": "2024-10", "certificate_ends": "2025-04-02"})),
        ("PM-102/B-1", json!({"made_on": "2025-01", "certificate_ends": "2025-03"})),
        ("PM-102/B-2", json!({"made_on": "2025-01-31"})),
        ("PM-103/B-1", json!({"made_on": "2024-03-31", "certificate_ends": "2025-12"})),
    ];
    for (batch, body) in batches {
        writer.decision("register_batch", &format!("batch/{batch}"), OPENS - 80, body);
    }
}
