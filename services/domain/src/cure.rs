//! How the cure stands of all that lies in a stage: what a part is installed on, and what its boat's sheet claims.

use crate::fact::Label;
use crate::holds;
use crate::run_checks::ends_in_doubt;
use crate::say::Say;
use crate::stage::{Oven, StageLife};
use crate::view::View;
use shared_types::{HoldView, Instant};
use std::collections::BTreeSet;

pub struct Cure {
    /// In the oven at all, by that of which least is known.
    pub oven: Oven,
    /// Everything in it is in a run that somebody saw start and whose cure got under way.
    pub confirmed: bool,
    /// What was said of its runs' ends that can't all be.
    pub in_doubt: Vec<String>,
    /// Part of its lay-up was told, and nobody confirmed it yet.
    pub lay_up_told: bool,
    /// A run broke off or was answered not cured, and quality has not lifted that.
    pub held: Vec<HoldView>,
}

/// By an instant. A stage in which nothing lies has no cure: ask what lies in it first.
pub fn cure(view: View<'_>, stage: &StageLife, at: Instant, say: &Say) -> Cure {
    let ovens: Vec<Oven> = stage.lying(at).map(|item| stage.oven_of(item, at)).collect();
    let runs: BTreeSet<Label> = ovens.iter().filter_map(|oven| oven.run()).map(|run| run.run).collect();
    Cure {
        oven: stage.oven(at),
        confirmed: !ovens.is_empty() && ovens.iter().all(|oven| matches!(oven, Oven::Started(run) if !run.told)),
        in_doubt: runs.into_iter().filter_map(|run| ends_in_doubt(view, run)).collect(),
        lay_up_told: stage.lying(at).any(|item| item.told),
        held: holds::by_rule(view, stage, at, say),
    }
}

impl Cure {
    /// It is confirmed, and nothing speaks against it.
    pub fn stands(&self) -> bool {
        self.confirmed && self.in_doubt.is_empty() && !self.lay_up_told && self.held.is_empty()
    }
}
