//! `rimebook import` against a real server: all or nothing, over again without doubling, and never over what is there.

use serde_json::{Value, json};
use std::fs;
use tests::fresh::{Fresh, run};

struct Yard {
    served: Fresh,
}

impl Yard {
    fn new() -> Yard {
        let yard = Yard { served: Fresh::start() };
        for file in ["yard.toml", "cards.csv"] {
            let from = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tour").join(file);
            fs::copy(from, yard.served.folder().join(file)).unwrap();
        }
        yard
    }

    fn edit(&self, file: &str, from: &str, to: &str) {
        let path = self.served.folder().join(file);
        let text = fs::read_to_string(&path).unwrap();
        assert!(text.contains(from));
        fs::write(path, text.replace(from, to)).unwrap();
    }

    /// The exit code, and all that was said.
    fn import(&self, from: &str, more: &[&str]) -> (i32, String) {
        let mut args = vec!["import", from, "--server", &self.served.url];
        args.extend(more);
        let done = run(&args, self.served.folder());
        let said = [done.stdout, done.stderr].concat();
        (done.status.code().unwrap(), String::from_utf8(said).unwrap())
    }

    fn get(&self, path: &str) -> Value {
        reqwest::blocking::get(format!("{}{path}", self.served.url)).unwrap().json().unwrap()
    }

    fn entries(&self) -> u64 {
        self.get("/api/v1/mismatches")["as_of_seq"].as_u64().unwrap()
    }

    fn post(&self, path: &str, body: &Value) -> u16 {
        let http = reqwest::blocking::Client::new();
        http.post(format!("{}{path}", self.served.url)).json(body).send().unwrap().status().as_u16()
    }
}

#[test]
fn the_yard_may_come_first_and_its_rolls_later() {
    let yard = Yard::new();
    let (code, said) = yard.import("yard.toml", &[]);
    assert_eq!((code, yard.entries()), (0, 9), "{said}");
    let (code, said) = yard.import("cards.csv", &[]);
    assert_eq!((code, yard.entries()), (0, 15), "{said}");
    assert!(said.ends_with("Written: 3 rolls. Already in: the yard, 4 places, 2 materials, 2 batches.\n"), "{said}");
    let roll = yard.get("/api/v1/things/roll/R-12");
    assert_eq!(roll["whereabouts"]["state"], "inside");
    assert_eq!(roll["mismatches"], json!([]));
    assert_eq!(roll["to_confirm"], json!([]), "whoever compared the cards stands beside them");
    assert_eq!(roll["length_left_mm"], 38_200);
}

#[test]
fn a_new_roll_comes_in_beside_those_that_are_in() {
    let yard = Yard::new();
    assert_eq!(yard.import(".", &[]).0, 0);
    yard.edit("cards.csv", "R-20,", "R-21,CS-7,B-9,2025-01,2025-02-10,F1,0:30,0,9,300\nR-20,");
    let (code, said) = yard.import(".", &["--dry-run"]);
    assert_eq!((code, yard.entries()), (0, 15), "{said}");
    let (code, said) = yard.import(".", &[]);
    assert_eq!((code, yard.entries()), (0, 17), "{said}");
}

#[test]
fn one_row_that_is_in_with_other_values_keeps_all_others_out() {
    let yard = Yard::new();
    assert_eq!(yard.import(".", &[]).0, 0);
    yard.edit("cards.csv", "R-20,", "R-21,CS-7,B-9,2025-01,2025-02-10,F1,0:30,0,9,300\nR-20,");
    yard.edit("cards.csv", ",96:20,", ",97:20,");
    for more in [&["--dry-run"][..], &[]] {
        let (code, said) = yard.import(".", more);
        assert_eq!((code, yard.entries()), (1, 15), "{said}");
        let different =
            "cards.csv, line 2: R-12 is already in with other values: out_time is 96:20 there, 97:20 here\n";
        assert_eq!(said, format!("{different}1 problem. Nothing was written.\n"));
    }
}

#[test]
fn what_differs_in_both_entries_of_a_roll_is_said_once() {
    let yard = Yard::new();
    assert_eq!(yard.import(".", &[]).0, 0);
    yard.edit("yard.toml", " 06:00", " 07:00");
    let (code, said) = yard.import("cards.csv", &[]);
    assert_eq!((code, yard.entries()), (1, 15), "{said}");
    let different = "as_of is 2025-02-20T06:00:00.000+00:00 there, 2025-02-20T07:00:00.000+00:00 here";
    assert_eq!(said.matches(different).count(), 3, "{said}");
    assert!(said.ends_with("3 problems. Nothing was written.\n"), "{said}");
}

#[test]
fn what_others_declared_or_received_is_not_written_over() {
    let yard = Yard::new();
    let declared = json!({"id": "7f8a2c30-5b1e-4c6f-9a77-0d1f2e3a4b5c", "decide": "declare_place", "thing": "place/F1", "by": "B-99",
        "based_on": 0, "body": {"name": "The old freezer", "frozen": true}});
    assert_eq!(yard.post("/api/v1/decisions", &declared), 201);
    let received = json!({"entries": [{"id": "7f8a2c30-5b1e-4c6f-9a77-0d1f2e3a4b5d", "kind": "roll_received", "thing": "roll/R-13",
        "occurred_at": "2025-03-01T08:00:00Z", "by": "B-99", "body": {"material": "PM-101", "revision": "C", "batch": "B-123", "length_mm": 50000}}]});
    assert_eq!(yard.post("/api/v1/entries", &received), 207);
    let (code, said) = yard.import(".", &[]);
    assert_eq!((code, yard.entries()), (1, 2), "{said}");
    assert!(
        said.contains("F1 is already in with other values (entry 1): highest is nothing there, -18 here; name is The old freezer there, Freezer 1 here"),
        "{said}"
    );
    assert!(said.contains("cards.csv, line 3: R-13 is already in, received by B-99 (entry 2)"), "{said}");
    assert!(said.ends_with("2 problems. Nothing was written.\n"), "{said}");
}

#[test]
fn an_import_that_broke_off_is_completed_by_another() {
    let yard = Yard::new();
    // Half of a roll is in: its receipt, not its put-away, as after a pulled plug.
    assert_eq!(yard.import(".", &[]).0, 0);
    let first = yard.get("/api/v1/things/roll/R-12/entries")["items"][0].clone();
    let half = Yard::new();
    assert_eq!(half.import("yard.toml", &[]).0, 0);
    let fact = json!({"id": first["id"], "kind": "roll_received", "thing": "roll/R-12", "occurred_at": first["occurred_at"],
        "by": "B-17", "second": {"by": "B-04"}, "body": first["body"]});
    assert_eq!(half.post("/api/v1/entries", &json!({"entries": [fact]})), 207);
    let (code, said) = half.import(".", &[]);
    assert_eq!((code, half.entries()), (0, 15), "{said}");
    let same = |yard: &Yard| yard.get("/api/v1/things/roll/R-12")["limits"].clone();
    assert_eq!(same(&yard), same(&half));
}

#[test]
fn a_server_that_is_not_there_is_said_to_be_so() {
    let mut yard = Yard::new();
    assert!(yard.served.stop(), "asked to stop, it ends well");
    let (code, said) = yard.import(".", &[]);
    assert_eq!(code, 1);
    assert!(said.starts_with("nobody answers at http://127.0.0.1:"), "{said}");
    let verified = run(&["verify", "--data", "data/tour"], yard.served.folder());
    assert!(verified.status.success(), "{}", String::from_utf8_lossy(&verified.stderr));
}
