//! Writes what is missing over HTTP: decisions one by one, facts a hundred at a time.

use shared_types::ItemResult;
use std::collections::BTreeSet;

use super::{
    client::{Client, Unanswered},
    plan::Planned,
    problems::Problems,
};

/// As many facts as the API takes at once.
const BATCH: usize = 100;

/// Writes until a decision is refused; facts go on, since none blocks the next. The answer is how many were written.
pub(crate) fn write(
    client: &Client,
    missing: &[Planned],
    end_of_log: u64,
    problems: &mut Problems,
    mut step: impl FnMut(u64),
) -> Result<u64, Unanswered> {
    let (decisions, facts): (Vec<&Planned>, Vec<&Planned>) = missing.iter().partition(|one| !one.is_fact());
    let mut based_on = end_of_log;
    let mut written = 0;
    for one in decisions {
        match client.decide(&one.posted(based_on))? {
            // What was just written is known here: the next decision stands on it.
            Ok(decided) => based_on = based_on.max(decided.seq),
            Err(problem) => {
                problems.add(&one.spot, format!("{} was refused: {}", one.thing, problem.detail));
                return Ok(written);
            }
        }
        written += 1;
        step(1);
    }
    for batch in facts.chunks(BATCH) {
        let posted: Vec<_> = batch.iter().map(|one| one.posted(based_on)).collect();
        match client.facts(&posted)? {
            Ok(answer) => {
                for (one, result) in batch.iter().zip(&answer.results) {
                    match said_no(result) {
                        None => written += 1,
                        Some(say) => problems.add(&one.spot, format!("{}: {say}", one.thing.short())),
                    }
                }
            }
            Err(problem) => {
                if let Some(first) = batch.first() {
                    problems.add(&first.spot, format!("from {} on: {}", first.thing.short(), problem.detail));
                }
                return Ok(written);
            }
        }
        step(u64::try_from(batch.len()).unwrap_or_default());
    }
    Ok(written)
}

/// Says what a program may not write, one of each kind, before anything is written.
pub(crate) fn allowed(
    client: &Client,
    missing: &[Planned],
    end_of_log: u64,
    problems: &mut Problems,
) -> Result<(), Unanswered> {
    let mut asked = BTreeSet::new();
    for one in missing.iter().filter(|one| asked.insert(one.body.kind())) {
        if let Some(problem) = client.not_allowed(&one.posted(end_of_log))? {
            problems.add(&one.spot, format!("{}: {}", one.thing, problem.detail));
        }
    }
    Ok(())
}

fn said_no(result: &ItemResult) -> Option<String> {
    match (result.status, &result.problem) {
        (200 | 201, _) => None,
        (409, Some(problem)) => Some(format!("it is already in with other values: {}", problem.detail)),
        (_, Some(problem)) => Some(problem.detail.clone()),
        (status, None) => Some(format!("not written, status {status}")),
    }
}
