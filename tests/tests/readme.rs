//! The README's tour is true: its blocks are run as they stand, and print what it says they print.
//!
//! Every ```` ```sh ```` block is run by one bash, in order, with `YARD` naming a fresh server. The ```` ```text ````
//! block that follows one is its output, standard error included. A time of day with its weekday (`Wed 2 Dec 13:53`) is
//! as good as any other; `…` stands for anything within a line, a line of `…` alone for any lines. ```` ```bash ````
//! blocks build, or start programs that do not end by themselves, and are not run.

use std::{
    fs,
    path::PathBuf,
    process::{Command, Stdio},
};
use tests::{fresh::Fresh, server::rimebook};

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

/// `by Wed 2 Dec 13:53.` becomes `by TIME.`
fn without_times(line: &str) -> String {
    let weekdays = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
    let is_clock = |word: &str| {
        let clock = word.trim_end_matches(['.', ',', ';', ':']).as_bytes();
        clock.len() == 5 && clock[2] == b':' && [0, 1, 3, 4].into_iter().all(|at| clock[at].is_ascii_digit())
    };
    let words: Vec<&str> = line.split(' ').collect();
    let word = |at: usize| words.get(at).copied().unwrap_or_default();
    let is_number = |word: &str, digits: std::ops::RangeInclusive<usize>| {
        digits.contains(&word.len()) && word.bytes().all(|digit| digit.is_ascii_digit())
    };
    let (mut out, mut at) = (Vec::new(), 0);
    while at < words.len() {
        // A weekday, perhaps a day, a month and a year, and a time of day.
        let mut clock = at + 1;
        if is_number(word(clock), 1..=2) && word(clock + 1).len() == 3 {
            clock += if is_number(word(clock + 2), 4..=4) { 3 } else { 2 };
        }
        if weekdays.contains(&word(at)) && is_clock(word(clock)) {
            let end = word(clock).trim_start_matches(|c: char| c.is_ascii_digit() || c == ':');
            out.push(format!("TIME{end}"));
            at = clock;
        } else {
            out.push(word(at).to_owned());
        }
        at += 1;
    }
    out.join(" ")
}

fn fits(expected: &[&str], got: &[&str]) -> bool {
    match (expected, got) {
        ([], got) => got.is_empty(),
        (["…", later @ ..], got) => (0..=got.len()).any(|from| fits(later, &got[from..])),
        ([first, later @ ..], [line, rest @ ..]) => line_fits(first, line) && fits(later, rest),
        (_, []) => false,
    }
}

fn texts(lines: &[String]) -> Vec<&str> {
    lines.iter().map(String::as_str).collect()
}

const MARK: &str = "== the README goes on ==";

#[test]
fn the_tour_prints_what_the_readme_says() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    let blocks = blocks(&readme);
    assert!(5 <= blocks.len(), "the tour has lost its blocks");
    assert!(
        blocks.iter().filter(|block| block.output.is_some()).count() + 2 >= blocks.len(),
        "blocks without an output"
    );

    let served = Fresh::start();
    let folder = served.folder();
    fs::create_dir_all(folder.join("tests/tour")).unwrap();
    for file in ["yard.toml", "cards.csv"] {
        let from = root().join("tests/tour").join(file);
        fs::copy(from, folder.join("tests/tour").join(file)).unwrap();
    }
    let script: String = blocks.iter().map(|block| format!("{}echo '{MARK}'\n", block.commands)).collect();
    let script = format!("exec 2>&1\nexport PATH=\"{}:$PATH\"\n{script}", rimebook().parent().unwrap().display());
    let done = Command::new("bash")
        .args(["-c", &script])
        .env("YARD", &served.url)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let printed = String::from_utf8(done.stdout).unwrap();
    let printed: Vec<&str> = printed.split(&format!("{MARK}\n")).collect();
    assert_eq!(printed.len(), blocks.len() + 1, "{printed:#?}");
    for (block, got) in blocks.iter().zip(&printed) {
        let expected = block.output.as_deref().unwrap_or_default();
        let lines = |text: &str| text.lines().map(without_times).collect::<Vec<_>>();
        let (wanted, lines) = (lines(expected), lines(got));
        assert!(
            fits(&texts(&wanted), &texts(&lines)),
            "README.md, the block that ends in line {}:\n{}\nshould print\n{expected}\nand printed\n{got}",
            block.line + 1,
            block.commands
        );
    }
}

#[test]
fn the_readme_says_what_it_must() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    for words in ["scripts/demo", "scripts/test", "loopback", "claimed", "backup", "skin", "oxygen", "oven", "exotherm"]
    {
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
    assert_eq!(without_times("by Wed 2 Dec 13:53. Heating by Sat 22:53, or 5 h."), "by TIME. Heating by TIME, or 5 h.");
    assert_eq!(without_times("since Wed 14 Jan 2026 22:59"), "since TIME");
    assert_eq!(without_times("Wed is a day; 13:53"), "Wed is a day; 13:53");
}
