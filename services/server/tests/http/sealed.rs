//! A long history is read from the archive of sealed segments: it is answered while the journal's sealed files are away, and
//! byte for byte the same when there is no archive.

use crate::yard::Server;
use serde_json::json;
use server::{
    clock::SetClock,
    yard::{Options, Yard},
};
use shared_types::Stamp;
use std::{fs, path::PathBuf, sync::Arc};
use tempfile::TempDir;

/// A server on this folder with small segments, and how many entries its archive holds once everything sealed is in.
fn serve(folder: TempDir, clock: &Arc<SetClock>) -> (Server, u64) {
    let mut options = Options::new(clock.clone());
    options.journal.segment_bytes = 64 * 1024;
    let yard = Yard::open(folder.path(), options).unwrap();
    yard.archive.drained();
    let archived = yard.archive.entries();
    (Server::of(folder, yard, clock.clone()), archived)
}

/// Stops the server; its folder stays.
fn stopped(mut server: Server) -> TempDir {
    server.stop();
    std::mem::replace(&mut server.folder, TempDir::new().unwrap())
}

/// All pages from this one on, as they come.
fn pages(server: &Server, first: &str) -> Vec<String> {
    let (mut found, mut path) = (Vec::new(), first.to_owned());
    loop {
        let said = server.get(&path);
        assert_eq!(said.status, 200, "{path}: {}", said.text);
        let next = said.json()["next"].as_str().map(str::to_owned);
        found.push(said.text);
        match next {
            Some(next) => path = next,
            None => return found,
        }
    }
}

#[test]
fn a_long_history_comes_from_sealed_segments_and_is_the_same_without_the_archive() {
    let clock = Arc::new(SetClock::new(Stamp::parse(crate::yard::START).unwrap().at));
    let (server, _) = serve(TempDir::new().unwrap(), &clock);
    server.fill_yard();
    for _ in 0..6 {
        let facts: Vec<_> = (0..100).map(|_| server.fact_now("seen", "roll/R-42", json!({"in": "F1"}))).collect();
        assert_eq!(server.post("/api/v1/entries", &json!({"entries": facts})).status, 207);
        server.pass(1);
    }
    let last = server.last_seq();
    let history = "/api/v1/things/roll/R-42/entries?limit=100";
    let log = "/api/v1/entries?thing=roll/R-42&kind=seen&limit=100";
    let (server, archived) = serve(stopped(server), &clock);
    // More than one segment is sealed, and what is still open is only the end of it.
    assert!(400 < archived && archived < last, "{archived} of {last}");
    let before = [pages(&server, history), pages(&server, log)];
    assert!(6 <= before[0].len() && before[0][0].contains("roll_received"), "{}", before[0][0]);
    let first = server.get("/api/v1/entries?limit=50").text;

    // What stands in sealed files is not to be had from the journal now.
    let journal = server.folder.path().join("journal");
    let mut files: Vec<PathBuf> = fs::read_dir(&journal).unwrap().map(|file| file.unwrap().path()).collect();
    files.retain(|file| file.extension().is_some_and(|ending| ending == "log") && sealed(file));
    files.sort();
    assert!(2 <= files.len(), "{files:?}");
    for file in &files {
        fs::rename(file, file.with_extension("away")).unwrap();
    }
    server.get("/api/v1/entries?limit=50").problem(500, "went-wrong");
    server.get("/api/v1/entries/9").problem(500, "went-wrong");
    let away = [pages(&server, history), pages(&server, log)];
    for file in &files {
        fs::rename(file.with_extension("away"), file).unwrap();
    }
    assert!(away == before, "the archive answers otherwise than the journal");
    assert_eq!(server.get("/api/v1/entries?limit=50").text, first);

    let folder = stopped(server);
    fs::remove_dir_all(folder.path().join("sled")).unwrap();
    let mut options = Options::new(clock.clone());
    (options.journal.segment_bytes, options.archive) = (64 * 1024, false);
    let yard = Yard::open(folder.path(), options).unwrap();
    assert_eq!(yard.archive.entries(), 0);
    let server = Server::of(folder, yard, clock.clone());
    assert!([pages(&server, history), pages(&server, log)] == before, "without the archive it is answered otherwise");
    let (server, again) = serve(stopped(server), &clock);
    assert_eq!(again, archived);
    assert!([pages(&server, history), pages(&server, log)] == before, "with a new archive it is answered otherwise");
}

/// A sealed segment is cut to what is used; one that is written, or laid down, is as long as a segment.
fn sealed(file: &PathBuf) -> bool {
    fs::metadata(file).unwrap().len() < 64 * 1024
}
