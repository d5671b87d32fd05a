//! The yard that the document's examples are of: Wed 6 May 2026 08:00, before the first ply of the day.

use crate::yard::Server;
use serde_json::json;

/// The last entry of its log, which the examples of decisions are based on.
pub(super) const LAST: u64 = 21;

/// The scan that the example of a strike strikes.
const WRONG_SCAN: &str = "0197a1c2-0000-7000-8000-0000000000a1";

pub(super) fn fill(base: &Server) {
    base.fill_yard();
    base.decide(
        "revise_material",
        "material/PM-205",
        json!({"revision": "1", "name": "adhesive film", "form": "film", "storage_limit_millideg_c": -18000,
               "valid_up_to_millideg_c": 30000, "shelf_life": {"months": 6}, "out_life_s": 1_209_600, "tack_life_s": 1_209_600,
               "lay_to_cure": {"none_by": "data sheet 2"}, "refreezes": {"allowed": 10}, "rate": {"model": "door_to_door"}}),
    );
    base.decide("register_batch", "batch/PM-205/B-7", json!({"made_on": "2026-03"}));
    base.receive("R-24");
    for (job, part, boat) in [("J-118", "P-3", "118"), ("J-119", "P-4", "119")] {
        let body = json!({"part": part, "stages": ["skin"], "needs": [{"material": "PM-101", "length_mm": 12000}], "boat": boat,
                          "lay_at": "2026-05-06T16:00:00.000+01:00", "oven_at": "2026-05-06T20:00:00.000+01:00"});
        base.decide("open_job", &format!("job/{job}"), body);
        base.decide("declare_boat", &format!("boat/{boat}"), json!({"parts": [part]}));
    }
    base.fact("roll_taken_out", "roll/R-42", json!({"from": "F1", "to": "CUT"}));
    base.pass(40);
    let kit = |kit: &str, job: &str| json!({"kit": kit, "job": job, "items": [{"roll": "R-42", "length_mm": 12000, "plies": 8}]});
    base.fact("nest_cut", "nest/N-7", json!({"kits": [kit("K-5", "J-118"), kit("K-6", "J-119")]}));
    base.pass(10);
    // It was never in the second freezer, so that it does not add up.
    let mut wrong = base.fact_now("roll_put_away", "roll/R-24", json!({"into": "F2"}));
    wrong["id"] = json!(WRONG_SCAN);
    wrong["device"] = json!("H-3");
    wrong["counter"] = json!(118);
    base.post("/api/v1/entries", &json!({"entries": [wrong]}));
    base.decide("place_hold", "batch/PM-205/B-7", json!({"why": "no certificate yet"}));
    base.fact("delivery_arrived", "delivery/DN-7", json!({"rolls": ["R-24", "R-42", "R-43"]}));
    let eight = shared_types::Stamp::parse("2026-05-06T08:00:00+01:00").unwrap().at;
    assert!(base.clock_ahead_ms(0) < eight);
    base.clock.set(eight);
}
