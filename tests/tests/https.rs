//! HTTPS as another program sees it: curl, which has its own TLS and its own rules for certificates.

use std::{
    fs,
    io::{Read, Write},
    net::TcpStream,
    os::unix::fs::PermissionsExt,
    path::Path,
    process::{Command, Output},
};

use tests::{fresh::run, server::Running};

const NAME: &str = "stores.yard.example";

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A folder that was served once and has a certificate.
fn certified() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    Running::serve(&folder.path().join("yard")).kill();
    let made = run(&["certify", "--data", "yard", "--host", NAME], folder.path());
    assert!(made.status.success(), "{}", text(&made.stderr));
    folder
}

fn serve(folder: &Path) -> (Running, String) {
    let running = Running::serve_with(&folder.join("yard"), &["--https"]);
    let port = running.url.rsplit(':').next().unwrap().to_owned();
    (running, port)
}

/// Asks for a host as if its name led here.
fn curl(authority: &Path, host: &str, port: &str, path: &str) -> Output {
    let resolve = format!("{host}:{port}:127.0.0.1");
    let url = format!("https://{host}:{port}{path}");
    let args = ["--silent", "--show-error", "--noproxy", "*", "--max-time", "20", "--resolve", &resolve, "--cacert"];
    Command::new("curl").args(args).arg(authority).arg(url).output().unwrap()
}

/// That curl does not believe the server: its exit codes 60 and 51 (curl's manual, from memory).
fn is_refused(said: &Output) -> bool {
    matches!(said.status.code(), Some(60 | 51))
}

#[test]
fn who_believes_the_authority_reaches_the_server_by_its_names_and_by_no_other() {
    let folder = certified();
    let authority = folder.path().join("yard/people/authority.pem");
    let (_running, port) = serve(folder.path());
    for host in [NAME, "localhost", "127.0.0.1"] {
        let said = curl(&authority, host, &port, "/healthz");
        assert!(
            text(&said.stdout).contains("\"status\":\"ok\""),
            "{host}: {}{}",
            text(&said.stdout),
            text(&said.stderr)
        );
    }
    let other = curl(&authority, "other.yard.example", &port, "/healthz");
    assert!(is_refused(&other), "{:?}: {}", other.status, text(&other.stderr));
    // Somebody who does not know the authority believes nothing.
    let nobody = folder.path().join("nobody.pem");
    Running::serve(&folder.path().join("else")).kill();
    assert!(run(&["certify", "--data", "else", "--host", NAME], folder.path()).status.success());
    fs::copy(folder.path().join("else/people/authority.pem"), &nobody).unwrap();
    let said = curl(&nobody, NAME, &port, "/healthz");
    assert!(is_refused(&said), "{:?}: {}", said.status, text(&said.stderr));
    // The sheet has the digits that the console had.
    let again = run(&["certify", "--data", "yard", "--host", NAME], folder.path());
    let console = text(&again.stdout);
    let digits = console.lines().find_map(|line| line.trim().strip_prefix("SHA-256 ")).unwrap();
    assert_eq!(digits.replace(' ', "").len(), 64);
    assert!(text(&curl(&authority, NAME, &port, "/authority").stdout).contains(digits));
}

#[test]
fn over_tls_a_session_is_a_cookie_that_no_other_host_or_plain_connection_can_set() {
    let folder = certified();
    let authority = folder.path().join("yard/people/authority.pem");
    let (_running, port) = serve(folder.path());
    let (resolve, url) = (format!("{NAME}:{port}:127.0.0.1"), format!("https://{NAME}:{port}/api/v1/sign-out"));
    let args =
        ["--silent", "--noproxy", "*", "--max-time", "20", "--include", "--request", "POST", "--resolve", &resolve];
    let said = Command::new("curl").args(args).arg("--cacert").arg(authority).arg(url).output().unwrap();
    // RFC 6265bis, section 4.1.3.2 (from memory): the prefix asks for Secure, Path=/ and no Domain.
    let expected = "set-cookie: __Host-session=; Path=/; Max-Age=0; HttpOnly; SameSite=Strict; Secure";
    assert!(text(&said.stdout).contains(expected), "{}", text(&said.stdout));
}

#[test]
fn plain_http_on_the_https_port_gets_no_answer_and_does_not_hang() {
    let folder = certified();
    let (_running, port) = serve(folder.path());
    let mut stream = TcpStream::connect(format!("127.0.0.1:{port}")).unwrap();
    stream.write_all(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n").unwrap();
    let mut said = Vec::new();
    // An alert of TLS, or nothing; then the connection ends.
    let _ = stream.read_to_end(&mut said);
    assert!(!text(&said).contains("HTTP/") && said.len() < 64, "{}", text(&said));
}

#[test]
fn a_new_certificate_is_shown_without_a_restart_and_the_authority_stays() {
    let folder = certified();
    let people = folder.path().join("yard/people");
    let authority = people.join("authority.pem");
    let before = fs::read(&authority).unwrap();
    let (_running, port) = serve(folder.path());
    let shown = || {
        let resolve = format!("{NAME}:{port}:127.0.0.1");
        let args =
            ["--silent", "--noproxy", "*", "--resolve", &resolve, "--write-out", "%{certs}", "--output", "/dev/null"];
        let mut curl = Command::new("curl");
        curl.args(args).arg("--cacert").arg(&authority).arg(format!("https://{NAME}:{port}/healthz"));
        text(&curl.output().unwrap().stdout)
    };
    let first = shown();
    assert!(run(&["certify", "--data", "yard", "--host", NAME], folder.path()).status.success());
    assert_eq!(fs::read(&authority).unwrap(), before);
    assert!(tests::until(|| shown() != first), "{first}");
    // Names that it does not vouch for are refused in words, and keys are for their owner alone.
    let refused = run(&["certify", "--data", "yard", "--host", "else.example"], folder.path());
    assert!(text(&refused.stderr).contains("and not for else.example"), "{}", text(&refused.stderr));
    for file in ["authority.key", "server.key"] {
        assert_eq!(fs::metadata(people.join(file)).unwrap().permissions().mode() & 0o777, 0o600, "{file}");
    }
}

#[test]
fn nobody_listens_to_the_network_before_people_sign_in_or_in_https_without_a_certificate() {
    let folder = tempfile::tempdir().unwrap();
    let network = run(&["serve", "--data", "yard", "--listen", "0.0.0.0:0"], folder.path());
    assert_eq!(network.status.code(), Some(1));
    assert!(text(&network.stderr).contains("nobody signs in yet"), "{}", text(&network.stderr));
    let bare = run(&["serve", "--data", "yard", "--listen", "127.0.0.1:0", "--https"], folder.path());
    assert_eq!(bare.status.code(), Some(1));
    assert!(text(&bare.stderr).contains("rimebook certify"), "{}", text(&bare.stderr));
    let early = run(&["certify", "--data", "yard", "--host", NAME], folder.path());
    assert!(text(&early.stderr).contains("is no data folder"), "{}", text(&early.stderr));
}
