//! The second person: who they may be, and what is said when they are missing or may not stand there.

use crate::fact::What;
use crate::refusal::Refusal;
use crate::rights::{self, Beside};
use crate::view::View;
use crate::wish::Wish;
use shared_types::Code;

/// Who recorded what a decision about an entry rests on: that entry, and the one that it acts on itself.
pub(super) fn makers(view: View<'_>, seq: u32) -> Vec<Code> {
    let acted_on = match view.fact_of(seq).map(|fact| &fact.what) {
        Some(What::ActsOn(on)) => Some(*on),
        _ => None,
    };
    let entries = [Some(seq), acted_on].into_iter().flatten().filter_map(|seq| view.book.entry(seq));
    let mut makers: Vec<Code> = entries.map(|meta| view.book.code(meta.by)).collect();
    makers.dedup();
    makers
}

/// What gives back names somebody else, who did not record what it rests on and whose place it is to stand there.
pub(super) fn needs_second(
    view: View<'_>,
    wish: &Wish,
    rests_on: &[Code],
    gives_back: Vec<String>,
) -> Result<(), Refusal> {
    let Some(what) = gives_back.first() else { return Ok(()) };
    let beside = rights::needed(view, wish).map_or(Beside::Floor, |right| right.beside);
    let second = wish.second.as_ref().filter(|second| second.by != wish.by && !rests_on.contains(&second.by));
    let unfit = second.map(|second| rights::unfit(view, second, beside));
    let say = match unfit {
        Some(None) => return Ok(()),
        Some(Some(why)) => format!("{what}: {why}. Name somebody else's badge in second."),
        None => {
            let quality = beside == Beside::Quality && rights::counts(view);
            let whose = if quality { " whose role is quality" } else { "" };
            let makers: Vec<&str> = rests_on.iter().map(Code::as_str).collect();
            let not = if makers.is_empty() { String::new() } else { format!(", who is not {}", makers.join(" or ")) };
            format!("{what}: a second person{whose} must stand beside it{not}. Name their badge in second.")
        }
    };
    Err(Refusal::NeedsSecondPerson { say, gives_back })
}

/// Who stands beside a strike stands beside what replaces the entry: that they may not is said, because with them it
/// would wait for nobody.
pub(super) fn untold(view: View<'_>, wish: &Wish) -> Option<String> {
    let beside = rights::needed(view, wish).map_or(Beside::Floor, |right| right.beside);
    let second = wish.second.as_ref().filter(|second| second.by != wish.by && wish.instead.is_some())?;
    rights::unfit(view, second, beside)?;
    Some("What stands instead would count as looked at by two".to_owned())
}
