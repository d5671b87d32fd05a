//! Limits and the out-time card as rows of a form.

use domain::rows::{count_left, is_not_laid, left_of, left_words};
use domain::say::{Say, left, limit, so_far};
use shared_types::{CardLine, Day, Instant, ItemCard, LimitName, LimitRow, Outlook};

/// One limit.
pub(in super::super) struct Row {
    /// It ends first.
    pub(in super::super) first: bool,
    pub(in super::super) name: &'static str,
    /// The roll it binds, where that is another thing.
    pub(in super::super) item: Option<String>,
    /// Why there are no figures.
    pub(in super::super) words: Option<String>,
    pub(in super::super) allowed: String,
    pub(in super::super) so_far: String,
    pub(in super::super) left: String,
    pub(in super::super) ends: String,
    pub(in super::super) away: String,
}

/// A limit's figures, and what would be kept of it if it were put away now.
pub(in super::super) fn row(
    row: &LimitRow,
    of: &shared_types::ThingName,
    away: Option<&Outlook>,
    say: &Say,
    near: Instant,
) -> Row {
    let clock = |seconds: i64, words: fn(i64) -> String| words(seconds.saturating_mul(1000));
    let words = match (&row.none_by, &row.missing) {
        (Some(document), _) => Some(format!("no limit, by {document}")),
        (None, Some(missing)) => Some(format!("missing: {missing}")),
        (None, None) => None,
    };
    let last_day = || row.ends_on.as_deref().and_then(|day| Day::parse(day).ok()).map(super::super::declared::day);
    let mut ends = row.ends_at.map(|at| say.time(at.at, near)).or_else(last_day).unwrap_or_default();
    if row.not_confirmed {
        ends.push_str(" (oven start not confirmed)");
    }
    let away =
        away.filter(|_| row.missing.is_none() && row.none_by.is_none()).map_or(String::new(), |away| match row.limit {
            LimitName::Refreezes => {
                away.refreezes_left.map_or(String::new(), |count| format!("{} then", count_left(count)))
            }
            LimitName::ShelfLife | LimitName::LayToCure => String::new(),
            name => away.left_s.get(&name).map_or(String::new(), |seconds| match *seconds < 0 {
                true => left_of(name, *seconds),
                false => format!("{} kept", left_of(name, *seconds)),
            }),
        });
    Row {
        first: false,
        name: limit(row.limit),
        item: (row.item != *of).then(|| row.item.short().to_owned()),
        words,
        allowed: match (row.allowed_s, row.allowed) {
            (Some(seconds), _) if row.limit == LimitName::ShelfLife => left_of(row.limit, seconds),
            (Some(seconds), _) => clock(seconds, left),
            (None, Some(count)) => count.to_string(),
            (None, None) => String::new(),
        },
        so_far: match (row.so_far_s, row.so_far) {
            _ if is_not_laid(row, of) => "not laid".to_owned(),
            (Some(_), _) if row.limit == LimitName::ShelfLife => String::new(),
            (Some(seconds), _) => clock(seconds, so_far),
            (None, Some(count)) => count.to_string(),
            (None, None) => String::new(),
        },
        left: left_words(row),
        ends,
        away,
    }
}

/// The card of one roll, or of one roll within a kit or a part.
pub(super) struct Card {
    pub(super) item: String,
    /// Of a part: `laid in skin, from K-5`.
    pub(super) laid: Option<String>,
    pub(super) lines: Vec<Stretch>,
}

/// One line of the card.
pub(super) struct Stretch {
    pub(super) struck: bool,
    pub(super) out: String,
    pub(super) back: String,
    pub(super) interval: String,
    pub(super) total: String,
    pub(super) tack_left: String,
    pub(super) out_life_left: String,
    pub(super) who: String,
    pub(super) note: String,
    pub(super) entries: Vec<u64>,
}

pub(super) fn card(card: &ItemCard, say: &Say, near: Instant) -> Card {
    let lines = card.lines.iter().map(|line| stretch(line, say, near)).collect();
    let from = card.kit.as_ref().map_or(String::new(), |kit| format!(", from {}", kit.short()));
    let laid = card.stage.as_ref().map(|stage| format!("laid in {stage}{from}"));
    Card { item: card.item.short().to_owned(), laid, lines }
}

fn stretch(line: &CardLine, say: &Say, near: Instant) -> Stretch {
    let time = |stamp: &shared_types::Stamp| say.time(stamp.at, near);
    let (struck, opening) = (line.line == "struck", line.line == "opening");
    let life = |left_s: Option<i64>| left_s.map_or(String::new(), |seconds| left_of(LimitName::TackLife, seconds));
    let mut who: Vec<&str> = line.who.iter().map(shared_types::Code::as_str).collect();
    who.dedup();
    let mut notes: Vec<String> = line.note.iter().cloned().collect();
    if line.line == "assigned" {
        notes.push("hours assigned instead of the stretch".to_owned());
    }
    Stretch {
        struck,
        out: if opening { format!("opening, {}", time(&line.out)) } else { time(&line.out) },
        back: match line.back {
            _ if struck || opening => String::new(),
            Some(back) => time(&back),
            None => "still out".to_owned(),
        },
        interval: if struck { String::new() } else { so_far(line.interval_s.saturating_mul(1000)) },
        total: line.running_total_s.map_or(String::new(), |seconds| so_far(seconds.saturating_mul(1000))),
        tack_left: life(line.tack_left_s),
        out_life_left: life(line.out_life_left_s),
        who: who.join(", "),
        note: notes.join("; "),
        entries: line.entries.clone(),
    }
}
