//! Goods-in: what a delivery's rolls are is chosen once and stands in the address; then each scan receives a roll and
//! puts it away. Cold first: nothing else is asked between two scans.

mod batch;
mod note;
pub(super) mod paper;
mod roll;
mod scan;

pub(crate) use batch::{batch_page, post_batch};
pub(crate) use note::{note_page, post_note};
pub(crate) use paper::{paper_page, post_paper};
pub(crate) use scan::{post_scan, scan_page};

use super::typed::{Said, Typed};
use super::wish;
use super::{answer, assets::Assets, foot::Foot, in_a_query, page, see};
use crate::http::{ask::ask, problems::Fault};
use crate::import::words::{duration, thousandths, typed_metres};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, route, web};
use askama::Template;
use domain::fact::What;
use domain::{Book, When, view::View};
use shared_types::{Code, Kind, Millimetres, Opening, OpeningSource, ThingName};
use uuid::Uuid;

/// What stands in the address from one scan to the next.
const KEPT: [&str; 12] = [
    "delivery",
    "what",
    "batch",
    "length",
    "width",
    "from",
    "into",
    "source",
    "out_time",
    "refreezes",
    "as_of",
    "note",
];

/// What all rolls of a delivery have in common, read.
struct Delivery {
    /// Gives each of its rolls one id, however often it is scanned.
    id: Uuid,
    material: Code,
    revision: Code,
    batch: Code,
    length_mm: Millimetres,
    width_mm: Option<Millimetres>,
    /// A freezer truck, which keeps the clock still until the first fact.
    from: Option<Code>,
    into: Code,
    opening: Option<Opening>,
}

/// The same with another value, as the end of an address.
fn query_with(said: &Said, other: &[(&str, &str)]) -> String {
    let kept = KEPT.iter().filter(|name| other.iter().all(|(of, _)| of != *name));
    let kept = kept.filter_map(|name| Some((*name, said.get(*name)?.as_str())));
    let all = kept.chain(other.iter().copied()).filter(|(_, value)| !value.trim().is_empty());
    all.map(|(name, value)| format!("{name}={}", in_a_query(value.trim()))).collect::<Vec<_>>().join("&")
}

#[derive(Template)]
#[template(path = "receive.html")]
struct ReceivePage {
    assets: Assets,
    foot: Foot,
    said: Said,
    faults: Vec<(&'static str, String)>,
    /// Value and words.
    materials: Vec<(String, String)>,
    batches: Vec<(String, String)>,
    cold: Vec<(String, String)>,
}

impl ReceivePage {
    fn value(&self, name: &str) -> &str {
        self.said.get(name).map_or("", String::as_str)
    }

    fn fault(&self, name: &str) -> Option<&str> {
        self.faults.iter().find(|(of, _)| *of == name).map(|(_, say)| say.as_str())
    }

    fn is_chosen(&self, name: &str, value: &str) -> bool {
        self.value(name) == value
    }
}

#[route("/receive", method = "GET", method = "HEAD")]
pub(crate) async fn receive_page(request: HttpRequest, yard: web::Data<Yard>, query: web::Query<Said>) -> HttpResponse {
    let done = async {
        let mut said = query.into_inner();
        let entered = said.get("choice").is_some_and(|choice| choice == "scan");
        if said.get("delivery").is_none_or(|id| id.parse::<Uuid>().is_err()) {
            said.insert("delivery".to_owned(), yard.clock.new_id().to_string());
        }
        let faults = match (entered, delivery(&yard, &said)?) {
            (true, Ok(_)) => return Ok(see(&format!("/receive/scan?{}", query_with(&said, &[])))),
            (true, Err(faults)) => faults,
            (false, _) => Vec::new(),
        };
        let status = if faults.is_empty() { StatusCode::OK } else { StatusCode::BAD_REQUEST };
        let when = When::now(yard.now());
        let shown = ask(&yard, |book| {
            let foot = Foot::of(&yard, View::new(book, when.known), when);
            let (materials, batches, cold) = (materials(book), batches(book), cold(book, when));
            Ok(ReceivePage { assets: Assets::new(), foot, said, faults, materials, batches, cold })
        })?;
        page(status, &shown)
    };
    answer(&request, done.await)
}

fn materials(book: &Book) -> Vec<(String, String)> {
    let view = View::new(book, u64::MAX);
    let revised = book.in_order(Kind::Material, None).flat_map(|(name, label)| {
        let revisions = view.facts(label).filter_map(|fact| match &fact.what {
            What::Revised(revision) => Some(revision),
            _ => None,
        });
        revisions.map(|one| {
            (
                format!("{}/{}", name.code(), one.revision),
                format!("{} rev. {}, {}", name.code(), one.revision, one.name),
            )
        })
    });
    revised.collect()
}

fn batches(book: &Book) -> Vec<(String, String)> {
    let all = book.in_order(Kind::Batch, None);
    all.map(|(name, _)| (name.short().to_owned(), format!("of {}", name.code().split('/').next().unwrap_or_default())))
        .collect()
}

/// The frozen places that are declared now.
fn cold(book: &Book, when: When) -> Vec<(String, String)> {
    let view = View::new(book, when.known);
    let frozen = book.in_order(Kind::Place, None).filter(|(_, label)| view.frozen(*label, when.now));
    let named = frozen.map(|(name, label)| {
        let words = view.place(label, when.now).map_or_else(String::new, |place| format!(", {}", place.name));
        (name.code().to_owned(), format!("{}{words}", name.code()))
    });
    named.collect()
}

type Faults = Vec<(&'static str, String)>;

/// Reads what was chosen, or says all that is wrong with it.
fn delivery(yard: &Yard, said: &Said) -> Result<Result<Delivery, Faults>, Fault> {
    let now = yard.now();
    let mut typed = Typed::of(said);
    let cold = ask(yard, |book| Ok(cold(book, When::now(now))))?;
    let what = ask(yard, |book| Ok(typed.read("what", |text| revision(book, text))))?;
    let batch = typed.code("batch", "Say which batch it is: it stands on the label and on the certificate.");
    let length_mm = typed.read("length", typed_metres);
    let width_mm = typed.read_if_any("width", millimetres);
    let frozen = |text: &str| {
        let code = Code::new(text).map_err(|error| error.to_string())?;
        let known = cold.iter().any(|(place, _)| *place == code.as_str());
        known.then(|| code.clone()).ok_or_else(|| format!("{code} is no frozen place that anybody declared"))
    };
    let from = typed.read_if_any("from", frozen);
    let into = typed.read("into", |text| match text {
        "" => Err("Say which freezer they go into.".to_owned()),
        text => frozen(text),
    });
    let opening = opening(yard, &mut typed, now);
    let id = typed.read("delivery", |text| {
        text.parse::<Uuid>().map_err(|_| "The page came without its number. Choose again.".to_owned())
    });
    let read = what.zip(batch).zip(length_mm).zip(into).zip(opening).zip(id);
    Ok(match read {
        Some((((((what, batch), length_mm), into), opening), id)) if typed.is_right() => {
            let (material, revision) = what;
            Ok(Delivery { id, material, revision, batch, length_mm, width_mm, from, into, opening })
        }
        _ => Err(typed.faults),
    })
}

/// A revision of a material that somebody entered: `PM-101/3`.
fn revision(book: &Book, text: &str) -> Result<(Code, Code), String> {
    let (material, revision) = text.split_once('/').ok_or("Say which material it is, and which revision.")?;
    let (material, revision) = (Code::new(material), Code::new(revision));
    let (Ok(material), Ok(revision)) = (material, revision) else {
        return Err("Say which material it is, and which revision.".to_owned());
    };
    let label = book.label(&ThingName::new(Kind::Material, &material));
    match label.and_then(|label| View::new(book, u64::MAX).revision(label, &revision)) {
        Some(_) => Ok((material, revision)),
        None => Err(format!("Nobody has entered revision {revision} of {material}")),
    }
}

fn millimetres(text: &str) -> Result<Millimetres, String> {
    let whole = thousandths(text).filter(|value| value % 1000 == 0).and_then(|value| u64::try_from(value / 1000).ok());
    let width = whole.and_then(|mm| Millimetres::try_from(mm).ok());
    width.ok_or_else(|| "Write the width in whole millimetres, such as 1270, or leave it empty.".to_owned())
}

/// Life used before the receipt: stated by a paper, or said not to be known. None: it can't be read.
fn opening(yard: &Yard, typed: &mut Typed<'_>, now: shared_types::Instant) -> Option<Option<Opening>> {
    let source = match typed.text("source") {
        "certificate" => OpeningSource::Certificate,
        "card" => OpeningSource::Card,
        "nobody" => return Some(None),
        _ => {
            let say = "Say where its out-time stands: on its certificate, on a card, or that nobody knows it.";
            typed.faults.push(("source", say.to_owned()));
            return None;
        }
    };
    let out_time_s = typed.read("out_time", |text| match text {
        "" => Err("Say how long it was out before, such as 12:30, or 0:00.".to_owned()),
        text => duration(text),
    });
    let refreezes = typed.read("refreezes", |text| {
        text.parse::<u32>().map_err(|_| "Say how often it went back into the cold, as a whole number.".to_owned())
    });
    let as_of = typed.read("as_of", |text| {
        let at = wish::time(yard, text)?;
        match at.at <= now {
            true => Ok(at),
            false => Err("That time lies ahead. Say when the paper was written.".to_owned()),
        }
    });
    let read = out_time_s.zip(refreezes).zip(as_of);
    read.map(|((out_time_s, refreezes), as_of)| Some(Opening { out_time_s, refreezes, as_of, source }))
}
