//! The lists as pages and as CSV: filters in a form, rows of a form of the trade, the next page a link away.

use super::{
    answer, asked_then,
    assets::Assets,
    foot::Foot,
    in_a_query,
    listed::{Read, cells, heads},
    page as rendered, table,
};
use crate::{
    http::{
        ask::ask,
        fallback::in_a_path,
        problems::{Answer, Fault},
        stock::{DELIVERIES, LISTS, List, Page, Paged, page, set, word, words},
    },
    yard::Yard,
};
use actix_web::{HttpRequest, http::StatusCode, web};
use askama::Template;
use domain::{say::Say, stock::Filter, view::View};
use futures_util::stream;
use shared_types::{Code, Kind, StockRow};
use std::{collections::BTreeMap, io};

#[derive(Template)]
#[template(path = "stock.html")]
struct StockPage {
    assets: Assets,
    foot: Foot,
    title: &'static str,
    name: &'static str,
    fields: Vec<Field>,
    /// `at` and `known`, as they were asked: what is filtered next is of the same moment.
    moment: Vec<(&'static str, String)>,
    heads: &'static [&'static str],
    rows: Vec<Row>,
    /// What is asked for, and how it is said.
    csv: String,
    next: Option<String>,
    /// The list goes on from a page before.
    later: bool,
    /// The same with what is used up or thrown away, where that is left out.
    ended: Option<String>,
}

/// A filter in the form.
struct Field {
    name: &'static str,
    label: &'static str,
    value: String,
    /// Value, words, chosen; where only some can be meant.
    options: Vec<(&'static str, &'static str, bool)>,
    /// What it means that nothing is chosen.
    none: &'static str,
}

struct Row {
    address: String,
    code: String,
    cells: Vec<String>,
}

/// An address of its own for each list and its CSV.
pub(super) fn routes(config: &mut web::ServiceConfig) {
    for list in LISTS {
        let shown = move |request: HttpRequest, yard: web::Data<Yard>, query: Query| async move {
            answer(&request, stock_page(&yard, list, query.into_inner()).await)
        };
        for method in [web::get(), web::head()] {
            config.route(&format!("/{}", list.name), method.to(shown));
        }
    }
    for list in LISTS.into_iter().chain([&DELIVERIES]) {
        let written = move |request: HttpRequest, yard: web::Data<Yard>, query: Query| async move {
            answer(&request, csv(&yard, list, query.into_inner()).await)
        };
        for method in [web::get(), web::head()] {
            config.route(&format!("/{}.csv", list.name), method.to(written));
        }
    }
}

type Query = web::Query<BTreeMap<String, String>>;

async fn stock_page(yard: &web::Data<Yard>, list: &'static List, query: BTreeMap<String, String>) -> Answer {
    let moment: Vec<(&'static str, String)> =
        ["at", "known"].into_iter().filter_map(|name| Some((name, query.get(name)?.trim().to_owned()))).collect();
    let (filter, paged) = asked(yard, list, query)?;
    let later = paged.cursor.is_some();
    let all = every(list, &filter);
    let Page { stock, when, next, .. } = page(yard, list, filter.clone(), paged).await?;
    let (foot, rows) = ask(yard, |book| {
        let view = View::new(book, when.known);
        let say = Say::of(view, when.at);
        let rows = stock.items.iter().map(|row| Row {
            // A job's own page says whether its plan holds.
            address: format!("{}/{}", if list.kind == Kind::Job { "" } else { "/thing" }, in_a_path(&row.thing)),
            code: row.thing.code().to_owned(),
            cells: cells(list.kind, row, &say, when.at, Read::Now),
        });
        Ok((Foot::of(yard, view, when), rows.collect()))
    })?;
    let query: Vec<String> = set(&filter)
        .into_iter()
        .filter(|(name, _)| *name != "state")
        .chain(moment.iter().cloned())
        .map(|(name, value)| format!("{name}={}", in_a_query(&value)))
        .collect();
    let query = query.join("&");
    let with = |state: &str| if query.is_empty() { format!("state={state}") } else { format!("{query}&state={state}") };
    let state = filter.state.map(word).or(all.then_some(ALL));
    let shown = StockPage {
        assets: Assets::new(),
        foot,
        title: list.title,
        name: list.name,
        fields: fields(list, &filter),
        moment,
        heads: heads(list.kind),
        rows,
        csv: format!("/{}.csv?{}", list.name, state.map_or(query.clone(), with)),
        next: next.map(|next| format!("/{}?{next}{}", list.name, if all { "&state=all" } else { "" })),
        ended: (list.ends() && state.is_none()).then(|| format!("/{}?{}", list.name, with(ALL))),
        later,
    };
    rendered(StatusCode::OK, &shown)
}

/// The word for everything, whatever became of it.
const ALL: &str = "all";

/// Nothing is left out, though some of it may have ended.
fn every(list: &List, filter: &Filter) -> bool {
    list.ends() && filter.state.is_none() && filter.ended.is_none()
}

/// What the address asks for. A field that was left empty asks for nothing; people are then shown what there is.
fn asked(yard: &Yard, list: &List, mut query: BTreeMap<String, String>) -> Result<(Filter, Paged), Fault> {
    let at = query.remove("at").map_or(Ok(None), |text| asked_then(yard, &text))?;
    let (filter, paged) = filters(list, query)?;
    Ok((filter, Paged { at, ..paged }))
}

fn filters(list: &List, query: BTreeMap<String, String>) -> Result<(Filter, Paged), Fault> {
    let (mut filter, mut paged) = (Filter::default(), Paged::default());
    filter.ended = list.ends().then_some(false);
    for (name, value) in query {
        let value = value.trim();
        if value.is_empty() {
            continue;
        }
        let wrong = |what: &str| Fault::cannot_read(format!("{name} {what}.")).field(format!("/{name}"), what);
        let code = || Code::new(value).map(Some).map_err(|error| wrong(&format!("is no code: {error}")));
        let yes = || match value {
            "true" => Ok(Some(true)),
            "false" => Ok(Some(false)),
            _ => Err(wrong("is true or false")),
        };
        let number = || value.parse::<u64>().map(Some).map_err(|_| wrong("is a whole number that is not negative"));
        match name.as_str() {
            "cursor" => paged.cursor = Some(value.to_owned()),
            "limit" => paged.limit = number()?,
            "known" => paged.known = number()?,
            other if !list.filters.contains(&other) => {
                let detail =
                    format!("The list of {} has no filter {other}; it has {}.", list.name, list.filters.join(", "));
                return Err(Fault::cannot_read(detail).field(format!("/{other}"), "not known here"));
            }
            "material" => filter.material = code()?,
            "batch" => filter.batch = code()?,
            "place" => filter.place = code()?,
            "job" => filter.job = code()?,
            "boat" => filter.boat = code()?,
            "held" => filter.held = yes()?,
            "missing" => filter.missing = yes()?,
            "frozen" => filter.frozen = yes()?,
            _ if value == ALL => filter.ended = None,
            _ => {
                filter.ended = None;
                let state = list.states.iter().copied().find(|state| word(*state) == value);
                let known: Vec<&str> = list.states.iter().copied().map(word).collect();
                filter.state = Some(state.ok_or_else(|| wrong(&format!("is one of {}", known.join(", "))))?);
            }
        }
    }
    Ok((filter, paged))
}

fn fields(list: &List, filter: &Filter) -> Vec<Field> {
    let set: BTreeMap<&str, String> = set(filter).into_iter().collect();
    let field = |name: &'static str| {
        let all = name == "state" && every(list, filter);
        let value = if all { ALL.to_owned() } else { set.get(name).cloned().unwrap_or_default() };
        let none = if name == "state" && list.ends() { "what there is" } else { ALL };
        let options = match name {
            "state" => {
                let all = list.ends().then_some((ALL, "also used up and thrown away"));
                list.states.iter().map(|state| (word(*state), words(*state))).chain(all).collect()
            }
            "held" => vec![("true", "held"), ("false", "not held")],
            "frozen" => vec![("true", "freezers"), ("false", "rooms")],
            "missing" => vec![("true", "some missing"), ("false", "all received")],
            _ => Vec::new(),
        };
        let options = options.into_iter().map(|(option, words)| (option, words, option == value)).collect();
        Field { name, label: label(name), value, options, none }
    };
    list.filters.iter().copied().map(field).collect()
}

fn label(name: &str) -> &'static str {
    match name {
        "material" => "Material",
        "batch" => "Batch",
        "place" => "Place",
        "state" => "Where",
        "job" => "Job",
        "boat" => "Boat",
        "held" => "Holds",
        "missing" => "Rolls",
        _ => "Kind of place",
    }
}

/// The whole list, written page by page as it is read.
async fn csv(yard: &web::Data<Yard>, list: &'static List, query: BTreeMap<String, String>) -> Answer {
    let (filter, paged) = asked(yard, list, query)?;
    // The first page before anything is sent, so that what is wrong is said in words.
    let begin = Paged { limit: Some(200), ..paged };
    let first = page(yard, list, filter.clone(), begin).await?;
    let head = table::line(["kind", "code"].into_iter().chain(heads(list.kind).iter().copied()))?;
    let (yard, started) = (yard.clone(), web::Bytes::from(head + &lines(yard, list, &first)?));
    let rest = stream::unfold(first.paged, move |paged| {
        let (yard, filter) = (yard.clone(), filter.clone());
        async move {
            let read = page(&yard, list, filter, paged?).await;
            let written = read.and_then(|read| Ok((lines(&yard, list, &read)?, read.paged)));
            // A list that can't be finished is cut off, so that nobody takes it for whole.
            Some(match written {
                Ok((text, next)) => (Ok(web::Bytes::from(text)), next),
                Err(fault) => (Err(io::Error::other(fault.to_string())), None),
            })
        }
    });
    let begun = stream::iter([Ok::<_, io::Error>(started)]);
    Ok(table::file(list.name).streaming(futures_util::StreamExt::chain(begun, rest)))
}

fn lines(yard: &Yard, list: &List, page: &Page) -> Result<String, Fault> {
    let when = page.when;
    let rows = ask(yard, |book| {
        let say = Say::of(View::new(book, when.known), when.at);
        let row = |row: &StockRow| {
            let mut whole = vec![row.thing.kind().to_string(), row.thing.code().to_owned()];
            whole.extend(cells(list.kind, row, &say, when.at, Read::Later));
            whole
        };
        Ok(page.stock.items.iter().map(row).collect::<Vec<_>>())
    })?;
    rows.iter().map(table::line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_filter_of_every_list_has_its_word_and_its_field() {
        for list in LISTS.into_iter().chain([&DELIVERIES]) {
            let example = |name: &str| match name {
                "held" | "frozen" | "missing" => "true".to_owned(),
                "state" => list.states.first().map(|state| word(*state).to_owned()).unwrap(),
                _ => "X-1".to_owned(),
            };
            let query: BTreeMap<String, String> =
                list.filters.iter().map(|name| ((*name).to_owned(), example(name))).collect();
            let (filter, _) = filters(list, query.clone()).unwrap();
            let back: BTreeMap<String, String> =
                set(&filter).into_iter().map(|(name, value)| (name.to_owned(), value)).collect();
            assert_eq!(back, query);
            let (nothing, _) = filters(list, BTreeMap::new()).unwrap();
            assert!(fields(list, &nothing).iter().all(|field| field.value.is_empty()));
        }
    }
}
