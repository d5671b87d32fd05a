//! Disks that fail while the server is at work: what was acknowledged is answered on, and nobody is told that more was written.

use crate::full_disk::FailingDisk;
use reqwest::Method;
use serde_json::json;

#[test]
fn a_disk_that_fails_or_can_only_be_read_stops_writing_and_nothing_else() {
    for (why, read_only) in [("the barrier failed", false), ("read-only", true)] {
        let disk = FailingDisk::default();
        let mut server = disk.serve();
        server.fill_yard();
        let before = server.last_seq();
        let answer = server.get("/api/v1/things/roll/R-42/may-use?act=lay").text;
        assert_eq!(server.get("/readyz").status, 200);

        if read_only {
            disk.turn_read_only()
        } else {
            disk.fail()
        }
        for _ in 0..2 {
            let fact = server.fact_now("roll_taken_out", "roll/R-42", json!({"from": "F1", "to": "CUT"}));
            let result = server.post("/api/v1/entries", &json!({"entries": [fact]})).json()["results"][0].clone();
            assert_eq!(
                (&result["status"], &result["problem"]["type"]),
                (&json!(503), &json!("/problems/writes-stopped"))
            );
            assert!(result["problem"]["detail"].as_str().unwrap().contains(why), "{result}");
        }
        let wish = server.decision_now("place_hold", "roll/R-42", json!({"why": "torn bag"}));
        server.post("/api/v1/decisions", &wish).problem(503, "writes-stopped");

        let ready = server.get("/readyz").problem(503, "writes-stopped");
        assert!(ready["detail"].as_str().unwrap().contains(why), "{ready}");
        assert_eq!((server.get("/healthz").status, server.last_seq()), (200, before));
        assert_eq!(server.get("/api/v1/things/roll/R-42/may-use?act=lay").text, answer);
        assert_eq!(server.send(Method::GET, "/thing/roll/R-42", &[], Vec::new()).status, 200);
        server.stop();
    }
}
