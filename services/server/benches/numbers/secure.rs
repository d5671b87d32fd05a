//! What HTTPS costs: "may I use it?" on one connection that is kept, with TLS and without, asked of the same server in
//! the same rounds. The client's own share of the ciphers is in it, because it runs on the same cores.

use std::{
    ffi::OsString,
    fs,
    io::{Read, Write},
    net::{SocketAddr, TcpListener, TcpStream},
    sync::Arc,
    time::{Duration, Instant},
};

use actix_web::rt::System;
use rustls::{
    ClientConfig, ClientConnection, RootCertStore, StreamOwned,
    crypto::ring,
    pki_types::{CertificateDer, ServerName, pem::PemObject},
};
use server::{
    cli,
    clock::{Clock, SystemClock},
    http::{self, Doors},
    tls::Identity,
    yard::{Options, Yard},
};

use super::{
    fill::fill,
    history::{History, mix},
    paths,
    serving::Serving,
    table::{Plan, Target, ratios, rounds, row},
};

pub(crate) fn run(plan: &Plan) -> bool {
    let (entries, things) = (100_000, 10_000);
    let folder = paths::folder();
    fill(folder.path(), &History::new(entries, things, SystemClock::new().now().minus_ms(60_000)), 45);
    let args = ["rimebook", "certify", "--data", folder.path().to_str().unwrap(), "--host", "stores.yard.example"];
    let (mut out, mut err) = (Vec::new(), Vec::new());
    assert_eq!(cli::run(args.map(OsString::from), &mut out, &mut err), 0, "{}", String::from_utf8_lossy(&err));
    let people = folder.path().join("people");
    let identity = Identity::read(&people.join("server.pem"), &people.join("server.key")).unwrap();
    let config = trusting(&fs::read(people.join("authority.pem")).unwrap());
    let yard = Yard::open(folder.path(), Options::default()).unwrap();
    yard.archive.drained();
    let plain = TcpListener::bind("127.0.0.1:0").unwrap();
    let plain_at = plain.local_addr().unwrap();
    let server = Serving::start(move |secure, stop| {
        let doors = Doors { plain: vec![plain], secure: vec![secure], identity: Some(identity) };
        System::new().block_on(http::serve_doors(yard, doors, stop)).unwrap();
    });
    let mut open = connect(plain_at);
    let mut sealed = StreamOwned::new(ClientConnection::new(config, name()).unwrap(), connect(server.at));
    let mut asked = 0;
    let mut path = move || {
        asked += 1;
        History::roll((mix(asked) % things as u64) as usize)
    };
    let mut other = path;
    let what = "may-use over HTTPS on one kept connection";
    let all = rounds(plan, what, || ask(&mut open, plan.round, &mut path), || ask(&mut sealed, plan.round, &mut other));
    drop((open, sealed));
    server.stop();
    let (rate, noise) = ratios(&all, |per_s| *per_s);
    row(&format!("{what}: rate / plain HTTP"), Target::AtLeast(0.85), &rate, &noise)
}

/// Questions a second.
fn ask(stream: &mut (impl Read + Write), time: Duration, roll: &mut impl FnMut() -> String) -> f64 {
    let begin = Instant::now();
    let (mut answers, mut buffer) = (0_u32, vec![0; 1 << 20]);
    while begin.elapsed() < time {
        let path = format!("/api/v1/things/roll/{}/may-use?act=cut", roll());
        stream.write_all(format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n").as_bytes()).unwrap();
        stream.flush().unwrap();
        let mut filled = 0;
        while !is_whole(&buffer[..filled]) {
            let read = stream.read(&mut buffer[filled..]).unwrap();
            assert!(read > 0, "the server closed the connection");
            filled += read;
        }
        answers += 1;
    }
    f64::from(answers) / begin.elapsed().as_secs_f64()
}

fn is_whole(bytes: &[u8]) -> bool {
    let Some(end) = bytes.windows(4).position(|four| four == b"\r\n\r\n") else { return false };
    let head = std::str::from_utf8(&bytes[..end]).unwrap().to_ascii_lowercase();
    assert!(head.starts_with("http/1.1 200"), "{head}");
    let length = head.split("content-length:").nth(1).and_then(|rest| rest.split("\r\n").next());
    bytes.len() == end + 4 + length.unwrap().trim().parse::<usize>().unwrap()
}

fn connect(at: SocketAddr) -> TcpStream {
    let stream = TcpStream::connect(at).unwrap();
    stream.set_nodelay(true).unwrap();
    stream
}

fn name() -> ServerName<'static> {
    ServerName::try_from("127.0.0.1").unwrap()
}

/// Believes this authority and nobody else.
fn trusting(pem: &[u8]) -> Arc<ClientConfig> {
    let mut roots = RootCertStore::empty();
    roots.add(CertificateDer::from_pem_slice(pem).unwrap()).unwrap();
    let config = ClientConfig::builder_with_provider(Arc::new(ring::default_provider()));
    let config = config.with_safe_default_protocol_versions().unwrap();
    Arc::new(config.with_root_certificates(roots).with_no_client_auth())
}
