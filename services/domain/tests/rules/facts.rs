//! What happens in a scene: goods in, moves, cuts, lay-ups, oven runs, and what people decide about them.

use crate::scene::{Scene, code, millimetres, stage_name, stamp, thing};
use crate::when::hours;
use shared_types::*;

fn part_and_stage(text: &str) -> (&str, StageName) {
    let (part, stage) = text.split_once('/').unwrap_or((text, "skin"));
    (part, stage_name(stage))
}

/// A nest's kits: kit, job, and of which rolls how many metres.
pub type Kits<'a> = &'a [(&'a str, &'a str, &'a [(&'a str, u64)])];

impl Scene {
    /// 50 m of PM-101 A, batch B-1; its certificate says 0 h as of then. It came in no frozen place.
    pub fn received(self, roll: &str, at: &str) -> Scene {
        let opening =
            Opening { out_time_s: hours(0), refreezes: 0, as_of: stamp(at), source: OpeningSource::Certificate };
        self.entry(
            roll,
            at,
            Body::RollReceived(RollReceived {
                material: code("PM-101"),
                revision: code("A"),
                batch: code("B-1"),
                length_mm: millimetres(50),
                width_mm: None,
                from: None,
                opening: Some(opening),
            }),
        )
    }

    fn receipt(self, change: impl FnOnce(&mut RollReceived)) -> Scene {
        self.change(|entry| match &mut entry.body {
            Body::RollReceived(receipt) => change(receipt),
            other => panic!("{other:?} is no receipt"),
        })
    }

    pub fn opening(self, out_h: u64, refreezes: u32) -> Scene {
        self.receipt(|receipt| {
            let opening = receipt.opening.as_mut().unwrap();
            (opening.out_time_s, opening.refreezes) = (hours(out_h), refreezes);
        })
    }

    pub fn counted_from(self, at: &str) -> Scene {
        self.receipt(|receipt| receipt.opening.as_mut().unwrap().as_of = stamp(at))
    }

    pub fn no_opening(self) -> Scene {
        self.receipt(|receipt| receipt.opening = None)
    }

    pub fn coming_in(self, place: &str) -> Scene {
        self.receipt(|receipt| receipt.from = Some(code(place)))
    }

    pub fn of(self, material: &str, batch: &str) -> Scene {
        self.receipt(|receipt| (receipt.material, receipt.batch) = (code(material), code(batch)))
    }

    pub fn metres(self, metres: u64) -> Scene {
        self.receipt(|receipt| receipt.length_mm = millimetres(metres))
    }

    /// Received and put away in F1 at one instant: in the cold with 0 h of out-time.
    pub fn stored(self, roll: &str, at: &str) -> Scene {
        self.received(roll, at).put_away(roll, "F1", at)
    }

    pub fn put_away(self, of: &str, into: &str, at: &str) -> Scene {
        let body = PutAway { into: code(into), position: None };
        let is_kit = thing(of).kind() == Kind::Kit;
        self.entry(of, at, if is_kit { Body::KitPutAway(body) } else { Body::RollPutAway(body) })
    }

    pub fn out(self, of: &str, at: &str) -> Scene {
        let body = TakenOut { from: None, to: None };
        let is_kit = thing(of).kind() == Kind::Kit;
        self.entry(of, at, if is_kit { Body::KitTakenOut(body) } else { Body::RollTakenOut(body) })
    }

    pub fn seen(self, of: &str, place: &str, at: &str) -> Scene {
        self.entry(of, at, Body::Seen(Seen { r#in: code(place), position: None }))
    }

    /// The rack position was scanned with it.
    pub fn position(self, position: &str) -> Scene {
        self.change(|entry| match &mut entry.body {
            Body::RollPutAway(body) | Body::KitPutAway(body) => body.position = Some(code(position)),
            Body::Seen(body) => body.position = Some(code(position)),
            other => panic!("{other:?} has no position"),
        })
    }

    /// 2 m of a roll into a kit for J-1.
    pub fn cut(self, nest: &str, roll: &str, kit: &str, at: &str) -> Scene {
        self.cut_many(nest, &[(kit, "J-1", &[(roll, 2)])], at)
    }

    pub fn cut_many(self, nest: &str, kits: Kits<'_>, at: &str) -> Scene {
        let item =
            |(roll, metres): &(&str, u64)| CutItem { roll: code(roll), length_mm: millimetres(*metres), plies: None };
        let kits = kits.iter().map(|(kit, job, items)| CutKit {
            kit: code(kit),
            job: code(job),
            items: items.iter().map(item).collect(),
        });
        let kits = kits.collect();
        self.entry(nest, at, Body::NestCut(NestCut { kits, waste: Vec::new() }))
    }

    pub fn waste(self, roll: &str, metres: u64) -> Scene {
        self.change(|entry| match &mut entry.body {
            Body::NestCut(cut) => cut.waste.push(Waste { roll: code(roll), length_mm: millimetres(metres) }),
            other => panic!("{other:?} has no waste"),
        })
    }

    /// Plies of a kit or a roll into `P-1/skin`.
    pub fn laid(self, into: &str, from: &str, at: &str) -> Scene {
        let (part, stage) = part_and_stage(into);
        self.entry(
            part,
            at,
            Body::PliesLaid(PliesLaid {
                stage,
                from: thing(from),
                items: None,
                from_at: None,
                length_mm: None,
                plies: None,
            }),
        )
    }

    fn lay_up(self, change: impl FnOnce(&mut PliesLaid)) -> Scene {
        self.change(|entry| match &mut entry.body {
            Body::PliesLaid(laid) => change(laid),
            other => panic!("{other:?} is no lay-up"),
        })
    }

    pub fn items(self, rolls: &[&str]) -> Scene {
        self.lay_up(|laid| laid.items = Some(rolls.iter().map(|roll| code(roll)).collect()))
    }

    pub fn begun_at(self, at: &str) -> Scene {
        self.lay_up(|laid| laid.from_at = Some(stamp(at)))
    }

    pub fn length(self, metres: u64) -> Scene {
        self.lay_up(|laid| laid.length_mm = Some(millimetres(metres)))
    }

    pub fn completed(self, what: &str, at: &str) -> Scene {
        let (part, stage) = part_and_stage(what);
        self.entry(part, at, Body::LayupCompleted(LayupCompleted { stage }))
    }

    pub fn oven(self, run: &str, stages: &[&str], at: &str) -> Scene {
        let stages = stages.iter().map(|one| {
            let (part, stage) = part_and_stage(one);
            RunStage { part: code(part), stage }
        });
        let stages = stages.collect();
        self.entry(run, at, Body::OvenRunStarted(OvenRunStarted { oven: code("O1"), stages }))
    }

    pub fn ended(self, run: &str, at: &str) -> Scene {
        let body = OvenRunEnded { committed_at: None, cured: None, source: RunSource::Chart };
        self.entry(run, at, Body::OvenRunEnded(body))
    }

    fn end(self, change: impl FnOnce(&mut OvenRunEnded)) -> Scene {
        self.change(|entry| match &mut entry.body {
            Body::OvenRunEnded(end) => change(end),
            other => panic!("{other:?} ends no run"),
        })
    }

    pub fn committed(self, at: &str) -> Scene {
        self.end(|end| end.committed_at = Some(stamp(at)))
    }

    pub fn cured(self, cured: bool) -> Scene {
        self.end(|end| end.cured = Some(cured))
    }

    pub fn interrupted(self, run: &str, at: &str) -> Scene {
        self.entry(run, at, Body::OvenRunInterrupted(OvenRunInterrupted { why: None }))
    }

    pub fn installed(self, part: &str, boat: &str, at: &str) -> Scene {
        self.entry(part, at, Body::PartInstalled(InBoat { boat: code(boat) }))
    }

    pub fn removed(self, part: &str, boat: &str, at: &str) -> Scene {
        self.entry(part, at, Body::PartRemoved(InBoat { boat: code(boat) }))
    }

    pub fn disposed(self, of: &str, at: &str) -> Scene {
        self.entry(of, at, Body::Disposed(Disposed { why: "torn".to_owned(), length_mm: None }))
    }

    /// A job for part P-1, stage skin, opened on Monday at midnight.
    pub fn job(self, job: &str, lay_at: &str, oven_at: &str) -> Scene {
        self.declares(job, Body::JobOpened(plan("P-1", lay_at, oven_at)))
    }

    /// The same, needing 2 m of a material.
    pub fn job_needing(self, job: &str, material: &str, lay_at: &str, oven_at: &str) -> Scene {
        let needs = vec![shared_types::Need { material: code(material), length_mm: millimetres(2) }];
        self.declares(job, Body::JobOpened(Job { needs, ..plan("P-1", lay_at, oven_at) }))
    }

    pub fn replan(self, job: &str, lay_at: &str, oven_at: &str, at: &str) -> Scene {
        self.entry(job, at, Body::JobReplanned(plan("P-1", lay_at, oven_at)))
    }

    pub fn issued(self, of: &str, job: &str, at: &str) -> Scene {
        self.entry(of, at, Body::Issued(Issue { job: code(job) }))
    }

    pub fn hold(self, on: &str, at: &str) -> Scene {
        self.entry(on, at, Body::HoldPlaced(PlaceHold { why: "torn bag".to_owned(), nonconformance: None }))
    }

    pub fn lift(self, name: &str, at: &str) -> Scene {
        let (hold, of) = (self.id(name), self.thing_of(name));
        self.entry(&of.to_string(), at, Body::HoldLifted(LiftHold { hold, why: "dry".to_owned() }))
    }

    pub fn strike(self, name: &str, at: &str) -> Scene {
        let (id, of) = (self.id(name), self.thing_of(name));
        self.entry(&of.to_string(), at, Body::EntryStruck(Strike { why: "wrong".to_owned(), instead: None }))
            .change(|entry| entry.strikes = Some(id))
    }

    pub fn strike_last(self, at: &str) -> Scene {
        self.named("the last").strike("the last", at)
    }

    pub fn confirm(self, name: &str, at: &str) -> Scene {
        let (entry, of) = (self.id(name), self.thing_of(name));
        self.entry(&of.to_string(), at, Body::FactConfirmed(Confirm { entry })).by("B-2")
    }

    pub fn settle(self, name: &str, kind: &str, answer: Settlement, at: &str) -> Scene {
        let (entry, of) = (self.id(name), self.thing_of(name));
        self.entry(&of.to_string(), at, Body::MismatchSettled(settling(kind, entry, answer))).second("B-2")
    }

    /// A place is declared again, from an instant on.
    pub fn place_from(self, of: &str, frozen: bool, from: &str) -> Scene {
        let mut body = crate::scene::place(of, frozen);
        body.effective_from = Some(stamp(from));
        self.declares(&format!("place/{of}"), Body::PlaceDeclared(body))
    }
}

pub fn settling(kind: &str, entry: uuid::Uuid, answer: Settlement) -> Settle {
    Settle { mismatch: MismatchName { kind: kind.to_owned(), entry }, answer, why: None }
}

pub fn plan(part: &str, lay_at: &str, oven_at: &str) -> Job {
    Job {
        part: code(part),
        stages: vec![stage_name("skin")],
        needs: Vec::new(),
        lay_at: stamp(lay_at),
        oven_at: stamp(oven_at),
        boat: None,
    }
}
