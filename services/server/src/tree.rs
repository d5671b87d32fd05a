//! A trace as a nested list, for pages and the command line: each thing whole where it is met first, named where it is
//! met again.

use shared_types::{Direction, Kind, ThingName, Trace};
use std::collections::{BTreeMap, BTreeSet};

/// What a page or a terminal can still show.
const MOST: usize = 1_000;
/// Material, batch, roll, kit, part and boat are six; facts that are nonsense may make more.
const DEEPEST: usize = 10;

#[derive(Debug, Default)]
pub(crate) struct Tree {
    pub(crate) steps: Vec<Step>,
    /// How many items did not fit.
    pub(crate) left_out: usize,
}

/// One step through the list, from top to bottom.
#[derive(Debug)]
pub(crate) enum Step {
    Item(Item),
    /// The innermost list that is open ends.
    Close,
}

#[derive(Debug)]
pub(crate) struct Item {
    pub(crate) thing: ThingName,
    pub(crate) depth: usize,
    pub(crate) stages: Vec<String>,
    /// The numbers of the entries that say so.
    pub(crate) entries: Vec<u64>,
    /// What is below it stands further up.
    pub(crate) again: bool,
    /// A list of what is below it follows.
    pub(crate) opens: bool,
}

/// What somebody who names no direction most likely asks.
pub(crate) fn usual_direction(kind: Kind) -> Direction {
    match kind {
        Kind::Material | Kind::Batch | Kind::Roll | Kind::Nest => Direction::WentInto,
        _ => Direction::MadeFrom,
    }
}

/// What a link between two things says.
#[derive(Default)]
struct Said {
    stages: BTreeSet<String>,
    entries: BTreeSet<u64>,
}

type Below<'t> = BTreeMap<&'t ThingName, BTreeMap<&'t ThingName, Said>>;

pub(crate) fn tree(trace: &Trace) -> Tree {
    let mut below: Below<'_> = BTreeMap::new();
    let mut led_to = BTreeSet::new();
    for link in &trace.links {
        let (above, one) = match trace.direction {
            Direction::MadeFrom => (&link.into, &link.from),
            Direction::WentInto => (&link.from, &link.into),
        };
        let said = below.entry(above).or_default().entry(one).or_default();
        said.stages.extend(link.stage.as_ref().map(ToString::to_string));
        said.entries.insert(link.seq);
        led_to.insert(one);
    }
    // A run's parts and a material's batches are reached without a link: they stand right below it.
    let first = below.entry(&trace.thing).or_default();
    for node in trace.nodes.iter().filter(|node| !led_to.contains(&node.thing)) {
        first.entry(&node.thing).or_default();
    }
    let mut tree = Tree::default();
    walk(&below, &trace.thing, 0, &mut BTreeSet::from([&trace.thing]), &mut tree);
    tree
}

fn walk<'t>(below: &Below<'t>, thing: &ThingName, depth: usize, seen: &mut BTreeSet<&'t ThingName>, tree: &mut Tree) {
    for (one, said) in below.get(thing).into_iter().flatten() {
        let leads_on = below.get(one).is_some_and(|more| !more.is_empty());
        let again = leads_on && seen.contains(one);
        let opens = leads_on && !again && depth < DEEPEST;
        let fits = tree.steps.len() < MOST;
        match fits {
            true => tree.steps.push(Step::Item(Item {
                thing: (*one).clone(),
                depth,
                stages: said.stages.iter().cloned().collect(),
                entries: said.entries.iter().copied().collect(),
                again,
                opens,
            })),
            false => tree.left_out += 1,
        }
        if opens {
            seen.insert(one);
            walk(below, one, depth + 1, seen, tree);
            if fits {
                tree.steps.push(Step::Close);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use shared_types::{Instant, Stamp, TraceLink, TraceNode};

    fn traced(links: &[(&str, &str)], nodes: &[&str], of: &str) -> Trace {
        let link = |(seq, (from, into)): (u64, &(&str, &str))| TraceLink {
            from: from.parse().unwrap(),
            into: into.parse().unwrap(),
            stage: None,
            seq,
        };
        Trace {
            thing: of.parse().unwrap(),
            direction: Direction::WentInto,
            nodes: nodes.iter().map(|node| TraceNode { thing: node.parse().unwrap() }).collect(),
            links: (1..).zip(links).map(link).collect(),
            at: Stamp::utc(Instant(0)),
            as_of_seq: 9,
        }
    }

    fn said(tree: &Tree) -> String {
        let words = tree.steps.iter().map(|step| match step {
            Step::Item(item) => format!(
                "{}{}{}",
                item.thing.code(),
                if item.again { "^" } else { "" },
                if item.opens { " (" } else { "" }
            ),
            Step::Close => ")".to_owned(),
        });
        words.collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn what_is_met_again_is_named_and_not_told_again() {
        let links = [
            ("roll/R-1", "kit/K-1"),
            ("roll/R-1", "kit/K-2"),
            ("kit/K-1", "part/P-1"),
            ("kit/K-2", "part/P-1"),
            ("part/P-1", "boat/H-1"),
        ];
        let tree = tree(&traced(&links, &["kit/K-1", "kit/K-2", "part/P-1", "boat/H-1"], "roll/R-1"));
        assert_eq!(said(&tree), "K-1 ( P-1 ( H-1 ) ) K-2 ( P-1^ )");
    }

    #[test]
    fn what_no_link_leads_to_stands_below_the_thing_itself() {
        let tree = tree(&traced(&[("part/P-1", "boat/H-1")], &["part/P-1", "boat/H-1"], "run/X-1"));
        assert_eq!(said(&tree), "P-1 ( H-1 )");
    }

    #[test]
    fn a_circle_ends_and_a_crowd_is_counted() {
        let ring = [("roll/R-1", "kit/K-1"), ("kit/K-1", "roll/R-1")];
        assert_eq!(said(&tree(&traced(&ring, &["kit/K-1"], "roll/R-1"))), "K-1 ( R-1^ )");
        let kits: Vec<String> = (0..1_200).map(|kit| format!("kit/K-{kit}")).collect();
        let links: Vec<(&str, &str)> = kits.iter().map(|kit| ("roll/R-1", kit.as_str())).collect();
        let tree = tree(&traced(&links, &[], "roll/R-1"));
        assert_eq!((tree.steps.len(), tree.left_out), (MOST, 1_200 - MOST));
    }
}
