//! Inputs that are almost right: what is known to be read, changed a little, and the same in every run.

/// Numbers that look random and are the same in every run (xorshift64*, as its author published it; the constants from memory).
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Random {
        Random(seed | 1)
    }

    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    /// From 0 up to but not including `end`; 0 if that is 0.
    fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next() >> 33).unwrap_or_default() % end.max(1)
    }

    /// One of them, changed a little with a piece of another.
    pub fn changed(&mut self, corpus: &[String]) -> String {
        let (input, other) = (self.pick(corpus).clone(), self.pick(corpus).clone());
        mutated_text(&input, &other, self)
    }

    fn pick<'a, T>(&mut self, from: &'a [T]) -> &'a T {
        &from[self.below(from.len())]
    }
}

/// What parsers trip over.
const PIECES: &[&str] = &[
    "",
    "0",
    "-1",
    "18446744073709551616",
    "1e999",
    "null",
    "true",
    "{}",
    "[]",
    "[[[[[[[[",
    "\"",
    "\\",
    "\\u0000",
    "\\ud800",
    "\u{0}",
    "\n",
    "\r\n",
    ",",
    ";",
    "=",
    "&",
    "?",
    "#",
    "%",
    "%00",
    "%FF",
    "%2F",
    "/",
    "//",
    "..",
    " ",
    "\t",
    "\u{feff}",
    "\u{202e}",
    "\u{200b}",
    "é",
    "e\u{301}",
    "９",
    "😀",
    "9999-12-31T23:59:59.999+23:59",
    "0000-00-00T00:00:00Z",
    "T",
    "+14:00",
    "id",
    "body",
    "device",
    "roll/",
    "'",
    "<b>",
    "[a]",
    "= 1",
];

/// The input with one to four changes.
fn mutated(input: &[u8], other: &[u8], random: &mut Random) -> Vec<u8> {
    let mut bytes = input.to_vec();
    for _ in 0..=random.below(4) {
        let (at, other_at) = (random.below(bytes.len() + 1), random.below(other.len() + 1));
        let length = random.below(1 + (bytes.len() - at).min(12));
        match random.below(7) {
            0 if at < bytes.len() => bytes[at] ^= 1 << random.below(8),
            1 => drop(bytes.drain(at..at + length)),
            2 => drop(bytes.splice(at..at, random.pick(PIECES).bytes()).collect::<Vec<_>>()),
            3 => drop(bytes.splice(at..at + length, random.pick(PIECES).bytes()).collect::<Vec<_>>()),
            4 => {
                let again = bytes[at..at + length].to_vec();
                drop(bytes.splice(at..at, again).collect::<Vec<_>>());
            }
            5 => {
                let end = other_at + random.below(1 + (other.len() - other_at).min(40));
                drop(bytes.splice(at..at + length, other[other_at..end].iter().copied()).collect::<Vec<_>>());
            }
            _ if random.below(6) == 0 => bytes.truncate(at),
            _ => {}
        }
    }
    bytes
}

/// The same as text.
fn mutated_text(input: &str, other: &str, random: &mut Random) -> String {
    String::from_utf8_lossy(&mutated(input.as_bytes(), other.as_bytes(), random)).into_owned()
}

/// So many rounds: a hundred times as many when RIMEBOOK_LONG is set.
pub fn rounds(few: usize) -> usize {
    few * if std::env::var_os("RIMEBOOK_LONG").is_some() { 100 } else { 1 }
}
