//! The code that sets a yard up, with the program itself: where it is told, where it never is, and how it is made anew.

use serde_json::{Value, json};
use std::{
    fs,
    io::{BufRead, BufReader, Read, Write},
    os::unix::fs::PermissionsExt,
    path::Path,
    process::{Child, Command, Output, Stdio},
};
use tests::{fresh::run, server::rimebook};
use totp_rs::{Builder, Secret};

const PASSWORD: &str = "a boat on a cold slip";

/// The program at work, with all that it says.
struct Serving {
    child: Child,
    url: String,
}

impl Serving {
    fn on(data: &Path) -> Serving {
        let mut child = Command::new(rimebook())
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(data)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.as_mut().unwrap()).read_line(&mut line).unwrap();
        let url = line.split_whitespace().find(|word| word.starts_with("http://")).unwrap().to_owned();
        Serving { child, url }
    }

    fn post(&self, path: &str, body: &Value) -> (u16, Value) {
        let client = reqwest::blocking::Client::builder().no_proxy().build().unwrap();
        let answer = client.post(format!("{}{path}", self.url)).json(body).send().unwrap();
        (answer.status().as_u16(), answer.json().unwrap())
    }

    /// A code by the server's own clock (RFC 9110, section 6.6.1), so many steps from now.
    fn digits(&self, secret: &str, steps: i64) -> String {
        let client = reqwest::blocking::Client::builder().no_proxy().build().unwrap();
        let answer = client.get(format!("{}/healthz", self.url)).send().unwrap();
        let date = chrono::DateTime::parse_from_rfc2822(answer.headers()["date"].to_str().unwrap()).unwrap();
        let totp = Builder::new().with_secret(Secret::try_from_base32(secret).unwrap()).build().unwrap();
        totp.generate(u64::try_from(date.timestamp() + 30 * steps).unwrap()).to_string()
    }

    /// Makes the administrator A-1; the secret of their one-time codes.
    fn set_up(&self, data: &Path) -> String {
        let code = fs::read_to_string(data.join("people/set-up-code")).unwrap().trim().to_owned();
        let (_, begun) = self.post("/api/v1/join/begin", &json!({ "code": code }));
        self.join(&code, &begun)
    }

    fn join(&self, code: &str, begun: &Value) -> String {
        let secret = begun["one_time_secret"].as_str().unwrap().to_owned();
        // A code is taken once, and one step beside its time too.
        let digits = self.digits(&secret, -1);
        let said =
            json!({"code": code, "badge": "A-1", "name": "Ana Example", "password": PASSWORD, "one_time_code": digits});
        let (status, joined) = self.post("/api/v1/join", &said);
        assert_eq!(status, 201, "{joined}");
        secret
    }

    /// The cookie of A-1, who has this secret.
    fn signed_in(&self, secret: &str) -> String {
        let client = reqwest::blocking::Client::builder().no_proxy().build().unwrap();
        let shows = json!({"badge": "A-1", "password": PASSWORD, "one_time_code": self.digits(secret, 0)});
        let answer = client.post(format!("{}/api/v1/sign-in", self.url)).json(&shows).send().unwrap();
        answer.headers()["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_owned()
    }

    fn page(&self, path: &str, cookie: &str) -> String {
        let client = reqwest::blocking::Client::builder().no_proxy().build().unwrap();
        let request = client.get(format!("{}{path}", self.url)).header("cookie", cookie).header("accept", "text/html");
        request.send().unwrap().text().unwrap()
    }

    fn status(&self, path: &str) -> u16 {
        let client = reqwest::blocking::Client::builder().no_proxy().build().unwrap();
        client.get(format!("{}{path}", self.url)).send().unwrap().status().as_u16()
    }

    /// Ends it; what it said on standard error.
    fn ended(mut self) -> String {
        let mut said = String::new();
        self.child.kill().unwrap();
        self.child.wait().unwrap();
        self.child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
        said
    }
}

#[test]
fn a_service_leaves_the_code_in_a_file_of_its_own_and_prints_it_nowhere() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("yard");
    let serving = Serving::on(&data);
    let path = data.join("people/set-up-code");
    let code = fs::read_to_string(&path).unwrap().trim().to_owned();
    assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    let (status, begun) = serving.post("/api/v1/join/begin", &json!({ "code": code }));
    assert_eq!((status, &begun["sets_up"]), (200, &json!(true)));
    assert_eq!(serving.status("/api/v1/rolls"), 200);
    let said = serving.ended();
    assert!(said.contains("people/set-up-code") && !said.contains(&code), "{said}");
    // The next start gives another.
    let serving = Serving::on(&data);
    assert_ne!(fs::read_to_string(&path).unwrap().trim(), code);
    assert_eq!(serving.post("/api/v1/join/begin", &json!({ "code": code })).0, 403);
    serving.ended();
}

#[test]
fn who_lost_every_way_in_begins_anew_beside_the_stopped_server() {
    let folder = tempfile::tempdir().unwrap();
    let granted = json!({"decide": "grant_roles", "id": "0197a1c3-0000-7000-8000-000000000001", "thing": "badge/A-1", "by": "A-1",
        "based_on": 0, "recorded_at": "2026-05-06T06:00:00.000+00:00", "body": {"roles": ["administrator"]}});
    fs::write(folder.path().join("log.jsonl"), format!("{granted}\n")).unwrap();
    let loaded = run(&["load", "log.jsonl", "--data", "yard"], folder.path());
    assert!(loaded.status.success(), "{}", String::from_utf8_lossy(&loaded.stderr));
    let data = folder.path().join("yard");
    let serving = Serving::on(&data);
    assert_eq!(serving.status("/api/v1/rolls"), 401);
    let said = serving.ended();
    assert!(said.contains("No administrator can sign in here"), "{said}");
    let reset = run(&["people", "reset", "--data", "yard"], folder.path());
    let text = String::from_utf8(reset.stdout).unwrap();
    assert!(reset.status.success(), "{text}");
    let code = text.lines().next().unwrap().rsplit(' ').next().unwrap().to_owned();
    // The log says that somebody beside it asked for one, and not which.
    let log = run(&["export", "--data", "yard"], folder.path()).stdout;
    let last: Value = serde_json::from_str(String::from_utf8(log).unwrap().lines().last().unwrap()).unwrap();
    assert_eq!([&last["kind"], &last["by"], &last["thing"]], ["done_beside.v1", "LOG", "yard/YARD"]);
    assert_eq!(last["body"], json!({"what": "set_up_code"}));
    let kept = fs::read_to_string(data.join("people/people.json")).unwrap();
    assert!(!kept.contains(&code));
    let serving = Serving::on(&data);
    let (status, begun) = serving.post("/api/v1/join/begin", &json!({ "code": code }));
    assert_eq!((status, &begun["sets_up"]), (200, &json!(true)));
    // Beside a server at work nothing is reset.
    let beside = run(&["people", "reset", "--data", "yard"], folder.path());
    assert!(!beside.status.success(), "{}", String::from_utf8_lossy(&beside.stdout));
    // An administrator finds it where people are looked after.
    let joined = serving.join(&code, &begun);
    let page = serving.page("/people", &serving.signed_in(&joined));
    assert!(page.contains("asked for a new set-up code") && page.contains("Done beside the server"), "{page}");
    assert!(!serving.ended().contains("No administrator"));
    let nothing = run(&["people", "reset", "--data", "nowhere"], folder.path());
    assert!(String::from_utf8_lossy(&nothing.stderr).contains("no data folder"));
}

/// Runs the program in a folder, with a token and with lines that somebody types.
fn typed(args: &[&str], folder: &Path, token: &str, lines: &str) -> (i32, String) {
    let mut child = Command::new(rimebook())
        .args(args)
        .current_dir(folder)
        .env("RIMEBOOK_TOKEN", token)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(lines.as_bytes()).unwrap();
    let Output { status, stdout, stderr } = child.wait_with_output().unwrap();
    (status.code().unwrap(), String::from_utf8([stdout, stderr].concat()).unwrap())
}

#[test]
fn once_the_yard_is_set_up_each_command_says_how_to_show_who_asks() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("yard");
    let serving = Serving::on(&data);
    for file in ["yard.toml", "cards.csv"] {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("tour").join(file);
        fs::copy(from, folder.path().join(file)).unwrap();
    }
    let url = serving.url.clone();
    let ask = |args: &[&str], token: &str| typed(&[args, &["--server", &url]].concat(), folder.path(), token, "");
    let (code, said) = ask(&["import", "yard.toml"], "");
    assert_eq!(code, 0, "{said}");
    let secret = serving.set_up(&data);

    // Without a token each says where one comes from, and what it has to allow.
    let questions: [&[&str]; 6] = [
        &["ask", "roll/R-12", "--act", "lay"],
        &["runs-out"],
        &["trace", "batch/PM-101/B-123"],
        &["mismatches"],
        &["warnings"],
        &["import", "."],
    ];
    for args in questions {
        let (code, said) = ask(args, "");
        assert!(code == 1 && said.contains("RIMEBOOK_TOKEN") && said.contains("/people"), "{args:?} {code} {said}");
    }

    // A program's token brings in what a program may; the yard stands already.
    let client = reqwest::blocking::Client::builder().no_proxy().build().unwrap();
    let cookie = serving.signed_in(&secret);
    let as_admin = |path: &str, body: &Value| -> Value {
        let answer = client.post(format!("{url}{path}")).header("cookie", &cookie).json(body).send().unwrap();
        answer.json().unwrap()
    };
    let decide = |decide: &str, thing: &str, body: Value, id: u32| {
        let id = format!("0197a1c3-0000-7000-8000-{id:012}");
        let last = client.get(format!("{url}/api/v1/entries?limit=1")).header("cookie", &cookie).send().unwrap();
        let last = last.json::<Value>().unwrap()["as_of_seq"].clone();
        as_admin(
            "/api/v1/decisions",
            &json!({"id": id, "decide": decide, "thing": thing, "by": "A-1", "based_on": last, "body": body}),
        )
    };
    let scopes = json!(["read", "facts", "decisions"]);
    decide("grant_roles", "badge/X-1", json!({"roles": ["integrator"], "scopes": scopes}), 1);
    let token = |scopes: &Value| {
        let issued = as_admin("/api/v1/tokens", &json!({"badge": "X-1", "name": "cards", "scopes": scopes}));
        issued["token"].as_str().unwrap_or_else(|| panic!("{issued}")).to_owned()
    };
    let (reads, writes) = (token(&json!(["read"])), token(&scopes));
    let (code, said) = ask(&["import", "."], &reads);
    assert!(code == 1 && said.contains("not for facts") && said.contains("Nothing was written"), "{said}");
    let (code, said) = ask(&["import", "."], &writes);
    assert!(code == 0 && said.contains("Written: 3 rolls.") && said.contains("/confirm"), "{said}");
    let (code, said) = ask(&["ask", "roll/R-12", "--act", "lay"], &reads);
    assert!(matches!(code, 0 | 3) && said.contains("R-12"), "{code} {said}");
    let entry = client.get(format!("{url}/api/v1/entries?kind=roll_received")).bearer_auth(&reads).send().unwrap();
    let entry = entry.json::<Value>().unwrap()["items"][0].clone();
    assert_eq!([&entry["by"], &entry["by_known"]], ["X-1", "token"]);
    // What only people decide is said before anything is written.
    let text = fs::read_to_string(folder.path().join("yard.toml")).unwrap();
    let more =
        "[[place]]\ncode = \"F2\"\nname = \"Freezer 2\"\nfrozen = true\nhighest = -18\nroom = \"CUT\"\n\n[[material]]";
    fs::write(folder.path().join("yard.toml"), text.replacen("[[material]]", more, 1)).unwrap();
    let (code, said) = ask(&["import", "."], &writes);
    assert!(code == 1 && said.contains("To declare a place needs administrator"), "{said}");
    assert!(said.contains("Nothing was written"), "{said}");

    // What a lost device had not sent: an administrator, asked who they are.
    decide("enrol_device", "device/H-3", json!({"what": "handheld"}), 2);
    decide("revoke_device", "device/H-3", json!({"why": "lost"}), 3);
    let fact = json!({"id": "0197a1c3-0000-7000-8000-000000000009", "kind": "seen", "thing": "roll/R-12", "device": "H-3", "counter": 1,
        "occurred_at": "2026-05-06T06:02:11.000+02:00", "by": "B-17", "body": {"in": "F1"}});
    fs::write(folder.path().join("h3.jsonl"), format!("{fact}\n")).unwrap();
    let (code, said) = ask(&["bring-in", "h3.jsonl"], "");
    assert!(code == 1 && said.contains("--by"), "{said}");
    let bring = |more: &[&str], digits: &str| {
        let args = [&["bring-in", "h3.jsonl", "--by", "A-1", "--server", &url], more].concat();
        typed(&args, folder.path(), "", &format!("{PASSWORD}\n{digits}\n"))
    };
    // A code is taken once: those of the next step, and then of none.
    let (code, said) = bring(&[], &serving.digits(&secret, 1));
    assert!(code == 0 && said.contains("Would be written: 1.") && said.contains("Nothing was written"), "{said}");
    let (code, said) = bring(&["--save"], "000000");
    assert!(code == 1 && said.contains("That is not right"), "{said}");
    assert!(!said.contains(PASSWORD));
    serving.ended();
}

#[test]
fn wrong_sign_ins_stand_in_the_servers_own_log_once_a_minute_and_never_with_what_was_typed() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("yard");
    let serving = Serving::on(&data);
    serving.set_up(&data);
    let tried =
        |badge: &str| json!({"badge": badge, "password": "not the password of anybody", "one_time_code": "123456"});
    for badge in ["A-1", "A-1", "B-404", "not the password of anybody"] {
        assert_eq!(serving.post("/api/v1/sign-in", &tried(badge)).0, 401);
    }
    let said = serving.ended();
    let wrong: Vec<Value> = said
        .lines()
        .filter_map(|line| serde_json::from_str(line).ok())
        .filter(|line: &Value| line["message"] == "a sign-in was wrong")
        .collect();
    let badges: Vec<&Value> = wrong.iter().map(|line| &line["badge"]).collect();
    assert_eq!(badges, ["A-1", "?"], "{said}");
    assert!(!said.contains("not the password") && !said.contains("123456") && !said.contains("B-404"), "{said}");
}
