//! What an entry says, in the columns and units of the files: `metres_left` is 38.2 where the API has `length_mm` 38200.

use serde_json::{Map, Value};
use shared_types::{Body, Seconds};
use std::collections::{BTreeMap, BTreeSet};

use super::words::{say_as_on_a_card, say_duration, say_thousandths};

/// Each field that differs, such as `metres_left is 38.2 there, 37.9 here`.
pub(crate) fn differences(here: &Body, there: &Body) -> Vec<String> {
    let (here, there) = (by_column(here), by_column(there));
    let names: BTreeSet<&String> = here.keys().chain(there.keys()).collect();
    let say = |value: Option<&String>| value.map_or_else(|| "nothing".to_owned(), Clone::clone);
    names
        .into_iter()
        .filter(|name| here.get(*name) != there.get(*name))
        .map(|name| format!("{name} is {} there, {} here", say(there.get(name)), say(here.get(name))))
        .collect()
}

/// The values by their column in `cards.csv` or their key in `yard.toml`; what is under a key comes after a point.
fn by_column(body: &Body) -> BTreeMap<String, String> {
    let mut columns = BTreeMap::new();
    if let Ok(Value::Object(fields)) = serde_json::to_value(body) {
        fill(&mut columns, "", fields);
    }
    columns
}

fn fill(columns: &mut BTreeMap<String, String>, above: &str, fields: Map<String, Value>) {
    for (name, value) in fields {
        let name = if above.is_empty() { name } else { format!("{above}.{name}") };
        match value {
            Value::Null => {}
            Value::Object(inner) => fill(columns, &name, inner),
            value => {
                let (column, text) = in_the_files(&name, &value);
                columns.insert(column.to_owned(), text);
            }
        }
    }
}

/// A field as the API names it, as the files name and write it. Two values never become the same text.
fn in_the_files<'a>(name: &'a str, value: &Value) -> (&'a str, String) {
    let plain = || value.as_str().map_or_else(|| value.to_string(), str::to_owned);
    let thousandths = || value.as_i64().map_or_else(plain, say_thousandths);
    let duration = |say: fn(Seconds) -> String| {
        value.as_u64().and_then(|seconds| Seconds::try_from(seconds).ok()).map_or_else(plain, say)
    };
    let unit = |name: &'a str| name.strip_suffix("_s").unwrap_or(name);
    match name {
        "length_mm" => ("metres_left", thousandths()),
        "from" | "into" => ("place", plain()),
        "opening.out_time_s" => ("out_time", duration(say_as_on_a_card)),
        name => {
            let name = name.strip_prefix("opening.").unwrap_or(name);
            match (name.strip_suffix(".none_by"), name.strip_suffix("_millideg_c"), name.ends_with("_s")) {
                (Some(limit), ..) => (unit(limit), format!("none by {}", plain())),
                (_, Some(name), _) => (name, thousandths()),
                (_, _, true) => (unit(name), duration(say_duration)),
                (_, _, false) => (name, plain()),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn said(name: &str, value: Value) -> String {
        let (name, text) = in_the_files(name, &value);
        format!("{name} = {text}")
    }

    #[test]
    fn every_field_is_said_as_the_files_write_it() {
        assert_eq!(said("length_mm", json!(38_200)), "metres_left = 38.2");
        assert_eq!(said("width_mm", json!(1_270)), "width_mm = 1270");
        assert_eq!(said("opening.out_time_s", json!(346_800)), "out_time = 96:20");
        assert_eq!(said("opening.refreezes", json!(3)), "refreezes = 3");
        assert_eq!(said("into", json!("F1")), "place = F1");
        assert_eq!(said("highest_millideg_c", json!(-18_500)), "highest = -18.5");
        assert_eq!(said("out_life_s", json!(864_000)), "out_life = 240 h");
        assert_eq!(said("out_life_s.none_by", json!("sheet 4")), "out_life = none by sheet 4");
        assert_eq!(said("shelf_life.none_by", json!("sheet 4")), "shelf_life = none by sheet 4");
        assert_eq!(said("lay_to_cure.limit_s", json!(259_200)), "lay_to_cure.limit = 72 h");
        assert_eq!(said("lay_to_cure.from", json!("first_ply")), "lay_to_cure.from = first_ply");
        assert_eq!(said("frozen", json!(true)), "frozen = true");
    }
}
