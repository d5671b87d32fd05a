use super::*;
use crate::{
    clock::SetClock,
    yard::{Options, Yard},
};
use std::{fs, path::Path, sync::Arc};

/// The exit code, and what was printed: the answer, and what went wrong.
fn ran(args: &[&str]) -> (u8, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let args = ["rimebook"].iter().chain(args).map(OsString::from);
    let code = run(args, &mut out, &mut err);
    (code, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

const COMMANDS: [&str; 16] = [
    "serve",
    "certify",
    "import",
    "bring-in",
    "demo",
    "load",
    "verify",
    "backup",
    "restore",
    "export",
    "ask",
    "runs-out",
    "trace",
    "mismatches",
    "warnings",
    "completions",
];

#[test]
fn completions_name_every_command() {
    for shell in ["bash", "zsh", "fish"] {
        let (code, out, err) = ran(&["completions", shell]);
        assert_eq!((code, err.as_str()), (0, ""));
        for command in COMMANDS {
            assert!(out.contains(command), "{shell}: {command}");
        }
    }
    assert_eq!(ran(&["completions", "abacus"]).0, 2);
}

#[test]
fn where_nobody_answers_is_said_with_what_to_do() {
    for question in [
        &["ask", "roll/R-1", "--act", "lay"][..],
        &["runs-out"],
        &["trace", "roll/R-1"],
        &["mismatches"],
        &["warnings"],
    ] {
        let (code, out, err) = ran(&[question, &["--server", "http://127.0.0.1:9"]].concat());
        assert_eq!((code, out.as_str()), (1, ""), "{err}");
        assert!(err.contains("Nobody answers at http://127.0.0.1:9. Is `rimebook serve` running there?"), "{err}");
        let (code, _, err) = ran(&[question, &["--server", "yard.example"]].concat());
        assert_eq!(code, 2);
        assert!(err.contains("write it as http://127.0.0.1:8787"), "{err}");
    }
}

#[test]
fn help_names_every_command_and_is_no_mistake() {
    let (code, out, err) = ran(&["--help"]);
    assert_eq!((code, err.as_str()), (0, ""));
    for command in COMMANDS {
        assert!(out.contains(&format!("\n  {command} ")), "{command} is not in {out}");
        let (code, out, _) = ran(&[command, "--help"]);
        assert_eq!(code, 0);
        assert!(out.contains("Usage: rimebook"), "{out}");
    }
}

#[test]
fn what_cannot_be_meant_ends_with_2() {
    for args in [
        &["serve"][..],
        &["polish"],
        &[],
        &["serve", "--data", "d", "--listen", "nowhere"],
        &["demo", "--data", "d", "--until", "soon"],
        &["ask", "roll/R-1"],
        &["ask", "roll/R-1", "--act", "polish"],
        &["trace", "roll/R-1", "--into", "--from"],
        &["runs-out", "--within-h", "-1"],
    ] {
        let (code, out, err) = ran(args);
        assert_eq!((code, out.as_str()), (2, ""), "{args:?}");
        assert!(!err.is_empty());
    }
}

#[test]
fn a_number_that_is_none_is_said_in_plain_words() {
    for (args, words) in [
        (&["runs-out", "--within-h", "abc"][..], "write a whole number, 0 or more"),
        (&["runs-out", "--within-h", "1.5"], "write a whole number, 0 or more"),
        (&["mismatches", "--known", "soon"], "write a whole number, 0 or more"),
        (&["export", "--data", "d", "--after=-1"], "write a whole number, 0 or more"),
        (&["demo", "--data", "d", "--seed", "99999999999999999999"], "the number is larger than any that counts here"),
    ] {
        let (code, _, err) = ran(args);
        assert_eq!(code, 2);
        assert!(err.contains(words) && !err.contains("digit"), "{args:?}: {err}");
    }
}

#[test]
fn localhost_is_this_machine_and_other_names_are_said_to_be_none() {
    assert_eq!(address("localhost:9000"), Ok(SocketAddr::from(([127, 0, 0, 1], 9000))));
    assert_eq!(address("127.0.0.1:0"), Ok(SocketAddr::from(([127, 0, 0, 1], 0))));
    assert!(address("[::1]:9000").is_ok_and(|address| address.ip().is_loopback()));
    for bad in ["localhost", "localhost:", "localhost:99999", "9000", ":9000", "yard.example:9000", "::1:x"] {
        let (_, _, err) = ran(&["serve", "--data", "d", "--listen", bad]);
        assert!(err.contains("write it as 127.0.0.1:8787"), "{bad}: {err}");
    }
}

#[test]
fn nobody_is_let_in_from_another_machine() {
    let folder = tempfile::tempdir().unwrap();
    for address in ["0.0.0.0:0", "[::]:0", "192.0.2.1:8787"] {
        let (code, _, err) = ran(&["serve", "--data", text(folder.path()), "--listen", address]);
        assert_eq!(code, 1);
        assert!(err.contains("nobody signs in yet"), "{err}");
    }
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0, "nothing was made");
}

#[test]
fn files_that_are_not_there_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let (code, _, err) = ran(&["import", text(folder.path()), "--server", "http://127.0.0.1:9"]);
    assert_eq!(code, 1);
    assert!(err.contains("yard.toml: there is no file") && err.contains("cards.csv: there is no file"), "{err}");
    assert!(err.ends_with("2 problems. Nothing was written.\n"), "{err}");
}

#[test]
fn the_demo_goes_into_no_folder_that_is_in_use() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("notes.txt"), "mine").unwrap();
    let (code, _, err) = ran(&["demo", "--data", text(folder.path())]);
    assert_eq!(code, 1);
    assert!(err.contains("is not empty"), "{err}");
}

#[test]
fn a_made_up_yard_is_found_sound_and_a_flipped_bit_in_it_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("yard");
    let (code, out, err) = ran(&["demo", "--data", text(&data), "--until", "2026-05-06T07:00:00+02:00"]);
    assert_eq!(code, 0, "{err}");
    assert!(out.starts_with("Skarvnes Composite Hall"), "{out}");
    let (code, out, _) = ran(&["verify", "--data", text(&data)]);
    assert_eq!(code, 0, "{out}");
    let (_, after) = out.split_once("Root over all of them: ").unwrap();
    let root = after.lines().next().unwrap();
    let entries: u64 = out.split(' ').next().unwrap().parse().unwrap();
    let other = format!("{entries}:{}{}", if root.starts_with('0') { '1' } else { '0' }, &root[1..]);
    for (page, code, words) in [
        (format!("{entries}:{root}"), 0, "came from this log, and nothing before it was changed"),
        (format!("{entries}:{}", root[..16].to_uppercase()), 0, "by the 16 digits"),
        (other, 1, "NOT THIS LOG"),
        (format!("{}:{root}", entries + 1), 1, "does not reach entry"),
        (format!("{}:{root}", entries - 1), 1, "NOT THIS LOG"),
        (format!("{entries}:{}", &root[..15]), 2, "16 or more digits"),
        ("0:0123456789abcdef".to_owned(), 2, "16 or more digits"),
        (root.to_owned(), 2, "16 or more digits"),
    ] {
        let (ended, out, err) = ran(&["verify", "--data", text(&data), "--printed", &page]);
        assert_eq!(ended, code, "{page}: {out}{err}");
        assert!(format!("{out}{err}").contains(words), "{page}: {out}{err}");
    }
    // A signed checkpoint, on its own and with the key beside it.
    let clock = Arc::new(SetClock::new(Stamp::parse("2026-05-06T07:00:00+02:00").unwrap().at));
    let yard = Yard::open(&data, Options::new(clock)).unwrap();
    let (over, note) = yard.checkpoints.now(&yard.reader).unwrap();
    let key = yard.checkpoints.key().unwrap().to_string();
    yard.close();
    assert_eq!(over.size, entries);
    let (file, pub_file) = (folder.path().join("checkpoint.txt"), data.join("people/log-key.pub"));
    let other_key = key.replace(&over.origin, "PeterNeumann");
    let published = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW";
    let longer = note.replace(&format!("\n{entries}\n"), &format!("\n{}\n", entries + 1));
    for (note, key, code, words) in [
        (&*note, key.as_str(), 0, "This log goes on from it"),
        (&*note, text(&pub_file), 0, "is signed by rimebook/log-"),
        (&*note, published, 1, "NOT SIGNED WITH THIS KEY"),
        (&*note, other_key.as_str(), 1, "can't be read"),
        (longer.as_str(), key.as_str(), 1, "NOT SIGNED: "),
        ("nothing", key.as_str(), 1, "is no checkpoint"),
    ] {
        fs::write(&file, note).unwrap();
        let args = ["verify", "--data", text(&data), "--checkpoint", text(&file), "--key", key];
        let (ended, out, err) = ran(&args);
        assert_eq!(ended, code, "{key}: {out}{err}");
        assert!(format!("{out}{err}").contains(words), "{words}: {out}{err}");
    }
    let segment = data.join("journal/00000001.log");
    let mut bytes = fs::read(&segment).unwrap();
    bytes[700] ^= 1;
    fs::write(&segment, bytes).unwrap();
    let (code, out, err) = ran(&["verify", "--data", text(&data)]);
    assert_eq!(code, 1, "{out}{err}");
    assert!(out.contains("DAMAGED: journal/00000001.log"), "{out}{err}");
}

#[test]
fn a_folder_without_a_journal_is_said_to_be_none() {
    let (code, out, err) = ran(&["verify", "--data", "/nowhere/at/all"]);
    assert_eq!(code, 1, "{out}");
    assert!(err.contains("/nowhere/at/all"), "{out}{err}");
}
