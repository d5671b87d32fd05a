//! Rounds, medians and the table.

use std::{fs, time::Duration};

pub(crate) const HEAD: &str =
    "| measured | target | median | min..max | rounds | base/base | |\n|---|---|---|---|---|---|---|";

/// How long and how often.
pub(crate) struct Plan {
    pub(crate) quick: bool,
    pub(crate) rounds: usize,
    pub(crate) round: Duration,
}

impl Plan {
    pub(crate) fn new(quick: bool) -> Plan {
        let (rounds, seconds) = if quick { (3, 1) } else { (7, 3) };
        Plan { quick, rounds, round: Duration::from_secs(seconds) }
    }
}

#[derive(Clone, Copy)]
pub(crate) enum Target {
    AtLeast(f64),
    AtMost(f64),
    /// Only to be known.
    Stated(&'static str),
}

/// One round: what is measured, between two runs of what it is a share of.
pub(crate) struct Round<T> {
    pub(crate) before: T,
    pub(crate) ours: T,
    pub(crate) after: T,
}

/// Measures ours between two runs of the base, so that a machine that gets slower or faster meanwhile does both alike.
pub(crate) fn rounds<T>(
    plan: &Plan,
    what: &str,
    mut base: impl FnMut() -> T,
    mut ours: impl FnMut() -> T,
) -> Vec<Round<T>> {
    let mut all = Vec::new();
    for round in 1..=plan.rounds {
        let (before, ours, after) = (base(), ours(), base());
        all.push(Round { before, ours, after });
        eprintln!("  {what}: round {round} of {}, load {}", plan.rounds, load());
    }
    all
}

/// The rounds' ratios of ours to the base, and of the base to itself.
pub(crate) fn ratios<T>(rounds: &[Round<T>], of: impl Fn(&T) -> f64) -> (Vec<f64>, Vec<f64>) {
    let ratio = |round: &Round<T>| of(&round.ours) / ((of(&round.before) + of(&round.after)) / 2.0);
    let noise = |round: &Round<T>| of(&round.after) / of(&round.before);
    (rounds.iter().map(ratio).collect(), rounds.iter().map(noise).collect())
}

/// Prints the row; true unless its target is missed. With `noise`, the base against itself, it may be void.
pub(crate) fn row(what: &str, target: Target, values: &[f64], noise: &[f64]) -> bool {
    let middle = median(values);
    let (low, high) = ends(values);
    let own = (!noise.is_empty()).then(|| median(noise));
    let void = own.is_some_and(|own| !(0.9..=1.1).contains(&own));
    let (wanted, met) = match target {
        Target::AtLeast(least) => (format!(">= {least}"), Some(middle >= least)),
        Target::AtMost(most) => (format!("<= {most}"), Some(middle <= most)),
        Target::Stated(unit) => (unit.to_owned(), None),
    };
    let verdict = match (void, met) {
        (true, _) => "void: too noisy",
        (false, Some(true)) => "met",
        (false, Some(false)) => "MISSED",
        (false, None) => "stated",
    };
    let base = own.map_or(String::from("-"), |own| {
        let (low, high) = ends(noise);
        format!("{own:.2} ({low:.2}..{high:.2})")
    });
    let numbers = format!("{} | {}..{}", short(middle), short(low), short(high));
    println!("| {what} | {wanted} | {numbers} | {} | {base} | {verdict} |", values.len());
    void || met != Some(false)
}

fn short(value: f64) -> String {
    match value.abs() {
        big if big >= 1_000.0 => format!("{value:.0}"),
        middle if middle >= 20.0 => format!("{value:.1}"),
        _ => format!("{value:.2}"),
    }
}

pub(crate) fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}

fn ends(values: &[f64]) -> (f64, f64) {
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    (low, values.iter().copied().fold(f64::NEG_INFINITY, f64::max))
}

/// The value that so large a share of the sorted ones do not exceed.
pub(crate) fn share(sorted: &[u64], share: f64) -> u64 {
    sorted[((sorted.len() - 1) as f64 * share).round() as usize]
}

fn load() -> String {
    let load = fs::read_to_string("/proc/loadavg").unwrap_or_default();
    load.split_whitespace().take(3).collect::<Vec<_>>().join(" ")
}

pub(crate) fn machine() -> String {
    let cores = std::thread::available_parallelism().map_or(0, usize::from);
    format!("{cores} cores; load {} (1, 5, 15 min)", load())
}
