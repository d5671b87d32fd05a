//! What one item alone can get wrong beyond its shape: a kind on the wrong sort of thing, a quantity that can't be.

use shared_types::{
    Body, FieldProblem, Kind, Settlement, ThingName,
    bodies::{GrantRoles, IssueToken, LiftHold, PlaceHold, RevokeDevice, Role, Strike},
};

/// Nothing is colder, in thousandths of a degree Celsius.
const ABSOLUTE_ZERO_MILLIDEG_C: i32 = -273_150;

/// Who writes for the log itself, and who is nobody.
const NOBODY: [&str; 2] = ["LOG", "?"];
/// The longest label of a token, in characters.
const MOST_LABEL_CHARS: usize = 60;

/// Everything about the item that can't be meant.
pub(super) fn problems(body: &Body, thing: &ThingName) -> Vec<FieldProblem> {
    let mut found = Vec::new();
    let mut say = |pointer: &str, detail: String| found.push(FieldProblem { pointer: pointer.to_owned(), detail });
    let kinds = kinds(body);
    if !kinds.is_empty() && !kinds.contains(&thing.kind()) {
        let names: Vec<String> = kinds.iter().map(Kind::to_string).collect();
        say("/thing", format!("{} is about a {}, not about {thing}", body.plain_kind(), names.join(" or a ")));
    }
    let too_cold = |millideg_c: Option<i32>| millideg_c.is_some_and(|value| value < ABSOLUTE_ZERO_MILLIDEG_C);
    let cold = || "nothing is colder than -273.15 °C".to_owned();
    let why = match body {
        Body::HoldPlaced(PlaceHold { why, .. }) | Body::HoldLifted(LiftHold { why, .. }) => Some(why),
        Body::EntryStruck(Strike { why, .. }) => Some(why),
        Body::DeviceRevoked(RevokeDevice { why }) => Some(why),
        _ => None,
    };
    if why.is_some_and(|why| why.trim().is_empty()) {
        say("/body/why", "say why, in a word or two".into());
    }
    match body {
        Body::NestCut(cut) => {
            if cut.kits.is_empty() && cut.waste.is_empty() {
                say("/body/kits", "a cut gives at least one kit, or waste".into());
            }
            for (k, kit) in cut.kits.iter().enumerate() {
                if kit.items.is_empty() {
                    say(&format!("/body/kits/{k}/items"), "name what was cut, from which roll".into());
                }
                for (i, _) in kit.items.iter().enumerate().filter(|(_, item)| item.plies == Some(0)) {
                    say(&format!("/body/kits/{k}/items/{i}/plies"), "no plies can't be cut".into());
                }
            }
        }
        Body::PliesLaid(laid) => {
            if !matches!(laid.from.kind(), Kind::Kit | Kind::Roll) {
                say("/body/from", format!("plies are laid from a kit or a roll, not from {}", laid.from));
            }
            if laid.plies == Some(0) {
                say("/body/plies", "no plies can't be laid".into());
            }
        }
        Body::OvenRunStarted(run) if run.stages.is_empty() => {
            say("/body/stages", "name at least one part and its stage".into());
        }
        Body::DeliveryArrived(note) if note.rolls.is_empty() => {
            say("/body/rolls", "name at least one roll of the note".into());
        }
        Body::YardDeclared(_) if thing.kind() == Kind::Yard && thing.code() != "YARD" => {
            say("/thing", format!("there is one yard, yard/YARD, not {thing}"));
        }
        Body::PlaceDeclared(place) if too_cold(place.highest_millideg_c) => say("/body/highest_millideg_c", cold()),
        Body::MaterialRevised(revision) => {
            if too_cold(revision.storage_limit_millideg_c) {
                say("/body/storage_limit_millideg_c", cold());
            }
            if too_cold(revision.valid_up_to_millideg_c) {
                say("/body/valid_up_to_millideg_c", cold());
            }
        }
        Body::JobOpened(job) | Body::JobReplanned(job) if job.stages.is_empty() => {
            say("/body/stages", "name at least one stage".into());
        }
        Body::RolesGranted(GrantRoles { roles, scopes }) => {
            match (roles.contains(&Role::Integrator), scopes.is_empty()) {
                (true, true) => say("/body/scopes", "name what its programs may do: read, facts, decisions".into()),
                (false, false) => say("/body/scopes", "scopes are an integrator's alone".into()),
                (true, false) | (false, true) => {}
            }
            if NOBODY.contains(&thing.code()) {
                say("/thing", format!("{thing} is nobody's badge"));
            }
        }
        Body::TokenIssued(IssueToken { name, scopes, .. }) => {
            if !(1..=MOST_LABEL_CHARS).contains(&name.trim().chars().count()) {
                say("/body/name", format!("say what it is for, in 1 to {MOST_LABEL_CHARS} characters"));
            }
            if scopes.is_empty() {
                say("/body/scopes", "name what it may do: read, facts, decisions".into());
            }
        }
        Body::MismatchSettled(settle) => {
            let denied = match settle.answer {
                Settlement::WasTakeOut(false) => Some("was_take_out"),
                Settlement::LookedInto(false) => Some("looked_into"),
                _ => None,
            };
            if let Some(answer) = denied {
                say(&format!("/body/answer/{answer}"), "say true, or give another answer".into());
            }
        }
        _ => {}
    }
    found
}

/// The kinds of things it may be about; none named: any.
fn kinds(body: &Body) -> &'static [Kind] {
    match body {
        Body::RollReceived(_) | Body::RollPutAway(_) | Body::RollTakenOut(_) => &[Kind::Roll],
        Body::KitPutAway(_) | Body::KitTakenOut(_) => &[Kind::Kit],
        Body::Seen(_) | Body::Disposed(_) | Body::Issued(_) => &[Kind::Roll, Kind::Kit],
        Body::NestCut(_) => &[Kind::Nest],
        Body::PliesLaid(_) | Body::LayupCompleted(_) | Body::PartInstalled(_) | Body::PartRemoved(_) => &[Kind::Part],
        Body::OvenRunStarted(_) | Body::OvenRunEnded(_) | Body::OvenRunInterrupted(_) => &[Kind::Run],
        Body::DeliveryArrived(_) => &[Kind::Delivery],
        Body::YardDeclared(_) | Body::DoneBeside(_) => &[Kind::Yard],
        Body::PlaceDeclared(_) => &[Kind::Place],
        Body::MaterialRevised(_) => &[Kind::Material],
        Body::BatchRegistered(_) => &[Kind::Batch],
        Body::JobOpened(_) | Body::JobReplanned(_) => &[Kind::Job],
        Body::BoatDeclared(_) => &[Kind::Boat],
        Body::RolesGranted(_)
        | Body::TokenIssued(_)
        | Body::TokenRevoked(_)
        | Body::SignedIn(_)
        | Body::RightRefused(_) => &[Kind::Badge],
        Body::DeviceEnrolled(_) | Body::DeviceRevoked(_) => &[Kind::Device],
        Body::HoldPlaced(_)
        | Body::HoldLifted(_)
        | Body::EntryStruck(_)
        | Body::FactConfirmed(_)
        | Body::MismatchSettled(_)
        | Body::LogLoaded(_)
        | Body::LogCut(_)
        | Body::SetAside(_)
        | Body::ClockChecked(_) => &[],
    }
}
