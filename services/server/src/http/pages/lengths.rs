//! The lengths an entry states, each where it stands in the body, and the same body with others.

use crate::import::words::typed_metres;
use serde_json::{Value, json};
use shared_types::Body;

/// One length that an entry states.
pub(super) struct Length {
    /// Where it stands in the body.
    pointer: String,
    /// Of what, where the entry states several.
    of: String,
    pub(super) mm: u64,
}

pub(super) fn lengths(body: &Body) -> Vec<Length> {
    let only = |mm: u64| vec![Length { pointer: "/length_mm".to_owned(), of: String::new(), mm }];
    match body {
        Body::RollReceived(receipt) => only(receipt.length_mm.get()),
        Body::PliesLaid(laid) => laid.length_mm.map_or_else(Vec::new, |length| only(length.get())),
        Body::Disposed(disposed) => disposed.length_mm.map_or_else(Vec::new, |length| only(length.get())),
        Body::NestCut(cut) => {
            let of_kits = cut.kits.iter().enumerate().flat_map(|(place, kit)| {
                kit.items.iter().enumerate().map(move |(item, one)| Length {
                    pointer: format!("/kits/{place}/items/{item}/length_mm"),
                    of: format!("{} into {}", one.roll, kit.kit),
                    mm: one.length_mm.get(),
                })
            });
            let waste = cut.waste.iter().enumerate().map(|(place, one)| Length {
                pointer: format!("/waste/{place}/length_mm"),
                of: format!("waste of {}", one.roll),
                mm: one.length_mm.get(),
            });
            of_kits.chain(waste).collect()
        }
        _ => Vec::new(),
    }
}

/// `12.5`, as it is typed.
pub(super) fn metres_words(mm: u64) -> String {
    let thousandths = format!("{:03}", mm % 1000);
    let after = thousandths.trim_end_matches('0');
    let point = if after.is_empty() { "" } else { "." };
    format!("{}{point}{after}", mm / 1000)
}

pub(super) fn length_label(lengths: &[Length]) -> String {
    match lengths {
        [_] => "The right length in metres".to_owned(),
        several => {
            let of: Vec<&str> = several.iter().map(|one| one.of.as_str()).collect();
            format!("The right lengths in metres, one after the other with a space between: {}", of.join(", "))
        }
    }
}

/// The entry's body with the lengths that were typed, in their order.
pub(super) fn with_lengths(mut body: Value, lengths: &[Length], typed: &str) -> Result<Value, String> {
    let typed: Vec<&str> = typed.split_whitespace().filter(|word| *word != "m").collect();
    match (lengths.len(), typed.len()) {
        (0, _) => return Err("This entry states no length.".to_owned()),
        (1, 0) => return Err("Write the right length in metres, such as 12.5.".to_owned()),
        (1, given) if given != 1 => {
            return Err(format!("The entry states one length; you wrote {given}. Write one, such as 12.5."));
        }
        (of, given) if of != given => {
            return Err(format!("The entry states {of} lengths; you wrote {given}. Write each, with a space between."));
        }
        _ => {}
    }
    let mut changed = false;
    for (length, text) in lengths.iter().zip(typed) {
        let right = typed_metres(text).map_err(|problem| crate::http::say::sentence(&problem))?;
        changed |= right.get() != length.mm;
        if let Some(place) = body.pointer_mut(&length.pointer) {
            *place = json!(right);
        }
    }
    if changed { Ok(body) } else { Err("That is what the entry says already. Write the right length.".to_owned()) }
}
