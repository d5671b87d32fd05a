//! The one table of who may do what: which role each fact and each decision needs, and who may stand beside it. A fact
//! from a role that does not fit is taken and shown as something that doesn't add up; a decision is refused.

use crate::book::Book;
use crate::fact::{Does, Label, What};
use crate::kept;
use crate::refusal::Refusal;
use crate::standing::{granted, set_up};
use crate::view::View;
use crate::wish::Wish;
use shared_types::{
    Body, BodyKind, Code, Entry, GrantRoles, Kind, KnownBy, Role, Scope, Second, Settlement, ThingName,
};

/// Who may do something.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Right {
    /// What is done, in words that follow *to*.
    pub does: &'static str,
    pub roles: &'static [Role],
    /// Another program may too, if its scopes name this.
    pub scope: Option<Scope>,
    /// Who may strike it.
    pub strikes: &'static [Role],
    /// Who stands beside it where it gives back, and beside striking it.
    pub beside: Beside,
}

/// Who the second person may be: never who made what it rests on.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Beside {
    /// Anybody else who works with the material.
    Floor,
    /// Somebody else whose role is quality.
    Quality,
}

use Role::{Administrator, Laminator, Quality, Stores, Supervisor};

/// Who works with the material.
pub const FLOOR: &[Role] = &[Stores, Laminator, Supervisor, Quality];
/// Taking needs nobody in particular.
const ANYBODY_HERE: &[Role] = &[Stores, Laminator, Supervisor, Quality, Administrator];
const GOODS_IN: &[Role] = &[Stores, Supervisor, Quality];
const LAY_UP: &[Role] = &[Laminator, Supervisor];
const OVEN_RECORD: &[Role] = &[Laminator, Supervisor, Quality];
const HANDS_OUT: &[Role] = &[Stores, Supervisor];
const PLANS: &[Role] = &[Supervisor];
const JUDGES: &[Role] = &[Supervisor, Quality];
const QUALITY: &[Role] = &[Quality];
const YARD: &[Role] = &[Administrator];
const YARD_OR_QUALITY: &[Role] = &[Administrator, Quality];
const NOBODY: &[Role] = &[];

const fn fact(does: &'static str, roles: &'static [Role]) -> Right {
    Right { does, roles, scope: Some(Scope::Facts), strikes: FLOOR, beside: Beside::Floor }
}

const fn decision(does: &'static str, roles: &'static [Role], strikes: &'static [Role], beside: Beside) -> Right {
    Right { does, roles, scope: None, strikes, beside }
}

impl Right {
    /// Another program may decide it too.
    const fn or_program(self) -> Right {
        Right { scope: Some(Scope::Decisions), ..self }
    }

    const fn by_quality(self) -> Right {
        Right { beside: Beside::Quality, ..self }
    }
}

/// The row of a kind; none for what the log writes itself. A new kind does not compile until somebody chose its row.
pub const fn right(of: BodyKind) -> Option<Right> {
    use Beside::{Floor, Quality as ByQuality};
    Some(match of {
        BodyKind::RollReceived => fact("receive a roll", GOODS_IN),
        BodyKind::DeliveryArrived => fact("record a delivery", GOODS_IN),
        BodyKind::RollPutAway | BodyKind::KitPutAway => fact("put something away", FLOOR),
        BodyKind::RollTakenOut | BodyKind::KitTakenOut => fact("take something out", FLOOR),
        BodyKind::Seen => fact("record where something is", FLOOR),
        BodyKind::Disposed => fact("throw something away", FLOOR),
        BodyKind::NestCut => fact("record a cut", LAY_UP),
        BodyKind::PliesLaid => fact("record plies laid", LAY_UP),
        BodyKind::LayupCompleted => fact("complete a lay-up", LAY_UP),
        BodyKind::OvenRunStarted => fact("start an oven run", LAY_UP),
        BodyKind::OvenRunEnded => fact("record the end of an oven run", OVEN_RECORD).by_quality(),
        BodyKind::OvenRunInterrupted => fact("record that an oven run broke off", FLOOR).by_quality(),
        BodyKind::PartInstalled => fact("install a part", LAY_UP),
        BodyKind::PartRemoved => fact("remove a part", LAY_UP),
        BodyKind::YardDeclared => decision("declare the yard", YARD, YARD_OR_QUALITY, ByQuality),
        BodyKind::PlaceDeclared => decision("declare a place", YARD, YARD_OR_QUALITY, ByQuality),
        BodyKind::MaterialRevised => decision("enter a revision of a material", QUALITY, QUALITY, ByQuality),
        BodyKind::BatchRegistered => decision("register a batch", QUALITY, QUALITY, ByQuality).or_program(),
        BodyKind::JobOpened => decision("open a job", PLANS, JUDGES, Floor).or_program(),
        BodyKind::JobReplanned => decision("plan a job again", PLANS, JUDGES, Floor).or_program(),
        BodyKind::BoatDeclared => decision("declare a boat", JUDGES, JUDGES, ByQuality).or_program(),
        BodyKind::Issued => decision("issue material to a job", HANDS_OUT, GOODS_IN, Floor).or_program(),
        BodyKind::HoldPlaced => decision("place a hold", ANYBODY_HERE, JUDGES, ByQuality).or_program(),
        BodyKind::HoldLifted => decision("lift a hold", JUDGES, JUDGES, ByQuality),
        BodyKind::EntryStruck => decision("strike an entry", FLOOR, NOBODY, Floor),
        BodyKind::FactConfirmed => decision("confirm what was told", FLOOR, FLOOR, Floor),
        BodyKind::MismatchSettled => decision("settle what doesn't add up", FLOOR, FLOOR, Floor),
        BodyKind::RolesGranted => decision("grant roles", YARD, NOBODY, ByQuality),
        BodyKind::DeviceEnrolled => decision("enrol a device", YARD, NOBODY, ByQuality),
        BodyKind::DeviceRevoked => decision("revoke a device", YARD, NOBODY, ByQuality),
        BodyKind::TokenIssued => decision("issue a token", YARD, NOBODY, ByQuality),
        BodyKind::TokenRevoked => decision("revoke a token", YARD, NOBODY, ByQuality),
        BodyKind::LogLoaded
        | BodyKind::LogCut
        | BodyKind::SetAside
        | BodyKind::ClockChecked
        | BodyKind::SignedIn
        | BodyKind::RightRefused
        | BodyKind::DoneBeside => return None,
    })
}

/// Why no entry of a kind is struck, if so.
pub(crate) fn never_struck(of: BodyKind) -> Option<&'static str> {
    match (of, right(of).map(|right| right.strikes)) {
        // What a device sent and nobody could read is no word of the log's own.
        (BodyKind::SetAside, _) => None,
        (BodyKind::EntryStruck, _) | (_, None) => {
            Some("A strike is not struck: write the entry again. What the log wrote itself stays.")
        }
        (_, Some([])) => Some("Roles, devices and tokens are not struck: grant, enrol or revoke as it should be now."),
        (_, Some(_)) => None,
    }
}

/// Hours that are assigned, and what may rest without an explanation, are quality's to judge.
const HOURS: Right = decision("assign hours, or let a mismatch rest", JUDGES, JUDGES, Beside::Quality);

/// What a wish needs: striking, what the struck entry says of that.
pub(crate) fn needed(view: View<'_>, wish: &Wish) -> Option<Right> {
    match &wish.body {
        Body::EntryStruck(_) => {
            let seq = wish.strikes.and_then(|id| view.book.seq_of(&id)).and_then(|seq| u32::try_from(seq).ok());
            let by_kind = || seq.and_then(|seq| view.book.entry(seq)).and_then(|meta| right(meta.of));
            let struck = seq.filter(|seq| rests_on_quality(view, *seq)).map(|_| HOURS).or_else(by_kind);
            let strike = right(BodyKind::EntryStruck);
            let narrowed = |(strike, struck): (Right, Right)| match struck.strikes {
                [] => strike,
                roles => Right { roles, beside: struck.beside, does: "strike such an entry", ..strike },
            };
            strike.zip(struck).map(narrowed).or(strike)
        }
        Body::MismatchSettled(settle) if is_qualitys(&settle.answer) => Some(HOURS),
        body => right(body.of()),
    }
}

fn is_qualitys(answer: &Settlement) -> bool {
    matches!(answer, Settlement::AssignedS(_) | Settlement::LookedInto(_))
}

/// Whether an entry settled something by an answer that is quality's to give: it is theirs to take back, too.
fn rests_on_quality(view: View<'_>, seq: u32) -> bool {
    let Some(What::ActsOn(on)) = view.fact_of(seq).map(|fact| &fact.what) else { return false };
    let mut acts = view.book.acts_on(*on).iter().filter(|act| act.seq == seq);
    acts.any(|act| matches!(&act.does, Does::Settles { answer, .. } if is_qualitys(answer)))
}

/// Whether what was granted is enough.
pub(crate) fn may(granted: Option<&GrantRoles>, right: Right) -> bool {
    let program = |granted: &GrantRoles| right.scope.is_some_and(|scope| granted.scopes.contains(&scope));
    granted.is_some_and(|granted| {
        granted.roles.iter().any(|role| right.roles.contains(role))
            || granted.roles.contains(&Role::Integrator) && program(granted)
    })
}

/// Roles as people list them: `stores, laminator or quality`.
pub fn in_words(roles: &[Role], last: &str) -> String {
    match roles {
        [] => String::new(),
        [one] => one.word().to_owned(),
        [rest @ .., end] => {
            let rest: Vec<&str> = rest.iter().map(|role| role.word()).collect();
            format!("{} {last} {}", rest.join(", "), end.word())
        }
    }
}

/// What somebody may do, in words that follow *has*.
pub(crate) fn has(granted: Option<&GrantRoles>) -> String {
    match granted.map(|granted| granted.roles.as_slice()) {
        None | Some([]) => "has no role here".to_owned(),
        Some([one]) => format!("has the role {}", one.word()),
        Some(roles) => format!("has the roles {}", in_words(roles, "and")),
    }
}

/// A badge in a sentence; nothing while roles say nothing of it.
pub(crate) fn badge_words(view: View<'_>, badge: Label) -> Option<String> {
    let name = view.book.name(badge).short();
    // Everything that may change it is kept with the badge, but for the first administrator.
    kept::note_more();
    let granted = granted(view.book, badge, view.known);
    match granted {
        None => counts(view).then(|| format!("{name} has no role here.")),
        Some(roles) if roles.roles.is_empty() => Some(format!("{name} has no role here any more.")),
        Some(roles) => {
            let scopes: Vec<&str> = roles.scopes.iter().map(|scope| scope.word()).collect();
            let within = if scopes.is_empty() { String::new() } else { format!(", within {}", scopes.join(", ")) };
            Some(format!("{name} {}{within}.", has(granted)))
        }
    }
}

/// Once the yard is set up, who asks has shown who they are and has a role for it.
pub(crate) fn allowed(view: View<'_>, wish: &Wish) -> Result<(), Refusal> {
    if !set_up(view.book, view.known) {
        return Ok(());
    }
    let Some(right) = needed(view, wish) else { return Ok(()) };
    let needs = right.roles.to_vec();
    if wish.by_known == KnownBy::Claimed {
        let say = format!("{} has not shown who they are: scan the badge or sign in, then ask again.", wish.by);
        return Err(Refusal::NotAllowed { say, needs });
    }
    let granted = of_badge(view, &wish.by);
    if may(granted, right) {
        return Ok(());
    }
    let say = format!(
        "{} {}. To {} needs {}: let somebody do it who has that role, or ask an administrator for it.",
        wish.by,
        has(granted),
        right.does,
        in_words(&needs, "or")
    );
    Err(Refusal::NotAllowed { say, needs })
}

/// Whether roles count yet.
pub(crate) fn counts(view: View<'_>) -> bool {
    set_up(view.book, view.known)
}

fn of_badge<'b>(view: View<'b>, badge: &Code) -> Option<&'b GrantRoles> {
    granted(view.book, view.book.label(&ThingName::new(Kind::Badge, badge))?, view.known)
}

/// Why a second person can't stand beside it, in words; nothing if they can. Before the yard is set up anybody can.
pub(crate) fn unfit(view: View<'_>, second: &Second, beside: Beside) -> Option<String> {
    if !set_up(view.book, view.known) {
        return None;
    }
    if second.by_known == KnownBy::Claimed {
        return Some(format!("{} has not shown who they are: let them scan their badge or sign in too", second.by));
    }
    let granted = of_badge(view, &second.by);
    let needs = match beside {
        Beside::Floor => FLOOR,
        Beside::Quality => QUALITY,
    };
    let fits = granted.is_some_and(|granted| granted.roles.iter().any(|role| needs.contains(role)));
    (!fits).then(|| format!("{} {}, and beside it stands {}", second.by, has(granted), in_words(needs, "or")))
}

/// Whether the second person that an entry names counts, by what held before it.
pub(crate) fn second_counts(view: View<'_>, entry: &Entry) -> bool {
    let second = entry.second.as_ref().filter(|second| second.by != entry.by);
    second.is_some_and(|second| !entry.body.is_fact() || unfit(view, second, Beside::Floor).is_none())
}

/// Why the role of whoever made a fact does not fit, by what held when it was written.
pub(crate) fn misfit(book: &Book, seq: u32) -> Option<String> {
    let meta = book.entry(seq).filter(|meta| meta.by_known != KnownBy::Claimed)?;
    let before = seq.checked_sub(1).filter(|before| set_up(book, *before))?;
    let right = right(meta.of).filter(|right| right.scope == Some(Scope::Facts))?;
    let granted = granted(book, meta.by, before);
    let needs = || in_words(right.roles, "or");
    let words = || format!("{} {}. To {} needs {}.", book.code(meta.by), has(granted), right.does, needs());
    (!may(granted, right)).then(words)
}
