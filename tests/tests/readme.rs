//! The README's tour is true: its blocks are run as they stand, and print what it says they print.
//!
//! Every ```` ```sh ```` block is run by one bash, in order, with `YARD` naming a fresh server. The ```` ```text ````
//! block that follows one is its output, standard error included. `…` stands for anything within a line (times, ids),
//! a line of `…` alone for any lines. ```` ```bash ```` blocks start programs that do not end by themselves, and are not run.

use std::{
    fs,
    io::{BufRead, BufReader},
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
};

#[derive(Debug, Default)]
struct Block {
    line: usize,
    commands: String,
    output: Option<String>,
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).parent().unwrap().to_owned()
}

fn blocks(readme: &str) -> Vec<Block> {
    let mut blocks: Vec<Block> = Vec::new();
    let mut fence: Option<(&str, String)> = None;
    // An output belongs to the commands right before it.
    let mut open = false;
    for (line, text) in readme.lines().enumerate() {
        match (&mut fence, text.strip_prefix("```")) {
            (None, Some(kind)) => fence = Some((kind, String::new())),
            (Some((_, inside)), None) => {
                inside.push_str(text);
                inside.push('\n');
            }
            (Some((kind, inside)), Some(_)) => {
                let inside = std::mem::take(inside);
                match *kind {
                    "sh" => blocks.push(Block { line, commands: inside, output: None }),
                    "text" if open => blocks.last_mut().unwrap().output = Some(inside),
                    _ => {}
                }
                open = *kind == "sh";
                fence = None;
            }
            (None, None) => {}
        }
    }
    blocks
}

/// `…` stands for anything.
fn line_fits(expected: &str, got: &str) -> bool {
    let mut pieces = expected.split('…');
    let Some(mut rest) = got.strip_prefix(pieces.next().unwrap_or_default()) else { return false };
    let mut pieces = pieces.peekable();
    if pieces.peek().is_none() {
        return rest.is_empty();
    }
    while let Some(piece) = pieces.next() {
        if pieces.peek().is_none() {
            return rest.ends_with(piece);
        }
        let Some(at) = rest.find(piece) else { return false };
        rest = &rest[at + piece.len()..];
    }
    true
}

fn fits(expected: &[&str], got: &[&str]) -> bool {
    match (expected, got) {
        ([], got) => got.is_empty(),
        (["…", later @ ..], got) => (0..=got.len()).any(|from| fits(later, &got[from..])),
        ([first, later @ ..], [line, rest @ ..]) => line_fits(first, line) && fits(later, rest),
        (_, []) => false,
    }
}

struct Served {
    server: Child,
    address: String,
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

fn programs() -> PathBuf {
    let here = std::env::current_exe().unwrap();
    let folder = here.parent().and_then(Path::parent).unwrap().to_owned();
    assert!(folder.join("rimebook").exists(), "first: cargo build --package server --bin rimebook");
    folder
}

fn serve(folder: &Path) -> Served {
    let mut server = Command::new(programs().join("rimebook"))
        .args(["serve", "--listen", "127.0.0.1:0", "--data"])
        .arg(folder.join("data/tour"))
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut line = String::new();
    BufReader::new(server.stdout.take().unwrap()).read_line(&mut line).unwrap();
    let address = line.trim().strip_prefix("listening on ").unwrap_or_default().to_owned();
    let served = Served { server, address };
    assert!(served.address.starts_with("http://127.0.0.1:"), "{line}");
    served
}

const MARK: &str = "== the README goes on ==";

#[test]
fn the_tour_prints_what_the_readme_says() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    let blocks = blocks(&readme);
    assert!(5 <= blocks.len(), "the tour has lost its blocks");
    assert!(blocks.iter().filter(|block| block.output.is_some()).count() + 2 >= blocks.len(), "blocks without an output");

    let folder = tempfile::tempdir().unwrap();
    fs::create_dir_all(folder.path().join("tests/tour")).unwrap();
    for file in ["yard.toml", "cards.csv"] {
        let from = root().join("tests/tour").join(file);
        fs::copy(from, folder.path().join("tests/tour").join(file)).unwrap();
    }
    let served = serve(folder.path());
    let script: String = blocks.iter().map(|block| format!("{}echo '{MARK}'\n", block.commands)).collect();
    let script = format!("exec 2>&1\nexport PATH=\"{}:$PATH\"\n{script}", programs().display());
    let done = Command::new("bash")
        .args(["-c", &script])
        .env("YARD", &served.address)
        .current_dir(folder.path())
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let printed = String::from_utf8(done.stdout).unwrap();
    let printed: Vec<&str> = printed.split(&format!("{MARK}\n")).collect();
    for (block, got) in blocks.iter().zip(&printed) {
        let expected = block.output.as_deref().unwrap_or_default();
        let (wanted, lines): (Vec<&str>, Vec<&str>) = (expected.lines().collect(), got.lines().collect());
        assert!(
            fits(&wanted, &lines),
            "README.md, the block that ends in line {}:\n{}\nshould print\n{expected}\nand printed\n{got}",
            block.line + 1,
            block.commands
        );
    }
}

#[test]
fn the_readme_says_what_it_must() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    for words in ["scripts/demo", "scripts/test", "loopback", "claimed", "backup", "skin", "oxygen", "oven", "exotherm"] {
        assert!(readme.contains(words), "README.md does not say {words}");
    }
}

#[test]
fn an_ellipsis_stands_for_anything_and_nothing_else_does() {
    assert!(line_fits("by … at …", "by Wed at 09:00"));
    assert!(line_fits("…", ""));
    assert!(!line_fits("by … at", "by Wed at 09:00"));
    assert!(!line_fits("by Wed", "by Thu"));
    assert!(fits(&["a", "…", "z"], &["a", "b", "c", "z"]));
    assert!(!fits(&["a", "…", "z"], &["a", "b", "c"]));
    assert!(!fits(&[], &["a"]));
}
