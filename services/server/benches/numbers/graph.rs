//! Tracing, ids only: the rolls in a boat and what contains a batch, in the book and in SQLite within this process.

use std::{collections::BTreeSet, time::Instant as Timer};

use domain::{
    Book,
    trace::{contained_in, rolls_in},
    view::View,
};
use rusqlite::Connection;
use shared_types::{Body, Instant, Kind, ThingName};

use super::{
    history::{body, code, declared, entry, mix, received},
    paths,
    table::{Plan, Target, median, ratios, rounds, row},
};

const ROLLS: usize = 100_000;
const BATCHES: usize = 5_000;
const PARTS: usize = 100_000;
const KITS_OF_A_PART: usize = 4;
const BOATS: usize = 2_000;
const QUERIES: usize = 1_000;

/// Numbers in SQL: rolls from 1 M on, kits from 2 M, parts from 3 M, boats from 4 M.
const MILLION: i64 = 1_000_000;

const ROLLS_IN: &str = "WITH RECURSIVE up(id) AS (SELECT ?1 UNION SELECT e.src FROM up JOIN edge e ON e.dst = up.id)
    SELECT id FROM up WHERE id < 2000000";
const CONTAINS: &str = "WITH RECURSIVE down(id) AS (SELECT id FROM roll WHERE batch = ?1
    UNION SELECT e.dst FROM down JOIN edge e ON e.src = down.id) SELECT id FROM down WHERE id >= 3000000";
const TABLES: &str = "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA cache_size=-262144;
    PRAGMA mmap_size=1073741824; CREATE TABLE roll(id BIGINT PRIMARY KEY, batch INTEGER NOT NULL);
    CREATE TABLE edge(src BIGINT NOT NULL, dst BIGINT NOT NULL);";
const INDEXES: &str = "CREATE INDEX roll_batch ON roll(batch); CREATE UNIQUE INDEX edge_fwd ON edge(src, dst);
    CREATE UNIQUE INDEX edge_back ON edge(dst, src); ANALYZE; PRAGMA wal_checkpoint(TRUNCATE);";

/// What was cut from which roll: one roll, of one kit in ten two.
fn rolls_of(kit: usize) -> Vec<usize> {
    let pick = |salt: usize| (mix((kit * 3 + salt) as u64) % ROLLS as u64) as usize;
    let mut rolls = vec![pick(0)];
    rolls.extend(mix((kit * 3 + 2) as u64).is_multiple_of(10).then(|| pick(1)).filter(|other| *other != rolls[0]));
    rolls
}

fn thing(number: i64) -> ThingName {
    let (kind, letter) = match number / MILLION {
        1 => (Kind::Roll, "R"),
        2 => (Kind::Kit, "K"),
        3 => (Kind::Part, "P"),
        _ => (Kind::Boat, "NB"),
    };
    ThingName::new(kind, &code(&format!("{letter}-{:06}", number % MILLION)))
}

fn number(thing: &ThingName) -> i64 {
    let within: i64 = thing.code().rsplit_once('-').unwrap().1.parse().unwrap();
    let kinds = [(Kind::Roll, 1), (Kind::Kit, 2), (Kind::Part, 3), (Kind::Boat, 4)];
    kinds.iter().find(|(kind, _)| *kind == thing.kind()).unwrap().1 * MILLION + within
}

/// The same yard as entries in a book and as rows in SQLite.
fn fill(database: &mut Connection) -> Book {
    let mut book = Book::default();
    let (at, mut seq) = (Instant(1_780_000_000_000), 0);
    let mut put = |minute: i64, thing: ThingName, body: Body| {
        seq += 1;
        book.insert(&entry(seq, at.plus_ms(minute * 60_000), thing, body));
    };
    database.execute_batch(TABLES).unwrap();
    let rows = database.transaction().unwrap();
    {
        let mut roll = rows.prepare("INSERT INTO roll VALUES (?1, ?2)").unwrap();
        let mut edge = rows.prepare("INSERT INTO edge VALUES (?1, ?2)").unwrap();
        let mut link = |from: i64, into: i64| {
            edge.execute([from, into]).unwrap();
        };
        for (_, thing, body) in declared(at, BATCHES) {
            put(0, thing, body);
        }
        for number in 0..ROLLS {
            put(1, thing(MILLION + number as i64), received(number, at));
            roll.execute([MILLION + number as i64, (number / (ROLLS / BATCHES)) as i64]).unwrap();
        }
        for part in 0..PARTS {
            let into = 3 * MILLION + part as i64;
            let kits = part * KITS_OF_A_PART..(part + 1) * KITS_OF_A_PART;
            put(2, ThingName::new(Kind::Nest, &code(&format!("N-{part}"))), nest(part, kits.clone()));
            for kit in kits {
                let from = 2 * MILLION + kit as i64;
                put(3, thing(into), body("plies_laid", &format!(r#"{{"stage":"skin","from":"kit/K-{kit:06}"}}"#)));
                for roll in rolls_of(kit) {
                    link(MILLION + roll as i64, from);
                }
                link(from, into);
            }
            let boat = part % BOATS;
            put(4, thing(into), body("part_installed", &format!(r#"{{"boat":"NB-{boat:06}"}}"#)));
            link(into, 4 * MILLION + boat as i64);
        }
    }
    rows.commit().unwrap();
    database.execute_batch(INDEXES).unwrap();
    book
}

fn nest(part: usize, kits: std::ops::Range<usize>) -> Body {
    let kit = |kit: usize| {
        let items: Vec<String> =
            rolls_of(kit).iter().map(|roll| format!(r#"{{"roll":"R-{roll:06}","length_mm":900}}"#)).collect();
        format!(r#"{{"kit":"K-{kit:06}","job":"J-{part}","items":[{}]}}"#, items.join(","))
    };
    body("nest_cut", &format!(r#"{{"kits":[{}]}}"#, kits.map(kit).collect::<Vec<_>>().join(",")))
}

pub(crate) fn run(plan: &Plan) -> bool {
    let folder = paths::folder();
    let mut database = Connection::open(folder.path().join("yard.db")).unwrap();
    let book = fill(&mut database);
    let boats: Vec<i64> = (0..QUERIES).map(|ask| 4 * MILLION + (mix(ask as u64) % BOATS as u64) as i64).collect();
    let batches: Vec<i64> = (0..QUERIES).map(|ask| (mix(ask as u64 + 7) % BATCHES as u64) as i64).collect();
    let boat = |number: &i64| thing(*number);
    let batch = |number: &i64| ThingName::batch(&code("PM-1"), &code(&format!("B-{number:05}")));
    let of_boat = Question { sql: ROLLS_IN, ours: rolls_in, name: &boat };
    let of_batch = Question { sql: CONTAINS, ours: contained_in, name: &batch };
    let mut met = true;
    for (what, question, asked) in [("rolls in a boat", of_boat, &boats), ("what contains a batch", of_batch, &batches)]
    {
        met &= question.compare(plan, what, &book, &database, asked);
    }
    met
}

struct Question<'a> {
    sql: &'a str,
    ours: fn(View<'_>, u32, Instant) -> Vec<u32>,
    name: &'a dyn Fn(&i64) -> ThingName,
}

impl Question<'_> {
    /// The labels of what was asked for.
    fn ours(&self, book: &Book, label: u32) -> Vec<u32> {
        (self.ours)(View::new(book, u64::MAX), label, Instant::MAX)
    }

    fn theirs(&self, database: &Connection, number: i64) -> Vec<i64> {
        let mut query = database.prepare_cached(self.sql).unwrap();
        query.query_map([number], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
    }

    fn compare(&self, plan: &Plan, what: &str, book: &Book, database: &Connection, asked: &[i64]) -> bool {
        let labels: Vec<u32> = asked.iter().map(|number| book.label(&(self.name)(number)).unwrap()).collect();
        let mut rows = Vec::new();
        for (number_asked, label) in asked.iter().zip(&labels) {
            let ours: BTreeSet<i64> = self.ours(book, *label).iter().map(|label| number(book.name(*label))).collect();
            let theirs: BTreeSet<i64> = self.theirs(database, *number_asked).into_iter().collect();
            assert!(
                !ours.is_empty() && ours == theirs,
                "{what} {number_asked}: {} against {}",
                ours.len(),
                theirs.len()
            );
            rows.push(ours.len() as f64);
        }
        let sql = || per_question(asked, |number| self.theirs(database, *number).len());
        let ours = || per_question(&labels, |label| self.ours(book, *label).len());
        let all = rounds(plan, what, sql, ours);
        let (slower, noise) = ratios(&all, |us| *us);
        let faster: Vec<f64> = slower.iter().map(|ratio| 1.0 / ratio).collect();
        let met = row(&format!("{what}: SQLite's time / ours"), Target::AtLeast(10.0), &faster, &noise);
        let mine: Vec<f64> = all.iter().map(|round| round.ours).collect();
        let base: Vec<f64> = all.iter().map(|round| round.before).collect();
        row(&format!("  {what}: ours"), Target::Stated("us"), &mine, &[]);
        row(&format!("  {what}: SQLite"), Target::Stated("us"), &base, &[]);
        row(&format!("  {what}: ids in an answer"), Target::Stated("ids"), &[median(&rows)], &[]);
        met
    }
}

/// Microseconds for a question, the same questions every time.
fn per_question<T>(asked: &[T], answer: impl Fn(&T) -> usize) -> f64 {
    let begin = Timer::now();
    let found: usize = asked.iter().map(answer).sum();
    assert!(std::hint::black_box(found) > 0);
    begin.elapsed().as_secs_f64() * 1e6 / asked.len() as f64
}
