//! What it costs a question that somebody signed in and that nobody can listen in: "may I use it?" over TLS by a session of
//! a yard that is set up, beside the same question in plain HTTP to a yard where nobody signs in. The client's half of TLS
//! is in it too: it runs on the same machine.

use std::{fs, io::sink, path::Path, sync::Arc};

use actix_web::rt::System;
use reqwest::blocking::{Client, Response};
use rustls::{
    ClientConfig, RootCertStore,
    crypto::ring,
    pki_types::{CertificateDer, pem::PemObject},
};
use serde_json::{Value, json};
use server::{
    cli,
    clock::{Clock, SystemClock},
    http::{self, Doors},
    tls::Identity,
    yard::{Options, Yard},
};
use totp_rs::{Builder, Secret};

use super::{
    client::{Asked, Door, ONE, SIXTEEN, ask_at},
    fill::fill,
    history::History,
    may_use::paths_of,
    paths,
    serving::Serving,
    table::{Plan, Round, Target, ratios, rounds, row},
};

const PASSWORD: &str = "a boat on a cold slip";

pub(crate) fn run(plan: &Plan) -> bool {
    let (entries, things) = if plan.quick { (20_000, 2_000) } else { (200_000, 20_000) };
    let (open_folder, signed_folder) = (paths::folder(), paths::folder());
    let history = History::new(entries, things, SystemClock::new().now().minus_ms(60_000));
    fill(open_folder.path(), &history, 45);
    fill(signed_folder.path(), &history, 45);

    let open = Yard::open(open_folder.path(), Options::default()).unwrap();
    let open = Serving::start(move |listener, stop| System::new().block_on(http::serve(open, listener, stop)).unwrap());
    let (signed, plain, code) = serve_signed(signed_folder.path());
    let session = set_up(&format!("http://{plain}"), &code);

    let base = Door { at: open.at, tls: None, headers: String::new() };
    let ours = Door {
        at: signed.at,
        tls: Some(believing(&signed_folder.path().join("people/authority.pem"))),
        headers: format!("Cookie: __Host-session={session}\r\n"),
    };
    let what = "may-use signed in over TLS";
    let (mut base_path, mut path) = (paths_of(things), paths_of(things));
    let mut side_by_side = |connections: usize, of: &str| {
        rounds(
            plan,
            &format!("{what}, {of}"),
            || ask_at(&base, connections, plan.round, &mut base_path),
            || ask_at(&ours, connections, plan.round, &mut path),
        )
    };
    let one = side_by_side(ONE, "one device");
    let many = side_by_side(SIXTEEN, "16 devices");
    open.stop();
    signed.stop();
    let mut met = true;
    let mut row_of = |what: &str, target: Target, all: &[Round<Asked>], of: fn(&Asked) -> f64| {
        let (ratio, noise) = ratios(all, of);
        met &= row(what, target, &ratio, &noise);
    };
    row_of(&format!("{what}: wait of one device / open in plain HTTP"), Target::AtMost(1.15), &one, |asked| {
        asked.p50_us
    });
    row_of(&format!("{what}: server's processor time / open"), Target::AtMost(1.15), &many, |asked| asked.server_us);
    // The devices' half of TLS takes the same two cores here.
    row_of(
        &format!("{what}: rate with the devices on the same machine / open"),
        Target::AtLeast(0.85),
        &many,
        |asked| asked.per_s,
    );
    for (all, of) in [(&one, "one device"), (&many, "16 devices")] {
        let mine: Vec<f64> = all.iter().map(|round| round.ours.p50_us).collect();
        row(&format!("  {what}, {of}: p50"), Target::Stated("us"), &mine, &[]);
    }
    met
}

/// The yard behind a door in HTTPS, and one in plain HTTP by which it is set up; with the code that does it.
fn serve_signed(folder: &Path) -> (Serving, std::net::SocketAddr, String) {
    let yard = Yard::open(folder, Options::default()).unwrap();
    let code = yard.people.new_set_up_code().unwrap();
    let data = folder.to_str().unwrap();
    let made = cli::run(
        ["rimebook", "certify", "--data", data, "--host", "localhost"].map(std::ffi::OsString::from),
        &mut sink(),
        &mut sink(),
    );
    assert_eq!(made, 0, "no certificate was made");
    let people = folder.join("people");
    let identity = Identity::read(&people.join("server.pem"), &people.join("server.key")).unwrap();
    let plain = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let at = plain.local_addr().unwrap();
    let serving = Serving::start(move |listener, stop| {
        let doors = Doors { plain: vec![plain], secure: vec![listener], identity: Some(identity) };
        System::new().block_on(http::serve_doors(yard, doors, stop)).unwrap();
    });
    (serving, at, code)
}

/// Makes an administrator, signs in, and gives the session.
fn set_up(url: &str, code: &str) -> String {
    let client = Client::new();
    let post = |path: &str, body: &Value| -> Response {
        let request = client.post(format!("{url}{path}")).header("content-type", "application/json");
        let answer = request.body(body.to_string()).send().unwrap();
        assert!(answer.status().is_success(), "{path}: {}", answer.text().unwrap());
        answer
    };
    let begun: Value =
        serde_json::from_str(&post("/api/v1/join/begin", &json!({ "code": code })).text().unwrap()).unwrap();
    let secret = begun["one_time_secret"].as_str().unwrap();
    let totp = Builder::new().with_secret(Secret::try_from_base32(secret).unwrap()).build().unwrap();
    let digits = |ms: i64| totp.generate(((SystemClock::new().now().0 + ms) / 1_000) as u64).to_string();
    let join =
        json!({"code": code, "badge": "A-1", "name": "Ana Example", "password": PASSWORD, "one_time_code": digits(0)});
    post("/api/v1/join", &join);
    // A code is taken once; that of the next half minute is taken too.
    let sign_in = json!({"badge": "A-1", "password": PASSWORD, "one_time_code": digits(30_000)});
    let signed_in = post("/api/v1/sign-in", &sign_in);
    let cookie = signed_in.headers()["set-cookie"].to_str().unwrap();
    let (_, value) = cookie.split(';').next().unwrap().split_once('=').unwrap();
    value.to_owned()
}

/// Whoever believes this authority and no other.
fn believing(authority: &Path) -> Arc<ClientConfig> {
    let mut roots = RootCertStore::empty();
    roots.add(CertificateDer::from_pem_slice(&fs::read(authority).unwrap()).unwrap()).unwrap();
    let config = ClientConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_root_certificates(roots)
        .with_no_client_auth();
    Arc::new(config)
}
