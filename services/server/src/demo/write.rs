//! Hands the year to the server's own committer, one step after the other, under a clock that is set to each step.

use serde_json::{Value, json};
use std::{fs, sync::Arc};

use super::{Request, story::Step};
use crate::{
    cli::progress::Steps,
    clock::SetClock,
    committer::Outcome,
    intake,
    yard::{Options, Yard},
};

/// A segment of the demo's journal holds at most so many days: not one file for each.
const SEGMENT_DAYS: i64 = 30;

/// The number of entries that were written, or why it can't be done.
pub(super) fn write(request: &Request, steps: &[Step], told: &mut Steps<'_>) -> Result<u64, String> {
    let data = &request.data;
    if fs::read_dir(data).is_ok_and(|mut files| files.next().is_some()) {
        return Err(format!("{} is not empty; name a folder that is not there yet", data.display()));
    }
    let Some(first) = steps.first() else { return Ok(0) };
    let clock = Arc::new(SetClock::new(first.at));
    let mut options = Options::new(clock.clone());
    options.journal.segment_ms = SEGMENT_DAYS * super::story::DAY;
    let yard = Yard::open(data, options).map_err(|error| error.to_string())?;
    let mut last = 0;
    for step in steps {
        clock.set(step.at);
        last = submit(&yard, &step.posted, last)?;
        told.more(1, steps.len());
    }
    clock.set(request.until);
    yard.close();
    Ok(last)
}

/// The number of the last entry that this step wrote.
fn submit(yard: &Yard, posted: &Value, last: u64) -> Result<u64, String> {
    let unread =
        |problem: intake::ItemProblem| format!("the demo made up what can't be read: {}: {posted}", problem.detail());
    let outcome = if posted.get("decide").is_none() {
        yard.committer.submit_blocking(intake::fact(&posted.to_string()).map_err(unread)?)
    } else {
        let mut posted = posted.clone();
        if let Some(fields) = posted.as_object_mut() {
            fields.insert("based_on".to_owned(), json!(last));
        }
        yard.committer.submit_blocking(intake::decision(&posted.to_string()).map_err(unread)?)
    };
    match outcome {
        Outcome::Written(written) => Ok(written.instead_seq.unwrap_or(written.seq)),
        Outcome::Refused(refusal) => Err(format!("the demo was refused: {refusal}: {posted}")),
        Outcome::NoSpace { why } | Outcome::Stopped { why } => Err(why),
        other => Err(format!("the demo's year could not be written: {other:?}: {posted}")),
    }
}
