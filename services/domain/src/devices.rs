//! The yard's devices: which may record, what came from each by its own count, what never arrived, and when it was heard
//! of last. A device that was revoked stays listed with what is missing.

use crate::RULES;
use crate::book::Book;
use crate::fact::{Fact, Label, What};
use crate::limits::At;
use crate::question::When;
use crate::say::Say;
use crate::standing::{self, Standing};
use crate::view::View;
use shared_types::{DeviceList, DeviceStanding, DeviceView, EnrolDevice, Instant, Kind, Missing, ThingName};

/// So many stretches that never arrived are listed.
const MOST: usize = 100;

/// Every device that was ever enrolled, or that anything came from, by name.
pub fn devices(book: &Book, when: When) -> DeviceList {
    let view = View::new(book, when.known);
    let say = Say::of(view, when.at);
    let labels = book.in_order(Kind::Device, None);
    let devices = labels.filter_map(|(name, label)| one(view, name, label, when.at, &say)).collect();
    DeviceList { devices, at: say.stamp(when.at), as_of_seq: u64::from(view.known), rules: RULES.to_owned() }
}

/// A device in a sentence; nothing where only a hold or a question names it.
pub(crate) fn words(read: At<'_>, device: Label, say: &Say) -> Option<String> {
    Some(one(read.view, read.view.book.name(device), device, read.at, say)?.say)
}

/// A device's last enrolment and its revocation, each with its entry's time.
#[derive(Default)]
struct Said<'b> {
    enrolled: Option<(Instant, &'b EnrolDevice)>,
    revoked: Option<(Instant, &'b str)>,
}

fn said(view: View<'_>, device: Label) -> Said<'_> {
    let mut said = Said::default();
    for fact in standing::of_device(view, device) {
        let at = |fact: &Fact| view.book.entry(fact.seq).map_or(fact.at, |meta| meta.recorded_at);
        match &fact.what {
            What::Enrolled(body) => said = Said { enrolled: Some((at(fact), body)), revoked: None },
            What::DeviceRevoked(body) => said.revoked = Some((at(fact), &body.why)),
            _ => {}
        }
    }
    said
}

fn one(view: View<'_>, name: &ThingName, device: Label, at: Instant, say: &Say) -> Option<DeviceView> {
    let book = view.book;
    let (said, sent) = (said(view, device), book.sent_by(device, view.known));
    let standing = match standing::device_by(book, device, view.known) {
        Standing::NotEnrolled if sent.is_empty() => return None,
        Standing::NotEnrolled => DeviceStanding::NotEnrolled,
        Standing::Enrolled => DeviceStanding::Enrolled,
        Standing::Revoked => DeviceStanding::Revoked,
    };
    let gaps = book.counter_gaps(device, view.known);
    let gap = |(before, next, _): &(u64, u64, u32)| Missing { from: before + 1, to: next - 1 };
    let missing: Vec<Missing> = gaps.iter().rev().map(gap).take(MOST).collect();
    let missing_count = gaps.iter().map(|(before, next, _)| next - before - 1).fold(0, u64::saturating_add);
    let last_seen = sent.last().and_then(|seq| book.entry(*seq)).map(|meta| meta.recorded_at);
    let mut shown = DeviceView {
        device: name.clone(),
        say: String::new(),
        standing,
        what: said.enrolled.map(|(_, body)| body.what),
        place: said.enrolled.and_then(|(_, body)| body.place.clone()),
        enrolled_at: said.enrolled.map(|(at, _)| say.stamp(at)),
        revoked_at: said.revoked.map(|(at, _)| say.stamp(at)),
        revoked_because: said.revoked.map(|(_, why)| why.to_owned()),
        last_counter: book.last_counter(device, view.known),
        more_missing: u64::try_from(gaps.len() - missing.len()).unwrap_or(u64::MAX),
        missing,
        missing_count,
        last_seen: last_seen.map(|seen| say.stamp(seen)),
        entries: u64::try_from(sent.len()).unwrap_or(u64::MAX),
        // No fact says it.
        clock_ahead_ms: None,
        clock_measured_at: None,
    };
    shown.say = sentence(&shown, at, say);
    Some(shown)
}

fn sentence(device: &DeviceView, at: Instant, say: &Say) -> String {
    let name = device.device.short();
    let mut words = match (device.standing, &device.what) {
        (DeviceStanding::NotEnrolled, _) => {
            format!("Nobody has enrolled {name}: its scans are only said to be its own.")
        }
        (DeviceStanding::Revoked, _) => {
            let since = device.revoked_at.map_or(String::new(), |at_then| format!(" {}", say.past(at_then.at, at)));
            let why = device.revoked_because.as_deref().unwrap_or_default().trim().trim_end_matches('.');
            format!("{name} was revoked{since}: {why}.")
        }
        (DeviceStanding::Enrolled, what) => {
            let what = what.map_or("device", |what| what.word());
            let place = device.place.as_ref().map_or(String::new(), |place| format!(" at {place}"));
            format!("{name} is enrolled: a {what}{place}.")
        }
    };
    words.push_str(&match device.last_seen {
        Some(seen) => format!(" Something came from it last {}.", say.past(seen.at, at)),
        None => " Nothing has come from it yet.".to_owned(),
    });
    if let Some(first) = device.missing.last() {
        // The first stretches are those that nobody will send any more.
        let stretch = |one: &Missing| match one.from == one.to {
            true => one.from.to_string(),
            false => format!("{} to {}", one.from, one.to),
        };
        words.push_str(&match (device.missing.as_slice(), device.more_missing) {
            ([_], 0) => format!(" {} never arrived.", stretch(first)),
            (all, 0) if all.len() <= 3 => {
                let all: Vec<String> = all.iter().rev().map(stretch).collect();
                format!(" {} never arrived.", all.join(", "))
            }
            _ => format!(" {} of its scans never arrived.", device.missing_count),
        });
    }
    words
}
