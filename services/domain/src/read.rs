//! From an entry to the fact the book keeps: codes become labels, and the labels it is kept under are named.

use crate::fact::{
    Cut, CutKit, Fact, Label, Laid, Marks, NEVER, Planned, Received, RunStarted, What, said_otherwise, takes_effect,
};
use shared_types::{Body, Code, Entry, Kind, ThingName};
use std::sync::Arc;

/// `second`: whether the second person that it names counts.
pub(crate) fn fact(entry: &Entry, seq: u32, by: Label, device: Option<Label>, (what, second): (What, bool)) -> Fact {
    let said_otherwise = said_otherwise(entry);
    Fact {
        at: takes_effect(entry),
        uncertain_ms: entry.uncertain_by_ms,
        seq,
        struck_by: NEVER,
        counter: entry.counter,
        device,
        by,
        rank: entry.body.rank(),
        marks: Marks {
            // A time that its device does not say was said by somebody.
            told: entry.told || said_otherwise,
            device_counts: entry.scanned_by().is_some() && !said_otherwise,
            second,
            said_otherwise,
        },
        what,
    }
}

/// A thing as an entry names it: whole, or by a code that is of this kind where it stands.
#[derive(Clone, Copy)]
pub(crate) enum Named<'a> {
    Thing(&'a ThingName),
    Code(Kind, &'a Code),
}

impl Named<'_> {
    pub(crate) fn kind(self) -> Kind {
        match self {
            Named::Thing(thing) => thing.kind(),
            Named::Code(kind, _) => kind,
        }
    }

    pub(crate) fn code(&self) -> &str {
        match self {
            Named::Thing(thing) => thing.code(),
            Named::Code(_, code) => code.as_str(),
        }
    }

    pub(crate) fn name(self) -> ThingName {
        match self {
            Named::Thing(thing) => thing.clone(),
            Named::Code(kind, code) => ThingName::new(kind, code),
        }
    }
}

fn code_label(mention: &mut dyn FnMut(Named<'_>) -> Label, kind: Kind, code: &Code) -> Label {
    mention(Named::Code(kind, code))
}

/// What an entry means, with the labels of all it names. `also` gets those it is kept under beside its thing's.
pub(crate) fn what(
    entry: &Entry,
    thing: Label,
    on: u32,
    mention: &mut dyn FnMut(Named<'_>) -> Label,
    also: &mut Vec<Label>,
) -> What {
    match &entry.body {
        Body::RollReceived(body) => {
            let batch = mention(Named::Thing(&ThingName::batch(&body.material, &body.batch)));
            also.push(batch);
            What::Received(Arc::new(Received {
                roll: thing,
                material: code_label(mention, Kind::Material, &body.material),
                revision: body.revision.clone(),
                batch,
                length_mm: body.length_mm.get(),
                from: body.from.as_ref().map(|code| code_label(mention, Kind::Place, code)),
                opening: body.opening.clone(),
            }))
        }
        Body::RollPutAway(body) | Body::KitPutAway(body) => {
            What::PutAway { into: code_label(mention, Kind::Place, &body.into), at_position: body.position.is_some() }
        }
        Body::RollTakenOut(body) | Body::KitTakenOut(body) => What::TakenOut {
            from: body.from.as_ref().map(|code| code_label(mention, Kind::Place, code)),
            to: body.to.as_ref().map(|code| code_label(mention, Kind::Place, code)),
        },
        Body::Seen(body) => {
            What::Seen { place: code_label(mention, Kind::Place, &body.r#in), at_position: body.position.is_some() }
        }
        Body::NestCut(body) => {
            let cut = cut(thing, body, mention);
            also.extend(cut.kits.iter().flat_map(|kit| [kit.kit, kit.job]));
            also.extend(cut.kits.iter().flat_map(|kit| kit.items.iter().map(|(roll, _)| *roll)));
            also.extend(cut.waste.iter().map(|(roll, _)| *roll));
            What::Cut(Arc::new(cut))
        }
        Body::PliesLaid(body) => {
            let from = mention(Named::Thing(&body.from));
            let items = body
                .items
                .as_ref()
                .map(|items| items.iter().map(|code| code_label(mention, Kind::Roll, code)).collect::<Vec<_>>());
            also.push(from);
            also.extend(items.iter().flatten());
            What::Laid(Arc::new(Laid {
                part: thing,
                stage: body.stage.clone(),
                from,
                from_kit: body.from.kind() == Kind::Kit,
                items,
                from_at: body.from_at.map(|stamp| stamp.at),
                length_mm: body.length_mm.map(|length| length.get()),
            }))
        }
        Body::OvenRunStarted(body) => {
            let stages: Vec<_> =
                body.stages.iter().map(|one| (code_label(mention, Kind::Part, &one.part), one.stage.clone())).collect();
            also.extend(stages.iter().map(|(part, _)| *part));
            What::RunStarted(Arc::new(RunStarted { run: thing, stages }))
        }
        Body::LayupCompleted(body) => What::LayupCompleted(body.stage.clone()),
        Body::OvenRunEnded(body) => {
            What::RunEnded { run: thing, committed_at: body.committed_at.map(|at| at.at), cured: body.cured }
        }
        Body::OvenRunInterrupted(_) => What::RunInterrupted { run: thing },
        Body::PartInstalled(body) => {
            let boat = code_label(mention, Kind::Boat, &body.boat);
            also.push(boat);
            What::Installed { part: thing, boat }
        }
        Body::PartRemoved(body) => {
            let boat = code_label(mention, Kind::Boat, &body.boat);
            also.push(boat);
            What::Removed { part: thing, boat }
        }
        Body::Disposed(body) => What::Disposed { length_mm: body.length_mm.map(|length| length.get()) },
        // The rolls are named, not moved: what is not received yet has no history for it.
        Body::DeliveryArrived(body) => {
            What::Noted(Arc::new(body.rolls.iter().map(|code| code_label(mention, Kind::Roll, code)).collect()))
        }
        Body::YardDeclared(body) => What::Yard(Arc::new(body.clone())),
        Body::PlaceDeclared(body) => What::Place(Arc::new(body.clone())),
        Body::MaterialRevised(body) => What::Revised(Arc::new(body.clone())),
        Body::BatchRegistered(body) => What::Registered(Arc::new(body.clone())),
        Body::JobOpened(body) | Body::JobReplanned(body) => {
            let part = code_label(mention, Kind::Part, &body.part);
            also.push(part);
            if let Some(boat) = &body.boat {
                code_label(mention, Kind::Boat, boat);
            }
            // What is needed of a material that nobody entered is needed all the same.
            for need in &body.needs {
                code_label(mention, Kind::Material, &need.material);
            }
            let opens = matches!(entry.body, Body::JobOpened(_));
            What::Planned(Arc::new(Planned { job: body.clone(), part, opens }))
        }
        Body::BoatDeclared(body) => {
            What::BoatList(Arc::new(body.parts.iter().map(|code| code_label(mention, Kind::Part, code)).collect()))
        }
        Body::Issued(body) => {
            let job = code_label(mention, Kind::Job, &body.job);
            also.push(job);
            What::Issued { thing, job }
        }
        Body::HoldPlaced(body) => What::Held(Arc::new(body.clone())),
        Body::MismatchSettled(body) => {
            if let shared_types::Settlement::Other(other) = &body.answer {
                also.push(mention(Named::Thing(other)));
            }
            What::ActsOn(on)
        }
        Body::HoldLifted(_) | Body::EntryStruck(_) | Body::FactConfirmed(_) => What::ActsOn(on),
        Body::RolesGranted(body) => What::Granted(Arc::new(body.clone())),
        Body::DeviceEnrolled(body) => {
            if let Some(place) = &body.place {
                code_label(mention, Kind::Place, place);
            }
            What::Enrolled(Arc::new(body.clone()))
        }
        Body::DeviceRevoked(body) => What::DeviceRevoked(Arc::new(body.clone())),
        Body::TokenIssued(body) => What::TokenIssued(Arc::new(body.clone())),
        Body::TokenRevoked(body) => What::TokenRevoked(body.token),
        Body::SetAside(_) => What::SetAside,
        Body::LogLoaded(_)
        | Body::LogCut(_)
        | Body::ClockChecked(_)
        | Body::SignedIn(_)
        | Body::RightRefused(_)
        | Body::DoneBeside(_) => What::Note,
    }
}

fn cut(nest: Label, body: &shared_types::NestCut, mention: &mut dyn FnMut(Named<'_>) -> Label) -> Cut {
    let kits = body.kits.iter().map(|kit| CutKit {
        kit: code_label(mention, Kind::Kit, &kit.kit),
        job: code_label(mention, Kind::Job, &kit.job),
        items: kit
            .items
            .iter()
            .map(|item| (code_label(mention, Kind::Roll, &item.roll), item.length_mm.get()))
            .collect(),
    });
    let kits = kits.collect();
    let waste =
        body.waste.iter().map(|one| (code_label(mention, Kind::Roll, &one.roll), one.length_mm.get())).collect();
    Cut { nest, kits, waste }
}
