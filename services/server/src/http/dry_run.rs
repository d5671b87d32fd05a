//! Asking before doing: both doors answer what would come of a request, and nothing is written.

use super::{
    ask::{beside, json},
    entries::item_result,
    problems::{Answer, Fault},
    refusals::stored,
};
use crate::{
    committer::{Item, Outcome, Trial, tried},
    yard::Yard,
};
use actix_web::web;
use domain::{Book, When, mismatch};
use serde::Deserialize;
use shared_types::{DryRun, Instant, ItemResult};
use std::panic::{AssertUnwindSafe, catch_unwind};
use utoipa::IntoParams;
use uuid::Uuid;

/// Whether it is only asked what would happen.
#[derive(Deserialize, IntoParams, Clone, Copy)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct Trying {
    /// Answers what would change and writes nothing. Also answered while writing has stopped.
    #[serde(default)]
    #[param(default = false)]
    pub(crate) dry_run: bool,
}

/// Answers what would come of the items that could be read; the others have their result already.
pub(crate) async fn facts(
    yard: &web::Data<Yard>,
    read: Vec<Result<Uuid, ItemResult>>,
    items: Vec<Item>,
) -> Result<DryRun, Fault> {
    try_them(yard, items, read).await
}

/// The same of one decision. What the door would refuse is refused, but for a second person who is missing.
pub(crate) async fn decision(yard: &web::Data<Yard>, item: Item) -> Answer {
    json(&weigh(yard, item).await?)
}

/// What a decision would change, or why it would be refused.
pub(crate) async fn weigh(yard: &web::Data<Yard>, item: Item) -> Result<DryRun, Fault> {
    let id = item.id();
    let mut answer = try_them(yard, vec![item], vec![Ok(id)]).await?;
    match answer.results.pop() {
        // For want of a second person the effect is shown all the same, and of nothing else.
        Some(ItemResult { problem: Some(problem), .. }) if answer.second_person.is_none() => Err(problem.into()),
        only => Ok(DryRun { results: only.into_iter().collect(), ..answer }),
    }
}

async fn try_them(
    yard: &web::Data<Yard>,
    items: Vec<Item>,
    read: Vec<Result<Uuid, ItemResult>>,
) -> Result<DryRun, Fault> {
    let shared = yard.clone();
    let turn = yard.dry_runs.acquire().await;
    let _turn = turn.map_err(|_| Fault::went_wrong("The server is stopping. Ask again."))?;
    beside(move || {
        let now = shared.now();
        // Copied under the lock, worked out without it.
        let book = shared.read().clone();
        let worked = catch_unwind(AssertUnwindSafe(|| {
            let Trial { book: after, outcomes, entries, second_person } = tried(&book, &shared.reader, items, now);
            let mut outcomes = outcomes.into_iter();
            let results = read.into_iter().map(|one| match one {
                Err(result) => result,
                Ok(id) => result_of(&after, id, outcomes.next().unwrap_or(Outcome::Panicked), now),
            });
            let results = results.collect();
            DryRun { results, second_person, effect: domain::effect(book, &entries, now) }
        }));
        worked.map_err(|_| Fault::went_wrong("Working this out failed. Nothing was written; nothing else is affected."))
    })
    .await
}

fn result_of(after: &Book, id: Uuid, outcome: Outcome, now: Instant) -> ItemResult {
    item_result(id, stored(outcome), |seq| mismatch::of_entry(after, seq, When::now(now)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{Bench, asked, decision, hold};
    use serde_json::json;

    #[test]
    fn what_nobody_may_is_refused_and_not_shown_as_if_somebody_stood_beside_it() {
        let bench = Bench::new();
        let yard = web::Data::new(bench.open());
        let grant = asked(1, "grant_roles", "badge/A-1", 0, json!({"roles": ["administrator"]}));
        assert!(matches!(yard.committer.submit_blocking(decision(&grant)), Outcome::Written(_)));
        let asked = decision(&hold(2, "R-42", 1));
        let weighed = actix_web::rt::System::new().block_on(weigh(&yard, asked.into()));
        let problem = weighed.unwrap_err().into_problem();
        assert_eq!((problem.status, problem.kind.as_str()), (403, "/problems/not-allowed"));
        let needs = json!(["stores", "laminator", "supervisor", "quality", "administrator"]);
        assert_eq!(problem.more["needs"], needs);
        assert!(problem.detail.contains("B-17 has not shown who they are"), "{}", problem.detail);
    }
}
