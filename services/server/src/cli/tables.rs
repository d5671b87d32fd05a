//! Rows of words under each other, with as many blanks between them as it takes.

use chrono::{DateTime, Datelike, FixedOffset};
use shared_types::Stamp;
use std::io::{self, Write};

/// The first row is the heading. The last column is as wide as it is.
pub(super) fn table(rows: &[Vec<String>], out: &mut dyn Write) -> io::Result<()> {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |column: usize| {
        rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns).map(width).collect();
    for row in rows {
        let cells = row.iter().zip(&widths).map(|(cell, width)| {
            let blanks = width.saturating_sub(cell.chars().count());
            format!("{cell}{}", " ".repeat(blanks))
        });
        writeln!(out, "{}", cells.collect::<Vec<_>>().join("  ").trim_end())?;
    }
    Ok(())
}

/// Sentences broken at blanks, at most this wide.
pub(super) fn wrapped(text: &str, indent: &str, out: &mut dyn Write) -> io::Result<()> {
    const WIDEST: usize = 100;
    let mut line = String::new();
    for word in text.split_whitespace() {
        if !line.is_empty() && WIDEST < line.chars().count() + 1 + word.chars().count() {
            writeln!(out, "{line}")?;
            line = indent.to_owned();
            line.push_str(word);
            continue;
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    if line.is_empty() { Ok(()) } else { writeln!(out, "{line}") }
}

/// When it was read, and from how much of the log.
pub(super) fn foot(at: &Stamp, as_of_seq: u64, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out)?;
    writeln!(out, "{}, from the log up to entry {as_of_seq}. The maker's instructions come first.", whole(at))
}

fn local(stamp: &Stamp) -> Option<DateTime<FixedOffset>> {
    let zone = FixedOffset::east_opt(stamp.offset_s)?;
    Some(DateTime::from_timestamp_millis(stamp.at.0)?.with_timezone(&zone))
}

/// `Thu 7 May 14:10`, with the year in another year.
pub(super) fn clock(stamp: &Stamp, near: &Stamp) -> String {
    let year = |stamp: &Stamp| local(stamp).map(|local| local.year());
    match local(stamp) {
        Some(at) if year(stamp) == year(near) => at.format("%a %-d %b %H:%M").to_string(),
        _ => whole(stamp),
    }
}

fn whole(stamp: &Stamp) -> String {
    local(stamp).map_or_else(|| stamp.to_string(), |local| local.format("%a %-d %b %Y %H:%M").to_string())
}
