//! An entry in words, as a history and a strike name it: what happened, not who and when.

use super::super::declared::{day, metres};
use domain::say::{Say, left, so_far};
use shared_types::{
    BesideServer, Body, Code, Entry, Instant, OpeningSource, Place, Role, Settlement, Stamp, ThingName,
};

pub(in super::super) fn said(entry: &Entry, say: &Say, near: Instant) -> String {
    let name = entry.thing.short();
    let time = |stamp: &Stamp| say.time(stamp.at, near);
    match &entry.body {
        Body::RollReceived(body) => {
            let opening = body.opening.as_ref().map_or(String::new(), |opening| {
                let by = match opening.source {
                    OpeningSource::Certificate => "its certificate",
                    OpeningSource::Card => "its card",
                };
                format!(", {} of out-time before by {by}", so_far(opening.out_time_s.as_ms()))
            });
            let length = metres(body.length_mm.get());
            format!(
                "{name} received: {} revision {}, batch {}, {length}{opening}",
                body.material, body.revision, body.batch
            )
        }
        Body::RollPutAway(body) | Body::KitPutAway(body) => {
            format!("{name} put away in {}{}", body.into, position(body.position.as_ref()))
        }
        Body::RollTakenOut(body) | Body::KitTakenOut(body) => {
            let from = body.from.as_ref().map_or(String::new(), |from| format!(" of {from}"));
            let to = body.to.as_ref().map_or(String::new(), |to| format!(" to {to}"));
            format!("{name} taken out{from}{to}")
        }
        Body::Seen(body) => format!("{name} seen in {}{}", body.r#in, position(body.position.as_ref())),
        Body::NestCut(body) => {
            let kits = body.kits.iter().map(|kit| {
                let of = |item: &shared_types::CutItem| format!("{} of {}", metres(item.length_mm.get()), item.roll);
                let items: Vec<String> = kit.items.iter().map(of).collect();
                format!("kit {} for {} from {}", kit.kit, kit.job, items.join(", "))
            });
            let waste = body
                .waste
                .iter()
                .map(|waste| format!("{} of {} thrown away", metres(waste.length_mm.get()), waste.roll));
            let all: Vec<String> = kits.chain(waste).collect();
            format!("{name} cut: {}", all.join("; "))
        }
        Body::PliesLaid(body) => {
            let items = body.items.as_ref().map_or(String::new(), |items| format!(", only of {}", codes(items)));
            let began = body.from_at.as_ref().map_or(String::new(), |at| format!(", first ply {}", time(at)));
            let length = body.length_mm.map_or(String::new(), |length| format!("{} of ", metres(length.get())));
            format!("plies laid into {name}, {}, from {length}{}{items}{began}", body.stage, body.from.short())
        }
        Body::OvenRunStarted(body) => {
            let stages: Vec<String> = body.stages.iter().map(|one| format!("{} {}", one.part, one.stage)).collect();
            format!("oven run {name} started in {} with {}", body.oven, stages.join(", "))
        }
        Body::LayupCompleted(body) => format!("lay-up of {name}, {}, complete", body.stage),
        Body::OvenRunEnded(body) => {
            let cured = match body.cured {
                Some(true) => ", cured",
                Some(false) => ", not cured",
                None => "",
            };
            let since =
                body.committed_at.as_ref().map_or(String::new(), |at| format!(", cure under way at {}", time(at)));
            format!("oven run {name} ended{cured}{since}")
        }
        Body::OvenRunInterrupted(body) => format!("oven run {name} broke off{}", because(body.why.as_deref())),
        Body::PartInstalled(body) => format!("{name} installed in boat {}", body.boat),
        Body::PartRemoved(body) => format!("{name} removed from boat {}", body.boat),
        Body::DeliveryArrived(body) => format!("delivery {name} came, its note lists {}", codes(&body.rolls)),
        Body::Disposed(body) => {
            let length = body.length_mm.map_or(String::new(), |length| format!("{} of ", metres(length.get())));
            format!("{length}{name} thrown away: {}", body.why)
        }
        Body::YardDeclared(body) => {
            format!("yard declared: zone {}, spare time {}", body.zone, left(body.spare_s.as_ms()))
        }
        Body::PlaceDeclared(body) => place(name, body),
        Body::MaterialRevised(body) => format!("{name} revision {} entered: {}", body.revision, body.name),
        Body::BatchRegistered(body) => {
            let ends =
                body.certificate_ends.map_or(String::new(), |ends| format!(", its certificate names {}", day(ends)));
            format!("batch {} registered, made {}{ends}", entry.thing.code(), day(body.made_on))
        }
        Body::JobOpened(body) => format!("job {name} opened for {}, oven {}", body.part, time(&body.oven_at)),
        Body::JobReplanned(body) => format!("job {name} planned again: {}, oven {}", body.part, time(&body.oven_at)),
        Body::BoatDeclared(body) => format!("boat {name} declared with {}", codes(&body.parts)),
        Body::Issued(body) => format!("{name} issued to {}", body.job),
        Body::HoldPlaced(body) => {
            let number = body.nonconformance.as_ref().map_or(String::new(), |number| format!(" ({number})"));
            format!("{name} held: {}{number}", body.why)
        }
        Body::HoldLifted(body) => format!("hold on {name} lifted: {}", body.why),
        Body::EntryStruck(body) => {
            let instead = if body.instead.is_some() { "; the next entry stands instead" } else { "" };
            format!("an entry of {name} struck: {}{instead}", body.why)
        }
        Body::FactConfirmed(_) => format!("an entry of {name} confirmed"),
        Body::MismatchSettled(body) => {
            let in_words = domain::mismatch::puzzle_named(&body.mismatch.kind).is_none();
            if in_words {
                return format!("what does not add up about {name} may rest{}", because(body.why.as_deref()));
            }
            let answer = settlement(&body.mismatch.kind, &body.answer, say, near);
            format!("answered about {name}: {answer}{}", because(body.why.as_deref()))
        }
        Body::LogLoaded(body) => format!("log loaded from {}: {} entries", body.file, body.entries),
        Body::LogCut(body) => {
            format!("{} bytes that never arrived whole were cut and kept in {}", body.bytes, body.kept_in)
        }
        Body::SetAside(body) => {
            format!("something about {name} that could not be read is kept as it came: {}", body.why)
        }
        Body::ClockChecked(_) => "the server's clock was looked at and found right".to_owned(),
        Body::RolesGranted(body) => {
            let scopes: Vec<&str> = body.scopes.iter().map(|scope| scope.word()).collect();
            let within = if scopes.is_empty() { String::new() } else { format!(", within {}", scopes.join(", ")) };
            match body.roles.as_slice() {
                [] => format!("badge {name} has no role any more"),
                roles => format!("badge {name} has the role {}{within}", roles_in_words(roles, " and ")),
            }
        }
        Body::DeviceEnrolled(body) => {
            let place = body.place.as_ref().map_or(String::new(), |place| format!(", at {place}"));
            format!("device {name} enrolled as a {}{place}", body.what.word())
        }
        Body::DeviceRevoked(body) => format!("device {name} revoked: {}", body.why),
        Body::TokenIssued(body) => {
            let scopes: Vec<&str> = body.scopes.iter().map(|scope| scope.word()).collect();
            let ends = body.ends_at.as_ref().map_or(String::new(), |ends| format!(", until {}", time(ends)));
            format!("token for {} issued to badge {name}, to {}{ends}", body.name.trim(), scopes.join(", "))
        }
        Body::TokenRevoked(body) => format!("a token of badge {name} revoked{}", because(body.why.as_deref())),
        Body::SignedIn(body) => {
            let on = body.device.as_ref().map_or(String::new(), |device| format!(", on {device}"));
            format!("{name} signed in by {}{on}", body.how.word())
        }
        Body::DoneBeside(body) => match (body.what, body.seen) {
            (BesideServer::SetUpCode, _) => "somebody with the server's own files asked for a new set-up code: whoever types it becomes an administrator".to_owned(),
            (BesideServer::WentOn, seen) => {
                let seen = seen.map_or(String::new(), |seen| format!(": others had seen it up to entry {seen}"));
                format!("somebody with the server's own files let the log go on from here, knowing that newer entries are lost{seen}")
            }
        },
        Body::RightRefused(body) => {
            let needs = match (body.needs.as_slice(), body.scope) {
                ([], None) => String::new(),
                ([], Some(scope)) => format!(": its token is not for {}", scope.word()),
                (roles, _) => format!(": that needs the role {}", roles_in_words(roles, " or ")),
            };
            format!("{name} asked for {} and was refused{needs}", body.asked)
        }
    }
}

fn roles_in_words(roles: &[Role], and: &str) -> String {
    roles.iter().map(|role| role.word()).collect::<Vec<_>>().join(and)
}

fn settlement(kind: &str, answer: &Settlement, say: &Say, near: Instant) -> String {
    match answer {
        Settlement::WasTakeOut(_) if kind == "out_while_out" => {
            "it was out all the time, and was scanned twice".to_owned()
        }
        Settlement::WasTakeOut(_) if kind == "seen_inside_while_out" => {
            "it is out: only its bag or its label was seen there".to_owned()
        }
        Settlement::OutSince(stamp) => format!("it was out since {}", say.time(stamp.at, near)),
        Settlement::PutAwayAt(stamp) => format!("it was put away {}", say.time(stamp.at, near)),
        Settlement::WasTakeOut(_) => "the scan was a take-out".to_owned(),
        Settlement::CarriedOverS(seconds) => format!("it was carried straight over, out {}", so_far(seconds.as_ms())),
        Settlement::AssignedS(seconds) => format!("{} are charged", so_far(seconds.as_ms())),
        Settlement::Other(other) => format!("it was {}", thing(other)),
        Settlement::LookedInto(_) => "it was looked into".to_owned(),
    }
}

fn thing(thing: &ThingName) -> String {
    format!("{} {}", thing.kind(), thing.short())
}

fn place(name: &str, place: &Place) -> String {
    let kind = if place.frozen { "a frozen place" } else { "a room" };
    format!("{name} declared as {kind}: {}", place.name)
}

fn position(position: Option<&Code>) -> String {
    position.map_or(String::new(), |position| format!(", position {position}"))
}

fn because(why: Option<&str>) -> String {
    why.filter(|why| !why.trim().is_empty()).map_or(String::new(), |why| format!(": {why}"))
}

fn codes(codes: &[Code]) -> String {
    codes.iter().map(Code::as_str).collect::<Vec<_>>().join(", ")
}
